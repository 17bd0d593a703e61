package parcel

import (
	"time"

	"seamshare.example/services/domain/rule"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

func (o Offer) byBuyer() bool { return !o.BySeller() }

// open is an open offer among those of which the caller may dispose. One of another
// looks like none.
func (s State) open(id string, mine func(Offer) bool, now time.Time) (Offer, error) {
	o, ok := s.Offer(id)
	if !ok || !mine(o) {
		return o, rule.NotThere("offer_id", "offer for this parcel")
	}
	if err := s.listed(); err != nil {
		return o, err
	}
	switch stage := s.OfferStage(o, now); stage {
	case Open:
		return o, nil
	case Ended:
		return o, rule.Broken{
			Reason: rule.OfferEnded, Field: "offer_id", Value: id,
			Rule: "the offer ended at " + rule.Moment(o.EndsAt), Hint: "choose another, or ask for a new one",
		}
	default:
		return o, rule.Broken{
			Reason: rule.OfferNotOpen, Field: "offer_id", Value: id,
			Rule: "the offer is " + stage.String(), Hint: "choose another, or ask for a new one",
		}
	}
}

// Counter answers a buyer's open offer with another (rules 4, 5, 7 and 19). Without
// tiers it is as in the offer that it answers, at the counter-offer's price.
func (s State) Counter(seller, offerID string, b Bid, now time.Time) (*parcelv1.Event, error) {
	if err := s.sellerOf(seller); err != nil {
		return nil, err
	}
	answered, err := s.open(offerID, Offer.byBuyer, now)
	if err != nil {
		return nil, err
	}
	if err := s.roomForCounter(); err != nil {
		return nil, err
	}
	var broken rule.All
	agreement := complete(&broken, b.Agreement, answered.Agreement)
	checkEnd(&broken, b.EndsAt, now)
	broken.Currency("agreement.price", agreement.GetPrice(), s.Currency())
	s.checkAgreement(&broken, "agreement", agreement, s.Seller, answered.Buyer)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &parcelv1.Event{Event: &parcelv1.Event_CounterOffered{CounterOffered: &parcelv1.CounterOffered{
		Public: &parcelv1.CounterOffered_Public{ParcelId: s.ID},
		Private: &parcelv1.CounterOffered_Private{
			OfferId: b.ID, AnswersId: offerID, BuyerId: answered.Buyer, EndsAtUs: b.EndsAt.UnixMicro(), Agreement: agreement,
		},
	}}}, nil
}

// AcceptCounter makes the deal with a counter-offer (rules 10 and 19).
func (s State) AcceptCounter(buyer, offerID string, now time.Time) (*parcelv1.Event, error) {
	if !s.Shown() {
		return nil, rule.NotThere("parcel_id", "parcel on the market or")
	}
	o, err := s.open(offerID, func(o Offer) bool { return o.BySeller() && o.Buyer == buyer }, now)
	if err != nil {
		return nil, err
	}
	return s.deal(buyer, o.ID, o.Agreement, now)
}

// WithdrawOffer takes an offer back: a buyer theirs, the seller a counter-offer (rule 18).
func (s State) WithdrawOffer(member, offerID string, now time.Time) (*parcelv1.Event, error) {
	if !s.Shown() {
		return nil, rule.NotThere("parcel_id", "parcel on the market or")
	}
	_, err := s.open(offerID, func(o Offer) bool {
		if o.BySeller() {
			return member == s.Seller
		}
		return member == o.Buyer
	}, now)
	if err != nil {
		return nil, err
	}
	return &parcelv1.Event{Event: &parcelv1.Event_OfferWithdrawn{OfferWithdrawn: &parcelv1.OfferWithdrawn{
		Public:  &parcelv1.OfferWithdrawn_Public{ParcelId: s.ID},
		Private: &parcelv1.OfferWithdrawn_Private{OfferId: offerID, MemberId: member},
	}}}, nil
}

// DeclineOffer says no to an offer: the seller to a buyer's, a buyer to a counter-offer
// made to them (rule 18).
func (s State) DeclineOffer(member, offerID, why string, now time.Time) (*parcelv1.Event, error) {
	if !s.Shown() {
		return nil, rule.NotThere("parcel_id", "parcel on the market or")
	}
	_, err := s.open(offerID, func(o Offer) bool {
		if o.BySeller() {
			return member == o.Buyer
		}
		return member == s.Seller
	}, now)
	if err != nil {
		return nil, err
	}
	var broken rule.All
	optional(&broken, "why", why, maxWhy)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &parcelv1.Event{Event: &parcelv1.Event_OfferDeclined{OfferDeclined: &parcelv1.OfferDeclined{
		Public:  &parcelv1.OfferDeclined_Public{ParcelId: s.ID},
		Private: &parcelv1.OfferDeclined_Private{OfferId: offerID, MemberId: member, Why: why},
	}}}, nil
}
