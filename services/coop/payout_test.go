package coop_test

import (
	"context"
	"sync"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/grpc/codes"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tradetest"
	"seamshare.example/services/view"
)

const approver = typev1.Role_ROLE_APPROVER

// desks are the persons of the demo: desk 1 prepares, and may approve what others
// prepare; desk 2 approves.
type desks struct {
	*cooptest.House
	desk1, desk2, audit                        cooptest.Person
	billycart, ninth, wetWheel, twoDops, other cooptest.Person
	clock                                      *movedClock
}

// movedClock is moved by hand.
type movedClock struct {
	mu  sync.Mutex
	now time.Time // guarded by mu
}

func (c *movedClock) read() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *movedClock) move(by time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(by)
}

func openDesks(t *testing.T) desks {
	t.Helper()
	clock := &movedClock{now: time.Now().UTC()}
	return desksOf(t, cooptest.Open(t, clock.read), clock)
}

func desksOf(t *testing.T, h *cooptest.House, clock *movedClock) desks {
	t.Helper()
	d := desks{
		House: h, clock: clock,
		desk1: h.Add(t, h.Desk.Member, bookkeeper, approver), desk2: h.Add(t, h.Desk.Member, approver), audit: h.Add(t, h.Desk.Member, auditor),
		billycart: h.Join(t, "Billycart Diggings", miner), ninth: h.Join(t, "Ninth Shaft Mining", miner),
		wetWheel: h.Join(t, "Wet Wheel Workshop", cutter), twoDops: h.Join(t, "Two Dops Lapidary", cutter),
		other: h.Join(t, "Fernhook Goldsmiths", jeweller),
	}
	d.twoPeople(t, d.desk1, d.desk2)
	return d
}

func (d desks) twoPeople(t *testing.T, a, b cooptest.Person) {
	t.Helper()
	_, err := d.audit.Coop().StateTwoPeople(t.Context(), &coopv1.StateTwoPeopleRequest{RequestId: command.NewID(), PersonId: a.Person, OtherPersonId: b.Person, Basis: "they sit side by side"})
	if err != nil {
		t.Fatal(err)
	}
}

func (d desks) pay(t *testing.T, p cooptest.Parcel, minor int64) uint64 {
	t.Helper()
	got, err := d.desk1.Coop().RecordParcelPayment(t.Context(), &coopv1.RecordParcelPaymentRequest{RequestId: command.NewID(), ParcelId: p.ID, Amount: cooptest.AUD(minor), Reference: "bank"})
	if err != nil {
		t.Fatal(err)
	}
	return got.GetPosition()
}

func (d desks) cost(t *testing.T, p cooptest.Parcel, kind string, minor int64) {
	t.Helper()
	_, err := d.desk1.Coop().RecordCost(t.Context(), &coopv1.RecordCostRequest{RequestId: command.NewID(), ParcelId: p.ID, Amount: cooptest.AUD(minor), Reference: "bill", Kind: kind})
	if err != nil {
		t.Fatal(err)
	}
}

// sell orders all stones of a parcel and pays for them; it gives the order.
func (d desks) sell(t *testing.T, p cooptest.Parcel) string {
	t.Helper()
	order := d.Order(t, d.other, p.Stones...)
	_, err := d.desk1.Coop().RecordOrderPayment(t.Context(), &coopv1.RecordOrderPaymentRequest{RequestId: command.NewID(), OrderId: order.GetId(), Amount: order.GetTotal(), Reference: "bank"})
	if err != nil {
		t.Fatal(err)
	}
	return order.GetId()
}

// halves splits net proceeds between miner and cutter, rough placed.
func halves() *typev1.Agreement {
	return &typev1.Agreement{
		Price: cooptest.AUD(0), ParcelLevy: &typev1.Levy{BasisPoints: 300, BorneBy: "miner"}, SaleLevy: &typev1.Levy{BasisPoints: 600},
		CostKinds: []string{"freight", "identification paper"},
		Tiers: []*typev1.Tier{
			{Form: &typev1.Tier_Recoup{Recoup: &typev1.Recoup{Party: "coop", Target: &typev1.Recoup_Costs{Costs: &typev1.CostKinds{Kinds: []string{"freight", "identification paper"}}}}}},
			{Form: &typev1.Tier_Split{Split: &typev1.Split{Ratios: []*typev1.Ratio{{Party: "miner", Weight: 1}, {Party: "cutter", Weight: 1}}}}},
		},
	}
}

