package parcel

import (
	"fmt"
	"time"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/money"
	"seamshare.example/services/domain/rule"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// Weigh is Handover without a note.
func (s State) Weigh(member string, count uint32, total *eventv1.Weighing) ([]*parcelv1.Event, error) {
	return s.Handover(member, Word{Count: count, Total: total})
}

// Handover records one side's count and weighing, and that custody moved once both
// sides have given theirs (rules 11, 21 and 24). Until then a side may weigh again: its
// later word stands.
func (s State) Handover(member string, word Word) ([]*parcelv1.Event, error) {
	if !s.Shown() || (member != s.Seller && member != s.Deal.Buyer && !(s.Fallen.Made() && member == s.Fallen.Buyer)) {
		return nil, rule.NotThere("parcel_id", "parcel")
	}
	if s.Fallen.Made() || !s.Deal.Made() {
		return nil, s.noDeal("a parcel is handed over after the deal")
	}
	if s.HandedOver {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Field: "parcel_id", Value: s.ID, Rule: "the parcel is handed over, and both sides' words stand", Hint: "nothing needs to be done"}
	}
	if custody := s.Custody(); custody != s.Seller {
		return nil, s.isOut()
	}
	events, after, err := s.say(member, s.Deal.Buyer, word)
	if err != nil || !after.SellerWord.Given() || !after.BuyerWord.Given() {
		return events, err
	}
	d := difference(Word{Count: s.Count(), Total: s.Total}, after.BuyerWord, after.SellerWord)
	events = append(events, &parcelv1.Event{Event: &parcelv1.Event_HandedOver{HandedOver: &parcelv1.HandedOver{
		Public:  &parcelv1.HandedOver_Public{ParcelId: s.ID, DifferenceUg: d.Ug, CountDifference: d.Count, BeyondTolerance: d.Beyond},
		Private: &parcelv1.HandedOver_Private{BuyerCount: after.BuyerWord.Count, SellerCount: after.SellerWord.Count},
	}}})
	if s.Deal.Agreement.GetTitle() == parcelv1.Title_TITLE_AT_HANDOVER {
		events = append(events, s.titleTo(s.Deal.Buyer)...)
	}
	return events, nil
}

// GiveBack records one side's count and weighing of rough whose deal fell through, and
// that custody moved back once both sides have given theirs (rule 20).
func (s State) GiveBack(member string, word Word) ([]*parcelv1.Event, error) {
	if !s.Shown() || (member != s.Seller && member != s.LastDeal().Buyer) {
		return nil, rule.NotThere("parcel_id", "parcel")
	}
	if !s.Fallen.Made() || !s.HandedOver {
		return nil, rule.Broken{
			Reason: rule.NotComingBack, Field: "parcel_id", Value: s.ID,
			Rule: "only rough whose deal fell through after the handover goes back", Hint: "look at where the parcel stands",
		}
	}
	events, after, err := s.say(member, s.Fallen.Buyer, word)
	if err != nil || !after.SellerWord.Given() || !after.BuyerWord.Given() {
		return events, err
	}
	d := difference(s.Taken, after.SellerWord, after.BuyerWord)
	return append(events, &parcelv1.Event{Event: &parcelv1.Event_HandedBack{HandedBack: &parcelv1.HandedBack{
		Public:  &parcelv1.HandedBack_Public{ParcelId: s.ID, DifferenceUg: d.Ug, CountDifference: d.Count, BeyondTolerance: d.Beyond},
		Private: &parcelv1.HandedBack_Private{BuyerId: s.Fallen.Buyer},
	}}}), nil
}

// say is one side's word, and the state with it.
func (s State) say(member, buyer string, word Word) ([]*parcelv1.Event, State, error) {
	var broken rule.All
	broken.Weighing("total", word.Total)
	optional(&broken, "note", word.Note, maxNote)
	if err := broken.Err(); err != nil {
		return nil, s, err
	}
	side := parcelv1.Side_SIDE_SELLER
	if member == buyer {
		side = parcelv1.Side_SIDE_BUYER
	}
	said := &parcelv1.Event{Event: &parcelv1.Event_HandoverWeighed{HandoverWeighed: &parcelv1.HandoverWeighed{
		Public:  &parcelv1.HandoverWeighed_Public{ParcelId: s.ID, Side: side, Count: word.Count, Total: word.Total},
		Private: &parcelv1.HandoverWeighed_Private{MemberId: member, Note: word.Note},
	}}}
	return []*parcelv1.Event{said}, Evolve(s, said), nil
}

// difference compares what was to be taken with what who took it says, and that with
// what who gave it says.
func difference(expected, taken, given Word) Difference {
	ug, beyond := Apart(expected.Total, taken.Total)
	_, disagree := Apart(given.Total, taken.Total)
	count := int64(expected.Count) - int64(taken.Count)
	return Difference{Ug: ug, Count: count, Beyond: beyond || disagree || count != 0 || given.Count != taken.Count}
}

func (s State) isOut() error {
	return rule.Broken{
		Reason: rule.RoughIsOut, Field: "parcel_id", Value: s.ID,
		Rule: "the rough is in a viewer's hands", Hint: "end the viewing first: count and weigh what comes back",
	}
}

