package view_test

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/view"
)

// till is a book and its orders as the domain sees them.
type till struct {
	*book
	orders   map[string]order.State
	in, back int64 // money that came in and went back
}

func (c *till) did(id string, e *orderv1.Event, err error) {
	c.t.Helper()
	if err != nil {
		c.t.Fatal(err)
	}
	c.in += e.GetPaid().GetPrivate().GetAmount().GetMinor()
	c.back += e.GetRefunded().GetPrivate().GetAmount().GetMinor()
	c.orderEvent(id, e)
	c.orders[id] = order.Evolve(c.orders[id], e)
}

func (c *till) corrected(id string, e *correctionv1.Event) {
	c.t.Helper()
	c.record(eventstore.Stream("order/"+id), e)
	c.orders[id] = order.EvolveCorrection(c.orders[id], e)
}

// sales makes the same agreements and orders in a book of its own.
func sales(t rapid.TB, agreements map[string]*parcelv1.Agreement, orders map[string][]line) *till {
	t.Helper()
	c := &till{book: newBookRapid(t), orders: map[string]order.State{}}
	for _, id := range []string{"p1", "p2"} {
		c.list(id, "billycart", 3000, piece{"1", 5, "", ""})
		c.deal(id, "wetwheel", agreements[id])
	}
	for n := range len(orders) {
		id := fmt.Sprintf("o%d", n)
		c.did(id, placed(id, "marrow", orders[id]...), nil)
	}
	return c
}

// receipts is what the co-op's account has received.
func (c *till) receipts() int64 {
	c.t.Helper()
	coop, _, err := view.Shares{}.Balances(c.rows["shares"])
	if err != nil {
		c.t.Fatal(err)
	}
	if len(coop) == 0 {
		return 0
	}
	return coop[0].Receipts
}

// Part payments, reductions of a price, returns, refunds and corrections in any order: at every
// position the accounts add up to zero, and what they received is what came in less what
// went back. A reduction by itself moves no money.
func TestReductionsKeepTheAccountsClosed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		agreements, orders := tradeOn(t, newBookRapid(t))
		c := sales(t, agreements, orders)
		for range rapid.IntRange(1, 30).Draw(t, "events") {
			id := fmt.Sprintf("o%d", rapid.IntRange(0, len(orders)-1).Draw(t, "order"))
			o := c.orders[id]
			l := o.Lines[rapid.IntRange(0, len(o.Lines)-1).Draw(t, "line")]
			switch rapid.IntRange(0, 5).Draw(t, "event") {
			case 4: // a receipt, of which no more than all that is paid was wrong
				was := rapid.Int64Range(0, o.Paid()).Draw(t, "was")
				right := rapid.Int64Range(0, was+o.Open()).Draw(t, "right")
				if err := o.CorrectPaid(was, right); err != nil {
					t.Fatal(err)
				}
				c.corrected(id, receiptCorrected(was, right))
				c.in += right - was
			case 5:
				right := rapid.Int64Range(1, 6000).Draw(t, "right price")
				if o.CorrectPrice(l.StoneID, right) == nil {
					c.corrected(id, &correctionv1.Event{Event: &correctionv1.Event_PriceCorrected{PriceCorrected: &correctionv1.PriceCorrected{
						Public: &correctionv1.PriceCorrected_Public{}, Private: &correctionv1.PriceCorrected_Private{StoneId: l.StoneID, Right: aud(right)},
					}}})
					if is, _ := c.orders[id].Line(l.StoneID); is.Price != right-l.Reduced || is.RefundDue() > l.RefundDue() {
						t.Fatalf("with %d as the right price the line is %+v, was %+v", right, is, l)
					}
				}
			case 0:
				if open := o.Open(); open > 0 {
					e, err := o.Pay(aud(rapid.Int64Range(1, open).Draw(t, "part")), "bank")
					c.did(id, e, err)
				}
			case 1:
				if !l.Returned && l.Price > 0 {
					before := c.receipts()
					e, err := o.Reduce(l.StoneID, aud(rapid.Int64Range(1, l.Price).Draw(t, "by")), "crazed")
					c.did(id, e, err)
					if after := c.receipts(); after != before {
						t.Fatalf("a reduction moved %d", after-before)
					}
				}
			case 2:
				if !l.Returned {
					e, err := o.Return(l.StoneID)
					c.did(id, e, err)
				}
			case 3:
				if due := l.RefundDue(); due > 0 {
					e, err := o.Refund(l.StoneID, aud(due), "bank")
					c.did(id, e, err)
				}
			}
			accountsClose(t, c.book, []string{"p1", "p2"})
			if got := c.receipts(); got != c.in-c.back {
				t.Fatalf("%d came in, %d went back, the account received %d", c.in, c.back, got)
			}
		}
	})
}

