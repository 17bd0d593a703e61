package draw_test

import (
	"bytes"
	"errors"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/draw"
)

// randomStudy is a star-shaped piece, so concave that cuts part it in more than two, with bars that dip and features anywhere.
func randomStudy(t *rapid.T) saw.Study {
	size := rapid.Int64Range(5_000, 150_000).Draw(t, "size")
	n := rapid.IntRange(3, 12).Draw(t, "corners")
	s := saw.Study{Name: "star", MassUg: rapid.Int64Range(1_000, 1_000_000_000).Draw(t, "mass"), SGMilli: 2_500, ThicknessUm: rapid.Int64Range(2_000, 60_000).Draw(t, "thick")}
	for i := range n {
		r := float64(size) * rapid.Float64Range(0.3, 1).Draw(t, "r")
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		s.Outline = append(s.Outline, saw.Point{X: int64(r * cos), Y: int64(r * sin)})
	}
	if rapid.Bool().Draw(t, "turned") {
		s.Trace = saw.Line{A: saw.Point{X: -size, Y: size / 3}, B: saw.Point{X: size, Y: rapid.Int64Range(-size, size).Draw(t, "trace")}}
	}
	for i := range rapid.IntRange(0, 4).Draw(t, "features") {
		at := func(k int64) saw.Point { return saw.Point{X: size / 12 * k, Y: size / 15 * (k % 2)} }
		f := saw.Feature{
			Name: "f" + strconv.Itoa(i), View: rapid.SampledFrom([]saw.View{saw.Face, saw.Back}).Draw(t, "view"), Supposed: rapid.Bool().Draw(t, "supposed"),
			Kind: rapid.SampledFrom([]saw.Kind{saw.Colour, saw.Potch, saw.Matrix, saw.Rock, saw.Crack}).Draw(t, "kind"), DepthUm: rapid.Int64Range(0, 2_000).Draw(t, "depth"),
			Points: []saw.Point{at(-1), at(1), at(2)},
		}
		if f.Closed = f.Kind != saw.Crack; !f.Closed {
			f.Points = f.Points[:2]
		}
		s.Features = append(s.Features, f)
	}
	return s
}

// randomSteps works on parts as they come, with looks now and then, and gives ends to some.
func randomSteps(t *rapid.T, size int64, part, name string, depth int) (steps []saw.Step, ends []saw.End) {
	parts := []string{part}
	for i := range rapid.IntRange(0, 4).Draw(t, "steps") {
		if len(parts) == 0 {
			break
		}
		at := rapid.IntRange(0, len(parts)-1).Draw(t, "at")
		s := saw.Step{Part: parts[at], Minutes: 1}
		l, r := name+strconv.Itoa(i)+"l", name+strconv.Itoa(i)+"r"
		v := rapid.SampledFrom([]saw.View{saw.Face, saw.Back, saw.Section}).Draw(t, "cut view")
		p := func() saw.Point {
			return saw.Point{X: rapid.Int64Range(-size/3, size/3).Draw(t, "x"), Y: rapid.Int64Range(-size/3, size/3).Draw(t, "y")}
		}
		line := saw.Line{A: p(), B: p()}
		if v == saw.Section {
			line.A.Y, line.B.Y = -rapid.Int64Range(0, 3_000).Draw(t, "z"), -rapid.Int64Range(0, 3_000).Draw(t, "z")
		}
		switch rapid.IntRange(0, 4).Draw(t, "work") {
		case 0, 1:
			s.Do = saw.Saw{Blade: "b", View: v, Line: line, Left: []string{l}, Right: []string{r}}
			parts = append(parts[:at], append([]string{l, r}, parts[at+1:]...)...)
		case 2:
			s.Do = saw.Split{View: v, Line: line, Left: []string{l}, Right: []string{r}}
			parts = append(parts[:at], append([]string{l, r}, parts[at+1:]...)...)
		case 3:
			s.Do = saw.Grind{View: rapid.SampledFrom([]saw.View{saw.Face, saw.Back}).Draw(t, "side"), ThicknessUm: 200, What: saw.Rock}
		case 4:
			if depth == 0 {
				continue
			}
			look := saw.Look{Kind: saw.Window, View: saw.Face, OffUm: rapid.SampledFrom([]int64{0, 100}).Draw(t, "off")}
			for j, bp := range []int64{4_000, 6_000} {
				o := saw.Outcome{Name: "o" + strconv.Itoa(j), ChanceBp: bp}
				o.Steps, o.Ends = randomSteps(t, size, parts[at], name+strconv.Itoa(i)+strconv.Itoa(j), depth-1)
				look.Outcomes = append(look.Outcomes, o)
			}
			s.Do = look
			parts = append(parts[:at], parts[at+1:]...)
		}
		steps = append(steps, s)
	}
	for _, p := range parts {
		end := saw.End{Part: p, Kind: rapid.SampledFrom([]saw.EndKind{saw.Stones, saw.Waste, saw.Shelf, ""}).Draw(t, "end")}
		if end.Kind == "" {
			continue
		}
		if end.Kind == saw.Stones {
			end.Stones = []saw.Stone{{
				Name: "s" + p, Shape: rapid.SampledFrom([]saw.Shape{saw.Oval, saw.Round, saw.Pear, saw.Rectangle}).Draw(t, "shape"), LengthUm: 6_000, WidthUm: 6_000, DepthUm: 1_500, DomeUm: 500,
				View: rapid.SampledFrom([]saw.View{saw.Face, saw.Back}).Draw(t, "stone view"), At: saw.Point{X: rapid.Int64Range(-size, size).Draw(t, "x"), Y: rapid.Int64Range(-size, size).Draw(t, "y")},
				TurnMdeg: rapid.Int64Range(-360_000, 360_000).Draw(t, "turn"), ChanceBp: 5_000,
			}}
		}
		ends = append(ends, end)
	}
	return steps, ends
}

