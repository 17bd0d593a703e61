package parcel

import (
	"maps"
	"slices"
	"time"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// Evolve folds one event.
func Evolve(s State, event *parcelv1.Event) State {
	switch e := event.GetEvent().(type) {
	case *parcelv1.Event_DraftSaved:
		s.ID, s.Seller = e.DraftSaved.GetPublic().GetParcelId(), e.DraftSaved.GetPrivate().GetSellerId()
		s.Draft, s.Label = e.DraftSaved.GetPrivate().GetDraft(), e.DraftSaved.GetPrivate().GetDraft().GetLabel()
	case *parcelv1.Event_DraftDiscarded:
		s.Draft, s.Discarded = nil, true
	case *parcelv1.Event_Listed:
		return listed(s, e.Listed.GetPublic(), e.Listed.GetPrivate())
	case *parcelv1.Event_Repriced:
		p := e.Repriced.GetPrivate()
		s.Asking, s.OpenAtAsking, s.Proposed = p.GetAsking(), p.GetOpenAtAsking(), p.GetAgreement()
	case *parcelv1.Event_Withdrawn:
		s.Withdrawn, s.Why = true, e.Withdrawn.GetPrivate().GetWhy()
		return offMarket(s, "")
	case *parcelv1.Event_Relisted:
		p := e.Relisted.GetPrivate()
		s.Withdrawn, s.Why, s.Fallen = false, "", Deal{}
		s.SellerWord, s.BuyerWord, s.Taken, s.Difference = Word{}, Word{}, Word{}, Difference{}
		s.Asking, s.OpenAtAsking, s.Proposed = p.GetAsking(), p.GetOpenAtAsking(), p.GetAgreement()
	case *parcelv1.Event_LineOpened:
		return lineOpened(s, e.LineOpened.GetPublic())
	case *parcelv1.Event_ViewingAsked, *parcelv1.Event_ViewingAgreed, *parcelv1.Event_ViewingCalledOff,
		*parcelv1.Event_ViewingStarted, *parcelv1.Event_ViewingEnded:
		return viewed(s, event)
	case *parcelv1.Event_InspectionNoted:
		p := e.InspectionNoted.GetPrivate()
		s.Notes = append(slices.Clip(s.Notes), Note{By: p.GetViewerId(), PieceID: p.GetPieceId(), Text: p.GetText()})
	default:
		return dealt(s, event)
	}
	return s
}

// dealt folds what happens between offers and the last payment.
func dealt(s State, event *parcelv1.Event) State {
	switch e := event.GetEvent().(type) {
	case *parcelv1.Event_OfferMade:
		p := e.OfferMade.GetPrivate()
		s.Offers = append(replaced(s.Offers, p.GetBuyerId()), Offer{
			ID: p.GetOfferId(), Buyer: p.GetBuyerId(), EndsAt: moment(p.GetEndsAtUs()), Agreement: p.GetAgreement(),
		})
	case *parcelv1.Event_CounterOffered:
		p := e.CounterOffered.GetPrivate()
		s = offerDone(s, p.GetAnswersId(), Countered, "")
		s.Offers = append(s.Offers, Offer{ // offerDone made a slice of its own
			ID: p.GetOfferId(), Buyer: p.GetBuyerId(), EndsAt: moment(p.GetEndsAtUs()), Agreement: p.GetAgreement(), Answers: p.GetAnswersId(),
		})
	case *parcelv1.Event_OfferWithdrawn:
		return offerDone(s, e.OfferWithdrawn.GetPrivate().GetOfferId(), OfferWithdrawn, "")
	case *parcelv1.Event_OfferDeclined:
		return offerDone(s, e.OfferDeclined.GetPrivate().GetOfferId(), Declined, e.OfferDeclined.GetPrivate().GetWhy())
	case *parcelv1.Event_DealMade:
		p := e.DealMade.GetPrivate()
		s.Deal = Deal{Buyer: p.GetBuyerId(), OfferID: p.GetOfferId(), Agreement: p.GetAgreement()}
		if us := p.GetDueAtUs(); us != 0 {
			s.Deal.DueAt = moment(us)
		}
		s.Costs = nil // those of a deal that fell through stayed with the co-op
		return offMarket(s, p.GetOfferId())
	case *parcelv1.Event_HandoverWeighed:
		p := e.HandoverWeighed.GetPublic()
		word := Word{
			Member: e.HandoverWeighed.GetPrivate().GetMemberId(), Count: p.GetCount(), Total: p.GetTotal(),
			Note: e.HandoverWeighed.GetPrivate().GetNote(),
		}
		if p.GetSide() == parcelv1.Side_SIDE_BUYER {
			s.BuyerWord = word
		} else {
			s.SellerWord = word
		}
	case *parcelv1.Event_HandedOver:
		p := e.HandedOver.GetPublic()
		s.HandedOver, s.Taken = true, s.BuyerWord
		s.Difference = Difference{p.GetDifferenceUg(), p.GetCountDifference(), p.GetBeyondTolerance()}
	case *parcelv1.Event_TitleMoved:
		s.Owner = e.TitleMoved.GetPrivate().GetToId()
	case *parcelv1.Event_FellThrough:
		s.Fallen, s.Deal, s.Why = s.Deal, Deal{}, e.FellThrough.GetPrivate().GetWhy()
		s.SellerWord, s.BuyerWord, s.Difference = Word{}, Word{}, Difference{}
	case *parcelv1.Event_HandedBack:
		p := e.HandedBack.GetPublic()
		s.HandedOver = false
		s.Difference = Difference{p.GetDifferenceUg(), p.GetCountDifference(), p.GetBeyondTolerance()}
	case *parcelv1.Event_Paid:
		s.PaidMinor += e.Paid.GetPrivate().GetAmount().GetMinor()
	case *parcelv1.Event_PurchaseRefunded:
		s.PaidMinor -= e.PurchaseRefunded.GetPrivate().GetAmount().GetMinor()
	case *parcelv1.Event_CostRecorded:
		p := e.CostRecorded.GetPrivate()
		costs := maps.Clone(s.Costs)
		if costs == nil {
			costs = map[string]int64{}
		}
		costs[p.GetKind()] += p.GetAmount().GetMinor()
		s.Costs = costs
	case *parcelv1.Event_Closed:
		s.Done = true
	}
	return s
}

func listed(s State, public *parcelv1.Listed_Public, private *parcelv1.Listed_Private) State {
	s.ID, s.Label, s.Seller = public.GetParcelId(), public.GetLabel(), private.GetSellerId()
	s.Draft, s.Owner = nil, s.Seller
	s.Lines = make([]Line, len(public.GetLines()))
	for i, l := range public.GetLines() {
		s.Lines[i] = Line{PieceID: l.GetPieceId(), Weighing: l.GetWeighing(), Count: l.GetCount()}
	}
	s.AsListed, s.Total = s.Lines, public.GetTotal()
	s.Treatment, s.KeptWet, s.Mined, s.Split = public.GetTreatment(), public.GetKeptWet(), public.GetMined(), public.GetSplit()
	s.Asking, s.OpenAtAsking, s.Proposed, s.Note = private.GetAsking(), private.GetOpenAtAsking(), private.GetAgreement(), private.GetNote()
	return s
}

// offMarket closes the offers that are left, all but the accepted one, and calls off
// the viewings that haven't started.
func offMarket(s State, accepted string) State {
	s.Offers = slices.Clone(s.Offers)
	for i := range s.Offers {
		switch o := &s.Offers[i]; {
		case o.ID == accepted:
			o.Done = Accepted
		case o.Done == 0:
			o.Done = OfferClosed
		}
	}
	s.Viewings = slices.Clone(s.Viewings)
	for i := range s.Viewings {
		if v := &s.Viewings[i]; v.Stage == ViewingAsked || v.Stage == ViewingAgreed {
			v.Stage, v.Why = ViewingCalledOff, "the parcel left the market"
		}
	}
	return s
}

func offerDone(s State, id string, how OfferStage, why string) State {
	s.Offers = slices.Clone(s.Offers)
	for i := range s.Offers {
		if s.Offers[i].ID == id {
			s.Offers[i].Done, s.Offers[i].Why = how, why
		}
	}
	return s
}

func lineOpened(s State, p *parcelv1.LineOpened_Public) State {
	lines := make([]Line, 0, len(s.Lines)+len(p.GetPieces()))
	for _, l := range s.Lines {
		if l.PieceID != p.GetPieceId() {
			lines = append(lines, l)
			continue
		}
		lines = append(lines, Line{PieceID: l.PieceID, Weighing: p.GetLeft(), Count: p.GetLeftCount()})
		for _, o := range p.GetPieces() {
			lines = append(lines, Line{PieceID: o.GetPieceId(), Weighing: o.GetWeighing(), Count: 1})
		}
	}
	s.Lines = lines
	return s
}

func moment(us int64) time.Time { return time.UnixMicro(us).UTC() }
