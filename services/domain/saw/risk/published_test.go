package risk_test

import (
	"encoding/json"
	"math"
	"math/big"
	"math/rand/v2"
	"os"
	"testing"

	"seamshare.example/services/domain/saw/risk"
)

func readJSON(t *testing.T, file string, into any) {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatalf("%s: %v", file, err)
	}
}

// micro is how many of our whole units one of a case's is: its figures have six decimals.
const micro = 1_000_000

func units(x float64) int64 { return int64(math.Round(x * micro)) }

func bps(p []float64) []int64 {
	out := make([]int64, len(p))
	for i, x := range p {
		out[i] = int64(math.Round(x * risk.Certain))
	}
	return out
}

func near(t *testing.T, what string, got *big.Rat, want float64) {
	t.Helper()
	if g, _ := new(big.Rat).Quo(got, new(big.Rat).SetInt64(micro)).Float64(); math.Abs(g-want) > 1e-6 {
		t.Errorf("%s: got %f, expected %f", what, g, want)
	}
}

type table struct {
	Source     string
	Payoff     map[string][]float64
	P          []float64
	Emv        map[string]float64
	EvWithPi   float64 `json:"ev_with_pi"`
	Evpi       float64
	Variance   float64 `json:"variance_both"`
	Deviation  float64 `json:"sd_both"`
	Indiff     float64 `json:"indifference_p"`
	Demand     []float64
	Price      float64
	Cost       float64
	Profit     map[string]float64 `json:"expected_profit"`
	BestQ      float64            `json:"best_q"`
	Eppi       float64
	A, B, Mode float64
}

func decision(c table, names ...string) risk.Decision {
	var d risk.Decision
	for _, p := range bps(c.P) {
		d.States = append(d.States, risk.State{Chance: p})
	}
	for _, n := range names {
		a := risk.Act{Name: n}
		for _, v := range c.Payoff[n] {
			a.Values = append(a.Values, units(v))
		}
		d.Acts = append(d.Acts, a)
	}
	return d
}

// Textbook tables; the file names each one's source.
func TestDecisionTables(t *testing.T) {
	var cases map[string]json.RawMessage
	readJSON(t, "testdata/decisions.json", &cases)
	for name, acts := range map[string][]string{
		"rockfest":          {"large", "average", "small"},
		"software_firm":     {"a1", "a2", "a3"},
		"one_or_both_seams": {"one_seam", "both"},
	} {
		t.Run(name, func(t *testing.T) {
			var c table
			if err := json.Unmarshal(cases[name], &c); err != nil {
				t.Fatal(err)
			}
			d := decision(c, acts...)
			got, err := d.Compare()
			if err != nil {
				t.Fatal(err)
			}
			best := 0
			for i, n := range acts {
				near(t, "expected value of "+n, got.Acts[i].Mean, c.Emv[n])
				if c.Emv[n] > c.Emv[acts[best]] {
					best = i
				}
			}
			if got.Best != best {
				t.Errorf("best is %s, expected %s", acts[got.Best], acts[best])
			}
			near(t, "with perfect information", got.Perfect, c.EvWithPi)
			near(t, "worth of perfect information", got.Worth(), c.Evpi)
			if c.Variance == 0 {
				return
			}
			near(t, "variance", new(big.Rat).Quo(got.Acts[1].Variance, new(big.Rat).SetInt64(micro)), c.Variance)
			if dev := got.Acts[1].Deviation(); dev != units(c.Deviation) {
				t.Errorf("deviation %d, expected %d", dev, units(c.Deviation))
			}
			p, err := d.Indifferent(0, 1)
			if err != nil || p == nil {
				t.Fatal(p, err)
			}
			if f, _ := p.Float64(); math.Abs(f-c.Indiff) > 1e-9 {
				t.Errorf("indifferent at %f, expected %f", f, c.Indiff)
			}
		})
	}
}

// Buy q, sell what is asked for: acts are the q, states the demands.
func TestNewspaperBoy(t *testing.T) {
	var cases struct {
		C table `json:"newspaper_boy"`
	}
	readJSON(t, "testdata/decisions.json", &cases)
	c := cases.C
	var d risk.Decision
	for i, p := range bps(c.P) {
		d.States = append(d.States, risk.State{Chance: p})
		a := risk.Act{}
		for _, asked := range c.Demand {
			a.Values = append(a.Values, units(c.Price*min(c.Demand[i], asked)-c.Cost*c.Demand[i]))
		}
		d.Acts = append(d.Acts, a)
	}
	got, err := d.Compare()
	if err != nil {
		t.Fatal(err)
	}
	for i, q := range []string{"1", "2", "3", "4"} {
		near(t, "expected profit of "+q, got.Acts[i].Mean, c.Profit[q])
	}
	if c.Demand[got.Best] != c.BestQ {
		t.Errorf("best is %g, expected %g", c.Demand[got.Best], c.BestQ)
	}
	near(t, "with perfect information", got.Perfect, c.Eppi)
	near(t, "worth of perfect information", got.Worth(), c.Evpi)
}

