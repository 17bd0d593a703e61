package piece

import (
	"fmt"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/rule"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// Place moves a part between work, shelf and off-cuts (rules 2 and 10). A counted lot
// may be placed too.
func (s State) Place(member, name string, fate Fate, why string) (*piecev1.Event, error) {
	part, err := s.there(name)
	if err != nil {
		return nil, err
	}
	switch {
	case fate < InWork || fate > Offcut:
		return nil, rule.Broken{Reason: rule.FieldInvalid, Field: "fate", Value: fate.String(), Rule: "a part goes to work, to the shelf or to the off-cuts", Hint: "finish a stone with its own step"}
	case part.Fate == Stone:
		return nil, rule.Broken{Reason: rule.PartNotInWork, Field: "part", Value: name, Rule: "the part is " + part.Fate.String() + ", and stays one", Hint: "choose another part"}
	case part.Fate == fate:
		return nil, rule.Broken{Reason: rule.AlreadyThere, Field: "fate", Value: fate.String(), Rule: "the part is there already", Hint: "nothing needs to be done"}
	}
	return &piecev1.Event{Event: &piecev1.Event_Placed{Placed: &piecev1.Placed{
		Public:  &piecev1.Placed_Public{PieceId: s.ID, Part: name, Fate: piecev1.Fate(fate), Why: why},
		Private: &piecev1.Placed_Private{MemberId: member},
	}}}, nil
}

// Finish makes a stone of a part; what the part weighed more was ground off (rules 2,
// 3, 9 and 10).
func (s State) Finish(member, name, stoneID string, stone *eventv1.Weighing) (*piecev1.Event, error) {
	part, err := s.inWork(name)
	if err != nil {
		return nil, err
	}
	var broken rule.All
	broken.Weighing("weighing", stone)
	in, out := part.Weighing.GetMassUg(), stone.GetMassUg()
	if out > in {
		broken.Add(rule.Broken{
			Reason: rule.HeavierThanBefore, Field: "weighing.mass_ug", Value: measure.Mass(out).GramsAndCarats(),
			Rule: fmt.Sprintf("a stone is not heavier than its part, and part %s weighs %s", name, measure.Mass(in)), Hint: "check the part's name and both weighings",
		})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &piecev1.Event{Event: &piecev1.Event_Finished{Finished: &piecev1.Finished{
		Public:  &piecev1.Finished_Public{PieceId: s.ID, Part: name, StoneId: stoneID, MassIn: part.Weighing, Stone: stone, LossUg: in - out},
		Private: &piecev1.Finished_Private{MemberId: member},
	}}}, nil
}
