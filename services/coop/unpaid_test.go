package coop_test

import (
	"testing"
	"time"

	"google.golang.org/grpc/codes"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tradetest"
)

const day = 24 * time.Hour

// todo is what a person's day has of a kind, about a thing.
func todo(t *testing.T, who cooptest.Person, kind, thing string) *coopv1.TodayItem {
	t.Helper()
	got, err := who.Coop().Today(t.Context(), &coopv1.TodayRequest{})
	if err != nil {
		t.Fatal(err)
	}
	for _, item := range got.GetItems() {
		if item.GetKind() == kind && item.GetThing() == thing {
			return item
		}
	}
	return nil
}

// TestUnpaidOrder: an order carries the day by which it has to be paid, and its cutter
// calls it off after that day and not before; the deposit goes back as any money does.
func TestUnpaidOrder(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	p := d.Cut(t, d.billycart, d.wetWheel, 74000, 42000)
	req := cooptest.OrderOf(p.Stones...)
	req.Deposit = cooptest.AUD(20000)
	placed, err := d.other.Jeweller().PlaceOrder(ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	id := placed.GetOrder().GetId()
	by, err := time.Parse(time.RFC3339Nano, placed.GetOrder().GetPayBy())
	if want := d.clock.read().Add(14 * day); err != nil || by.Sub(want).Abs() > time.Minute {
		t.Fatalf("it is to be paid by %q, want %v: %v", placed.GetOrder().GetPayBy(), want, err)
	}
	callOff := func(who cooptest.Person, etag string) (*cutterv1.Sale, error) {
		got, err := who.Cutter().CallOffUnpaidOrder(ctx, &cutterv1.CallOffUnpaidOrderRequest{RequestId: command.NewID(), OrderId: id, Why: "not paid", Etag: etag})
		return got.GetSale(), err
	}
	exception := func() (found *coopv1.Exception) {
		for _, e := range exceptions(t, d.audit, false) {
			if e.GetKind() == "order not paid" {
				found = e
			}
		}
		return found
	}
	t.Run("the day stands from when it was made, whatever the settings say since", func(t *testing.T) {
		d.set(t, func(s *coopv1.Settings) { s.PaymentDays = 3 })
		got, err := d.other.Jeweller().GetOrder(ctx, &jewellerv1.GetOrderRequest{OrderId: id})
		if err != nil || got.GetOrder().GetPayBy() != placed.GetOrder().GetPayBy() {
			t.Errorf("got %v, %v", got, err)
		}
	})
	d.clock.move(14*day - time.Hour)
	t.Run("refused: before its day; nobody's exception or work yet", func(t *testing.T) {
		_, err := callOff(d.wetWheel, "")
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOT_OVERDUE", "order_id")
		if exception() != nil || todo(t, d.wetWheel, "orders overdue", "order/"+id) != nil {
			t.Errorf("it is overdue already: %v", exception())
		}
		if item := todo(t, d.other, "orders unpaid", "order/"+id); item.GetDue() == "" {
			t.Errorf("the jeweller sees no day: %v", item)
		}
	})
	if _, err := d.desk1.Coop().RecordOrderPayment(ctx, &coopv1.RecordOrderPaymentRequest{RequestId: command.NewID(), OrderId: id, Amount: cooptest.AUD(20000), Reference: "bank"}); err != nil {
		t.Fatal(err)
	}
	d.clock.move(2 * time.Hour)
	t.Run("after its day it is work of its cutter and the bookkeeper, and an exception", func(t *testing.T) {
		for _, who := range []cooptest.Person{d.wetWheel, d.desk1} {
			if todo(t, who, "orders overdue", "order/"+id) == nil {
				t.Error("it isn't in the day")
			}
		}
		if e := exception(); e == nil || len(e.GetMemberIds()) != 2 || e.GetThing() != "order/"+id {
			t.Errorf("got %v", e)
		}
	})
	t.Run("refused: another cutter's; seen otherwise", func(t *testing.T) {
		_, err := callOff(d.twoDops, "")
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND")
		_, err = callOff(d.wetWheel, "not-that")
		tradetest.Refused(t, err, codes.Aborted, "ETAG_DIFFERS", "etag")
	})
	t.Run("OK: its stones are on sale as they were, and the deposit is paid back", func(t *testing.T) {
		shown, err := d.wetWheel.Cutter().GetSale(ctx, &cutterv1.GetSaleRequest{OrderId: id})
		if err != nil || shown.GetSale().GetPaid() || shown.GetSale().GetPayBy() != placed.GetOrder().GetPayBy() {
			t.Fatalf("got %v, %v", shown, err)
		}
		if _, err := callOff(d.wetWheel, shown.GetSale().GetEtag()); err != nil {
			t.Fatal(err)
		}
		for _, s := range p.Stones {
			got, err := d.wetWheel.Cutter().GetStone(ctx, &cutterv1.GetStoneRequest{StoneId: s.GetId()})
			if err != nil || got.GetStone().GetState() != typev1.StoneState_STONE_STATE_ON_SALE || minor(got.GetStone().GetPrice()) != minor(s.GetPrice()) {
				t.Errorf("got %v, %v", got, err)
			}
		}
		d.Order(t, d.other, p.Stones...) // both can be bought again
		if todo(t, d.desk1, "refunds due", "order/"+id) == nil || exception() != nil {
			t.Errorf("no refund is due, or it is still an exception: %v", exception())
		}
		if _, err := d.desk1.Coop().RecordRefund(ctx, &coopv1.RecordRefundRequest{RequestId: command.NewID(), OrderId: id, StoneId: p.Stones[0].GetId(), Amount: cooptest.AUD(20000), Reference: "bank"}); err != nil {
			t.Fatal(err)
		}
		_, err = callOff(d.wetWheel, "")
		tradetest.Refused(t, err, codes.FailedPrecondition, "ORDER_UNDER_WAY", "order_id")
	})
}

// TestUnpaidBySettings: later orders have the days of the settings of their moment.
func TestUnpaidBySettings(t *testing.T) {
	d := openDesks(t)
	p := d.Cut(t, d.billycart, d.wetWheel, 74000)
	d.set(t, func(s *coopv1.Settings) { s.PaymentDays = 3 })
	o := d.Order(t, d.other, p.Stones...)
	d.clock.move(3*day + time.Hour)
	if _, err := d.wetWheel.Cutter().CallOffUnpaidOrder(t.Context(), &cutterv1.CallOffUnpaidOrderRequest{RequestId: command.NewID(), OrderId: o.GetId(), Why: "not paid"}); err != nil {
		t.Fatal(err)
	}
}

// TestHeldTwice: disputes on the same money hold together no more than was earned there.
func TestHeldTwice(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	p := d.Cut(t, d.billycart, d.wetWheel, 74000)
	d.pay(t, p, 160000) // 1 552.00 of it the miner's
	dispute := func(about string, minor int64) (string, error) {
		got, err := d.wetWheel.Coop().OpenDispute(ctx, &coopv1.OpenDisputeRequest{
			RequestId: command.NewID(), About: about, AgainstMemberId: d.billycart.Member, Amount: cooptest.AUD(minor), Reason: "not as described",
		})
		return got.GetDispute().GetId(), err
	}
	first, err := dispute("parcel/"+p.ID, 100000)
	if err != nil {
		t.Fatal(err)
	}
	_, err = dispute("parcel/"+p.ID, 55201)
	tradetest.Refused(t, err, codes.FailedPrecondition, "ABOVE_WHAT_IS_THEIRS", "amount")
	_, err = dispute("stone/"+p.Stones[0].GetId(), 55201) // the same parcel's money
	tradetest.Refused(t, err, codes.FailedPrecondition, "ABOVE_WHAT_IS_THEIRS", "amount")
	if _, err := dispute("stone/"+p.Stones[0].GetId(), 55200); err != nil {
		t.Fatal(err)
	}
	_, err = dispute("parcel/"+p.ID, 1)
	tradetest.Refused(t, err, codes.FailedPrecondition, "ABOVE_WHAT_IS_THEIRS", "amount")
	if _, err := dispute("parcel/"+p.ID, 0); err != nil {
		t.Fatalf("all is held, and a dispute that holds nothing is refused: %v", err)
	}
	if _, err := d.wetWheel.Coop().WithdrawDispute(ctx, &coopv1.WithdrawDisputeRequest{RequestId: command.NewID(), DisputeId: first, Reason: "settled"}); err != nil {
		t.Fatal(err)
	}
	if _, err := dispute("parcel/"+p.ID, 100000); err != nil {
		t.Errorf("what was let go can't be held again: %v", err)
	}
}

// TestSettingsSeen: settings that were changed by another since they were read aren't
// written over.
func TestSettingsSeen(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	seen, err := d.Desk.Coop().GetSettings(ctx, &coopv1.GetSettingsRequest{})
	if err != nil {
		t.Fatal(err)
	}
	change := func(etag string, hours int64) error {
		s := seen.GetSettings()
		s.WaitHours = hours
		_, err := d.Desk.Coop().ChangeSettings(ctx, &coopv1.ChangeSettingsRequest{RequestId: command.NewID(), Settings: s, Reason: "the members met", Etag: etag})
		return err
	}
	if err := change(seen.GetEtag(), 80); err != nil {
		t.Fatal(err)
	}
	tradetest.Refused(t, change(seen.GetEtag(), 90), codes.Aborted, "ETAG_DIFFERS", "etag")
	if err := change("", 90); err != nil {
		t.Fatal(err)
	}
}

// TestPlanSeen: a plan that was revised by another since it was read isn't written over.
func TestPlanSeen(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	piece := d.Cut(t, d.billycart, d.wetWheel, 74000).Stones[0].GetPieceId()
	draft := &typev1.PlanDraft{Label: "one", Reason: "sure"}
	made, err := d.wetWheel.Cutter().MakePlan(ctx, &cutterv1.MakePlanRequest{RequestId: command.NewID(), PieceId: piece, Plan: draft})
	if err != nil {
		t.Fatal(err)
	}
	seen := made.GetPlan()
	revise := func() error {
		_, err := d.wetWheel.Cutter().RevisePlan(ctx, &cutterv1.RevisePlanRequest{RequestId: command.NewID(), PieceId: piece, PlanId: seen.GetId(), Plan: draft, Why: "looked again", Etag: seen.GetEtag()})
		return err
	}
	if err := revise(); err != nil {
		t.Fatal(err)
	}
	tradetest.Refused(t, revise(), codes.Aborted, "ETAG_DIFFERS", "etag")
	_, err = d.wetWheel.Cutter().ChoosePlan(ctx, &cutterv1.ChoosePlanRequest{RequestId: command.NewID(), PieceId: piece, PlanId: seen.GetId(), Reason: "x", Etag: seen.GetEtag()})
	tradetest.Refused(t, err, codes.Aborted, "ETAG_DIFFERS", "etag")
}

// TestCorrectRefund: money that wasn't paid back after all is to be paid back again.
func TestCorrectRefund(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	p := d.Cut(t, d.billycart, d.wetWheel, 74000)
	s := p.Stones[0]
	order := d.sell(t, p)
	before := d.shares(t, p)
	if _, err := d.wetWheel.Cutter().AcceptReturn(ctx, &cutterv1.AcceptReturnRequest{RequestId: command.NewID(), StoneId: s.GetId(), Why: "too dark", Weighing: s.GetWeighing(), Size: s.GetSize()}); err != nil {
		t.Fatal(err)
	}
	back := d.shares(t, p)
	refund := func(minor int64) (uint64, error) {
		got, err := d.desk1.Coop().RecordRefund(ctx, &coopv1.RecordRefundRequest{RequestId: command.NewID(), OrderId: order, StoneId: s.GetId(), Amount: cooptest.AUD(minor), Reference: "bank"})
		return got.GetPosition(), err
	}
	at, err := refund(74000)
	if err != nil {
		t.Fatal(err)
	}
	correct := func(minor int64) error {
		_, err := d.desk1.Coop().CorrectAmount(ctx, &coopv1.CorrectAmountRequest{RequestId: command.NewID(), Corrects: at, Amount: cooptest.AUD(minor), Reason: "the bank sent it back"})
		return err
	}
	tradetest.Refused(t, correct(74001), codes.FailedPrecondition, "ABOVE_WHAT_IS_OWED", "amount")
	tradetest.Refused(t, correct(74000), codes.FailedPrecondition, "SAME_AS_RECORDED")
	if err := correct(0); err != nil {
		t.Fatal(err)
	}
	if todo(t, d.desk1, "refunds due", "order/"+order) == nil {
		t.Error("nothing is to be paid back")
	}
	if now := d.shares(t, p); now != back || now == before {
		t.Errorf("the shares are %v, and were %v with the refund and %v before the return", now, back, before)
	}
	if _, err := refund(74000); err != nil {
		t.Errorf("it can't be paid back again: %v", err)
	}
}

// shares are what two parties have of a parcel.
func (d desks) shares(t *testing.T, p cooptest.Parcel) [2]int64 {
	t.Helper()
	got, err := d.desk1.Coop().GetShares(t.Context(), &coopv1.GetSharesRequest{ParcelId: p.ID})
	if err != nil {
		t.Fatal(err)
	}
	return [2]int64{shareOf(got.GetStatement(), "miner"), shareOf(got.GetStatement(), "cutter")}
}

// TestSettledByMistake: a line that was settled by mistake is sent back by a second
// person, and its amount can be paid by another run.
func TestSettledByMistake(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	p := d.Cut(t, d.billycart, d.wetWheel, 74000)
	d.pay(t, p, 160000)
	second := d.Add(t, d.Desk.Member, bookkeeper)
	run, err := prepare(ctx, d.desk1)
	if err != nil {
		t.Fatal(err)
	}
	if run, err = approve(ctx, d.desk2, run); err != nil {
		t.Fatal(err)
	}
	for _, l := range run.GetLines() {
		if _, err := d.desk1.Coop().SettlePayoutLine(ctx, &coopv1.SettlePayoutLineRequest{RequestId: command.NewID(), RunId: run.GetId(), LineId: l.GetId(), Reference: "bank"}); err != nil {
			t.Fatal(err)
		}
	}
	line := lineOf(run, d.billycart.Member)
	sendBack := func(who cooptest.Person) error {
		_, err := who.Coop().ReturnPayoutLine(ctx, &coopv1.ReturnPayoutLineRequest{RequestId: command.NewID(), RunId: run.GetId(), LineId: line.GetId(), Reason: "it was another line"})
		return err
	}
	tradetest.Refused(t, sendBack(d.desk1), codes.PermissionDenied, "SECOND_PERSON_NEEDED")
	tradetest.Refused(t, sendBack(second), codes.FailedPrecondition, "TWO_PEOPLE_NOT_STATED")
	d.twoPeople(t, d.desk1, second)
	_, err = prepare(ctx, d.desk1)
	tradetest.Refused(t, err, codes.FailedPrecondition, "NOTHING_PAYABLE")
	if err := sendBack(second); err != nil {
		t.Fatal(err)
	}
	again, err := prepare(ctx, d.desk1)
	if err != nil || minor(lineOf(again, d.billycart.Member).GetAmount()) != minor(line.GetAmount()) {
		t.Errorf("got %v, %v", again, err)
	}
	tradetest.Refused(t, sendBack(second), codes.FailedPrecondition, "LINE_STANDS_OTHERWISE", "line_id")
	if checked, err := d.desk1.Coop().CheckPayoutRun(ctx, &coopv1.CheckPayoutRunRequest{RunId: run.GetId()}); err != nil || !checked.GetRecomputes() {
		t.Errorf("the run doesn't recompute: %v, %v", checked, err)
	}
}

// TestClosedAndNotPaid: a parcel that was closed as paid and isn't, after a correction, is
// an exception.
func TestClosedAndNotPaid(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	p := d.Cut(t, d.billycart, d.wetWheel, 74000)
	at := d.pay(t, p, 160000)
	received := d.at(t, "order/"+d.sell(t, p), "order.v1.Paid")
	for _, part := range []string{"1", "1B"} {
		_, err := d.wetWheel.Cutter().PlacePart(ctx, &cutterv1.PlacePartRequest{RequestId: command.NewID(), PieceId: p.Stones[0].GetPieceId(), Part: part, Fate: typev1.Fate_FATE_OFFCUT})
		if part == "1B" && err != nil {
			t.Fatal(err)
		}
	}
	if _, err := d.wetWheel.Cutter().CloseParcel(ctx, &cutterv1.CloseParcelRequest{RequestId: command.NewID(), ParcelId: p.ID}); err != nil {
		t.Fatal(err)
	}
	found := func() (is *coopv1.Exception) {
		for _, e := range exceptions(t, d.audit, false) {
			if e.GetKind() == "closed and not paid" {
				is = e
			}
		}
		return is
	}
	if e := found(); e != nil {
		t.Fatalf("it is closed and paid, and an exception: %v", e)
	}
	if _, err := d.desk1.Coop().CorrectAmount(ctx, &coopv1.CorrectAmountRequest{RequestId: command.NewID(), Corrects: at, Amount: cooptest.AUD(150000), Reason: "misread"}); err != nil {
		t.Fatal(err)
	}
	e := found()
	if e == nil || e.GetThing() != "parcel/"+p.ID || e.GetWhat() != "the parcel was closed as paid, and 100.00 AUD of its price is open by now" {
		t.Fatalf("got %v", e)
	}
	keeper := d.Add(t, d.Desk.Member, stockKeeper)
	lookedInto := func(e *coopv1.Exception) {
		t.Helper()
		if _, err := keeper.Coop().CloseException(ctx, &coopv1.CloseExceptionRequest{RequestId: command.NewID(), ExceptionId: e.GetId(), Note: "asked for"}); err != nil {
			t.Fatal(err)
		}
		if e := found(); e != nil {
			t.Fatalf("left %v", e)
		}
	}
	lookedInto(e)
	// It comes back whenever more is open, be it of the same stone.
	for _, minor := range []int64{73000, 72000} {
		if _, err := d.desk1.Coop().CorrectAmount(ctx, &coopv1.CorrectAmountRequest{RequestId: command.NewID(), Corrects: received, Amount: cooptest.AUD(minor), Reason: "misread"}); err != nil {
			t.Fatal(err)
		}
		if e = found(); e == nil {
			t.Fatalf("with %d received of a stone it isn't back", minor)
		}
		lookedInto(e)
	}
}
