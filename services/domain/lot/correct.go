package lot

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/rule"

	lotv1 "seamshare.example/proto/gen/seamshare/event/lot/v1"
)

// Record is one of a lot's stream: an event of its own, or a correction.
type Record struct {
	Position   uint64
	Event      *lotv1.Event
	Correction *correctionv1.Event
}

// History is a lot's stream, oldest first. A mass of all that is left, as it was made or
// counted, is put right through it: what is left later is so much more.
type History []Record

// Mass finds what a record says that the lot weighs, as is right so far, and where more
// of it comes from; ok is false where it says nothing of that.
func (h History) Mass(position uint64) (w *eventv1.Weighing, from *correctionv1.Entry, ok bool) {
	for _, r := range h {
		if p := r.Event.GetMade().GetPublic(); r.Position == position && p != nil {
			w, from = p.GetWeighing(), &correctionv1.Entry{Account: correctionv1.Account_ACCOUNT_BOUGHT, Record: position}
		}
		if p := r.Event.GetCounted().GetPublic(); r.Position == position && p != nil {
			w, from = p.GetWeighing(), &correctionv1.Entry{Account: correctionv1.Account_ACCOUNT_UNEXPLAINED, Record: position}
		}
		if p := r.Correction.GetMassCorrected().GetPublic(); w != nil && p.GetFrom().GetRecord() == position {
			w = p.GetRight()
		}
	}
	return w, from, w != nil
}

// Put says where the lot's mass goes that is more, or less, than the record says: it is
// still there, or it is unexplained by a stock count since, or as the last of the lot was
// sold. No less is right than was sold since.
func (h History) Put(position uint64, right *eventv1.Weighing) (to *correctionv1.Entry, err error) {
	var s State // as if each mass had been recorded right at once
	begun := false
	for _, r := range h {
		if r.Event == nil {
			continue
		}
		s = Evolve(s, h.righted(r, s, position, right))
		switch {
		case begun && (r.Event.GetCounted() != nil || s.Stage == SoldOut):
			return &correctionv1.Entry{Account: correctionv1.Account_ACCOUNT_UNEXPLAINED, Record: r.Position}, nil
		case begun && s.Weighing.GetMassUg() < 1:
			return nil, rule.Broken{
				Reason: rule.NotSoMany, Field: "weighing.mass_ug", Value: measure.Mass(right.GetMassUg()).GramsAndCarats(),
				Rule: fmt.Sprintf("with it more was sold by record %d than was there", r.Position), Hint: "look at what was sold, or count the lot",
			}
		}
		begun = begun || r.Position == position
	}
	return &correctionv1.Entry{Account: correctionv1.Account_ACCOUNT_THERE}, nil
}

// righted is an event as it would have been recorded after s: with its right mass, which
// is the one that is given of the record at position.
func (h History) righted(r Record, s State, position uint64, right *eventv1.Weighing) *lotv1.Event {
	if r.Position != position {
		right, _, _ = h.Mass(r.Position)
	}
	event := proto.CloneOf(r.Event)
	if p := event.GetMade().GetPublic(); p != nil {
		p.Weighing = right
	}
	if p := event.GetCounted().GetPublic(); p != nil {
		p.Was, p.Weighing = s.Weighing, right
	}
	return event
}

// Missing is by how much a stock count found less of the lot than the books say, as is
// right now, how many fewer, and how many they said; ok is false where the record is no such count.
func (h History) Missing(record uint64) (ug, fewer int64, expected uint32, ok bool) {
	for _, r := range h {
		if p := r.Event.GetCounted().GetPublic(); r.Position == record && p != nil {
			ug, fewer, expected, ok = p.GetWas().GetMassUg()-p.GetWeighing().GetMassUg(), int64(p.GetWasCount())-int64(p.GetCount()), p.GetWasCount(), true
		}
		p := r.Correction.GetMassCorrected().GetPublic()
		more := p.GetRight().GetMassUg() - p.GetWas().GetMassUg()
		if p.GetFrom().GetRecord() == record {
			ug -= more
		}
		if p.GetTo().GetRecord() == record {
			ug += more
		}
	}
	return ug, fewer, expected, ok
}

// CorrectMade refuses a mass as made that what went into the lot doesn't add up to (rule 2).
func (s State) CorrectMade(right *eventv1.Weighing) error {
	var broken rule.All
	addUp(&broken, s.Facts.GetSources(), right)
	return broken.Err()
}

// EvolveCorrection folds what a correction changes here.
func EvolveCorrection(s State, e *correctionv1.Event) State {
	p := e.GetMassCorrected().GetPublic()
	if p == nil {
		return s
	}
	more := p.GetRight().GetMassUg() - p.GetWas().GetMassUg()
	switch p.GetFrom().GetAccount() {
	case correctionv1.Account_ACCOUNT_BOUGHT:
		s.Facts = proto.CloneOf(s.Facts)
		s.Facts.Weighing = p.GetRight()
	case correctionv1.Account_ACCOUNT_UNEXPLAINED:
		s.UnexplainedUg -= more
	}
	switch p.GetTo().GetAccount() {
	case correctionv1.Account_ACCOUNT_THERE:
		s.Weighing = &eventv1.Weighing{MassUg: s.Weighing.GetMassUg() + more, DivisionUg: max(s.Weighing.GetDivisionUg(), p.GetRight().GetDivisionUg())}
	case correctionv1.Account_ACCOUNT_UNEXPLAINED:
		s.UnexplainedUg += more
	}
	return s
}
