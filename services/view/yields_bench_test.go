package view_test

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	domain "seamshare.example/services/domain/piece"
)

// TestYieldFollowsThePiece plays random bench work that the rules let through, and puts
// random masses of it right: after each event the parcel's yield is the piece's own balance, and all mass is in it.
func TestYieldFollowsThePiece(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBookRapid(t)
		b.found(50_000)
		b.list("p1", "billycart", 100, piece{label: "1", massUg: 34_200_000})
		var s domain.State
		described := &piecev1.Event{Event: &piecev1.Event_Described{Described: &piecev1.Described{Public: &piecev1.Described_Public{
			PieceId: "p1-1", ParcelId: "p1", Label: "1", Weighing: grams(34_200_000), Count: 1,
		}}}}
		s = domain.Evolve(s, described)
		history := domain.History{{Position: 1, Event: described}}
		stones := 0
		for step := range rapid.IntRange(1, 30).Draw(t, "steps") {
			if len(s.Parts) == 0 {
				break
			}
			part := rapid.SampledFrom(s.Parts).Draw(t, "part")
			mass := part.Weighing.GetMassUg()
			less := func(what string) *eventv1.Weighing { return grams(rapid.Int64Range(1, max(1, mass)).Draw(t, what)) }
			var e *piecev1.Event
			var err error
			switch rapid.IntRange(0, 9).Draw(t, "what") {
			case 0:
				out := less("out")
				w := domain.Work{Part: part.Name, Step: piecev1.Step_STEP_SAW, Reason: piecev1.Reason_REASON_KERF, Out: []domain.Out{{Name: fmt.Sprint(step, "a"), Weighing: out}}}
				if rest := mass - out.GetMassUg() - 1; rest > 0 {
					w.Out = append(w.Out, domain.Out{Name: fmt.Sprint(step, "b"), Weighing: grams(rest), Fate: domain.Offcut})
				}
				e, err = s.Work(w)
			case 1:
				e, err = s.Place("m", part.Name, domain.Fate(rapid.IntRange(1, 3).Draw(t, "fate")), "")
			case 2:
				stones++
				e, err = s.Finish(domain.Finishing{Part: part.Name, StoneID: fmt.Sprint("s", stones), Stone: less("stone")})
			case 3:
				e, err = s.Recount(domain.Counting{Part: part.Name, Weighing: grams(rapid.Int64Range(1, 40_000_000).Draw(t, "counted"))})
			case 4:
				e, err = s.Recut(domain.Recutting{StoneID: part.StoneID, Stone: less("recut"), Reason: piecev1.Reason_REASON_CHIPPED_EDGE})
			case 5:
				e, err = s.MoveOn(domain.Move{Part: part.Name, LotID: "l", Weighing: grams(max(1, mass+rapid.Int64Range(-20_000, 20_000).Draw(t, "apart")))})
			case 6:
				e, err = s.TakeBack("m", part.Name)
			case 7:
				e, err = s.Work(domain.Work{Part: part.Name, Step: piecev1.Step_STEP_SHAPE, NotWeighed: true})
			default:
				c := corrected(t, history)
				if c == nil {
					continue
				}
				s = domain.EvolveCorrection(s, c)
				history = append(history, domain.Record{Position: uint64(len(history) + 1), Correction: c})
				b.record("piece/p1-1", c)
			}
			if err != nil {
				continue // the rules don't let it through
			}
			if e != nil {
				s = domain.Evolve(s, e)
				history = append(history, domain.Record{Position: uint64(len(history) + 1), Event: e})
				b.pieceEvent("p1-1", e)
			}
			for _, lost := range s.Losses {
				if lost.MassUg < 0 {
					t.Fatalf("%v took away %d", lost.Reason, lost.MassUg)
				}
			}
			if err := sameAsRight(history, s); err != nil {
				t.Fatalf("after %v: %v", e, err)
			}
			y, is := b.yieldOf("p1"), s.Balance()
			got := domain.Balance{Described: y.BoughtUg, Finished: y.FinishedUg, Offcut: y.OffcutUg, Uncut: y.UncutUg, Loss: y.LossUg, Unexplained: y.UnexplainedUg, MovedOn: y.MovedOnUg}
			if got != is {
				t.Fatalf("after %v\nthe view has  %+v\nthe piece has %+v", e, got, is)
			}
			if sum := y.FinishedUg + y.OffcutUg + y.UncutUg + y.LossUg + y.UnexplainedUg + y.MovedOnUg; sum != y.BoughtUg {
				t.Fatalf("%d of %d is accounted for", sum, y.BoughtUg)
			}
		}
	})
}

