package miner_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/tradetest"
)

func soon() string { return time.Now().Add(time.Hour).Format(time.RFC3339) }

func TestClaimClosed(t *testing.T) {
	d := open(t)
	got, err := d.miners.CloseClaim(d.billycart, &minerv1.CloseClaimRequest{RequestId: "c", ClaimId: d.claim, Why: "worked out"})
	if err != nil || got.GetClaim().GetState() != minerv1.ClaimState_CLAIM_STATE_CLOSED {
		t.Fatalf("got %v, %v", got, err)
	}
	t.Run("refused: a new piece from it", func(t *testing.T) {
		_, err := d.miners.PublishParcel(d.billycart, d.listing("list"))
		tradetest.Refused(t, err, codes.FailedPrecondition, "CLAIM_CLOSED", "pieces[0].claim_id")
	})
	t.Run("refused: another's claim, which looks like none", func(t *testing.T) {
		_, err := d.miners.CloseClaim(d.ninthShaft, &minerv1.CloseClaimRequest{RequestId: "c", ClaimId: d.claim})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "claim_id")
	})
}

func TestDrafts(t *testing.T) {
	d := open(t)
	draft := &minerv1.Draft{
		Label: "P1", Total: grams(6505), Agreement: halves(1900), Note: "to be weighed again",
		Pieces: []*minerv1.DraftLine{{Label: "1", Weighing: grams(3420)}, {Count: 9, SmallestUm: 8_000, LargestUm: 15_000}},
	}
	saved, err := d.miners.SaveDraft(d.billycart, &minerv1.SaveDraftRequest{RequestId: "d1", Draft: draft})
	if err != nil || saved.GetParcel().GetState() != typev1.ParcelState_PARCEL_STATE_DRAFT {
		t.Fatalf("got %v, %v", saved, err)
	}
	id := saved.GetParcel().GetId()
	t.Run("OK: comes back as it was saved, incomplete as it is", func(t *testing.T) {
		got, err := d.miners.GetDraft(d.billycart, &minerv1.GetDraftRequest{ParcelId: id})
		if err != nil || !proto.Equal(got.GetDraft(), draft) {
			t.Errorf("got %v, %v", got, err)
		}
	})
	t.Run("refused: to all others, who can't tell it from none", func(t *testing.T) {
		_, err := d.miners.GetDraft(d.ninthShaft, &minerv1.GetDraftRequest{ParcelId: id})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "parcel_id")
		_, err = d.cutters.GetParcel(d.wetWheel, &cutterv1.GetParcelRequest{ParcelId: id})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "parcel_id")
		_, err = d.cutters.AskViewing(d.wetWheel, &cutterv1.AskViewingRequest{RequestId: "v", ParcelId: id, At: soon()})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "parcel_id")
		listing := d.listing("steal")
		listing.DraftId = id
		_, err = d.miners.PublishParcel(d.ninthShaft, listing)
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "draft_id")
		market, err := d.cutters.ListMarket(d.wetWheel, &cutterv1.ListMarketRequest{})
		if err != nil || len(market.GetParcels()) != 0 {
			t.Errorf("the market shows %v, %v", market, err)
		}
	})
	t.Run("OK: listed, it keeps its id and is no draft any more", func(t *testing.T) {
		listing := d.listing("list")
		listing.DraftId = id
		got, err := d.miners.PublishParcel(d.billycart, listing)
		if err != nil || got.GetParcel().GetId() != id {
			t.Fatalf("got %v, %v", got, err)
		}
		drafts, err := d.miners.ListDrafts(d.billycart, &minerv1.ListDraftsRequest{})
		if err != nil || len(drafts.GetParcels()) != 0 {
			t.Errorf("got %v, %v", drafts, err)
		}
		_, err = d.miners.GetDraft(d.billycart, &minerv1.GetDraftRequest{ParcelId: id})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "parcel_id")
	})
	t.Run("OK: page by page, those discarded left out", func(t *testing.T) {
		for i := range 3 {
			if saved, err = d.miners.SaveDraft(d.billycart, &minerv1.SaveDraftRequest{RequestId: fmt.Sprint("more", i), Draft: draft}); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := d.miners.DiscardDraft(d.billycart, &minerv1.DiscardDraftRequest{RequestId: "x", ParcelId: saved.GetParcel().GetId()}); err != nil {
			t.Fatal(err)
		}
		first, err := d.miners.ListDrafts(d.billycart, &minerv1.ListDraftsRequest{PageSize: 1})
		if err != nil || len(first.GetParcels()) != 1 || first.GetNextPageToken() == "" {
			t.Fatalf("got %v, %v", first, err)
		}
		rest, err := d.miners.ListDrafts(d.billycart, &minerv1.ListDraftsRequest{PageSize: 5, PageToken: first.GetNextPageToken()})
		if err != nil || len(rest.GetParcels()) != 1 || rest.GetNextPageToken() != "" {
			t.Errorf("got %v, %v", rest, err)
		}
	})
}

