package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

type planEvaluate struct {
	Cuts    int `json:"cuts"`
	Stones  int `json:"stones"`
	Corners int `json:"corners"`
	// Both are for a second of one processor. The overlay does less: no sections, no masses by layers, no margins.
	PerSecond        float64 `json:"per_second"`
	OverlayPerSecond float64 `json:"overlay_per_second"`
}

// evaluatePlans measures package saw beside the same cuts done as most would: each part laid over half of a large
// square on either side of the kerf, by a general overlay, and each stone held by what is left of it outside its
// part.
func evaluatePlans(ctx context.Context, quick bool) (planEvaluate, error) {
	rounds, each := 5, time.Second
	if quick {
		rounds, each = 1, 100*time.Millisecond
	}
	study, plan, prices := busyPlan()
	out := planEvaluate{Corners: len(study.Outline)}
	for _, s := range plan.Steps {
		if _, ok := s.Do.(saw.Saw); ok {
			out.Cuts++
		}
	}
	model, err := saw.NewModel(study)
	if err != nil {
		return out, err
	}
	result, err := model.Evaluate(plan, prices)
	if err != nil {
		return out, err
	}
	if result.Infeasible {
		return out, fmt.Errorf("the plan that is measured isn't feasible: %+v", result.Trunk.Findings[0])
	}
	out.Stones = result.Totals.Stones
	byOverlay, err := overlaid(study, plan)
	if err != nil {
		return out, err
	}
	for _, e := range result.Trunk.Ends {
		for _, p := range result.Trunk.Parts {
			if p.Name == e.Part && math.Abs(float64(p.AreaUm2-byOverlay[e.Part])) > 100 {
				return out, fmt.Errorf("part %s has %d µm² by cutting and %d by overlay", e.Part, p.AreaUm2, byOverlay[e.Part])
			}
		}
	}
	if out.PerSecond, err = perSecond(ctx, rounds, each, func() error {
		_, err := model.Evaluate(plan, prices)
		return err
	}); err != nil {
		return out, err
	}
	out.OverlayPerSecond, err = perSecond(ctx, rounds, each, func() error {
		_, err := overlaid(study, plan)
		return err
	})
	return out, err
}

// overlaid is each part's area in the face view, by overlay.
func overlaid(study saw.Study, plan saw.Plan) (map[string]int64, error) {
	outline := make([]plane.Point, len(study.Outline))
	for i, p := range study.Outline {
		outline[i] = plane.Micrometres(p.X, p.Y)
	}
	whole, err := plane.CheckRing(outline)
	if err != nil {
		return nil, err
	}
	parts := map[string]plane.Ring{saw.Whole: whole}
	areas := map[string]int64{}
	for _, s := range plan.Steps {
		cut, ok := s.Do.(saw.Saw)
		if !ok {
			continue
		}
		part := parts[s.Part]
		delete(parts, s.Part)
		if cut.View == saw.Section {
			parts[cut.Left[0]], parts[cut.Right[0]] = part, part
			continue
		}
		for i, name := range []string{cut.Left[0], cut.Right[0]} {
			faces, err := plane.Intersection([]plane.Ring{part}, []plane.Ring{halfSquare(cut.Line, plan.Blades[0].KerfUm, i == 0)})
			if err != nil {
				return nil, err
			}
			if len(faces) != 1 {
				return nil, fmt.Errorf("%d parts on a side", len(faces))
			}
			parts[name] = faces[0].Outer
		}
	}
	for _, e := range plan.Ends {
		areas[e.Part] = parts[e.Part].SquareMicrometres()
		for _, s := range e.Stones {
			out, err := plane.Difference([]plane.Ring{ovalRing(s)}, []plane.Ring{parts[e.Part]})
			if err != nil {
				return nil, err
			}
			if len(out) > 0 {
				return nil, errors.New("a stone sticks out of its part")
			}
		}
	}
	return areas, nil
}

