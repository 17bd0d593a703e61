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
	case part.Fate == Waiting:
		return nil, rule.Broken{Reason: rule.PartNotInWork, Field: "part", Value: name, Rule: "the part is waiting for a decision", Hint: "say what was decided first"}
	case part.Fate == MovedOn:
		return nil, rule.Broken{Reason: rule.PartNotInWork, Field: "part", Value: name, Rule: "the part moved on", Hint: "take it back from there first"}
	case part.Fate == fate:
		return nil, rule.Broken{Reason: rule.AlreadyThere, Field: "fate", Value: fate.String(), Rule: "the part is there already", Hint: "nothing needs to be done"}
	}
	return &piecev1.Event{Event: &piecev1.Event_Placed{Placed: &piecev1.Placed{
		Public:  &piecev1.Placed_Public{PieceId: s.ID, Part: name, Fate: piecev1.Fate(fate)},
		Private: &piecev1.Placed_Private{MemberId: member, Why: why},
	}}}, nil
}

// Finishing makes a stone of a part.
type Finishing struct {
	Member  string
	Part    string
	StoneID string
	Stone   *eventv1.Weighing
	Minutes uint32 // at the bench since the last step
	When    When
}

// Finish makes a stone of a part; what the part weighed more was ground off (rules 2,
// 3, 9, 10, 12 and 13).
func (s State) Finish(f Finishing) (*piecev1.Event, error) {
	part, err := s.inWork(f.Part)
	if err != nil {
		return nil, err
	}
	var broken rule.All
	broken.Weighing("weighing", f.Stone)
	in, out := part.Weighing.GetMassUg(), f.Stone.GetMassUg()
	if out > in {
		broken.Add(rule.Broken{
			Reason: rule.HeavierThanBefore, Field: "weighing.mass_ug", Value: measure.Mass(out).GramsAndCarats(),
			Rule: fmt.Sprintf("a stone is not heavier than its part, and part %s weighs %s", f.Part, measure.Mass(in)), Hint: "check the part's name and both weighings",
		})
	}
	checkMinutes(&broken, f.Minutes)
	f.When.check(&broken, part)
	rested := f.When.checkRest(&broken, part)
	if !part.Shaped() && f.When.WhyEarly == "" && f.When.Rest > 0 {
		broken.Add(rule.Broken{
			Reason: rule.NotRested, Field: "why_early", Value: "missing",
			Rule: fmt.Sprintf("no shaping of part %s is recorded, so that nobody knows whether it rested the %s that are set", f.Part, hours(f.When.Rest)),
			Hint: "record its shaping and let it rest, or say why it is finished without",
		})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	unknown := !part.Shaped() && f.When.Rest > 0
	whyEarly := f.When.WhyEarly
	if rested == 0 && !unknown {
		whyEarly = ""
	}
	return &piecev1.Event{Event: &piecev1.Event_Finished{Finished: &piecev1.Finished{
		Public: &piecev1.Finished_Public{
			PieceId: s.ID, Part: f.Part, StoneId: f.StoneID, MassIn: part.Weighing, Stone: f.Stone, LossUg: in - out,
			DoneAtUs: f.When.us(), RestedS: rested, RestNotKnown: unknown,
		},
		Private: &piecev1.Finished_Private{MemberId: f.Member, WhyEarly: whyEarly, Minutes: f.Minutes},
	}}}, nil
}