func TestCounterOffer(t *testing.T) {
	d := open(t)
	p := d.published(t)
	low := d.offered(t, d.wetWheel, p.GetId(), "o1", 1450)
	d.offered(t, d.twoDops, p.GetId(), "o2", 1550)
	countered, err := d.miners.CounterOffer(d.billycart, &minerv1.CounterOfferRequest{
		RequestId: "c", ParcelId: p.GetId(), OfferId: low.GetId(), Agreement: &typev1.Agreement{Price: aud(1700)}, EndsAt: soon(),
	})
	if err != nil {
		t.Fatal(err)
	}
	counter := countered.GetOffer()
	t.Run("OK: its buyer sees it beside their own, nobody else does", func(t *testing.T) {
		mine, err := d.cutters.ListAllMyOffers(d.wetWheel, &cutterv1.ListAllMyOffersRequest{})
		if err != nil || len(mine.GetOffers()) != 2 || mine.GetOffers()[0].GetState() != typev1.OfferState_OFFER_STATE_COUNTERED || !proto.Equal(mine.GetOffers()[1], counter) {
			t.Errorf("got %v, %v", mine, err)
		}
		rivals, err := d.cutters.ListAllMyOffers(d.twoDops, &cutterv1.ListAllMyOffersRequest{})
		if err != nil || len(rivals.GetOffers()) != 1 {
			t.Errorf("got %v, %v", rivals, err)
		}
	})
	t.Run("OK: the seller sees all for all parcels, page by page", func(t *testing.T) {
		var ids []string
		req := &minerv1.ListAllOffersRequest{PageSize: 2}
		for {
			got, err := d.miners.ListAllOffers(d.billycart, req)
			if err != nil {
				t.Fatal(err)
			}
			for _, o := range got.GetOffers() {
				ids = append(ids, o.GetId())
			}
			if req.PageToken = got.GetNextPageToken(); req.PageToken == "" {
				break
			}
		}
		if len(ids) != 3 || ids[2] != counter.GetId() {
			t.Errorf("got %q", ids)
		}
	})
	t.Run("OK: at its terms as offered, the price alone another", func(t *testing.T) {
		if len(counter.GetAgreement().GetTiers()) != 1 || counter.GetAgreement().GetPrice().GetUnits() != 1700 || counter.GetAnswersId() != low.GetId() {
			t.Errorf("got %v", counter)
		}
	})
	t.Run("refused: accepted by another cutter, and the offer that it answers by the seller", func(t *testing.T) {
		_, err := d.cutters.AcceptCounterOffer(d.twoDops, &cutterv1.AcceptCounterOfferRequest{RequestId: "a", ParcelId: p.GetId(), OfferId: counter.GetId()})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "offer_id")
		_, err = d.miners.AcceptOffer(d.billycart, &minerv1.AcceptOfferRequest{RequestId: "a", ParcelId: p.GetId(), OfferId: low.GetId()})
		tradetest.Refused(t, err, codes.FailedPrecondition, "OFFER_NOT_OPEN", "offer_id")
	})
	t.Run("OK: accepted, it is the deal", func(t *testing.T) {
		got, err := d.cutters.AcceptCounterOffer(d.wetWheel, &cutterv1.AcceptCounterOfferRequest{RequestId: "a", ParcelId: p.GetId(), OfferId: counter.GetId()})
		if err != nil || got.GetParcel().GetAgreement().GetPrice().GetUnits() != 1700 || got.GetParcel().GetBuyerId() != "wetwheel" {
			t.Errorf("got %v, %v", got, err)
		}
	})
}

