package piece

import (
	"fmt"
	"slices"

	"seamshare.example/services/domain/rule"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// AwaitDecision lets a part wait, whatever else is done with the piece (rule 16).
func (s State) AwaitDecision(member, name, reason string) (*piecev1.Event, error) {
	part, err := s.there(name)
	if err != nil {
		return nil, err
	}
	if part.Fate != InWork && part.Fate != Shelf {
		return nil, rule.Broken{Reason: rule.PartNotInWork, Field: "part", Value: name, Rule: "the part is " + part.Fate.String(), Hint: "only a part in work or on the shelf waits"}
	}
	var broken rule.All
	broken.Text("reason", reason, 500)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &piecev1.Event{Event: &piecev1.Event_DecisionAwaited{DecisionAwaited: &piecev1.DecisionAwaited{
		Public:  &piecev1.DecisionAwaited_Public{PieceId: s.ID, Part: name},
		Private: &piecev1.DecisionAwaited_Private{MemberId: member, Reason: reason},
	}}}, nil
}

// Decide puts a part that waited back in work (rule 16).
func (s State) Decide(member, name, decision string) (*piecev1.Event, error) {
	part, err := s.there(name)
	if err != nil {
		return nil, err
	}
	if part.Fate != Waiting {
		return nil, rule.Broken{Reason: rule.NothingToDecide, Field: "part", Value: name, Rule: "the part is " + part.Fate.String() + " and waits for nothing", Hint: "nothing needs to be done"}
	}
	var broken rule.All
	broken.Text("decision", decision, 500)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &piecev1.Event{Event: &piecev1.Event_Decided{Decided: &piecev1.Decided{
		Public:  &piecev1.Decided_Public{PieceId: s.ID, Part: name},
		Private: &piecev1.Decided_Private{MemberId: member, Decision: decision},
	}}}, nil
}

// Mixable gives the part as one that may have been mixed up with others: which parts it
// may be, itself first, then those it was mixed up with before (rule 19). A stone may
// have been too, a part that moved on isn't at the bench any more.
func (s State) Mixable(name string) ([]*piecev1.Candidate, error) {
	part, err := s.there(name)
	if err != nil {
		return nil, err
	}
	if part.Fate == MovedOn {
		return nil, rule.Broken{Reason: rule.PartNotInWork, Field: "part", Value: name, Rule: "the part moved on", Hint: "take it back first, or leave it out"}
	}
	return mixed([]*piecev1.Candidate{{PieceId: s.ID, Label: s.Label, Part: name}}, part.Mixed), nil
}

// Between is which parts each of several may be that were mixed up: all that any of them
// may be (rule 19).
func Between(parts [][]*piecev1.Candidate) ([]*piecev1.Candidate, error) {
	if len(parts) < 2 || len(parts) > MaxMixed {
		return nil, rule.Broken{Reason: rule.CountInvalid, Field: "parts", Value: fmt.Sprintf("%d parts", len(parts)), Rule: fmt.Sprintf("a mix-up is between 2 to %d parts", MaxMixed), Hint: "name all that were mixed up, each once"}
	}
	var all []*piecev1.Candidate
	for _, may := range parts {
		all = mixed(all, may)
	}
	return all, nil
}

// MixUp is an honest word: part may be any of the candidates of Between, its own among
// them (rule 19). It is recorded in the piece of each; that all are of one parcel is for the
// caller to see to.
func (s State) MixUp(member, mixID, name string, candidates []*piecev1.Candidate, note string) (*piecev1.Event, error) {
	may, err := s.Mixable(name)
	if err != nil {
		return nil, err
	}
	var broken rule.All
	if len(candidates) < 2 || len(mixed(candidates, may)) > len(candidates) {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "parts", Value: fmt.Sprintf("%d parts", len(candidates)), Rule: "a part that was mixed up may be two parts or more: itself, and all that it may have been before", Hint: "name all that it may be, each once"})
	}
	broken.Text("note", note, 500)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &piecev1.Event{Event: &piecev1.Event_MixedUp{MixedUp: &piecev1.MixedUp{
		Public:  &piecev1.MixedUp_Public{PieceId: s.ID, Part: name, MixId: mixID, Candidates: candidates},
		Private: &piecev1.MixedUp_Private{MemberId: member, Note: note},
	}}}, nil
}

// MaxMixed is how many parts one mix-up names.
const MaxMixed = 20

func same(a, b *piecev1.Candidate) bool {
	return a.GetPieceId() == b.GetPieceId() && a.GetPart() == b.GetPart()
}

// mixed joins what a part may be by two mix-ups.
func mixed(before, more []*piecev1.Candidate) []*piecev1.Candidate {
	out := slices.Clip(before)
	for _, c := range more {
		if !slices.ContainsFunc(out, func(o *piecev1.Candidate) bool { return same(o, c) }) {
			out = append(out, c)
		}
	}
	return out
}
