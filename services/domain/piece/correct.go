package piece

import (
	"fmt"
	"slices"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/rule"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// Record is one of a piece's stream: an event of its own, or a correction.
type Record struct {
	Position   uint64
	Event      *piecev1.Event
	Correction *correctionv1.Event
}

// History is a piece's stream, oldest first. A mass that was recorded wrong is put right
// through it: what went on from that mass without being weighed follows.
type History []Record

// Mass is what a record says that a part weighs.
type Mass struct {
	Record   uint64 // position
	Part     string
	WentIn   bool              // before the step, not after
	Weighing *eventv1.Weighing // as is right so far
	From     *correctionv1.Entry
}

// Mass finds what was weighed at a record: of a step the part that is named, before it or
// after. ok is false where nothing was.
func (h History) Mass(position uint64, part string, wentIn bool) (m Mass, ok bool) {
	i := slices.IndexFunc(h, func(r Record) bool { return r.Position == position })
	if i < 0 {
		return m, false
	}
	m = Mass{Record: position, Part: part, WentIn: wentIn, From: entry(correctionv1.Account_ACCOUNT_UNEXPLAINED, position)}
	whole := part == "" && !wentIn // a record of one part needs no name
	switch e := h[i].Event.GetEvent().(type) {
	case *piecev1.Event_Described:
		p := e.Described.GetPublic()
		if ok = whole || part == p.GetLabel() && !wentIn; ok {
			m.Part, m.Weighing, m.From = p.GetLabel(), p.GetWeighing(), entry(correctionv1.Account_ACCOUNT_BOUGHT, position)
		}
	case *piecev1.Event_Worked:
		p := e.Worked.GetPublic()
		if wentIn {
			ok = part == p.GetPart() && !p.GetMassInNotWeighed()
			m.Weighing = p.GetMassIn()
			break
		}
		at := slices.IndexFunc(p.GetPartsOut(), func(out *piecev1.Part) bool { return out.GetName() == part })
		if ok = at >= 0 && !p.GetNotWeighed(); ok {
			m.Weighing, m.From = p.GetPartsOut()[at].GetWeighing(), loss(position, p.GetReason())
		}
	case *piecev1.Event_Finished:
		p := e.Finished.GetPublic()
		ok, m.Part = whole || part == p.GetPart(), p.GetPart()
		m.Weighing, m.From = p.GetStone(), loss(position, piecev1.Reason_REASON_GROUND_OFF)
	case *piecev1.Event_Recut:
		p := e.Recut.GetPublic()
		ok, m.Part = whole || part == p.GetPart(), p.GetPart()
		m.Weighing, m.From = p.GetStone(), loss(position, p.GetReason())
	case *piecev1.Event_Counted:
		p := e.Counted.GetPublic()
		ok, m.Part = whole || part == p.GetPart(), p.GetPart()
		m.Weighing = p.GetWeighing()
	case *piecev1.Event_MovedOn:
		p := e.MovedOn.GetPublic()
		ok, m.Part = whole || part == p.GetPart(), p.GetPart()
		m.Weighing = p.GetWeighing()
	case *piecev1.Event_Opened:
		m.Part, m.Weighing = h.label(), e.Opened.GetPublic().GetLeft()
		ok = (whole || part == m.Part) && m.Weighing != nil
	}
	for c := range h.corrected() {
		if c.GetFrom().GetRecord() == position && c.GetPart() == m.Part && c.GetWentIn() == wentIn {
			m.Weighing = c.GetRight()
		}
	}
	return m, ok
}

// Put says where a mass goes that is more, or less, than was recorded. It follows what
// went on from it unweighed: the first step that did and was weighed after lost more, or
// less. Where the same thing was weighed again since, or lost nothing since, two weighings
// of it disagree by as much: that is unexplained.
func (h History) Put(m Mass, right *eventv1.Weighing) (to *correctionv1.Entry, err error) {
	more := right.GetMassUg() - m.Weighing.GetMassUg()
	if err := h.holds(m.From, -more, right); err != nil {
		return nil, err
	}
	to = h.next(m)
	return to, h.holds(to, more, right)
}

func (h History) next(m Mass) *correctionv1.Entry {
	after := slices.IndexFunc(h, func(r Record) bool { return r.Position == m.Record })
	if worked := h[after].Event.GetWorked().GetPublic(); m.WentIn {
		return loss(m.Record, worked.GetReason())
	}
	for _, r := range h[after+1:] {
		again := entry(correctionv1.Account_ACCOUNT_UNEXPLAINED, r.Position)
		switch e := r.Event.GetEvent().(type) {
		case *piecev1.Event_Worked:
			switch p := e.Worked.GetPublic(); {
			case p.GetPart() != m.Part || p.GetNotWeighed():
			case p.GetMassInNotWeighed():
				return loss(r.Position, p.GetReason())
			default:
				return again
			}
		case *piecev1.Event_Finished:
			if e.Finished.GetPublic().GetPart() == m.Part {
				return loss(r.Position, piecev1.Reason_REASON_GROUND_OFF)
			}
		case *piecev1.Event_Recut:
			if p := e.Recut.GetPublic(); p.GetPart() == m.Part {
				return loss(r.Position, p.GetReason())
			}
		case *piecev1.Event_Counted:
			if e.Counted.GetPublic().GetPart() == m.Part {
				return again
			}
		case *piecev1.Event_MovedOn:
			if e.MovedOn.GetPublic().GetPart() == m.Part {
				return again
			}
		case *piecev1.Event_Opened:
			if m.Part == h.label() {
				return again
			}
		}
	}
	return entry(correctionv1.Account_ACCOUNT_THERE, 0)
}

// holds refuses to take more out of a step's loss than was lost there: then more would
// have come out than went in.
func (h History) holds(at *correctionv1.Entry, more int64, right *eventv1.Weighing) error {
	if at.GetAccount() != correctionv1.Account_ACCOUNT_LOST {
		return nil
	}
	if lost := h.lost(at.GetRecord()); lost+more < 0 {
		return rule.Broken{
			Reason: rule.HeavierThanBefore, Field: "weighing.mass_ug", Value: measure.Mass(right.GetMassUg()).GramsAndCarats(),
			Rule: fmt.Sprintf("with it more would have come out of the step at record %d than went in; %s was lost there", at.GetRecord(), measure.Mass(lost)),
			Hint: "correct first what went into that step, or what came out of it",
		}
	}
	return nil
}

// lost is what a step lost, as is right so far.
func (h History) lost(record uint64) (ug int64) {
	for _, r := range h {
		if r.Position == record {
			ug = r.Event.GetWorked().GetPublic().GetLossUg() + r.Event.GetFinished().GetPublic().GetLossUg() + r.Event.GetRecut().GetPublic().GetLossUg()
		}
	}
	return ug + h.moved(correctionv1.Account_ACCOUNT_LOST, record)
}

// moved is what corrections put into an account at a record.
func (h History) moved(account correctionv1.Account, record uint64) (ug int64) {
	for c := range h.corrected() {
		more := c.GetRight().GetMassUg() - c.GetWas().GetMassUg()
		if at := c.GetFrom(); at.GetAccount() == account && at.GetRecord() == record {
			ug -= more
		}
		if at := c.GetTo(); at.GetAccount() == account && at.GetRecord() == record {
			ug += more
		}
	}
	return ug
}

// Missing is by how much a stock count found less of a part than the books say, as is
// right now; ok is false where the record is no such count.
func (h History) Missing(record uint64) (ug int64, ok bool) {
	for _, r := range h {
		if p := r.Event.GetCounted().GetPublic(); r.Position == record && p != nil {
			ug, ok = p.GetWas().GetMassUg()-p.GetWeighing().GetMassUg(), true
		}
	}
	return ug + h.moved(correctionv1.Account_ACCOUNT_UNEXPLAINED, record), ok
}

func (h History) corrected() func(yield func(*correctionv1.MassCorrected_Public) bool) {
	return func(yield func(*correctionv1.MassCorrected_Public) bool) {
		for _, r := range h {
			if p := r.Correction.GetMassCorrected().GetPublic(); p != nil && !yield(p) {
				return
			}
		}
	}
}

func (h History) label() string {
	for _, r := range h {
		if p := r.Event.GetDescribed().GetPublic(); p != nil {
			return p.GetLabel()
		}
	}
	return ""
}

func entry(account correctionv1.Account, record uint64) *correctionv1.Entry {
	return &correctionv1.Entry{Account: account, Record: record}
}

// loss is where a step's loss stands. A step that lost nothing has no reason: it weighed
// the same thing twice.
func loss(record uint64, reason piecev1.Reason) *correctionv1.Entry {
	if reason == piecev1.Reason_REASON_UNSPECIFIED {
		return entry(correctionv1.Account_ACCOUNT_UNEXPLAINED, record)
	}
	return &correctionv1.Entry{Account: correctionv1.Account_ACCOUNT_LOST, Record: record, Reason: reason}
}

// EvolveCorrection folds what a correction changes here: what the piece is said to be, a
// size, or a mass that comes from one account of the balance and goes to another.
func EvolveCorrection(s State, e *correctionv1.Event) State {
	if c := e.GetSizeCorrected().GetPublic(); c != nil {
		s.Size = c.GetRight()
	}
	if c := e.GetPieceCorrected(); c != nil {
		right := c.GetPublic().GetRight()
		s.Kind, s.FieldID, s.MayBeOf, s.ClaimID = right.GetKind(), right.GetFieldId(), right.GetMayBeOfFieldIds(), c.GetPrivate().GetRightClaimId()
	}
	c := e.GetMassCorrected().GetPublic()
	if c == nil {
		return s
	}
	more := c.GetRight().GetMassUg() - c.GetWas().GetMassUg()
	if c.GetFrom().GetAccount() == correctionv1.Account_ACCOUNT_BOUGHT {
		s.Weighing = c.GetRight()
	}
	s = s.move(c.GetFrom(), -more)
	if c.GetTo().GetAccount() == correctionv1.Account_ACCOUNT_THERE {
		return s.with(c.GetPart(), func(part *Part) {
			part.Weighing = c.GetRight()
			part.Due = &eventv1.Weighing{MassUg: part.Due.GetMassUg() + more, DivisionUg: max(part.Due.GetDivisionUg(), c.GetRight().GetDivisionUg())}
		})
	}
	return s.move(c.GetTo(), more)
}

// move puts mass into an account of the balance that is no part's.
func (s State) move(at *correctionv1.Entry, ug int64) State {
	switch at.GetAccount() {
	case correctionv1.Account_ACCOUNT_LOST:
		s.Losses = s.Losses.with(at.GetReason(), ug)
	case correctionv1.Account_ACCOUNT_UNEXPLAINED:
		s.UnexplainedUg += ug
	case correctionv1.Account_ACCOUNT_OPENED:
		s.OpenedUg += ug
	}
	return s
}
