package search_test

import (
	"context"
	"math"
	"testing"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/example"
	"seamshare.example/services/domain/saw/guillotine"
	"seamshare.example/services/domain/saw/search"
	"seamshare.example/services/domain/saw/search/searchtest"
)

// Where a set pays, it is suggested, of the sizes that were asked for: a pair of equal calibrated stones, a suite of three
// that shrink by two millimetres.
func TestSuggestSets(t *testing.T) {
	for _, c := range []struct {
		name     string
		together int
		step     int64
		sizes    []search.Size
	}{
		{"a pair of calibrated stones", 2, 0, search.Calibrated(saw.Oval)},
		{"a pair of any length", 2, 0, nil},
		{"a suite that shrinks", 3, 2_000, nil},
		{"a calibrated suite that shrinks", 3, 2_000, search.Calibrated(saw.Oval)},
	} {
		t.Run(c.name, func(t *testing.T) {
			task := searchtest.Pieces()[1]
			set := task.Wants[0]
			set.Together, set.StepUm, set.Sizes = c.together, c.step, c.sizes
			set.Pattern.LengthUm, set.Pattern.WidthUm = 4, 3
			set.FromUm = 4_000
			set.Pattern.Class = "matched"
			task.Wants = append(task.Wants, set)
			task.Prices.Markets[0].Prices = append(task.Prices.Markets[0].Prices, saw.Price{Class: "matched", Per: saw.PerFaceMm2, Minor: 900})
			s, err := search.Suggest(context.Background(), task, seeded(5), 400, nil)
			if err != nil {
				t.Fatal(err)
			}
			held(t, task, s)
			found := false
			for _, o := range s.Offers {
				var matched []saw.Stone
				for _, e := range o.Plan.Ends {
					for _, stone := range e.Stones {
						if stone.Class == "matched" {
							matched = append(matched, stone)
						}
					}
				}
				if len(matched) != o.Kind.Set {
					t.Fatalf("%s: %d stones are of the set", o.Kind, len(matched))
				}
				if o.Kind.Set == 0 {
					continue
				}
				found = true
				if len(matched) != c.together {
					t.Fatalf("a set of %d, wanted %d", len(matched), c.together)
				}
				shrinks := map[int64]bool{}
				longest := int64(0)
				for _, m := range matched {
					longest = max(longest, m.LengthUm)
				}
				for _, m := range matched {
					shrinks[longest-m.LengthUm] = true
				}
				if c.step == 0 && len(shrinks) != 1 || c.step > 0 && len(shrinks) != 3 || c.sizes == nil && c.step > 0 && !(shrinks[0] && shrinks[2_000] && shrinks[4_000]) {
					t.Errorf("lengths differ by %v", shrinks)
				}
			}
			if !found {
				t.Error("no set on offer, though it pays far better")
			}
		})
	}
}

