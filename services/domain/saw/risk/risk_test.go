package risk_test

import (
	"errors"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/saw/risk"
)

// drawChances are n that add up to certain.
func drawChances(t *rapid.T, n int, label string) []int64 {
	out := make([]int64, n)
	left := int64(risk.Certain)
	for i := range out[:n-1] {
		out[i] = rapid.Int64Range(0, left).Draw(t, label)
		left -= out[i]
	}
	out[n-1] = left
	return out
}

func drawDecision(t *rapid.T) risk.Decision {
	var d risk.Decision
	n := rapid.IntRange(1, 4).Draw(t, "states")
	for _, p := range drawChances(t, n, "chance") {
		d.States = append(d.States, risk.State{Chance: p})
	}
	for range rapid.IntRange(1, 4).Draw(t, "acts") {
		d.Acts = append(d.Acts, risk.Act{Values: rapid.SliceOfN(rapid.Int64Range(-100_000, 100_000), n, n).Draw(t, "values")})
	}
	return d
}

func drawLook(t *rapid.T, d risk.Decision) risk.Look {
	l := risk.Look{Cost: rapid.Int64Range(0, 5_000).Draw(t, "cost")}
	n := rapid.IntRange(1, 3).Draw(t, "findings")
	for range n {
		l.Findings = append(l.Findings, risk.Finding{Given: make([]int64, len(d.States))})
	}
	for s := range d.States {
		for f, p := range drawChances(t, n, "likelihood") {
			l.Findings[f].Given[s] = p
		}
	}
	return l
}

func TestALookIsNeverWorthMoreThanKnowing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawDecision(t)
		l := drawLook(t, d)
		c, err := d.Compare()
		if err != nil {
			t.Fatal(err)
		}
		looked, err := d.Look(l)
		if err != nil {
			t.Fatal(err)
		}
		if gross := looked.Gross(l.Cost); gross.Sign() < 0 || gross.Cmp(c.Worth()) > 0 {
			t.Errorf("the look is worth %v before its cost, knowing %v", gross, c.Worth())
		}
		sum := new(big.Rat)
		for _, f := range looked.Findings {
			sum.Add(sum, f.Chance)
		}
		if sum.Cmp(big.NewRat(1, 1)) != 0 {
			t.Errorf("the findings' chances add up to %v", sum)
		}
	})
}

// A decision with a look, as a tree: the same to the last digit.
func TestATreeSaysTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawDecision(t)
		l := drawLook(t, d)
		act := risk.Choice{}
		for _, a := range d.Acts {
			act.Options = append(act.Options, risk.Option{Then: risk.End{Values: a.Values}})
		}
		fork := risk.Fork{}
		for _, f := range l.Findings {
			fork.Branches = append(fork.Branches, risk.Branch{Given: f.Given, Then: act})
		}
		tree := risk.Tree{States: d.States, Root: risk.Choice{Options: []risk.Option{
			{Name: "act", Then: act}, {Name: "look", Cost: l.Cost, Then: fork},
		}}}
		solved, err := tree.Solve()
		if err != nil {
			t.Fatal(err)
		}
		c, err := d.Compare()
		if err != nil {
			t.Fatal(err)
		}
		looked, err := d.Look(l)
		if err != nil {
			t.Fatal(err)
		}
		best, want := 0, c.Acts[c.Best]
		if looked.With.Cmp(want.Mean) > 0 {
			best = 1
		}
		pick := solved.Picks[0]
		if pick.Option != best || pick.Worth[0].Cmp(want.Mean) != 0 || pick.Worth[1].Cmp(looked.With) != 0 {
			t.Errorf("the tree takes %d of %v, the table %d of %v, %v", pick.Option, pick.Worth, best, want.Mean, looked.With)
		}
		if best == 0 && solved.Variance.Cmp(want.Variance) != 0 {
			t.Errorf("variance %v, the table says %v", solved.Variance, want.Variance)
		}
		// The atoms give mean and variance back.
		atoms, err := solved.Atoms()
		if err != nil {
			t.Fatal(err)
		}
		one, mean, square := new(big.Rat), new(big.Rat), new(big.Rat)
		for _, a := range atoms {
			v := new(big.Rat).SetInt64(a.Value)
			one.Add(one, a.Chance)
			mean.Add(mean, new(big.Rat).Mul(a.Chance, v))
			square.Add(square, new(big.Rat).Mul(a.Chance, new(big.Rat).Mul(v, v)))
		}
		if one.Cmp(big.NewRat(1, 1)) != 0 || mean.Cmp(solved.Mean) != 0 ||
			new(big.Rat).Sub(square, new(big.Rat).Mul(mean, mean)).Cmp(solved.Variance) != 0 {
			t.Errorf("atoms give %v, %v, %v; solved %v, %v", one, mean, square, solved.Mean, solved.Variance)
		}
	})
}

