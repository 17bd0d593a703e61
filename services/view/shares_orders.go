package view

import (
	"fmt"

	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"

	"seamshare.example/eventstore"
)

// soldLine is a stone of an order as the books know it.
type soldLine struct {
	stone, parcel string
	price         int64
	paid          int64
	back          bool // it went back, so no more money covers it
}

// soldLines are an order's rows: what was sold, written once, and what is paid of it.
type soldLines struct {
	currency string
	lines    []soldLine
}

func (s soldLines) sold() []byte {
	r := row{}.text(s.currency).count(len(s.lines))
	for _, l := range s.lines {
		r = r.text(l.stone).text(l.parcel).int(l.price)
	}
	return r
}

func (s soldLines) paid() []byte {
	var r row
	for _, l := range s.lines {
		r = r.int(l.paid).flag(l.back)
	}
	return r
}

func readSoldLines(sold, paid []byte) (soldLines, error) {
	f := read(sold)
	s := soldLines{currency: f.text()}
	for range f.count() {
		s.lines = append(s.lines, soldLine{stone: f.text(), parcel: f.text(), price: f.int()})
	}
	if err := f.done("shares", "sold order"); err != nil || paid == nil {
		return s, err
	}
	f = read(paid)
	for i := range s.lines {
		s.lines[i].paid, s.lines[i].back = f.int(), f.flag()
	}
	return s, f.done("shares", "paid order")
}

func (v Shares) order(rows eventstore.Rows, event *orderv1.Event) error {
	switch e := event.Event.(type) {
	case *orderv1.Event_Placed:
		p := e.Placed.GetPrivate()
		s := soldLines{currency: p.GetCurrency()}
		for _, l := range p.GetLines() {
			s.lines = append(s.lines, soldLine{stone: l.GetStoneId(), parcel: l.GetParcelId(), price: l.GetPriceMinor()})
		}
		rows.Set(key("order", e.Placed.GetPublic().GetOrderId()), s.sold())
	case *orderv1.Event_Paid:
		amount := e.Paid.GetPrivate().GetAmount()
		return v.changeOrder(rows, event, e.Paid.GetPublic().GetOrderId(), amount.GetCurrency(), func(s soldLines) error {
			return s.cover(amount.GetMinor())
		})
	case *orderv1.Event_Returned:
		p := e.Returned.GetPublic()
		return v.changeOrder(rows, event, p.GetOrderId(), "", func(s soldLines) error {
			l, err := s.find(p.GetStoneId())
			if err == nil {
				l.back = true
			}
			return err
		})
	case *orderv1.Event_Refunded:
		p, amount := e.Refunded.GetPublic(), e.Refunded.GetPrivate().GetAmount()
		return v.changeOrder(rows, event, p.GetOrderId(), amount.GetCurrency(), func(s soldLines) error {
			return s.refund(p.GetStoneId(), amount.GetMinor())
		})
	}
	return nil
}

// cover lets money cover the lines in their order.
func (s soldLines) cover(minor int64) error {
	for i := range s.lines {
		l := &s.lines[i]
		if l.back {
			continue
		}
		part := min(minor, l.price-l.paid)
		l.paid += part
		minor -= part
	}
	if minor > 0 {
		return fmt.Errorf("%d is more than was open", minor)
	}
	return nil
}

func (s soldLines) find(stone string) (*soldLine, error) {
	for i := range s.lines {
		if s.lines[i].stone == stone {
			return &s.lines[i], nil
		}
	}
	return nil, fmt.Errorf("stone %s is not in it", stone)
}

func (s soldLines) refund(stone string, minor int64) error {
	l, err := s.find(stone)
	if err != nil {
		return err
	}
	if !l.back || l.paid != minor {
		return fmt.Errorf("%d for stone %s, of which %d is paid, returned: %t", minor, stone, l.paid, l.back)
	}
	l.paid = 0
	return nil
}

// changeOrder changes what is paid of an order's lines, and posts what that changes
// for each parcel. currency is empty where no money moves.
func (v Shares) changeOrder(rows eventstore.Rows, event *orderv1.Event, id, currency string, change func(soldLines) error) error {
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
	s, err := readSoldLines(sold, paid)
	if err != nil {
		return err
	}
	if currency != "" && currency != s.currency {
		return unexpected(v.Name(), event, "order %s is in %s, not %s", id, s.currency, currency)
	}
	before := make([]int64, len(s.lines))
	for i, l := range s.lines {
		before[i] = l.paid
	}
	if err := change(s); err != nil {
		return unexpected(v.Name(), event, "order %s: %v", id, err)
	}
	rows.Set(key("paid", id), s.paid())
	return v.postLines(rows, event, s, before)
}

// postLines posts the change of the lines' payments, once for each parcel.
func (v Shares) postLines(rows eventstore.Rows, event *orderv1.Event, s soldLines, before []int64) error {
	done := map[string]bool{}
	for first, l := range s.lines {
		if l.paid == before[first] || done[l.parcel] {
			continue
		}
		done[l.parcel] = true
		err := v.post(rows, event, l.parcel, s.currency, func(deal Deal, t *totals) error {
			for i := first; i < len(s.lines); i++ {
				if s.lines[i].parcel != l.parcel {
					continue
				}
				if err := s.lines[i].count(deal, t, before[i]); err != nil {
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

// count puts what is paid of the line now, where it was before, into the totals.
func (l soldLine) count(deal Deal, t *totals, before int64) error {
	levy := deal.Agreement.SaleLevy
	was, err := levy.OfPayment(l.price, before)
	if err != nil {
		return err
	}
	is, err := levy.OfPayment(l.price, l.paid)
	if err != nil {
		return err
	}
	t.sales.Amount += l.paid - before
	t.sales.Levies += is - was
	return nil
}
