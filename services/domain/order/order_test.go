package order_test

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
)

func aud(minor int64) *eventv1.Amount { return &eventv1.Amount{Currency: "AUD", Minor: minor} }

type history struct {
	t interface {
		Helper()
		Fatal(...any)
	}
	order.State
	events []*orderv1.Event
}

func (h *history) did(e *orderv1.Event, err error) *history {
	h.t.Helper()
	if err != nil {
		h.t.Fatal(err)
	}
	h.events = append(h.events, e)
	h.State = order.Evolve(h.State, e)
	return h
}

func lines(prices ...int64) (out []order.Line) {
	for i, p := range prices {
		out = append(out, order.Line{StoneID: fmt.Sprint("s", i+1), ParcelID: "p1", Seller: "wet-wheel", Price: p})
	}
	return out
}

// placed is an order of the demo's pair.
func placed(t testing.TB) *history {
	t.Helper()
	return (&history{t: t}).did(order.State{}.Place("o1", "marrow", "AUD", lines(74000, 74000), order.Terms{}))
}

func TestPlace(t *testing.T) {
	t.Run("rule 1 refused: placed twice, nothing, too many, a stone twice, no price", func(t *testing.T) {
		_, err := placed(t).Place("o1", "marrow", "AUD", lines(1), order.Terms{})
		ruletest.Refused(t, err, rule.AlreadyThere, "")
		_, err = order.State{}.Place("o", "marrow", "AUD", nil, order.Terms{})
		ruletest.Refused(t, err, rule.CountInvalid, "items")
		_, err = order.State{}.Place("o", "marrow", "AUD", lines(make([]int64, 101)...), order.Terms{})
		ruletest.Refused(t, err, rule.CountInvalid, "items")
		twice := lines(1, 2)
		twice[1].StoneID = "s1"
		_, err = order.State{}.Place("o", "marrow", "AUD", twice, order.Terms{})
		ruletest.Refused(t, err, rule.NamedTwice, "items[1].stone_id")
		_, err = order.State{}.Place("o", "marrow", "AUD", lines(1, 0), order.Terms{})
		ruletest.Refused(t, err, rule.AmountInvalid, "items[1].price")
		_, err = order.State{}.Place("o", "marrow", "AUD", lines(1_000_000_000_000_000, 1), order.Terms{})
		ruletest.Refused(t, err, rule.AmountInvalid, "items[1].price")
	})
	t.Run("rule 1 refused: two currencies", func(t *testing.T) {
		_, err := order.OneCurrency([]*eventv1.Amount{aud(1), {Currency: "EUR", Minor: 1}})
		ruletest.Refused(t, err, rule.CurrencyDiffers, "items[1].price.currency_code")
		if code, err := order.OneCurrency([]*eventv1.Amount{aud(1), aud(2)}); code != "AUD" || err != nil {
			t.Errorf("got %q, %v", code, err)
		}
	})
}

func TestPay(t *testing.T) {
	t.Run("rule 2 refused: more than is open, nothing, another currency, no order", func(t *testing.T) {
		h := placed(t)
		_, err := h.Pay(aud(148001), "bank")
		ruletest.Refused(t, err, rule.AboveWhatIsOwed, "amount")
		_, err = h.Pay(aud(0), "bank")
		ruletest.Refused(t, err, rule.AmountInvalid, "amount")
		_, err = h.Pay(&eventv1.Amount{Currency: "EUR", Minor: 1}, "bank")
		ruletest.Refused(t, err, rule.CurrencyDiffers, "amount.currency_code")
		_, err = order.State{}.Pay(aud(1), "bank")
		ruletest.Refused(t, err, rule.NotFound, "order_id")
	})
	t.Run("rule 3 OK: fills the lines in order", func(t *testing.T) {
		h := placed(t)
		h.did(h.Pay(aud(80000), "bank"))
		if h.Lines[0].Paid != 74000 || h.Lines[1].Paid != 6000 || h.Open() != 68000 {
			t.Errorf("got %+v", h.Lines)
		}
	})
	t.Run("rule 3 OK: a stone that came back gets none", func(t *testing.T) {
		h := placed(t)
		h.did(h.Return("s1")).did(h.Pay(aud(74000), "bank"))
		if h.Lines[0].Paid != 0 || h.Lines[1].Paid != 74000 || h.Total() != 74000 {
			t.Errorf("got %+v", h.Lines)
		}
		_, err := h.Pay(aud(1), "bank")
		ruletest.Refused(t, err, rule.AboveWhatIsOwed, "amount")
	})
}

