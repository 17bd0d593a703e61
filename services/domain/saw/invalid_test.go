package saw_test

import (
	"errors"
	"strings"
	"testing"

	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/example"
)

// refused is that err is an Invalid at the path.
func refused(t *testing.T, err error, path string) {
	t.Helper()
	if e := (*saw.Invalid)(nil); !errors.As(err, &e) || e.Path != path {
		t.Fatalf("got %v, want it to be about %s", err, path)
	} else if e.Rule == "" || !strings.HasPrefix(err.Error(), path) {
		t.Errorf("it says %q", err)
	}
}

func TestStudiesRefused(t *testing.T) {
	for path, change := range map[string]func(s *saw.Study){
		"mass_ug":      func(s *saw.Study) { s.MassUg = 0 },
		"sg_milli":     func(s *saw.Study) { s.SGMilli = 3 },
		"outline[0]":   func(s *saw.Study) { s.Outline = []saw.Point{{}, {X: 9_000, Y: 9_000}, {X: 9_000}, {Y: 9_000}} },
		"outline[2]":   func(s *saw.Study) { s.Outline = s.Outline[:2] },
		"thickness_um": func(s *saw.Study) { s.ThicknessUm = -1 },
		"trace[1]":     func(s *saw.Study) { s.Trace = saw.Line{A: saw.Point{X: 1}, B: saw.Point{X: 1}} },
		"layers[1].thickness_um": func(s *saw.Study) {
			s.Layers = append(s.Layers, saw.Layer{Name: "x", Kind: saw.Potch, ThicknessUm: 13_000, SGMilli: 2_000})
		},
		"layers[0].kind":        func(s *saw.Study) { s.Layers[0].Kind = saw.Crack },
		"features[0].points[3]": func(s *saw.Study) { s.Features[0].Points[3].X = 60_000 },
		"features[0].closed":    func(s *saw.Study) { s.Features[0].Closed = false },
		"features[0].name":      func(s *saw.Study) { s.Features[0].Name = "bar" },
		"features[0].sg_milli":  func(s *saw.Study) { s.Features[0].SGMilli = 2_000 },
		"features[0].view":      func(s *saw.Study) { s.Features[0].View = "left" },
		"features[1].points":    func(s *saw.Study) { s.Features = append(s.Features, zone("z", -1_000, 50_000)) },
		"features[1].points[0]": func(s *saw.Study) {
			s.Features = append(s.Features, saw.Feature{Name: "c", Kind: saw.Crack, View: saw.Face, Points: []saw.Point{{X: 1_000, Y: 15_000}, {X: 1_000, Y: 15_000}}})
		},
		"features[1].view": func(s *saw.Study) {
			s.Features = append(s.Features, saw.Feature{Name: "s", Kind: saw.Seam, View: saw.Face, ThicknessUm: 1, Points: []saw.Point{{}, {X: 1}}})
		},
		"features[1].thickness_um": func(s *saw.Study) {
			s.Features = append(s.Features, saw.Feature{Name: "s", Kind: saw.Seam, View: saw.Section, Points: []saw.Point{{}, {X: 1}}})
		},
		"underlays[0].pixel_b":     func(s *saw.Study) { s.Underlays = []saw.Underlay{under(func(u *saw.Underlay) { u.PixelB = u.PixelA })} },
		"underlays[0].distance_um": func(s *saw.Study) { s.Underlays = []saw.Underlay{under(func(u *saw.Underlay) { u.DistanceUm = 0 })} },
		"underlays[0].sha256": func(s *saw.Study) {
			s.Underlays = []saw.Underlay{under(func(u *saw.Underlay) { u.SHA256 = [32]byte{} })}
		},
		"profile": func(s *saw.Study) {
			s.ThicknessUm, s.Layers = 0, nil
			s.Profile = []saw.Point{{X: 0, Y: -1}, {X: 46_000, Y: -1}, {X: 46_000, Y: -9}}
		},
		"layers": func(s *saw.Study) { s.ThicknessUm = 0; s.Profile = []saw.Point{{}, {X: 46_000}, {X: 46_000, Y: -9}} },
	} {
		if path == "features[1].points" {
			continue // an edge that leaves a concave outline, below
		}
		t.Run(path, func(t *testing.T) {
			study := example.P1Piece1()
			change(&study)
			_, err := saw.NewModel(study)
			if path == "features[1].points[0]" {
				path = "features[1].points[1]"
			}
			refused(t, err, path)
		})
	}
	t.Run("an edge leaves a concave outline", func(t *testing.T) {
		study := saw.Study{Name: "u", MassUg: 1, SGMilli: 2_000, ThicknessUm: 1_000, Outline: []saw.Point{{}, {X: 9_000}, {X: 9_000, Y: 9_000}, {X: 6_000, Y: 9_000}, {X: 6_000, Y: 3_000}, {X: 3_000, Y: 3_000}, {X: 3_000, Y: 9_000}, {Y: 9_000}}}
		study.Features = []saw.Feature{{Name: "z", Kind: saw.Colour, View: saw.Face, Closed: true, Points: []saw.Point{{X: 1_000, Y: 8_000}, {X: 1_000, Y: 7_000}, {X: 8_000, Y: 7_000}}}}
		_, err := saw.NewModel(study)
		refused(t, err, "features[0].points")
	})
}

