package parcel

import (
	"time"

	"seamshare.example/services/domain/rule"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// Bid is an offer as a cutter makes it.
type Bid struct {
	ID        string
	Buyer     string
	EndsAt    time.Time
	Agreement *parcelv1.Agreement
}

// MakeOffer makes an offer (rules 4 to 7). Without tiers it is the agreement that the
// seller proposes, at the bid's price.
func (s State) MakeOffer(b Bid, now time.Time) (*parcelv1.Event, error) {
	if err := s.onMarket(b.Buyer); err != nil {
		return nil, err
	}
	if err := s.roomForOffer(b.Buyer, now); err != nil {
		return nil, err
	}
	var broken rule.All
	agreement := complete(&broken, b.Agreement, s.Proposed)
	checkEnd(&broken, b.EndsAt, now)
	broken.Currency("agreement.price", agreement.GetPrice(), s.Currency())
	s.checkAgreement(&broken, "agreement", agreement, s.Seller, b.Buyer)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &parcelv1.Event{Event: &parcelv1.Event_OfferMade{OfferMade: &parcelv1.OfferMade{
		Public:  &parcelv1.OfferMade_Public{ParcelId: s.ID},
		Private: &parcelv1.OfferMade_Private{OfferId: b.ID, BuyerId: b.Buyer, EndsAtUs: b.EndsAt.UnixMicro(), Agreement: agreement},
	}}}, nil
}

// checkEnd holds that an offer ends after now (rule 7).
func checkEnd(broken *rule.All, end, now time.Time) {
	if !now.Before(end) {
		broken.Add(rule.Broken{
			Reason: rule.TimeInvalid, Field: "ends_at", Value: rule.Moment(end),
			Rule: "an offer ends after now, which is " + rule.Moment(now), Hint: "give a later moment",
		})
	} else if end.Year() > 9999 {
		broken.Add(rule.Broken{Reason: rule.TimeInvalid, Field: "ends_at", Value: rule.Moment(end), Rule: "a year has four digits", Hint: "give a nearer moment"})
	}
}

// Accept makes the deal with a buyer's open offer (rules 8 and 10).
func (s State) Accept(seller, offerID string, now time.Time) (*parcelv1.Event, error) {
	if !s.Shown() || s.Seller != seller {
		return nil, rule.NotThere("parcel_id", "parcel")
	}
	o, err := s.open(offerID, Offer.byBuyer, now)
	if err != nil {
		return nil, err
	}
	return s.deal(o.Buyer, o.ID, o.Agreement, now)
}

// Take makes the deal at the asking price (rules 9 and 10).
func (s State) Take(buyer string, now time.Time) (*parcelv1.Event, error) {
	if err := s.onMarket(buyer); err != nil {
		return nil, err
	}
	if !s.OpenAtAsking {
		return nil, rule.Broken{
			Reason: rule.NotAtAsking, Field: "parcel_id", Value: s.ID,
			Rule: "the seller of this parcel wants offers", Hint: "make an offer",
		}
	}
	var broken rule.All
	s.checkAgreement(&broken, "agreement", s.Proposed, s.Seller, buyer)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return s.deal(buyer, "", s.Proposed, now)
}

func (s State) deal(buyer, offerID string, agreement *parcelv1.Agreement, now time.Time) (*parcelv1.Event, error) {
	var broken rule.All
	s.checkLeast(&broken, "agreement", agreement) // it may be more than when the offer was made
	if err := broken.Err(); err != nil {
		return nil, err
	}
	fixed, err := Fix(agreement, s.usualDays())
	if err != nil {
		return nil, err
	}
	var due int64
	if days := fixed.GetPaymentDays(); days > 0 {
		due = now.AddDate(0, 0, int(days)).UnixMicro()
	}
	return &parcelv1.Event{Event: &parcelv1.Event_DealMade{DealMade: &parcelv1.DealMade{
		Public:  &parcelv1.DealMade_Public{ParcelId: s.ID},
		Private: &parcelv1.DealMade_Private{OfferId: offerID, BuyerId: buyer, Agreement: fixed, DueAtUs: due},
	}}}, nil
}

// onMarket refuses a buyer who can't buy the parcel now.
func (s State) onMarket(buyer string) error {
	if !s.Shown() {
		return rule.NotThere("parcel_id", "parcel on the market or")
	}
	if err := s.listed(); err != nil {
		return err
	}
	if s.Seller == buyer {
		return rule.Broken{Reason: rule.OwnParcel, Field: "parcel_id", Value: s.ID, Rule: "nobody buys from themselves", Hint: "leave it to another buyer"}
	}
	return nil
}

func (s State) listed() error {
	if s.OnMarket() {
		return nil
	}
	what := "the parcel is sold or placed already"
	switch {
	case s.Withdrawn:
		what = "its seller took the parcel off the market"
	case s.Fallen.Made():
		what = "the deal on the parcel fell through, and it isn't listed again yet"
	}
	return rule.Broken{Reason: rule.ParcelNotListed, Field: "parcel_id", Value: s.ID, Rule: what, Hint: "look for another on the market"}
}
