package stone

import (
	"fmt"
	"slices"
	"time"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/rule"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// Set is a pair or suite that a stone is offered in; the zero Set is none.
type Set struct {
	ID       string
	Kind     stonev1.SetKind
	StoneIDs []string // all of them, this one too
}

// Hold is a stone set aside. It holds only before its end.
type Hold struct {
	ID     string
	Holder string
	EndsAt time.Time
}

// Out is where a stone is that went out on approval or consignment.
type Out struct {
	ApprovalID string
	Jeweller   string
}

// HeldBy is who holds the stone at a moment; empty: nobody. A hold has ended when now is
// not before its end.
func (s State) HeldBy(now time.Time) string {
	if s.Stage != OnSale || s.Hold.ID == "" || !now.Before(s.Hold.EndsAt) {
		return ""
	}
	return s.Hold.Holder
}

// SeenBy tells whether the stone is shown to a jeweller: one that is on sale, and one
// that they bought or that is out with them.
func (s State) SeenBy(jeweller string) bool {
	switch s.Stage {
	case OnSale:
		return true
	case Sold:
		return s.Buyer == jeweller
	case AtJeweller:
		return s.Out.Jeweller == jeweller
	}
	return false
}

// PutOnSale asks a price for the stone by itself (rules 3 and 4). currency is that of
// the stone's parcel.
func (s State) PutOnSale(cutter string, price *eventv1.Amount, currency string, now time.Time) (*stonev1.Event, error) {
	if s.Stage == OnSale && s.Set.ID != "" && s.Facts.GetCutterId() == cutter {
		return nil, rule.Broken{
			Reason: rule.StoneInSet, Field: "stone_id", Value: s.id(), Rule: "the stone is offered in a " + setWords(s.Set.Kind) + ", which has its prices as a whole",
			Hint: "offer the set again with other prices, or take it off sale first",
		}
	}
	return s.offer(cutter, price, currency, Set{}, now)
}

// OfferIn asks a price for the stone in a pair or suite (rules 3, 4 and 7). That
// the set itself is one is CheckSet's rule.
func (s State) OfferIn(set Set, cutter string, price *eventv1.Amount, currency string, now time.Time) (*stonev1.Event, error) {
	if s.Stage == OnSale && s.Set.ID != "" && !sameStones(s.Set.StoneIDs, set.StoneIDs) && s.Facts.GetCutterId() == cutter {
		return nil, rule.Broken{
			Reason: rule.StoneInSet, Field: "stone_id", Value: s.id(), Rule: "the stone is offered in another " + setWords(s.Set.Kind),
			Hint: "take that off sale first",
		}
	}
	return s.offer(cutter, price, currency, set, now)
}

// CheckSet refuses what is no pair and no suite (rule 7).
func CheckSet(kind stonev1.SetKind, stoneIDs []string) error {
	var broken rule.All
	broken.Answered("kind", int32(kind), stonev1.SetKind_name)
	switch n := len(stoneIDs); {
	case kind == stonev1.SetKind_SET_KIND_PAIR && n != 2:
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "stones", Value: fmt.Sprintf("%d stones", n), Rule: "a pair is two", Hint: "offer three or more as a suite"})
	case kind == stonev1.SetKind_SET_KIND_SUITE && (n < 3 || n > 30):
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "stones", Value: fmt.Sprintf("%d stones", n), Rule: "a suite is 3 to 30", Hint: "offer two as a pair"})
	}
	for i, id := range stoneIDs {
		if slices.Index(stoneIDs, id) != i {
			broken.Add(rule.Broken{Reason: rule.NamedTwice, Field: fmt.Sprintf("stones[%d].stone_id", i), Value: id, Rule: "a stone is in a set once", Hint: "leave it out"})
		}
	}
	return broken.Err()
}

