package search_test

import (
	"context"
	"reflect"
	"testing"

	"pgregory.net/rapid"

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
			feasible, best := c.Never(t, s.Best, 10_000)
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
