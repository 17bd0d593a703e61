package search_test

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"testing"

	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/search"
	"seamshare.example/services/domain/saw/search/searchtest"
)

// No two plans on offer give the same stones, to half a millimetre or a twentieth, after as many cuts in the section. And most
// of their cuts across the face are square to each other: more than half of all, where the search alone leaves two in
// five so.
func TestOffersDifferInKind(t *testing.T) {
	cuts, slanting := 0, 0
	for i, task := range searchtest.Pieces() {
		s, err := search.Suggest(context.Background(), task, seeded(uint64(i)), 300, nil)
		if err != nil {
			t.Fatal(err)
		}
		held(t, task, s)
		for k, o := range s.Offers {
			for _, other := range s.Offers[:k] {
				if seenAs(o.Plan, other.Plan) {
					t.Errorf("%s: two offers look the same: %s, worth %d and %d", task.Study.Name, o.Kind, other.Result.Money.Expected, o.Result.Money.Expected)
				}
			}
			n, off := slants(o.Plan)
			cuts, slanting = cuts+n, slanting+off
		}
	}
	t.Logf("%d of %d cuts are oblique", slanting, cuts)
	if 2*slanting > cuts {
		t.Errorf("%d of %d cuts are oblique", slanting, cuts)
	}
}

// seenAs is whether a cutter would take one plan for the other.
func seenAs(a, b saw.Plan) bool {
	list := func(p saw.Plan) (stones []saw.Stone, section int) {
		for _, e := range p.Ends {
			stones = append(stones, e.Stones...)
		}
		for _, s := range p.Steps {
			if s.Do.(saw.Saw).View == saw.Section {
				section++
			}
		}
		slices.SortFunc(stones, func(s, o saw.Stone) int {
			return cmp.Or(cmp.Compare(what(s), what(o)), cmp.Compare(s.LengthUm, o.LengthUm), cmp.Compare(s.WidthUm, o.WidthUm))
		})
		return stones, section
	}
	near := func(x, y int64) bool {
		d := math.Abs(float64(x - y))
		return d < 500 || d < 0.05*float64(max(x, y))
	}
	p, m := list(a)
	q, n := list(b)
	return m == n && slices.EqualFunc(p, q, func(s, o saw.Stone) bool {
		return what(s) == what(o) && near(s.LengthUm, o.LengthUm) && near(s.WidthUm, o.WidthUm)
	})
}

func what(s saw.Stone) string { return fmt.Sprint(s.Shape, s.View, s.Zone, s.Bar, s.Class) }

// slants is how many cuts across the face a plan has, and how many at least are more than a degree from square to the
// others.
func slants(p saw.Plan) (cuts, off int) {
	var turns []float64
	for _, s := range p.Steps {
		if do := s.Do.(saw.Saw); do.View == saw.Face {
			turns = append(turns, math.Atan2(float64(do.Line.B.Y-do.Line.A.Y), float64(do.Line.B.X-do.Line.A.X))*180/math.Pi)
		}
	}
	off = len(turns)
	for _, a := range turns {
		n := 0
		for _, b := range turns {
			if math.Abs(math.Remainder(a-b, 90)) > 1.001 {
				n++
			}
		}
		off = min(off, n)
	}
	return len(turns), off
}
