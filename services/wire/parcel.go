package wire

import (
	"slices"
	"time"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/domain/parcel"
)

// Parcel shows a parcel to a member, who is its seller, its buyer, or a cutter looking
// at the market. The market shows no parties and no rivals' offers, not even that
// there are any: to a cutter it is under offer when an offer of theirs, or one made to
// them, is open.
func Parcel(s parcel.State, version uint64, viewer string, now time.Time) *typev1.Parcel {
	deal := s.LastDeal()
	seller, buyer := viewer == s.Seller, deal.Made() && viewer == deal.Buyer
	p := &typev1.Parcel{
		Id: s.ID, Label: s.Label, State: typev1.ParcelState(s.Stage(now)),
		Total: Weighing(s.Total), Treatment: typev1.Treatment(s.Treatment), KeptWet: s.KeptWet, Mined: s.Mined, Split: s.Split,
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
		concerned(p, s, deal)
	}
	hidden := uint64(0)
	if seller {
		hidden = version // every offer changes the parcel for its seller
	}
	p.Etag = etag(p, hidden)
	return p
}

// concerned adds what seller and buyer see.
func concerned(p *typev1.Parcel, s parcel.State, deal parcel.Deal) {
	p.SellerId, p.BuyerId, p.TitleId, p.Why = s.Seller, deal.Buyer, s.Owner, s.Why
	if s.Shown() {
		p.CustodyId = s.Custody()
	}
	if !deal.Made() {
		return
	}
	p.Agreement = Agreement(deal.Agreement)
	p.Paid = Money(s.Currency(), s.PaidMinor)
	if !deal.DueAt.IsZero() {
		p.DueAt = deal.DueAt.Format(time.RFC3339Nano)
	}
	if s.SellerWord.Given() || s.BuyerWord.Given() {
		d := s.Difference
		p.Handover = &typev1.Handover{
			Seller: word(s.SellerWord), Buyer: word(s.BuyerWord), DifferenceUg: d.Ug, CountDifference: d.Count, BeyondTolerance: d.Beyond,
		}
	}
}

func word(w parcel.Word) *typev1.HandoverWord {
	if !w.Given() {
		return nil
	}
	return &typev1.HandoverWord{Count: w.Count, Total: Weighing(w.Total), Note: w.Note}
}

// Offer shows an offer to its buyer or to the parcel's seller.
func Offer(s parcel.State, o parcel.Offer, now time.Time) *typev1.Offer {
	return &typev1.Offer{
		Id: o.ID, ParcelId: s.ID, BuyerId: o.Buyer, EndsAt: o.EndsAt.Format(time.RFC3339Nano),
		Agreement: Agreement(o.Agreement), State: typev1.OfferState(s.OfferStage(o, now)), AnswersId: o.Answers, Why: o.Why,
	}
}

// Viewing shows a viewing to its viewer or to the parcel's seller.
func Viewing(parcelID string, v parcel.Viewing) *typev1.Viewing {
	return &typev1.Viewing{
		Id: v.ID, ParcelId: parcelID, ViewerId: v.Viewer, State: typev1.ViewingState(v.Stage), At: v.At.Format(time.RFC3339Nano),
		Rub: v.Rub, MayRub: v.MayRub, Asked: v.Asked, Answered: v.Answered, Why: v.Why,
		CountOut: v.Out.Count, TotalOut: Weighing(v.Out.Total), CountBack: v.Back.Count, TotalBack: Weighing(v.Back.Total),
		Light: v.Light, Candled: v.Candled, Rubbed: v.Rubbed,
		DifferenceUg: v.Difference.Ug, CountDifference: v.Difference.Count, BeyondTolerance: v.Difference.Beyond, Note: v.Note,
		OutDifferenceUg: v.OutDifference.Ug, OutCountDifference: v.OutDifference.Count, OutBeyondTolerance: v.OutDifference.Beyond,
	}
}

// TakenOut reads the pieces that are taken out of a group line, with new ids.
func TakenOut(pieces []*typev1.TakenOut, newID func() string) []*piecev1.Described {
	out := make([]*piecev1.Described, len(pieces))
	for i, p := range pieces {
		out[i] = &piecev1.Described{
			Public:  &piecev1.Described_Public{PieceId: newID(), Label: p.GetLabel(), Weighing: ReadWeighing(p.GetWeighing()), Size: ReadSize(p.GetSize())},
			Private: &piecev1.Described_Private{Seen: p.GetSeen()},
		}
	}
	return out
}
