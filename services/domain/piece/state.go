// Package piece holds a piece of rough, or a counted lot of chips, and the parts it is
// cut into.
//
// Deciding methods look at a State and return what happened or a refusal (package
// rule); Evolve assigns and never refuses. All of it is pure.
package piece

import (
	"cmp"
	"slices"

	"google.golang.org/protobuf/proto"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// State is a piece as far as has happened. Rules:
//
//  1. A piece is described once, by its seller, with its mass and kind; a single piece with its size.
//  2. Only a part that is there and in work is worked or finished; one on the shelf or kept as an off-cut is
//     placed back in work first, one that waits for a decision needs it first.
//  3. A counted lot of chips can't be worked as one piece.
//  4. A part weighed again differs from what it weighed as it came out of its step, less what was taken off
//     it since, by no more than the two scales' divisions, however often it is weighed; the difference to the
//     last weighing is unexplained. Only a stock count may find more (rule 17).
//  5. A step leaves no more mass than went in: loss = in − out.
//  6. Lost mass has a reason; kerf is a reason only for a saw.
//  7. A part's name is unique in its piece, for ever; one part of a step may keep the name of the part worked on.
//  8. Nothing is left of a part that is set aside.
//  9. A stone is not heavier than its part; the difference was ground off.
//  10. A part that became a stone stays one.
//  11. A piece has at most 500 parts in all, used-up ones included; a step leaves at most 50.
//  12. After shaping a part rests for the time that the co-op has set before it is sanded, polished or finished;
//     earlier needs a reason, and so does finishing a part whose shaping was never recorded.
//  13. A step is done at a moment that is not to come, and not before the part's last one.
//  14. What isn't weighed leaves a part under its name at its last mass; a step that parts it is weighed.
//  15. A plan keeps every revision; each after the first says why. One plan is chosen at a time, with a reason. A
//     dropped one stays as it was.
//  16. A part waits for a decision with a reason, and goes on with the decision said.
//  17. A stock count weighs a part, or the stone it became, again; all it differs by is unexplained.
//  18. A stone that is cut again is no heavier than before; what it lost has a reason.
//  19. Parts that were mixed up are of one parcel, and each stays marked, with all that is cut of it; mixed up once
//     more, it may be all that any of them may be.
//  20. Only rough that is cut no further just now (uncut, on the shelf or an off-cut) moves on into a new parcel or a
//     counted lot; it comes back to where it stood.
//  21. A decision between options has each valued for both ways it can come out, in one currency, the cutter's chance and a
//     reason. How it came out is said, and anew with a reason; not of what is the same either way.
//  22. What is taken out of a counted group and what is left make up its count; its mass as far as scales go.
//  23. Studies, plans, decisions and notes are their member's alone, after the deal fell through too; each has their own.
//
// At any time: mass as described = parts + stones + losses + unexplained + moved on.
//
// States are shared between goroutines: nothing that is reachable from one is ever
// changed.
type State struct {
	ID       string
	ParcelID string
	Label    string
	Weighing *eventv1.Weighing // as described
	Size     *eventv1.Size
	Kind     eventv1.Kind
	Count    uint32
	ClaimID  string // empty: the field is not shown
	FieldID  string
	// MayBeOf are the fields it may be of, where nobody knows which, an empty one for one
	// that is not shown: then ClaimID and FieldID are empty.
	MayBeOf []string

	SmallestUm, LargestUm int64  // of a counted lot, where measured
	OpenedFrom            string // the lot it was taken out of

	Seen   string
	Photos []*eventv1.Photo // as listed
	Origin *piecev1.Origin  // the part of an older piece that it is; nil: none

	Parts []Part   // those there are, those that became stones or moved on included
	Gone  []string // names of parts that were used up; no part gets one again

	Losses        Losses
	UnexplainedUg int64 // last weighing minus the next, added up
	OpenedUg      int64 // taken out of the group as pieces of their own

	papers byMember[Papers]
}

// Part is a part of the piece.
type Part struct {
	Name     string
	Weighing *eventv1.Weighing // of the stone, where it became one
	Fate     Fate
	StoneID  string // empty until it became a stone

	LastUs   int64 // when something was last done to it, Unix microseconds; 0: nothing with a moment
	ShapedUs int64 // when it was last shaped; 0: never

	Step  piecev1.Step         // the last one; 0: none
	Mixed []*piecev1.Candidate // which parts it may be; none: it is itself
	noted byMember[Noted]

	Was   Fate   // where it stood before it moved on
	LotID string // the counted lot it moved into
	NewID string // the piece it is in a new parcel
	// Due is what it should weigh, on the scale it was weighed on when it came to be: its
	// mass then, less the losses of steps since that left it in one. Weighing it again
	// doesn't change it, so small differences never add up.
	Due *eventv1.Weighing
}

// Shaped tells whether its shaping is recorded.
func (p Part) Shaped() bool { return p.ShapedUs != 0 }

// Fate is where a part stands.
type Fate int

// The fates. The first three have the numbers of the stored ones.
const (
	InWork Fate = iota + 1
	Shelf
	Offcut
	Stone
	Waiting
	MovedOn
)

func (f Fate) String() string {
	switch f {
	case InWork:
		return "in work"
	case Shelf:
		return "on the shelf"
	case Offcut:
		return "kept as an off-cut"
	case Stone:
		return "a finished stone"
	case Waiting:
		return "waiting for a decision"
	case MovedOn:
		return "moved on"
	}
	return "nowhere"
}

// Part finds a part by its name.
func (s State) Part(name string) (Part, bool) {
	i := s.index(name)
	if i < 0 {
		return Part{}, false
	}
	return s.Parts[i], true
}

func (s State) index(name string) int {
	return slices.IndexFunc(s.Parts, func(p Part) bool { return p.Name == name })
}

// Balance accounts for all of the piece's mass, in micrograms.
type Balance struct {
	Described, Finished, Offcut, Uncut, Loss, Unexplained, MovedOn int64
}

// Balance of the piece: Described = Finished + Offcut + Uncut + Loss + Unexplained +
// MovedOn. MovedOn is rough that went into a new parcel, a counted lot, or out of a
// group as pieces of their own, which account for it from then on.
func (s State) Balance() Balance {
	b := Balance{Described: s.Weighing.GetMassUg(), Unexplained: s.UnexplainedUg, MovedOn: s.OpenedUg}
	for _, p := range s.Parts {
		switch m := p.Weighing.GetMassUg(); p.Fate {
		case Stone:
			b.Finished += m
		case Offcut:
			b.Offcut += m
		case MovedOn:
			b.MovedOn += m
		default:
			b.Uncut += m
		}
	}
	for _, l := range s.Losses {
		b.Loss += l.MassUg
	}
	return b
}

// Evolve folds one event.
func Evolve(s State, event *piecev1.Event) State {
	switch e := event.GetEvent().(type) {
	case *piecev1.Event_Described:
		s.ClaimID, s.Seen = e.Described.GetPrivate().GetClaimId(), e.Described.GetPrivate().GetSeen()
		return described(s, e.Described.GetPublic())
	case *piecev1.Event_Worked:
		return worked(s, e.Worked)
	case *piecev1.Event_Placed:
		p := e.Placed.GetPublic()
		return s.with(p.GetPart(), func(part *Part) { part.Fate = Fate(p.GetFate()) })
	case *piecev1.Event_Finished:
		return finished(s, e.Finished)
	case *piecev1.Event_Studied:
		return s.withPapers(e.Studied.GetPrivate().GetMemberId(), func(p *Papers) {
			p.Studies = append(slices.Clip(p.Studies), e.Studied)
			p.keptBytes += proto.Size(e.Studied)
		})
	case *piecev1.Event_Planned, *piecev1.Event_PlanChosen, *piecev1.Event_PlanDropped:
		return evolvePlans(s, event)
	case *piecev1.Event_DecisionAwaited:
		p := e.DecisionAwaited
		return s.with(p.GetPublic().GetPart(), func(part *Part) {
			part.Fate = Waiting
			part.note(p.GetPrivate().GetMemberId(), func(n *Noted) { n.Waits = p.GetPrivate().GetReason() })
		})
	case *piecev1.Event_Decided:
		return s.with(e.Decided.GetPublic().GetPart(), func(part *Part) {
			part.Fate = InWork
			part.decided()
		})
	case *piecev1.Event_Counted:
		p := e.Counted.GetPublic()
		s.UnexplainedUg += p.GetWas().GetMassUg() - p.GetWeighing().GetMassUg()
		return s.with(p.GetPart(), func(part *Part) { part.Weighing, part.Due = p.GetWeighing(), p.GetWeighing() })
	case *piecev1.Event_Recut:
		p := e.Recut.GetPublic()
		s.Losses = s.Losses.with(p.GetReason(), p.GetLossUg())
		s = s.spent(e.Recut.GetPrivate().GetMemberId(), e.Recut.GetPrivate().GetMinutes())
		return s.with(p.GetPart(), func(part *Part) { part.Weighing, part.Due = p.GetStone(), p.GetStone() })
	case *piecev1.Event_MixedUp:
		p := e.MixedUp.GetPublic()
		return s.with(p.GetPart(), func(part *Part) { part.Mixed = mixed(part.Mixed, p.GetCandidates()) })
	case *piecev1.Event_MovedOn:
		p := e.MovedOn.GetPublic()
		if i := s.index(p.GetPart()); i >= 0 {
			s.UnexplainedUg += s.Parts[i].Weighing.GetMassUg() - p.GetWeighing().GetMassUg()
		}
		return s.with(p.GetPart(), func(part *Part) {
			part.Was, part.Fate, part.Weighing = part.Fate, MovedOn, p.GetWeighing()
			part.LotID, part.NewID = p.GetLotId(), p.GetNewPieceId()
		})
	case *piecev1.Event_TakenBack:
		p := e.TakenBack.GetPublic()
		return s.with(p.GetPart(), func(part *Part) {
			part.Fate, part.Was, part.LotID, part.NewID = Fate(p.GetFate()), 0, "", ""
		})
	case *piecev1.Event_Graded:
		p := e.Graded.GetPrivate()
		return s.with(e.Graded.GetPublic().GetPart(), func(part *Part) { part.note(p.GetMemberId(), func(n *Noted) { n.Grade = p }) })
	case *piecev1.Event_DecisionRecorded, *piecev1.Event_OutcomeRecorded:
		return evolveChoices(s, event)
	case *piecev1.Event_Opened:
		return opened(s, e.Opened.GetPublic())
	}
	return s
}

// with changes one part in a list of its own.
func (s State) with(name string, change func(*Part)) State {
	if i := s.index(name); i >= 0 {
		s.Parts = slices.Clone(s.Parts)
		change(&s.Parts[i])
	}
	return s
}

func described(s State, p *piecev1.Described_Public) State {
	s.ID, s.ParcelID, s.Label = p.GetPieceId(), p.GetParcelId(), p.GetLabel()
	s.Weighing, s.Size, s.Kind, s.Count = p.GetWeighing(), p.GetSize(), p.GetKind(), p.GetCount()
	s.FieldID, s.MayBeOf, s.Origin = p.GetFieldId(), p.GetMayBeOfFieldIds(), p.GetOrigin()
	s.Photos = p.GetPhotos()
	s.SmallestUm, s.LargestUm, s.OpenedFrom = p.GetSmallestUm(), p.GetLargestUm(), p.GetOpenedFrom()
	s.Parts = []Part{{Name: s.Label, Weighing: s.Weighing, Fate: InWork, Due: s.Weighing}}
	return s
}

// worked puts what a step left where the part was, so that parts stay in the order in
// which the piece came apart. What the part was marked with, its parts are.
func worked(s State, e *piecev1.Worked) State {
	p := e.GetPublic()
	i := s.index(p.GetPart())
	if i < 0 {
		return s
	}
	s.UnexplainedUg += s.Parts[i].Weighing.GetMassUg() - p.GetMassIn().GetMassUg()
	s.Losses = s.Losses.with(p.GetReason(), p.GetLossUg())
	private := e.GetPrivate()
	s = s.spent(private.GetMemberId(), private.GetMinutes())
	kept := false
	left := make([]Part, len(p.GetPartsOut()))
	for j, out := range p.GetPartsOut() {
		left[j] = s.Parts[i] // its rest, its marks
		left[j].Name, left[j].Weighing, left[j].Fate = out.GetName(), out.GetWeighing(), Fate(out.GetFate())
		left[j].Due = out.GetWeighing()
		left[j].LastUs, left[j].Step = p.GetDoneAtUs(), p.GetStep()
		if private.GetTray() != "" || private.GetDop() != "" {
			left[j].note(private.GetMemberId(), func(n *Noted) {
				n.Tray, n.Dop = cmp.Or(private.GetTray(), n.Tray), cmp.Or(private.GetDop(), n.Dop)
			})
		}
		if p.GetStep() == piecev1.Step_STEP_SHAPE {
			left[j].ShapedUs = p.GetDoneAtUs()
		}
		kept = kept || out.GetName() == p.GetPart()
	}
	if len(left) == 1 {
		due := s.Parts[i].Due
		left[0].Due = &eventv1.Weighing{MassUg: due.GetMassUg() - p.GetLossUg(), DivisionUg: due.GetDivisionUg()}
	}
	s.Parts = slices.Concat(s.Parts[:i], left, s.Parts[i+1:])
	if !kept {
		s.Gone = append(slices.Clip(s.Gone), p.GetPart())
	}
	return s
}

func finished(s State, e *piecev1.Finished) State {
	p := e.GetPublic()
	if i := s.index(p.GetPart()); i >= 0 {
		s.UnexplainedUg += s.Parts[i].Weighing.GetMassUg() - p.GetMassIn().GetMassUg()
	}
	s.Losses = s.Losses.with(piecev1.Reason_REASON_GROUND_OFF, p.GetLossUg())
	s = s.spent(e.GetPrivate().GetMemberId(), e.GetPrivate().GetMinutes())
	return s.with(p.GetPart(), func(part *Part) {
		part.Weighing, part.Due = p.GetStone(), p.GetStone()
		part.Fate, part.StoneID, part.LastUs = Stone, p.GetStoneId(), p.GetDoneAtUs()
	})
}

// Losses are what was lost, by reason in the order of the reasons.
type Losses []Loss

// Loss is mass lost for one reason.
type Loss struct {
	Reason piecev1.Reason
	MassUg int64
}

func (l Losses) find(reason piecev1.Reason) (at int, found bool) {
	return slices.BinarySearchFunc(l, reason, func(l Loss, reason piecev1.Reason) int { return cmp.Compare(l.Reason, reason) })
}

// Of is what was lost for a reason.
func (l Losses) Of(reason piecev1.Reason) int64 {
	if i, found := l.find(reason); found {
		return l[i].MassUg
	}
	return 0
}

// with adds to what was lost for a reason in a list of its own.
func (l Losses) with(reason piecev1.Reason, ug int64) Losses {
	if ug == 0 {
		return l
	}
	i, found := l.find(reason)
	if found {
		l = slices.Clone(l)
	} else {
		l = slices.Insert(slices.Clip(l), i, Loss{Reason: reason})
	}
	l[i].MassUg += ug
	return l
}
