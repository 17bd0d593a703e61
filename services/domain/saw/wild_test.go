package saw_test

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/saw"
)

// Whatever is asked, the answer is a result or an *Invalid.
func TestWildRequests(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.OneOf(
			rapid.Int64Range(-3, 3), rapid.Int64Range(-20_000, 20_000), rapid.Int64Range(-saw.MaxLengthUm, saw.MaxLengthUm),
			rapid.SampledFrom([]int64{math.MinInt64, math.MaxInt64, saw.MaxLengthUm, -saw.MaxLengthUm, saw.MaxMassUg, saw.MaxLengthUm / 2, 10_000}),
		)
		n := func(what string) int64 { return number.Draw(t, what) }
		point := func() saw.Point { return saw.Point{X: n("x"), Y: n("y")} }
		points := func(most int) []saw.Point {
			return rapid.SliceOfN(rapid.Custom(func(*rapid.T) saw.Point { return point() }), 0, most).Draw(t, "points")
		}
		view := func() saw.View {
			return rapid.SampledFrom([]saw.View{saw.Face, saw.Back, saw.Section, ""}).Draw(t, "view")
		}
		wild := func() bool { return rapid.IntRange(0, 5).Draw(t, "wild") == 0 }

		study, plan := free()
		if wild() {
			study.Outline = points(5)
		}
		if wild() {
			study.Outline = square(saw.MaxLengthUm, saw.MaxLengthUm)
		}
		if wild() {
			study.MassUg, study.SGMilli = n("mass"), n("sg")
		}
		if wild() {
			study.ThicknessUm, study.Trace = n("thickness"), saw.Line{A: point(), B: point()}
		}
		if wild() {
			study.ThicknessUm, study.Layers, study.Profile = 0, nil, points(5)
		}
		if wild() {
			study.Features = append(study.Features, saw.Feature{
				Name: "f", Kind: rapid.SampledFrom([]saw.Kind{saw.Colour, saw.Potch, saw.Rock, saw.Crack, saw.Seam}).Draw(t, "kind"), View: view(), Points: points(4),
				Closed: rapid.Bool().Draw(t, "closed"), ThicknessUm: n("seam"), DepthUm: n("depth"),
			})
		}
		if wild() {
			plan.Blades[0].KerfUm, plan.Blades[0].ReachUm, plan.Blades[0].WanderUm = n("kerf"), n("reach"), n("wander")
		}
		if wild() {
			plan.Settings.CrackUm, plan.Settings.BetweenUm, plan.Settings.BevelUm, plan.Settings.HourMinor = n("crack"), n("between"), n("bevel"), n("hour")
		}
		if wild() {
			plan.Steps[1].Do = rapid.SampledFrom([]saw.Work{
				saw.Saw{Blade: "trim", View: view(), Line: saw.Line{A: point(), B: point()}, Left: []string{"1C"}, Right: []string{"1D"}},
				saw.Split{View: view(), Line: saw.Line{A: point(), B: point()}, Left: []string{"1C"}, Right: []string{"1D"}},
				saw.Trim{View: view(), Keep: []saw.Kept{{Part: "1C", Ring: points(5)}, {Part: "1D", Ring: points(4)}}},
				saw.Trim{View: saw.Face, Keep: []saw.Kept{{Part: "1C", Stone: "1", AllowUm: n("allow")}}},
				saw.Grind{View: view(), ThicknessUm: n("off"), What: saw.Rock},
				saw.Look{Kind: saw.Window, View: view(), OffUm: n("off"), Outcomes: []saw.Outcome{{Name: "a", ChanceBp: n("chance")}, {Name: "b", ChanceBp: n("chance")}}},
				nil,
			}).Draw(t, "do")
		}
		if wild() {
			s := &plan.Ends[1].Stones[0]
			s.Shape = rapid.SampledFrom([]saw.Shape{saw.Oval, saw.Round, saw.Pear, saw.Marquise, saw.Cushion, saw.Rectangle, saw.Triangle, saw.Freeform, ""}).Draw(t, "shape")
			s.Ring, s.LengthUm, s.WidthUm, s.DepthUm, s.DomeUm = points(4), n("length"), n("width"), n("depth"), n("dome")
			s.At, s.TurnMdeg, s.TiltMdeg, s.View, s.Zone = point(), n("turn"), n("tilt"), view(), ""
		}
		prices := saw.Prices{Currency: "AUD", Markets: []saw.Market{{Name: "pairs", Prices: []saw.Price{{Class: "top", Per: saw.PerCarat, FromUm: n("from"), ToUm: n("to"), Minor: n("minor")}}}}}
		if rapid.Bool().Draw(t, "priced") {
			prices.Markets = nil
		}
		r, err := saw.Evaluate(study, plan, prices)
		if e := (*saw.Invalid)(nil); err != nil && (!errors.As(err, &e) || e.Path == "") {
			t.Fatalf("got %v", err)
		}
		if err == nil {
			balanced(t, r.Trunk)
		}
	})
}