// outright leaves the net to the cutter.
func outright(price int64) *typev1.Agreement {
	return &typev1.Agreement{
		Price: cooptest.AUD(price), ParcelLevy: &typev1.Levy{BasisPoints: 300, BorneBy: "miner"}, SaleLevy: &typev1.Levy{BasisPoints: 600},
		Tiers: []*typev1.Tier{{Form: &typev1.Tier_Split{Split: &typev1.Split{Ratios: []*typev1.Ratio{{Party: "cutter", Weight: 1}}}}}},
	}
}

// trade plays the demo's three parcels up to the money, and gives P1's order and the
// stone that goes back.
func (d desks) trade(t *testing.T) (order string, stone *typev1.Stone) {
	t.Helper()
	p1 := d.Cut(t, d.billycart, d.wetWheel, prices...)
	p2 := d.CutUnder(t, d.ninth, d.twoDops, halves(), 82000, 16500, 135000, 34000, 6000, 4000, 2500)
	p3 := d.CutUnder(t, d.billycart, d.twoDops, outright(38000), 22000, 15000, 11000, 24000)
	d.pay(t, p1, 160000)
	d.pay(t, p3, 38000)
	d.cost(t, p1, "freight", 3850)
	d.cost(t, p2, "freight", 2245)
	d.cost(t, p2, "identification paper", 14000)
	order = d.sell(t, p1)
	d.sell(t, p2)
	d.sell(t, p3)
	return order, p1.Stones[5]
}

func (d desks) giveBack(t *testing.T, order string, stone *typev1.Stone) {
	t.Helper()
	_, err := d.wetWheel.Cutter().AcceptReturn(t.Context(), &cutterv1.AcceptReturnRequest{
		RequestId: command.NewID(), StoneId: stone.GetId(), Why: "not the colour hoped for", Weighing: stone.GetWeighing(), Size: stone.GetSize(),
	})
	if err != nil {
		t.Fatal(err)
	}
	_, err = d.desk1.Coop().RecordRefund(t.Context(), &coopv1.RecordRefundRequest{RequestId: command.NewID(), OrderId: order, StoneId: stone.GetId(), Amount: stone.GetPrice(), Reference: "bank"})
	if err != nil {
		t.Fatal(err)
	}
}

func prepare(ctx context.Context, by cooptest.Person) (*coopv1.PayoutRun, error) {
	got, err := by.Coop().PreparePayoutRun(ctx, &coopv1.PreparePayoutRunRequest{RequestId: command.NewID(), Currency: "AUD"})
	return got.GetRun(), err
}

func approve(ctx context.Context, by cooptest.Person, run *coopv1.PayoutRun) (*coopv1.PayoutRun, error) {
	got, err := by.Coop().ApprovePayoutRun(ctx, &coopv1.ApprovePayoutRunRequest{RequestId: command.NewID(), RunId: run.GetId()})
	return got.GetRun(), err
}

func lineOf(run *coopv1.PayoutRun, member string) *coopv1.PayoutLine {
	for _, l := range run.GetLines() {
		if l.GetMemberId() == member {
			return l
		}
	}
	return nil
}

func (d desks) pays(t *testing.T, run *coopv1.PayoutRun, total, billycart, ninth, wetWheel, twoDops int64) {
	t.Helper()
	if got := minor(run.GetTotal()); got != total {
		t.Errorf("the run pays %d, want %d", got, total)
	}
	for member, want := range map[string]int64{d.billycart.Member: billycart, d.ninth.Member: ninth, d.wetWheel.Member: wetWheel, d.twoDops.Member: twoDops} {
		if got := minor(lineOf(run, member).GetAmount()); got != want {
			t.Errorf("member %s is paid %d, want %d", member, got, want)
		}
	}
}

func (d desks) recomputes(t *testing.T) {
	t.Helper()
	q, err := d.Node.Query(t.Context(), 0)
	if err != nil {
		t.Fatal(err)
	}
	defer q.Close()
	if _, err := view.CheckPayouts(q); err != nil {
		t.Error(err)
	}
	if _, err := view.Recompute(q); err != nil {
		t.Error(err)
	}
}