func TestClosedForms(t *testing.T) {
	var cases struct {
		Forms struct {
			Triangular struct{ A, B, Mode, Mean, Var float64 }
			PERT       struct {
				A, B, Mode, Mean float64
				Var              float64 `json:"var_lambda4"`
			}
			Max  struct{ Mean, Var float64 }                     `json:"max_two_uniform01"`
			Two  struct{ M1, S1, M2, S2, Rho, Mean, SD float64 } `json:"sum_two_independent"`
			Half struct{ Mean, SD float64 }                      `json:"sum_two_rho05"`
		} `json:"closed_forms"`
	}
	readJSON(t, "testdata/decisions.json", &cases)
	f := cases.Forms
	square := new(big.Rat).SetInt64(micro)
	prices := []struct {
		shape                   risk.Shape
		a, m, b, mean, variance float64
	}{
		{risk.Triangular, f.Triangular.A, f.Triangular.Mode, f.Triangular.B, f.Triangular.Mean, f.Triangular.Var},
		{risk.PERT, f.PERT.A, f.PERT.Mode, f.PERT.B, f.PERT.Mean, f.PERT.Var},
	}
	for _, c := range prices {
		r := risk.Range{Low: units(c.a), Likely: units(c.m), High: units(c.b), Shape: c.shape}
		m := r.Moments()
		near(t, "mean", m.Mean, c.mean)
		near(t, "variance", new(big.Rat).Quo(m.Variance, square), c.variance)

		// And drawn: at most 4 standard errors off, about once in 16 000 draws of a seed.
		solved, err := risk.Tree{Root: risk.End{Values: []int64{0}, Gains: []risk.Gain{{Range: &r}}}}.Solve()
		if err != nil {
			t.Fatal(err)
		}
		s, err := solved.Simulate(rand.NewPCG(1, 2), 200_000)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(s.Mean-c.mean*micro) > 4*s.Error || math.Abs(s.Deviation/micro/math.Sqrt(c.variance)-1) > 0.01 {
			t.Errorf("shape %d: drew a mean of %f ± %f and a deviation of %f", c.shape, s.Mean/micro, s.Error/micro, s.Deviation/micro)
		}
	}

	one := risk.Moments{Mean: whole(f.Two.M1), Variance: whole(f.Two.S1 * f.Two.S1)}
	two := risk.Moments{Mean: whole(f.Two.M2), Variance: whole(f.Two.S2 * f.Two.S2)}
	if sum := one.Plus(two, 0); risk.Round(sum.Mean) != units(f.Two.Mean)/micro || sum.Deviation() != int64(f.Two.SD) {
		t.Errorf("the sum has mean %v, deviation %d", sum.Mean, sum.Deviation())
	}
	fine := func(m risk.Moments) risk.Moments { // in millionths
		k := new(big.Rat).SetInt64(micro)
		return risk.Moments{Mean: new(big.Rat).Mul(m.Mean, k), Variance: new(big.Rat).Mul(m.Variance, new(big.Rat).Mul(k, k))}
	}
	if sum := fine(one).Plus(fine(two), 5_000); sum.Deviation() != units(f.Half.SD) {
		t.Errorf("with correlation a half the deviation is %d, expected %d", sum.Deviation(), units(f.Half.SD))
	}

	// The larger of two uniform amounts is what is had of two stones if one knows which is
	// better: a hundred by a hundred states at the middles of their steps.
	var d risk.Decision
	d.Acts = make([]risk.Act, 2)
	for i := range int64(100) {
		for j := range int64(100) {
			d.States = append(d.States, risk.State{Chance: 1})
			d.Acts[0].Values = append(d.Acts[0].Values, (2*i+1)*5_000)
			d.Acts[1].Values = append(d.Acts[1].Values, (2*j+1)*5_000)
		}
	}
	c, err := d.Compare()
	if err != nil {
		t.Fatal(err)
	}
	// The steps are 1/100: the mean of the larger is off by about the square of that.
	if got, _ := c.Perfect.Float64(); math.Abs(got/micro-f.Max.Mean) > 1e-4 {
		t.Errorf("the larger of two has mean %f, expected %f", got/micro, f.Max.Mean)
	}
}

func whole(x float64) *big.Rat { return new(big.Rat).SetInt64(int64(x)) }

// Written by testdata/beta.py.
func TestRecordAgainstSciPy(t *testing.T) {
	var oracle struct {
		Cases []struct {
			Held, Tried     int64
			Mean, Low, High float64
		}
	}
	readJSON(t, "testdata/beta.json", &oracle)
	if len(oracle.Cases) < 40 {
		t.Fatalf("only %d cases", len(oracle.Cases))
	}
	for _, c := range oracle.Cases {
		e, err := risk.Record{Held: c.Held, Tried: c.Tried}.Estimate(7_000)
		if err != nil {
			t.Fatal(err)
		}
		if got, _ := e.Mean.Float64(); math.Abs(got-c.Mean) > 1e-12 {
			t.Errorf("%d of %d: mean %f, expected %f", c.Held, c.Tried, got, c.Mean)
		}
		if math.Abs(float64(e.Low)-c.Low*risk.Certain) > 0.5001 || math.Abs(float64(e.High)-c.High*risk.Certain) > 0.5001 {
			t.Errorf("%d of %d: %d to %d, expected %f to %f", c.Held, c.Tried, e.Low, e.High, c.Low, c.High)
		}
		if out := 0.7 < c.Low || 0.7 > c.High; out != e.Outside && math.Min(math.Abs(0.7-c.Low), math.Abs(0.7-c.High)) > 1e-4 {
			t.Errorf("%d of %d: outside is %v", c.Held, c.Tried, e.Outside)
		}
	}
}
