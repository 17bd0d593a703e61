package search_test

import (
	"context"
	"math"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/search"
	"seamshare.example/services/domain/saw/search/searchtest"
)

// What is suggested for twelve pieces is feasible, no random plan of ten thousand is worth more, and neither passes
// the bound.
func TestSuggestBeatsChance(t *testing.T) {
	differ := 0
	for i, task := range searchtest.Pieces() {
		t.Run(task.Study.Name, func(t *testing.T) {
			s, err := search.Suggest(context.Background(), task, seeded(uint64(i)), 800, nil)
			if err != nil {
				t.Fatal(err)
			}
			held(t, task, s)
			c := search.NewChance(t, task, seeded(uint64(i)+100))
			feasible, best := c.Never(t, s.Best, randomPlans)
			if feasible < 20 {
				t.Errorf("only %d random plans were feasible of those that were evaluated; the test tests little", feasible)
			}
			t.Logf("best %d of bound %d (%.0f %%); %d random plans evaluated, best %d", s.Best, s.Bound, 100*float64(s.Best)/float64(s.Bound), feasible, best)
			if differs(s) {
				differ++
			}
		})
	}
	if differ == 0 {
		t.Error("both markets choose the same plan for every piece")
	}
}

// differs is whether no plan is the best in both markets.
func differs(s search.Suggestion) bool {
	for _, o := range s.Offers {
		all := true
		for _, m := range o.Markets {
			all = all && m.Best
		}
		if all {
			return false
		}
	}
	return true
}

// held holds a suggestion to what it promises.
func held(t rapid.TB, task search.Task, s search.Suggestion) {
	t.Helper()
	if len(s.Offers) == 0 || len(s.Offers) > search.MaxOffers {
		t.Fatalf("%d plans on offer", len(s.Offers))
	}
	best := s.Offers[0].Result.Money.Expected
	for i, o := range s.Offers {
		r, err := saw.Evaluate(task.Study, o.Plan, task.Prices)
		if err != nil || r.Infeasible {
			t.Fatalf("offer %d, %s: error %v, infeasible %v, %+v", i, o.Kind, err, r.Infeasible, r.Trunk.Findings)
		}
		if r.Money.Expected != o.Result.Money.Expected || r.Totals.Stones != o.Kind.Stones {
			t.Errorf("offer %d says %d for %d stones; it is %d for %d", i, o.Result.Money.Expected, o.Kind.Stones, r.Money.Expected, r.Totals.Stones)
		}
		best = max(best, r.Money.Expected)
		if i > 0 && s.Offers[i-1].Kind.Stones > o.Kind.Stones {
			t.Errorf("offer %d has fewer stones than the one before", i)
		}
		if len(o.Markets) != len(task.Prices.Markets) {
			t.Errorf("offer %d is priced in %d markets", i, len(o.Markets))
		}
	}
	if s.Best != best || s.Best > s.Bound {
		t.Errorf("the best is said to be %d and bounded by %d; it is %d", s.Best, s.Bound, best)
	}
}

// Where a stone may lie in a part, the search and the evaluation say the same, cracks, rock, zones and wander included.
func TestRegionsAgree(t *testing.T) {
	held, not := 0, 0
	for seed := range uint64(60) {
		task := searchtest.Random(seeded(seed))
		task.Settings.CrackUm *= 3 // wide enough that a cut along it makes a difference
		h, n := search.NewChance(t, task, seeded(seed)).Agree(t, 8)
		held, not = held+h, not+n
	}
	if held < 300 || not < 300 {
		t.Errorf("%d outlines were held and %d not; the test tests little", held, not)
	}
}

