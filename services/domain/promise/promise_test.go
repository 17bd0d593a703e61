package promise_test

import (
	"testing"
	"time"

	promisev1 "seamshare.example/proto/gen/seamshare/event/promise/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/services/domain/promise"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
)

const cutter, jeweller = "wet-wheel", "fernhook"

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

func making() promise.Making {
	return promise.Making{
		ID: "pr1", Cutter: cutter, Jeweller: jeweller, DueAt: noon.Add(720 * time.Hour),
		Items: []*promisev1.Item{{
			Outline: stonev1.Outline_OUTLINE_OVAL, Kind: eventv1.Kind_KIND_BOULDER, ToleranceUm: 200, Like: "green and blue",
			Size: &eventv1.Size{LengthUm: 12_000, WidthUm: 9_000, DepthUm: 3_000}, Price: &eventv1.Amount{Currency: "AUD", Minor: 74_000},
		}},
	}
}

func oval(length int64) promise.Stone {
	return promise.Stone{
		ID: "s1", Outline: stonev1.Outline_OUTLINE_OVAL, Kind: eventv1.Kind_KIND_BOULDER,
		Size: &eventv1.Size{LengthUm: length, WidthUm: 9_000, DepthUm: 3_000},
	}
}

type history struct {
	t testing.TB
	promise.State
	events []*promisev1.Event
}

func (h *history) did(e *promisev1.Event, err error) *history {
	h.t.Helper()
	if err != nil {
		h.t.Fatal(err)
	}
	h.events = append(h.events, e)
	h.State = promise.Evolve(h.State, e)
	return h
}

func offered(t testing.TB) *history {
	t.Helper()
	return (&history{t: t}).did(promise.State{}.Make(making(), noon))
}

func accepted(t testing.TB) *history {
	h := offered(t)
	return h.did(h.Accept(jeweller, noon))
}

func TestMake(t *testing.T) {
	t.Run("rules 1 and 2 refused: due by now, to oneself, no price, two currencies", func(t *testing.T) {
		m := making()
		m.Jeweller, m.DueAt = cutter, noon
		m.Items[0].Price.Minor = 0
		m.Items = append(m.Items, making().Items[0])
		m.Items[1].Price.Currency = "EUR"
		_, err := promise.State{}.Make(m, noon)
		ruletest.Refused(t, err, rule.TimeInvalid, "due_at")
		ruletest.Refused(t, err, rule.FieldInvalid, "jeweller_id")
		ruletest.Refused(t, err, rule.AmountInvalid, "items[0].price")
		ruletest.Refused(t, err, rule.CurrencyDiffers, "items[1].price.currency_code")
	})
}

func TestAnswer(t *testing.T) {
	t.Run("rule 3 refused: by another, and after the answer", func(t *testing.T) {
		_, err := offered(t).Accept("marrow", noon)
		ruletest.Refused(t, err, rule.NotFound, "promise_id")
		_, err = offered(t).Withdraw("two-dops", "x", noon)
		ruletest.Refused(t, err, rule.NotFound, "promise_id")
		h := accepted(t)
		_, err = h.Decline(jeweller, "too late")
		ruletest.Refused(t, err, rule.PromiseSettled, "promise_id")
	})
	t.Run("rule 3 OK: declined or taken back, with a word", func(t *testing.T) {
		h := offered(t)
		_, err := h.Decline(jeweller, "")
		ruletest.Refused(t, err, rule.FieldInvalid, "why")
		if h.did(h.Decline(jeweller, "too dear")); h.Stage != promise.Declined || h.Why != "too dear" {
			t.Errorf("got %+v", h.State)
		}
		h = offered(t)
		if h.did(h.Withdraw(cutter, "no rough", noon)); h.Stage != promise.Withdrawn {
			t.Errorf("got %+v", h.State)
		}
	})
}