// TestPayoutsOfTheScenario is section 9 of the demo's scenario, to the cent.
func TestPayoutsOfTheScenario(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	order, stone := d.trade(t)
	run1, err := prepare(ctx, d.desk1)
	if err != nil {
		t.Fatal(err)
	}
	d.pays(t, run1, 902110, 258809, 123478, 328666, 191157)
	t.Run("refused: a second run, as all is in a live one", func(t *testing.T) {
		_, err := prepare(ctx, d.desk1)
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOTHING_PAYABLE")
	})
	d.giveBack(t, order, stone)
	t.Run("refused: approving a run that pays more than is earned by now", func(t *testing.T) {
		_, err := approve(ctx, d.desk2, run1)
		tradetest.Refused(t, err, codes.FailedPrecondition, "ABOVE_WHAT_IS_EARNED")
	})
	_, err = d.desk2.Coop().RejectPayoutRun(ctx, &coopv1.RejectPayoutRunRequest{RequestId: command.NewID(), RunId: run1.GetId(), Reason: "built before the return of stone 6"})
	if err != nil {
		t.Fatal(err)
	}
	run2, err := prepare(ctx, d.desk1)
	if err != nil {
		t.Fatal(err)
	}
	d.pays(t, run2, 841950, 233026, 123478, 294289, 191157)
	t.Run("refused: desk 1 approves its own run", func(t *testing.T) {
		_, err := approve(ctx, d.desk1, run2)
		tradetest.Refused(t, err, codes.PermissionDenied, "SECOND_PERSON_NEEDED")
	})
	if run2, err = approve(ctx, d.desk2, run2); err != nil {
		t.Fatal(err)
	}
	for _, l := range run2.GetLines() {
		if _, err := d.desk1.Coop().SettlePayoutLine(ctx, &coopv1.SettlePayoutLineRequest{RequestId: command.NewID(), RunId: run2.GetId(), LineId: l.GetId(), Reference: "bank 77"}); err != nil {
			t.Fatal(err)
		}
	}
	t.Run("what is left are the levies", func(t *testing.T) {
		got, err := d.audit.Coop().ListAccounts(ctx, &coopv1.ListAccountsRequest{})
		if err != nil {
			t.Fatal(err)
		}
		if len(got.GetLeft()) != 1 || minor(got.GetLeft()[0]) != 48705 {
			t.Errorf("left %v", got.GetLeft())
		}
		for _, a := range got.GetAccounts() {
			if minor(a.GetOwed()) != 0 || minor(a.GetPaid()) != minor(a.GetEarned()) {
				t.Errorf("got %v", a)
			}
		}
	})
	t.Run("a payee sees its own payment and nobody else's", func(t *testing.T) {
		got, err := d.ninth.Coop().ListPayments(ctx, &coopv1.ListPaymentsRequest{})
		if err != nil || len(got.GetPayments()) != 1 || minor(got.GetPayments()[0].GetAmount()) != 123478 || got.GetPayments()[0].GetStage() != "settled" {
			t.Errorf("got %v, %v", got, err)
		}
	})
	t.Run("every run recomputes from the log", func(t *testing.T) {
		for _, run := range []*coopv1.PayoutRun{run1, run2} {
			got, err := d.audit.Coop().CheckPayoutRun(ctx, &coopv1.CheckPayoutRunRequest{RunId: run.GetId()})
			if err != nil || !got.GetRecomputes() {
				t.Errorf("got %v, %v", got, err)
			}
		}
		d.recomputes(t)
	})
}

func TestAdvance(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	order, stone := d.trade(t)
	run, err := prepare(ctx, d.desk1)
	if err != nil {
		t.Fatal(err)
	}
	if run, err = approve(ctx, d.desk2, run); err != nil {
		t.Fatal(err)
	}
	d.giveBack(t, order, stone)
	account := func(p cooptest.Person) int64 {
		t.Helper()
		got, err := p.Coop().GetAccount(ctx, &coopv1.GetAccountRequest{})
		if err != nil {
			t.Fatal(err)
		}
		return minor(got.GetAccounts()[0].GetOwed())
	}
	t.Run("paid beyond a lowered entitlement: an advance", func(t *testing.T) {
		if got := account(d.wetWheel); got != 294289-328666 {
			t.Errorf("owed %d", got)
		}
	})
	t.Run("a line that the bank returned can be paid again, less the advance", func(t *testing.T) {
		l := lineOf(run, d.wetWheel.Member)
		if _, err := d.desk1.Coop().ReturnPayoutLine(ctx, &coopv1.ReturnPayoutLineRequest{RequestId: command.NewID(), RunId: run.GetId(), LineId: l.GetId(), Reason: "account closed"}); err != nil {
			t.Fatal(err)
		}
		again, err := prepare(ctx, d.desk1)
		if err != nil {
			t.Fatal(err)
		}
		if len(again.GetLines()) != 1 || minor(lineOf(again, d.wetWheel.Member).GetAmount()) != 294289 {
			t.Errorf("got %v", again)
		}
	})
	d.recomputes(t)
}

