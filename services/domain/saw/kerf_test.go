package saw_test

import (
	"slices"
	"sort"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/saw"
)

// More kerf never gives more, to the microgram and the minor unit: no stone fits that didn't, each that fits is as
// large, weighs as much and brings as much as before, and so the finished mass, carats, yield, stones, face area and
// what the markets pay for stones don't grow.
//
// One kind of cut is another matter, by nature and not by rounding: one in the section above a stone, whose kerf
// it has to lie lower for. It has so much less opal and as much more of what lies below, which is denser where it is rock,
// and has the backing that it lacked, or the room between it and one above. Such a stone is as large as before and has no thicker a bar, and is heavier by
// no more than what it gave up weighs in the other material.
//
// No part grows either, but by the rounding of its corners.
//
// Cracks and potch are left out: what a wide kerf saws away does no more harm. So are plans of which a part is no more,
// since then the name may stand for another.
func TestMoreKerfNeverGivesMore(t *testing.T) {
	var seen yields
	rapid.Check(t, func(t *rapid.T) {
		study := drawStudy(t)
		plan := drawPlan(t, study, without{})
		r := mustEvaluate(t, study, plan)
		more := plan
		more.Blades = slices.Clone(plan.Blades)
		for i := range more.Blades {
			more.Blades[i].KerfUm += rapid.Int64Range(1, 1_500).Draw(t, "more")
		}
		wide, err := saw.Evaluate(study, more, market)
		if err != nil {
			return // a part is no more
		}
		seen.study = study
		lower, ok := seen.compare(t, r.Trunk, wide.Trunk)
		if !ok || lower {
			return
		}
		a, b := r.Totals, wide.Totals
		if b.FinishedUg > a.FinishedUg || b.Carats() > a.Carats() || b.YieldBp > a.YieldBp || b.Stones > a.Stones || b.FaceUm2 > a.FaceUm2 {
			t.Fatalf("more kerf gives %+v, less %+v", b, a)
		}
	})
	if seen.alike < 20 {
		t.Errorf("only %d stones fitted with both", seen.alike)
	}
}

// yields counts the stones that fitted with both.
type yields struct {
	study saw.Study
	alike int
}

// compare compares a branch with itself by wider blades: whether some stone lies lower, and whether the parts are the same.
func (y *yields) compare(t *rapid.T, a, b saw.Branch) (lower, ok bool) {
	if !slices.EqualFunc(a.Parts, b.Parts, func(p, q saw.Part) bool { return p.Name == q.Name && p.Step == q.Step }) {
		return false, false
	}
	for i, p := range a.Parts {
		if w := b.Parts[i]; w.AreaUm2 > p.AreaUm2+50 || w.MassUg > p.MassUg+3 { // their corners are rounded
			t.Fatalf("%q: part %s has %d µm² and %d µg, with more kerf %d and %d", a.Path, p.Name, p.AreaUm2, p.MassUg, w.AreaUm2, w.MassUg)
		}
	}
	for i, e := range a.Ends {
		down := false
		for j, s := range e.Stones {
			down = down || drop(s, b.Ends[i].Stones[j]) > 0
		}
		kept := int64(0) // of stones that fit with more kerf
		for j, s := range e.Stones {
			w := b.Ends[i].Stones[j]
			y.stone(t, a, e, s, w, down)
			if w.Fits {
				kept += s.MassUg
			}
		}
		// Where they weigh more than their part they share its mass.
		if got := b.Ends[i].KeptUg; e.Kind == saw.Stones && !down && (got > e.KeptUg || got > kept && !tooHeavy(a, e)) {
			t.Fatalf("%q: part %s gives stones of %d µg, %d µg with more kerf", a.Path, e.Part, e.KeptUg, got)
		}
		lower = lower || down
	}
	for i := range a.Looks {
		for j := range a.Looks[i].Outcomes {
			down, same := y.compare(t, a.Looks[i].Outcomes[j], b.Looks[i].Outcomes[j])
			if !same {
				return false, false
			}
			lower = lower || down
		}
	}
	return lower, true
}