// Two stones of a plan, each with its own chance, as a tree of forks or as gains.
func TestGainsAreIndependentForks(t *testing.T) {
	end := func(v int64) risk.Node { return risk.End{Values: []int64{v}} }
	fork := func(p int64, yes, no risk.Node) risk.Node {
		return risk.Fork{Branches: []risk.Branch{{Given: []int64{p}, Then: yes}, {Given: []int64{risk.Certain - p}, Then: no}}}
	}
	forks, err := risk.Tree{Root: fork(6_000, fork(9_000, end(1_700), end(1_200)), fork(9_000, end(500), end(0)))}.Solve()
	if err != nil {
		t.Fatal(err)
	}
	gain := func(p, v int64) risk.Gain {
		return risk.Gain{Outcomes: []risk.Outcome{{Chance: p, Value: v}, {Chance: risk.Certain - p}}}
	}
	gains, err := risk.Tree{Root: risk.End{Values: []int64{0}, Gains: []risk.Gain{gain(6_000, 1_200), gain(9_000, 500)}}}.Solve()
	if err != nil {
		t.Fatal(err)
	}
	if forks.Mean.Cmp(gains.Mean) != 0 || forks.Variance.Cmp(gains.Variance) != 0 {
		t.Errorf("forks %v %v, gains %v %v", forks.Mean, forks.Variance, gains.Mean, gains.Variance)
	}
	both, err := gains.AtMost(0)
	if err != nil || both.Cmp(big.NewRat(4, 100)) != 0 { // 0.4 · 0.1
		t.Errorf("both are lost with chance %v, expected 1/25; %v", both, err)
	}
	// The same drawn: within 4 standard errors.
	s, err := gains.Simulate(rand.NewPCG(3, 4), 100_000)
	if err != nil {
		t.Fatal(err)
	}
	mean, _ := gains.Mean.Float64()
	share, off := s.AtMost(0)
	if math.Abs(s.Mean-mean) > 4*s.Error || math.Abs(share-0.04) > 4*off {
		t.Errorf("drew %f ± %f for %f, and %f ± %f for 0.04", s.Mean, s.Error, mean, share, off)
	}
	again, err := gains.Simulate(rand.NewPCG(3, 4), 100_000)
	if err != nil || again.Mean != s.Mean || again.Quantile(0.05) != s.Quantile(0.05) {
		t.Error("the same seed drew something else")
	}
}

func TestWhatCantBeToldApartIsSaid(t *testing.T) {
	var gains []risk.Gain
	for i := range int64(30) {
		gains = append(gains, risk.Gain{Outcomes: []risk.Outcome{{Chance: 5_000, Value: 1 << i}, {Chance: 5_000}}})
	}
	solved, err := risk.Tree{Root: risk.End{Values: []int64{0}, Gains: gains}}.Solve()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := solved.Atoms(); !errors.Is(err, risk.ErrTooMany) {
		t.Errorf("2^30 amounts: %v", err)
	}
	if want := big.NewRat(1<<30-1, 2); solved.Mean.Cmp(want) != 0 { // still exact
		t.Errorf("mean %v, expected %v", solved.Mean, want)
	}
	// A tree too large is refused, not drawn: what to choose never rests on chance.
	deep := risk.Node(risk.End{Values: []int64{1}})
	for range 25 {
		deep = risk.Fork{Branches: []risk.Branch{{Given: []int64{5_000}, Then: deep}, {Given: []int64{5_000}, Then: deep}}}
	}
	if _, err := (risk.Tree{Root: deep}).Solve(); err == nil {
		t.Error("a tree of 2^26 nodes was taken")
	}
}

