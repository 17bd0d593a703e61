// Package correction holds what was recorded wrong and put right. A correction is a
// thing of its own, which may wait for a second person; what it changes is an event in
// the stream of the thing that was recorded wrong, beside the record itself.
//
// Deciding methods look at a State and return what happened or a refusal (package
// rule); Evolve assigns and never refuses. All of it is pure.
package correction

import (
	"cmp"
	"fmt"

	"google.golang.org/protobuf/proto"

	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/stage"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
)

// State is a correction as far as has happened. Rules:
//
//  1. A correction names the position of the record that is wrong, the right fact, the person and a reason; it
//     changes something.
//  2. Where it would move money that was paid out already, it waits: a second person, stated to be another than
//     the first, confirms or refuses it, once. Anything else happens at once.
//  3. What it changes is what was right last: the record, or the newest correction of it. One that waited while
//     another of the same fact was made can only be refused.
//  4. What a stone or a piece was said to be is corrected by the member who said it, and always waits for a second
//     person: others may have dealt on that word.
//  5. A field that the seller didn't show stays so. One that was shown may turn out not to be known.
type State struct {
	ID         string
	Corrects   uint64 // position
	About      string // a stream
	Facts      Facts
	Reason     string
	ProposedBy string
	Stage      Stage
	DecidedBy  string // the second person; empty where none was needed
	Newest     uint64 // the newest correction of the same fact when it was asked for; 0: none
}

// Facts are what is right. One of Amount, Weighing, Size, Stone and Piece is set.
type Facts struct {
	Amount   *eventv1.Amount
	StoneID  string // the stone or lot whose price Amount is, or the stone that was sent; empty: Amount is a receipt or a cost
	Weighing *eventv1.Weighing
	Part     string            // which part's Weighing
	WentIn   bool              // it is what went into a step
	Total    *eventv1.Weighing // of the parcel, with the Weighing of a piece as listed
	Size     *eventv1.Size
	Stone    *correctionv1.StoneSaid
	Piece    *Piece
}

// Piece is what a piece is said to be, and where it comes from.
type Piece struct {
	Kind    eventv1.Kind
	ClaimID string // empty: the field is not shown

	ClaimStays bool // asked for: the claim as it was said
}

// Said reports whether the facts are somebody's word on what a thing is (rule 4).
func (f Facts) Said() bool { return f.Stone != nil || f.Piece != nil }

// Same reports whether two facts of the same record say the same.
func (f Facts) Same(o Facts) bool {
	return proto.Equal(f.Amount, o.Amount) && proto.Equal(f.Weighing, o.Weighing) && proto.Equal(f.Total, o.Total) && proto.Equal(f.Size, o.Size) &&
		proto.Equal(f.Stone, o.Stone) && (f.Piece == o.Piece || f.Piece != nil && o.Piece != nil && *f.Piece == *o.Piece)
}

// Stage is where a correction stands.
type Stage int

// The stages; the zero Stage is a correction that isn't there.
const (
	Waiting Stage = iota + 1
	Done
	Refused
)

// String is the stage as people say it.
func (s Stage) String() string {
	switch s {
	case Waiting:
		return "waits for a second person"
	case Done:
		return "done"
	case Refused:
		return "refused"
	}
	return ""
}

// Table is a correction's life.
var Table = stage.Table{
	Thing:  "correction",
	States: []string{"waits for a second person", "done", "refused"},
	Rows: []stage.Row{
		{From: stage.None, Do: "CoopService/CorrectAmount", By: "a bookkeeper", To: "done", If: "nobody was paid since", Needs: "a reason, and another amount than recorded", Moves: "the shares, by the difference"},
		{From: stage.None, Do: "CoopService/CorrectAmount", By: "a bookkeeper", To: "waits for a second person", If: "a party was paid since", Needs: "a reason, and another amount than recorded"},
		{From: stage.None, Do: "CoopService/CorrectMass", By: "a stock keeper", To: "done", Needs: "a reason, and another mass than recorded", Moves: "the parcel's mass balance"},
		{From: stage.None, Do: "CoopService/CorrectSize", By: "a stock keeper", To: "done", Needs: "a reason, and another size than recorded"},
		{From: stage.None, Do: "CoopService/CorrectStone", By: "its cutter", To: "waits for a second person", Needs: "a reason, and another word than recorded"},
		{From: stage.None, Do: "CoopService/CorrectPiece", By: "its seller", To: "waits for a second person", Needs: "a reason, and another claim or kind than recorded"},
		{From: "waits for a second person", Do: "CoopService/ConfirmCorrection", By: "an approver, who isn't the first person", To: "done", Moves: "the shares, by the difference, or the stock and all that comes of the piece"},
		{From: "waits for a second person", Do: "CoopService/RefuseCorrection", By: "an approver, who isn't the first person", To: "refused", Needs: "a reason"},
	},
}