// Whatever can be evaluated can be drawn, soundly, step by step and on paper.
func TestWhateverIsEvaluatedIsDrawn(t *testing.T) {
	drawn := 0
	rapid.Check(t, func(t *rapid.T) {
		study := randomStudy(t)
		plan := saw.Plan{Name: "p", Blades: []saw.Blade{{Name: "b", KerfUm: rapid.Int64Range(0, 1_000).Draw(t, "kerf"), ReachUm: 50_000}}, Settings: saw.Settings{CrackUm: 500, GripUm: 2_000, Currency: "AUD"}}
		plan.Steps, plan.Ends = randomSteps(t, study.Outline[0].X, saw.Whole, "p", 2)
		result, err := saw.Evaluate(study, plan, saw.Prices{Currency: "AUD"})
		if invalid := (*saw.Invalid)(nil); errors.As(err, &invalid) {
			return // a cut that misses its part, and the like
		} else if err != nil {
			t.Fatal(err)
		}
		drawn++
		try := func(what string, f func(w io.Writer) error) {
			var b bytes.Buffer
			if err := f(&b); err != nil {
				t.Fatalf("%s: %v", what, err)
			}
			for i, svg := range svgs(t, what, b.Bytes()) {
				if i > 0 || strings.HasSuffix(what, ".svg") {
					sound(t, svg)
				}
			}
		}
		try("plan.svg", func(w io.Writer) error { return draw.Plan(w, study, plan, result, draw.Options{}) })
		try("sheet.html", func(w io.Writer) error { return draw.Sheet(w, study, plan, result, draw.Options{}) })
		var steps func(at string, all []saw.Step)
		steps = func(at string, all []saw.Step) {
			for i, s := range all {
				path := at + "steps[" + strconv.Itoa(i) + "]"
				try(path+".svg", func(w io.Writer) error { return draw.Step(w, study, plan, result, path, draw.Options{}) })
				look, ok := s.Do.(saw.Look)
				if !ok {
					continue
				}
				try(path+"-look.svg", func(w io.Writer) error { return draw.Outcomes(w, study, plan, result, path, draw.Options{}) })
				for j, o := range look.Outcomes {
					steps(path+".look.outcomes["+strconv.Itoa(j)+"].", o.Steps)
				}
			}
		}
		steps("", plan.Steps)
	})
	if drawn < 20 {
		t.Errorf("only %d plans made sense", drawn)
	}
}