func tooHeavy(b saw.Branch, e saw.Ended) bool {
	return slices.ContainsFunc(b.Findings, func(f saw.Finding) bool { return f.Rule == saw.MassIsThere && f.Part == e.Part })
}

// drop is by how many nanometres a stone lies lower with more kerf, if by more than the rounding of a part's corners.
func drop(s, w saw.Planned) (most int64) {
	for i, p := range s.Section {
		q := w.Section[i]
		most = max(most, p.X-q.X, q.X-p.X, p.Y-q.Y, q.Y-p.Y)
	}
	if most <= 10 {
		return 0
	}
	return most
}

// stone compares a stone with itself with more kerf; down is whether it or another of its part lies lower.
func (y *yields) stone(t *rapid.T, branch saw.Branch, e saw.Ended, s, w saw.Planned, down bool) {
	drop := drop(s, w)
	if w.AreaUm2 != s.AreaUm2 || w.Fits && w.ColourUm > s.ColourUm {
		t.Fatalf("stone %s has %d µm² and %d µm of its bar, with more kerf %d and %d", s.Name, s.AreaUm2, s.ColourUm, w.AreaUm2, w.ColourUm)
	}
	if w.Fits && !s.Fits {
		for _, f := range branch.Findings {
			spared := drop > 0 && (f.Rule == saw.EnoughBacking || f.Rule == saw.BevelFits) || down && f.Rule == saw.ClearOfStone
			if f.Stone == s.Name && !f.Notice && !spared {
				t.Fatalf("stone %s fits only with more kerf: %s", s.Name, f.Text)
			}
		}
	}
	if !w.Fits || !s.Fits {
		return
	}
	if drop == 0 {
		y.alike++
		if w.PriceMinor != s.PriceMinor {
			t.Fatalf("stone %s brings %d, with more kerf %d", s.Name, s.PriceMinor, w.PriceMinor)
		}
		return
	}
	most, least := y.study.SGMilli, y.study.SGMilli
	for _, l := range y.study.Layers {
		most, least = max(most, l.SGMilli), min(least, l.SGMilli)
	}
	for _, f := range y.study.Features {
		if f.SGMilli > 0 {
			most, least = max(most, f.SGMilli), min(least, f.SGMilli)
		}
	}
	if gave := 2 * float64(s.AreaUm2) * float64(drop) * float64(most-least) * 1e-12; float64(w.MassUg-s.MassUg) > gave+1 && !tooHeavy(branch, e) {
		t.Fatalf("stone %s weighs %d, with more kerf %d, and lies %d nm lower", s.Name, s.MassUg, w.MassUg, drop)
	}
}

// A bar of 3 mm is sawn along, 1 mm below its top; the stone lies below the cut. With 0.8 mm of kerf for 0.4 it lies 0.2 mm
// lower: π/4 · 8 · 6 · 0.2 mm³ of it are rock of 3.0 where they were opal of 2.1, so it weighs 6.786 mg more. By hand.
func TestStoneBelowACutLiesLower(t *testing.T) {
	study := saw.Study{
		Name: "plate", MassUg: 8_000_000, SGMilli: 3_000, ThicknessUm: 9_000, Outline: square(20_000, 15_000),
		Layers: []saw.Layer{{Name: "bar", Kind: saw.Colour, ThicknessUm: 3_000, SGMilli: 2_100}},
	}
	with := func(kerf int64) saw.Planned {
		r, err := saw.Evaluate(study, saw.Plan{
			Blades: []saw.Blade{{Name: "b", KerfUm: kerf, ReachUm: 30_000}}, Settings: saw.Settings{Currency: "AUD"},
			Steps: []saw.Step{{Part: saw.Whole, Do: saw.Saw{Blade: "b", View: saw.Section, Line: saw.Line{A: saw.Point{Y: -1_000}, B: saw.Point{X: 1_000, Y: -1_000}}, Left: []string{"top"}, Right: []string{"rest"}}}},
			Ends: []saw.End{{Part: "rest", Kind: saw.Stones, Stones: []saw.Stone{{
				Name: "1", Shape: saw.Oval, LengthUm: 8_000, WidthUm: 6_000, DepthUm: 3_000, View: saw.Face, Bar: "bar", At: saw.Point{X: 10_000, Y: 7_500}, ChanceBp: 9_000,
			}}}},
		}, saw.Prices{Currency: "AUD"})
		if err != nil || r.Infeasible {
			t.Fatal(err, r.Trunk.Findings)
		}
		return r.Trunk.Ends[0].Stones[0]
	}
	a, b := with(400), with(800)
	if a.ColourUm != 1_800 || b.ColourUm != 1_600 || a.BackingUm != 1_200 || b.BackingUm != 1_400 || a.AreaUm2 != b.AreaUm2 {
		t.Errorf("it has %d and %d µm of its bar, %d and %d of backing, %d and %d µm²", a.ColourUm, b.ColourUm, a.BackingUm, b.BackingUm, a.AreaUm2, b.AreaUm2)
	}
	near(t, "what it weighs more, in µg", float64(b.MassUg-a.MassUg), 6_786, 1)
}

