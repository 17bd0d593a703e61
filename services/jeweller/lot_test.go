package jeweller_test

import (
	"testing"

	"google.golang.org/grpc/codes"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tradetest"
)

// lot is two off-cuts of 10 g each, on sale at 10.00.
func (s shop) lot(t *testing.T, unit typev1.Unit) *typev1.Lot {
	t.Helper()
	made, err := s.cutter.Cutter().MakeLot(t.Context(), &cutterv1.MakeLotRequest{
		RequestId: command.NewID(), Label: "low end", Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, Weighing: cooptest.Grams(20_000_000),
		Sources: []*typev1.LotSource{
			{PieceId: s.stones[0].GetPieceId(), Part: "1B", Count: 1, Weighing: cooptest.Grams(10_000_000)},
			{PieceId: s.stones[1].GetPieceId(), Part: "2B", Count: 1, Weighing: cooptest.Grams(10_000_000)},
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	on, err := s.cutter.Cutter().PutLotOnSale(t.Context(), &cutterv1.PutLotOnSaleRequest{RequestId: command.NewID(), LotId: made.GetLot().GetId(), Unit: unit, Price: cooptest.AUD(1000)})
	if err != nil {
		t.Fatal(err)
	}
	return on.GetLot()
}

func (s shop) take(t *testing.T, l *typev1.Lot, count uint32, w *typev1.Weighing) (*jewellerv1.Order, error) {
	t.Helper()
	got, err := s.marrow.Jeweller().PlaceOrder(t.Context(), &jewellerv1.PlaceOrderRequest{RequestId: command.NewID(), Lots: []*jewellerv1.LotItem{
		{LotId: l.GetId(), Count: count, Weighing: w, Unit: l.GetUnit(), Price: l.GetPrice()},
	}})
	return got.GetOrder(), err
}

func TestPortion(t *testing.T) {
	s := open(t, 100, 200)
	t.Run("refused: by the carat, a piece for next to nothing", func(t *testing.T) {
		l := s.lot(t, typev1.Unit_UNIT_CARAT)
		_, err := s.take(t, l, 1, &typev1.Weighing{MassUg: 200, DivisionUg: 100})
		tradetest.Refused(t, err, codes.FailedPrecondition, "MASS_UNLIKELY", "lots[0].weighing.mass_ug")
		_, err = s.take(t, l, 1, nil)
		tradetest.Refused(t, err, codes.InvalidArgument, "MASS_INVALID", "lots[0].weighing.mass_ug")
		if _, err := s.cutter.Cutter().UnmakeLot(t.Context(), &cutterv1.UnmakeLotRequest{RequestId: command.NewID(), LotId: l.GetId(), Why: "sorted anew"}); err != nil {
			t.Fatal(err)
		}
	})
	t.Run("OK: by the piece the mass is the mean's where the buyer names none", func(t *testing.T) {
		got, err := s.take(t, s.lot(t, typev1.Unit_UNIT_PIECE), 1, nil)
		if err != nil || got.GetTotal().GetUnits() != 10 {
			t.Errorf("got %v, %v", got, err)
		}
	})
}

func TestSendPortion(t *testing.T) {
	s := open(t, 100, 200)
	l := s.lot(t, typev1.Unit_UNIT_CARAT)
	o, err := s.take(t, l, 1, cooptest.Grams(8_000_000))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.books.Coop().RecordOrderPayment(t.Context(), &coopv1.RecordOrderPaymentRequest{RequestId: command.NewID(), OrderId: o.GetId(), Amount: o.GetTotal(), Reference: "bank"}); err != nil {
		t.Fatal(err)
	}
	send := func(lots ...*cutterv1.SentPortion) error {
		_, err := s.cutter.Cutter().DispatchOrder(t.Context(), &cutterv1.DispatchOrderRequest{RequestId: command.NewID(), OrderId: o.GetId(), Carrier: "by hand", Reference: "1", Lots: lots})
		return err
	}
	portion := func(count uint32, ug int64) *cutterv1.SentPortion {
		return &cutterv1.SentPortion{LotId: l.GetId(), Count: count, Weighing: cooptest.Grams(ug)}
	}
	tradetest.Refused(t, send(), codes.InvalidArgument, "NOT_ANSWERED", "lots")
	tradetest.Refused(t, send(portion(1, 8_000_000), portion(1, 8_000_000)), codes.InvalidArgument, "NAMED_TWICE", "lots[1].lot_id")
	tradetest.Refused(t, send(portion(2, 8_000_000)), codes.FailedPrecondition, "COUNT_DIFFERS", "lots[0].count")
	tradetest.Refused(t, send(portion(1, 9_000_000)), codes.FailedPrecondition, "WEIGHINGS_DIFFER", "lots[0].weighing.mass_ug")
	if err := send(portion(1, 8_002_000)); err != nil { // within a division of each scale
		t.Fatal(err)
	}
}

// TestLotsOnSale: only what can be bought is listed, and a cancelled order brings its
// portion back as it was.
func TestLotsOnSale(t *testing.T) {
	s := open(t, 100, 200)
	l := s.lot(t, typev1.Unit_UNIT_PIECE)
	listed := func(want uint32) {
		t.Helper()
		got, err := s.fernhook.Jeweller().ListLotsOnSale(t.Context(), &jewellerv1.ListLotsOnSaleRequest{})
		switch {
		case err != nil:
			t.Fatal(err)
		case want == 0 && len(got.GetLots()) != 0:
			t.Errorf("got %v", got.GetLots())
		case want > 0 && (len(got.GetLots()) != 1 || got.GetLots()[0].GetCount() != want || got.GetLots()[0].GetPrice().GetUnits() != 10 || got.GetLots()[0].GetUnit() != l.GetUnit()):
			t.Errorf("got %v, want %d on sale", got.GetLots(), want)
		}
	}
	order := func(count uint32) *jewellerv1.Order {
		t.Helper()
		o, err := s.take(t, l, count, nil)
		if err != nil {
			t.Fatal(err)
		}
		return o
	}
	listed(2)
	order(1)
	listed(1)
	last := order(1)
	listed(0)
	if _, err := s.marrow.Jeweller().CancelOrder(t.Context(), &jewellerv1.CancelOrderRequest{RequestId: command.NewID(), OrderId: last.GetId(), Why: "too many"}); err != nil {
		t.Fatal(err)
	}
	listed(1)
	last = order(1)
	if _, err := s.cutter.Cutter().AcceptLotReturn(t.Context(), &cutterv1.AcceptLotReturnRequest{
		RequestId: command.NewID(), OrderId: last.GetId(), LotId: l.GetId(), Count: 1, Weighing: cooptest.Grams(10_000_000), Why: "too pale",
	}); err != nil {
		t.Fatal(err)
	}
	listed(0)
}

func TestMakeLotRefused(t *testing.T) {
	s := open(t, 100, 200)
	_, err := s.cutter.Cutter().MakeLot(t.Context(), &cutterv1.MakeLotRequest{
		RequestId: command.NewID(), Label: "low end", Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, Weighing: cooptest.Grams(10_000_000),
		Sources: []*typev1.LotSource{{PieceId: s.stones[0].GetPieceId(), Part: "1B", Count: 50, Weighing: cooptest.Grams(10_000_000)}},
	})
	tradetest.Refused(t, err, codes.InvalidArgument, "COUNT_INVALID", "sources[0].count")
}