func (s State) offer(cutter string, price *eventv1.Amount, currency string, set Set, now time.Time) (*stonev1.Event, error) {
	if err := s.sellable(cutter, now); err != nil {
		return nil, err
	}
	var broken rule.All
	broken.Positive("price", price)
	broken.Currency("price", price, currency)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &stonev1.Event{Event: &stonev1.Event_PutOnSale{PutOnSale: &stonev1.PutOnSale{
		Public:  &stonev1.PutOnSale_Public{StoneId: s.id(), SetId: set.ID, SetKind: set.Kind, SetStoneIds: set.StoneIDs},
		Private: &stonev1.PutOnSale_Private{Price: price},
	}}}, nil
}

// sellable refuses where the cutter can't offer the stone now (rule 3).
func (s State) sellable(cutter string, now time.Time) error {
	switch {
	case s.Facts == nil || s.Facts.GetCutterId() != cutter:
		return rule.NotThere("stone_id", "stone")
	case s.Stage == Sold:
		return rule.Broken{Reason: rule.StoneSold, Field: "stone_id", Value: s.id(), Rule: "the stone is sold", Hint: "take it back first, or choose another"}
	case s.Stage == AtJeweller:
		return rule.Broken{Reason: rule.StoneOut, Field: "stone_id", Value: s.id(), Rule: "the stone is out on approval or consignment", Hint: "take it back first, or choose another"}
	case s.Stage == Lost || s.Stage == Broken:
		return rule.Broken{Reason: rule.StoneGone, Field: "stone_id", Value: s.id(), Rule: "the stone was lost or broke", Hint: "take it back first where it is there after all"}
	case s.Stage == InLot:
		return rule.Broken{Reason: rule.StoneNotInStock, Field: "stone_id", Value: s.id(), Rule: "the stone is in a counted lot", Hint: "unmake the lot first, or choose another"}
	case s.Stage == InStock && !s.Check.Stands():
		return rule.Broken{
			Reason: rule.StoneNotChecked, Field: "stone_id", Value: s.id(), Rule: "its final check doesn't stand, or nobody else has confirmed it",
			Hint: "check it, and let a second person confirm the check",
		}
	case s.HeldBy(now) != "":
		return rule.Broken{
			Reason: rule.StoneHeld, Field: "stone_id", Value: s.id(), Rule: "the stone is held until " + rule.Moment(s.Hold.EndsAt),
			Hint: "wait until then",
		}
	}
	return nil
}

// TakeOffSale keeps the stone in stock (rule 3). For a set the caller does it for each
// stone (rule 7).
func (s State) TakeOffSale(cutter string, now time.Time) (*stonev1.Event, error) {
	if err := s.sellable(cutter, now); err != nil {
		return nil, err
	}
	if s.Stage != OnSale {
		return nil, rule.Broken{Reason: rule.StoneNotForSale, Field: "stone_id", Value: s.id(), Rule: "the stone isn't on sale", Hint: "nothing needs to be done"}
	}
	return &stonev1.Event{Event: &stonev1.Event_TakenOffSale{TakenOffSale: &stonev1.TakenOffSale{
		Public: &stonev1.TakenOffSale_Public{StoneId: s.id()}, Private: &stonev1.TakenOffSale_Private{},
	}}}, nil
}

// Taking is a jeweller who wants the stone, to order, hold or have on approval.
type Taking struct {
	Jeweller string
	// Together are all stones that are taken in one go: a set needs all of its own.
	Together []string
	Now      time.Time
}

// may refuses where the jeweller can't have the stone (rules 5, 7 and 8). What is
// held by another, out or gone looks the same to the letter as what is sold.
func (s State) may(t Taking, field string) error {
	held := s.HeldBy(t.Now)
	switch {
	case s.Facts == nil || s.Stage == InStock:
		// A stone in stock was never shown to a buyer, so it looks like none.
		return rule.NotThere(field, "stone on sale or")
	case s.Stage != OnSale || held != "" && held != t.Jeweller:
		return rule.Broken{Reason: rule.StoneNotForSale, Field: field, Value: s.id(), Rule: "the stone can't be had at the moment", Hint: "leave it out or choose another"}
	}
	for _, id := range s.Set.StoneIDs {
		if !slices.Contains(t.Together, id) {
			return rule.Broken{
				Reason: rule.SetNotWhole, Field: field, Value: s.id(), Rule: "the stone is one of a " + setWords(s.Set.Kind) + ", which goes as a whole",
				Hint: "take stone " + id + " too, or leave this one out",
			}
		}
	}
	return nil
}

