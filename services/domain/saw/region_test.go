package saw_test

import (
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/example"
)

// A photo whose two points are 100 pixels apart for 10 mm, the second straight below the first, which lies at (2, 3) mm
// and from where the way to it goes along x: a quarter turn. By hand.
func TestUnderlay(t *testing.T) {
	u := saw.Underlay{PixelA: saw.Pixel{X: 500, Y: 200}, PixelB: saw.Pixel{X: 500, Y: 300}, DistanceUm: 10_000, At: saw.Point{X: 2_000, Y: 3_000}}
	for p, want := range map[saw.Pixel]plane.Point{
		{X: 500, Y: 200}: plane.Micrometres(2_000, 3_000),
		{X: 500, Y: 300}: plane.Micrometres(12_000, 3_000),
		{X: 510, Y: 200}: plane.Micrometres(2_000, 4_000), // right in the photo is up in the view
	} {
		if got := u.Place(p); got != want {
			t.Errorf("pixel %v lies at %v, want %v", p, got, want)
		}
	}
	u.TurnMdeg = -90_000 // now the photo stands upright
	if got, want := u.Place(saw.Pixel{X: 510, Y: 220}), plane.Micrometres(3_000, 1_000); got != want {
		t.Errorf("upright it lies at %v, want %v", got, want)
	}
}

// Where a region says that a stone's outline may lie, the stone breaks no rule of the face view, and the other way round.
func TestRegionIsWhatIsTried(t *testing.T) {
	study := example.P1Piece1()
	study.Features = append(study.Features,
		saw.Feature{Name: "c", Kind: saw.Crack, View: saw.Face, Points: []saw.Point{{X: 5_000, Y: 12_000}, {X: 12_000, Y: 13_000}, {X: 30_000, Y: 12_500}}},
		saw.Feature{Name: "p", Kind: saw.Potch, View: saw.Face, Closed: true, DepthUm: 800, Points: []saw.Point{{X: 15_000, Y: 18_000}, {X: 17_000, Y: 18_000}, {X: 16_000, Y: 19_000}}},
	)
	_, plan := free()
	plan.Blades[0].WanderUm, plan.Settings.BevelUm = 70, 0
	model, err := saw.NewModel(study)
	if err != nil {
		t.Fatal(err)
	}
	other := plan.Ends[1].Stones[0]
	other.Name, other.At, other.LengthUm, other.WidthUm = "other", saw.Point{X: 17_000, Y: 10_000}, 3_000, 2_000
	plan.Ends[1].Stones = append(plan.Ends[1].Stones[:0:0], other, plan.Ends[1].Stones[0])
	region, err := model.Region(plan, example.Prices(), saw.Query{Part: "1C", Except: "1", Zone: "bright zone", View: saw.Face, DepthUm: 3_000})
	if err != nil {
		t.Fatal(err)
	}
	held := 0
	rapid.Check(t, func(t *rapid.T) {
		s := &plan.Ends[1].Stones[1]
		s.LengthUm = rapid.Int64Range(1_000, 8_000).Draw(t, "length")
		s.WidthUm = s.LengthUm * 3 / 4
		s.At = saw.Point{X: rapid.Int64Range(5_000, 19_000).Draw(t, "x"), Y: rapid.Int64Range(9_000, 21_000).Draw(t, "y")}
		s.TurnMdeg, s.DomeUm = rapid.Int64Range(0, 180_000).Draw(t, "turn"), 0
		r, err := model.Evaluate(plan, example.Prices())
		if err != nil {
			t.Fatal(err)
		}
		got := r.Trunk.Ends[1].Stones[1]
		if holds := region.Holds(got.Outline); holds != got.Fits {
			t.Fatalf("the region holds it: %v, it fits: %v: %+v", holds, got.Fits, r.Trunk.Findings)
		} else if holds {
			held++
		}
	})
	if held == 0 {
		t.Error("none fitted, which tests little")
	}
	t.Run("refused: no such part, branch or zone", func(t *testing.T) {
		for path, q := range map[string]saw.Query{"part": {Part: "1A"}, "zone": {Part: "1C", Zone: "z"}} {
			_, err := model.Region(plan, example.Prices(), q)
			refused(t, err, path)
		}
	})
}