func TestDisputeHoldsOneAmount(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	p := d.Cut(t, d.billycart, d.wetWheel, 74000)
	d.pay(t, p, 160000)
	run, err := prepare(ctx, d.desk1)
	if err != nil {
		t.Fatal(err)
	}
	open := func(by cooptest.Person, amount *money.Money) (*coopv1.Dispute, error) {
		got, err := by.Coop().OpenDispute(ctx, &coopv1.OpenDisputeRequest{RequestId: command.NewID(), About: "parcel/" + p.ID, Amount: amount, Reason: "two pieces were glued"})
		return got.GetDispute(), err
	}
	t.Run("refused: by a stranger, who learns nothing", func(t *testing.T) {
		_, err := open(d.twoDops, cooptest.AUD(100))
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND")
	})
	t.Run("refused: more than the other side has earned there", func(t *testing.T) {
		_, err := open(d.wetWheel, cooptest.AUD(155201))
		tradetest.Refused(t, err, codes.FailedPrecondition, "ABOVE_WHAT_IS_THEIRS")
	})
	dispute, err := open(d.wetWheel, cooptest.AUD(20000))
	if err != nil {
		t.Fatal(err)
	}
	t.Run("the run is approved without the amount, which stays held", func(t *testing.T) {
		got, err := approve(ctx, d.desk2, run)
		if err != nil {
			t.Fatal(err)
		}
		if l := lineOf(got, d.billycart.Member); minor(l.GetAmount()) != 135200 || minor(l.GetHeld()) != 20000 {
			t.Errorf("got %v", l)
		}
		_, err = prepare(ctx, d.desk1)
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOTHING_PAYABLE")
	})
	t.Run("resolved: it can be paid", func(t *testing.T) {
		if _, err := d.desk2.Coop().ResolveDispute(ctx, &coopv1.ResolveDisputeRequest{RequestId: command.NewID(), DisputeId: dispute.GetId(), Outcome: "they were not"}); err != nil {
			t.Fatal(err)
		}
		rest, err := prepare(ctx, d.desk1)
		if err != nil {
			t.Fatal(err)
		}
		if minor(rest.GetTotal()) != 20000 {
			t.Errorf("got %v", rest)
		}
	})
	d.recomputes(t)
}

func TestFourEyesOfAPayout(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	p := d.Cut(t, d.billycart, d.wetWheel, 74000)
	d.pay(t, p, 160000)
	bank := func(by cooptest.Person) {
		t.Helper()
		_, err := by.Coop().SetBankDetails(ctx, &coopv1.SetBankDetailsRequest{RequestId: command.NewID(), MemberId: d.billycart.Member, PersonId: d.billycart.Person, Value: "account 12 34"})
		if err != nil {
			t.Fatal(err)
		}
	}
	bank(d.desk2)
	run, err := prepare(ctx, d.desk1)
	if err != nil {
		t.Fatal(err)
	}
	t.Run("refused: while the bank details cool off, and by who edited them last", func(t *testing.T) {
		_, err := approve(ctx, d.desk2, run)
		tradetest.Refused(t, err, codes.PermissionDenied, "BANK_EDITED_BY_YOU")
	})
	other := d.Add(t, d.Desk.Member, approver)
	t.Run("refused: nobody stated that the two are two people", func(t *testing.T) {
		_, err := approve(ctx, other, run)
		tradetest.Refused(t, err, codes.FailedPrecondition, "TWO_PEOPLE_NOT_STATED")
	})
	d.twoPeople(t, d.desk1, other)
	t.Run("refused: while the bank details cool off", func(t *testing.T) {
		_, err := approve(ctx, other, run)
		tradetest.Refused(t, err, codes.FailedPrecondition, "BANK_COOLING_OFF")
	})
	d.clock.move(73 * time.Hour)
	t.Run("refused: the details changed since the run was prepared", func(t *testing.T) {
		bank(d.billycart)
		_, err := approve(ctx, other, run)
		tradetest.Refused(t, err, codes.FailedPrecondition, "BANK_CHANGED")
	})
	if _, err := other.Coop().RejectPayoutRun(ctx, &coopv1.RejectPayoutRunRequest{RequestId: command.NewID(), RunId: run.GetId(), Reason: "other bank details"}); err != nil {
		t.Fatal(err)
	}
	if run, err = prepare(ctx, d.desk1); err != nil {
		t.Fatal(err)
	}
	t.Run("refused: an approver who acts for a payee", func(t *testing.T) {
		if _, err := d.Desk.Coop().GrantRole(ctx, &coopv1.GrantRoleRequest{RequestId: command.NewID(), PersonId: other.Person, MemberId: d.billycart.Member, Role: miner}); err != nil {
			t.Fatal(err)
		}
		_, err := approve(ctx, other, run)
		tradetest.Refused(t, err, codes.PermissionDenied, "PAYS_THE_APPROVER")
	})
	d.clock.move(73 * time.Hour)
	t.Run("OK: another approver, after the cool-off", func(t *testing.T) {
		if _, err := approve(ctx, d.desk2, run); err != nil {
			t.Fatal(err)
		}
	})
}

