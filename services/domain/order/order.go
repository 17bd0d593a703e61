// Package order holds a jeweller's purchase: its stones, the money for them, and what
// came back.
//
// Deciding methods look at a State and return what happened or a refusal (package
// rule); Evolve assigns and never refuses. All of it is pure.
package order

import (
	"fmt"
	"slices"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/money"
	"seamshare.example/services/domain/rule"

	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
)

// MaxLines is how many stones one order may hold.
const MaxLines = 100

// State is an order as far as has happened. Rules:
//
//  1. An order is placed once, with at least one stone, each once, all in one currency.
//  2. Money for it never exceeds what is open: the prices of the stones that didn't come back, less what
//     was paid of them.
//  3. Money covers the stones in their order, each up to its price; those that came back get none.
//  4. Each stone comes back at most once.
//  5. A refund is for a stone that came back, once, and is all that was paid for it.
//
// States are shared between goroutines: nothing that is reachable from one is ever
// changed.
type State struct {
	ID       string
	Buyer    string
	Currency string
	Lines    []Line
}

// Line is one stone of an order. Amounts are minor units.
type Line struct {
	StoneID  string
	ParcelID string
	Seller   string
	Price    int64
	Paid     int64 // what was paid of it, refunded money taken off
	Returned bool
	Refunded bool
}

// Open is what still has to be paid of the line.
func (l Line) Open() int64 {
	if l.Returned {
		return 0
	}
	return l.Price - l.Paid
}

// Total is what the order comes to, stones that came back left out.
func (s State) Total() int64 {
	var sum int64
	for _, l := range s.Lines {
		if !l.Returned {
			sum += l.Price
		}
	}
	return sum
}

// Paid is what came in, refunds taken off.
func (s State) Paid() int64 {
	var sum int64
	for _, l := range s.Lines {
		sum += l.Paid
	}
	return sum
}

// Open is what still has to be paid.
func (s State) Open() int64 {
	var sum int64
	for _, l := range s.Lines {
		sum += l.Open()
	}
	return sum
}

// Line finds a stone's line.
func (s State) Line(stoneID string) (Line, bool) {
	i := slices.IndexFunc(s.Lines, func(l Line) bool { return l.StoneID == stoneID })
	if i < 0 {
		return Line{}, false
	}
	return s.Lines[i], true
}

// Spread says how much of an amount each line gets (rule 3). The amounts add up to it
// as long as it isn't above Open.
func Spread(lines []Line, amount int64) []int64 {
	parts := make([]int64, len(lines))
	for i, l := range lines {
		parts[i] = min(amount, l.Open())
		amount -= parts[i]
	}
	return parts
}

// Place places the order (rule 1). That each stone is on sale at its price is the
// stone's rule.
func (s State) Place(id, buyer, currency string, lines []Line) (*orderv1.Event, error) {
	if s.ID != "" {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: s.ID, Rule: "an order is placed once", Hint: "look it up under this id"}
	}
	var broken rule.All
	if n := len(lines); n < 1 || n > MaxLines {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "items", Value: fmt.Sprintf("%d stones", n), Rule: fmt.Sprintf("an order has 1 to %d", MaxLines), Hint: "split the order"})
	}
	placed := &orderv1.Placed{
		Public:  &orderv1.Placed_Public{OrderId: id},
		Private: &orderv1.Placed_Private{BuyerId: buyer, Currency: currency},
	}
	var total int64
	for i, l := range lines {
		at := fmt.Sprintf("items[%d]", i)
		if slices.ContainsFunc(lines[:i], func(o Line) bool { return o.StoneID == l.StoneID }) {
			broken.Add(rule.Broken{Reason: rule.NamedTwice, Field: at + ".stone_id", Value: l.StoneID, Rule: "a stone is ordered once", Hint: "leave it out"})
		}
		broken.Positive(at+".price", &eventv1.Amount{Currency: currency, Minor: l.Price})
		if total += l.Price; total > money.Max {
			broken.Add(rule.Broken{Reason: rule.AmountInvalid, Field: at + ".price", Value: fmt.Sprint(l.Price), Rule: "with it the order is above what one amount can be", Hint: "split the order"})
			break
		}
		placed.Private.Lines = append(placed.Private.Lines, &orderv1.Line{StoneId: l.StoneID, ParcelId: l.ParcelID, SellerId: l.Seller, PriceMinor: l.Price})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &orderv1.Event{Event: &orderv1.Event_Placed{Placed: placed}}, nil
}

// OneCurrency refuses items that ask different currencies (rule 1).
func OneCurrency(prices []*eventv1.Amount) (string, error) {
	var broken rule.All
	for i, p := range prices {
		broken.Currency(fmt.Sprintf("items[%d].price", i), p, prices[0].GetCurrency())
	}
	if len(prices) == 0 {
		return "", broken.Err()
	}
	return prices[0].GetCurrency(), broken.Err()
}

