package saw_test

import (
	"math"
	"testing"

	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/example"
)

// free is the first demo piece with its slab cut across, stone 1 on the left and stone 3 on the right, nothing trimmed.
func free() (saw.Study, saw.Plan) {
	plan := example.P1Piece1Plan()
	plan.Steps = plan.Steps[:2]
	plan.Ends = plan.Ends[:3]
	plan.Ends[1].Part, plan.Ends[2].Part = "1C", "1D"
	return example.P1Piece1(), plan
}

// Each rule broken by a length that can be worked out by hand: bar 1.3 mm, slab 4.017 mm, cut at x = 20.672 mm with
// 0.3 mm of kerf on either side; stone 1 is 12 × 9 × 3.0 mm with a dome of 1.2 mm, in the middle of y = 15.5 mm.
func TestFindings(t *testing.T) {
	for name, c := range map[string]struct {
		rule   saw.Rule
		byUm   int64
		change func(s *saw.Study, p *saw.Plan)
	}{
		"beyond its part": {saw.InsidePart, 628, func(_ *saw.Study, p *saw.Plan) {
			p.Ends[1].Stones[0].At.X, p.Ends[1].Stones[0].Zone = 15_000, ""
		}},
		"beyond its zone": {saw.InsideZone, 1_000, func(_ *saw.Study, p *saw.Plan) { p.Ends[1].Stones[0].At.X = 9_000 }},
		"too near a crack": {saw.ClearOfCrack, 200, func(s *saw.Study, p *saw.Plan) {
			p.Settings.CrackUm = 1_200
			s.Features = append(s.Features, saw.Feature{Name: "c", Kind: saw.Crack, View: saw.Face, Points: []saw.Point{{X: 5_000, Y: 10_000}, {X: 19_000, Y: 10_000}}})
		}},
		"too near a crack seen on the back, mirrored": {saw.ClearOfCrack, 200, func(s *saw.Study, p *saw.Plan) {
			p.Settings.CrackUm = 1_200
			s.Features = append(s.Features, saw.Feature{Name: "c", Kind: saw.Crack, View: saw.Back, Points: []saw.Point{{X: -5_000, Y: 10_000}, {X: -19_000, Y: 10_000}}})
		}},
		"over a crack in the section": {saw.ClearOfCrack, 1_000, func(s *saw.Study, p *saw.Plan) {
			p.Settings.CrackUm = 1_000
			s.Features = append(s.Features, saw.Feature{Name: "c", Kind: saw.Crack, View: saw.Section, Points: []saw.Point{{X: 5_000, Y: -3_000}, {X: 19_000, Y: -3_000}}})
		}},
		"too near potch": {saw.ClearOfPotch, 300, func(s *saw.Study, p *saw.Plan) {
			s.Features = append(s.Features, saw.Feature{Name: "p", Kind: saw.Potch, View: saw.Face, Closed: true, Points: []saw.Point{{X: 11_000, Y: 20_000}, {X: 13_000, Y: 20_000}, {X: 13_000, Y: 22_000}, {X: 11_000, Y: 22_000}}})
		}},
		"too near the cut": {saw.ClearOfCut, 50, func(_ *saw.Study, p *saw.Plan) {
			p.Blades[0].WanderUm = 100
			p.Ends[1].Stones[0].At.X, p.Ends[1].Stones[0].Zone = 20_372-50-6_000, ""
		}},
		"too near another": {saw.ClearOfStone, 600, func(_ *saw.Study, p *saw.Plan) {
			second := p.Ends[1].Stones[0]
			second.Name, second.At.Y, second.Zone = "second", second.At.Y+9_400, ""
			p.Ends[1].Stones = append(p.Ends[1].Stones, second)
			p.Ends[1].Stones[0].At.Y = 15_500
		}},
		"too deep": {saw.EnoughDepth, 983, func(_ *saw.Study, p *saw.Plan) { p.Ends[1].Stones[0].DepthUm = 5_000 }},
		"too little backing": {saw.EnoughBacking, 300, func(_ *saw.Study, p *saw.Plan) {
			p.Settings.BackingUm = 2_000
			p.Ends[2].Stones[0].DepthUm = 3_500
		}},
		"too wide a bevel": {saw.BevelFits, 50, func(_ *saw.Study, p *saw.Plan) {
			p.Settings.BevelUm = 900
			p.Ends[2].Stones[0].DepthUm = 3_500
		}},
		"dome through the bar":    {saw.DomeFits, 200, func(_ *saw.Study, p *saw.Plan) { p.Ends[1].Stones[0].DomeUm = 1_500 }},
		"the blade doesn't reach": {saw.WithinReach, 31_000 - 20_000, func(_ *saw.Study, p *saw.Plan) { p.Blades[0].ReachUm = 20_000 }},
		"nothing to hold": {saw.EnoughGrip, 26_000 - 46_000 + 20_672 + 300, func(_ *saw.Study, p *saw.Plan) {
			p.Settings.GripUm = 26_000
			p.Steps = p.Steps[1:]
			p.Steps[0].Part = "1"
			p.Ends = p.Ends[1:]
		}},
		"heavier than its part": {saw.MassIsThere, 0, func(s *saw.Study, _ *saw.Plan) { s.MassUg = 3_000_000 }},
	} {
		t.Run(name, func(t *testing.T) {
			study, plan := free()
			c.change(&study, &plan)
			r, err := saw.Evaluate(study, plan, example.Prices())
			if err != nil {
				t.Fatal(err)
			}
			var found []saw.Finding
			for _, f := range r.Trunk.Findings {
				if f.Rule == c.rule {
					found = append(found, f)
				} else if !f.Notice {
					t.Logf("also %+v", f)
				}
			}
			if len(found) == 0 || !r.Infeasible || math.Abs(float64(found[0].ByUm-c.byUm)) > 1 {
				t.Fatalf("got %+v, want %s by %d", r.Trunk.Findings, c.rule, c.byUm)
			}
			if f := found[0]; f.Path == "" || f.Part == "" || f.Text == "" || f.Notice {
				t.Errorf("it doesn't say where: %+v", f)
			}
			for _, e := range r.Trunk.Ends {
				for _, s := range e.Stones {
					if len(s.Outline) < 8 || len(s.Section) < 4 {
						t.Errorf("stone %s can't be drawn", s.Name)
					}
					if s.Name == found[0].Stone && s.Fits {
						t.Errorf("stone %s fits all the same", s.Name)
					}
				}
			}
		})
	}
	t.Run("as it is, all fits", func(t *testing.T) {
		study, plan := free()
		if r, err := saw.Evaluate(study, plan, example.Prices()); err != nil || r.Infeasible || r.Totals.Stones != 2 {
			t.Errorf("got %+v, %v", r.Trunk.Findings, err)
		}
	})
}

