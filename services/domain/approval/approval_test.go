package approval_test

import (
	"testing"
	"time"

	approvalv1 "seamshare.example/proto/gen/seamshare/event/approval/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/services/domain/approval"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
)

const (
	cutter, jeweller = "wetwheel", "marrow"
	day              = 24 * time.Hour
	bearsCutter      = approvalv1.Bearer_BEARER_CUTTER
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

type history struct {
	t testing.TB
	approval.State
	events []*approvalv1.Event
}

func (h *history) did(e *approvalv1.Event, err error) *history {
	h.t.Helper()
	if err != nil {
		h.t.Fatal(err)
	}
	h.events = append(h.events, e)
	h.State = approval.Evolve(h.State, e)
	return h
}

func aud(minor int64) *eventv1.Amount { return &eventv1.Amount{Currency: "AUD", Minor: minor} }

func wish() approval.Wish {
	return approval.Wish{
		ID: "a", Kind: approvalv1.GoodsKind_GOODS_KIND_APPROVAL, Jeweller: jeweller, Cutters: []string{cutter, cutter, cutter},
		StoneIDs: []string{"s1", "s2", "s3"}, Prices: []*eventv1.Amount{aud(700), aud(780), aud(20)},
		Loss: approvalv1.Bearer_BEARER_JEWELLER, DueAt: noon.Add(5 * day), Longest: 14 * day, Now: noon,
	}
}

func sending() approval.Sending {
	m := &eventv1.Measured{}
	return approval.Sending{
		Lines:    []approval.Line{{StoneID: "s1", SetID: "pair", Price: 700, Out: m}, {StoneID: "s2", SetID: "pair", Price: 780, Out: m}, {StoneID: "s3", Price: 20, Out: m}},
		Currency: "AUD", Longest: 14 * day, Loss: approvalv1.Bearer_BEARER_JEWELLER, Breakage: bearsCutter, Carrier: "by hand", Reference: "1", Now: noon,
	}
}

func out(t testing.TB) *history {
	t.Helper()
	h := (&history{t: t}).did(approval.State{}.Ask(wish()))
	return h.did(h.Send(cutter, sending()))
}

func TestAsk(t *testing.T) {
	t.Run("rules 1 and 2 refused: nothing, twice, two cutters, one's own, too long, over already", func(t *testing.T) {
		w := wish()
		w.StoneIDs, w.Cutters = nil, nil
		_, err := approval.State{}.Ask(w)
		ruletest.Refused(t, err, rule.CountInvalid, "stone_ids")
		w = wish()
		w.StoneIDs[1], w.Cutters[2] = "s1", "two-dops"
		_, err = approval.State{}.Ask(w)
		ruletest.Refused(t, err, rule.NamedTwice, "stone_ids[1]")
		ruletest.Refused(t, err, rule.NotOneSeller, "stone_ids[2]")
		w = wish()
		w.Jeweller = cutter
		_, err = approval.State{}.Ask(w)
		ruletest.Refused(t, err, rule.OwnStone, "stone_ids[0]")
		for _, due := range []time.Time{noon, noon.Add(14*day + 1)} {
			w = wish()
			w.DueAt = due
			_, err = approval.State{}.Ask(w)
			ruletest.Refused(t, err, rule.TimeInvalid, "due_at")
		}
	})
}

func TestSend(t *testing.T) {
	asked := func() *history { return (&history{t: t}).did(approval.State{}.Ask(wish())) }
	t.Run("rules 3 and 4 refused: another cutter, not all, too much out, to the cent", func(t *testing.T) {
		h := asked()
		_, others := h.Send("two-dops", sending())
		_, none := approval.State{}.Send("two-dops", sending())
		if ruletest.Refused(t, others, rule.NotFound, "approval_id"); others.Error() != none.Error() {
			t.Errorf("%q is not %q", others, none)
		}
		g := sending()
		g.Lines = g.Lines[:2]
		_, err := h.Send(cutter, g)
		ruletest.Refused(t, err, rule.CountInvalid, "stones")
		g = sending()
		g.Already, g.Most, g.Limited = 501, 2000, true
		_, err = h.Send(cutter, g)
		ruletest.Refused(t, err, rule.TooMuchOut, "stones")
		g.Already = 500
		if h.did(h.Send(cutter, g)); h.Value() != 1500 {
			t.Errorf("out is %d", h.Value())
		}
	})
	t.Run("rule 5 refused: after it was declined, or withdrawn", func(t *testing.T) {
		h := asked()
		h.did(h.Decline(cutter, "promised", noon))
		_, err := h.Send(cutter, sending())
		ruletest.Refused(t, err, rule.ApprovalOver, "approval_id")
		h = asked()
		h.did(h.Withdraw(jeweller, noon))
		_, err = h.Send(cutter, sending())
		ruletest.Refused(t, err, rule.ApprovalOver, "approval_id")
	})
}

func TestOut(t *testing.T) {
	t.Run("rule 6: overdue at the very moment, and more time is later than that", func(t *testing.T) {
		h := out(t)
		end := noon.Add(5 * day)
		if h.Stage(end.Add(-1)) != approval.AllOut || h.Stage(end) != approval.Overdue {
			t.Errorf("it stands at %v, then %v", h.Stage(end.Add(-1)), h.Stage(end))
		}
		_, err := h.Extend(cutter, end, 14*day, noon)
		ruletest.Refused(t, err, rule.TimeInvalid, "due_at")
		h.did(h.Extend(cutter, end.Add(day), 14*day, end))
		if h.Stage(end) != approval.AllOut {
			t.Errorf("it stands at %v", h.Stage(end))
		}
	})
	t.Run("rule 7 refused: half of what is still out of a pair", func(t *testing.T) {
		h := out(t)
		_, err := h.Buy(jeweller, []string{"s1", "s3"}, "o", noon)
		ruletest.Refused(t, err, rule.SetNotWhole, "stone_ids[0]")
		h.did(h.TakeBack(cutter, "s2", &eventv1.Measured{}, false, false, ""))
		h.did(h.Buy(jeweller, []string{"s1"}, "o", noon)) // its cutter took the other
		_, err = h.Buy(jeweller, []string{"s1"}, "o2", noon)
		ruletest.Refused(t, err, rule.StoneNotOut, "stone_ids[0]")
	})
	t.Run("rule 9: what the jeweller pays for doesn't come back, what the cutter bears may", func(t *testing.T) {
		h := out(t)
		if h.Bearer(false) != approvalv1.Bearer_BEARER_JEWELLER || h.Bearer(true) != bearsCutter {
			t.Fatal("who bears what is mixed up")
		}
		h.did(h.Lose(jeweller, "s1", false, "stolen", "o", noon)).did(h.Lose(cutter, "s2", true, "in setting", "", noon))
		_, err := h.TakeBack(cutter, "s1", &eventv1.Measured{}, false, false, "")
		ruletest.Refused(t, err, rule.StoneNotOut, "stone.stone_id")
		h.did(h.TakeBack(cutter, "s2", &eventv1.Measured{}, true, false, ""))
		_, err = h.Lose("fernhook", "s3", false, "gone", "", noon)
		ruletest.Refused(t, err, rule.NotFound, "approval_id")
		h.did(h.Buy(jeweller, []string{"s3"}, "o2", noon))
		if h.Stage(noon) != approval.Settled || h.Value() != 0 {
			t.Errorf("it stands at %v with %d out", h.Stage(noon), h.Value())
		}
	})
}

func TestUnaliased(t *testing.T) {
	h := out(t)
	h.did(h.Extend(cutter, noon.Add(6*day), 14*day, noon)).did(h.Buy(jeweller, []string{"s1", "s2"}, "o", noon)).
		did(h.Lose(jeweller, "s3", true, "fell", "", noon)).did(h.TakeBack(cutter, "s3", &eventv1.Measured{}, true, true, "other"))
	ruletest.Unaliased(t, approval.Evolve, h.events...)
}