// A cut beside a stone rounds the corners of its part, where section and bar slope by some part of a nanometre. The
// stone's mass and bar are to the microgram and micrometre what they were.
func TestMassHangsOnNoCutBeside(t *testing.T) {
	study := saw.Study{
		Name: "sloping", MassUg: 30_000_000, SGMilli: 3_000, Outline: []saw.Point{{}, {X: 40_000}, {X: 40_000, Y: 15_000}, {Y: 15_000}},
		Profile: []saw.Point{{Y: -1_013}, {Y: -9_000}, {X: 40_000, Y: -9_000}, {X: 40_000}},
		Features: []saw.Feature{{
			Name: "bar", Kind: saw.Colour, View: saw.Section, Closed: true, SGMilli: 2_100,
			Points: []saw.Point{{X: 200, Y: -2_000}, {X: 200, Y: -2_800}, {X: 39_900, Y: -2_950}, {X: 39_900, Y: -2_110}},
		}},
	}
	model, err := saw.NewModel(study)
	if err != nil {
		t.Fatal(err)
	}
	stone := saw.Stone{Name: "1", Shape: saw.Oval, LengthUm: 8_000, WidthUm: 6_000, DepthUm: 3_000, View: saw.Face, Bar: "bar", Class: "carat", Market: "m", ChanceBp: 9_000}
	weigh := func(x, kerf int64) saw.Planned {
		stone.At = saw.Point{X: x, Y: 7_500}
		r, err := model.Evaluate(saw.Plan{
			Blades: []saw.Blade{{Name: "b", KerfUm: kerf, ReachUm: 30_000}}, Settings: setting,
			Steps: []saw.Step{{Part: saw.Whole, Do: saw.Saw{Blade: "b", View: saw.Face, Line: saw.Line{A: saw.Point{X: 29_000}, B: saw.Point{X: 28_989, Y: 15_000}}, Left: []string{"l"}, Right: []string{"r"}}}},
			Ends:  []saw.End{{Part: "l", Kind: saw.Stones, Stones: []saw.Stone{stone}}},
		}, market)
		if err != nil || r.Infeasible {
			t.Fatal(err, r.Trunk.Findings)
		}
		return r.Trunk.Ends[0].Stones[0]
	}
	// Where the bar's thickness, which grows by a nanometre a micrometre, is just about to be shown as one more.
	for colour := weigh(5_000, 100).ColourUm + 1; colour < weigh(20_000, 100).ColourUm; colour++ {
		edge := int64(5_000 + sort.Search(15_000, func(i int) bool { return weigh(5_000+int64(i), 100).ColourUm >= colour }))
		for x := edge - 2; x <= edge+2; x++ {
			a := weigh(x, 100)
			for kerf := int64(101); kerf < 900; kerf += 13 {
				b := weigh(x, kerf)
				if a.MassUg != b.MassUg || a.ColourUm != b.ColourUm || a.BackingUm != b.BackingUm || a.PriceMinor != b.PriceMinor {
					t.Fatalf("at %d µm the stone weighs %d µg with %d µm of its bar, with more kerf beside it %d µg with %d µm", x, a.MassUg, a.ColourUm, b.MassUg, b.ColourUm)
				}
			}
		}
	}
}
