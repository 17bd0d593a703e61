package hold_test

import (
	"testing"
	"time"

	holdv1 "seamshare.example/proto/gen/seamshare/event/hold/v1"

	"seamshare.example/services/domain/hold"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

func wish() hold.Wish {
	return hold.Wish{ID: "h", Holder: "marrow", StoneIDs: []string{"s1", "s2"}, Longest: 48 * time.Hour, Most: 5, Now: noon}
}

func placed(t testing.TB) (hold.State, *holdv1.Event) {
	t.Helper()
	e, err := hold.State{}.Place(wish())
	if err != nil {
		t.Fatal(err)
	}
	return hold.Evolve(hold.State{}, e), e
}

func TestPlace(t *testing.T) {
	t.Run("rule 1 refused: nothing, or a stone twice", func(t *testing.T) {
		w := wish()
		w.StoneIDs = nil
		_, err := hold.State{}.Place(w)
		ruletest.Refused(t, err, rule.CountInvalid, "stone_ids")
		w.StoneIDs = []string{"s1", "s1"}
		_, err = hold.State{}.Place(w)
		ruletest.Refused(t, err, rule.NamedTwice, "stone_ids[1]")
	})
	t.Run("rule 2 refused: ends now, or later than it may; OK at the latest", func(t *testing.T) {
		for _, ends := range []time.Time{noon, noon.Add(48*time.Hour + 1)} {
			w := wish()
			w.EndsAt = ends
			_, err := hold.State{}.Place(w)
			ruletest.Refused(t, err, rule.TimeInvalid, "ends_at")
		}
		if h, _ := placed(t); !h.EndsAt.Equal(noon.Add(48 * time.Hour)) {
			t.Errorf("it ends at %v", h.EndsAt)
		}
	})
	t.Run("rule 3 refused: one too many; OK with the last", func(t *testing.T) {
		w := wish()
		w.Already = 4
		_, err := hold.State{}.Place(w)
		ruletest.Refused(t, err, rule.TooManyHeld, "stone_ids")
		w.Already = 3
		if _, err = (hold.State{}).Place(w); err != nil {
			t.Error(err)
		}
	})
}

func TestRelease(t *testing.T) {
	h, _ := placed(t)
	t.Run("rule 4 refused: another's reads like none; ended, to the moment", func(t *testing.T) {
		_, others := h.Release("fernhook", noon)
		_, none := hold.State{}.Release("fernhook", noon)
		if ruletest.Refused(t, others, rule.NotFound, "hold_id"); others.Error() != none.Error() {
			t.Errorf("%q is not %q", others, none)
		}
		_, err := h.Release("marrow", h.EndsAt)
		ruletest.Refused(t, err, rule.HoldOver, "hold_id")
		if _, err := h.Release("marrow", h.EndsAt.Add(-time.Microsecond)); err != nil {
			t.Error(err)
		}
	})
}

func TestUnaliased(t *testing.T) {
	h, first := placed(t)
	used := h.Use([]string{"s1"}, "o", "")
	h = hold.Evolve(h, used)
	if h.Stage(noon) != hold.Open {
		t.Errorf("with one stone left it stands at %v", h.Stage(noon))
	}
	last := h.Use([]string{"s2"}, "", "a")
	if h = hold.Evolve(h, last); h.Stage(noon) != hold.Used {
		t.Errorf("with none left it stands at %v", h.Stage(noon))
	}
	released, err := hold.Evolve(hold.State{}, first).Release("marrow", noon)
	if err != nil {
		t.Fatal(err)
	}
	ruletest.Unaliased(t, hold.Evolve, first, used, last, released)
}
