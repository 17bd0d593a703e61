package coop_test

import (
	"testing"

	"google.golang.org/grpc/codes"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/stream"
	"seamshare.example/services/tradetest"
)

// fallenDeal is a parcel that was sold and paid, and whose buyer called the deal off.
func (d desks) fallenDeal(t *testing.T, callOff func()) (id string) {
	t.Helper()
	ctx := t.Context()
	listed, err := d.billycart.Miner().PublishParcel(ctx, &minerv1.PublishParcelRequest{
		RequestId: command.NewID(), Label: "P1", Treatment: typev1.Treatment_TREATMENT_NOT_KNOWN, OpenAtAsking: true, Agreement: cooptest.RisingShare(160000), Total: cooptest.Grams(20_000_000),
		Pieces: []*minerv1.NewPiece{{Label: "1", Weighing: cooptest.Grams(20_000_000), Size: &typev1.Size{LengthUm: 40_000, WidthUm: 30_000, DepthUm: 12_000}, Kind: typev1.Kind_KIND_BOULDER}},
	})
	if err != nil {
		t.Fatal(err)
	}
	id = listed.GetParcel().GetId()
	if _, err := d.wetWheel.Cutter().TakeParcel(ctx, &cutterv1.TakeParcelRequest{RequestId: command.NewID(), ParcelId: id}); err != nil {
		t.Fatal(err)
	}
	d.pay(t, cooptest.Parcel{ID: id}, 160000)
	callOff()
	if _, err := d.wetWheel.Cutter().CallOffMisdescribedDeal(ctx, &cutterv1.CallOffMisdescribedDealRequest{RequestId: command.NewID(), ParcelId: id, Why: "two pieces were glued"}); err != nil {
		t.Fatal(err)
	}
	return id
}

// wantBalances holds what the desk is told came in and is to be paid back, and that the
// rest is levies, costs and shares.
func (d desks) wantBalances(t *testing.T, receipts, back int64) {
	t.Helper()
	b, err := d.desk1.Coop().GetBalances(t.Context(), &coopv1.GetBalancesRequest{})
	if err != nil {
		t.Fatal(err)
	}
	left := receipts - back
	for _, list := range [][]*coopv1.Balance{b.GetLevies(), b.GetCosts(), b.GetShares()} {
		for _, a := range list {
			left -= minor(a.GetAmount())
		}
	}
	if minor(b.GetReceipts()[0].GetAmount()) != receipts || minor(b.GetToPayBack()[0].GetAmount()) != back || left != 0 {
		t.Errorf("want receipts %d, to pay back %d; got %v", receipts, back, b)
	}
}

func TestMoneyDueBackIsPaidToNobody(t *testing.T) {
	t.Run("of a deal that was called off", func(t *testing.T) {
		d := openDesks(t)
		var run *coopv1.PayoutRun
		id := d.fallenDeal(t, func() {
			var err error
			if run, err = prepare(t.Context(), d.desk1); err != nil || minor(run.GetTotal()) != 155200 {
				t.Fatalf("got %v, %v", run, err)
			}
		})
		d.wantBalances(t, 160000, 160000)
		_, err := approve(t.Context(), d.desk2, run)
		tradetest.Refused(t, err, codes.FailedPrecondition, "ABOVE_WHAT_IS_EARNED")
		_, err = prepare(t.Context(), d.desk1)
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOTHING_PAYABLE")
		d.recomputes(t)
		if _, err := d.correct(t, d.at(t, "parcel/"+id, "parcel.v1.Paid"), 150000); err != nil {
			t.Fatal(err)
		}
		d.wantBalances(t, 150000, 150000)
		if _, err := d.desk1.Coop().RecordParcelRefund(t.Context(), &coopv1.RecordParcelRefundRequest{RequestId: command.NewID(), ParcelId: id, Amount: cooptest.AUD(150000), Reference: "bank"}); err != nil {
			t.Fatal(err)
		}
		d.wantBalances(t, 0, 0)
		d.recomputes(t)
	})
	t.Run("of a stone that came back", func(t *testing.T) {
		d := openDesks(t)
		p := d.Cut(t, d.billycart, d.wetWheel, 74000)
		order, s := d.sell(t, p), p.Stones[0]
		if _, err := d.wetWheel.Cutter().AcceptReturn(t.Context(), &cutterv1.AcceptReturnRequest{RequestId: command.NewID(), StoneId: s.GetId(), Why: "not the colour hoped for", Weighing: s.GetWeighing(), Size: s.GetSize()}); err != nil {
			t.Fatal(err)
		}
		d.wantBalances(t, 74000, 74000)
		_, err := prepare(t.Context(), d.desk1)
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOTHING_PAYABLE")
		if _, err := d.desk1.Coop().RecordRefund(t.Context(), &coopv1.RecordRefundRequest{RequestId: command.NewID(), OrderId: order, StoneId: s.GetId(), Amount: s.GetPrice(), Reference: "bank"}); err != nil {
			t.Fatal(err)
		}
		d.wantBalances(t, 0, 0)
		d.recomputes(t)
	})
}

