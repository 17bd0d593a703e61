package wire

import (
	"slices"
	"time"

	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/domain/parcel"
)

// Parcel shows a parcel to a member, who is its seller, its buyer, or a cutter looking
// at the market. The market shows no parties and no rivals' offers, not even that
// there are any: to a cutter it is under offer when their own offer is open.
func Parcel(s parcel.State, version uint64, viewer string, now time.Time) *typev1.Parcel {
	seller, buyer := viewer == s.Seller, s.Deal.Made() && viewer == s.Deal.Buyer
	p := &typev1.Parcel{
		Id: s.ID, Label: s.Label, State: typev1.ParcelState(s.Stage(now)),
		Total: Weighing(s.Total), Treatment: typev1.Treatment(s.Treatment), KeptWet: s.KeptWet, Mined: s.Mined,
		Asking: MoneyOf(s.Asking), OpenAtAsking: s.OpenAtAsking, Agreement: Agreement(s.Proposed), Note: s.Note,
	}
	for _, l := range s.Lines {
		p.Lines = append(p.Lines, &typev1.ParcelLine{PieceId: l.PieceID, Weighing: Weighing(l.Weighing), Count: l.Count})
	}
	if s.Stage(now) == parcel.UnderOffer && !seller && !slices.ContainsFunc(s.Offers, func(o parcel.Offer) bool {
		return o.Buyer == viewer && s.OfferStage(o, now) == parcel.Open
	}) {
		p.State = typev1.ParcelState_PARCEL_STATE_LISTED
	}
	if seller || buyer {
		p.SellerId, p.BuyerId = s.Seller, s.Deal.Buyer
		if s.Deal.Made() {
			p.Agreement = Agreement(s.Deal.Agreement)
		}
	}
	hidden := uint64(0)
	if seller {
		hidden = version // every offer changes the parcel for its seller
	}
	p.Etag = etag(p, hidden)
	return p
}

// Offer shows an offer to its buyer or to the parcel's seller.
func Offer(s parcel.State, o parcel.Offer, now time.Time) *typev1.Offer {
	return &typev1.Offer{
		Id: o.ID, ParcelId: s.ID, BuyerId: o.Buyer, EndsAt: o.EndsAt.Format(time.RFC3339Nano),
		Agreement: Agreement(o.Agreement), State: typev1.OfferState(s.OfferStage(o, now)),
	}
}
