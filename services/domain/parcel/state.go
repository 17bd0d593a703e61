// Package parcel holds one lot of rough at one price: its listing, the offers for it,
// the deal, the handover and the money of its purchase.
//
// Deciding methods look at a State and return what happened or a refusal (package
// rule); Evolve assigns and never refuses. All of it is pure: times and ids are passed
// in.
package parcel

import (
	"maps"
	"slices"
	"time"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// State is a parcel as far as has happened. Rules:
//
//  1. A parcel is listed once, with at least one piece, all under different labels.
//  2. The pieces' masses and the total, each right to half a division of its scale, add up.
//  3. Treatment is always answered.
//  4. All money of a parcel is in one currency, that of its asking price.
//  5. An agreement can be computed: its tiers take all money, and everyone in it is known.
//  6. Offers are made for a listed parcel, by someone who isn't its seller. A buyer's new offer closes their
//     open one; a buyer makes at most 5 for a parcel, at most 100 are open, and 200 are kept.
//  7. An offer carries the moment it ends; it has ended when now ≥ that moment.
//  8. Only the seller accepts an offer, an open one; accepting it makes the deal and closes all others.
//  9. A parcel is taken at its asking price only where its seller allows that, by someone who isn't the seller.
//  10. The deal fixes the agreement: recoup targets that were multiples of the price become amounts.
//  11. After the deal each side counts and weighs; each count is that of the listing. Custody moves with the
//     second side. Two masses may differ: both words stand, and the difference is recorded.
//  12. Money for the parcel never exceeds its price.
//  13. Costs are recorded only of kinds that the agreement names.
//  14. Only the buyer, once custody has moved, works the rough.
//
// States are shared between goroutines: nothing that is reachable from one is ever
// changed.
type State struct {
	ID     string
	Label  string
	Seller string
	Lines  []Line
	Total  *eventv1.Weighing

	Treatment eventv1.Treatment
	KeptWet   bool
	Mined     string
	Note      string

	Asking       *eventv1.Amount
	OpenAtAsking bool
	Proposed     *parcelv1.Agreement // at the asking price

	Offers []Offer // oldest first
	Deal   Deal

	SellerWord, BuyerWord Word // at the handover
	HandedOver            bool
	DifferenceUg          int64 // listed total minus the buyer's weighing

	PaidMinor int64
	Costs     map[string]int64 // minor units by kind
}

// Line is one piece, or one counted lot of chips.
type Line struct {
	PieceID  string
	Weighing *eventv1.Weighing
	Count    uint32
}

// Offer is a cutter's offer.
type Offer struct {
	ID        string
	Buyer     string
	EndsAt    time.Time
	Agreement *parcelv1.Agreement
	Replaced  bool // by a later one of its buyer's
}

// Deal is what seller and buyer agreed. The zero value: nothing yet.
type Deal struct {
	Buyer     string
	OfferID   string              // empty where the parcel was taken at its asking price
	Agreement *parcelv1.Agreement // as fixed: without multiples of the price
}

// Made reports whether there is a deal.
func (d Deal) Made() bool { return d.Buyer != "" }

// Word is what one side counted and weighed. The zero value: nothing yet.
type Word struct {
	Member string
	Count  uint32
	Total  *eventv1.Weighing
}

// Given reports whether the side has weighed.
func (w Word) Given() bool { return w.Member != "" }

// Currency is that of all the parcel's money.
func (s State) Currency() string { return s.Asking.GetCurrency() }

// Count is how many stones the listing counts.
func (s State) Count() uint32 {
	var n uint32
	for _, l := range s.Lines {
		n += l.Count
	}
	return n
}

// BoughtUg is what the listing's pieces weigh together, in micrograms.
func (s State) BoughtUg() int64 {
	var sum int64
	for _, l := range s.Lines {
		sum += l.Weighing.GetMassUg()
	}
	return sum
}

// Stage is where a parcel stands.
type Stage int

// The stages; the zero Stage is a parcel that isn't there.
const (
	Listed Stage = iota + 1
	UnderOffer
	Agreed
	HandedOver
)

// Stage at a moment: offers end by themselves.
func (s State) Stage(now time.Time) Stage {
	switch {
	case s.ID == "":
		return 0
	case s.HandedOver:
		return HandedOver
	case s.Deal.Made():
		return Agreed
	case slices.ContainsFunc(s.Offers, func(o Offer) bool { return s.OfferStage(o, now) == Open }):
		return UnderOffer
	}
	return Listed
}

// OfferStage is where an offer stands.
type OfferStage int

// The stages of an offer.
const (
	Open OfferStage = iota + 1
	Accepted
	Closed
	Ended
)

// OfferStage at a moment. An offer that its buyer replaced, or whose parcel went another
// way, is closed, whenever it would have ended.
func (s State) OfferStage(o Offer, now time.Time) OfferStage {
	switch {
	case s.Deal.Made() && s.Deal.OfferID == o.ID:
		return Accepted
	case s.Deal.Made(), o.Replaced:
		return Closed
	case !now.Before(o.EndsAt):
		return Ended
	}
	return Open
}

// Offer finds an offer.
func (s State) Offer(id string) (Offer, bool) {
	i := slices.IndexFunc(s.Offers, func(o Offer) bool { return o.ID == id })
	if i < 0 {
		return Offer{}, false
	}
	return s.Offers[i], true
}

// Evolve folds one event.
func Evolve(s State, e *parcelv1.Event) State {
	switch e := e.GetEvent().(type) {
	case *parcelv1.Event_Listed:
		return listed(s, e.Listed.GetPublic(), e.Listed.GetPrivate())
	case *parcelv1.Event_OfferMade:
		p := e.OfferMade.GetPrivate()
		s.Offers = append(replaced(s.Offers, p.GetBuyerId()), Offer{
			ID: p.GetOfferId(), Buyer: p.GetBuyerId(),
			EndsAt: time.UnixMicro(p.GetEndsAtUs()).UTC(), Agreement: p.GetAgreement(),
		})
	case *parcelv1.Event_DealMade:
		p := e.DealMade.GetPrivate()
		s.Deal = Deal{Buyer: p.GetBuyerId(), OfferID: p.GetOfferId(), Agreement: p.GetAgreement()}
	case *parcelv1.Event_HandoverWeighed:
		p := e.HandoverWeighed.GetPublic()
		word := Word{Member: e.HandoverWeighed.GetPrivate().GetMemberId(), Count: p.GetCount(), Total: p.GetTotal()}
		if p.GetSide() == parcelv1.Side_SIDE_BUYER {
			s.BuyerWord = word
		} else {
			s.SellerWord = word
		}
	case *parcelv1.Event_HandedOver:
		s.HandedOver = true
		s.DifferenceUg = e.HandedOver.GetPublic().GetDifferenceUg()
	case *parcelv1.Event_Paid:
		s.PaidMinor += e.Paid.GetPrivate().GetAmount().GetMinor()
	case *parcelv1.Event_CostRecorded:
		p := e.CostRecorded.GetPrivate()
		costs := maps.Clone(s.Costs)
		if costs == nil {
			costs = map[string]int64{}
		}
		costs[p.GetKind()] += p.GetAmount().GetMinor()
		s.Costs = costs
	}
	return s
}

func listed(s State, public *parcelv1.Listed_Public, private *parcelv1.Listed_Private) State {
	s.ID, s.Label, s.Seller = public.GetParcelId(), public.GetLabel(), private.GetSellerId()
	s.Lines = make([]Line, len(public.GetLines()))
	for i, l := range public.GetLines() {
		s.Lines[i] = Line{PieceID: l.GetPieceId(), Weighing: l.GetWeighing(), Count: l.GetCount()}
	}
	s.Total = public.GetTotal()
	s.Treatment, s.KeptWet, s.Mined, s.Note = public.GetTreatment(), public.GetKeptWet(), public.GetMined(), private.GetNote()
	s.Asking, s.OpenAtAsking, s.Proposed = private.GetAsking(), private.GetOpenAtAsking(), private.GetAgreement()
	return s
}
