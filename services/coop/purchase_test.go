package coop_test

import (
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"google.golang.org/grpc/codes"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tradetest"
	"seamshare.example/services/view"
)

// TestDealFallsThrough: purchase money goes back to the cent, and the parcel is sold to
// another as if nothing had been.
func TestDealFallsThrough(t *testing.T) {
	h := cooptest.Open(t, time.Now)
	ctx := t.Context()
	miner, cutter := h.Join(t, "Billycart Diggings", typev1.Role_ROLE_MINER), h.Join(t, "Wet Wheel Workshop", typev1.Role_ROLE_CUTTER)
	other := h.Join(t, "Two Dops Lapidary", typev1.Role_ROLE_CUTTER)
	books := h.Add(t, h.Desk.Member, typev1.Role_ROLE_BOOKKEEPER)
	must := func(_ proto.Message, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	listed, err := miner.Miner().PublishParcel(ctx, &minerv1.PublishParcelRequest{
		RequestId: "l", Label: "P1", Treatment: typev1.Treatment_TREATMENT_NOT_KNOWN, OpenAtAsking: true, Agreement: cooptest.RisingShare(160000), Total: cooptest.Grams(20_000_000),
		Pieces: []*minerv1.NewPiece{{Label: "1", Weighing: cooptest.Grams(20_000_000), Size: &typev1.Size{LengthUm: 40_000, WidthUm: 30_000, DepthUm: 12_000}, Kind: typev1.Kind_KIND_BOULDER}},
	})
	if err != nil {
		t.Fatal(err)
	}
	id := listed.GetParcel().GetId()
	recomputed := func() {
		t.Helper()
		q, err := h.Node.Query(ctx, eventstore.Position(0))
		if err != nil {
			t.Fatal(err)
		}
		defer q.Close()
		if _, err := view.Recompute(q); err != nil {
			t.Error(err)
		}
	}
	weigh := func(buyer cooptest.Person, request string) {
		t.Helper()
		must(miner.Miner().HandOverParcel(ctx, &minerv1.HandOverParcelRequest{RequestId: request, ParcelId: id, Count: 1, Total: cooptest.Grams(20_000_000)}))
		must(buyer.Cutter().ReceiveParcel(ctx, &cutterv1.ReceiveParcelRequest{RequestId: request, ParcelId: id, Count: 1, Total: cooptest.Grams(20_000_000)}))
	}
	must(cutter.Cutter().TakeParcel(ctx, &cutterv1.TakeParcelRequest{RequestId: "t", ParcelId: id}))
	weigh(cutter, "h1")
	must(books.Coop().RecordParcelPayment(ctx, &coopv1.RecordParcelPaymentRequest{RequestId: "p1", ParcelId: id, Amount: cooptest.AUD(100_000), Reference: "bank"}))
	must(books.Coop().RecordCost(ctx, &coopv1.RecordCostRequest{RequestId: "c1", ParcelId: id, Kind: "freight", Amount: cooptest.AUD(3_850), Reference: "carrier"}))
	must(cutter.Cutter().CallOffMisdescribedDeal(ctx, &cutterv1.CallOffMisdescribedDealRequest{RequestId: "off", ParcelId: id, Why: "glued"}))
	t.Run("refused: money for it, and cutting it", func(t *testing.T) {
		_, err := books.Coop().RecordParcelPayment(ctx, &coopv1.RecordParcelPaymentRequest{RequestId: "p2", ParcelId: id, Amount: cooptest.AUD(1), Reference: "bank"})
		tradetest.Refused(t, err, codes.FailedPrecondition, "NO_DEAL", "parcel_id")
		_, err = cutter.Cutter().WorkPart(ctx, &cutterv1.WorkPartRequest{
			RequestId: "w", PieceId: listed.GetParcel().GetLines()[0].GetPieceId(), Part: "1", Step: typev1.Step_STEP_SET_ASIDE, Reason: typev1.Reason_REASON_WASTE,
		})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "piece_id")
	})
	must(cutter.Cutter().GiveBackParcel(ctx, &cutterv1.GiveBackParcelRequest{RequestId: "g", ParcelId: id, Count: 1, Total: cooptest.Grams(20_000_000)}))
	must(miner.Miner().TakeBackParcel(ctx, &minerv1.TakeBackParcelRequest{RequestId: "b", ParcelId: id, Count: 1, Total: cooptest.Grams(20_000_000)}))
	t.Run("refused: listed again before the money went back", func(t *testing.T) {
		_, err := miner.Miner().RelistParcel(ctx, &minerv1.RelistParcelRequest{RequestId: "r", ParcelId: id})
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOT_REFUNDED", "parcel_id")
	})
	refunded, err := books.Coop().RecordParcelRefund(ctx, &coopv1.RecordParcelRefundRequest{RequestId: "rf", ParcelId: id, Amount: cooptest.AUD(100_000), Reference: "bank"})
	if err != nil {
		t.Fatal(err)
	}
	t.Run("OK: nobody has earned anything", func(t *testing.T) {
		for _, s := range refunded.GetStatement().GetShares() {
			if s.GetAmount().GetUnits() != 0 || s.GetAmount().GetNanos() != 0 {
				t.Errorf("%s has %v", s.GetParty(), s.GetAmount())
			}
		}
		recomputed()
	})
	must(miner.Miner().RelistParcel(ctx, &minerv1.RelistParcelRequest{RequestId: "r", ParcelId: id, OpenAtAsking: true}))
	t.Run("OK: the first cutter has it in no list any more, and sees it on the market like everybody", func(t *testing.T) {
		own, err := cutter.Cutter().ListParcels(ctx, &cutterv1.ListParcelsRequest{})
		if err != nil || len(own.GetParcels()) != 0 {
			t.Errorf("got %v, %v", own, err)
		}
		market, err := cutter.Cutter().ListMarket(ctx, &cutterv1.ListMarketRequest{})
		if err != nil || len(market.GetParcels()) != 1 || market.GetParcels()[0].GetSellerId() != "" {
			t.Errorf("got %v, %v", market, err)
		}
	})
	must(other.Cutter().TakeParcel(ctx, &cutterv1.TakeParcelRequest{RequestId: "t", ParcelId: id}))
	weigh(other, "h2")
	paid, err := books.Coop().RecordParcelPayment(ctx, &coopv1.RecordParcelPaymentRequest{RequestId: "p3", ParcelId: id, Amount: cooptest.AUD(160_000), Reference: "bank"})
	if err != nil {
		t.Fatal(err)
	}
	t.Run("OK: the second deal's shares are its own", func(t *testing.T) {
		for _, s := range paid.GetStatement().GetShares() {
			if s.GetParty() == "miner" && (s.GetMemberId() != miner.Member || s.GetAmount().GetUnits() != 1552) {
				t.Errorf("the miner has %v", s)
			}
			if s.GetParty() == "cutter" && s.GetMemberId() != other.Member {
				t.Errorf("the cutter is %v", s)
			}
		}
		for _, o := range paid.GetStatement().GetOpen() {
			if o.GetParty() == "coop" {
				t.Errorf("costs of the first deal are to be recouped from the second: %v", o)
			}
		}
		recomputed()
	})
	t.Run("refused: the first cutter, who sees it no more", func(t *testing.T) {
		_, err := cutter.Cutter().GetParcel(ctx, &cutterv1.GetParcelRequest{ParcelId: id})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "parcel_id")
	})
}