// WorkedBy refuses a member who may not work the rough now (rule 14).
func (s State) WorkedBy(member string, now time.Time) error {
	if !s.Shown() || s.Deal.Buyer != member {
		return rule.NotThere("parcel_id", "parcel")
	}
	if !s.HandedOver {
		return rule.Broken{
			Reason: rule.NotHandedOver, Field: "parcel_id", Value: s.ID,
			Rule: "the rough is worked after both sides have counted and weighed it", Hint: "record the handover first",
		}
	}
	if s.Done {
		return s.closed()
	}
	if s.Overdue(now) {
		return rule.Broken{
			Reason: rule.PurchaseOverdue, Field: "parcel_id", Value: s.ID,
			Rule: fmt.Sprintf("%s of the price was to be paid by %s, and until it is nothing is cut",
				s.money(s.Deal.Agreement.GetPrice().GetMinor()-s.PaidMinor), rule.Moment(s.Deal.DueAt)),
			Hint: "pay what is open",
		}
	}
	return nil
}

func (s State) closed() error {
	return rule.Broken{Reason: rule.ParcelClosed, Field: "parcel_id", Value: s.ID, Rule: "the parcel is closed, and no more is done with it", Hint: "look at its yield and its shares"}
}

// Pay records money that came in for the parcel, and that the title moved where the
// agreement says so (rules 4, 12 and 21).
func (s State) Pay(amount *eventv1.Amount, reference string) ([]*parcelv1.Event, error) {
	if err := s.checkMoney(amount, reference, "money for a parcel comes after the deal"); err != nil {
		return nil, err
	}
	price := s.Deal.Agreement.GetPrice().GetMinor()
	if open := price - s.PaidMinor; amount.GetMinor() > open {
		return nil, rule.Broken{
			Reason: rule.AboveWhatIsOwed, Field: "amount", Value: rule.Money(amount),
			Rule: fmt.Sprintf("%s of the price of %s is still open, and no more is taken",
				s.money(open), s.money(price)),
			Hint: "record what is open and hold the rest as the payer's money",
		}
	}
	events := []*parcelv1.Event{{Event: &parcelv1.Event_Paid{Paid: &parcelv1.Paid{
		Public:  &parcelv1.Paid_Public{ParcelId: s.ID},
		Private: &parcelv1.Paid_Private{Amount: amount, Reference: reference},
	}}}}
	if amount.GetMinor() == price-s.PaidMinor && s.Deal.Agreement.GetTitle() == parcelv1.Title_TITLE_WHEN_PAID {
		events = append(events, s.titleTo(s.Deal.Buyer)...)
	}
	return events, nil
}

// RecordCost records what the co-op paid to an outsider for the parcel (rules 4 and 13).
func (s State) RecordCost(kind string, amount *eventv1.Amount, reference string) (*parcelv1.Event, error) {
	if err := s.checkMoney(amount, reference, "costs are recouped by the agreement, so they come after the deal"); err != nil {
		return nil, err
	}
	named, sum := false, amount.GetMinor()
	for _, k := range s.Deal.Agreement.GetCostKinds() {
		named = named || k == kind
		sum += s.Costs[k]
	}
	if !named {
		return nil, rule.Broken{
			Reason: rule.CostNotAgreed, Field: "kind", Value: fmt.Sprintf("%q", kind),
			Rule: fmt.Sprintf("the agreement lets recoup %q", s.Deal.Agreement.GetCostKinds()), Hint: "use one of these, or settle the cost outside the parcel",
		}
	}
	if sum > money.Max {
		return nil, rule.Broken{
			Reason: rule.AmountInvalid, Field: "amount", Value: rule.Money(amount),
			Rule: fmt.Sprintf("a parcel's costs are at most %s together", s.money(money.Max)), Hint: "check the amount",
		}
	}
	return &parcelv1.Event{Event: &parcelv1.Event_CostRecorded{CostRecorded: &parcelv1.CostRecorded{
		Public:  &parcelv1.CostRecorded_Public{ParcelId: s.ID},
		Private: &parcelv1.CostRecorded_Private{Kind: kind, Amount: amount, Reference: reference},
	}}}, nil
}

func (s State) checkMoney(amount *eventv1.Amount, reference, why string) error {
	if !s.Shown() {
		return rule.NotThere("parcel_id", "parcel")
	}
	if !s.Deal.Made() {
		return s.noDeal(why)
	}
	return s.checkAmount(amount, reference)
}

func (s State) checkAmount(amount *eventv1.Amount, reference string) error {
	var broken rule.All
	broken.Positive("amount", amount)
	broken.Currency("amount", amount, s.Currency())
	broken.Text("reference", reference, 80)
	return broken.Err()
}

func (s State) noDeal(why string) error {
	return rule.Broken{Reason: rule.NoDeal, Field: "parcel_id", Value: s.ID, Rule: why, Hint: "accept an offer or take the parcel first"}
}

func (s State) money(minor int64) string {
	return rule.Money(&eventv1.Amount{Currency: s.Currency(), Minor: minor})
}
