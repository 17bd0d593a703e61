package coop_test

import (
	"testing"
	"time"

	"google.golang.org/grpc/codes"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tradetest"
)

// set changes the co-op's settings, from now on.
func (d desks) set(t *testing.T, change func(*coopv1.Settings)) {
	t.Helper()
	got, err := d.Desk.Coop().GetSettings(t.Context(), &coopv1.GetSettingsRequest{})
	if err != nil {
		t.Fatal(err)
	}
	change(got.GetSettings())
	if _, err := d.Desk.Coop().ChangeSettings(t.Context(), &coopv1.ChangeSettingsRequest{RequestId: command.NewID(), Settings: got.GetSettings(), Reason: "the meeting said so"}); err != nil {
		t.Fatal(err)
	}
}

func publishing(agreement *typev1.Agreement) *minerv1.PublishParcelRequest {
	return &minerv1.PublishParcelRequest{
		RequestId: command.NewID(), Label: "P1", Treatment: typev1.Treatment_TREATMENT_NOT_KNOWN, OpenAtAsking: true, Agreement: agreement, Total: cooptest.Grams(20_000_000),
		Pieces: []*minerv1.NewPiece{{Label: "1", Weighing: cooptest.Grams(20_000_000), Size: &typev1.Size{LengthUm: 40_000, WidthUm: 30_000, DepthUm: 12_000}, Kind: typev1.Kind_KIND_BOULDER}},
	}
}

// TestLeastLevy: whatever makes an agreement holds it to the co-op's least levies.
func TestLeastLevy(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	ends := time.Now().Add(24 * time.Hour).Format(time.RFC3339)
	low := func() *typev1.Agreement {
		a := outright(38000)
		a.SaleLevy.BasisPoints = 599
		return a
	}
	const sale, parcel = "agreement.sale_levy.basis_points", "agreement.parcel_levy.basis_points"
	refused := func(t *testing.T, err error, fields ...string) {
		t.Helper()
		tradetest.Refused(t, err, codes.InvalidArgument, "LEVY_TOO_LOW", fields...)
	}
	old, err := d.billycart.Miner().PublishParcel(ctx, publishing(low()))
	if err != nil {
		t.Fatal(err)
	}
	offered, err := d.wetWheel.Cutter().MakeOffer(ctx, &cutterv1.MakeOfferRequest{RequestId: command.NewID(), ParcelId: old.GetParcel().GetId(), Agreement: low(), EndsAt: ends})
	if err != nil {
		t.Fatal(err)
	}
	d.set(t, func(s *coopv1.Settings) { s.ParcelLevyMinBp, s.SaleLevyMinBp = 300, 600 })

	t.Run("refused: a deal on what was agreed under the settings before", func(t *testing.T) {
		_, err := d.billycart.Miner().AcceptOffer(ctx, &minerv1.AcceptOfferRequest{RequestId: command.NewID(), ParcelId: old.GetParcel().GetId(), OfferId: offered.GetOffer().GetId()})
		refused(t, err, sale)
		_, err = d.twoDops.Cutter().TakeParcel(ctx, &cutterv1.TakeParcelRequest{RequestId: command.NewID(), ParcelId: old.GetParcel().GetId()})
		refused(t, err, sale)
	})
	t.Run("refused: a listing, with both levies named, and a cap, which a dear stone would come in under", func(t *testing.T) {
		wrong := low()
		wrong.ParcelLevy = nil
		_, err := d.billycart.Miner().PublishParcel(ctx, publishing(wrong))
		refused(t, err, sale, parcel)
		wrong = outright(38000)
		wrong.SaleLevy.Cap = cooptest.AUD(10000)
		_, err = d.billycart.Miner().PublishParcel(ctx, publishing(wrong))
		refused(t, err, "agreement.sale_levy.cap")
	})
	t.Run("refused: a new price, an offer and a counter-offer", func(t *testing.T) {
		_, err := d.billycart.Miner().RepriceParcel(ctx, &minerv1.RepriceParcelRequest{RequestId: command.NewID(), ParcelId: old.GetParcel().GetId(), Agreement: &typev1.Agreement{Price: cooptest.AUD(30000)}})
		refused(t, err, sale)
		_, err = d.twoDops.Cutter().MakeOffer(ctx, &cutterv1.MakeOfferRequest{RequestId: command.NewID(), ParcelId: old.GetParcel().GetId(), Agreement: &typev1.Agreement{Price: cooptest.AUD(30000)}, EndsAt: ends})
		refused(t, err, sale)
		_, err = d.billycart.Miner().CounterOffer(ctx, &minerv1.CounterOfferRequest{RequestId: command.NewID(), ParcelId: old.GetParcel().GetId(), OfferId: offered.GetOffer().GetId(), Agreement: low(), EndsAt: ends})
		refused(t, err, sale)
	})
	t.Run("OK: at the least itself; rough that is placed needs no levy on its price", func(t *testing.T) {
		if _, err := d.billycart.Miner().PublishParcel(ctx, publishing(outright(38000))); err != nil {
			t.Fatal(err)
		}
		placed := halves()
		placed.ParcelLevy = nil
		if _, err := d.billycart.Miner().PublishParcel(ctx, publishing(placed)); err != nil {
			t.Fatal(err)
		}
	})
	t.Run("OK: as proposed before, once the levy is enough; refused again when more is asked", func(t *testing.T) {
		if _, err := d.billycart.Miner().RepriceParcel(ctx, &minerv1.RepriceParcelRequest{RequestId: command.NewID(), ParcelId: old.GetParcel().GetId(), Agreement: outright(30000), OpenAtAsking: true}); err != nil {
			t.Fatal(err)
		}
		d.set(t, func(s *coopv1.Settings) { s.SaleLevyMinBp = 700 })
		if _, err := d.billycart.Miner().WithdrawParcel(ctx, &minerv1.WithdrawParcelRequest{RequestId: command.NewID(), ParcelId: old.GetParcel().GetId()}); err != nil {
			t.Fatal(err)
		}
		_, err := d.billycart.Miner().RelistParcel(ctx, &minerv1.RelistParcelRequest{RequestId: command.NewID(), ParcelId: old.GetParcel().GetId()})
		refused(t, err, sale)
	})
}

