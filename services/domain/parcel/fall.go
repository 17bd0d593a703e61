package parcel

import (
	"fmt"
	"time"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/rule"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// CallOff lets the deal fall through (rules 20 and 21). cut says whether any of its
// pieces was cut, which their own streams know.
func (s State) CallOff(member string, reason parcelv1.FallReason, why string, cut bool, now time.Time) ([]*parcelv1.Event, error) {
	unpaid := reason == parcelv1.FallReason_FALL_REASON_UNPAID
	if !s.Shown() || unpaid && s.Seller != member || !unpaid && s.LastDeal().Buyer != member {
		return nil, rule.NotThere("parcel_id", "parcel")
	}
	if !s.Deal.Made() {
		return nil, s.noDeal("what falls through is a deal")
	}
	if s.Done {
		return nil, s.closed()
	}
	if unpaid && !s.Overdue(now) {
		return nil, s.notOverdue()
	}
	if cut {
		return nil, rule.Broken{
			Reason: rule.AlreadyCut, Field: "parcel_id", Value: s.ID,
			Rule: "a deal falls through before the first cut only", Hint: "open a dispute about what is owed",
		}
	}
	var broken rule.All
	if optional(&broken, "why", why, maxNote); !unpaid && why == "" {
		broken.Add(rule.Broken{Reason: rule.NotAnswered, Field: "why", Rule: "what is not as the listing says is always told", Hint: "say what was found"})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	fell := &parcelv1.FellThrough{
		Public:  &parcelv1.FellThrough_Public{ParcelId: s.ID, Reason: reason, GoesBack: s.HandedOver},
		Private: &parcelv1.FellThrough_Private{MemberId: member, BuyerId: s.Deal.Buyer, Why: why},
	}
	if s.PaidMinor > 0 {
		fell.Private.ToRefund = &eventv1.Amount{Currency: s.Currency(), Minor: s.PaidMinor}
	}
	return append([]*parcelv1.Event{{Event: &parcelv1.Event_FellThrough{FellThrough: fell}}}, s.titleTo(s.Seller)...), nil
}

func (s State) notOverdue() error {
	what := "nothing is due for rough that is placed"
	switch price := s.Deal.Agreement.GetPrice().GetMinor(); {
	case price > 0 && s.PaidMinor >= price:
		what = "the price is paid"
	case price > 0:
		what = "the price is due by " + rule.Moment(s.Deal.DueAt)
	}
	return rule.Broken{Reason: rule.NotOverdue, Field: "parcel_id", Value: s.ID, Rule: what, Hint: "wait until it is overdue"}
}

// Refund records purchase money that was paid back after the deal fell through (rules 4
// and 20).
func (s State) Refund(amount *eventv1.Amount, reference string) (*parcelv1.Event, error) {
	if !s.Shown() {
		return nil, rule.NotThere("parcel_id", "parcel")
	}
	if !s.Fallen.Made() || s.PaidMinor == 0 {
		return nil, rule.Broken{
			Reason: rule.NothingToRefund, Field: "parcel_id", Value: s.ID,
			Rule: "purchase money is paid back after a deal fell through, as far as it was paid", Hint: "look at where the parcel stands",
		}
	}
	if err := s.checkAmount(amount, reference); err != nil {
		return nil, err
	}
	if amount.GetMinor() > s.PaidMinor {
		return nil, rule.Broken{
			Reason: rule.AboveWhatIsOwed, Field: "amount", Value: rule.Money(amount),
			Rule: fmt.Sprintf("%s was paid and is still to be paid back", s.money(s.PaidMinor)), Hint: "give that, or less",
		}
	}
	return &parcelv1.Event{Event: &parcelv1.Event_PurchaseRefunded{PurchaseRefunded: &parcelv1.PurchaseRefunded{
		Public:  &parcelv1.PurchaseRefunded_Public{ParcelId: s.ID},
		Private: &parcelv1.PurchaseRefunded_Private{Amount: amount, Reference: reference},
	}}}, nil
}

// Leftover is what stands against closing a parcel; its pieces' and stones' own streams
// know.
type Leftover struct {
	InWork []string // parts, as people call them
	Unsold []string // stones
	Unpaid []string // stones
	// UnpaidMinor is what is open of the prices of those, in minor units.
	UnpaidMinor int64
}

// Close says that all of the parcel is accounted for and paid (rule 23).
func (s State) Close(buyer string, left Leftover) (*parcelv1.Event, error) {
	if !s.Shown() || s.Deal.Buyer != buyer {
		return nil, rule.NotThere("parcel_id", "parcel")
	}
	if !s.HandedOver {
		return nil, rule.Broken{Reason: rule.NotHandedOver, Field: "parcel_id", Value: s.ID, Rule: "a parcel is closed after it was handed over and worked", Hint: "record the handover first"}
	}
	if s.Done {
		return nil, s.closed()
	}
	var broken rule.All
	if open := s.Deal.Agreement.GetPrice().GetMinor() - s.PaidMinor; open > 0 {
		broken.Add(rule.Broken{Reason: rule.NotAccountedFor, Field: "parcel_id", Value: s.ID, Rule: s.money(open) + " of its price is still open", Hint: "pay it first"})
	}
	for _, what := range []struct {
		names      []string
		rule, hint string
	}{
		{left.InWork, "parts that are still in work", "finish them, set them aside, or place them on the shelf"},
		{left.Unsold, "stones that aren't sold", "sell them first"},
		{left.Unpaid, "stones that aren't paid", "wait for their money"},
	} {
		if n := len(what.names); n > 0 {
			broken.Add(rule.Broken{
				Reason: rule.NotAccountedFor, Field: "parcel_id", Value: s.ID,
				Rule: fmt.Sprintf("%d %s, such as %s", n, what.rule, what.names[0]), Hint: what.hint,
			})
		}
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &parcelv1.Event{Event: &parcelv1.Event_Closed{Closed: &parcelv1.Closed{
		Public:  &parcelv1.Closed_Public{ParcelId: s.ID},
		Private: &parcelv1.Closed_Private{BuyerId: buyer},
	}}}, nil
}
