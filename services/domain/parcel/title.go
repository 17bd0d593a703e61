package parcel

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/rule"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// Days by which the price of a parcel is to be paid.
const (
	UsualPaymentDays = 30 // where neither agreement nor co-op says; common practice, no source
	MaxPaymentDays   = 365
)

// titleOf is when the title moves by an agreement.
func titleOf(a *parcelv1.Agreement) parcelv1.Title {
	switch {
	case a.GetTitle() != parcelv1.Title_TITLE_UNSPECIFIED:
		return a.GetTitle()
	case a.GetPrice().GetMinor() == 0:
		return parcelv1.Title_TITLE_STAYS
	}
	return parcelv1.Title_TITLE_AT_HANDOVER
}

// checkTitle holds that rough with a price is sold and rough without one is placed
// (rule 21).
func checkTitle(broken *rule.All, path string, a *parcelv1.Agreement) {
	placed, title := a.GetPrice().GetMinor() == 0, titleOf(a)
	if placed != (title == parcelv1.Title_TITLE_STAYS) {
		what, hint := "rough with a price is sold, and its title moves", "leave it out, or name the handover or the payment"
		if placed {
			what, hint = "rough without a price is placed, and each stone is the miner's until it sells", "leave it out"
		}
		broken.Add(rule.Broken{Reason: rule.AgreementInvalid, Field: path + ".title", Value: title.String(), Rule: what, Hint: hint})
	}
	if _, known := parcelv1.Title_name[int32(title)]; !known {
		broken.Add(rule.Broken{Reason: rule.AgreementInvalid, Field: path + ".title", Value: fmt.Sprint(int32(title)), Rule: "nobody knows this moment", Hint: "name the handover or the payment"})
	}
	if days := a.GetPaymentDays(); days > MaxPaymentDays || placed && days > 0 {
		broken.Add(rule.Broken{
			Reason: rule.AgreementInvalid, Field: path + ".payment_days", Value: fmt.Sprint(days),
			Rule: fmt.Sprintf("a price is due within %d days, and nothing is due for rough that is placed", MaxPaymentDays), Hint: "leave it out for the usual time",
		})
	}
}

// atPrice is an agreement as proposed before, at the price that a new one names.
func atPrice(before, named *parcelv1.Agreement) *parcelv1.Agreement {
	a := proto.CloneOf(before)
	a.Price = named.GetPrice()
	if (before.GetPrice().GetMinor() == 0) != (named.GetPrice().GetMinor() == 0) {
		a.Title, a.PaymentDays = parcelv1.Title_TITLE_UNSPECIFIED, 0 // what was placed is sold now, or the other way round
	}
	if named.GetTitle() != parcelv1.Title_TITLE_UNSPECIFIED {
		a.Title = named.GetTitle()
	}
	if named.GetPaymentDays() > 0 {
		a.PaymentDays = named.GetPaymentDays()
	}
	return a
}

// complete is the agreement that a request names: where it has a price but no tiers,
// the one before at this price.
func complete(broken *rule.All, named, before *parcelv1.Agreement) *parcelv1.Agreement {
	if len(named.GetTiers()) > 0 || named.GetPrice() == nil {
		return named
	}
	if named.GetParcelLevy() != nil || named.GetSaleLevy() != nil || len(named.GetCostKinds()) > 0 {
		broken.Add(rule.Broken{
			Reason: rule.AgreementInvalid, Field: "agreement.tiers", Value: "missing",
			Rule: "without tiers it is as proposed before, levies and cost kinds too", Hint: "name the tiers, or the price alone",
		})
	}
	return atPrice(before, named)
}

// titleTo says that the title moved; nothing where it is there already.
func (s State) titleTo(member string) []*parcelv1.Event {
	if s.Owner == member {
		return nil
	}
	return []*parcelv1.Event{{Event: &parcelv1.Event_TitleMoved{TitleMoved: &parcelv1.TitleMoved{
		Public:  &parcelv1.TitleMoved_Public{ParcelId: s.ID},
		Private: &parcelv1.TitleMoved_Private{FromId: s.Owner, ToId: member},
	}}}}
}

// optional checks a text that may be missing.
func optional(broken *rule.All, field, text string, most int) {
	if text != "" {
		broken.Text(field, text, most)
	}
}

// Limits of what people say.
const (
	maxWhy  = 500
	maxNote = 2000
)

// Apart compares two weighings of the same thing, each right to half a division of its
// scale.
func Apart(a, b *eventv1.Weighing) (ug int64, beyond bool) {
	ug = a.GetMassUg() - b.GetMassUg()
	return ug, max(ug, -ug) > (a.GetDivisionUg()+b.GetDivisionUg())/2
}
