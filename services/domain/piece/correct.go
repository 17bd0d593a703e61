package piece

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

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
	of := func(name string) bool { // what a record weighs is one part, which needs no name, and went in nowhere
		m.Part = name
		return !wentIn && (part == "" || part == name)
	}
	switch e := h[i].Event.GetEvent().(type) {
	case *piecev1.Event_Described:
		p := e.Described.GetPublic()
		ok = of(p.GetLabel())
		m.Weighing, m.From = p.GetWeighing(), entry(correctionv1.Account_ACCOUNT_BOUGHT, position)
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
		ok = of(p.GetPart())
		m.Weighing, m.From = p.GetStone(), loss(position, piecev1.Reason_REASON_GROUND_OFF)
	case *piecev1.Event_Recut:
		p := e.Recut.GetPublic()
		ok = of(p.GetPart())
		m.Weighing, m.From = p.GetStone(), loss(position, p.GetReason())
	case *piecev1.Event_Counted:
		p := e.Counted.GetPublic()
		ok = of(p.GetPart())
		m.Weighing = p.GetWeighing()
	case *piecev1.Event_MovedOn:
		p := e.MovedOn.GetPublic()
		ok = of(p.GetPart())
		m.Weighing = p.GetWeighing()
	case *piecev1.Event_Opened:
		m.Weighing = e.Opened.GetPublic().GetLeft()
		ok = of(h.label()) && m.Weighing != nil
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
// of it disagree by as much: that is unexplained. No mass comes from nowhere by that.
func (h History) Put(m Mass, right *eventv1.Weighing) (*correctionv1.MassCorrected_Public, error) {
	return h.held(m.Record, &correctionv1.MassCorrected_Public{Part: m.Part, WentIn: m.WentIn, Was: m.Weighing, Right: right, From: m.From, To: h.next(m)})
}

// PutTaken says where the mass goes of a piece that was taken out of this group before its
// record.
func (h History) PutTaken(piece uint64, was, right *eventv1.Weighing) (*correctionv1.MassCorrected_Public, error) {
	var opened uint64
	for _, r := range h {
		if r.Event.GetOpened() != nil && r.Position < piece {
			opened = r.Position
		}
	}
	return h.held(piece, &correctionv1.MassCorrected_Public{
		Was: was, Right: right, From: entry(correctionv1.Account_ACCOUNT_UNEXPLAINED, opened), To: entry(correctionv1.Account_ACCOUNT_OPENED, opened),
	})
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

// held refuses a right mass of a record with which one of these would weigh more than it
// can, and notes which part should weigh something else by it.
func (h History) held(record uint64, c *correctionv1.MassCorrected_Public) (*correctionv1.MassCorrected_Public, error) {
	was, before := h.asRight()
	is, after := append(slices.Clip(h), Record{Correction: &correctionv1.Event{Event: &correctionv1.Event_MassCorrected{
		MassCorrected: &correctionv1.MassCorrected{Public: c},
	}}}).asRight()
	for i, r := range is {
		now, already := r.above(), was[i].above()
		if now.out > max(0, already.out) {
			return nil, rule.Broken{
				Reason: rule.HeavierThanBefore, Field: "weighing.mass_ug", Value: measure.Mass(c.GetRight().GetMassUg()).GramsAndCarats(),
				Rule: fmt.Sprintf("with it %s more would have come out of the step at record %d than went in", measure.Mass(now.out), r.position), Hint: r.first(record),
			}
		}
		if now.in > max(0, already.in) {
			return nil, rule.Broken{
				Reason: rule.WeighingsDiffer, Field: "weighing.mass_ug", Value: measure.Mass(c.GetRight().GetMassUg()).GramsAndCarats(),
				Rule: fmt.Sprintf("with it what was weighed at record %d would be %s more, beyond what the scales allow, than it should weigh by then", r.position, measure.Mass(now.in)), Hint: r.first(record),
			}
		}
	}
	for _, part := range after.Parts {
		if old, _ := before.Part(part.Name); !proto.Equal(old.Due, part.Due) {
			c.DuePart, c.Due = part.Name, part.Due
		}
	}
	return c, nil
}

// righted is a record as if each mass of the history had been recorded right at once.
type righted struct {
	position uint64
	event    *piecev1.Event
	before   State
	from     uint64 // which record says what the part weighed before
}

// asRight is the history of that, and what it comes to.
func (h History) asRight() (all []righted, s State) {
	weighed := map[string]uint64{} // parts, and the record that says what they weigh
	for _, r := range h {
		if r.Event == nil {
			continue
		}
		now := righted{position: r.Position, event: h.righted(r, s), before: s}
		switch e := now.event.GetEvent().(type) {
		case *piecev1.Event_Described:
			weighed[e.Described.GetPublic().GetLabel()] = r.Position
		case *piecev1.Event_Worked:
			p := e.Worked.GetPublic()
			now.from = weighed[p.GetPart()]
			for _, out := range p.GetPartsOut() {
				if weighed[out.GetName()] = r.Position; p.GetNotWeighed() {
					weighed[out.GetName()] = now.from
				}
			}
		case *piecev1.Event_Finished:
			now.from, weighed[e.Finished.GetPublic().GetPart()] = weighed[e.Finished.GetPublic().GetPart()], r.Position
		case *piecev1.Event_Recut:
			now.from, weighed[e.Recut.GetPublic().GetPart()] = weighed[e.Recut.GetPublic().GetPart()], r.Position
		case *piecev1.Event_Counted:
			weighed[e.Counted.GetPublic().GetPart()] = r.Position
		case *piecev1.Event_MovedOn:
			now.from = weighed[e.MovedOn.GetPublic().GetPart()]
		case *piecev1.Event_Opened:
			now.from, weighed[s.Label] = weighed[s.Label], r.Position
		}
		all, s = append(all, now), Evolve(s, now.event)
	}
	return all, s
}

// righted is one event as it would have been recorded after s.
func (h History) righted(r Record, s State) *piecev1.Event {
	right := func(part string, wentIn bool, w *eventv1.Weighing) *eventv1.Weighing {
		for c := range h.corrected() {
			if c.GetFrom().GetRecord() == r.Position && c.GetPart() == part && c.GetWentIn() == wentIn {
				w = c.GetRight()
			}
		}
		return w
	}
	event := proto.CloneOf(r.Event)
	switch e := event.GetEvent().(type) {
	case *piecev1.Event_Described:
		p := e.Described.GetPublic()
		p.Weighing = right(p.GetLabel(), false, p.GetWeighing())
	case *piecev1.Event_Worked:
		p := e.Worked.GetPublic()
		if p.GetMassInNotWeighed() {
			part, _ := s.Part(p.GetPart())
			p.MassIn = part.Weighing
		} else {
			p.MassIn = right(p.GetPart(), true, p.GetMassIn())
		}
		p.LossUg = p.GetMassIn().GetMassUg()
		for _, out := range p.GetPartsOut() {
			if out.Weighing = right(out.GetName(), false, out.GetWeighing()); p.GetNotWeighed() {
				out.Weighing = p.GetMassIn()
			}
			p.LossUg -= out.GetWeighing().GetMassUg()
		}
	case *piecev1.Event_Finished:
		p := e.Finished.GetPublic()
		part, _ := s.Part(p.GetPart())
		p.MassIn, p.Stone = part.Weighing, right(p.GetPart(), false, p.GetStone())
		p.LossUg = p.GetMassIn().GetMassUg() - p.GetStone().GetMassUg()
	case *piecev1.Event_Recut:
		p := e.Recut.GetPublic()
		part, _ := s.Part(p.GetPart())
		p.MassIn, p.Stone = part.Weighing, right(p.GetPart(), false, p.GetStone())
		p.LossUg = p.GetMassIn().GetMassUg() - p.GetStone().GetMassUg()
	case *piecev1.Event_Counted:
		p := e.Counted.GetPublic()
		part, _ := s.Part(p.GetPart())
		p.Was, p.Weighing = part.Weighing, right(p.GetPart(), false, p.GetWeighing())
	case *piecev1.Event_MovedOn:
		p := e.MovedOn.GetPublic()
		p.Weighing = right(p.GetPart(), false, p.GetWeighing())
	case *piecev1.Event_Opened:
		p := e.Opened.GetPublic()
		p.Left = right(s.Label, false, p.GetLeft())
		for c := range h.corrected() {
			if at := c.GetTo(); at.GetAccount() == correctionv1.Account_ACCOUNT_OPENED && at.GetRecord() == r.Position {
				p.TakenUg += c.GetRight().GetMassUg() - c.GetWas().GetMassUg()
				p.TakenDivisionUg += c.GetRight().GetDivisionUg() - c.GetWas().GetDivisionUg()

			}
		}
	}
	return event
}

// excess is by how much a thing weighed more than there was of it, beyond what the scales
// allow: as it was weighed again, and as it came out of a step.
type excess struct{ in, out int64 }

// above holds a record to what the rules hold it to as it is recorded. Less is as it is:
// it is unexplained, and shown. So masses that are all wrong alike can be put right one by
// one, more from the first on and less from the last on. What a stock count finds is free.
func (r righted) above() (e excess) {
	again := func(name string, w *eventv1.Weighing) int64 {
		part, _ := r.before.Part(name)
		return w.GetMassUg() - part.Due.GetMassUg() - part.Due.GetDivisionUg() - w.GetDivisionUg()
	}
	switch event := r.event.GetEvent().(type) {
	case *piecev1.Event_Worked:
		p := event.Worked.GetPublic()
		if e.out = -p.GetLossUg(); !p.GetMassInNotWeighed() {
			e.in = again(p.GetPart(), p.GetMassIn())
		}
	case *piecev1.Event_Finished:
		e.out = -event.Finished.GetPublic().GetLossUg()
	case *piecev1.Event_Recut:
		e.out = -event.Recut.GetPublic().GetLossUg()
	case *piecev1.Event_MovedOn:
		e.in = again(event.MovedOn.GetPublic().GetPart(), event.MovedOn.GetPublic().GetWeighing())
	case *piecev1.Event_Opened:
		p := event.Opened.GetPublic()
		group, _ := r.before.Part(r.before.Label)
		e.in = p.GetTakenUg() + p.GetLeft().GetMassUg() - group.Weighing.GetMassUg() -
			(group.Weighing.GetDivisionUg()+p.GetTakenDivisionUg()+p.GetLeft().GetDivisionUg())/2
	}
	return e
}

// first says what must be put right before the record that was asked for.
func (r righted) first(asked uint64) string {
	if r.position != asked {
		return fmt.Sprintf("correct record %d first, where it is wrong too", r.position)
	}
	if p := r.event.GetWorked().GetPublic(); p != nil && !p.GetMassInNotWeighed() {
		return fmt.Sprintf("correct first what went into the step, or record %d, which says what it weighed before", r.from)
	}
	return fmt.Sprintf("correct record %d first, which says what it weighed before", r.from)
}

// Missing is by how much a stock count found less of a part than the books say, as is
// right now; ok is false where the record is no such count.
func (h History) Missing(record uint64) (ug int64, ok bool) {
	all, _ := h.asRight()
	for _, r := range all {
		if p := r.event.GetCounted().GetPublic(); r.position == record && p != nil {
			return p.GetWas().GetMassUg() - p.GetWeighing().GetMassUg(), true
		}
	}
	return 0, false
}

// LastOpened is the record at which the group was opened last, which its parcel's line
// says; 0: it never was.
func (h History) LastOpened() (position uint64) {
	for _, r := range h {
		if r.Event.GetOpened() != nil {
			position = r.Position
		}
	}
	return position
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
	if c.GetDuePart() != "" {
		s = s.with(c.GetDuePart(), func(part *Part) { part.Due = c.GetDue() })
	}
	if c.GetTo().GetAccount() == correctionv1.Account_ACCOUNT_THERE {
		return s.with(c.GetPart(), func(part *Part) { part.Weighing = c.GetRight() })
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
