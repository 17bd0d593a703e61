package saw_test

import (
	"testing"

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
