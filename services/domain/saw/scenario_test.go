package saw_test

import (
	"math"
	"testing"

	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/example"
)

// What the demo's scenario says came out, in milligrams on a scale of 0.01 g, and sawn areas in mm².
func TestScenario(t *testing.T) {
	parts := map[string]map[string]int64{
		"P1-1": {"1A": 9_240, "1B": 23_440, "1C": 5_020, "1D": 4_050},
		"P1-2": {"2A": 9_020, "2B": 20_360, "2C": 4_600, "2D": 4_250},
		"P3-1": {"1A": 11_020, "1B": 27_360, "1C": 6_100, "1D": 4_710, "1E": 3_100, "1F": 2_840},
	}
	kerfs := map[string][]struct{ mm2, mg int64 }{
		"P1-1": {{860, 1_520}, {108, 170}},
		"P1-2": {{833, 1_470}, {108, 170}},
		"P1-3": {{105, 170}, {440, 790}},
		"P1-5": {{130, 230}}, "P1-5 faced": {{130, 230}},
		"P3-1": {{832, 1_320}, {132, 210}, {100, 160}},
	}
	for name, c := range example.Demo() {
		t.Run(name, func(t *testing.T) {
			r, err := saw.Evaluate(c.Study, c.Plans[0], example.Prices())
			if err != nil {
				t.Fatal(err)
			}
			if r.Infeasible || math.Abs(float64(r.ErrorBp)) > 10 {
				t.Errorf("feasible: %v, off the scale by %d bp: %+v", !r.Infeasible, r.ErrorBp, r.Trunk.Findings)
			}
			for _, p := range r.Trunk.Parts {
				if want, ok := parts[name][p.Name]; ok && math.Abs(float64(p.MassUg-want*1_000)) > 10_000 {
					t.Errorf("part %s weighs %d µg, want %d mg within a division", p.Name, p.MassUg, want)
				}
			}
			var sawn []saw.Loss
			var collect func(b saw.Branch)
			collect = func(b saw.Branch) {
				for _, l := range b.Losses {
					if l.Reason == saw.Kerf {
						sawn = append(sawn, l)
					}
				}
				for _, l := range b.Looks {
					for _, o := range l.Outcomes {
						collect(o)
					}
				}
			}
			collect(r.Trunk)
			if len(sawn) != len(kerfs[name]) {
				t.Fatalf("%d cuts, want %d", len(sawn), len(kerfs[name]))
			}
			for i, want := range kerfs[name] {
				if math.Abs(float64(sawn[i].AreaUm2)/1e6-float64(want.mm2)) > 1.05 {
					t.Errorf("%s: %d µm² are sawn, want %d mm²", sawn[i].Path, sawn[i].AreaUm2, want.mm2)
				}
				if math.Abs(float64(sawn[i].MassUg-want.mg*1_000)) > 6_000 { // half a division, and 1 mg for areas in whole mm²
					t.Errorf("%s: the kerf weighs %d µg, want %d mg", sawn[i].Path, sawn[i].MassUg, want.mg)
				}
			}
		})
	}
}

// The scenario's two plans for P1-3, before levy and work, in cents: 0.7 · 1 910 + 0.3 · 420 = 1 463, spread 682.80;
// one seam only 1 350.
func TestScenarioSeams(t *testing.T) {
	both, err := saw.Evaluate(example.P1Piece3(), example.P1Piece3Both(), example.Prices())
	if err != nil {
		t.Fatal(err)
	}
	one, err := saw.Evaluate(example.P1Piece3(), example.P1Piece3One(), example.Prices())
	if err != nil {
		t.Fatal(err)
	}
	if m := both.Money; m.Expected != 146_300 || m.Spread != 68_280 || m.Best != 191_000 || m.Worst != 42_000 {
		t.Errorf("both seams: %+v", m)
	}
	if m := one.Money; m.Expected != 135_000 || m.Spread != 0 {
		t.Errorf("one seam: %+v", m)
	}
}

// From where outward both stones of P1-3 can be had: (1.2 + 0.3 · cos 7°) / sin 7° = 12.290 mm from where the seams
// would meet, by the scenario's formula, which is that of the constructed cases for a cut halfway between two seams.
func TestBothSeamsFrom(t *testing.T) {
	plan := example.P1Piece3Both()
	look := plan.Steps[1].Do.(saw.Look)
	end := look.Outcomes[0].Ends[0].Stones
	end[0].Shape, end[0].Ring, end[0].LengthUm, end[0].WidthUm = saw.Rectangle, nil, 6_000, 4_000
	plan.Settings.BackingUm = 1_200
	plan.Steps[0].Do = saw.Saw{Blade: "trim", View: saw.Face, Line: saw.Line{A: saw.Point{X: 10_000}, B: saw.Point{X: 10_000, Y: 1}}, Left: []string{"3A"}, Right: []string{"3B"}}
	at := func(x int64) saw.Planned {
		end[0].At = saw.Point{X: x, Y: 11_000}
		r, err := saw.Evaluate(example.P1Piece3(), plan, example.Prices())
		if err != nil {
			t.Fatal(err)
		}
		return r.Trunk.Looks[0].Outcomes[0].Ends[0].Stones[0]
	}
	low, high := int64(14_000), int64(18_000)
	for high-low > 1 {
		if middle := (low + high) / 2; at(middle).Fits {
			high = middle
		} else {
			low = middle
		}
	}
	// The stone's lower corner towards the closed end.
	corner := math.Inf(1)
	for _, p := range at(high).Section {
		corner = min(corner, float64(p.X)/1e6)
	}
	lowest := at(high).Section
	z := lowest[0]
	for _, p := range lowest {
		if p.Y < z.Y || p.Y == z.Y && p.X < z.X {
			z = p
		}
	}
	const degree = math.Pi / 180
	want := (1.2 + 0.3*math.Cos(7*degree)) / math.Sin(7*degree)
	if got := float64(z.X) / 1e6; math.Abs(want-12.290) > 5e-4 || math.Abs(got-want) > 0.01 {
		t.Errorf("both seams from %.4f mm outward, want %.4f", got, want)
	}
}