func TestReturnAndRefund(t *testing.T) {
	t.Run("rule 4 refused: twice, or a stone of another order", func(t *testing.T) {
		h := placed(t)
		h.did(h.Return("s1"))
		_, err := h.Return("s1")
		ruletest.Refused(t, err, rule.AlreadyThere, "stone_id")
		_, err = h.Return("s9")
		ruletest.Refused(t, err, rule.NotFound, "stone_id")
	})
	t.Run("rule 5: all that was paid for it, once, after it came back", func(t *testing.T) {
		h := placed(t)
		h.did(h.Pay(aud(80000), "bank"))
		_, err := h.Refund("s1", aud(74000), "bank")
		ruletest.Refused(t, err, rule.NotReturned, "stone_id")
		h.did(h.Return("s1"))
		_, err = h.Refund("s1", aud(73999), "bank")
		ruletest.Refused(t, err, rule.RefundDiffers, "amount")
		h.did(h.Refund("s1", aud(74000), "bank"))
		if h.Paid() != 6000 || h.Total() != 74000 || h.Open() != 68000 {
			t.Errorf("paid %d, total %d, open %d", h.Paid(), h.Total(), h.Open())
		}
		_, err = h.Refund("s1", aud(74000), "bank")
		ruletest.Refused(t, err, rule.NothingToRefund, "stone_id")
		_, err = h.Refund("s9", aud(1), "bank")
		ruletest.Refused(t, err, rule.NotFound, "stone_id")
	})
	t.Run("rule 5 refused: nothing was paid", func(t *testing.T) {
		h := placed(t)
		h.did(h.Return("s2"))
		_, err := h.Refund("s2", aud(1), "bank")
		ruletest.Refused(t, err, rule.NothingToRefund, "stone_id")
	})
}

// TestMoneyCloses plays random money and returns: what is accepted stays within the
// prices, and what the lines hold is what came in less what went back.
func TestMoneyCloses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		prices := rapid.SliceOfN(rapid.Int64Range(1, 1000), 1, 6).Draw(t, "prices")
		h := (&history{t: t}).did(order.State{}.Place("o", "marrow", "AUD", lines(prices...), order.Terms{}))
		var in, back int64
		anyStone := rapid.Custom(func(t *rapid.T) string { return fmt.Sprint("s", rapid.IntRange(1, len(prices)).Draw(t, "stone")) })
		t.Repeat(map[string]func(*rapid.T){
			"": func(t *rapid.T) {
				if h.Paid() != in-back {
					t.Fatalf("the lines hold %d, %d came in and %d went back", h.Paid(), in, back)
				}
				for i, l := range h.Lines {
					if l.Paid < 0 || l.Price < 0 || l.Paid > l.Price+l.Reduced || l.Open() < 0 {
						t.Fatalf("line %d: %+v", i, l)
					}
				}
			},
			"pay": func(t *rapid.T) {
				minor := rapid.Int64Range(1, 1500).Draw(t, "amount")
				parts := order.Spread(h.Lines, minor)
				e, err := h.Pay(aud(minor), "bank")
				if (err == nil) != (minor <= h.Open()) {
					t.Fatalf("%d of %d open: %v", minor, h.Open(), err)
				}
				if err != nil {
					return
				}
				var sum int64
				for _, p := range parts {
					sum += p
				}
				if sum != minor {
					t.Fatalf("%d was spread as %v", minor, parts)
				}
				h.did(e, nil)
				in += minor
			},
			"reduce": func(t *rapid.T) {
				l, _ := h.Line(anyStone.Draw(t, "stone"))
				by := rapid.Int64Range(1, 900).Draw(t, "by")
				e, err := h.Reduce(l.StoneID, aud(by), "crazed")
				if (err == nil) != (!l.Returned && by <= l.Price) {
					t.Fatalf("%d off %+v: %v", by, l, err)
				}
				if err == nil {
					h.did(e, nil)
				}
			},
			"return": func(t *rapid.T) {
				if e, err := h.Return(anyStone.Draw(t, "stone")); err == nil {
					h.did(e, nil)
				}
			},
			"refund": func(t *rapid.T) {
				l, _ := h.Line(anyStone.Draw(t, "stone"))
				due := l.RefundDue()
				if due == 0 {
					return
				}
				if _, err := h.Refund(l.StoneID, aud(due+1), "bank"); err == nil {
					t.Fatalf("more than %d was paid back", due)
				}
				h.did(h.Refund(l.StoneID, aud(due), "bank"))
				back += due
				if l, _ = h.Line(l.StoneID); l.RefundDue() != 0 {
					t.Fatalf("there is still more: %+v", l)
				}
			},
		})
	})
}

func TestUnaliased(t *testing.T) {
	h := placed(t)
	h.did(h.Pay(aud(80000), "a")).did(h.Return("s1")).did(h.Refund("s1", aud(74000), "b")).did(h.Pay(aud(68000), "c"))
	ruletest.Unaliased(t, order.Evolve, h.events...)
}