func zone(name string, from, to int64) saw.Feature {
	return saw.Feature{Name: name, Kind: saw.Colour, View: saw.Face, Closed: true, Points: []saw.Point{{X: from}, {X: to}, {X: to, Y: 1_000}}}
}

func under(change func(u *saw.Underlay)) saw.Underlay {
	u := saw.Underlay{View: saw.Face, SHA256: [32]byte{1}, PixelB: saw.Pixel{X: 100}, DistanceUm: 10_000}
	change(&u)
	return u
}

func TestPlansRefused(t *testing.T) {
	cut := func(p *saw.Plan, i int, change func(s *saw.Saw)) {
		s := p.Steps[i].Do.(saw.Saw)
		change(&s)
		p.Steps[i].Do = s
	}
	look := func(chances ...int64) saw.Look {
		l := saw.Look{Kind: saw.Window}
		for i, c := range chances {
			l.Outcomes = append(l.Outcomes, saw.Outcome{Name: string(rune('a' + i)), ChanceBp: c})
		}
		return l
	}
	for name, c := range map[string]struct {
		path   string
		change func(p *saw.Plan)
	}{
		"a kerf below zero":             {"blades[0].kerf_um", func(p *saw.Plan) { p.Blades[0].KerfUm = -1 }},
		"no reach":                      {"blades[0].reach_um", func(p *saw.Plan) { p.Blades[0].ReachUm = 0 }},
		"two blades of one name":        {"blades[1].name", func(p *saw.Plan) { p.Blades = append(p.Blades, p.Blades[0]) }},
		"an unknown blade":              {"steps[0].saw.blade", func(p *saw.Plan) { cut(p, 0, func(s *saw.Saw) { s.Blade = "wire" }) }},
		"an unknown part":               {"steps[1].part", func(p *saw.Plan) { p.Steps[1].Part = "9Z" }},
		"a part used twice":             {"steps[2].part", func(p *saw.Plan) { p.Steps[2].Part = "1A" }},
		"a part used twice, at its end": {"ends[0].part", func(p *saw.Plan) { p.Ends[0].Part = "1A" }},
		"two ends for one part":         {"ends[3].part", func(p *saw.Plan) { p.Ends[3].Part = "1B" }},
		"a name used twice":             {"steps[1].saw", func(p *saw.Plan) { cut(p, 1, func(s *saw.Saw) { s.Left = []string{"1B"} }) }},
		"a cut that misses": {"steps[1].saw.line", func(p *saw.Plan) {
			cut(p, 1, func(s *saw.Saw) { s.Line = saw.Line{A: saw.Point{X: 60_000}, B: saw.Point{X: 60_000, Y: 1}} })
		}},
		"a cut along the edge": {"steps[1].saw.line", func(p *saw.Plan) {
			cut(p, 1, func(s *saw.Saw) { s.Line = saw.Line{A: saw.Point{X: 100}, B: saw.Point{X: 100, Y: 1}} })
		}},
		"more names than parts":  {"steps[1].saw.left", func(p *saw.Plan) { cut(p, 1, func(s *saw.Saw) { s.Left = []string{"x", "y"} }) }},
		"a line that is a point": {"steps[1].saw.line[1]", func(p *saw.Plan) { cut(p, 1, func(s *saw.Saw) { s.Line = saw.Line{} }) }},
		"no name for a side":     {"steps[1].saw.right", func(p *saw.Plan) { cut(p, 1, func(s *saw.Saw) { s.Right = nil }) }},
		"a view that isn't one":  {"steps[1].saw.view", func(p *saw.Plan) { cut(p, 1, func(s *saw.Saw) { s.View = "top" }) }},
		"chances of 90 %":        {"steps[2].look.outcomes", func(p *saw.Plan) { p.Steps[2].Do = look(5_000, 4_000) }},
		"a chance below zero":    {"steps[2].look.outcomes[1].chance_bp", func(p *saw.Plan) { p.Steps[2].Do = look(10_000, -1) }},
		"nothing to do":          {"steps[2]", func(p *saw.Plan) { p.Steps[2].Do = nil }},
		"ground away altogether": {"steps[2].grind.thickness_um", func(p *saw.Plan) { p.Steps[2].Do = saw.Grind{View: saw.Face, ThicknessUm: 4_017, What: saw.Rock} }},
		"trimmed elsewhere": {"steps[2].trim.keep[0]", func(p *saw.Plan) {
			p.Steps[2].Do = saw.Trim{View: saw.Face, Keep: []saw.Kept{{Part: "x", Ring: []saw.Point{{X: 90_000}, {X: 91_000}, {X: 91_000, Y: 1_000}}}}}
		}},
		"trimmed to no stone": {"steps[2].trim.keep[0].stone", func(p *saw.Plan) {
			p.Steps[2].Do = saw.Trim{View: saw.Face, Keep: []saw.Kept{{Part: "1C'", Stone: "77"}}}
		}},
		"trims that overlap": {"steps[2].trim.keep[1]", func(p *saw.Plan) {
			p.Steps[2].Do = saw.Trim{View: saw.Face, Keep: []saw.Kept{{Part: "x", Ring: square(9_000, 20_000)}, {Part: "y", Ring: square(8_000, 22_000)}}}
		}},
		"an unknown zone":           {"ends[1].stones[0].zone", func(p *saw.Plan) { p.Ends[1].Stones[0].Zone = "dull zone" }},
		"an unknown bar":            {"ends[1].stones[0].bar", func(p *saw.Plan) { p.Ends[1].Stones[0].Bar = "third bar" }},
		"a stone's name used twice": {"ends[2].stones[0].name", func(p *saw.Plan) { p.Ends[2].Stones[0].Name = "1"; p.Steps = p.Steps[:3]; p.Ends[2].Part = "1D" }},
		"an oval round":             {"ends[1].stones[0].width_um", func(p *saw.Plan) { p.Ends[1].Stones[0].Shape = saw.Round }},
		"a pear wider than long": {"ends[1].stones[0].length_um", func(p *saw.Plan) {
			s := &p.Ends[1].Stones[0]
			s.Shape, s.WidthUm = saw.Pear, 13_000
			p.Steps = p.Steps[:2]
			p.Ends[1].Part = "1C"
			p.Ends = p.Ends[:2]
		}},
		"a dome above its depth":  {"ends[1].stones[0].dome_um", func(p *saw.Plan) { p.Ends[1].Stones[0].DomeUm = 3_001 }},
		"no chance":               {"ends[1].stones[0].chance_bp", func(p *saw.Plan) { p.Ends[1].Stones[0].ChanceBp = 0 }},
		"another currency":        {"settings.currency", func(p *saw.Plan) { p.Settings.Currency = "NZD" }},
		"a levy of more than all": {"settings.levy_bp", func(p *saw.Plan) { p.Settings.LevyBp = 10_001 }},
	} {
		t.Run(name, func(t *testing.T) {
			plan := example.P1Piece1Plan()
			c.change(&plan)
			_, err := saw.Evaluate(example.P1Piece1(), plan, example.Prices())
			refused(t, err, c.path)
		})
	}
}
