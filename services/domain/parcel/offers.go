package parcel

import (
	"fmt"
	"slices"
	"time"

	"seamshare.example/services/domain/rule"
)

// What keeps a parcel's offers bounded, whoever makes them. No buyer alone can fill
// them up: theirs are few, and only their last one is open.
const (
	MaxOffersOfBuyer = 5   // in all, for one parcel
	MaxOpenOffers    = 100 // at a time
	MaxOffers        = 200 // in all, closed and ended ones counted: what the state keeps
)

// roomForOffer refuses an offer that the parcel doesn't take any more. Beyond the
// buyer's own offers it tells nothing: how many rivals there are is the seller's to know.
func (s State) roomForOffer(buyer string, now time.Time) error {
	own, open := 0, 0
	for _, o := range s.Offers {
		switch {
		case o.byBuyer() && o.Buyer == buyer:
			own++
		case s.OfferStage(o, now) == Open:
			open++
		}
	}
	switch {
	case own >= MaxOffersOfBuyer:
		return rule.Broken{
			Reason: rule.TooManyOffers, Field: "parcel_id", Value: s.ID,
			Rule: fmt.Sprintf("a buyer makes at most %d offers for one parcel", MaxOffersOfBuyer),
			Hint: "ask the seller to accept the last one, or take the parcel at its asking price",
		}
	case open >= MaxOpenOffers, len(s.Offers) >= MaxOffers:
		return rule.Broken{
			Reason: rule.TooManyOffers, Field: "parcel_id", Value: s.ID,
			Rule: "the parcel takes no more offers now", Hint: "try again when others have ended, or take the parcel at its asking price",
		}
	}
	return nil
}

// roomForCounter refuses a counter-offer where the state keeps no more.
func (s State) roomForCounter() error {
	if len(s.Offers) < MaxOffers {
		return nil
	}
	return rule.Broken{
		Reason: rule.TooManyOffers, Field: "parcel_id", Value: s.ID,
		Rule: fmt.Sprintf("a parcel keeps %d offers", MaxOffers), Hint: "accept one, or list the parcel anew",
	}
}

// replaced are the offers with the buyer's own, that nothing has ended yet, closed; in
// memory of their own.
func replaced(offers []Offer, buyer string) []Offer {
	after := slices.Clone(offers)
	for i := range after {
		if o := &after[i]; o.byBuyer() && o.Buyer == buyer && o.Done == 0 {
			o.Done = OfferClosed
		}
	}
	return after
}