// halfSquare is what a large square has on one side of a cut.
func halfSquare(l saw.Line, kerfUm int64, left bool) plane.Ring {
	dx, dy := float64(l.B.X-l.A.X), float64(l.B.Y-l.A.Y)
	n := math.Hypot(dx, dy)
	dx, dy = dx/n, dy/n
	const far = 250 * plane.Millimetre
	if !left {
		dx, dy = -dx, -dy
	}
	off := float64(kerfUm*plane.Micrometre) / 2
	at := func(along, across float64) plane.Point {
		return plane.Point{
			X: l.A.X*plane.Micrometre + int64(math.Round(dx*along-dy*across)),
			Y: l.A.Y*plane.Micrometre + int64(math.Round(dy*along+dx*across)),
		}
	}
	return plane.Ring{at(-far, off), at(far, off), at(far, far), at(-far, far)}
}

func ovalRing(s saw.Stone) plane.Ring {
	const corners = 64
	r := make(plane.Ring, corners)
	for i := range r {
		sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / corners)
		f := 500 / math.Cos(math.Pi/corners)
		r[i] = plane.Point{X: int64(math.Round(float64(s.LengthUm) * cos * f)), Y: int64(math.Round(float64(s.WidthUm) * sin * f))}
	}
	return r.Turned(float64(s.TurnMdeg) * math.Pi / 180_000).Moved(plane.Micrometres(s.At.X, s.At.Y))
}

// busyPlan is one cut along a seam, then four columns of five parts, two stones in each.
func busyPlan() (saw.Study, saw.Plan, saw.Prices) {
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
		x := 13_000*i - 32_000
		study.Features = append(study.Features, saw.Feature{
			Name: fmt.Sprint("crack ", i), Kind: saw.Crack, View: saw.Face,
			Points: []saw.Point{{X: x, Y: 30_000}, {X: x + 900, Y: 33_000}, {X: x - 500, Y: 35_000}},
		})
	}
	plan := saw.Plan{
		Blades:   []saw.Blade{{Name: "trim", KerfUm: 600, ReachUm: 150_000, WanderUm: 50}},
		Settings: saw.Settings{CrackUm: 300, PotchUm: 300, BackingUm: 800, BevelUm: 300, BetweenUm: 500, GripUm: 3_000, Currency: "AUD", HourMinor: 4_500, LevyBp: 600, SellingMinor: 200},
	}
	cut := func(part string, v saw.View, a, b saw.Point, left, right string) {
		plan.Steps = append(plan.Steps, saw.Step{Part: part, Minutes: 5, Do: saw.Saw{Blade: "trim", View: v, Line: saw.Line{A: a, B: b}, Left: []string{left}, Right: []string{right}}})
	}
	cut(saw.Whole, saw.Section, saw.Point{Y: -4_500}, saw.Point{X: 1_000, Y: -4_500}, "slab", "rock")
	plan.Ends = append(plan.Ends, saw.End{Part: "rock", Kind: saw.Waste})
	rest := "slab"
	for c := range int64(4) {
		column := fmt.Sprint("column ", c)
		if c < 3 {
			x := 20_000*c - 20_000
			next := fmt.Sprint("right of ", column)
			cut(rest, saw.Face, saw.Point{X: x}, saw.Point{X: x, Y: 10_000}, column, next)
			rest = next
		} else {
			column = rest
		}
		for s := range int64(5) {
			part := fmt.Sprintf("part %d.%d", c, s)
			if s < 4 {
				y := 12_000*s - 18_000
				next := fmt.Sprint("above ", part)
				cut(column, saw.Face, saw.Point{Y: y}, saw.Point{X: 10_000, Y: y}, next, part)
				column = next
			} else {
				part = column
			}
			end := saw.End{Part: part, Kind: saw.Stones}
			for k := range int64(2) {
				end.Stones = append(end.Stones, saw.Stone{
					Name: fmt.Sprint(part, ", ", k), Shape: saw.Oval, LengthUm: 6_000, WidthUm: 4_000, DepthUm: 2_800, DomeUm: 1_200, View: saw.Face,
					At: saw.Point{X: 20_000*c - 34_000 + 8_000*k, Y: 12_000*s - 24_000}, TurnMdeg: 15_000,
					Bar: "bar", Class: "plain", Market: "any", ChanceBp: 9_000, Minutes: 50,
				})
			}
			plan.Ends = append(plan.Ends, end)
		}
	}
	// 1 in the section, 3 between columns, 16 across them.
	prices := saw.Prices{Currency: "AUD", Markets: []saw.Market{{Name: "any", Prices: []saw.Price{{Class: "plain", Per: saw.PerCarat, Minor: 9_000}}}}}
	return study, plan, prices
}
