package piece

import (
	"fmt"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/rule"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// Move is where a part goes that leaves its parcel.
type Move struct {
	Member   string
	Part     string
	Weighing *eventv1.Weighing // as it leaves; nil: as last weighed
	// One of them: a new parcel, with the piece that the part is there, or a lot.
	ParcelID, NewPieceID, LotID string
}

// MoveOn takes a part out of its parcel (rules 4 and 20). What it weighed is the new
// parcel's or the lot's to account for from then on.
func (s State) MoveOn(m Move) (*piecev1.Event, error) {
	part, err := s.there(m.Part)
	if err != nil {
		return nil, err
	}
	if part.Fate != InWork && part.Fate != Shelf && part.Fate != Offcut {
		return nil, rule.Broken{Reason: rule.PartNotInWork, Field: "part", Value: m.Part, Rule: "the part is " + part.Fate.String(), Hint: "only uncut rough and off-cuts move on"}
	}
	weighing := m.Weighing
	if weighing == nil {
		weighing = part.Weighing
	}
	var broken rule.All
	broken.Weighing("weighing", weighing)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	checkAgain(&broken, "weighing.mass_ug", part, weighing)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &piecev1.Event{Event: &piecev1.Event_MovedOn{MovedOn: &piecev1.MovedOn{
		Public: &piecev1.MovedOn_Public{
			PieceId: s.ID, Part: m.Part, Weighing: weighing, Was: piecev1.Fate(part.Fate),
			ParcelId: m.ParcelID, NewPieceId: m.NewPieceID, LotId: m.LotID,
		},
		Private: &piecev1.MovedOn_Private{MemberId: m.Member},
	}}}, nil
}

// TakeBack brings a part back to where it stood (rule 20). That the parcel was
// withdrawn, or the lot unmade, is for whoever calls it to know.
func (s State) TakeBack(member, name string) (*piecev1.Event, error) {
	part, err := s.there(name)
	if err != nil {
		return nil, err
	}
	if part.Fate != MovedOn {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Field: "part", Value: name, Rule: "the part is " + part.Fate.String() + " and didn't move on", Hint: "nothing needs to be done"}
	}
	return &piecev1.Event{Event: &piecev1.Event_TakenBack{TakenBack: &piecev1.TakenBack{
		Public:  &piecev1.TakenBack_Public{PieceId: s.ID, Part: name, Fate: piecev1.Fate(part.Was)},
		Private: &piecev1.TakenBack_Private{MemberId: member},
	}}}, nil
}

// Opening takes pieces out of a counted group.
type Opening struct {
	Member string
	Taken  []*eventv1.Weighing // one for each piece taken out
	Count  uint32              // stones in them, one for a piece
	Left   *eventv1.Weighing   // nil: nothing is left
}

// Open takes pieces out of a counted group (rule 22). Each piece taken out is described
// by itself in a stream of its own.
func (s State) Open(o Opening) (*piecev1.Event, error) {
	group, err := s.there(s.Label)
	if err != nil {
		return nil, err
	}
	if s.Count < 2 {
		return nil, rule.Broken{Reason: rule.CountInvalid, Field: "piece_id", Value: s.ID, Rule: "it is one piece, not a counted group", Hint: "work it as it is"}
	}
	if group.Fate != InWork && group.Fate != Shelf {
		return nil, rule.Broken{Reason: rule.PartNotInWork, Field: "piece_id", Value: s.ID, Rule: "the group is " + group.Fate.String(), Hint: "take it back first"}
	}
	var broken rule.All
	if len(o.Taken) < 1 || o.Count < uint32(len(o.Taken)) || o.Count > s.Count || (o.Count == s.Count) != (o.Left == nil) {
		broken.Add(rule.Broken{
			Reason: rule.CountInvalid, Field: "pieces", Value: fmt.Sprint(o.Count),
			Rule: fmt.Sprintf("what is taken out and what is left make up the group's %d", s.Count), Hint: "count again; weigh what is left unless nothing is",
		})
	}
	allowed := measure.Mass(group.Weighing.GetDivisionUg())
	var taken, division, left int64
	for i, w := range o.Taken {
		broken.Weighing(fmt.Sprintf("pieces[%d].weighing", i), w)
		taken += w.GetMassUg()
		division += w.GetDivisionUg()
	}
	allowed += measure.Mass(division)
	if o.Left != nil {
		broken.Weighing("left", o.Left)
		left = o.Left.GetMassUg()
		allowed += measure.Mass(o.Left.GetDivisionUg())
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	was, sum := measure.Mass(group.Weighing.GetMassUg()), measure.Mass(taken+left)
	if apart := max(was-sum, sum-was); apart > allowed/2 {
		return nil, rule.Broken{
			Reason: rule.MassesDontAddUp, Field: "left", Value: measure.Mass(left).String(),
			Rule: fmt.Sprintf("the pieces and what is left weigh %s together, %s from the group's %s, where the scale allows %s", sum, apart, was, allowed/2), Hint: "weigh again",
		}
	}
	return &piecev1.Event{Event: &piecev1.Event_Opened{Opened: &piecev1.Opened{
		Public:  &piecev1.Opened_Public{PieceId: s.ID, TakenUg: taken, TakenDivisionUg: division, TakenCount: o.Count, LeftCount: s.Count - o.Count, Left: o.Left},
		Private: &piecev1.Opened_Private{MemberId: o.Member},
	}}}, nil
}

// opened leaves the group lighter: what was taken out is accounted for by pieces of
// their own.
func opened(s State, p *piecev1.Opened_Public) State {
	i := s.index(s.Label)
	if i < 0 {
		return s
	}
	s.OpenedUg += p.GetTakenUg()
	s.UnexplainedUg += s.Parts[i].Weighing.GetMassUg() - p.GetTakenUg() - p.GetLeft().GetMassUg()
	s.Count = p.GetLeftCount()
	if s.Count > 0 {
		return s.with(s.Label, func(part *Part) { part.Weighing, part.Due = p.GetLeft(), p.GetLeft() })
	}
	s.Gone = append(s.Gone[:len(s.Gone):len(s.Gone)], s.Label)
	s.Parts = append(s.Parts[:i:i], s.Parts[i+1:]...)
	return s
}
