package saw_test

import (
	"slices"
	"strings"
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
// and has the backing that it lacked. Such a stone is as large as before and has no thicker a bar, and is heavier by
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
	if seen.alike < 20 || seen.lower < 1 {
		t.Errorf("only %d stones fitted with both, %d lay lower", seen.alike, seen.lower)
	}
}

// yields counts what was compared.
type yields struct {
	study        saw.Study
	alike, lower int
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
		kept := int64(0) // of stones that fit with more kerf
		for j, s := range e.Stones {
			if w := b.Ends[i].Stones[j]; y.stone(t, a, s, w) {
				down = true
			} else if w.Fits {
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

// stone compares a stone with itself with more kerf: whether it lies lower.
func (y *yields) stone(t *rapid.T, branch saw.Branch, s, w saw.Planned) (lower bool) {
	drop := int64(0)
	for i, p := range s.Section {
		q := w.Section[i]
		drop = max(drop, p.X-q.X, q.X-p.X, p.Y-q.Y, q.Y-p.Y)
	}
	lower = drop > 10 // by more than rounding of a part's corners
	if w.AreaUm2 != s.AreaUm2 || w.Fits && w.ColourUm > s.ColourUm {
		t.Fatalf("stone %s has %d µm² and %d µm of its bar, with more kerf %d and %d", s.Name, s.AreaUm2, s.ColourUm, w.AreaUm2, w.ColourUm)
	}
	if w.Fits && !s.Fits {
		for _, f := range branch.Findings {
			if f.Stone == s.Name && !f.Notice && (!lower || f.Rule != saw.EnoughBacking && f.Rule != saw.BevelFits) {
				t.Fatalf("stone %s fits only with more kerf: %s", s.Name, f.Text)
			}
		}
	}
	if !w.Fits || !s.Fits {
		return lower
	}
	if !lower {
		y.alike++
		if w.PriceMinor != s.PriceMinor {
			t.Fatalf("stone %s brings %d, with more kerf %d", s.Name, s.PriceMinor, w.PriceMinor)
		}
		return false
	}
	y.lower++
	most, least := y.study.SGMilli, y.study.SGMilli
	for _, l := range y.study.Layers {
		most, least = max(most, l.SGMilli), min(least, l.SGMilli)
	}
	for _, f := range y.study.Features {
		if f.SGMilli > 0 {
			most, least = max(most, f.SGMilli), min(least, f.SGMilli)
		}
	}
	if gave := 2 * float64(s.AreaUm2) * float64(drop) * float64(most-least) * 1e-12; float64(w.MassUg-s.MassUg) > gave+1 && !strings.Contains(text(branch), string(saw.MassIsThere)) {
		t.Fatalf("stone %s weighs %d, with more kerf %d, and lies %d nm lower", s.Name, s.MassUg, w.MassUg, drop)
	}
	return true
}

func text(b saw.Branch) (all string) {
	for _, f := range b.Findings {
		all += string(f.Rule)
	}
	return all
}
