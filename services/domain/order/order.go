// Package order holds a jeweller's purchase: its stones, the money for them, and what
// came back.
//
// Deciding methods look at a State and return what happened or a refusal (package
// rule); Evolve assigns and never refuses. All of it is pure.
package order

import (
	"fmt"
	"slices"
	"time"

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
//  5. A refund is all that has to be paid back for a stone: all that was paid for one that came back, what was paid above
//     its price for one whose price was reduced.
//  6. It is called off only while nothing was paid and nothing sent, and not where the jeweller had the stones before, nor where
//     they were cut to order: an accepted promise binds.
//  7. Stones are sent once, by their cutter, measured, when the deposit is in, or all of the money where there is none.
//     What a jeweller had on approval needs no sending. Portions of lots go with them, counted and weighed.
//  8. The jeweller receives what was sent, once; the times for returns and claims run from then.
//  9. Within the return period the jeweller sends stones back as they please; the cutter may take them back at any time.
//  10. Damage is claimed within its own period, once for a stone, and answered once.
//  11. A price is reduced by no more than what it is.
//  12. It has to be paid by a moment that stands from when it is made. Later, while money is open, a cutter may call off what
//     was sold of theirs and wasn't sent: it goes back as it was, and what was paid of it is paid back. Not what was cut to
//     order, which the cutter takes back instead, nor what the jeweller had before.
//
// A line is a stone, or a portion of a counted lot, each once in an order.
// States are shared between goroutines: nothing that is reachable from one is ever
// changed.
type State struct {
	ID       string
	Buyer    string
	Currency string
	Lines    []Line

	Deposit     int64  // minor units; 0: all of it comes first
	ApprovalID  string // of which it buys; empty: none
	PromiseID   string // that it delivers; empty: none
	PayBy       time.Time
	Cancelled   bool
	ReturnUntil time.Time // of what was received last
	ClaimUntil  time.Time
}

// Line is one stone of an order, or a portion of a lot. Amounts are minor units.
type Line struct {
	StoneID  string
	ParcelID string
	Seller   string
	SetID    string
	Price    int64 // as it is now, reductions taken off
	Paid     int64 // what was paid of it, refunded money taken off
	Returned bool
	Refunded bool

	LotID    string // in place of a stone
	Count    uint32 // of the lot's pieces
	Weighing *eventv1.Weighing

	Reduced int64 // what was taken off the price it was sold at
	Delivery
}

// ID is the stone's id, or the lot's.
func (l Line) ID() string {
	if l.LotID != "" {
		return l.LotID
	}
	return l.StoneID
}

// Open is what still has to be paid of the line.
func (l Line) Open() int64 {
	if l.Returned {
		return 0
	}
	return max(0, l.Price-l.Paid)
}

// RefundDue is what has to be paid back for the line (rule 5).
func (l Line) RefundDue() int64 {
	if l.Returned {
		return l.Paid
	}
	return max(0, l.Paid-l.Price)
}

// Total is what the order comes to, stones that came back left out.
func (s State) Total() int64 {
	var sum int64
	for _, l := range s.Lines {
		if !l.Returned && !s.Cancelled {
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
	if s.Cancelled {
		return 0
	}
	for _, l := range s.Lines {
		sum += l.Open()
	}
	return sum
}

// Line finds the line of a stone or lot.
func (s State) Line(id string) (Line, bool) {
	i := slices.IndexFunc(s.Lines, func(l Line) bool { return l.ID() == id })
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

// Terms are what an order is placed under beside its lines.
type Terms struct {
	Deposit    *eventv1.Amount // nil: none
	ApprovalID string
	ClaimUntil time.Time // of stones bought from an approval
	PromiseID  string
	PayBy      time.Time
}

// Place places the order (rule 1). That each stone is on sale at its price is the
// stone's rule.
func (s State) Place(id, buyer, currency string, lines []Line, terms Terms) (*orderv1.Event, error) {
	if s.ID != "" {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: s.ID, Rule: "an order is placed once", Hint: "look it up under this id"}
	}
	var broken rule.All
	if n := len(lines); n < 1 || n > MaxLines {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "items", Value: fmt.Sprintf("%d stones", n), Rule: fmt.Sprintf("an order has 1 to %d", MaxLines), Hint: "split the order"})
	}
	placed := &orderv1.Placed{
		Public:  &orderv1.Placed_Public{OrderId: id},
		Private: &orderv1.Placed_Private{BuyerId: buyer, Currency: currency, DepositMinor: terms.Deposit.GetMinor(), ApprovalId: terms.ApprovalID, PromiseId: terms.PromiseID},
	}
	if !terms.PayBy.IsZero() {
		placed.Private.PayByUs = terms.PayBy.UnixMicro()
	}
	if terms.ApprovalID != "" {
		placed.Private.ClaimUntilUs = terms.ClaimUntil.UnixMicro()
	}
	var total int64
	items := slices.IndexFunc(lines, func(l Line) bool { return l.LotID != "" })
	for i, l := range lines {
		at := fmt.Sprintf("items[%d]", i)
		if l.LotID != "" { // portions of lots stand behind the stones
			at = fmt.Sprintf("lots[%d]", i-items)
		}
		if slices.IndexFunc(lines, func(o Line) bool { return o.ID() == l.ID() }) != i {
			field := at + ".stone_id"
			if l.LotID != "" {
				field = at + ".lot_id"
			}
			broken.Add(rule.Broken{Reason: rule.NamedTwice, Field: field, Value: l.ID(), Rule: "a stone or lot is ordered once", Hint: "leave it out"})
		}
		if l.Seller == buyer {
			broken.Add(rule.Broken{Reason: rule.OwnStone, Field: at, Value: l.ID(), Rule: "it is your own", Hint: "leave it out"})
		}
		broken.Positive(at+".price", &eventv1.Amount{Currency: currency, Minor: l.Price})
		if total += l.Price; total > money.Max {
			broken.Add(rule.Broken{Reason: rule.AmountInvalid, Field: at + ".price", Value: fmt.Sprint(l.Price), Rule: "with it the order is above what one amount can be", Hint: "split the order"})
			break
		}
		placed.Private.Lines = append(placed.Private.Lines, &orderv1.Line{
			StoneId: l.StoneID, ParcelId: l.ParcelID, SellerId: l.Seller, PriceMinor: l.Price, SetId: l.SetID,
			LotId: l.LotID, Count: l.Count, Weighing: l.Weighing,
		})
	}
	if d := terms.Deposit; d != nil {
		broken.Positive("deposit", d)
		broken.Currency("deposit", d, currency)
		if d.GetMinor() > total {
			broken.Add(rule.Broken{Reason: rule.AmountInvalid, Field: "deposit", Value: rule.Money(d), Rule: "a deposit is no more than the order", Hint: "leave it out to pay all of it first"})
		}
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

func (s State) checkMoney(amount *eventv1.Amount, reference string) error {
	if s.ID == "" {
		return rule.NotThere("order_id", "order")
	}
	if s.Cancelled {
		return s.over()
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
