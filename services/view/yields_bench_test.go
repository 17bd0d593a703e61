package view_test

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/services/domain/parcel"
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
		count := rapid.SampledFrom([]uint32{1, 1, 1, 5}).Draw(t, "count") // one piece, or a group
		described := &piecev1.Event{Event: &piecev1.Event_Described{Described: &piecev1.Described{Public: &piecev1.Described_Public{
			PieceId: "p1-1", ParcelId: "p1", Label: "1", Weighing: grams(34_200_000), Count: count,
		}}}}
		s = domain.Evolve(s, described)
		history := domain.History{{Position: 1, Event: described}}
		listing := parcel.Evolve(parcel.State{}, &parcelv1.Event{Event: &parcelv1.Event_Listed{Listed: &parcelv1.Listed{Public: &parcelv1.Listed_Public{
			ParcelId: "p1", Lines: []*parcelv1.Line{{PieceId: "p1-1", Weighing: grams(34_200_000), Count: count}}, Total: grams(34_200_000),
		}}}})
		line := func() int64 { return listing.Lines[0].Weighing.GetMassUg() }
		stones := 0
		var taken []takenOut
		for step := range rapid.IntRange(1, 30).Draw(t, "steps") {
			if len(s.Parts) == 0 {
				break
			}
			part := rapid.SampledFrom(s.Parts).Draw(t, "part")
			mass := part.Weighing.GetMassUg()
			less := func(what string) *eventv1.Weighing { return grams(rapid.Int64Range(1, max(1, mass)).Draw(t, what)) }
			var e *piecev1.Event
			var err error
			switch rapid.IntRange(0, 11).Draw(t, "what") {
			case 0:
				out := less("out")
				w := domain.Work{Part: part.Name, Step: piecev1.Step_STEP_SAW, Reason: piecev1.Reason_REASON_KERF, Out: []domain.Out{{Name: fmt.Sprint(step, "a"), Weighing: out}}}
				if rapid.Bool().Draw(t, "weighed again") {
					mass = max(1, part.Due.GetMassUg()+rapid.Int64Range(-20_000, 20_000).Draw(t, "again"))
					w.MassIn = grams(mass)
				}
				if rapid.IntRange(0, 3).Draw(t, "lost nothing") == 0 {
					out.MassUg, w.Out[0].Name = mass, part.Name
				}
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
			case 8:
				o := domain.Opening{Taken: []*eventv1.Weighing{less("taken")}, Count: 1}
				if rest := mass - o.Taken[0].GetMassUg() + rapid.Int64Range(-15_000, 15_000).Draw(t, "apart"); rest > 0 && s.Count > 1 {
					o.Left = grams(rest)
				}
				if e, err = s.Open(o); err == nil {
					taken = append(taken, takenOut{record: uint64(len(history) + 2), weighing: o.Taken[0]})
					listing = parcel.Evolve(listing, &parcelv1.Event{Event: &parcelv1.Event_LineOpened{LineOpened: &parcelv1.LineOpened{Public: &parcelv1.LineOpened_Public{
						ParcelId: "p1", PieceId: "p1-1", Left: o.Left, LeftCount: e.GetOpened().GetPublic().GetLeftCount(),
					}}}})
				}
			case 9:
				if len(taken) == 0 {
					continue
				}
				at := rapid.IntRange(0, len(taken)-1).Draw(t, "which was taken")
				right := grams(max(1, taken[at].weighing.GetMassUg()+rapid.Int64Range(-2_000_000, 2_000_000).Draw(t, "more")))
				p, err := history.PutTaken(taken[at].record, taken[at].weighing, right)
				if err != nil {
					continue
				}
				p.PieceId, taken[at].weighing = "p1-1", right
				c := &correctionv1.Event{Event: &correctionv1.Event_MassCorrected{MassCorrected: &correctionv1.MassCorrected{Public: p}}}
				s = domain.EvolveCorrection(s, c)
				history = append(history, domain.Record{Position: uint64(len(history) + 1), Correction: c})
				b.record("piece/p1-1", c)
			default:
				c := corrected(t, history)
				if c == nil {
					continue
				}
				if from := c.GetMassCorrected().GetPublic().GetFrom().GetRecord(); from == 1 || from == history.LastOpened() {
					listing = parcel.EvolveCorrection(listing, c)
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
			for _, p := range s.Parts {
				if m, ok := lineOf(history); ok && p.Name == s.Label && line() != m {
					t.Fatalf("the line weighs %d, the piece %d", line(), m)
				}
			}
			if err := sameAsRight(history, s); err != nil {
				t.Fatalf("after %v: %v", e, err)
			}
			y, is := b.yieldOf("p1"), s.Balance()
			got := domain.Balance{Described: y.BoughtUg, Finished: y.FinishedUg, Offcut: y.OffcutUg, Uncut: y.UncutUg, Loss: y.LossUg, Unexplained: y.UnexplainedUg, MovedOn: y.MovedOnUg}
			is.Described, is.MovedOn = is.Described-s.OpenedUg, is.MovedOn-s.OpenedUg // it is bought by itself
			if got != is {
				t.Fatalf("after %v\nthe view has  %+v\nthe piece has %+v", e, got, is)
			}
			if sum := y.FinishedUg + y.OffcutUg + y.UncutUg + y.LossUg + y.UnexplainedUg + y.MovedOnUg; sum != y.BoughtUg {
				t.Fatalf("%d of %d is accounted for", sum, y.BoughtUg)
			}
		}
	})
}