// Sell sells the stone into an order (rules 5, 7 and 8). seen is the price the buyer
// saw; at is the item's path in the request, as "items[2]".
func (s State) Sell(t Taking, orderID string, seen *eventv1.Amount, at string) (*stonev1.Event, error) {
	if err := s.may(t, at+".stone_id"); err != nil {
		return nil, err
	}
	if s.Price.GetCurrency() != seen.GetCurrency() || s.Price.GetMinor() != seen.GetMinor() {
		return nil, rule.Broken{
			Reason: rule.PriceMoved, Field: at + ".price", Value: rule.Money(seen),
			Rule: "the price asked is " + rule.Money(s.Price) + " by now", Hint: "order again at this price, or leave it out",
		}
	}
	return s.soldTo(t.Jeweller, orderID), nil
}

func (s State) soldTo(buyer, orderID string) *stonev1.Event {
	return &stonev1.Event{Event: &stonev1.Event_Sold{Sold: &stonev1.Sold{
		Public:  &stonev1.Sold_Public{StoneId: s.id(), OrderId: orderID},
		Private: &stonev1.Sold_Private{BuyerId: buyer, Price: s.Price},
	}}}
}

// CancelSale calls the sale off (rule 11). That nothing was paid or sent is the order's
// rule.
func (s State) CancelSale(orderID string) (*stonev1.Event, error) {
	if s.Stage != Sold || s.OrderID != orderID {
		return nil, rule.Broken{Reason: rule.StoneNotSold, Field: "stone_id", Value: s.id(), Rule: "the stone isn't sold by this order", Hint: "nothing needs to be done"}
	}
	return &stonev1.Event{Event: &stonev1.Event_SaleCancelled{SaleCancelled: &stonev1.SaleCancelled{
		Public: &stonev1.SaleCancelled_Public{StoneId: s.id(), OrderId: orderID}, Private: &stonev1.SaleCancelled_Private{},
	}}}, nil
}

// Keep sets the stone aside for the jeweller until a moment (rules 5, 7 and 8). field is
// the stone's path in the request.
func (s State) Keep(t Taking, holdID string, endsAt time.Time, field string) (*stonev1.Event, error) {
	if err := s.may(t, field); err != nil {
		return nil, err
	}
	if s.HeldBy(t.Now) != "" {
		return nil, rule.Broken{Reason: rule.StoneHeld, Field: field, Value: s.id(), Rule: "you hold the stone already", Hint: "let go of that hold first"}
	}
	return &stonev1.Event{Event: &stonev1.Event_Held{Held: &stonev1.Held{
		Public:  &stonev1.Held_Public{StoneId: s.id()},
		Private: &stonev1.Held_Private{HoldId: holdID, HolderId: t.Jeweller, EndsAtUs: endsAt.UnixMicro()},
	}}}, nil
}

// Release ends the stone's hold, if it is this one (rule 8).
func (s State) Release(holdID string, now time.Time) (*stonev1.Event, bool) {
	if s.HeldBy(now) == "" || s.Hold.ID != holdID {
		return nil, false
	}
	return &stonev1.Event{Event: &stonev1.Event_HoldReleased{HoldReleased: &stonev1.HoldReleased{
		Public: &stonev1.HoldReleased_Public{StoneId: s.id()}, Private: &stonev1.HoldReleased_Private{HoldId: holdID},
	}}}, true
}

func setWords(k stonev1.SetKind) string {
	if k == stonev1.SetKind_SET_KIND_PAIR {
		return "pair"
	}
	return "suite"
}

func sameStones(a, b []string) bool {
	return len(a) == len(b) && !slices.ContainsFunc(a, func(id string) bool { return !slices.Contains(b, id) })
}
