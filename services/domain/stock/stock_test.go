package stock_test

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
	"seamshare.example/services/domain/stock"

	stockv1 "seamshare.example/proto/gen/seamshare/event/stock/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
)

func TestCustody(t *testing.T) {
	moved := func(t *testing.T, c stock.Custody, holder, place string) stock.Custody {
		t.Helper()
		e, err := c.Move("stone/s1", holder, place, "desk4")
		if err != nil {
			t.Fatal(err)
		}
		return stock.EvolveCustody(c, e)
	}
	t.Run("rule 1 OK: to a place, to another, to another member", func(t *testing.T) {
		c := moved(t, stock.Custody{}, "coop", "safe")
		if c != (stock.Custody{Thing: "stone/s1", Holder: "coop", Place: "safe"}) {
			t.Errorf("got %+v", c)
		}
		c = moved(t, moved(t, c, "coop", "window"), "wetwheel", "window")
		if c.Holder != "wetwheel" || c.Place != "window" {
			t.Errorf("got %+v", c)
		}
	})
	t.Run("rule 1 refused: a place without a name; where it is already", func(t *testing.T) {
		_, err := stock.Custody{}.Move("stone/s1", "coop", "", "desk4")
		ruletest.Refused(t, err, rule.FieldInvalid, "place")
		_, err = moved(t, stock.Custody{}, "coop", "safe").Move("stone/s1", "coop", "safe", "desk4")
		ruletest.Refused(t, err, rule.AlreadyThere, "place")
	})
}

func weighed(ug int64) *eventv1.Weighing { return &eventv1.Weighing{MassUg: ug, DivisionUg: 2_000} }

func TestCount(t *testing.T) {
	found := []stock.Found{
		{Thing: "stone/s1", There: true, Weighing: weighed(606_000), ExpectedUg: 608_000},
		{Thing: "stone/s2"},
		{Thing: "stone/s3", There: true},
	}
	t.Run("rule 1 OK: what differs, what is missing, what belongs elsewhere", func(t *testing.T) {
		e, err := stock.Count{}.Take("n1", "safe", "desk4", "", found, []string{"stone/s3"})
		if err != nil {
			t.Fatal(err)
		}
		c := stock.EvolveCount(stock.Count{}, e)
		if c.ID != "n1" || c.Place != "safe" || len(c.Found) != 3 || len(c.Strange) != 1 {
			t.Errorf("got %+v", c)
		}
		for i, want := range []int64{-2_000, 0, 0} {
			if got := c.Found[i].DifferenceUg(); got != want {
				t.Errorf("%s differs by %d, want %d", c.Found[i].Thing, got, want)
			}
		}
		_, err = c.Take("n1", "safe", "desk4", "", found, nil)
		ruletest.Refused(t, err, rule.AlreadyThere, "")
	})
	refused := func(name, place string, found []stock.Found, reason rule.Reason, field string) {
		t.Run("rule 1 refused: "+name, func(t *testing.T) {
			_, err := stock.Count{}.Take("n1", place, "desk4", "", found, nil)
			ruletest.Refused(t, err, reason, field)
		})
	}
	refused("nowhere", "", found, rule.FieldInvalid, "place")
	refused("nothing", "safe", nil, rule.CountInvalid, "found")
	refused("too much at once", "safe", make([]stock.Found, stock.MaxFound+1), rule.CountInvalid, "found")
	refused("no mass on the scale", "safe", []stock.Found{{Thing: "stone/s1", There: true, Weighing: weighed(0)}}, rule.MassInvalid, "found[0].weighing.mass_ug")
}

func TestLooked(t *testing.T) {
	e, err := stock.Looked{}.Close("x1", "desk4", "behind the safe")
	if err != nil {
		t.Fatal(err)
	}
	l := stock.EvolveLooked(stock.Looked{}, e)
	t.Run("rule 1 OK: with a note", func(t *testing.T) {
		if l != (stock.Looked{Closed: true, Note: "behind the safe", By: "desk4"}) {
			t.Errorf("got %+v", l)
		}
	})
	t.Run("rule 1 refused: without one, and twice", func(t *testing.T) {
		_, err := stock.Looked{}.Close("x1", "desk4", "")
		ruletest.Refused(t, err, rule.FieldInvalid, "note")
		_, err = l.Close("x1", "desk3", "again")
		ruletest.Refused(t, err, rule.AlreadyClosed, "exception_id")
	})
}

// TestLastMoveStands: whatever is moved where, a thing is where it was moved last, and no
// move is recorded that changes nothing.
func TestLastMoveStands(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var c stock.Custody
		for i := range rapid.IntRange(1, 12).Draw(t, "moves") {
			holder := rapid.SampledFrom([]string{"coop", "wetwheel"}).Draw(t, fmt.Sprint("holder", i))
			place := rapid.SampledFrom([]string{"safe", "window", ""}).Draw(t, fmt.Sprint("place", i))
			var e *stockv1.Event
			e, err := c.Move("stone/s1", holder, place, "desk4")
			if same := c.Holder == holder && c.Place == place; (err == nil) == (same || place == "") {
				t.Fatalf("from %+v to %s at %q: %v", c, holder, place, err)
			}
			if err == nil {
				c = stock.EvolveCustody(c, e)
				if c.Holder != holder || c.Place != place {
					t.Fatalf("it is %+v", c)
				}
			}
		}
	})
}