// TestPreview: by hand, with the demo's first agreement and sales, at first without costs.
// Levy on sales 6 % of 3 607.50 = 216.45, so 3 391.05 are poured: 1 600.00 and 630.00 to
// the cutter, 750.00 as 500.00 and 250.00, and of the last 411.05 the cutter has 4/7:
// 234.885..., the miner 176.164...; by the quota method 234.89 and 176.16. The miner has
// the price less 3 % besides.
func TestPreview(t *testing.T) {
	d := open(t)
	listing := d.listing("list")
	recoup := func(party string, units int64) *typev1.Tier {
		return &typev1.Tier{Form: &typev1.Tier_Recoup{Recoup: &typev1.Recoup{Party: party, Target: &typev1.Recoup_Amount{Amount: aud(units)}}}}
	}
	split := func(ceiling *money.Money, cutter, miner uint32) *typev1.Tier {
		return &typev1.Tier{Form: &typev1.Tier_Split{Split: &typev1.Split{Ceiling: ceiling, Ratios: []*typev1.Ratio{{Party: "cutter", Weight: cutter}, {Party: "miner", Weight: miner}}}}}
	}
	listing.Agreement = &typev1.Agreement{
		Price: aud(1900), ParcelLevy: &typev1.Levy{BasisPoints: 300, BorneBy: "miner"}, SaleLevy: &typev1.Levy{BasisPoints: 600},
		CostKinds: []string{"freight"},
		Tiers: []*typev1.Tier{
			{Form: &typev1.Tier_Recoup{Recoup: &typev1.Recoup{Party: "coop", Target: &typev1.Recoup_Costs{Costs: &typev1.CostKinds{Kinds: []string{"freight"}}}}}},
			{Form: &typev1.Tier_Recoup{Recoup: &typev1.Recoup{Party: "cutter", Target: &typev1.Recoup_PriceMultiple{PriceMultiple: &typev1.Fraction{Numerator: 1, Denominator: 1}}}}},
			recoup("cutter", 630), split(aud(750), 2, 1), split(nil, 4, 3),
		},
	}
	published, err := d.miners.PublishParcel(d.billycart, listing)
	if err != nil {
		t.Fatal(err)
	}
	id := published.GetParcel().GetId()
	made, err := d.cutters.MakeOffer(d.wetWheel, &cutterv1.MakeOfferRequest{RequestId: "o", ParcelId: id, Agreement: &typev1.Agreement{Price: aud(1600)}, EndsAt: soon()})
	if err != nil {
		t.Fatal(err)
	}
	sales := &money.Money{CurrencyCode: "AUD", Units: 3607, Nanos: 500_000_000}
	preview := func(who context.Context, req *minerv1.PreviewOfferRequest) (map[string]int64, error) {
		req.ParcelId, req.AssumedSales = id, sales
		got, err := d.miners.PreviewOffer(who, req)
		shares := map[string]int64{"levies": cents(got.GetPreview().GetLevies()), "costs": cents(got.GetPreview().GetCosts())}
		for _, s := range got.GetPreview().GetShares() {
			shares[s.GetParty()] = cents(s.GetAmount())
		}
		return shares, err
	}
	t.Run("OK: to the cent, and all of it is given out", func(t *testing.T) {
		got, err := preview(d.billycart, &minerv1.PreviewOfferRequest{OfferId: made.GetOffer().GetId()})
		if err != nil {
			t.Fatal(err)
		}
		miner, cutter := int64(155200+25000+17616), int64(160000+63000+50000+23489)
		if got["miner"] != miner || got["cutter"] != cutter || got["miner"]+got["cutter"]+got["levies"] != 160000+360750 {
			t.Errorf("got %v, want miner %d and cutter %d", got, miner, cutter)
		}
	})
	t.Run("OK: the levy is reckoned stone by stone, each rounded down", func(t *testing.T) {
		got, err := preview(d.billycart, &minerv1.PreviewOfferRequest{OfferId: made.GetOffer().GetId(), AssumedStones: 9})
		// One stone of 400.86 and eight of 400.83; the parcel's own levy is 48.00.
		if want := int64(4800 + 2405 + 8*2404); err != nil || got["levies"] != want {
			t.Errorf("got %v, %v, want levies of %d", got, err, want)
		}
	})
	t.Run("OK: without an offer, as the seller proposes", func(t *testing.T) {
		got, err := preview(d.billycart, &minerv1.PreviewOfferRequest{})
		if err != nil || got["miner"] <= 184300 {
			t.Errorf("got %v, %v", got, err)
		}
	})
	t.Run("OK: with the costs that are assumed, the co-op gets them back first", func(t *testing.T) {
		freight := []*minerv1.AssumedCost{{Kind: "freight", Amount: &money.Money{CurrencyCode: "AUD", Units: 38, Nanos: 500_000_000}}}
		got, err := preview(d.billycart, &minerv1.PreviewOfferRequest{OfferId: made.GetOffer().GetId(), AssumedCosts: freight})
		// As in the demo's last line: 3352.55 are left after levies and freight.
		if err != nil || got["costs"] != 3850 || got["miner"] != 155200+40966 || got["cutter"] != 294289 {
			t.Errorf("got %v, %v", got, err)
		}
		_, err = preview(d.billycart, &minerv1.PreviewOfferRequest{OfferId: made.GetOffer().GetId(), AssumedCosts: append(freight, freight[0])})
		tradetest.Refused(t, err, codes.InvalidArgument, "NAMED_TWICE", "assumed_costs[1].kind")
		_, err = preview(d.billycart, &minerv1.PreviewOfferRequest{OfferId: made.GetOffer().GetId(), AssumedCosts: []*minerv1.AssumedCost{{Kind: "stamps", Amount: aud(1)}}})
		tradetest.Refused(t, err, codes.FailedPrecondition, "COST_NOT_AGREED", "assumed_costs[0].kind")
	})
	t.Run("refused: for another, and in another currency", func(t *testing.T) {
		_, err := preview(d.ninthShaft, &minerv1.PreviewOfferRequest{})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "parcel_id")
		_, err = d.miners.PreviewOffer(d.billycart, &minerv1.PreviewOfferRequest{ParcelId: id, AssumedSales: &money.Money{CurrencyCode: "EUR", Units: 1}})
		tradetest.Refused(t, err, codes.InvalidArgument, "CURRENCY_DIFFERS", "assumed_sales.currency_code")
	})
}