// What isn't in the way breaks no rule.
func TestNoFindings(t *testing.T) {
	potch := []saw.Point{{X: 11_000, Y: 19_000}, {X: 13_000, Y: 19_000}, {X: 13_000, Y: 22_000}, {X: 11_000, Y: 22_000}}
	for name, change := range map[string]func(s *saw.Study, p *saw.Plan){
		"potch in a face that may show it": func(s *saw.Study, p *saw.Plan) {
			s.Features = append(s.Features, saw.Feature{Name: "p", Kind: saw.Potch, View: saw.Face, Closed: true, Points: potch})
			p.Ends[1].Stones[0].Surface = saw.PotchInFace
		},
		"host rock in a face that may show it": func(s *saw.Study, p *saw.Plan) {
			s.Features = append(s.Features, saw.Feature{Name: "p", Kind: saw.Rock, View: saw.Face, Closed: true, Points: potch})
			p.Ends[1].Stones[0].Surface = saw.RockInFace
		},
		"a crack only in the back, which was sawn off": func(s *saw.Study, _ *saw.Plan) {
			s.Features = append(s.Features, saw.Feature{Name: "c", Kind: saw.Crack, View: saw.Back, DepthUm: 8_000, Points: []saw.Point{{X: -6_000, Y: 15_000}, {X: -19_000, Y: 15_000}}})
		},
		"a crack along the cut, gone with the kerf": func(s *saw.Study, p *saw.Plan) {
			s.Features = append(s.Features, saw.Feature{Name: "c", Kind: saw.Crack, View: saw.Face, Points: []saw.Point{{X: 20_600, Y: 5_000}, {X: 20_700, Y: 25_000}}})
			p.Ends[1].Stones[0].At.X, p.Ends[1].Stones[0].Zone = 20_372-6_001, ""
		},
		"a stone above another, in depth": func(s *saw.Study, p *saw.Plan) {
			p.Settings.BackingUm, p.Settings.BevelUm, p.Steps = 0, 0, p.Steps[1:]
			p.Steps[0].Part, p.Ends = "1", p.Ends[1:]
			low := p.Ends[0].Stones[0]
			low.Name, low.View, low.At.X, low.Bar, low.Zone = "low", saw.Back, -low.At.X, "", ""
			p.Ends[0].Stones = append(p.Ends[0].Stones, low)
		},
	} {
		t.Run(name, func(t *testing.T) {
			study, plan := free()
			change(&study, &plan)
			r, err := saw.Evaluate(study, plan, example.Prices())
			if err != nil || r.Infeasible {
				t.Errorf("got %+v, %v", r.Trunk.Findings, err)
			}
		})
	}
}

func TestNotices(t *testing.T) {
	study, plan := free()
	plan.Ends = plan.Ends[:2] // 1D has no end
	plan.Ends[1].Stones[0].Class = "unheard of"
	// A fork of rock: cut across its two tines.
	fork := saw.Study{Name: "fork", MassUg: 1_000_000, SGMilli: 2_000, ThicknessUm: 1_000, Outline: []saw.Point{{}, {X: 9_000}, {X: 9_000, Y: 9_000}, {X: 6_000, Y: 9_000}, {X: 6_000, Y: 3_000}, {X: 3_000, Y: 3_000}, {X: 3_000, Y: 9_000}, {Y: 9_000}}}
	across := saw.Plan{Settings: plan.Settings, Blades: plan.Blades, Steps: []saw.Step{{Part: saw.Whole, Do: saw.Split{View: saw.Face, Line: saw.Line{A: saw.Point{Y: 5_000}, B: saw.Point{X: 1, Y: 5_000}}, Left: []string{"tine"}, Right: []string{"rest"}}}}}
	for name, c := range map[string]struct {
		study saw.Study
		plan  saw.Plan
		rules []saw.Rule
	}{
		"no price, no end": {study, plan, []saw.Rule{saw.HasPrice, saw.AllEnded}},
		"two tines":        {fork, across, []saw.Rule{saw.AllNamed, saw.AllEnded, saw.AllEnded, saw.AllEnded}},
	} {
		t.Run(name, func(t *testing.T) {
			r, err := saw.Evaluate(c.study, c.plan, example.Prices())
			if err != nil || r.Infeasible || len(r.Trunk.Findings) != len(c.rules) {
				t.Fatalf("got %+v, %v", r.Trunk.Findings, err)
			}
			for i, f := range r.Trunk.Findings {
				if f.Rule != c.rules[i] || !f.Notice {
					t.Errorf("got %+v, want a notice of %s", f, c.rules[i])
				}
			}
		})
	}
}
