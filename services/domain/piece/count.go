package piece

import (
	"fmt"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/rule"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// Counting is what a stock keeper weighed at a stock count, or a cutter as a stone came
// back.
type Counting struct {
	CountID, Person, Note string // no count where a stone came back
	Part                  string
	Weighing              *eventv1.Weighing
}

// Recount weighs a part, or the stone that it became, again at a stock count or as the
// stone comes back from a jeweller: all that it differs by is unexplained (rule 17). A part that moved on is counted where it is.
// Whoever counts a stone records the same weighing with the stone (stone.State.Recount).
func (s State) Recount(c Counting) (*piecev1.Event, error) {
	part, err := s.there(c.Part)
	if err != nil {
		return nil, err
	}
	if part.Fate == MovedOn {
		return nil, rule.Broken{Reason: rule.PartNotInWork, Field: "part", Value: c.Part, Rule: "the part moved on", Hint: "count it where it is"}
	}
	var broken rule.All
	broken.Weighing("weighing", c.Weighing)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &piecev1.Event{Event: &piecev1.Event_Counted{Counted: &piecev1.Counted{
		Public:  &piecev1.Counted_Public{PieceId: s.ID, Part: c.Part, StoneId: part.StoneID, Was: part.Weighing, Weighing: c.Weighing},
		Private: &piecev1.Counted_Private{CountId: c.CountID, PersonId: c.Person, Note: c.Note},
	}}}, nil
}

// Recutting is what cutting a stone again took off it.
type Recutting struct {
	Member  string
	StoneID string
	Stone   *eventv1.Weighing // after
	Reason  piecev1.Reason
	Minutes uint32
}

// Recut records what a stone lost as it was cut again (rules 6 and 18). The stone's new
// facts are its own (stone.State.Recut).
func (s State) Recut(r Recutting) (*piecev1.Event, error) {
	var part Part
	for _, p := range s.Parts {
		if p.StoneID == r.StoneID && r.StoneID != "" {
			part = p
		}
	}
	if part.Name == "" {
		return nil, rule.NotThere("stone_id", "stone")
	}
	var broken rule.All
	broken.Weighing("weighing", r.Stone)
	checkMinutes(&broken, r.Minutes)
	in, out := part.Weighing.GetMassUg(), r.Stone.GetMassUg()
	if out > in {
		broken.Add(rule.Broken{
			Reason: rule.HeavierThanBefore, Field: "weighing.mass_ug", Value: measure.Mass(out).GramsAndCarats(),
			Rule: fmt.Sprintf("a stone that is cut again is no heavier than the %s it had", measure.Mass(in).GramsAndCarats()), Hint: "weigh it again, dry",
		})
	}
	reason := r.Reason
	if _, known := piecev1.Reason_name[int32(reason)]; !known || out < in && reason == piecev1.Reason_REASON_UNSPECIFIED {
		broken.Add(rule.Broken{Reason: rule.LossNeedsReason, Field: "reason", Value: "missing", Rule: fmt.Sprintf("%s was lost, and lost mass has a reason", measure.Mass(in-out)), Hint: "say why, as a chipped edge or ground off"})
	}
	if out < in && reason == piecev1.Reason_REASON_KERF {
		broken.Add(rule.Broken{Reason: rule.KerfWithoutSaw, Field: "reason", Value: "kerf", Rule: "only a saw has a kerf", Hint: "name another reason"})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	if in == out {
		reason = piecev1.Reason_REASON_UNSPECIFIED
	}
	return &piecev1.Event{Event: &piecev1.Event_Recut{Recut: &piecev1.Recut{
		Public: &piecev1.Recut_Public{
			PieceId: s.ID, Part: part.Name, StoneId: r.StoneID, MassIn: part.Weighing, Stone: r.Stone, LossUg: in - out, Reason: reason,
		},
		Private: &piecev1.Recut_Private{MemberId: r.Member, Minutes: r.Minutes},
	}}}, nil
}
