package view

import (
	"slices"

	"google.golang.org/protobuf/proto"

	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/order"
)

// An order has two rows: what was sold, written once, and what its lines cost and what
// is paid of them, written with each payment, return, reduction and refund. What a
// payment covers is package order's rule.

func soldRow(s order.State) []byte {
	r := row{}.text(s.Currency).count(len(s.Lines))
	for _, l := range s.Lines {
		r = r.text(l.StoneID).text(l.LotID).text(l.ParcelID).int(l.Price)
	}
	return r
}

func paidRow(s order.State) []byte {
	var r row
	for _, l := range s.Lines {
		r = r.int(l.Price).int(l.Reduced).int(l.Paid).flag(l.Returned)
	}
	return r
}

// readOrder reads an order as far as money needs it; paid is nil while nothing was.
func readOrder(id string, sold, paid []byte) (order.State, error) {
	s, err := readSold(id, sold)
	if err != nil || paid == nil {
		return s, err
	}
	return s, readPaid(s.Lines, paid)
}

func readSold(id string, value []byte) (order.State, error) {
	f := read(value)
	s := order.State{ID: id, Currency: f.text()}
	for range f.count() {
		s.Lines = append(s.Lines, order.Line{StoneID: f.text(), LotID: f.text(), ParcelID: f.text(), Price: f.int()})
	}
	return s, f.done("shares", "sold order")
}

// readPaid says of an order's lines what they cost and what is paid of them.
func readPaid(lines []order.Line, value []byte) error {
	f := read(value)
	for i := range lines {
		lines[i].Price, lines[i].Reduced, lines[i].Paid, lines[i].Returned = f.int(), f.int(), f.int(), f.flag()
	}
	return f.done("shares", "paid order")
}

func (v Shares) order(rows eventstore.Rows, event *orderv1.Event) error {
	switch e := event.Event.(type) {
	case *orderv1.Event_Placed:
		rows.Set(key("order", e.Placed.GetPublic().GetOrderId()), soldRow(order.Evolve(order.State{}, event)))
	case *orderv1.Event_Paid:
		amount := e.Paid.GetPrivate().GetAmount()
		return v.changeOrder(rows, event, e.Paid.GetPublic().GetOrderId(), amount.GetCurrency(), amount.GetMinor())
	case *orderv1.Event_Returned:
		return v.changeOrder(rows, event, e.Returned.GetPublic().GetOrderId(), "", 0)
	case *orderv1.Event_PriceReduced:
		return v.changeOrder(rows, event, e.PriceReduced.GetPublic().GetOrderId(), e.PriceReduced.GetPrivate().GetBy().GetCurrency(), 0)
	case *orderv1.Event_Refunded:
		amount := e.Refunded.GetPrivate().GetAmount()
		return v.changeOrder(rows, event, e.Refunded.GetPublic().GetOrderId(), amount.GetCurrency(), -amount.GetMinor())
	}
	return nil
}

// changeOrder lets an event change what is paid of an order's lines, by moved in all,
// and posts that for each parcel. currency is empty where no money moves.
func (v Shares) changeOrder(rows eventstore.Rows, event *orderv1.Event, id, currency string, moved int64) error {
	sold, err := rows.Get(key("order", id))
	if err != nil {
		return err
	}
	if sold == nil {
		return unexpected(v.Name(), event, "order %s was never placed", id)
	}
	paid, err := rows.Get(key("paid", id))
	if err != nil {
		return err
	}
	before, err := readOrder(id, sold, paid)
	if err != nil {
		return err
	}
	after := order.Evolve(before, event)
	if currency != "" && currency != before.Currency {
		return unexpected(v.Name(), event, "order %s is in %s, not %s", id, before.Currency, currency)
	}
	if err := v.bounded(event, before, after, moved); err != nil {
		return err
	}
	rows.Set(key("paid", id), paidRow(after))
	return postLines(before, after, func(parcelID string, change func(Deal, *totals) error) error {
		return v.post(rows, event, parcelID, after.Currency, change)
	})
}

// bounded refuses an event that lets money find no line, or leaves one with what can't be.
func (v Shares) bounded(event proto.Message, before, after order.State, moved int64) error {
	switch {
	case after.Paid()-before.Paid() != moved:
		return unexpected(v.Name(), event, "of %d, %d found a stone of order %s", moved, after.Paid()-before.Paid(), after.ID)
	case slices.ContainsFunc(after.Lines, func(l order.Line) bool { return l.Paid < 0 || l.Price < 0 || l.Paid > l.Price+l.Reduced }):
		return unexpected(v.Name(), event, "it leaves a stone of order %s with less than nothing or more than its price paid", after.ID)
	}
	return nil
}

// postLines posts the change of the lines' money, once for each parcel.
func postLines(before, after order.State, post func(parcelID string, change func(Deal, *totals) error) error) error {
	done := map[string]bool{}
	for first, l := range after.Lines {
		if was := before.Lines[first]; l.Paid == was.Paid && l.Price == was.Price && l.Returned == was.Returned || done[l.ParcelID] {
			continue
		}
		done[l.ParcelID] = true
		err := post(l.ParcelID, func(deal Deal, t *totals) error {
			for i := first; i < len(after.Lines); i++ {
				if after.Lines[i].ParcelID != l.ParcelID {
					continue
				}
				if err := t.countLine(deal, before.Lines[i], after.Lines[i]); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// countLine counts what is paid of a line now, where it was before, without what is to
// be paid back. What a line adds to the totals so follows from its own price and
// payments, not from the way there.
func (t *totals) countLine(deal Deal, was, is order.Line) error {
	levy := deal.Agreement.SaleLevy
	keptWas, kept := was.Paid-was.RefundDue(), is.Paid-is.RefundDue()
	before, err := levy.OfPayment(was.Price, keptWas)
	if err != nil {
		return err
	}
	now, err := levy.OfPayment(is.Price, kept)
	if err != nil {
		return err
	}
	t.sales.Amount += kept - keptWas
	t.sales.Levies += now - before
	t.salesBack += is.RefundDue() - was.RefundDue()
	return nil
}
