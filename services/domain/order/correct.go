package order

import (
	"slices"

	"google.golang.org/protobuf/proto"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	"seamshare.example/services/domain/rule"
)

// CorrectPaid refuses a correction of a receipt that would leave less than nothing or
// more than the prices paid (rule 2).
func (s State) CorrectPaid(wasMinor, rightMinor int64) error {
	if change := rightMinor - wasMinor; change > s.Open() || change < -s.Paid() {
		return rule.Broken{
			Reason: rule.AboveWhatIsOwed, Field: "amount", Value: s.money(rightMinor),
			Rule: "with it " + s.money(s.Paid()+change) + " would be paid, where " + s.money(s.Paid()) + " is paid and " + s.money(s.Open()) + " is open", Hint: "look at the other receipts and refunds",
		}
	}
	return nil
}

// CorrectRefund refuses a correction of a refund to more than was to be paid back for the
// line (rule 5). What wasn't paid back after all is to be paid back again.
func (s State) CorrectRefund(id string, wasMinor, rightMinor int64) error {
	l, ok := s.Line(id)
	if !ok {
		return rule.NotThere("corrects", "refund of this order")
	}
	if most := wasMinor + l.RefundDue(); rightMinor > most {
		return rule.Broken{
			Reason: rule.AboveWhatIsOwed, Field: "amount", Value: s.money(rightMinor),
			Rule: "no more than " + s.money(most) + " was to be paid back for it", Hint: "look at the receipts",
		}
	}
	return nil
}

// CorrectPrice refuses a price that, with what was taken off it since, is below what was
// paid of the stone and stays, or is of a stone that came back. rightMinor is the price
// that it was sold at.
func (s State) CorrectPrice(stoneID string, rightMinor int64) error {
	l, ok := s.Line(stoneID)
	switch {
	case !ok:
		return rule.NotThere("stone_id", "stone in this order")
	case l.Returned:
		return rule.Broken{Reason: rule.AlreadyThere, Field: "stone_id", Value: stoneID, Rule: "the stone came back, and its price counts nowhere", Hint: "nothing needs to be done"}
	case rightMinor < max(1, l.Reduced+l.Paid-l.RefundDue()):
		return rule.Broken{
			Reason: rule.AboveWhatIsOwed, Field: "amount", Value: s.money(rightMinor),
			Rule: s.money(l.Paid-l.RefundDue()) + " is paid of this stone and " + s.money(l.Reduced) + " was taken off its price since; a price is no less than both, nor nothing", Hint: "correct the receipt first",
		}
	}
	return nil
}

// EvolveCorrection folds what a correction changes here. What was taken off a price stays
// off the right one. More money covers the stones
// in their order, as a payment does; less is taken from the last that are covered.
func EvolveCorrection(s State, e *correctionv1.Event) State {
	switch e := e.GetEvent().(type) {
	case *correctionv1.Event_ReceiptCorrected:
		p := e.ReceiptCorrected.GetPrivate()
		change := p.GetRight().GetMinor() - p.GetWas().GetMinor()
		s.Lines = slices.Clone(s.Lines)
		if change > 0 {
			for i, part := range Spread(s.Lines, change) {
				s.Lines[i].Paid += part
			}
			return s
		}
		for i := len(s.Lines) - 1; i >= 0; i-- {
			back := min(-change, s.Lines[i].Paid)
			s.Lines[i].Paid -= back
			change += back
		}
	case *correctionv1.Event_RefundCorrected:
		p := e.RefundCorrected.GetPrivate()
		s.change(p.GetLineId(), func(l *Line) {
			l.Paid += p.GetWas().GetMinor() - p.GetRight().GetMinor()
			l.Refunded = l.Returned && l.Paid == 0
		})
	case *correctionv1.Event_PriceCorrected:
		p := e.PriceCorrected.GetPrivate()
		s.change(p.GetStoneId(), func(l *Line) { l.Price = p.GetRight().GetMinor() - l.Reduced })
	case *correctionv1.Event_SentMassCorrected:
		p := e.SentMassCorrected.GetPrivate()
		s.change(p.GetStoneId(), func(l *Line) {
			if p.GetArrived() {
				l.MassDiffers = p.GetMassDiffers()
				return
			}
			l.SentMassDiffers = p.GetMassDiffers()
			l.Sent = proto.CloneOf(l.Sent)
			l.Sent.Weighing = p.GetRight()
		})
	}
	return s
}
