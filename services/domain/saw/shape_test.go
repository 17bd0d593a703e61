package saw_test

import (
	"math"
	"testing"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

func plain(steps []saw.Step, ends ...saw.End) saw.Plan {
	return saw.Plan{Settings: saw.Settings{Currency: "AUD"}, Blades: []saw.Blade{{Name: "b", KerfUm: 400, ReachUm: 50_000}}, Steps: steps, Ends: ends}
}

func block(name string, shape saw.Shape, length, width, depth int64, at saw.Point) saw.Stone {
	return saw.Stone{Name: name, Shape: shape, LengthUm: length, WidthUm: width, DepthUm: depth, View: saw.Face, At: at, ChanceBp: 10_000}
}

// Two halves alike of an odd mass: the odd microgram goes by name, whichever lies left.
func TestOddMicrogram(t *testing.T) {
	study := saw.Study{Name: "block", MassUg: 1_000_001, SGMilli: 2_000, ThicknessUm: 5_000, Outline: square(20_000, 10_000)}
	for _, names := range [][2]string{{"a", "b"}, {"b", "a"}} {
		split := saw.Split{View: saw.Face, Line: saw.Line{A: saw.Point{X: 10_000}, B: saw.Point{X: 10_000, Y: 1}}, Left: names[:1], Right: names[1:]}
		r, err := saw.Evaluate(study, plain([]saw.Step{{Part: saw.Whole, Do: split}}), saw.Prices{Currency: "AUD"})
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range r.Trunk.Parts[1:] {
			if want := map[string]int64{"a": 500_001, "b": 500_000}[p.Name]; p.MassUg != want {
				t.Errorf("with %v, %s weighs %d", names, p.Name, p.MassUg)
			}
		}
	}
}

// A steep cut in the section leaves a wedge that ends where it runs out at the face: outline and section show that.
func TestPartsReachAsFarAsTheirSections(t *testing.T) {
	study := saw.Study{Name: "block", MassUg: 3_000_000, SGMilli: 2_000, ThicknessUm: 5_000, Outline: square(30_000, 10_000)}
	// From (10, 0) at the face to (20, -5) at the back.
	split := saw.Split{View: saw.Section, Line: saw.Line{A: saw.Point{X: 10_000}, B: saw.Point{X: 20_000, Y: -5_000}}, Left: []string{"right"}, Right: []string{"left"}}
	r, err := saw.Evaluate(study, plain([]saw.Step{{Part: saw.Whole, Do: split}}), saw.Prices{Currency: "AUD"})
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range r.Trunk.Parts[1:] {
		want := map[string][2]int64{"left": {0, 20_000_000}, "right": {10_000_000, 30_000_000}}[p.Name]
		if face, section := p.Face.Box(), p.Section.Box(); face.Min.X != want[0] || face.Max.X != want[1] || section.Min.X != want[0] || section.Max.X != want[1] {
			t.Errorf("%s reaches %v and %v, want %v", p.Name, face, section, want)
		}
		if p.MassUg != 1_500_000 {
			t.Errorf("%s weighs %d µg", p.Name, p.MassUg)
		}
	}
}

// A section with a slit in its side: there is depth enough from top to bottom, but not all of it is there.
func TestSlit(t *testing.T) {
	study := saw.Study{Name: "slit", MassUg: 1_000_000, SGMilli: 2_000, Outline: square(20_000, 10_000), Profile: []saw.Point{
		{}, {Y: -8_000}, {X: 20_000, Y: -8_000}, {X: 20_000, Y: -4_500}, {X: 8_000, Y: -4_250}, {X: 20_000, Y: -4_000}, {X: 20_000},
	}}
	for x, want := range map[int64]bool{4_000: true, 14_000: false} {
		r, err := saw.Evaluate(study, plain(nil, saw.End{Part: saw.Whole, Kind: saw.Stones, Stones: []saw.Stone{block("s", saw.Round, 6_000, 6_000, 6_000, saw.Point{X: x, Y: 5_000})}}), saw.Prices{Currency: "AUD"})
		if err != nil {
			t.Fatal(err)
		}
		if got := r.Trunk.Ends[0].Stones[0].Fits; got != want {
			t.Errorf("at %d µm it fits: %v, want %v", x, got, want)
		}
	}
}

// Under a roof that slopes by no round number a level stone goes as high as it can, to the nanometre, and is inside.
func TestBelowASlope(t *testing.T) {
	study := saw.Study{Name: "slope", MassUg: 1_000_000, SGMilli: 2_000, Outline: square(30_000, 10_000), Profile: []saw.Point{{Y: -9_000}, {X: 30_000, Y: -9_000}, {X: 30_000}, {X: 17_001, Y: -977}, {Y: -3_001}}}
	for x := int64(5_000); x < 26_000; x += 97 {
		s := block("s", saw.Oval, 7_001, 5_003, 3_000, saw.Point{X: x, Y: 5_000})
		s.DomeUm, s.TiltMdeg = x%1_000, x%13*100
		r, err := saw.Evaluate(study, plain(nil, saw.End{Part: saw.Whole, Kind: saw.Stones, Stones: []saw.Stone{s}}), saw.Prices{Currency: "AUD"})
		if err != nil {
			t.Fatal(err)
		}
		if !r.Trunk.Ends[0].Stones[0].Fits {
			t.Errorf("at %d µm it doesn't fit: %+v", x, r.Trunk.Findings)
		}
	}
}

// A crack is as deep as drawn below the face where it is drawn, not below the piece's highest point: at s = 24 mm the
// face lies at −6.4 mm, so 2 mm of crack reach to −8.4 mm, and a stone that is set as high as it goes lies from
// −7.2 mm. From a back that slopes it is the same upside down.
func TestDepthIsCountedFromTheFaceThere(t *testing.T) {
	falling := []saw.Point{{}, {Y: -14_000}, {X: 30_000, Y: -14_000}, {X: 30_000, Y: -8_000}}
	rising := []saw.Point{{}, {Y: -14_000}, {X: 30_000, Y: -6_000}, {X: 30_000}}
	for name, c := range map[string]struct {
		profile []saw.Point
		view    saw.View // of crack and stone
		depth   int64    // of the crack
		fits    bool
	}{
		"2 mm into a sloping face":  {falling, saw.Face, 2_000, false},
		"3 mm into a sloping face":  {falling, saw.Face, 3_000, false},
		"too shallow for the stone": {falling, saw.Face, 300, true},
		"2 mm into a sloping back":  {rising, saw.Back, 2_000, false},
		"too shallow from the back": {rising, saw.Back, 300, true},
	} {
		t.Run(name, func(t *testing.T) {
			sign := int64(1)
			if c.view == saw.Back {
				sign = -1
			}
			study := saw.Study{Name: "slope", MassUg: 1_000_000, SGMilli: 2_000, Outline: square(30_000, 10_000), Profile: c.profile, Features: []saw.Feature{
				{Name: "c", Kind: saw.Crack, View: c.view, DepthUm: c.depth, Points: []saw.Point{{X: sign * 24_000, Y: 2_000}, {X: sign * 24_000, Y: 8_000}}},
			}}
			stone := block("s", saw.Round, 6_000, 6_000, 2_000, saw.Point{X: sign * 24_000, Y: 5_000})
			stone.View = c.view
			r, err := saw.Evaluate(study, plain(nil, saw.End{Part: saw.Whole, Kind: saw.Stones, Stones: []saw.Stone{stone}}), saw.Prices{Currency: "AUD"})
			if err != nil {
				t.Fatal(err)
			}
			if got := r.Trunk.Ends[0].Stones[0]; got.Fits != c.fits {
				t.Errorf("the stone lies at %v; it fits: %v, want %v (%+v)", got.Section.Box(), got.Fits, c.fits, r.Trunk.Findings)
			}
		})
	}
}

// What a tilted stone covers in the face view is all that its outline passes on its way from face to back: every place
// of it, and nothing else, also of a star with arms thinner than that way is long.
func TestTiltedStarCoversItsWay(t *testing.T) {
	study := saw.Study{Name: "block", MassUg: 1_000_000, SGMilli: 2_000, ThicknessUm: 30_000, Outline: square(60_000, 60_000)}
	for _, turn := range []int64{0, 17_000, 45_000, 90_000, 200_000} {
		for _, tilt := range []int64{25_000, -25_000} {
			const depth = 7_000
			s := block("s", saw.Freeform, 20_000, 20_000, depth, saw.Point{X: 30_000, Y: 30_000})
			s.Ring = []saw.Point{{X: 0, Y: 9_500}, {X: 9_000, Y: 9_000}, {X: 9_500}, {X: 10_500}, {X: 11_000, Y: 9_000}, {X: 20_000, Y: 9_500}, {X: 20_000, Y: 10_500}, {X: 11_000, Y: 11_000}, {X: 10_500, Y: 20_000}, {X: 9_500, Y: 20_000}, {X: 9_000, Y: 11_000}, {Y: 10_500}}
			s.TurnMdeg, s.TiltMdeg = turn, tilt
			r, err := saw.Evaluate(study, plain(nil, saw.End{Part: saw.Whole, Kind: saw.Stones, Stones: []saw.Stone{s}}), saw.Prices{Currency: "AUD"})
			if err != nil {
				t.Fatal(err)
			}
			all := r.Trunk.Ends[0].Stones[0].Outline
			// Its face: turned about its middle, then seen at a slant.
			top := make(plane.Ring, len(s.Ring))
			sin, cos := math.Sincos(float64(turn) * math.Pi / 180_000)
			for i, p := range s.Ring {
				x, y := float64(p.X-10_000), float64(p.Y-10_000)
				top[i] = plane.Point{
					X: int64(1_000 * (30_000 + math.Cos(float64(tilt)*math.Pi/180_000)*(x*cos-y*sin))),
					Y: int64(1_000 * (30_000 + x*sin + y*cos)),
				}
			}
			slip := int64(math.Round(depth * plane.Micrometre * math.Sin(float64(tilt)*math.Pi/180_000)))
			for i, p := range top {
				q := top[(i+1)%len(top)]
				for k := range int64(20) {
					for n := range int64(20) {
						at := plane.Point{X: p.X + (q.X-p.X)*k/19 + slip*n/19, Y: p.Y + (q.Y-p.Y)*k/19}
						if all.Where(at) == plane.Outside && plane.Distance(all, plane.Path{at, at.Plus(plane.Point{X: 1})}) > 600 {
							t.Fatalf("turned by %d, tilted by %d: it doesn't cover %v", turn, tilt, at)
						}
					}
				}
			}
			box, over := all.Box(), 0
			for i := range int64(60) {
				for j := range int64(60) {
					at := plane.Point{X: box.Min.X + box.Size().X*i/59, Y: box.Min.Y + box.Size().Y*j/59}
					if all.Where(at) != plane.Inside {
						continue
					}
					passed := false
					for n := range int64(2_000) {
						passed = passed || top.Where(plane.Point{X: at.X - slip*n/1_999, Y: at.Y}) != plane.Outside
					}
					if !passed {
						over++
					}
				}
			}
			if over > 3 {
				t.Errorf("turned by %d, tilted by %d: it covers %d places that it doesn't pass", turn, tilt, over)
			}
		}
	}
}