// correctPrice corrects the price of one stone or lot of an order.
func (d desks) correctPrice(t *testing.T, position uint64, stone string, minor int64) (*coopv1.Correction, error) {
	t.Helper()
	got, err := d.desk1.Coop().CorrectAmount(t.Context(), &coopv1.CorrectAmountRequest{RequestId: command.NewID(), Corrects: position, StoneId: stone, Amount: cooptest.AUD(minor), Reason: "typed wrong"})
	return got.GetCorrection(), err
}

func TestCorrectionsOfALotsPrice(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	p := d.Cut(t, d.billycart, d.wetWheel, 74000)
	q, err := d.Node.Query(ctx, 0)
	if err != nil {
		t.Fatal(err)
	}
	rough, _, err := eventstore.Load(q, stream.Parcel, p.ID)
	q.Close()
	if err != nil {
		t.Fatal(err)
	}
	made, err := d.wetWheel.Cutter().MakeLot(ctx, &cutterv1.MakeLotRequest{
		RequestId: command.NewID(), Label: "low end", Weighing: cooptest.Grams(10_000_000), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN,
		Sources: []*typev1.LotSource{{PieceId: rough.Lines[0].PieceID, Part: "1B", Count: 1, Weighing: cooptest.Grams(10_000_000)}},
	})
	if err != nil {
		t.Fatal(err)
	}
	lot, s := made.GetLot().GetId(), p.Stones[0]
	if _, err := d.wetWheel.Cutter().PutLotOnSale(ctx, &cutterv1.PutLotOnSaleRequest{RequestId: command.NewID(), LotId: lot, Unit: typev1.Unit_UNIT_PIECE, Price: cooptest.AUD(5000)}); err != nil {
		t.Fatal(err)
	}
	o, err := d.other.Jeweller().PlaceOrder(ctx, &jewellerv1.PlaceOrderRequest{
		RequestId: command.NewID(), Items: []*jewellerv1.OrderItem{{StoneId: s.GetId(), Price: s.GetPrice()}},
		Lots: []*jewellerv1.LotItem{{LotId: lot, Count: 1, Weighing: cooptest.Grams(10_000_000), Unit: typev1.Unit_UNIT_PIECE, Price: cooptest.AUD(5000)}},
	})
	if err != nil {
		t.Fatal(err)
	}
	id := o.GetOrder().GetId()
	if _, err := d.desk1.Coop().RecordOrderPayment(ctx, &coopv1.RecordOrderPaymentRequest{RequestId: command.NewID(), OrderId: id, Amount: cooptest.AUD(77000), Reference: "bank"}); err != nil {
		t.Fatal(err)
	}
	placed := d.at(t, "order/"+id, "order.v1.Placed")
	// A receipt isn't touched by a correction of the order that names no line.
	_, err = d.correct(t, placed, 3000)
	tradetest.Refused(t, err, codes.FailedPrecondition, "NOTHING_TO_CORRECT")
	if _, err := d.correctPrice(t, placed, lot, 3000); err != nil {
		t.Fatal(err)
	}
	if st := d.statement(t, p); minor(st.GetSalesReceived()) != 77000 {
		t.Errorf("got %v", st)
	}
	got, err := d.other.Jeweller().GetOrder(ctx, &jewellerv1.GetOrderRequest{OrderId: id})
	if err != nil || minor(got.GetOrder().GetTotal()) != 77000 || minor(got.GetOrder().GetOpen()) != 0 {
		t.Errorf("got %v, %v", got, err)
	}
	d.recomputes(t)
}

func TestTheBuyerOfAFallenDealDisputesIt(t *testing.T) {
	d := openDesks(t)
	id := d.fallenDeal(t, func() {})
	open := func(minor int64) error {
		_, err := d.wetWheel.Coop().OpenDispute(t.Context(), &coopv1.OpenDisputeRequest{RequestId: command.NewID(), About: "parcel/" + id, Amount: cooptest.AUD(minor), Reason: "my money isn't back"})
		return err
	}
	tradetest.Refused(t, open(1), codes.FailedPrecondition, "ABOVE_WHAT_IS_THEIRS")
	if err := open(0); err != nil {
		t.Errorf("a dispute that holds nothing, as nothing is earned there: %v", err)
	}
}
