package saw_test

import (
	"fmt"
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/risk"
)

// chanced is one way that all of a branch may come out.
type chanced struct {
	chance *big.Rat
	net    *big.Rat
	sold   bool // something that brings money
}

// every lists all ways: each stone comes out or not, each look shows one of its outcomes.
func every(b saw.Branch, hourMinor int64) []chanced {
	ways := []chanced{{big.NewRat(1, 1), new(big.Rat).Neg(big.NewRat(hourMinor*b.Minutes, 60)), false}}
	fork := func(options []chanced) {
		var out []chanced
		for _, w := range ways {
			for _, o := range options {
				out = append(out, chanced{mul(w.chance, o.chance), new(big.Rat).Add(w.net, o.net), w.sold || o.sold})
			}
		}
		ways = out
	}
	for _, e := range b.Ends {
		if e.Minor > 0 {
			fork([]chanced{{big.NewRat(1, 1), rat(e.NetMinor), e.NetMinor > 0}})
		}
		for _, s := range e.Stones {
			if s.Fits && s.Priced {
				p := big.NewRat(s.ChanceBp, 10_000)
				fork([]chanced{{p, rat(s.NetMinor), s.NetMinor > 0}, {sub(rat(1), p), new(big.Rat), false}})
			}
		}
	}
	for _, l := range b.Looks {
		var options []chanced
		for _, o := range l.Outcomes {
			for _, w := range every(o, hourMinor) {
				w.chance = mul(w.chance, big.NewRat(o.ChanceBp, 10_000))
				options = append(options, w)
			}
		}
		fork(options)
	}
	return ways
}

// Expectation, spread and the rest are those of a list of all that may happen.
func TestMoneyIsThatOfAllWays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		study := drawStudy(t)
		r := mustEvaluate(t, study, drawPlan(t, study, without{}))
		ways := every(r.Trunk, setting.HourMinor)
		if len(ways) > 50_000 {
			return // too many to list
		}
		mean, square, nothing := new(big.Rat), new(big.Rat), new(big.Rat)
		best, worst := rat(math.MinInt64), rat(math.MaxInt64)
		for _, w := range ways {
			mean.Add(mean, mul(w.chance, w.net))
			square.Add(square, mul(w.chance, mul(w.net, w.net)))
			if !w.sold {
				nothing.Add(nothing, w.chance)
			}
			if w.chance.Sign() > 0 && w.net.Cmp(best) > 0 {
				best = w.net
			}
			if w.chance.Sign() > 0 && w.net.Cmp(worst) < 0 {
				worst = w.net
			}
		}
		variance, _ := square.Sub(square, mul(mean, mean)).Float64()
		for what, c := range map[string]struct {
			got  int64
			want *big.Rat
		}{
			"expected": {r.Money.Expected, mean}, "best": {r.Money.Best, best}, "worst": {r.Money.Worst, worst},
			"nothing, in millionths": {r.Money.NothingPpm, mul(nothing, rat(1_000_000))},
		} {
			if want, _ := c.want.Float64(); math.Abs(float64(c.got)-want) > 0.5001 {
				t.Fatalf("%s is %d, want %v", what, c.got, want)
			}
		}
		tree, err := r.Tree()
		if err != nil {
			t.Fatal(err)
		}
		solved, err := tree.Solve()
		if err != nil || solved.Mean.Cmp(mean) != 0 || solved.Variance.Cmp(square) != 0 {
			t.Fatalf("the tree has mean %v and variance %v (%v), want %v and %v", solved.Mean, solved.Variance, err, mean, square)
		}
		if want := math.Sqrt(variance); math.Abs(float64(r.Money.Spread)-want) > 0.51 {
			t.Fatalf("spread is %d, want %v", r.Money.Spread, want)
		}
	})
}

// Prices by hand, on common practice: face area for boulder, carats for solid, and fractions dropped.
func TestPrices(t *testing.T) {
	study := weighed(saw.Study{Name: "block", SGMilli: 2_100, ThicknessUm: 6_000, Outline: square(40_000, 20_000)})
	stone := func(name, class string, at int64) saw.Stone {
		return saw.Stone{Name: name, Shape: saw.Rectangle, LengthUm: 10_000, WidthUm: 8_000, DepthUm: 5_000, View: saw.Face, At: saw.Point{X: at, Y: 10_000}, Class: class, Market: "m", ChanceBp: 10_000, Minutes: 30}
	}
	plan := saw.Plan{
		Settings: saw.Settings{Currency: "AUD", HourMinor: 4_500, LevyBp: 600, SellingMinor: 250},
		Ends:     []saw.End{{Part: saw.Whole, Kind: saw.Stones, Stones: []saw.Stone{stone("a", "by face", 6_000), stone("b", "by carat", 17_000), stone("c", "by stone", 28_000)}}},
	}
	prices := saw.Prices{Currency: "AUD", Markets: []saw.Market{{Name: "other"}, {Name: "m", Prices: []saw.Price{
		{Class: "by face", Per: saw.PerFaceMm2, ToUm: 10_000, Minor: 1}, // for shorter ones
		{Class: "by face", Per: saw.PerFaceMm2, FromUm: 10_000, Minor: 333},
		{Class: "by carat", Per: saw.PerCarat, Minor: 1_001},
		{Class: "by stone", Per: saw.PerStone, Minor: 9_999},
	}}}}
	r, err := saw.Evaluate(study, plan, prices)
	if err != nil {
		t.Fatal(err)
	}
	// 10 × 8 × 5 mm³ · 2.1 = 840 mg = 4.2 ct; 80 mm² · 3.33; 4.2 · 10.01 = 42.042.
	for i, want := range []struct{ price, levy int64 }{{26_640, 1_598}, {4_204, 252}, {9_999, 599}} {
		s := r.Trunk.Ends[0].Stones[i]
		if s.MassUg != 840_000 || s.PriceMinor != want.price || s.LevyMinor != want.levy || s.NetMinor != want.price-want.levy-250 {
			t.Errorf("stone %s: %+v, want %+v", s.Name, s, want)
		}
	}
	net := int64(26_640-1_598+4_204-252+9_999-599) - 3*250
	if m := r.Money; m.Expected != net-90*4_500/60 || m.HoursMinor != 6_750 || m.PerHour != net*60/90+1 && m.PerHour != net*60/90 || m.Markets[0].Expected != 26_640+4_204+9_999 || m.Markets[0].Stones != 3 || m.NothingPpm != 0 {
		t.Errorf("got %+v", m)
	}
}

