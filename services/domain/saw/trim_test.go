package saw_test

import (
	"testing"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// Trimmed with 1 mm all round, a part's outline is nowhere nearer than that to the stone, and nowhere much farther,
// whatever its shape; a triangle of 10 × 8 mm and a hollow freeform too.
func TestAllowanceGoesAllRound(t *testing.T) {
	study := saw.Study{Name: "block", MassUg: 100_000_000, SGMilli: 2_000, ThicknessUm: 8_000, Outline: square(60_000, 60_000)}
	hollow := []saw.Point{{}, {X: 10_000}, {X: 10_000, Y: 8_000}, {X: 7_000, Y: 2_000}, {X: 3_000, Y: 2_000}, {Y: 8_000}}
	for _, shape := range []saw.Shape{saw.Oval, saw.Round, saw.Pear, saw.Marquise, saw.Cushion, saw.Rectangle, saw.Triangle, saw.Freeform} {
		for _, tilt := range []int64{0, 20_000} {
			const allow = 1_000
			s := block("s", shape, 10_000, 8_000, 3_000, saw.Point{X: 30_000, Y: 30_000})
			s.TurnMdeg, s.TiltMdeg = 31_000, tilt
			switch shape {
			case saw.Round:
				s.WidthUm = s.LengthUm
			case saw.Cushion:
				s.LengthUm = s.WidthUm
			case saw.Freeform:
				s.Ring = hollow
			}
			steps := []saw.Step{{Part: saw.Whole, Do: saw.Trim{View: saw.Face, Keep: []saw.Kept{{Part: "t", Stone: "s", AllowUm: allow}}}}}
			r, err := saw.Evaluate(study, plain(steps, saw.End{Part: "t", Kind: saw.Stones, Stones: []saw.Stone{s}}), saw.Prices{Currency: "AUD"})
			if err != nil {
				t.Fatal(shape, err)
			}
			stone, kept := r.Trunk.Ends[0].Stones[0], r.Trunk.Parts[1].Face
			if !stone.Fits || !plane.Holds(kept, stone.Outline) {
				t.Errorf("%s, tilted by %d: the trimmed part doesn't hold it", shape, tilt)
			}
			if d := plane.Distance(stone.Outline, kept.Closed()); d < allow*plane.Micrometre-1 {
				t.Errorf("%s, tilted by %d: the part is only %.0f nm from the stone", shape, tilt, d)
			}
			for _, p := range kept {
				if d := plane.Distance(stone.Outline, plane.Path{p, p.Plus(plane.Point{X: 1})}); d > 1.02*allow*plane.Micrometre {
					t.Errorf("%s, tilted by %d: a corner of the part is %.0f nm from the stone", shape, tilt, d)
				}
			}
		}
	}
}
