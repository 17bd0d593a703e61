package saw_test

import (
	"fmt"
	"math"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// drawStudy draws a piece of some grams: an outline that may be concave, and a plate with layers or a drawn section with
// seams.
func drawStudy(t *rapid.T) saw.Study {
	st := saw.Study{Name: "random", MassUg: rapid.Int64Range(2_000_000, 12_000_000).Draw(t, "mass"), SGMilli: rapid.Int64Range(2_000, 3_600).Draw(t, "sg")}
	n := rapid.IntRange(4, 14).Draw(t, "corners")
	for i := range n {
		r := float64(rapid.Int64Range(6_000, 16_000).Draw(t, "r"))
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		st.Outline = append(st.Outline, saw.Point{X: int64(r * cos), Y: int64(r * sin)})
	}
	angle := rapid.Float64Range(-3, 3).Draw(t, "trace")
	if rapid.Bool().Draw(t, "straight") {
		angle = 0
	}
	sin, cos := math.Sincos(angle)
	st.Trace = saw.Line{A: saw.Point{X: -int64(20_000 * cos), Y: -int64(20_000 * sin)}, B: saw.Point{X: int64(20_000 * cos), Y: int64(20_000 * sin)}}
	if rapid.Bool().Draw(t, "plate") {
		st.ThicknessUm = rapid.Int64Range(3_000, 9_000).Draw(t, "thickness")
		st.Layers = []saw.Layer{
			{Name: "bar", Kind: saw.Colour, ThicknessUm: rapid.Int64Range(500, 1_500).Draw(t, "bar"), SGMilli: 2_100},
			{Name: "potch", Kind: saw.Potch, ThicknessUm: rapid.Int64Range(100, 1_000).Draw(t, "potch"), SGMilli: 2_050},
		}
	} else {
		// A wavy slab along s from 0 to 40 mm, the outline's middle at 20 mm, with a seam in it.
		var top, bottom []saw.Point
		for s := int64(0); s <= 40_000; s += 8_000 {
			top = append(top, saw.Point{X: s, Y: -rapid.Int64Range(0, 1_500).Draw(t, "top")})
			bottom = append(bottom, saw.Point{X: s, Y: -rapid.Int64Range(5_000, 9_000).Draw(t, "bottom")})
		}
		top[rapid.IntRange(0, len(top)-1).Draw(t, "highest")].Y = 0
		st.Profile = append(st.Profile, bottom...)
		for i := range top {
			st.Profile = append(st.Profile, top[len(top)-1-i])
		}
		z := -rapid.Int64Range(2_200, 3_000).Draw(t, "z")
		st.Features = append(st.Features, saw.Feature{Name: "bar", Kind: saw.Seam, View: saw.Section, ThicknessUm: 1_000, SGMilli: 2_100, Points: []saw.Point{{X: 0, Y: z}, {X: 40_000, Y: z - rapid.Int64Range(-600, 600).Draw(t, "dip")}}})
	}
	return st
}

var setting = saw.Settings{CrackUm: 200, PotchUm: 200, BackingUm: 300, BevelUm: 100, BetweenUm: 300, GripUm: 1_000, Currency: "AUD", HourMinor: 4_500, LevyBp: 600, SellingMinor: 150}

var market = saw.Prices{Currency: "AUD", Markets: []saw.Market{{Name: "m", Prices: []saw.Price{
	{Class: "top", Per: saw.PerFaceMm2, Minor: 321}, {Class: "carat", Per: saw.PerCarat, Minor: 4_321}, {Class: "gram", Per: saw.PerGram, Minor: 77},
}}}}

// drawing makes a plan step by step, looking at what there is so far as a person does.
type drawing struct {
	t     *rapid.T
	model *saw.Model
	plan  saw.Plan
	names int
}

// without says what a drawn plan does not do.
type without struct{ looks, trims bool }

func drawPlan(t *rapid.T, study saw.Study, not without) saw.Plan {
	model, err := saw.NewModel(study)
	if err != nil {
		t.Fatalf("study: %v", err)
	}
	d := &drawing{t: t, model: model, plan: saw.Plan{Name: "random", Settings: setting, Blades: []saw.Blade{
		{Name: "thin", KerfUm: rapid.Int64Range(0, 400).Draw(t, "thin"), ReachUm: 30_000},
		{Name: "thick", KerfUm: rapid.Int64Range(500, 900).Draw(t, "thick"), ReachUm: 9_000, WanderUm: 80},
	}}}
	for range rapid.IntRange(0, 7).Draw(t, "steps") {
		part, ok := d.pick()
		if !ok {
			break
		}
		if step, ok := d.step(part, not); ok {
			before := d.plan.Steps
			d.plan.Steps = append(d.plan.Steps[:len(before):len(before)], step)
			if _, err := model.Evaluate(d.plan, market); err != nil {
				d.plan.Steps = before
			}
		}
	}
	for {
		part, ok := d.pick()
		if !ok {
			return d.plan
		}
		d.plan.Ends = append(d.plan.Ends, d.end(part))
	}
}

// pick is a part that has no end yet.
func (d *drawing) pick() (saw.Part, bool) {
	r, err := d.model.Evaluate(d.plan, market)
	if err != nil {
		d.t.Fatalf("so far: %v", err)
	}
	var open []saw.Part
	for _, e := range r.Trunk.Ends {
		if e.Path == "ends" {
			for _, p := range r.Trunk.Parts {
				if p.Name == e.Part {
					open = append(open, p)
				}
			}
		}
	}
	if len(open) == 0 {
		return saw.Part{}, false
	}
	return open[rapid.IntRange(0, len(open)-1).Draw(d.t, "part")], true
}

func (d *drawing) name() string {
	d.names++
	return fmt.Sprint("p", d.names)
}

func um(p plane.Point) saw.Point { return saw.Point{X: p.X / 1_000, Y: p.Y / 1_000} }

func (d *drawing) step(p saw.Part, not without) (saw.Step, bool) {
	t := d.t
	step := saw.Step{Part: p.Name, Minutes: rapid.Int64Range(0, 30).Draw(t, "minutes")}
	views := []saw.View{saw.Face, saw.Face, saw.Section, saw.Back}
	switch rapid.IntRange(0, 5).Draw(t, "kind") {
	case 0, 1:
		v := rapid.SampledFrom(views).Draw(t, "view")
		step.Do = saw.Saw{Blade: rapid.SampledFrom([]string{"thin", "thick"}).Draw(t, "blade"), View: v, Line: d.line(p, v), Left: []string{d.name()}, Right: []string{d.name()}}
	case 2:
		v := rapid.SampledFrom(views).Draw(t, "view")
		step.Do = saw.Split{View: v, Line: d.line(p, v), Left: []string{d.name()}, Right: []string{d.name()}}
	case 3:
		step.Do = saw.Grind{View: rapid.SampledFrom([]saw.View{saw.Face, saw.Back}).Draw(t, "side"), ThicknessUm: rapid.Int64Range(1, 900).Draw(t, "off"), What: saw.Rock}
	case 4:
		if not.trims {
			return step, false
		}
		c, r := um(p.Face.Centroid()), rapid.Int64Range(500, 6_000).Draw(t, "radius")
		step.Do = saw.Trim{View: saw.Face, Keep: []saw.Kept{{Part: d.name(), Ring: []saw.Point{{X: c.X - r, Y: c.Y - r/2}, {X: c.X + r, Y: c.Y - r}, {X: c.X + r/2, Y: c.Y + r}}}}}
	default:
		if not.looks {
			return step, false
		}
		chance := rapid.Int64Range(0, 10_000).Draw(t, "chance")
		v := rapid.SampledFrom(views[:3]).Draw(t, "view")
		a, b := d.name(), d.name()
		step.Do = saw.Look{Kind: saw.Window, View: saw.Face, OffUm: rapid.Int64Range(0, 50).Draw(t, "window"), Outcomes: []saw.Outcome{
			{Name: "good", ChanceBp: chance, Ends: []saw.End{d.end(p)}},
			{
				Name: "bad", ChanceBp: 10_000 - chance,
				Steps: []saw.Step{{Part: p.Name, Minutes: 7, Do: saw.Saw{Blade: "thin", View: v, Line: d.line(p, v), Left: []string{a}, Right: []string{b}}}},
				Ends:  []saw.End{{Part: a, Kind: saw.Waste}},
			},
		}}
	}
	return step, true
}

// line goes about through the middle of a part, stated by two points far apart.
func (d *drawing) line(p saw.Part, v saw.View) saw.Line {
	c := um(p.Face.Centroid())
	reach := 30_000.0
	angle := rapid.Float64Range(-math.Pi, math.Pi).Draw(d.t, "angle")
	if v == saw.Section {
		c = um(p.Section.Centroid())
		angle = rapid.Float64Range(-0.4, 0.4).Draw(d.t, "dip")
	}
	c.X += rapid.Int64Range(-2_000, 2_000).Draw(d.t, "aside")
	if v == saw.Back {
		c.X = -c.X
	}
	sin, cos := math.Sincos(angle)
	x, y := int64(reach*cos), int64(reach*sin)
	return saw.Line{A: saw.Point{X: c.X - x, Y: c.Y - y}, B: saw.Point{X: c.X + x, Y: c.Y + y}}
}

func (d *drawing) end(p saw.Part) saw.End {
	t := d.t
	kind := rapid.SampledFrom([]saw.EndKind{saw.Stones, saw.Stones, saw.Stones, saw.OffCut, saw.Shelf, saw.Specimen, saw.Slice, saw.Waste}).Draw(t, "end")
	end := saw.End{Part: p.Name, Kind: kind}
	switch kind {
	case saw.OffCut, saw.Specimen, saw.Slice:
		end.Class, end.Market = "gram", "m"
	case saw.Stones:
		c, box := um(p.Face.Centroid()), p.Face.Box().Size()
		for range rapid.IntRange(1, 3).Draw(t, "stones") {
			s := saw.Stone{
				Name: d.name(), Shape: rapid.SampledFrom([]saw.Shape{saw.Oval, saw.Rectangle, saw.Pear, saw.Freeform}).Draw(t, "shape"),
				LengthUm: max(200, rapid.Int64Range(1_000, 7_000).Draw(t, "length")*min(box.X, box.Y)/20_000_000), WidthUm: 0,
				DepthUm: rapid.Int64Range(900, 2_500).Draw(t, "depth"), View: rapid.SampledFrom([]saw.View{saw.Face, saw.Face, saw.Back}).Draw(t, "looks"),
				TurnMdeg: rapid.Int64Range(-180_000, 180_000).Draw(t, "turn"), Class: rapid.SampledFrom([]string{"top", "carat", "none"}).Draw(t, "class"), Market: "m",
				ChanceBp: rapid.Int64Range(1, 10_000).Draw(t, "chance"), Minutes: 20,
				At: saw.Point{X: c.X + rapid.Int64Range(-1_500, 1_500).Draw(t, "x"), Y: c.Y + rapid.Int64Range(-1_500, 1_500).Draw(t, "y")},
			}
			s.WidthUm = max(150, s.LengthUm*3/4)
			s.DomeUm = rapid.Int64Range(0, 600).Draw(t, "dome")
			if s.View == saw.Back {
				s.At.X = -s.At.X
			}
			if rapid.Bool().Draw(t, "in bar") {
				s.Bar = "bar"
			} else {
				s.TiltMdeg = rapid.Int64Range(-9_000, 9_000).Draw(t, "tilt")
			}
			if s.Shape == saw.Freeform {
				s.Ring = []saw.Point{{X: 0, Y: 3_000}, {X: 5_000, Y: 0}, {X: 9_000, Y: 2_500}, {X: 6_000, Y: 4_000}, {X: 7_000, Y: 6_000}}
			}
			end.Stones = append(end.Stones, s)
		}
	}
	return end
}