func TestRoundAndRoot(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := big.NewRat(rapid.Int64Range(-1_000_000, 1_000_000).Draw(t, "num"), rapid.Int64Range(1, 1_000).Draw(t, "den"))
		off := new(big.Rat).Abs(new(big.Rat).Sub(r, new(big.Rat).SetInt64(risk.Round(r))))
		if off.Cmp(big.NewRat(1, 2)) > 0 || risk.Round(new(big.Rat).Neg(r)) != -risk.Round(r) {
			t.Errorf("%v rounds to %d", r, risk.Round(r))
		}
		if r.Sign() >= 0 {
			// (n - ½)² ≤ r < (n + ½)²
			n := risk.Root(r)
			lo, hi := big.NewRat(2*n-1, 2), big.NewRat(2*n+1, 2)
			if n > 0 && new(big.Rat).Mul(lo, lo).Cmp(r) > 0 || new(big.Rat).Mul(hi, hi).Cmp(r) <= 0 {
				t.Errorf("the root of %v is not %d", r, n)
			}
		}
	})
}

// By hand: a stone of 5 ct at 100.00 a carat with a spot in its face is worth 500.00. A layer
// of 0.2 mm off 100 mm² at 2.10 g/cm³ is 42 mg = 0.21 ct; clean it would bring 180.00 a carat:
// 4.79 · 180.00 = 862.20, still spotted 479.00, spoilt 20.00, less 25.00 of work.
func TestInclusion(t *testing.T) {
	loss, err := risk.Ground(100_000_000, 200, 2_100)
	if err != nil || loss != 42_000 {
		t.Fatal(loss, err)
	}
	i := risk.Inclusion{
		MassUg: 1_000_000, LossUg: loss, Kept: 10_000, Cleared: 18_000,
		Clears: 6_000, Spoils: 1_000, Spoilt: 2_000, Cost: 2_500,
	}
	d, err := i.Decision()
	if err != nil {
		t.Fatal(err)
	}
	c, err := d.Compare()
	if err != nil {
		t.Fatal(err)
	}
	// 0.6 · 837.20 + 0.3 · 454.00 + 0.1 · (-5.00) = 638.02
	if keep, grind := risk.Round(c.Acts[0].Mean), risk.Round(c.Acts[1].Mean); keep != 50_000 || grind != 63_802 || c.Best != 1 {
		t.Errorf("kept %d, ground %d, best %d", keep, grind, c.Best)
	}
	if lost := d.AtMost(1, 0); lost != 1_000 {
		t.Errorf("nothing is left with chance %d", lost)
	}
	// By the face nothing is lost to the thinner stone: 100 mm² at 4.00 are 400.00 kept.
	i.FaceUm2, i.Kept, i.Cleared = 100_000_000, 400, 700
	if d, err = i.Decision(); err != nil || d.Acts[0].Values[0] != 40_000 || d.Acts[1].Values[0] != 70_000-2_500 || d.Acts[1].Values[1] != 40_000-2_500 {
		t.Error(d, err)
	}
	i.LossUg = 1_000_000
	if _, err := i.Decision(); err == nil {
		t.Error("a stone ground away altogether was taken")
	}
}

func TestRefused(t *testing.T) {
	for field, d := range map[string]risk.Decision{
		"states":            {States: []risk.State{{Chance: 4_000}, {Chance: 5_000}}, Acts: []risk.Act{{Values: []int64{1, 2}}}},
		"states[0].chance":  {States: []risk.State{{Chance: -1}, {Chance: 10_001}}, Acts: []risk.Act{{Values: []int64{1, 2}}}},
		"acts[0].values":    {States: []risk.State{{Chance: 10_000}}, Acts: []risk.Act{{Values: []int64{1, 2}}}},
		"acts[0].values[0]": {States: []risk.State{{Chance: 10_000}}, Acts: []risk.Act{{Values: []int64{2_000_000_000_000_000}}}},
	} {
		_, err := d.Compare()
		all, ok := rule.Of(err)
		if !ok || all[0].Field != field || all[0].Value == "" || all[0].Hint == "" {
			t.Errorf("%s: got %v", field, err)
		}
	}
	if _, err := (risk.Record{Held: 3, Tried: 2}).Estimate(5_000); err == nil {
		t.Error("three of two were taken")
	}
	if _, err := (risk.Tree{}).Solve(); err == nil {
		t.Error("an empty tree was taken")
	}
}