// Proposal is what is said when a correction is asked for. Was is what is right so
// far.
type Proposal struct {
	ID           string
	Corrects     uint64
	About        string
	Was, Right   Facts
	Newest       uint64 // position of the newest correction of the same fact; 0: none
	Person       string
	Reason       string
	SecondNeeded bool
}

// Propose asks for the correction; where no second person is needed it is done too
// (rules 1 and 2).
func (s State) Propose(p Proposal) ([]*correctionv1.Event, error) {
	if s.ID != "" {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: s.ID, Rule: "a correction is asked for once", Hint: "look it up under this id"}
	}
	var broken rule.All
	broken.Text("reason", p.Reason, 200)
	p.Right.check(&broken, p.Was)
	if p.Was.Same(p.Right) {
		field := "corrects"
		if p.Right.Said() {
			field = "" // it is asked for by the thing, not by its record
		}
		broken.Add(rule.Broken{Reason: rule.SameAsRecorded, Field: field, Rule: "the books say this already", Hint: "nothing needs to be done"})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	events := []*correctionv1.Event{{Event: &correctionv1.Event_Proposed{Proposed: &correctionv1.Proposed{
		Public: &correctionv1.Proposed_Public{CorrectionId: p.ID, Corrects: p.Corrects},
		Private: &correctionv1.Proposed_Private{
			ProposedBy: p.Person, Reason: p.Reason, About: p.About, Amount: p.Right.Amount, StoneId: p.Right.StoneID,
			Part: p.Right.Part, WentIn: p.Right.WentIn, Weighing: p.Right.Weighing, Total: p.Right.Total, Size: p.Right.Size,
			SecondNeeded: p.SecondNeeded, Newest: p.Newest, Stone: p.Right.Stone, PieceKind: p.Right.Piece.kind(), ClaimId: p.Right.Piece.claim(),
		},
	}}}}
	if !p.SecondNeeded {
		events = append(events, confirmed(p.ID, ""))
	}
	return events, nil
}

func (f Facts) check(broken *rule.All, was Facts) {
	switch {
	case f.Amount != nil && was.Amount != nil:
		broken.Amount("amount", f.Amount)
		broken.Currency("amount", f.Amount, was.Amount.GetCurrency())
	case f.Weighing != nil && was.Weighing != nil:
		broken.Weighing("weighing", f.Weighing)
		for _, named := range []struct {
			field string
			other bool
		}{{"part", f.Part != was.Part}, {"went_in", f.WentIn != was.WentIn}, {"stone_id", f.StoneID != was.StoneID}} {
			if named.other {
				broken.Add(rule.Broken{Reason: rule.NothingToCorrect, Field: named.field, Rule: "it says nothing of the record at this position", Hint: "leave it out, or take the position of the record that it says something of"})
			}
		}
		if f.Total != nil && was.Total == nil {
			broken.Add(rule.Broken{Reason: rule.NothingToCorrect, Field: "total", Rule: "only with a piece as it was listed the parcel's total is corrected", Hint: "leave it out, or correct the parcel's listing by itself"})
		}
	case f.Size != nil && was.Size != nil:
		broken.Size("size", f.Size)
	case f.Stone != nil && was.Stone != nil:
		f.checkStone(broken, was.Stone)
	case f.Piece != nil && was.Piece != nil:
		broken.Answered("kind", int32(f.Piece.Kind), eventv1.Kind_name)
	default:
		broken.Add(rule.Broken{Reason: rule.NothingToCorrect, Field: "corrects", Rule: "the record at this position holds no such fact", Hint: "take the position of the record that is wrong from the thing's history"})
	}
}

// checkStone holds what is right against the words that are offered, and against what the
// record says at all: a stone that was cut again has the outline that was said then.
func (f Facts) checkStone(broken *rule.All, was *correctionv1.StoneSaid) {
	for _, said := range []struct {
		field      string
		was, right int32
		known      map[int32]string
	}{
		{"outline", int32(was.GetOutline()), int32(f.Stone.GetOutline()), stonev1.Outline_name},
		{"kind", int32(was.GetKind()), int32(f.Stone.GetKind()), eventv1.Kind_name},
		{"treatment", int32(was.GetTreatment()), int32(f.Stone.GetTreatment()), eventv1.Treatment_name},
		{"hydrophane", int32(was.GetHydrophane()), int32(f.Stone.GetHydrophane()), stonev1.Hydrophane_name},
		{"composite", int32(was.GetComposite()), int32(f.Stone.GetComposite()), stonev1.Composite_name},
	} {
		switch {
		case said.was != 0:
			broken.Answered(said.field, said.right, said.known)
		case said.right != 0:
			broken.Add(rule.Broken{
				Reason: rule.NothingToCorrect, Field: said.field, Value: said.known[said.right],
				Rule: "an outline was said anew as the stone was cut again, in another record than all else", Hint: "correct the outline by itself, and the rest by itself",
			})
		}
	}
}