// The demo's split boulder: one oval from each half, from the same place, mirrored, and more beside them.
func TestSuggestMirrored(t *testing.T) {
	task := func(study saw.Study) search.Task {
		w := search.Want{
			Pattern: saw.Stone{Shape: saw.Oval, LengthUm: 4, WidthUm: 3, DepthUm: 2_800, DomeUm: 900, View: saw.Face, Zone: "bright zone", Bar: "bar", Class: "top", Market: "singles", ChanceBp: 9_000, Minutes: 60},
			FromUm:  12_000, ToUm: 15_999,
		}
		return search.Task{Study: study, Prices: example.Prices(), Blade: example.Trim(), Settings: example.Settings(), Wants: []search.Want{w}, SawMinutes: 10}
	}
	a, b := task(example.P1Piece1()), task(example.P1Piece2())
	pair := search.Pair{
		Want:  saw.Stone{Shape: saw.Oval, DepthUm: 3_000, DomeUm: 1_100, View: saw.Face, Zone: "bright zone", Bar: "bar", Class: "top", Market: "pairs", ChanceBp: 9_000, Minutes: 90},
		Sizes: []search.Size{{LengthUm: 10_000, WidthUm: 8_000}, {LengthUm: 12_000, WidthUm: 9_000}, {LengthUm: 18_000, WidthUm: 13_000}},
		XUm:   44_000, YUm: -500,
	}
	pair.Other = pair.Want
	m, ok, err := search.SuggestMirrored(context.Background(), a, b, pair, seeded(3), 400, nil)
	if err != nil || !ok {
		t.Fatal(ok, err)
	}
	held(t, a, m.A)
	held(t, b, m.B)
	if m.Best != m.A.Best+m.B.Best || m.Best > m.Bound {
		t.Errorf("%d and %d make %d of %d", m.A.Best, m.B.Best, m.Best, m.Bound)
	}
	left, right := m.Left, m.Right
	if left.LengthUm != right.LengthUm || left.WidthUm != right.WidthUm || left.At.X+right.At.X != 44_000 || right.At.Y != left.At.Y-500 {
		t.Errorf("%+v and %+v aren't mirrored", left, right)
	}
	// The outlines themselves, mirrored exactly but for rounding by turning.
	over := outlineOf(t, right).Mirrored().Moved(plane.Micrometres(44_000, 500))
	one := outlineOf(t, left)
	for _, p := range over {
		near := math.Inf(1)
		for _, q := range one {
			near = min(near, math.Hypot(float64(p.X-q.X), float64(p.Y-q.Y)))
		}
		if near > 3 {
			t.Errorf("the mirrored outline has a corner %.0f nm from any of the first's", near)
		}
	}
	for i, s := range []search.Suggestion{m.A, m.B} {
		for _, o := range s.Offers {
			pinned := false
			for _, e := range o.Plan.Ends {
				for _, stone := range e.Stones {
					stone.Name = ""
					pinned = pinned || same(saw.Plan{Ends: []saw.End{{Stones: []saw.Stone{stone}}}}, saw.Plan{Ends: []saw.End{{Stones: []saw.Stone{[]saw.Stone{left, right}[i]}}}})
				}
			}
			if !pinned {
				t.Errorf("an offer for piece %d lacks its stone of the pair", i)
			}
		}
	}
}

// A market that only pairs are wanted for pays no pair's price for a stone without a match.
func TestMarketOfPairs(t *testing.T) {
	task := searchtest.Pieces()[1]
	const pairs = "pairs"
	set := task.Wants[0]
	set.Together, set.Pattern.Market = 2, pairs
	task.Wants = append(task.Wants, set)
	task.Prices.Markets = append(task.Prices.Markets, saw.Market{Name: pairs, Prices: []saw.Price{{Class: set.Pattern.Class, Per: saw.PerFaceMm2, Minor: 5_000}}})
	s, err := search.Suggest(context.Background(), task, seeded(5), 400, nil)
	if err != nil {
		t.Fatal(err)
	}
	held(t, task, s)
	matched, alone := 0, 0
	for _, o := range s.Offers {
		in := o.Markets[len(o.Markets)-1]
		if in.Stones != o.Kind.Set || (in.Money.Expected != 0) != (o.Kind.Set > 0) || in.Best && o.Kind.Set == 0 {
			t.Errorf("%s: the market of pairs takes %d stones for %d, best %v", o.Kind, in.Stones, in.Money.Expected, in.Best)
		}
		// What is no pair's stays where it was planned for, so that this is the plan's own worth.
		if o.Kind.Set > 0 && in.Money.Expected != o.Result.Money.Expected {
			t.Errorf("%s is worth %d, with its pair sold where it is wanted %d", o.Kind, o.Result.Money.Expected, in.Money.Expected)
		}
		if o.Kind.Set > 0 {
			matched++
		} else {
			alone++
		}
	}
	if matched == 0 || alone == 0 {
		t.Errorf("%d offers have a pair and %d have none; the test tests little", matched, alone)
	}
}