// TestPurchaseDue: the settings say when a price is due, unless the agreement does;
// from then on nothing is cut until it is paid.
func TestPurchaseDue(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	const day = 24 * time.Hour
	d.set(t, func(s *coopv1.Settings) { s.PurchaseDueDays = 10 })
	taken := func(agreement *typev1.Agreement) *typev1.Parcel {
		t.Helper()
		listed, err := d.billycart.Miner().PublishParcel(ctx, publishing(agreement))
		if err != nil {
			t.Fatal(err)
		}
		id := listed.GetParcel().GetId()
		if _, err := d.wetWheel.Cutter().TakeParcel(ctx, &cutterv1.TakeParcelRequest{RequestId: command.NewID(), ParcelId: id}); err != nil {
			t.Fatal(err)
		}
		if _, err := d.billycart.Miner().HandOverParcel(ctx, &minerv1.HandOverParcelRequest{RequestId: command.NewID(), ParcelId: id, Count: 1, Total: cooptest.Grams(20_000_000)}); err != nil {
			t.Fatal(err)
		}
		got, err := d.wetWheel.Cutter().ReceiveParcel(ctx, &cutterv1.ReceiveParcelRequest{RequestId: command.NewID(), ParcelId: id, Count: 1, Total: cooptest.Grams(20_000_000)})
		if err != nil {
			t.Fatal(err)
		}
		return got.GetParcel()
	}
	saw := func(p *typev1.Parcel) error {
		_, err := d.wetWheel.Cutter().WorkPart(ctx, &cutterv1.WorkPartRequest{
			RequestId: command.NewID(), PieceId: p.GetLines()[0].GetPieceId(), Part: "1", Step: typev1.Step_STEP_TRIM, Reason: typev1.Reason_REASON_WASTE,
			PartsOut: []*cutterv1.PartOut{{Name: "1", Weighing: cooptest.Grams(19_000_000)}},
		})
		return err
	}
	slow := outright(38000)
	slow.PaymentDays = 20
	usual, agreed := taken(outright(38000)), taken(slow)
	for days, p := range map[int]*typev1.Parcel{10: usual, 20: agreed} {
		if due, err := time.Parse(time.RFC3339Nano, p.GetDueAt()); err != nil || due.Sub(d.clock.read()).Round(time.Hour) != time.Duration(days)*day {
			t.Errorf("it is due at %s, %v; want in %d days", p.GetDueAt(), err, days)
		}
	}
	t.Run("refused: cutting once the settings' days are over, where the agreement names none", func(t *testing.T) {
		d.clock.move(10*day + time.Hour)
		tradetest.Refused(t, saw(usual), codes.FailedPrecondition, "PURCHASE_OVERDUE", "parcel_id")
		if err := saw(agreed); err != nil {
			t.Error(err)
		}
	})
	t.Run("refused: cutting once the agreement's days are over; OK: when it is paid", func(t *testing.T) {
		d.clock.move(10 * day)
		tradetest.Refused(t, saw(agreed), codes.FailedPrecondition, "PURCHASE_OVERDUE", "parcel_id")
		d.pay(t, cooptest.Parcel{ID: usual.GetId()}, 38000)
		if err := saw(usual); err != nil {
			t.Error(err)
		}
	})
}
