// Package parcel holds one lot of rough at one price: its listing, the offers for it,
// the deal, the handover and the money of its purchase.
//
// Deciding methods look at a State and return what happened or a refusal (package
// rule); Evolve assigns and never refuses. All of it is pure: times and ids are passed
// in.
package parcel

import (
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
//  8. Only the seller accepts a buyer's offer, an open one; accepting it makes the deal and closes all others.
//  9. A parcel is taken at its asking price only where its seller allows that, by someone who isn't the seller.
//  10. The deal fixes the agreement: recoup targets that were multiples of the price become amounts, and when the
//     title moves and the price is due is said.
//  11. After the deal each side counts and weighs. Custody moves with the second side. The two may differ from the
//     listing and from each other: both words stand, and a difference beyond what the scales allow is an exception.
//  12. Money for the parcel never exceeds its price.
//  13. Costs are recorded only of kinds that the agreement names.
//  14. Only the buyer, once custody has moved, works the rough; not while the price is overdue, nor once it is closed.
//  15. A draft is its seller's alone; it may be wrong and is checked when it is listed.
//  16. A parcel is repriced and withdrawn by its seller, while it is on the market. Open offers stand as made until
//     it is withdrawn, which closes them.
//  17. It is listed again by its seller after it was withdrawn, or after its deal fell through, the rough is back and
//     all purchase money is paid back.
//  18. An offer is taken back by who made it and declined by who got it, while it is open.
//  19. A counter-offer answers a buyer's open offer, which then can't be accepted any more; it is an offer to that
//     buyer, who alone accepts it.
//  20. A deal falls through before the first cut only: called off by the seller where the price is overdue, or by the
//     buyer where the rough is misdescribed. What was handed over goes back, counted and weighed by both sides.
//  21. Title is the seller's until the moment that the agreement names: at the handover, when the price is paid, or,
//     where the rough is placed, never. It goes back when the deal falls through. Where it moves when the price is
//     paid, it follows what was really paid: a corrected receipt or price moves it either way. What was sold on
//     meanwhile stays sold.
//  22. A group line is opened by who has the rough, and not between deal and handover: count = opened + left. That
//     the masses add up is the piece's own rule. At most as many lines as a listing has.
//  23. A parcel is closed by its buyer when it is paid, no part is in work and every stone is sold and paid.
//  24. A viewing is asked for by a buyer while the parcel is on the market, agreed by the seller, called off by either,
//     started and ended by the seller. Rough is with one viewer at a time, and not handed over meanwhile. A viewing
//     that hasn't started is called off when the parcel leaves the market. Each buyer has only so many, at a time
//     and in all.
//  25. A note is its cutter's alone, and each keeps only so many.
//  26. No agreement is listed, offered or made a deal with a levy below the co-op's least, or with a cap where there is
//     a least. A price is due within the days that the agreement names, or else the co-op's settings.
//  27. A deal's price is corrected while the deal stands: to no less than what is paid, and not between sold and placed.
//
// States are shared between goroutines: nothing that is reachable from one is ever
// changed.
type State struct {
	ID        string
	Draft     *parcelv1.Draft // until it is listed
	Discarded bool

	Label  string
	Seller string
	Lines  []Line
	Total  *eventv1.Weighing

	AsListed []Line // before any was opened

	Treatment eventv1.Treatment
	KeptWet   bool
	Mined     string
	Split     string
	Note      string

	Asking       *eventv1.Amount
	OpenAtAsking bool
	Proposed     *parcelv1.Agreement // at the asking price

	Offers []Offer // oldest first
	Deal   Deal
	Fallen Deal // the last deal, where it fell through, until the parcel is listed again

	Withdrawn bool
	Why       string // it was withdrawn, or the deal fell through

	// Words at the handover; after the deal fell through, of the rough that goes back.
	SellerWord, BuyerWord Word
	HandedOver            bool // custody is the buyer's
	Difference            Difference
	Taken                 Word // what the buyer took, from the handover on

	Owner string // who has the title
	Done  bool   // closed by the buyer

	PaidMinor int64
	Costs     map[string]int64 // minor units by kind

	Viewings []Viewing // oldest first
	Notes    []Note    // oldest first

	house *House // for one decision only: see Under
}

// Difference is how far two words are apart.
type Difference struct {
	Ug     int64 // expected minus weighed
	Count  int64 // expected minus counted
	Beyond bool  // more than the scales allow, or between the two sides
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
	Answers   string // the offer that it answers, where it is the seller's counter-offer to Buyer

	Done OfferStage // 0: nothing has ended it but, perhaps, its time
	Why  string     // it was declined
}

// BySeller reports whether it is a counter-offer.
func (o Offer) BySeller() bool { return o.Answers != "" }

// Deal is what seller and buyer agreed. The zero value: nothing yet.
type Deal struct {
	Buyer     string
	OfferID   string              // empty where the parcel was taken at its asking price
	Agreement *parcelv1.Agreement // as fixed: without multiples of the price
	DueAt     time.Time           // by when the price is to be paid; zero where the rough is placed
}

// Made reports whether there is a deal.
func (d Deal) Made() bool { return d.Buyer != "" }

// Word is what one side counted and weighed. The zero value: nothing yet.
type Word struct {
	Member string
	Count  uint32
	Total  *eventv1.Weighing
	Note   string
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
	Drafted
	Discarded
	Withdrawn
	ComingBack // its deal fell through, and the rough is still with the buyer
	FallenThrough
	Closed
)

func (s Stage) String() string {
	switch s {
	case Listed:
		return "listed"
	case UnderOffer:
		return "under offer"
	case Agreed:
		return "agreed"
	case HandedOver:
		return "handed over"
	case Drafted:
		return "a draft"
	case Discarded:
		return "discarded"
	case Withdrawn:
		return "withdrawn"
	case ComingBack:
		return "coming back"
	case FallenThrough:
		return "fallen through"
	case Closed:
		return "closed"
	}
	return "not there"
}

// Stage at a moment: offers end by themselves.
func (s State) Stage(now time.Time) Stage {
	switch {
	case s.ID == "":
		return 0
	case s.Discarded:
		return Discarded
	case s.Draft != nil:
		return Drafted
	case s.Done:
		return Closed
	case s.Fallen.Made() && s.HandedOver:
		return ComingBack
	case s.Fallen.Made():
		return FallenThrough
	case s.HandedOver:
		return HandedOver
	case s.Deal.Made():
		return Agreed
	case s.Withdrawn:
		return Withdrawn
	case slices.ContainsFunc(s.Offers, func(o Offer) bool { return s.OfferStage(o, now) == Open }):
		return UnderOffer
	}
	return Listed
}

// Shown reports whether the parcel was ever listed: before that it is its seller's
// alone.
func (s State) Shown() bool { return s.ID != "" && s.Draft == nil && !s.Discarded }

// OnMarket reports whether the parcel can be had.
func (s State) OnMarket() bool {
	return s.Shown() && !s.Deal.Made() && !s.Fallen.Made() && !s.Withdrawn
}

// Custody is the member who has the rough.
func (s State) Custody() string {
	switch i := slices.IndexFunc(s.Viewings, func(v Viewing) bool { return v.Stage == ViewingOut }); {
	case i >= 0:
		return s.Viewings[i].Viewer
	case s.HandedOver && s.Deal.Made():
		return s.Deal.Buyer
	case s.HandedOver:
		return s.Fallen.Buyer
	}
	return s.Seller
}

// LastDeal is the deal there is, or else the one that fell through.
func (s State) LastDeal() Deal {
	if s.Deal.Made() {
		return s.Deal
	}
	return s.Fallen
}

// Overdue reports whether the price should have been paid by now.
func (s State) Overdue(now time.Time) bool {
	return s.Deal.Made() && !s.Deal.DueAt.IsZero() && !now.Before(s.Deal.DueAt) && s.PaidMinor < s.Deal.Agreement.GetPrice().GetMinor()
}

// OfferStage is where an offer stands.
type OfferStage int

// The stages of an offer.
const (
	Open OfferStage = iota + 1
	Accepted
	OfferClosed // the parcel went another way, or its buyer made another
	Ended
	OfferWithdrawn
	Declined
	Countered
)

func (s OfferStage) String() string {
	switch s {
	case Open:
		return "open"
	case Accepted:
		return "accepted"
	case OfferClosed:
		return "closed: the parcel went another way, or its buyer made another offer since"
	case Ended:
		return "over, as its time has come"
	case OfferWithdrawn:
		return "taken back"
	case Declined:
		return "declined"
	case Countered:
		return "answered with a counter-offer"
	}
	return "not there"
}

// OfferStage at a moment. An offer whose parcel went another way is closed, whenever
// it would have ended.
func (s State) OfferStage(o Offer, now time.Time) OfferStage {
	switch {
	case o.Done != 0:
		return o.Done
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
