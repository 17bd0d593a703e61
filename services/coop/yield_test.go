package coop_test

import (
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tradetest"
)

// TestYieldOfLots: what counted lots ask and bring stands in the yield of their parcel,
// and what may stay unexplained is what the co-op's settings say.
func TestYieldOfLots(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	p := d.Cut(t, d.billycart, d.wetWheel, 74000, 42000)
	yield := func(t *testing.T) *cutterv1.Yield {
		t.Helper()
		got, err := d.wetWheel.Cutter().GetYield(ctx, &cutterv1.GetYieldRequest{ParcelId: p.ID})
		if err != nil {
			t.Fatal(err)
		}
		return got.GetYield()
	}
	is := func(t *testing.T, asked, sold, lotsAsked, lotsSold int64) {
		t.Helper()
		if y := yield(t); minor(y.GetAsked()) != asked || minor(y.GetSold()) != sold || minor(y.GetLotsAsked()) != lotsAsked || minor(y.GetLotsSold()) != lotsSold {
			t.Errorf("got %v, want %d asked, %d sold, of lots %d and %d", y, asked, sold, lotsAsked, lotsSold)
		}
	}
	t.Run("the tolerance is the settings' of today", func(t *testing.T) {
		if got := yield(t).GetToleranceUg(); got != 50_000 {
			t.Errorf("got %d", got)
		}
		d.set(t, func(s *coopv1.Settings) { s.UnexplainedUgPer_100G = 20_000 })
		if got := yield(t).GetToleranceUg(); got != 20_000 {
			t.Errorf("got %d", got)
		}
	})
	is(t, 116000, 0, 0, 0)
	// Two parts of 10 g each: 100 ct.
	made, err := d.wetWheel.Cutter().MakeLot(ctx, &cutterv1.MakeLotRequest{
		RequestId: command.NewID(), Label: "low end", Weighing: cooptest.Grams(20_000_000), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN,
		Sources: []*typev1.LotSource{
			{PieceId: p.Stones[0].GetPieceId(), Part: "1B", Count: 1, Weighing: cooptest.Grams(10_000_000)},
			{PieceId: p.Stones[1].GetPieceId(), Part: "2B", Count: 1, Weighing: cooptest.Grams(10_000_000)},
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	is(t, 116000, 0, 0, 0)
	id := made.GetLot().GetId()
	ask := func(minor int64) {
		t.Helper()
		if _, err := d.wetWheel.Cutter().PutLotOnSale(ctx, &cutterv1.PutLotOnSaleRequest{RequestId: command.NewID(), LotId: id, Unit: typev1.Unit_UNIT_CARAT, Price: cooptest.AUD(minor)}); err != nil {
			t.Fatal(err)
		}
	}
	take := func(ug, price int64) error {
		_, err := d.other.Jeweller().PlaceOrder(ctx, &jewellerv1.PlaceOrderRequest{RequestId: command.NewID(), Lots: []*jewellerv1.LotItem{
			{LotId: id, Count: 1, Weighing: cooptest.Grams(ug), Unit: typev1.Unit_UNIT_CARAT, Price: cooptest.AUD(price)},
		}})
		return err
	}
	t.Run("refused: a piece that weighs next to nothing, and only that is said", func(t *testing.T) {
		ask(1)
		err := take(190_000, 1) // 0.95 ct at a cent, where a piece of the lot has 50
		tradetest.Refused(t, err, codes.FailedPrecondition, "MASS_UNLIKELY", "lots[0].weighing.mass_ug")
		if n := violations(err); n != 1 {
			t.Errorf("%d violations: %v", n, err)
		}
	})
	ask(50)
	is(t, 116000+5000, 0, 5000, 0)
	if err := take(8_000_000, 50); err != nil { // 40 ct
		t.Fatal(err)
	}
	is(t, 116000+3000, 2000, 3000, 2000)
	d.sell(t, cooptest.Parcel{Stones: p.Stones[:1]})
	is(t, 42000+3000, 74000+2000, 3000, 2000)
}

// violations counts what a refusal names.
func violations(err error) (n int) {
	for _, d := range status.Convert(err).Details() {
		switch d := d.(type) {
		case *errdetails.BadRequest:
			n += len(d.GetFieldViolations())
		case *errdetails.PreconditionFailure:
			n += len(d.GetViolations())
		}
	}
	return n
}