func cents(m *money.Money) int64 { return m.GetUnits()*100 + int64(m.GetNanos())/10_000_000 }

func TestViewings(t *testing.T) {
	d := open(t)
	p := d.published(t)
	asked, err := d.cutters.AskViewing(d.wetWheel, &cutterv1.AskViewingRequest{RequestId: "v", ParcelId: p.GetId(), At: soon(), Rub: true, Note: "by daylight"})
	if err != nil {
		t.Fatal(err)
	}
	id := asked.GetViewing().GetId()
	if _, err := d.miners.AgreeViewing(d.billycart, &minerv1.AgreeViewingRequest{RequestId: "a", ParcelId: p.GetId(), ViewingId: id, MayRub: true, Note: "at the shed"}); err != nil {
		t.Fatal(err)
	}
	if _, err := d.miners.StartViewing(d.billycart, &minerv1.StartViewingRequest{RequestId: "s", ParcelId: p.GetId(), ViewingId: id, Count: 2, Total: grams(6505)}); err != nil {
		t.Fatal(err)
	}
	ended, err := d.miners.EndViewing(d.billycart, &minerv1.EndViewingRequest{
		RequestId: "e", ParcelId: p.GetId(), ViewingId: id, Count: 1, Total: grams(3420), Light: "north window", Candled: true, Note: "one is missing",
	})
	if err != nil {
		t.Fatal(err)
	}
	if v := ended.GetViewing(); v.GetCountDifference() != 1 || v.GetDifferenceUg() != 30_850_000 || !v.GetBeyondTolerance() || !v.GetCandled() || !v.GetMayRub() {
		t.Errorf("got %v", v)
	}
	t.Run("OK: both sides see it, nobody else", func(t *testing.T) {
		seller, err := d.miners.ListViewings(d.billycart, &minerv1.ListViewingsRequest{})
		if err != nil || len(seller.GetViewings()) != 1 || !proto.Equal(seller.GetViewings()[0], ended.GetViewing()) {
			t.Errorf("got %v, %v", seller, err)
		}
		viewer, err := d.cutters.ListMyViewings(d.wetWheel, &cutterv1.ListMyViewingsRequest{})
		if err != nil || len(viewer.GetViewings()) != 1 {
			t.Errorf("got %v, %v", viewer, err)
		}
		rival, err := d.cutters.ListMyViewings(d.twoDops, &cutterv1.ListMyViewingsRequest{})
		if err != nil || len(rival.GetViewings()) != 0 {
			t.Errorf("got %v, %v", rival, err)
		}
		_, err = d.cutters.CancelViewing(d.twoDops, &cutterv1.CancelViewingRequest{RequestId: "x", ParcelId: p.GetId(), ViewingId: id})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "viewing_id")
	})
	t.Run("OK: notes are their cutter's alone, page by page", func(t *testing.T) {
		for i := range 3 {
			if _, err := d.cutters.NoteInspection(d.wetWheel, &cutterv1.NoteInspectionRequest{RequestId: fmt.Sprint("n", i), ParcelId: p.GetId(), PieceId: p.GetLines()[0].GetPieceId(), Text: fmt.Sprint("note ", i)}); err != nil {
				t.Fatal(err)
			}
		}
		var texts []string
		req := &cutterv1.ListMyNotesRequest{ParcelId: p.GetId(), PageSize: 2}
		for {
			got, err := d.cutters.ListMyNotes(d.wetWheel, req)
			if err != nil {
				t.Fatal(err)
			}
			for _, n := range got.GetNotes() {
				texts = append(texts, n.GetText())
			}
			if req.PageToken = got.GetNextPageToken(); req.PageToken == "" {
				break
			}
		}
		if len(texts) != 3 || texts[2] != "note 2" {
			t.Errorf("got %q", texts)
		}
		rival, err := d.cutters.ListMyNotes(d.twoDops, &cutterv1.ListMyNotesRequest{ParcelId: p.GetId()})
		if err != nil || len(rival.GetNotes()) != 0 {
			t.Errorf("got %v, %v", rival, err)
		}
	})
}