// takenOut is a piece that was taken out of the group: its own record, and what it weighs.
type takenOut struct {
	record   uint64
	weighing *eventv1.Weighing
}

// lineOf is what a parcel's line says: the piece as it was described, or what was left as
// it was opened last.
func lineOf(h domain.History) (ug int64, ok bool) {
	for _, r := range h {
		if r.Event.GetDescribed() != nil || r.Event.GetOpened() != nil {
			var m domain.Mass
			m, ok = h.Mass(r.Position, "", false)
			ug = m.Weighing.GetMassUg()
		}
	}
	return ug, ok
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
	parts, due := map[string]int64{}, map[string]int64{}
	var tooMuch error
	again := func(i int, part string, ug, allowed int64) { // rules 4 and 22
		if ug > due[part]+allowed && tooMuch == nil {
			tooMuch = fmt.Errorf("at record %d part %s weighs %d and should %d", h[i].Position, part, ug, due[part])
		}
	}
	out := func(i int, lost int64) { // rules 5, 9 and 18
		if lost < 0 && tooMuch == nil {
			tooMuch = fmt.Errorf("at record %d %d more came out than went in", h[i].Position, -lost)
		}
	}
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
			due[p.GetLabel()] = parts[p.GetLabel()]
		case *piecev1.Event_Worked:
			p := e.Worked.GetPublic()
			in := parts[p.GetPart()]
			if !p.GetMassInNotWeighed() {
				in = right(i, p.GetPart(), true, p.GetMassIn())
				again(i, p.GetPart(), in, 20_000)
				unexplained += parts[p.GetPart()] - in
			}
			delete(parts, p.GetPart())
			rest := in
			for _, left := range p.GetPartsOut() {
				ug := in
				if !p.GetNotWeighed() {
					ug = right(i, left.GetName(), false, left.GetWeighing())
				}
				parts[left.GetName()] = ug
				rest -= ug
			}
			out(i, rest)
			was := due[p.GetPart()]
			for _, left := range p.GetPartsOut() {
				if due[left.GetName()] = parts[left.GetName()]; len(p.GetPartsOut()) == 1 {
					due[left.GetName()] = was - rest
				}
			}
			lose(rest, p.GetReason())
		case *piecev1.Event_Finished:
			p := e.Finished.GetPublic()
			ug := right(i, p.GetPart(), false, p.GetStone())
			out(i, parts[p.GetPart()]-ug)
			lose(parts[p.GetPart()]-ug, piecev1.Reason_REASON_GROUND_OFF)
			parts[p.GetPart()], due[p.GetPart()] = ug, ug
		case *piecev1.Event_Recut:
			p := e.Recut.GetPublic()
			ug := right(i, p.GetPart(), false, p.GetStone())
			out(i, parts[p.GetPart()]-ug)
			lose(parts[p.GetPart()]-ug, p.GetReason())
			parts[p.GetPart()], due[p.GetPart()] = ug, ug
		case *piecev1.Event_Counted:
			p := e.Counted.GetPublic()
			ug := right(i, p.GetPart(), false, p.GetWeighing())
			unexplained += parts[p.GetPart()] - ug
			parts[p.GetPart()], due[p.GetPart()] = ug, ug
		case *piecev1.Event_MovedOn:
			p := e.MovedOn.GetPublic()
			ug := right(i, p.GetPart(), false, p.GetWeighing())
			again(i, p.GetPart(), ug, 20_000)
			unexplained += parts[p.GetPart()] - ug
			parts[p.GetPart()] = ug
		case *piecev1.Event_Opened:
			p := e.Opened.GetPublic()
			taken, left := p.GetTakenUg(), int64(0)
			for _, r := range h {
				if c := r.Correction.GetMassCorrected().GetPublic(); c.GetTo().GetAccount() == correctionv1.Account_ACCOUNT_OPENED && c.GetTo().GetRecord() == h[i].Position {
					taken += c.GetRight().GetMassUg() - c.GetWas().GetMassUg()
				}
			}
			if p.GetLeftCount() > 0 {
				left = right(i, "1", false, p.GetLeft())
			}
			due["1"] = parts["1"]
			again(i, "1", taken+left, 15_000)
			unexplained += parts["1"] - taken - left
			parts["1"], due["1"] = left, left
		}
	}
	if tooMuch != nil {
		return tooMuch
	}
	if b := s.Balance(); b.Unexplained != unexplained || b.Loss != lost {
		return fmt.Errorf("weighed right, %d is lost and %d unexplained; the piece says %+v", lost, unexplained, b)
	}
	for _, p := range s.Parts {
		if parts[p.Name] != p.Weighing.GetMassUg() {
			return fmt.Errorf("weighed right, part %s is %d; the piece says %d", p.Name, parts[p.Name], p.Weighing.GetMassUg())
		}
		if due[p.Name] != p.Due.GetMassUg() {
			return fmt.Errorf("weighed right, part %s should weigh %d; the piece says %d", p.Name, due[p.Name], p.Due.GetMassUg())
		}
	}
	return nil
}
