package saw_test

import (
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/saw"
)

// balanced says where a branch's masses don't add up.
func balanced(t *rapid.T, b saw.Branch) {
	out := int64(0)
	fromStep := map[string]int64{}
	mass := map[string]int64{}
	for _, p := range b.Parts {
		if p.MassUg < 0 {
			t.Fatalf("%s: part %s weighs %d", b.Path, p.Name, p.MassUg)
		}
		mass[p.Name] = p.MassUg
	}
	for _, l := range b.Losses {
		if l.MassUg < 0 || l.AreaUm2 < 0 {
			t.Fatalf("%s: a loss of %d µg, %d µm²", b.Path, l.MassUg, l.AreaUm2)
		}
		out += l.MassUg
		fromStep[l.Path] += l.MassUg
	}
	for _, e := range b.Ends {
		out += e.KeptUg
		stones := int64(0)
		for _, s := range e.Stones {
			stones += s.MassUg
			if s.MassUg < 0 || !s.Fits && s.MassUg != 0 {
				t.Fatalf("stone %s weighs %d", s.Name, s.MassUg)
			}
		}
		if e.Kind == saw.Stones && stones != e.KeptUg || e.KeptUg < 0 || e.KeptUg > e.MassUg {
			t.Fatalf("%s: end of %s keeps %d of %d, its stones weigh %d", b.Path, e.Part, e.KeptUg, e.MassUg, stones)
		}
	}
	// Each part that was parted weighs what came out and was lost.
	children := map[string]int64{}
	var parents []string
	for _, p := range b.Parts {
		if p.From != "" {
			if _, ok := children[p.From]; !ok {
				parents = append(parents, p.From)
				children[p.From] += fromStep[p.Step]
			}
			children[p.From] += p.MassUg
		}
	}
	for _, l := range b.Looks {
		out += l.MassUg
		for _, o := range l.Outcomes {
			if o.InUg != l.MassUg {
				t.Fatalf("%s: %d µg go in of %d", o.Path, o.InUg, l.MassUg)
			}
			balanced(t, o)
		}
	}
	if out != b.InUg {
		t.Fatalf("%q: %d µg go in, %d come out", b.Path, b.InUg, out)
	}
	ground := map[string]int64{}
	for _, l := range b.Losses {
		if l.Reason == saw.GroundOff {
			ground[l.Part] += l.MassUg
		}
	}
	for _, name := range parents {
		// Grinding before the cut is a loss of the same part.
		if got := children[name] + ground[name]; got != mass[name] {
			t.Fatalf("%q: part %s weighs %d, what came of it %d", b.Path, name, mass[name], got)
		}
	}
}

func TestMassesBalance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		study := drawStudy(t)
		r, err := saw.Evaluate(study, drawPlan(t, study, without{}), market)
		if err != nil {
			t.Fatal(err)
		}
		balanced(t, r.Trunk)
		sum := r.Totals.FinishedUg + r.Totals.OffCutUg + r.Totals.ShelfUg + r.Totals.SpecimenUg + r.Totals.SliceUg
		for _, l := range r.Totals.LossUg {
			sum += l
		}
		if sum != study.MassUg || r.Trunk.InUg != study.MassUg {
			t.Fatalf("the totals are %d of %d µg", sum, study.MassUg)
		}
	})
}