// A clean rectangle is cut no worse than the exact search cuts it into rectangles, with all costs counted.
func TestSuggestRectangle(t *testing.T) {
	task := searchtest.Pieces()[0]
	pattern := task.Wants[0].Pattern
	pattern.Shape = saw.Rectangle
	task.Wants = []search.Want{{Pattern: pattern, Sizes: search.Calibrated(saw.Rectangle)}}
	task.Blade.WanderUm = 0
	prices := task.Prices.Markets[0].Prices
	problem := guillotine.Problem{Length: 600, Width: 400, Kerf: 12} // units of 50 µm; the piece is 30 by 20 mm, the kerf 0.6
	for _, s := range search.Calibrated(saw.Rectangle) {
		for _, p := range prices {
			if p.Class != pattern.Class || s.LengthUm < p.FromUm || s.LengthUm >= p.ToUm {
				continue
			}
			net := int64(0.9*(float64(p.Minor)*0.94-150)) - 60*4_500/60 - 8*4_500/60 // chance, levy, selling; its hour, and a cut
			problem.Kinds = append(problem.Kinds, guillotine.Kind{Length: s.LengthUm/50 + 1, Width: s.WidthUm/50 + 1, Value: net, Turns: true})
		}
	}
	exact, err := guillotine.Solve(context.Background(), problem, nil)
	if err != nil {
		t.Fatal(err)
	}
	s, err := search.Suggest(context.Background(), task, seeded(1), 1, nil)
	if err != nil {
		t.Fatal(err)
	}
	held(t, task, s)
	if want := exact.Value + 8*4_500/60; s.Best < want-1 { // the first stone takes no cut
		t.Errorf("suggested are %d, the exact search has %d", s.Best, want)
	}
	t.Log(s.Best, exact.Value, s.Bound)
}

// Each piece of the demo that is studied gets plans, of what suits it in common.
func TestSuggestCommon(t *testing.T) {
	prices := example.Prices()
	tried := 0
	for name, c := range example.Demo() {
		t.Run(name, func(t *testing.T) {
			wants := search.Common(c.Study, prices, example.Settings(), 9_000, 60)
			if len(wants) == 0 {
				return // no market pays for what is drawn in it
			}
			tried++
			task := search.Task{Study: c.Study, Prices: prices, Blade: example.Trim(), Settings: example.Settings(), Wants: wants, SawMinutes: 10}
			s, err := search.Suggest(context.Background(), task, seeded(1), 60, nil)
			if err != nil {
				t.Fatal(err)
			}
			held(t, task, s)
			for _, o := range s.Offers {
				t.Log(o.Kind, o.Result.Money.Expected, s.Bound)
			}
		})
	}
	if tried < 3 {
		t.Errorf("only %d pieces have wants", tried)
	}
}

// Each half's stone of a pair counts at the worth of its own half's list: the second brings nothing in the first's, and
// the larger size the more in its own. What is wrong with a half is said, not taken for a pair that goes nowhere.
func TestMirroredHalvesAreTheirOwn(t *testing.T) {
	a := searchtest.Pieces()[0]
	a.Wants = a.Wants[:1]
	b := a
	pattern := a.Wants[0].Pattern
	pattern.Class = "half"
	pay := func(minor ...int64) saw.Prices {
		return saw.Prices{Currency: "AUD", Markets: []saw.Market{{Name: searchtest.Settings, Prices: []saw.Price{
			{Class: "half", Per: saw.PerStone, ToUm: 11_000, Minor: minor[0]},
			{Class: "half", Per: saw.PerStone, FromUm: 11_000, ToUm: 13_000, Minor: minor[1]},
			{Class: "half", Per: saw.PerStone, FromUm: 13_000, ToUm: 15_000, Minor: minor[2]},
			{Class: "half", Per: saw.PerStone, FromUm: 15_000, Minor: minor[3]},
		}}}}
	}
	a.Prices, b.Prices = pay(1_000, 1_000, 1_000, 900), pay(1, 2, 3, 90_000)
	pair := search.Pair{Want: pattern, Other: pattern, XUm: 30_000, Sizes: []search.Size{
		{LengthUm: 10_000, WidthUm: 8_000}, {LengthUm: 12_000, WidthUm: 9_000}, {LengthUm: 14_000, WidthUm: 10_000}, {LengthUm: 16_000, WidthUm: 12_000},
	}}
	m, ok, err := search.SuggestMirrored(context.Background(), a, b, pair, seeded(1), 60, nil)
	if err != nil || !ok {
		t.Fatal(ok, err)
	}
	if m.Left.LengthUm != 16_000 {
		t.Errorf("the pair is %d µm long; the size of 16 mm brings a hundred times as much as any other", m.Left.LengthUm)
	}
	b.Wants = nil
	if _, ok, err := search.SuggestMirrored(context.Background(), a, b, pair, seeded(1), 60, nil); err == nil || ok {
		t.Errorf("the second half has nothing to plan, and that isn't said: %v, %v", ok, err)
	}
}
