package parcel

import (
	"errors"
	"maps"
	"slices"

	"google.golang.org/protobuf/proto"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/share"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
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

// CorrectRefund refuses a correction of a refund to more than was paid. What wasn't paid
// back after all is to be paid back again.
func (s State) CorrectRefund(wasMinor, rightMinor int64) error {
	if most := wasMinor + s.PaidMinor; rightMinor > most {
		return rule.Broken{
			Reason: rule.AboveWhatIsOwed, Field: "amount", Value: s.money(rightMinor), Rule: "no more than " + s.money(most) + " was paid for the parcel", Hint: "look at the receipts",
		}
	}
	return nil
}

// CorrectPrice is the deal's agreement at the price that is right (rule 27). What was a
// multiple of the price when it was signed is a multiple of the right one.
func (s State) CorrectPrice(right *eventv1.Amount) (*parcelv1.Agreement, error) {
	was := s.Deal.Agreement.GetPrice().GetMinor()
	switch {
	case !s.Deal.Made():
		return nil, rule.Broken{Reason: rule.NothingToCorrect, Field: "corrects", Value: s.ID, Rule: "the deal fell through, and its price is nobody's any more", Hint: "leave it as it is"}
	case (was == 0) != (right.GetMinor() == 0):
		return nil, rule.Broken{
			Reason: rule.AmountInvalid, Field: "amount", Value: s.money(right.GetMinor()),
			Rule: "rough that was sold has a price, and rough that was placed has none", Hint: "call the deal off and make another",
		}
	case right.GetMinor() < s.PaidMinor:
		return nil, rule.Broken{
			Reason: rule.AboveWhatIsOwed, Field: "amount", Value: s.money(right.GetMinor()),
			Rule: s.money(s.PaidMinor) + " is paid for the parcel, and its price is no less than that", Hint: "correct the receipt first",
		}
	}
	signed := s.Proposed
	if s.Deal.OfferID != "" {
		o, _ := s.Offer(s.Deal.OfferID)
		signed = o.Agreement
	}
	agreement := proto.CloneOf(signed)
	agreement.Price, agreement.PaymentDays = right, s.Deal.Agreement.GetPaymentDays()
	var wrong share.Violations
	if errors.As(Terms(agreement).Validate(), &wrong) {
		return nil, rule.Broken{Reason: rule.AgreementInvalid, Field: "amount", Value: s.money(right.GetMinor()), Rule: "at this price the agreement can't be computed: " + wrong.Error(), Hint: "check the amount"}
	}
	return Fix(agreement, agreement.GetPaymentDays())
}

// TitleAsPaid moves the title to where it belongs after a correction of a receipt or of
// the price, where it moves when the price is paid (rule 21).
func (s State) TitleAsPaid() []*parcelv1.Event {
	if !s.Deal.Made() || s.Deal.Agreement.GetTitle() != parcelv1.Title_TITLE_WHEN_PAID {
		return nil
	}
	if s.PaidMinor == s.Deal.Agreement.GetPrice().GetMinor() {
		return s.titleTo(s.Deal.Buyer)
	}
	return s.titleTo(s.Seller)
}

// EvolveCorrection folds what a correction changes here.
func EvolveCorrection(s State, e *correctionv1.Event) State {
	switch e := e.GetEvent().(type) {
	case *correctionv1.Event_ReceiptCorrected:
		p := e.ReceiptCorrected.GetPrivate()
		s.PaidMinor += p.GetRight().GetMinor() - p.GetWas().GetMinor()
	case *correctionv1.Event_RefundCorrected:
		p := e.RefundCorrected.GetPrivate()
		s.PaidMinor += p.GetWas().GetMinor() - p.GetRight().GetMinor()
	case *correctionv1.Event_PriceCorrected:
		s.Deal.Agreement = e.PriceCorrected.GetPrivate().GetAgreement()
	case *correctionv1.Event_CostCorrected:
		p := e.CostCorrected.GetPrivate()
		costs := maps.Clone(s.Costs)
		if costs == nil {
			costs = map[string]int64{}
		}
		costs[p.GetKind()] += p.GetRight().GetMinor() - p.GetWas().GetMinor()
		s.Costs = costs
	case *correctionv1.Event_MassCorrected:
		return massCorrected(s, e.MassCorrected.GetPublic())
	case *correctionv1.Event_SentMassCorrected:
		p := e.SentMassCorrected.GetPrivate()
		if p.GetViewingId() == "" {
			word := &s.SellerWord
			if p.GetSide() == parcelv1.Side_SIDE_BUYER {
				word = &s.BuyerWord
			}
			word.Total = p.GetRight()
			return s.handoverAgain()
		}
		s.Viewings = slices.Clone(s.Viewings)
		for i := range s.Viewings {
			v := &s.Viewings[i]
			word, d := &v.Out, &v.OutDifference
			if p.GetArrived() {
				word, d = &v.Back, &v.Difference
			}
			if v.ID == p.GetViewingId() {
				word.Total = p.GetRight()
				*d = Difference{
					Ug: p.GetBefore().GetMassUg() - p.GetRight().GetMassUg(), Count: p.GetCountDifference(),
					Beyond: p.GetMassDiffers() || p.GetCountDifference() != 0,
				}
			}
		}
	}
	return s
}

// massCorrected folds the right mass of a line, or of all of it: what was weighed at the
// handover and for viewings is held against it anew.
func massCorrected(s State, p *correctionv1.MassCorrected_Public) State {
	if p.GetPieceId() == "" {
		s.Total = p.GetRight()
		s.Viewings = slices.Clone(s.Viewings)
		for i := range s.Viewings {
			if v := &s.Viewings[i]; v.Out.Given() {
				v.OutDifference = difference(Word{Count: s.Count(), Total: s.Total}, v.Out, v.Out)
			}
		}
		return s.handoverAgain()
	}
	change := func(lines []Line, of func(Line) bool) []Line {
		lines = slices.Clone(lines)
		for i, l := range lines {
			if l.PieceID == p.GetPieceId() && of(l) {
				lines[i].Weighing = p.GetRight()
			}
		}
		return lines
	}
	every := func(Line) bool { return true }
	if p.GetFrom().GetAccount() != correctionv1.Account_ACCOUNT_BOUGHT {
		s.Lines = change(s.Lines, every) // what was left as it was opened last
		return s
	}
	s.Lines = change(s.Lines, func(l Line) bool { // of a line that was opened since, the rest was weighed then
		return !slices.ContainsFunc(s.AsListed, func(was Line) bool { return was.PieceID == l.PieceID && was.Count != l.Count })
	})
	s.AsListed = change(s.AsListed, every)
	return s
}

// handoverAgain holds the words of the last handover, there or back, against each other
// anew.
func (s State) handoverAgain() State {
	switch {
	case !s.SellerWord.Given() || !s.BuyerWord.Given():
	case s.Deal.Made() && s.HandedOver:
		s.Taken = s.BuyerWord
		s.Difference = difference(Word{Count: s.Count(), Total: s.Total}, s.BuyerWord, s.SellerWord)
	case s.Fallen.Made() && !s.HandedOver:
		s.Difference = difference(s.Taken, s.SellerWord, s.BuyerWord)
	}
	return s
}

// CorrectListing refuses a piece's mass as listed, or the total's, that leaves the two
// apart by more than the scales allow (rule 2). lineID empty: only the total is corrected;
// total nil: only the line.
func (s State) CorrectListing(lineID string, line, total *eventv1.Weighing) error {
	if total == nil {
		total = s.Total
	}
	var broken rule.All
	broken.Weighing("total", total)
	l := Listing{Total: total}
	for _, was := range s.AsListed {
		p := Piece{ID: was.PieceID, Weighing: was.Weighing}
		if p.ID == lineID {
			p.Weighing = line
		}
		l.Pieces = append(l.Pieces, p)
	}
	if len(broken) == 0 {
		checkBalance(&broken, l)
	}
	for i := range broken {
		if broken[i].Reason == rule.MassesDontAddUp {
			broken[i].Hint = "correct the piece and the total together, each as it is right"
		}
	}
	return broken.Err()
}
