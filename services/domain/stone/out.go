package stone

import (
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/rule"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// SizeToleranceUm is how far two measurements of one dimension may lie apart before
// they are of different stones: 0.1 mm, two readings of a caliper of 0.05 mm (common
// practice, no source).
const SizeToleranceUm = 100

// Difference is what two measurements of one stone disagree in: then it may be another
// stone.
type Difference struct{ Mass, Size bool }

// Differs holds two measurements of one stone together. Masses may lie apart by the
// divisions of both scales, dimensions by SizeToleranceUm.
func Differs(a, b *eventv1.Measured) Difference {
	apart := func(x, y, tolerance int64) bool { return max(x-y, y-x) > tolerance }
	wa, wb, sa, sb := a.GetWeighing(), b.GetWeighing(), a.GetSize(), b.GetSize()
	return Difference{
		Mass: apart(wa.GetMassUg(), wb.GetMassUg(), wa.GetDivisionUg()+wb.GetDivisionUg()),
		Size: apart(sa.GetLengthUm(), sb.GetLengthUm(), SizeToleranceUm) || apart(sa.GetWidthUm(), sb.GetWidthUm(), SizeToleranceUm) ||
			apart(sa.GetDepthUm(), sb.GetDepthUm(), SizeToleranceUm),
	}
}

// Measured is the stone as it was last measured, without a photo.
func (s State) Measured() *eventv1.Measured {
	return &eventv1.Measured{Weighing: s.Weighing, Size: s.Size}
}

// CheckMeasured notes what is missing of a measurement below a path.
func CheckMeasured(broken *rule.All, field string, m *eventv1.Measured, photo bool) {
	broken.Weighing(field+".weighing", m.GetWeighing())
	broken.Size(field+".size", m.GetSize())
	if n := len(m.GetPhoto().GetSha256()); photo && n != 32 || n != 0 && n != 32 {
		broken.Add(rule.Broken{Reason: rule.NotAnswered, Field: field + ".photo.sha256", Value: "missing", Rule: "the stone is photographed whenever it goes out or comes back", Hint: "give the SHA-256 of the photo, 32 bytes"})
	}
}

// SendOut gives the stone into the jeweller's hands (rules 7 and 9).
func (s State) SendOut(t Taking, approvalID string, m *eventv1.Measured, field string) (*stonev1.Event, error) {
	if err := s.may(t, field+".stone_id"); err != nil {
		return nil, err
	}
	var broken rule.All
	CheckMeasured(&broken, field, m, true)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &stonev1.Event{Event: &stonev1.Event_SentOut{SentOut: &stonev1.SentOut{
		Public:  &stonev1.SentOut_Public{StoneId: s.id(), Measured: m},
		Private: &stonev1.SentOut_Private{ApprovalId: approvalID, JewellerId: t.Jeweller, Price: s.Price},
	}}}, nil
}

// MayGoOut refuses where the jeweller can't have the stone on approval (rules 7 and 9).
func (s State) MayGoOut(t Taking, field string) error { return s.may(t, field) }

// KeepFromOut sells the stone to the jeweller it is with, at the price it went out with
// (rule 9). That the approval lets it is the approval's rule.
func (s State) KeepFromOut(approvalID, orderID string) (*stonev1.Event, error) {
	if err := s.outOn(approvalID, AtJeweller); err != nil {
		return nil, err
	}
	return s.soldTo(s.Out.Jeweller, orderID), nil
}

// ComeBack brings the stone back into stock (rule 10). Where it isn't as it went out,
// the event says so to anyone: it may be another stone.
func (s State) ComeBack(approvalID string, m *eventv1.Measured) (*stonev1.Event, error) {
	if err := s.outOn(approvalID, AtJeweller, Lost, Broken); err != nil {
		return nil, err
	}
	var broken rule.All
	CheckMeasured(&broken, "stone", m, true)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	differs := Differs(s.Measured(), m)
	return &stonev1.Event{Event: &stonev1.Event_CameBack{CameBack: &stonev1.CameBack{
		Public:  &stonev1.CameBack_Public{StoneId: s.id(), Measured: m, MassDiffers: differs.Mass, SizeDiffers: differs.Size},
		Private: &stonev1.CameBack_Private{ApprovalId: approvalID},
	}}}, nil
}

// Lose says that the stone is gone, or broke, at its cutter's cost (rule 9).
func (s State) Lose(approvalID string, broken bool) (*stonev1.Event, error) {
	if err := s.outOn(approvalID, AtJeweller); err != nil {
		return nil, err
	}
	if broken {
		return &stonev1.Event{Event: &stonev1.Event_Broken{Broken: &stonev1.Broken{
			Public: &stonev1.Broken_Public{StoneId: s.id()}, Private: &stonev1.Broken_Private{ApprovalId: approvalID},
		}}}, nil
	}
	return &stonev1.Event{Event: &stonev1.Event_Lost{Lost: &stonev1.Lost{
		Public: &stonev1.Lost_Public{StoneId: s.id()}, Private: &stonev1.Lost_Private{ApprovalId: approvalID},
	}}}, nil
}

func (s State) outOn(approvalID string, stages ...Stage) error {
	for _, stage := range stages {
		if s.Stage == stage && s.Out.ApprovalID == approvalID {
			return nil
		}
	}
	return rule.Broken{Reason: rule.StoneNotOut, Field: "stone_id", Value: s.id(), Rule: "the stone isn't out on this approval", Hint: "look at the approval's stones"}
}

// Return is what a stone is like that comes back.
type Return struct {
	Measured *eventv1.Measured
	Why      string
}

// Return takes a sold stone back into stock (rule 6). The order it came from is State's
// OrderID. Where it isn't as it was last measured, the event says so.
func (s State) Return(cutter string, r Return) (*stonev1.Event, error) {
	if s.Facts == nil || s.Facts.GetCutterId() != cutter {
		return nil, rule.NotThere("stone_id", "stone")
	}
	if s.Stage != Sold {
		return nil, rule.Broken{Reason: rule.StoneNotSold, Field: "stone_id", Value: s.id(), Rule: "only a sold stone comes back", Hint: "nothing needs to be done"}
	}
	m := r.Measured
	var broken rule.All
	broken.Weighing("weighing", m.GetWeighing())
	broken.Size("size", m.GetSize())
	broken.Text("why", r.Why, 500)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	differs := Differs(s.Measured(), m)
	return &stonev1.Event{Event: &stonev1.Event_Returned{Returned: &stonev1.Returned{
		Public:  &stonev1.Returned_Public{StoneId: s.id(), OrderId: s.OrderID, Weighing: m.GetWeighing(), Size: m.GetSize(), Photo: m.GetPhoto()},
		Private: &stonev1.Returned_Private{Why: r.Why, MassDiffers: differs.Mass, SizeDiffers: differs.Size},
	}}}, nil
}
