package coop_test

import (
	"fmt"
	"testing"
	"time"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/view"
)

// BenchmarkCheckPayout reckons a payout run anew from a history of 10 000 orders, each
// of one chip out of ten counted lots. It folds all of it, so it grows with the history.
func BenchmarkCheckPayout(b *testing.B) {
	const lots, chips = 10, 1000
	h := cooptest.Open(b, time.Now)
	ctx := b.Context()
	digger, bench, buyer := h.Join(b, "Billycart Diggings", miner), h.Join(b, "Wet Wheel Workshop", cutter), h.Join(b, "Fernhook Goldsmiths", jeweller)
	books := h.Add(b, h.Desk.Member, bookkeeper)
	must := func(err error) {
		b.Helper()
		if err != nil {
			b.Fatal(err)
		}
	}
	ug := func(n int64) *typev1.Weighing { return cooptest.Grams(n * 100_000) }
	listing := &minerv1.PublishParcelRequest{
		RequestId: command.NewID(), Label: "P1", Treatment: typev1.Treatment_TREATMENT_NOT_KNOWN, OpenAtAsking: true, Agreement: cooptest.RisingShare(160000), Total: ug(lots * chips),
	}
	for i := range lots {
		listing.Pieces = append(listing.Pieces, &minerv1.NewPiece{Label: fmt.Sprint(i + 1), Weighing: ug(chips), Kind: typev1.Kind_KIND_MATRIX, Count: chips})
	}
	listed, err := digger.Miner().PublishParcel(ctx, listing)
	must(err)
	id := listed.GetParcel().GetId()
	_, err = bench.Cutter().TakeParcel(ctx, &cutterv1.TakeParcelRequest{RequestId: command.NewID(), ParcelId: id})
	must(err)
	_, err = digger.Miner().HandOverParcel(ctx, &minerv1.HandOverParcelRequest{RequestId: command.NewID(), ParcelId: id, Count: lots * chips, Total: ug(lots * chips)})
	must(err)
	_, err = bench.Cutter().ReceiveParcel(ctx, &cutterv1.ReceiveParcelRequest{RequestId: command.NewID(), ParcelId: id, Count: lots * chips, Total: ug(lots * chips)})
	must(err)
	for i, line := range listed.GetParcel().GetLines() {
		made, err := bench.Cutter().MakeLot(ctx, &cutterv1.MakeLotRequest{
			RequestId: command.NewID(), Label: "chips", Weighing: ug(chips), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN,
			Sources: []*typev1.LotSource{{PieceId: line.GetPieceId(), Part: fmt.Sprint(i + 1), Count: chips, Weighing: ug(chips)}},
		})
		must(err)
		lot := made.GetLot().GetId()
		_, err = bench.Cutter().PutLotOnSale(ctx, &cutterv1.PutLotOnSaleRequest{RequestId: command.NewID(), LotId: lot, Unit: typev1.Unit_UNIT_PIECE, Price: cooptest.AUD(50)})
		must(err)
		for range chips {
			placed, err := buyer.Jeweller().PlaceOrder(ctx, &jewellerv1.PlaceOrderRequest{
				RequestId: command.NewID(), Lots: []*jewellerv1.LotItem{{LotId: lot, Count: 1, Weighing: ug(1), Unit: typev1.Unit_UNIT_PIECE, Price: cooptest.AUD(50)}},
			})
			must(err)
			_, err = books.Coop().RecordOrderPayment(ctx, &coopv1.RecordOrderPaymentRequest{RequestId: command.NewID(), OrderId: placed.GetOrder().GetId(), Amount: cooptest.AUD(50), Reference: "bank"})
			must(err)
		}
	}
	run, err := books.Coop().PreparePayoutRun(ctx, &coopv1.PreparePayoutRunRequest{RequestId: command.NewID(), Currency: "AUD"})
	must(err)
	q, err := h.Node.Query(ctx, 0)
	must(err)
	defer q.Close()
	for b.Loop() {
		differences, ok, err := view.CheckPayout(q, run.GetRun().GetId())
		if err != nil || !ok || len(differences) > 0 {
			b.Fatalf("got %v, %t, %v", differences, ok, err)
		}
	}
}

// BenchmarkPreparePayoutRun asks what a run would pay now, over few parcels and many: what
// members have earned stands in the books, so it doesn't grow with the parcels.
func BenchmarkPreparePayoutRun(b *testing.B) {
	for _, parcels := range []int{10, 1000} {
		b.Run(fmt.Sprintf("%d parcels", parcels), func(b *testing.B) {
			h := cooptest.Open(b, time.Now)
			digger, bench := h.Join(b, "Billycart Diggings", miner), h.Join(b, "Wet Wheel Workshop", cutter)
			books := h.Add(b, h.Desk.Member, bookkeeper)
			for range parcels {
				p := h.Cut(b, digger, bench, 50_000)
				if _, err := books.Coop().RecordParcelPayment(b.Context(), &coopv1.RecordParcelPaymentRequest{RequestId: command.NewID(), ParcelId: p.ID, Amount: cooptest.AUD(1000), Reference: "bank"}); err != nil {
					b.Fatal(err)
				}
			}
			for b.Loop() {
				if _, err := books.Coop().PreparePayoutRun(b.Context(), &coopv1.PreparePayoutRunRequest{RequestId: command.NewID(), Currency: "AUD", ValidateOnly: true}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
