package parcel

import (
	"time"

	"google.golang.org/protobuf/proto"

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
	agreement := b.Agreement
	if len(agreement.GetTiers()) == 0 && agreement.GetPrice() != nil {
		if agreement.GetParcelLevy() != nil || agreement.GetSaleLevy() != nil || len(agreement.GetCostKinds()) > 0 {
			broken.Add(rule.Broken{
				Reason: rule.AgreementInvalid, Field: "agreement.tiers", Value: "missing",
				Rule: "without tiers an offer is as the seller proposes, levies and cost kinds too", Hint: "name the tiers, or the price alone",
			})
		}
		agreement = proto.CloneOf(s.Proposed)
		agreement.Price = b.Agreement.GetPrice()
	}
	if !now.Before(b.EndsAt) {
		broken.Add(rule.Broken{
			Reason: rule.TimeInvalid, Field: "ends_at", Value: b.EndsAt.Format(time.RFC3339),
			Rule: "an offer ends after now, which is " + now.Format(time.RFC3339), Hint: "give a later moment",
		})
	} else if b.EndsAt.Year() > 9999 {
		broken.Add(rule.Broken{Reason: rule.TimeInvalid, Field: "ends_at", Value: b.EndsAt.Format(time.RFC3339), Rule: "a year has four digits", Hint: "give a nearer moment"})
	}
	broken.Currency("agreement.price", agreement.GetPrice(), s.Currency())
	checkAgreement(&broken, "agreement", agreement, s.Seller, b.Buyer)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &parcelv1.Event{Event: &parcelv1.Event_OfferMade{OfferMade: &parcelv1.OfferMade{
		Public:  &parcelv1.OfferMade_Public{ParcelId: s.ID},
		Private: &parcelv1.OfferMade_Private{OfferId: b.ID, BuyerId: b.Buyer, EndsAtUs: b.EndsAt.UnixMicro(), Agreement: agreement},
	}}}, nil
}

// Accept makes the deal with an open offer (rules 8 and 10).
func (s State) Accept(seller, offerID string, now time.Time) (*parcelv1.Event, error) {
	if s.ID == "" || s.Seller != seller {
		return nil, rule.NotThere("parcel_id", "parcel")
	}
	o, ok := s.Offer(offerID)
	if !ok {
		return nil, rule.NotThere("offer_id", "offer for this parcel")
	}
	if err := s.listed(); err != nil {
		return nil, err
	}
	if o.Replaced {
		return nil, rule.Broken{
			Reason: rule.OfferEnded, Field: "offer_id", Value: offerID,
			Rule: "its buyer has made another offer since, which closed it", Hint: "accept their last one",
		}
	}
	if s.OfferStage(o, now) == Ended {
		return nil, rule.Broken{
			Reason: rule.OfferEnded, Field: "offer_id", Value: offerID,
			Rule: "the offer ended at " + o.EndsAt.Format(time.RFC3339), Hint: "accept another, or ask its buyer for a new one",
		}
	}
	return s.deal(o.Buyer, o.ID, o.Agreement)
}

// Take makes the deal at the asking price (rules 9 and 10).
func (s State) Take(buyer string) (*parcelv1.Event, error) {
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
	checkAgreement(&broken, "agreement", s.Proposed, s.Seller, buyer)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return s.deal(buyer, "", s.Proposed)
}

func (s State) deal(buyer, offerID string, agreement *parcelv1.Agreement) (*parcelv1.Event, error) {
	fixed, err := Fix(agreement)
	if err != nil {
		return nil, err
	}
	return &parcelv1.Event{Event: &parcelv1.Event_DealMade{DealMade: &parcelv1.DealMade{
		Public:  &parcelv1.DealMade_Public{ParcelId: s.ID},
		Private: &parcelv1.DealMade_Private{OfferId: offerID, BuyerId: buyer, Agreement: fixed},
	}}}, nil
}

// onMarket refuses a buyer who can't buy the parcel now.
func (s State) onMarket(buyer string) error {
	if s.ID == "" {
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
	if s.Deal.Made() {
		return rule.Broken{
			Reason: rule.ParcelNotListed, Field: "parcel_id", Value: s.ID,
			Rule: "the parcel is sold or placed already", Hint: "look for another on the market",
		}
	}
	return nil
}
