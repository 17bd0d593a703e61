package saw

// totals adds up a branch with the likeliest outcome of each look.
func totals(b Branch) Totals {
	t := Totals{LossUg: map[Reason]int64{}}
	t.add(b)
	if b.InUg > 0 {
		t.YieldBp = t.FinishedUg * 10_000 / b.InUg // at most 10¹² · 10⁴
	}
	return t
}

func (t *Totals) add(b Branch) {
	for _, l := range b.Losses {
		t.LossUg[l.Reason] += l.MassUg
	}
	for _, e := range b.Ends {
		switch e.Kind {
		case Stones:
			t.FinishedUg += e.KeptUg
			for _, s := range e.Stones {
				if s.Fits {
					t.Stones++
					t.FaceUm2 += s.AreaUm2
				}
			}
		case OffCut:
			t.OffCutUg += e.KeptUg
		case Shelf:
			t.ShelfUg += e.KeptUg
		case Specimen:
			t.SpecimenUg += e.KeptUg
		case Slice:
			t.SliceUg += e.KeptUg
		case Waste: // a loss
		}
	}
	for _, l := range b.Looks {
		best := 0
		for i, o := range l.Outcomes {
			if o.ChanceBp > l.Outcomes[best].ChanceBp {
				best = i
			}
		}
		t.add(l.Outcomes[best])
	}
}