// corrected is a right mass for a random one that was weighed; nil: there is none at the
// record, or the rules don't let it through.
func corrected(t *rapid.T, h domain.History) *correctionv1.Event {
	at := rapid.IntRange(0, len(h)-1).Draw(t, "record")
	names := []string{""}
	for _, r := range h {
		names = append(names, r.Event.GetDescribed().GetPublic().GetLabel())
		for _, out := range r.Event.GetWorked().GetPublic().GetPartsOut() {
			names = append(names, out.GetName())
		}
	}
	part, wentIn := rapid.SampledFrom(names).Draw(t, "of"), rapid.Bool().Draw(t, "went in")
	if p := h[at].Event.GetWorked().GetPublic(); p != nil && rapid.Bool().Draw(t, "of the step") {
		part = p.GetPart()
		if n := len(p.GetPartsOut()); n > 0 && !wentIn {
			part = p.GetPartsOut()[rapid.IntRange(0, n-1).Draw(t, "out")].GetName()
		}
	}
	m, ok := h.Mass(uint64(at+1), part, wentIn)
	if !ok {
		return nil
	}
	if weighed := h[at].Event.GetWorked(); wentIn && weighed == nil {
		t.Fatalf("something went into %v", h[at].Event)
	}
	c, err := h.Put(m, grams(max(1, m.Weighing.GetMassUg()+rapid.Int64Range(-2_000_000, 2_000_000).Draw(t, "more"))))
	if err != nil {
		return nil
	}
	c.PieceId = "p1-1"
	return &correctionv1.Event{Event: &correctionv1.Event_MassCorrected{MassCorrected: &correctionv1.MassCorrected{Public: c}}}
}

// sameAsRight weighs the whole history over again as if each mass had been recorded right
// at once, steps that weren't weighed taking theirs from the one before, and holds the
// piece against it. Of a step without a reason nothing was lost: what it differs by is
// unexplained.
func sameAsRight(h domain.History, s domain.State) error {
	right := func(at int, part string, wentIn bool, recorded *eventv1.Weighing) int64 {
		ug := recorded.GetMassUg()
		for _, r := range h {
			if p := r.Correction.GetMassCorrected().GetPublic(); p != nil && p.GetFrom().GetRecord() == h[at].Position && p.GetPart() == part && p.GetWentIn() == wentIn {
				ug = p.GetRight().GetMassUg()
			}
		}
		return ug
	}
	var unexplained, lost int64
	parts := map[string]int64{}
	lose := func(ug int64, reason piecev1.Reason) {
		if reason == piecev1.Reason_REASON_UNSPECIFIED {
			unexplained += ug
		} else {
			lost += ug
		}
	}
	for i, r := range h {
		switch e := r.Event.GetEvent().(type) {
		case *piecev1.Event_Described:
			p := e.Described.GetPublic()
			parts[p.GetLabel()] = right(i, p.GetLabel(), false, p.GetWeighing())
		case *piecev1.Event_Worked:
			p := e.Worked.GetPublic()
			in := parts[p.GetPart()]
			if !p.GetMassInNotWeighed() {
				in = right(i, p.GetPart(), true, p.GetMassIn())
				unexplained += parts[p.GetPart()] - in
			}
			delete(parts, p.GetPart())
			rest := in
			for _, out := range p.GetPartsOut() {
				ug := in
				if !p.GetNotWeighed() {
					ug = right(i, out.GetName(), false, out.GetWeighing())
				}
				parts[out.GetName()] = ug
				rest -= ug
			}
			lose(rest, p.GetReason())
		case *piecev1.Event_Finished:
			p := e.Finished.GetPublic()
			ug := right(i, p.GetPart(), false, p.GetStone())
			lose(parts[p.GetPart()]-ug, piecev1.Reason_REASON_GROUND_OFF)
			parts[p.GetPart()] = ug
		case *piecev1.Event_Recut:
			p := e.Recut.GetPublic()
			ug := right(i, p.GetPart(), false, p.GetStone())
			lose(parts[p.GetPart()]-ug, p.GetReason())
			parts[p.GetPart()] = ug
		case *piecev1.Event_Counted:
			p := e.Counted.GetPublic()
			ug := right(i, p.GetPart(), false, p.GetWeighing())
			unexplained += parts[p.GetPart()] - ug
			parts[p.GetPart()] = ug
		case *piecev1.Event_MovedOn:
			p := e.MovedOn.GetPublic()
			ug := right(i, p.GetPart(), false, p.GetWeighing())
			unexplained += parts[p.GetPart()] - ug
			parts[p.GetPart()] = ug
		}
	}
	if b := s.Balance(); b.Unexplained != unexplained || b.Loss != lost {
		return fmt.Errorf("weighed right, %d is lost and %d unexplained; the piece says %+v", lost, unexplained, b)
	}
	for _, p := range s.Parts {
		if parts[p.Name] != p.Weighing.GetMassUg() {
			return fmt.Errorf("weighed right, part %s is %d; the piece says %d", p.Name, parts[p.Name], p.Weighing.GetMassUg())
		}
	}
	return nil
}