// The same seed suggests the same; a context that has ended still gives a feasible plan.
func TestSuggestAgain(t *testing.T) {
	task := searchtest.Pieces()[5]
	ask := func(ctx context.Context) search.Suggestion {
		s, err := search.Suggest(ctx, task, seeded(4), 300, nil)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	a, b := ask(context.Background()), ask(context.Background())
	if len(a.Offers) != len(b.Offers) || a.Best != b.Best {
		t.Fatalf("the same seed suggests %d and %d plans, worth %d and %d", len(a.Offers), len(b.Offers), a.Best, b.Best)
	}
	for i := range a.Offers {
		if !same(a.Offers[i].Plan, b.Offers[i].Plan) {
			t.Errorf("the same seed suggests %+v and %+v", a.Offers[i].Plan, b.Offers[i].Plan)
		}
	}
	more, err := search.Suggest(context.Background(), task, seeded(4), 700, nil)
	if err != nil || more.Best < a.Best {
		t.Errorf("300 steps find %d, 700 find %d, %v", a.Best, more.Best, err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	s := ask(ctx)
	held(t, task, s)
	if !s.Stopped || s.Best > a.Best {
		t.Errorf("stopped at once it says stopped: %v and finds %d, where there are %d", s.Stopped, s.Best, a.Best)
	}
	ctx, cancel = context.WithCancel(context.Background())
	told := 0
	s, err = search.Suggest(ctx, task, seeded(4), 100_000_000, func(p search.Progress) {
		if told++; told == 3 {
			cancel()
		}
	})
	if err != nil || !s.Stopped || s.Steps > 1_000 {
		t.Errorf("stopped after %d steps, %v", s.Steps, err)
	}
	held(t, task, s)
}

func same(a, b saw.Plan) bool { return reflect.DeepEqual(a, b) }

// No plan on offer keeps what nobody can use: parts without a stone that are narrower than 1 mm, lighter than 0.05 g or
// too short to be held; the piece itself, uncut, is never thrown away.
func TestSuggestKeepsNoSlivers(t *testing.T) {
	kept, wasted := 0, 0
	for i, task := range searchtest.Pieces() {
		s, err := search.Suggest(context.Background(), task, seeded(uint64(i)), 400, nil)
		if err != nil {
			t.Fatal(err)
		}
		held(t, task, s)
		for _, o := range s.Offers {
			parts := map[string]saw.Part{}
			for _, p := range o.Result.Trunk.Parts {
				parts[p.Name] = p
			}
			for _, e := range o.Plan.Ends {
				p := parts[e.Part]
				long := 0.0
				for _, a := range p.Face {
					for _, b := range p.Face {
						long = max(long, math.Hypot(float64(a.X-b.X), float64(a.Y-b.Y)))
					}
				}
				sliver := p.Face.Width() < plane.Millimetre || p.MassUg < 50_000 || long < float64(task.Settings.GripUm*plane.Micrometre)
				switch {
				case e.Kind == saw.Shelf && sliver:
					t.Errorf("%s: part %s, %.2f mm wide and %d µg, is kept", task.Study.Name, e.Part, p.Face.Width()/1e6, p.MassUg)
				case e.Kind == saw.Waste && !sliver:
					t.Errorf("%s: part %s, %.2f mm wide and %d µg, is thrown away", task.Study.Name, e.Part, p.Face.Width()/1e6, p.MassUg)
				case e.Kind == saw.Shelf:
					kept++
				case e.Kind == saw.Waste:
					wasted++
				}
			}
		}
	}
	if kept == 0 || wasted == 0 {
		t.Errorf("%d parts are kept and %d thrown away; the test tests little", kept, wasted)
	}
	tiny := searchtest.Pieces()[0]
	tiny.Study.Outline, tiny.Study.ThicknessUm, tiny.Study.MassUg = []saw.Point{{}, {X: 2_000}, {X: 2_000, Y: 900}, {Y: 900}}, 4_000, 18_000
	s, err := search.Suggest(context.Background(), tiny, seeded(1), 20, nil)
	if err != nil || s.Offers[0].Plan.Ends[0].Kind != saw.Shelf {
		t.Errorf("a piece as small as a sliver is planned as %+v, %v", s.Offers, err)
	}
}
