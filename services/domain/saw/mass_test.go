package saw_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if math.Abs(got-want) > tolerance {
		t.Errorf("%s is %v, want %v", what, got, want)
	}
}

func square(x, y int64) []saw.Point { return []saw.Point{{}, {X: x}, {X: x, Y: y}, {Y: y}} }

// weighed is a study of a block whose mass is the model's own.
func weighed(s saw.Study) saw.Study {
	s.MassUg = 1_000_000
	model, err := saw.NewModel(s)
	if err != nil {
		panic(err)
	}
	r, err := model.Evaluate(saw.Plan{Settings: saw.Settings{Currency: "AUD"}}, saw.Prices{Currency: "AUD"})
	if err != nil {
		panic(err)
	}
	s.MassUg = r.ModelUg
	return s
}

// A block of 20 × 15 × 12 mm and density 2.6, three slabs of 3 mm by three cuts of 0.6 mm: 9.36 g = 7.02 + 1.404 +
// 0.936. A constructed case, by arithmetic.
func TestBlockOfSlabs(t *testing.T) {
	study := weighed(saw.Study{Name: "block", SGMilli: 2_600, ThicknessUm: 12_000, Outline: square(20_000, 15_000)})
	plan := saw.Plan{Blades: []saw.Blade{{Name: "b", KerfUm: 600, ReachUm: 20_000}}, Settings: saw.Settings{Currency: "AUD"}}
	rest := saw.Whole
	for i, name := range []string{"a", "b", "c"} {
		z := -int64(3_000*(i+1) + 600*i + 300)
		next := name + " below"
		plan.Steps = append(plan.Steps, saw.Step{Part: rest, Do: saw.Saw{Blade: "b", View: saw.Section, Line: saw.Line{A: saw.Point{Y: z}, B: saw.Point{X: 1, Y: z}}, Left: []string{name}, Right: []string{next}}})
		rest = next
	}
	r, err := saw.Evaluate(study, plan, saw.Prices{Currency: "AUD"})
	if err != nil {
		t.Fatal(err)
	}
	if study.MassUg != 9_360_000 || r.Totals.LossUg[saw.Kerf] != 1_404_000 {
		t.Errorf("the block weighs %d µg, its kerfs %d", study.MassUg, r.Totals.LossUg[saw.Kerf])
	}
	for _, p := range r.Trunk.Parts {
		if want, ok := map[string]int64{"a": 2_340_000, "b": 2_340_000, "c": 2_340_000, rest: 936_000}[p.Name]; ok && p.MassUg != want {
			t.Errorf("part %s weighs %d, want %d", p.Name, p.MassUg, want)
		}
	}
}

// A cut inclined by φ to the section takes kerf · area / cos φ: 0.6 · 300 / cos 30° = 207.846097 mm³. A constructed
// case, by trigonometry.
func TestInclinedCut(t *testing.T) {
	study := weighed(saw.Study{Name: "bar", SGMilli: 2_000, ThicknessUm: 20_000, Outline: square(60_000, 15_000)})
	run := int64(math.Round(20_000_000 * math.Tan(math.Pi/6) / 1_000))
	plan := saw.Plan{Blades: []saw.Blade{{Name: "b", KerfUm: 600, ReachUm: 30_000}}, Settings: saw.Settings{Currency: "AUD"}, Steps: []saw.Step{{
		Part: saw.Whole, Do: saw.Saw{Blade: "b", View: saw.Section, Line: saw.Line{A: saw.Point{X: 20_000}, B: saw.Point{X: 20_000 + run, Y: -20_000}}, Left: []string{"l"}, Right: []string{"r"}},
	}}}
	r, err := saw.Evaluate(study, plan, saw.Prices{Currency: "AUD"})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "kerf in mm³", float64(r.Totals.LossUg[saw.Kerf])/2_000, 207.846097, 0.005)
	near(t, "its area in mm²", float64(r.Trunk.Losses[0].AreaUm2)/1e6, 300/math.Cos(math.Pi/6), 0.02)
}

// Two wedges across each other: ∫ W(1 − s/L) · H(1 − s/L) ds = WHL/3, and with one turned round, WHL/6. By elementary
// integration.
func TestWedges(t *testing.T) {
	const w, h, l = 12_000, 9_000, 30_000
	for name, c := range map[string]struct {
		section []saw.Point
		share   float64
	}{
		"both thin at the same end": {[]saw.Point{{}, {Y: -h}, {X: l}}, 3},
		"thin at opposite ends":     {[]saw.Point{{X: l}, {X: 0}, {X: l, Y: -h}}, 6},
	} {
		t.Run(name, func(t *testing.T) {
			study := saw.Study{Name: "wedge", MassUg: 1_000_000, SGMilli: 3_000, Outline: []saw.Point{{}, {X: l, Y: w / 2}, {Y: w}}, Profile: c.section}
			r, err := saw.Evaluate(study, saw.Plan{Settings: saw.Settings{Currency: "AUD"}}, saw.Prices{Currency: "AUD"})
			if err != nil {
				t.Fatal(err)
			}
			near(t, "mass in µg", float64(r.ModelUg), 12*9*30/c.share*3_000, 1)
		})
	}
}

// Every part's mass is its share of the piece's by a sum over a fine grid along the trace, of widths and heights found
// ray by ray.
func TestMassesByGrid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		study := drawStudy(t)
		study.Trace = saw.Line{A: saw.Point{X: -20_000}, B: saw.Point{X: 20_000}}
		for i := range study.Features {
			study.Features[i].SGMilli = study.SGMilli // one density, so that mass is volume
		}
		for i := range study.Layers {
			study.Layers[i].SGMilli = study.SGMilli
		}
		r := mustEvaluate(t, study, drawPlan(t, study, without{looks: true}))
		whole := byGrid(r.Trunk.Parts[0])
		for _, p := range r.Trunk.Parts[1:] {
			want := byGrid(p) / whole * float64(study.MassUg)
			if math.Abs(float64(p.MassUg)-want) > 2e-3*float64(study.MassUg) {
				t.Fatalf("part %s weighs %d µg, by the grid %.0f:\n%v\n%v", p.Name, p.MassUg, want, p.Face, p.Section)
			}
		}
	})
}

func byGrid(p saw.Part) float64 {
	const lines = 4_000
	low, high := math.Inf(1), math.Inf(-1)
	for _, q := range p.Section {
		low, high = min(low, float64(q.X)), max(high, float64(q.X))
	}
	sum, step := 0.0, (high-low)/lines
	for i := range lines {
		s := low + (float64(i)+0.5)*step
		sum += across(p.Face, s-20e6) * across(p.Section, s) * step
	}
	return sum
}

func across(r plane.Ring, x float64) (sum float64) {
	for i, p := range r {
		q := r[(i+1)%len(r)]
		if (float64(p.X) <= x) != (float64(q.X) <= x) {
			y := float64(p.Y) + (float64(q.Y)-float64(p.Y))*(x-float64(p.X))/(float64(q.X)-float64(p.X))
			if q.X < p.X {
				sum += y
			} else {
				sum -= y
			}
		}
	}
	return sum
}
