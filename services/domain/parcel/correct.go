package parcel

import (
	"maps"
	"slices"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	"seamshare.example/services/domain/rule"
)

// CorrectPaid refuses a correction of a receipt that would leave less than nothing or
// more than the price paid (rule 12).
func (s State) CorrectPaid(wasMinor, rightMinor int64) error {
	if after := s.PaidMinor - wasMinor + rightMinor; after < 0 || after > s.LastDeal().Agreement.GetPrice().GetMinor() {
		return rule.Broken{
			Reason: rule.AboveWhatIsOwed, Field: "amount", Value: s.money(rightMinor),
			Rule: "with it " + s.money(after) + " would be paid of a price of " + s.money(s.LastDeal().Agreement.GetPrice().GetMinor()), Hint: "look at the other receipts",
		}
	}
	return nil
}

// EvolveCorrection folds what a correction changes here.
func EvolveCorrection(s State, e *correctionv1.Event) State {
	switch e := e.GetEvent().(type) {
	case *correctionv1.Event_ReceiptCorrected:
		p := e.ReceiptCorrected.GetPrivate()
		s.PaidMinor += p.GetRight().GetMinor() - p.GetWas().GetMinor()
	case *correctionv1.Event_CostCorrected:
		p := e.CostCorrected.GetPrivate()
		costs := maps.Clone(s.Costs)
		if costs == nil {
			costs = map[string]int64{}
		}
		costs[p.GetKind()] += p.GetRight().GetMinor() - p.GetWas().GetMinor()
		s.Costs = costs
	case *correctionv1.Event_MassCorrected:
		p := e.MassCorrected.GetPublic()
		s.Lines = slices.Clone(s.Lines)
		for i := range s.Lines {
			if s.Lines[i].PieceID == p.GetPieceId() {
				s.Lines[i].Weighing = p.GetRight()
			}
		}
	}
	return s
}