func TestOpenLine(t *testing.T) {
	d := open(t)
	listing := d.listing("list")
	listing.Pieces[1].Count, listing.Pieces[1].Size = 9, nil
	listing.Pieces[1].SmallestUm, listing.Pieces[1].LargestUm = 8_000, 15_000
	published, err := d.miners.PublishParcel(d.billycart, listing)
	if err != nil {
		t.Fatal(err)
	}
	p := published.GetParcel()
	open := func(id string, left *typev1.Weighing, label string) *minerv1.OpenLineRequest {
		return &minerv1.OpenLineRequest{
			RequestId: id, ParcelId: p.GetId(), PieceId: p.GetLines()[1].GetPieceId(), Left: left,
			Pieces: []*typev1.TakenOut{{Label: label, Weighing: grams(500), Size: &typev1.Size{LengthUm: 15_000, WidthUm: 9_000, DepthUm: 5_000}, Seen: "a green one"}},
		}
	}
	t.Run("refused: masses don't balance, a label that is there", func(t *testing.T) {
		_, err := d.miners.OpenLine(d.billycart, open("x", grams(2500), "2a"))
		tradetest.Refused(t, err, codes.InvalidArgument, "MASSES_DONT_ADD_UP")
		_, err = d.miners.OpenLine(d.billycart, open("x", grams(2585), "1"))
		tradetest.Refused(t, err, codes.InvalidArgument, "NAMED_TWICE", "pieces[0].label")
	})
	t.Run("OK: the piece has the group's kind and field, and says where it is from", func(t *testing.T) {
		got, err := d.miners.OpenLine(d.billycart, open("o", grams(2584), "2a"))
		if err != nil {
			t.Fatal(err)
		}
		lines := got.GetParcel().GetLines()
		if len(lines) != 3 || lines[1].GetCount() != 8 || lines[1].GetWeighing().GetMassUg() != 25_840_000 {
			t.Fatalf("got %v", lines)
		}
		pieces, err := d.cutters.ListPieces(d.wetWheel, &cutterv1.ListPiecesRequest{ParcelId: p.GetId()})
		if err != nil || len(pieces.GetPieces()) != 3 {
			t.Fatalf("got %v, %v", pieces, err)
		}
		if one := pieces.GetPieces()[2]; one.GetOpenedFrom() != lines[1].GetPieceId() || one.GetClaimId() != "" || one.GetKind() != typev1.Kind_KIND_BOULDER || one.GetFieldId() != "ashbarrel" {
			t.Errorf("got %v", one)
		}
		if group := pieces.GetPieces()[1]; group.GetSmallestUm() != 8_000 || group.GetLargestUm() != 15_000 {
			t.Errorf("got %v", group)
		}
	})
	t.Run("refused: the other side, before the handover", func(t *testing.T) {
		_, err := d.cutters.OpenLine(d.wetWheel, &cutterv1.OpenLineRequest{RequestId: "x", ParcelId: p.GetId(), PieceId: p.GetLines()[1].GetPieceId(), Pieces: open("", nil, "2b").GetPieces()})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "parcel_id")
	})
	t.Run("OK: the buyer goes on after the handover, and the yield accounts for it all", func(t *testing.T) {
		for _, err := range []error{
			second(d.cutters.TakeParcel(d.wetWheel, &cutterv1.TakeParcelRequest{RequestId: "t", ParcelId: p.GetId()})),
			second(d.miners.HandOverParcel(d.billycart, &minerv1.HandOverParcelRequest{RequestId: "h", ParcelId: p.GetId(), Count: 10, Total: grams(6505)})),
			second(d.cutters.ReceiveParcel(d.wetWheel, &cutterv1.ReceiveParcelRequest{RequestId: "r", ParcelId: p.GetId(), Count: 10, Total: grams(6505)})),
			second(d.cutters.OpenLine(d.wetWheel, &cutterv1.OpenLineRequest{
				RequestId: "o2", ParcelId: p.GetId(), PieceId: p.GetLines()[1].GetPieceId(), Pieces: open("", nil, "2b").GetPieces(), Left: grams(2084),
			})),
		} {
			if err != nil {
				t.Fatal(err)
			}
		}
		got, err := d.cutters.GetYield(d.wetWheel, &cutterv1.GetYieldRequest{ParcelId: p.GetId()})
		y := got.GetYield()
		if err != nil || y.GetBoughtUg() != 65_050_000 || y.GetUncutUg() != 65_040_000 || y.GetUnexplainedUg() != 10_000 {
			t.Errorf("got %v, %v", y, err)
		}
	})
}

func second[T any](_ T, err error) error { return err }