// Pay records money that came in (rules 2 and 3).
func (s State) Pay(amount *eventv1.Amount, reference string) (*orderv1.Event, error) {
	if err := s.checkMoney(amount, reference); err != nil {
		return nil, err
	}
	if open := s.Open(); amount.GetMinor() > open {
		return nil, rule.Broken{
			Reason: rule.AboveWhatIsOwed, Field: "amount", Value: rule.Money(amount),
			Rule: s.money(open) + " of the order is still open, and no more is taken", Hint: "record what is open and hold the rest as the payer's money",
		}
	}
	return &orderv1.Event{Event: &orderv1.Event_Paid{Paid: &orderv1.Paid{
		Public:  &orderv1.Paid_Public{OrderId: s.ID},
		Private: &orderv1.Paid_Private{Amount: amount, Reference: reference},
	}}}, nil
}

// Return records that a stone is back with its cutter (rule 4).
func (s State) Return(stoneID string) (*orderv1.Event, error) {
	l, ok := s.Line(stoneID)
	if !ok {
		return nil, rule.NotThere("stone_id", "stone in an order")
	}
	if l.Returned {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Field: "stone_id", Value: stoneID, Rule: "the stone of this order came back before", Hint: "nothing needs to be done"}
	}
	return &orderv1.Event{Event: &orderv1.Event_Returned{Returned: &orderv1.Returned{
		Public: &orderv1.Returned_Public{OrderId: s.ID, StoneId: stoneID}, Private: &orderv1.Returned_Private{},
	}}}, nil
}

// Refund records that the money for a returned stone was paid back (rule 5).
func (s State) Refund(stoneID string, amount *eventv1.Amount, reference string) (*orderv1.Event, error) {
	if err := s.checkMoney(amount, reference); err != nil {
		return nil, err
	}
	l, ok := s.Line(stoneID)
	switch {
	case !ok:
		return nil, rule.NotThere("stone_id", "stone in this order")
	case !l.Returned:
		return nil, rule.Broken{Reason: rule.NotReturned, Field: "stone_id", Value: stoneID, Rule: "money is paid back after the stone came back", Hint: "let its cutter accept the return first"}
	case l.Refunded || l.Paid == 0:
		return nil, rule.Broken{Reason: rule.NothingToRefund, Field: "stone_id", Value: stoneID, Rule: "nothing that was paid for this stone is left to pay back", Hint: "nothing needs to be done"}
	case amount.GetMinor() != l.Paid:
		return nil, rule.Broken{Reason: rule.RefundDiffers, Field: "amount", Value: rule.Money(amount), Rule: "a refund is all that was paid for the stone: " + s.money(l.Paid), Hint: "pay back this amount"}
	}
	return &orderv1.Event{Event: &orderv1.Event_Refunded{Refunded: &orderv1.Refunded{
		Public:  &orderv1.Refunded_Public{OrderId: s.ID, StoneId: stoneID},
		Private: &orderv1.Refunded_Private{Amount: amount, Reference: reference},
	}}}, nil
}

func (s State) checkMoney(amount *eventv1.Amount, reference string) error {
	if s.ID == "" {
		return rule.NotThere("order_id", "order")
	}
	var broken rule.All
	broken.Positive("amount", amount)
	broken.Currency("amount", amount, s.Currency)
	broken.Text("reference", reference, 80)
	return broken.Err()
}

func (s State) money(minor int64) string {
	return rule.Money(&eventv1.Amount{Currency: s.Currency, Minor: minor})
}

// Evolve folds one event.
func Evolve(s State, e *orderv1.Event) State {
	switch e := e.GetEvent().(type) {
	case *orderv1.Event_Placed:
		p := e.Placed.GetPrivate()
		s.ID, s.Buyer, s.Currency = e.Placed.GetPublic().GetOrderId(), p.GetBuyerId(), p.GetCurrency()
		s.Lines = make([]Line, len(p.GetLines()))
		for i, l := range p.GetLines() {
			s.Lines[i] = Line{StoneID: l.GetStoneId(), ParcelID: l.GetParcelId(), Seller: l.GetSellerId(), Price: l.GetPriceMinor()}
		}
	case *orderv1.Event_Paid:
		s.Lines = slices.Clone(s.Lines)
		for i, part := range Spread(s.Lines, e.Paid.GetPrivate().GetAmount().GetMinor()) {
			s.Lines[i].Paid += part
		}
	case *orderv1.Event_Returned:
		s.change(e.Returned.GetPublic().GetStoneId(), func(l *Line) { l.Returned = true })
	case *orderv1.Event_Refunded:
		s.change(e.Refunded.GetPublic().GetStoneId(), func(l *Line) {
			l.Refunded = true
			l.Paid -= e.Refunded.GetPrivate().GetAmount().GetMinor()
		})
	}
	return s
}

// change replaces one line in a copy of the lines.
func (s *State) change(stoneID string, how func(*Line)) {
	s.Lines = slices.Clone(s.Lines)
	for i := range s.Lines {
		if s.Lines[i].StoneID == stoneID {
			how(&s.Lines[i])
		}
	}
}