func TestDue(t *testing.T) {
	due := making().DueAt
	t.Run("rule 3 refused: accepted when it is due; it can still be declined", func(t *testing.T) {
		h := offered(t)
		_, err := h.Accept(jeweller, due)
		ruletest.Refused(t, err, rule.PromiseLapsed, "promise_id")
		if h.Lapsed(due.Add(-1)) || !h.Lapsed(due) {
			t.Error("it lapses at the moment it is due")
		}
		h.did(h.Decline(jeweller, "too late"))
	})
	t.Run("rule 3 OK: accepted just before", func(t *testing.T) {
		h := offered(t)
		if h.did(h.Accept(jeweller, due.Add(-1))); h.Stage != promise.Accepted || h.Lapsed(due) {
			t.Errorf("got %+v", h.State)
		}
	})
}

func TestNotKept(t *testing.T) {
	t.Run("rule 4 refused: by another, without a reason, and when it is over", func(t *testing.T) {
		h := accepted(t)
		_, err := h.Withdraw(jeweller, "changed my mind", noon)
		ruletest.Refused(t, err, rule.NotFound, "promise_id")
		_, err = h.Withdraw(cutter, "", noon)
		ruletest.Refused(t, err, rule.FieldInvalid, "why")
		h.did(h.Deliver(cutter, []promise.Stone{oval(12_000)}, "o1"))
		_, err = h.Withdraw(cutter, "it cracked", noon)
		ruletest.Refused(t, err, rule.PromiseSettled, "promise_id")
	})
	t.Run("rule 4 OK: accepted, and its cutter can't keep it", func(t *testing.T) {
		h := accepted(t)
		if h.did(h.Withdraw(cutter, "it cracked", noon)); h.Stage != promise.NotKept || h.Why != "it cracked" || !h.EndedAt.Equal(noon) {
			t.Errorf("got %+v", h.State)
		}
		_, err := h.Deliver(cutter, []promise.Stone{oval(12_000)}, "o1")
		ruletest.Refused(t, err, rule.PromiseSettled, "promise_id")
	})
}

func TestDeliver(t *testing.T) {
	t.Run("rule 4 refused: before it is accepted", func(t *testing.T) {
		_, err := offered(t).Deliver(cutter, []promise.Stone{oval(12_000)}, "o1")
		ruletest.Refused(t, err, rule.PromiseNotTaken, "promise_id")
	})
	t.Run("rule 5 refused: out of tolerance, another outline and kind, too few", func(t *testing.T) {
		h := accepted(t)
		_, err := h.Deliver(cutter, []promise.Stone{oval(12_201)}, "o1")
		ruletest.Refused(t, err, rule.OutOfTolerance, "stone_ids[0]")
		round := oval(12_000)
		round.Outline, round.Kind = stonev1.Outline_OUTLINE_ROUND, eventv1.Kind_KIND_SOLID
		_, err = h.Deliver(cutter, []promise.Stone{round}, "o1")
		ruletest.Refused(t, err, rule.OutOfTolerance, "stone_ids[0]")
		_, err = h.Deliver(cutter, nil, "o1")
		ruletest.Refused(t, err, rule.CountInvalid, "stone_ids")
	})
	t.Run("rules 4 and 5 OK: at the edge of the tolerance, and late", func(t *testing.T) {
		h := accepted(t)
		if !h.Overdue(noon.Add(720*time.Hour)) || h.Overdue(noon) {
			t.Error("it is overdue from its date on")
		}
		h.did(h.Deliver(cutter, []promise.Stone{oval(11_800)}, "o1"))
		if h.Stage != promise.Delivered || h.OrderID != "o1" || h.Overdue(noon.Add(720*time.Hour)) {
			t.Errorf("got %+v", h.State)
		}
		_, err := h.Deliver(cutter, []promise.Stone{oval(12_000)}, "o2")
		ruletest.Refused(t, err, rule.PromiseSettled, "promise_id")
	})
}

func TestUnaliased(t *testing.T) {
	h := accepted(t)
	h.did(h.Deliver(cutter, []promise.Stone{oval(12_000)}, "o1"))
	ruletest.Unaliased(t, promise.Evolve, h.events...)
}

func TestTable(t *testing.T) {
	if err := promise.Table.Check(); err != nil {
		t.Error(err)
	}
}