// settle pays what is open and pays back what is due, until neither is left.
func (c *till) settle() {
	c.t.Helper()
	for n := range len(c.orders) {
		id := fmt.Sprintf("o%d", n)
		for _, l := range c.orders[id].Lines {
			if due := l.RefundDue(); due > 0 {
				e, err := c.orders[id].Refund(l.StoneID, aud(due), "bank")
				c.did(id, e, err)
			}
		}
		if open := c.orders[id].Open(); open > 0 {
			e, err := c.orders[id].Pay(aud(open), "bank")
			c.did(id, e, err)
		}
	}
}

// However payments, reductions and returns were mixed, once all is settled the balances
// are those of orders that were placed at the prices that hold in the end, without the
// stones that went back.
func TestTheWayToASettledOrderChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		agreements, orders := tradeOn(t, newBookRapid(t))
		c := sales(t, agreements, orders)
		for range rapid.IntRange(1, 25).Draw(t, "events") {
			id := fmt.Sprintf("o%d", rapid.IntRange(0, len(orders)-1).Draw(t, "order"))
			o := c.orders[id]
			l := o.Lines[rapid.IntRange(0, len(o.Lines)-1).Draw(t, "line")]
			switch what := rapid.IntRange(0, 3).Draw(t, "event"); {
			case what == 0 && o.Open() > 0:
				e, err := o.Pay(aud(rapid.Int64Range(1, o.Open()).Draw(t, "part")), "bank")
				c.did(id, e, err)
			case what == 1 && !l.Returned && l.Price > 1:
				e, err := o.Reduce(l.StoneID, aud(rapid.Int64Range(1, l.Price-1).Draw(t, "by")), "crazed")
				c.did(id, e, err)
			case what == 2 && !l.Returned:
				e, err := o.Return(l.StoneID)
				c.did(id, e, err)
			case what == 3 && l.RefundDue() > 0:
				e, err := o.Refund(l.StoneID, aud(l.RefundDue()), "bank")
				c.did(id, e, err)
			}
		}
		c.settle()
		straight := map[string][]line{}
		for n := range len(orders) {
			id := fmt.Sprintf("o%d", n)
			for _, l := range c.orders[id].Lines {
				if !l.Returned {
					straight[id] = append(straight[id], line{l.StoneID, l.ParcelID, l.Price})
				}
			}
			if len(straight[id]) == 0 { // an order needs a line; this one comes back unpaid
				straight[id] = orders[id][:1]
			}
		}
		s := sales(t, agreements, straight)
		for n := range len(orders) {
			id := fmt.Sprintf("o%d", n)
			if l := c.orders[id].Lines; allBack(l) {
				e, err := s.orders[id].Return(straight[id][0].stone)
				s.did(id, e, err)
			}
		}
		s.settle()
		if a, b := c.net(), s.net(); a != b {
			t.Fatalf("by the winding way\n%s\nstraight\n%s", a, b)
		}
	})
}

func allBack(lines []order.Line) bool {
	for _, l := range lines {
		if !l.Returned {
			return false
		}
	}
	return true
}

// net is what the accounts come to, accounts of nothing left out.
func (c *till) net() string {
	c.t.Helper()
	coop, members, err := view.Shares{}.Balances(c.rows["shares"])
	if err != nil {
		c.t.Fatal(err)
	}
	var words []string
	for _, a := range coop {
		if a.Receipts != 0 || a.Levies != 0 || a.Costs != 0 || a.Back != 0 {
			words = append(words, fmt.Sprint(a))
		}
	}
	for _, m := range members {
		if m.Minor != 0 {
			words = append(words, fmt.Sprint(m))
		}
	}
	return fmt.Sprint(words)
}
