// Package piece holds a piece of rough, or a counted lot of chips, and the parts it is
// cut into.
//
// Deciding methods look at a State and return what happened or a refusal (package
// rule); Evolve assigns and never refuses. All of it is pure.
package piece

import (
	"maps"
	"slices"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// State is a piece as far as has happened. Rules:
//
//  1. A piece is described once, by its seller, with its mass and kind; a single piece with its size.
//  2. Only a part that is there and in work is worked, placed or finished; one on the shelf or kept as an
//     off-cut is placed back in work first.
//  3. A counted lot of chips can't be worked as one piece.
//  4. A part weighed again differs from what it weighed as it came out of its step, less what was taken off
//     it since, by no more than the two scales' divisions, however often it is weighed; the difference to the
//     last weighing is unexplained.
//  5. A step leaves no more mass than went in: loss = in − out.
//  6. Lost mass has a reason; kerf is a reason only for a saw.
//  7. A part's name is unique in its piece, for ever; one part of a step may keep the name of the part worked on.
//  8. Nothing is left of a part that is set aside.
//  9. A stone is not heavier than its part; the difference was ground off.
//  10. A part that became a stone stays one.
//  11. A piece has at most 500 parts in all, used-up ones included; a step leaves at most 50.
//
// At any time: mass as described = parts + stones + losses + unexplained.
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
	Seen     string

	Parts []Part   // those there are, those that became stones included
	Gone  []string // names of parts that were used up; no part gets one again

	LossUg        map[piecev1.Reason]int64
	UnexplainedUg int64 // last weighing minus the next, added up
}

// Part is a part of the piece.
type Part struct {
	Name     string
	Weighing *eventv1.Weighing // of the stone, where it became one
	Fate     Fate
	StoneID  string // empty until it became a stone

	// Due is what it should weigh, on the scale it was weighed on when it came to be: its
	// mass then, less the losses of steps since that left it in one. Weighing it again
	// doesn't change it, so small differences never add up.
	Due *eventv1.Weighing
}

// Fate is where a part stands.
type Fate int

// The fates. The first three have the numbers of the stored ones.
const (
	InWork Fate = iota + 1
	Shelf
	Offcut
	Stone
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
	Described, Finished, Offcut, Uncut, Loss, Unexplained int64
}

// Balance of the piece: Described = Finished + Offcut + Uncut + Loss + Unexplained.
func (s State) Balance() Balance {
	b := Balance{Described: s.Weighing.GetMassUg(), Unexplained: s.UnexplainedUg}
	for _, p := range s.Parts {
		switch m := p.Weighing.GetMassUg(); p.Fate {
		case Stone:
			b.Finished += m
		case Offcut:
			b.Offcut += m
		default:
			b.Uncut += m
		}
	}
	for _, m := range s.LossUg {
		b.Loss += m
	}
	return b
}

// Evolve folds one event.
func Evolve(s State, e *piecev1.Event) State {
	switch e := e.GetEvent().(type) {
	case *piecev1.Event_Described:
		s.ClaimID = e.Described.GetPrivate().GetClaimId()
		return described(s, e.Described.GetPublic())
	case *piecev1.Event_Worked:
		return worked(s, e.Worked.GetPublic())
	case *piecev1.Event_Placed:
		p := e.Placed.GetPublic()
		s.Parts = slices.Clone(s.Parts)
		if i := s.index(p.GetPart()); i >= 0 {
			s.Parts[i].Fate = Fate(p.GetFate())
		}
	case *piecev1.Event_Finished:
		p := e.Finished.GetPublic()
		s.Parts = slices.Clone(s.Parts)
		if i := s.index(p.GetPart()); i >= 0 {
			s.UnexplainedUg += s.Parts[i].Weighing.GetMassUg() - p.GetMassIn().GetMassUg()
			s.Parts[i] = Part{Name: p.GetPart(), Weighing: p.GetStone(), Fate: Stone, StoneID: p.GetStoneId()}
		}
		s.LossUg = lost(s.LossUg, piecev1.Reason_REASON_GROUND_OFF, p.GetLossUg())
	}
	return s
}

func described(s State, p *piecev1.Described_Public) State {
	s.ID, s.ParcelID, s.Label = p.GetPieceId(), p.GetParcelId(), p.GetLabel()
	s.Weighing, s.Size, s.Kind, s.Count = p.GetWeighing(), p.GetSize(), p.GetKind(), p.GetCount()
	s.FieldID, s.Seen = p.GetFieldId(), p.GetSeen()
	s.Parts = []Part{{Name: s.Label, Weighing: s.Weighing, Fate: InWork, Due: s.Weighing}}
	return s
}

// worked puts what a step left where the part was, so that parts stay in the order in
// which the piece came apart.
func worked(s State, p *piecev1.Worked_Public) State {
	i := s.index(p.GetPart())
	if i < 0 {
		return s
	}
	s.UnexplainedUg += s.Parts[i].Weighing.GetMassUg() - p.GetMassIn().GetMassUg()
	s.LossUg = lost(s.LossUg, p.GetReason(), p.GetLossUg())
	kept := false
	left := make([]Part, len(p.GetPartsOut()))
	for j, out := range p.GetPartsOut() {
		left[j] = Part{Name: out.GetName(), Weighing: out.GetWeighing(), Fate: Fate(out.GetFate()), Due: out.GetWeighing()}
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

func lost(before map[piecev1.Reason]int64, reason piecev1.Reason, ug int64) map[piecev1.Reason]int64 {
	if ug == 0 {
		return before
	}
	after := maps.Clone(before)
	if after == nil {
		after = map[piecev1.Reason]int64{}
	}
	after[reason] += ug
	return after
}
