package parcel

import (
	"fmt"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/money"
	"seamshare.example/services/domain/rule"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// Weigh records one side's count and weighing at the handover, and that custody moved
// once both sides have given theirs (rule 11). Until then a side may weigh again: its
// later word stands.
func (s State) Weigh(member string, count uint32, total *eventv1.Weighing) ([]*parcelv1.Event, error) {
	if s.ID == "" || (member != s.Seller && member != s.Deal.Buyer) {
		return nil, rule.NotThere("parcel_id", "parcel")
	}
	if !s.Deal.Made() {
		return nil, s.noDeal("a parcel is handed over after the deal")
	}
	if s.HandedOver {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Field: "parcel_id", Value: s.ID, Rule: "the parcel is handed over, and both sides' words stand", Hint: "nothing needs to be done"}
	}
	var broken rule.All
	broken.Weighing("total", total)
	if listed := s.Count(); count != listed {
		broken.Add(rule.Broken{
			Reason: rule.CountDiffers, Field: "count", Value: fmt.Sprint(count),
			Rule: fmt.Sprintf("the listing counts %d, and both sides count the same", listed), Hint: "count again together, every chip of a counted lot too",
		})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	side := parcelv1.Side_SIDE_SELLER
	if member == s.Deal.Buyer {
		side = parcelv1.Side_SIDE_BUYER
	}
	events := []*parcelv1.Event{{Event: &parcelv1.Event_HandoverWeighed{HandoverWeighed: &parcelv1.HandoverWeighed{
		Public:  &parcelv1.HandoverWeighed_Public{ParcelId: s.ID, Side: side, Count: count, Total: total},
		Private: &parcelv1.HandoverWeighed_Private{MemberId: member},
	}}}}
	after := Evolve(s, events[0])
	if after.SellerWord.Given() && after.BuyerWord.Given() {
		events = append(events, &parcelv1.Event{Event: &parcelv1.Event_HandedOver{HandedOver: &parcelv1.HandedOver{
			Public:  &parcelv1.HandedOver_Public{ParcelId: s.ID, DifferenceUg: s.Total.GetMassUg() - after.BuyerWord.Total.GetMassUg()},
			Private: &parcelv1.HandedOver_Private{},
		}}})
	}
	return events, nil
}

// WorkedBy refuses a member who may not work the rough now (rule 14).
func (s State) WorkedBy(member string) error {
	if s.ID == "" || s.Deal.Buyer != member {
		return rule.NotThere("parcel_id", "parcel")
	}
	if !s.HandedOver {
		return rule.Broken{
			Reason: rule.NotHandedOver, Field: "parcel_id", Value: s.ID,
			Rule: "the rough is worked after both sides have counted and weighed it", Hint: "record the handover first",
		}
	}
	return nil
}

// Pay records money that came in for the parcel (rules 4 and 12).
func (s State) Pay(amount *eventv1.Amount, reference string) (*parcelv1.Event, error) {
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
	return &parcelv1.Event{Event: &parcelv1.Event_Paid{Paid: &parcelv1.Paid{
		Public:  &parcelv1.Paid_Public{ParcelId: s.ID},
		Private: &parcelv1.Paid_Private{Amount: amount, Reference: reference},
	}}}, nil
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
	if s.ID == "" {
		return rule.NotThere("parcel_id", "parcel")
	}
	if !s.Deal.Made() {
		return s.noDeal(why)
	}
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