// Twenty looks at twenty parts, each with two outcomes: a million ways are too many to list, but not to reckon.
func TestTooManyWays(t *testing.T) {
	study := saw.Study{Name: "bar", MassUg: 1_000_000, SGMilli: 2_000, ThicknessUm: 5_000, Outline: square(400_000, 10_000)}
	plan := plain(nil)
	rest := saw.Whole
	for i := range int64(20) {
		part, next := fmt.Sprint("p", i), fmt.Sprint("rest", i)
		x := 15_000 * (i + 1)
		plan.Steps = append(plan.Steps,
			saw.Step{Part: rest, Do: saw.Split{View: saw.Face, Line: saw.Line{A: saw.Point{X: x}, B: saw.Point{X: x, Y: 1}}, Left: []string{part}, Right: []string{next}}},
			saw.Step{Part: part, Minutes: 3, Do: saw.Look{Kind: saw.Window, Outcomes: []saw.Outcome{
				{Name: "good", ChanceBp: 5_000, Ends: []saw.End{{Part: part, Kind: saw.OffCut, Class: "c", Market: "m"}}}, {Name: "bad", ChanceBp: 5_000},
			}}})
		rest = next
	}
	r, err := saw.Evaluate(study, plan, saw.Prices{Currency: "AUD", Markets: []saw.Market{{Name: "m", Prices: []saw.Price{{Class: "c", Per: saw.PerStone, Minor: 100}}}}})
	if err != nil {
		t.Fatal(err)
	}
	// Twenty fair throws for 100 each: mean 1 000, spread 50 · √20 = 223.6, nothing once in 2²⁰.
	if m := r.Money; m.Expected != 1_000 || m.Spread != 224 || m.NothingPpm != 1 || m.Best != 2_000 || m.Worst != 0 || m.MinutesMilli != 60_000 {
		t.Errorf("got %+v", m)
	}
	if _, err := r.Tree(); err == nil {
		t.Error("the tree has a million leaves")
	}
}

// Two hundred stones of the dearest kind in one minute, at the dearest bench: sums stop at MaxMinor, in the result and
// in its tree.
func TestMoneyStopsAtTheMost(t *testing.T) {
	study := weighed(saw.Study{Name: "plate", SGMilli: 2_000, ThicknessUm: 5_000, Outline: square(500_000, 500_000)})
	for name, c := range map[string]struct {
		minutes, hourMinor, levyBp int64
		want                       saw.Money
	}{
		"gains": {1, 0, 0, saw.Money{Expected: saw.MaxMinor, Best: saw.MaxMinor, Worst: saw.MaxMinor, PerHour: saw.MaxMinor}},
		"costs": {saw.MaxMinutes, 1_000_000_000_000, 10_000, saw.Money{Expected: -saw.MaxMinor, Best: -saw.MaxMinor, Worst: -saw.MaxMinor, HoursMinor: saw.MaxMinor}},
	} {
		t.Run(name, func(t *testing.T) {
			end := saw.End{Part: saw.Whole, Kind: saw.Stones}
			for i := range int64(200) {
				s := block(fmt.Sprint(i), saw.Rectangle, 32_000, 32_000, 4_000, saw.Point{X: 17_000 + i%14*33_000, Y: 17_000 + i/14*32_500})
				s.Class, s.Market = "c", "m"
				if i == 0 || c.hourMinor > 0 {
					s.Minutes = c.minutes
				}
				end.Stones = append(end.Stones, s)
			}
			plan := plain(nil, end)
			plan.Settings.HourMinor, plan.Settings.LevyBp = c.hourMinor, c.levyBp
			r, err := saw.Evaluate(study, plan, saw.Prices{Currency: "AUD", Markets: []saw.Market{{Name: "m", Prices: []saw.Price{{Class: "c", Per: saw.PerFaceMm2, Minor: 1_000_000_000_000}}}}})
			if err != nil || r.Infeasible {
				t.Fatal(err, r.Infeasible)
			}
			m := r.Money
			if m.Expected != c.want.Expected || m.Best != c.want.Best || m.Worst != c.want.Worst || m.HoursMinor != c.want.HoursMinor || c.want.PerHour > 0 && m.PerHour != c.want.PerHour {
				t.Errorf("got %+v, want %+v", m, c.want)
			}
			tree, err := r.Tree()
			if err != nil {
				t.Fatal(err)
			}
			if end := tree.Root.(risk.End); end.Values[0] != min(0, c.want.Worst) {
				t.Errorf("the tree ends at %d", end.Values[0])
			}
		})
	}
}