// TestRunAboveWhatIsEarned: a return after the approval leaves less earned than the bank is about to pay. That is named
// wherever a desk looks, and what the bank does is recorded all the same.
func TestRunAboveWhatIsEarned(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	order, stone := d.trade(t)
	run, err := prepare(ctx, d.desk1)
	if err != nil {
		t.Fatal(err)
	}
	if run, err = approve(ctx, d.desk2, run); err != nil {
		t.Fatal(err)
	}
	above := func() (found *coopv1.Exception) {
		for _, e := range exceptions(t, d.audit, false) {
			if e.GetKind() == view.PayoutAbove {
				found = e
			}
		}
		return found
	}
	look := func() *coopv1.PayoutRun {
		got, err := d.desk1.Coop().GetPayoutRun(ctx, &coopv1.GetPayoutRunRequest{RunId: run.GetId()})
		if err != nil {
			t.Fatal(err)
		}
		return got.GetRun()
	}
	if e := above(); e != nil || lineOf(look(), d.wetWheel.Member).GetByNow() != nil {
		t.Fatalf("nothing came back yet: %v, %v", e, look())
	}
	d.giveBack(t, order, stone)
	// The figures are those of the scenario, section 9: what each had earned before and after the return.
	t.Run("each line that pays more says what is earned by now", func(t *testing.T) {
		for member, want := range map[string]int64{d.billycart.Member: 233026, d.wetWheel.Member: 294289} {
			if l := lineOf(look(), member); l.GetByNow() == nil || minor(l.GetByNow()) != want {
				t.Errorf("got %v, want %d by now", l, want)
			}
		}
		if l := lineOf(look(), d.ninth.Member); l.GetByNow() != nil {
			t.Errorf("nothing of this member's came back: %v", l)
		}
	})
	t.Run("it is an exception, and work of bookkeeper and approver", func(t *testing.T) {
		if e := above(); e == nil || len(e.GetMemberIds()) != 2 || e.GetThing() != "payout/"+run.GetId() {
			t.Errorf("got %v", e)
		}
		for _, who := range []cooptest.Person{d.desk1, d.desk2} {
			if todo(t, who, "exceptions", "payout/"+run.GetId()) == nil {
				t.Error("it isn't in the day")
			}
		}
	})
	t.Run("looked into, it is closed", func(t *testing.T) {
		if _, err := d.desk1.Coop().CloseException(ctx, &coopv1.CloseExceptionRequest{RequestId: command.NewID(), ExceptionId: above().GetId(), Note: "the bank was asked"}); err != nil {
			t.Fatal(err)
		}
		if e := above(); e != nil {
			t.Errorf("it is open still: %v", e)
		}
	})
	t.Run("settled, the answer says so", func(t *testing.T) {
		for _, l := range run.GetLines() {
			got, err := d.desk1.Coop().SettlePayoutLine(ctx, &coopv1.SettlePayoutLineRequest{RequestId: command.NewID(), RunId: run.GetId(), LineId: l.GetId(), Reference: "bank 77"})
			if err != nil {
				t.Fatal(err)
			}
			if l.GetMemberId() == d.wetWheel.Member {
				if by := lineOf(got.GetRun(), d.wetWheel.Member).GetByNow(); by == nil || minor(by) != 294289 {
					t.Errorf("got %v", got)
				}
			}
		}
	})
	d.recomputes(t)
}
