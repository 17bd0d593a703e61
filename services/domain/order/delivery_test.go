package order_test

import (
	"testing"
	"time"

	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

const (
	cutter  = "wetwheel"
	another = "two-dops"
)

// sold is an order of two stones of one cutter and one of another.
func sold(t testing.TB, terms order.Terms) *history {
	t.Helper()
	return (&history{t: t}).did(order.State{}.Place("o1", "marrow", "AUD", []order.Line{
		{StoneID: "s1", ParcelID: "p1", Seller: cutter, Price: 1000},
		{StoneID: "s2", ParcelID: "p1", Seller: cutter, Price: 500},
		{StoneID: "s3", ParcelID: "p2", Seller: another, Price: 200},
	}, terms))
}

func measured(ids ...string) (all []order.MeasuredStone) {
	for _, id := range ids {
		all = append(all, order.MeasuredStone{StoneID: id, Measured: &eventv1.Measured{
			Weighing: &eventv1.Weighing{MassUg: 608_000, DivisionUg: 2_000}, Size: &eventv1.Size{LengthUm: 1, WidthUm: 1, DepthUm: 1},
		}})
	}
	return all
}

// delivered is all paid, sent and received.
func delivered(t testing.TB) *history {
	t.Helper()
	h := sold(t, order.Terms{})
	h.did(h.Pay(aud(1700), "bank")).did(h.Dispatch(cutter, measured("s1", "s2"), "by hand", "1")).did(h.Dispatch(another, measured("s3"), "by hand", "2"))
	return h.did(h.Receive("marrow", nil, noon.Add(time.Hour), noon.Add(2*time.Hour)))
}

func TestCancel(t *testing.T) {
	t.Run("rule 6 refused: another's, paid, sent, or the jeweller had the stones", func(t *testing.T) {
		h := sold(t, order.Terms{})
		_, others := h.Cancel("fernhook", "changed")
		_, none := order.State{}.Cancel("fernhook", "changed")
		ruletest.Refused(t, others, rule.NotFound, "order_id")
		if others.Error() != none.Error() {
			t.Errorf("%q is not %q", others, none)
		}
		h.did(h.Pay(aud(1), "bank"))
		_, err := h.Cancel("marrow", "changed")
		ruletest.Refused(t, err, rule.OrderPaidFor, "order_id")
		_, err = delivered(t).Cancel("marrow", "changed")
		ruletest.Refused(t, err, rule.OrderUnderWay, "order_id")
		_, err = sold(t, order.Terms{PromiseID: "pr"}).Cancel("marrow", "changed")
		ruletest.Refused(t, err, rule.OrderPromised, "order_id")
		_, err = sold(t, order.Terms{ApprovalID: "a"}).Cancel("marrow", "changed")
		ruletest.Refused(t, err, rule.OrderUnderWay, "order_id")
	})
	t.Run("rule 6 OK: nothing is owed any more, and nothing is taken or done", func(t *testing.T) {
		h := sold(t, order.Terms{})
		h.did(h.Cancel("marrow", "the customer left"))
		if h.Open() != 0 || h.Total() != 0 || h.Stage() != order.Cancelled {
			t.Errorf("got %+v", h.State)
		}
		_, err := h.Pay(aud(1), "bank")
		ruletest.Refused(t, err, rule.OrderOver, "order_id")
		_, err = h.Dispatch(cutter, measured("s1", "s2"), "c", "r")
		ruletest.Refused(t, err, rule.OrderOver, "order_id")
	})
}

func TestDispatch(t *testing.T) {
	t.Run("rule 7 refused: not paid, not all of them, another's, twice", func(t *testing.T) {
		h := sold(t, order.Terms{Deposit: aud(300)})
		h.did(h.Pay(aud(299), "bank"))
		_, err := h.Dispatch(cutter, measured("s1", "s2"), "c", "r")
		ruletest.Refused(t, err, rule.PaymentOpen, "order_id")
		h.did(h.Pay(aud(1), "bank")) // with the deposit in, it may go
		_, err = h.Dispatch(cutter, measured("s1"), "c", "r")
		ruletest.Refused(t, err, rule.NotAnswered, "stones")
		_, err = h.Dispatch(cutter, measured("s1", "s2", "s3"), "c", "r")
		ruletest.Refused(t, err, rule.NotFound, "stones[2].stone_id")
		_, err = h.Dispatch("nobody", measured("s1"), "c", "r")
		ruletest.Refused(t, err, rule.NotFound, "order_id")
		h.did(h.Dispatch(cutter, measured("s1", "s2"), "c", "r"))
		_, err = h.Dispatch(cutter, measured("s1", "s2"), "c", "r")
		ruletest.Refused(t, err, rule.NothingToSend, "order_id")
	})
	t.Run("rule 8 OK: it stands where the stone furthest behind does", func(t *testing.T) {
		h := sold(t, order.Terms{})
		h.did(h.Pay(aud(1700), "bank")).did(h.Dispatch(cutter, measured("s1", "s2"), "c", "r"))
		if h.Stage() != order.Placed {
			t.Errorf("with one stone not sent: %v", h.Stage())
		}
		h.did(h.Receive("marrow", nil, noon, noon)).did(h.Dispatch(another, measured("s3"), "c", "r"))
		if h.Stage() != order.Dispatched {
			t.Errorf("with one stone under way: %v", h.Stage())
		}
		h.did(h.Return("s3"))
		if h.Stage() != order.Received {
			t.Errorf("with that one back: %v", h.Stage())
		}
	})
}

func TestAskReturn(t *testing.T) {
	t.Run("rule 9 refused: not received, too late to the moment, twice, another's", func(t *testing.T) {
		_, err := sold(t, order.Terms{}).AskReturn("marrow", []string{"s1"}, "dark", noon)
		ruletest.Refused(t, err, rule.NotReceived, "stone_ids[0]")
		h := delivered(t)
		_, err = h.AskReturn("marrow", []string{"s1"}, "dark", noon.Add(time.Hour))
		ruletest.Refused(t, err, rule.ReturnPeriodOver, "stone_ids[0]")
		_, err = h.AskReturn("fernhook", []string{"s1"}, "dark", noon)
		ruletest.Refused(t, err, rule.NotFound, "order_id")
		h.did(h.AskReturn("marrow", []string{"s1"}, "dark", noon.Add(time.Hour-1)))
		_, err = h.AskReturn("marrow", []string{"s1"}, "dark", noon)
		ruletest.Refused(t, err, rule.AlreadyThere, "stone_ids[0]")
	})
}

func TestDamage(t *testing.T) {
	crazed := order.Claim{StoneID: "s1", Damage: orderv1.Damage_DAMAGE_CRAZED, Words: "fine lines"}
	reduce, refuse := orderv1.DamageAnswer_DAMAGE_ANSWER_REDUCE, orderv1.DamageAnswer_DAMAGE_ANSWER_REFUSE
	one := func(h *history, by *eventv1.Amount, answer orderv1.DamageAnswer) error {
		events, err := h.AnswerDamage(cutter, "s1", answer, by, "agreed")
		for _, e := range events {
			h.did(e, nil)
		}
		return err
	}
	t.Run("rule 10 refused: too late to the moment, twice, answered without a claim", func(t *testing.T) {
		h := delivered(t)
		_, err := h.ClaimDamage("marrow", crazed, noon.Add(2*time.Hour))
		ruletest.Refused(t, err, rule.ClaimPeriodOver, "stone_id")
		ruletest.Refused(t, one(h, nil, refuse), rule.DamageNotClaimed, "stone_id")
		h.did(h.ClaimDamage("marrow", crazed, noon.Add(2*time.Hour-1)))
		_, err = h.ClaimDamage("marrow", crazed, noon)
		ruletest.Refused(t, err, rule.AlreadyThere, "stone_id")
		_, err = h.AnswerDamage(another, "s1", refuse, nil, "no")
		ruletest.Refused(t, err, rule.NotFound, "stone_id")
		if err := one(h, nil, refuse); err != nil {
			t.Fatal(err)
		}
		ruletest.Refused(t, one(h, nil, refuse), rule.DamageNotClaimed, "stone_id")
	})
	t.Run("rule 11: no more than the price comes off, and what was paid above it is paid back", func(t *testing.T) {
		h := delivered(t)
		h.did(h.ClaimDamage("marrow", crazed, noon))
		ruletest.Refused(t, one(h, aud(1001), reduce), rule.AboveThePrice, "reduction")
		ruletest.Refused(t, one(h, nil, reduce), rule.AmountInvalid, "reduction")
		if err := one(h, aud(400), reduce); err != nil {
			t.Fatal(err)
		}
		l, _ := h.Line("s1")
		if l.Price != 600 || l.RefundDue() != 400 || h.Open() != 0 {
			t.Fatalf("got %+v", l)
		}
		_, err := h.Refund("s1", aud(399), "bank")
		ruletest.Refused(t, err, rule.RefundDiffers, "amount")
		h.did(h.Refund("s1", aud(400), "bank"))
		if l, _ = h.Line("s1"); l.RefundDue() != 0 || l.Refunded {
			t.Fatalf("got %+v", l)
		}
		h.did(h.Return("s1")).did(h.Refund("s1", aud(600), "bank"))
	})
	t.Run("rule 10 OK: what was bought from approval can be claimed too, but not sent back", func(t *testing.T) {
		h := sold(t, order.Terms{ApprovalID: "a", ClaimUntil: noon.Add(time.Hour)})
		if h.Stage() != order.Received {
			t.Errorf("it stands at %v", h.Stage())
		}
		_, err := h.AskReturn("marrow", []string{"s1"}, "dark", noon)
		ruletest.Refused(t, err, rule.ReturnPeriodOver, "stone_ids[0]")
		h.did(h.ClaimDamage("marrow", crazed, noon))
	})
}