// Over is f with what it leaves unsaid as it was.
func (f Facts) Over(was Facts) Facts {
	if f.Stone != nil && was.Stone != nil {
		right := proto.CloneOf(was.Stone)
		proto.Merge(right, f.Stone) // what is unspecified stays
		f.Stone = right
	}
	if f.Piece != nil && was.Piece != nil {
		right := Piece{Kind: cmp.Or(f.Piece.Kind, was.Piece.Kind), ClaimID: f.Piece.ClaimID}
		if f.Piece.ClaimStays {
			right.ClaimID = was.Piece.ClaimID
		}
		f.Piece = &right
	}
	return f
}

func (p *Piece) kind() (k eventv1.Kind) {
	if p != nil {
		k = p.Kind
	}
	return k
}

func (p *Piece) claim() (id string) {
	if p != nil {
		id = p.ClaimID
	}
	return id
}

// Confirm lets the correction happen by a second person (rules 2 and 3). stated are the
// persons who were stated to be another than they, newest is the position of the newest
// correction of the same fact.
func (s State) Confirm(person string, stated []string, newest uint64) (*correctionv1.Event, error) {
	if err := s.second(person, stated); err != nil {
		return nil, err
	}
	if newest != s.Newest {
		return nil, rule.Broken{
			Reason: rule.CorrectedSince, Field: "correction_id", Value: s.ID,
			Rule: fmt.Sprintf("record %d was corrected by record %d after this was asked for, and it was thought of what was right before", s.Corrects, newest),
			Hint: "refuse this one, and ask for another where the record is still wrong",
		}
	}
	return confirmed(s.ID, person), nil
}

// Refuse ends the correction without effect (rule 2).
func (s State) Refuse(person string, stated []string, reason string) (*correctionv1.Event, error) {
	if err := s.second(person, stated); err != nil {
		return nil, err
	}
	var broken rule.All
	broken.Text("reason", reason, 200)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &correctionv1.Event{Event: &correctionv1.Event_Refused{Refused: &correctionv1.Refused{
		Public: &correctionv1.Refused_Public{CorrectionId: s.ID}, Private: &correctionv1.Refused_Private{RefusedBy: person, Reason: reason},
	}}}, nil
}

func (s State) second(person string, stated []string) error {
	switch s.Stage {
	case 0:
		return rule.NotThere("correction_id", "correction")
	case Waiting:
		return rule.SecondPerson("correction_id", s.ProposedBy, person, stated)
	}
	return rule.Broken{Reason: rule.CorrectionStands, Field: "correction_id", Value: s.ID, Rule: "the correction is " + s.Stage.String(), Hint: "ask for another"}
}

func confirmed(id, by string) *correctionv1.Event {
	return &correctionv1.Event{Event: &correctionv1.Event_Confirmed{Confirmed: &correctionv1.Confirmed{
		Public: &correctionv1.Confirmed_Public{CorrectionId: id}, Private: &correctionv1.Confirmed_Private{ConfirmedBy: by},
	}}}
}

// Evolve folds one event.
func Evolve(s State, e *correctionv1.Event) State {
	switch e := e.GetEvent().(type) {
	case *correctionv1.Event_Proposed:
		p := e.Proposed.GetPrivate()
		s = State{
			ID: e.Proposed.GetPublic().GetCorrectionId(), Corrects: e.Proposed.GetPublic().GetCorrects(), About: p.GetAbout(), Reason: p.GetReason(),
			ProposedBy: p.GetProposedBy(), Stage: Waiting,
			Newest: p.GetNewest(),
			Facts: Facts{
				Amount: p.GetAmount(), StoneID: p.GetStoneId(), Part: p.GetPart(), WentIn: p.GetWentIn(), Weighing: p.GetWeighing(), Total: p.GetTotal(), Size: p.GetSize(),
				Stone: p.GetStone(),
			},
		}
		if kind := p.GetPieceKind(); kind != 0 {
			s.Facts.Piece = &Piece{Kind: kind, ClaimID: p.GetClaimId()}
		}
	case *correctionv1.Event_Confirmed:
		s.Stage, s.DecidedBy = Done, e.Confirmed.GetPrivate().GetConfirmedBy()
	case *correctionv1.Event_Refused:
		s.Stage, s.DecidedBy = Refused, e.Refused.GetPrivate().GetRefusedBy()
	}
	return s
}
