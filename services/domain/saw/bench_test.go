package saw_test

import (
	"fmt"
	"math"
	"testing"

	"seamshare.example/services/domain/saw"
)

// busy is a plan with 20 cuts and 40 stones for a piece whose outline has 200 corners.
func busy() (saw.Study, saw.Plan, saw.Prices) {
	study := saw.Study{
		Name: "busy", MassUg: 60_000_000, SGMilli: 2_950, ThicknessUm: 9_000,
		Layers: []saw.Layer{{Name: "bar", Kind: saw.Colour, ThicknessUm: 1_500, SGMilli: 2_100}},
	}
	for i := range 200 {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / 200)
		wave := 1 + 0.03*math.Sin(float64(i)*0.7)
		study.Outline = append(study.Outline, saw.Point{X: int64(60_000 * cos * wave), Y: int64(45_000 * sin * wave)})
	}
	for i := range int64(6) {
		x := 15_000*i - 38_000
		study.Features = append(study.Features, saw.Feature{Name: fmt.Sprint("crack ", i), Kind: saw.Crack, View: saw.Face, Points: []saw.Point{{X: x, Y: -20_000}, {X: x + 900, Y: 2_000}, {X: x - 500, Y: 18_000}}})
	}
	study.Features = append(study.Features, saw.Feature{Name: "zone", Kind: saw.Colour, View: saw.Face, Closed: true, Points: []saw.Point{{X: -40_000, Y: -25_000}, {X: 40_000, Y: -25_000}, {X: 40_000, Y: 25_000}, {X: -40_000, Y: 25_000}}})
	plan := saw.Plan{
		Blades:   []saw.Blade{{Name: "b", KerfUm: 600, ReachUm: 150_000, WanderUm: 50}},
		Settings: saw.Settings{CrackUm: 300, PotchUm: 300, BackingUm: 1_000, BevelUm: 300, BetweenUm: 500, GripUm: 3_000, Currency: "AUD", HourMinor: 4_500, LevyBp: 600, SellingMinor: 200},
	}
	// One cut along the seam, then 4 columns by 5 strips: 3 + 4·4 = 19 cuts.
	cut := func(part string, v saw.View, a, b saw.Point, left, right string) {
		plan.Steps = append(plan.Steps, saw.Step{Part: part, Minutes: 5, Do: saw.Saw{Blade: "b", View: v, Line: saw.Line{A: a, B: b}, Left: []string{left}, Right: []string{right}}})
	}
	cut("piece", saw.Section, saw.Point{Y: -4_500}, saw.Point{X: 1_000, Y: -4_500}, "slab", "rock")
	plan.Ends = append(plan.Ends, saw.End{Part: "rock", Kind: saw.Waste})
	rest := "slab"
	for c := range int64(4) {
		column := fmt.Sprint("c", c)
		if c < 3 {
			x := 20_000*c - 20_000
			cut(rest, saw.Face, saw.Point{X: x}, saw.Point{X: x + 300, Y: 10_000}, column, fmt.Sprint("right", c))
			rest = fmt.Sprint("right", c)
		} else {
			column = rest
		}
		for s := range int64(5) {
			part := fmt.Sprint(c, "-", s)
			if s < 4 {
				y := 10_000*s - 15_000
				next := fmt.Sprint(column, "+", s)
				cut(column, saw.Face, saw.Point{Y: y}, saw.Point{X: 10_000, Y: y + 100}, next, part)
				column = next
			} else {
				part = column
			}
			end := saw.End{Part: part, Kind: saw.Stones}
			for k := range int64(2) {
				end.Stones = append(end.Stones, saw.Stone{
					Name: fmt.Sprint(part, k), Shape: saw.Oval, LengthUm: 7_000, WidthUm: 5_000, DepthUm: 2_800, DomeUm: 1_200, View: saw.Face,
					At: saw.Point{X: 20_000*c - 34_500 + 9_000*k, Y: 10_000*s - 20_000}, TurnMdeg: 10_000, Zone: "zone", Bar: "bar",
					Class: "top", Market: "m", ChanceBp: 8_000, Minutes: 20,
				})
			}
			plan.Ends = append(plan.Ends, end)
		}
	}
	return study, plan, saw.Prices{Currency: "AUD", Markets: []saw.Market{{Name: "m", Prices: []saw.Price{{Class: "top", Per: saw.PerFaceMm2, Minor: 300}}}}}
}

// A search or a person who moves a cut on a page waits for this. At least a thousand a second are wanted, on one core.
func BenchmarkEvaluate(b *testing.B) {
	study, plan, prices := busy()
	model, err := saw.NewModel(study)
	if err != nil {
		b.Fatal(err)
	}
	r, err := model.Evaluate(plan, prices)
	if err != nil {
		b.Fatal(err)
	}
	b.Logf("%d of 40 stones fit, %d findings", r.Totals.Stones, len(r.Trunk.Findings))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := model.Evaluate(plan, prices); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "plans/s")
}

// The same with the study checked anew each time.
func BenchmarkEvaluateWithStudy(b *testing.B) {
	study, plan, prices := busy()
	for b.Loop() {
		if _, err := saw.Evaluate(study, plan, prices); err != nil {
			b.Fatal(err)
		}
	}
}
