package view

import (
	"strings"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/order"
)

// correct posts what a correction changes: the entitlement after it minus that before
// it, as any receipt or cost.
func (v Shares) correct(rows eventstore.Rows, rec eventstore.Record, event *correctionv1.Event) error {
	kind, id, _ := strings.Cut(string(rec.Stream), "/")
	switch e := event.GetEvent().(type) {
	case *correctionv1.Event_ReceiptCorrected:
		p := e.ReceiptCorrected.GetPrivate()
		change := p.GetRight().GetMinor() - p.GetWas().GetMinor()
		if kind == "order" {
			return v.correctOrder(rows, event, id, change)
		}
		return v.post(rows, event, id, p.GetRight().GetCurrency(), func(_ Deal, t *totals) error {
			t.parcel += change
			return nil
		})
	case *correctionv1.Event_CostCorrected:
		p := e.CostCorrected.GetPrivate()
		return v.post(rows, event, id, p.GetRight().GetCurrency(), func(_ Deal, t *totals) error {
			t.addCost(p.GetKind(), p.GetRight().GetMinor()-p.GetWas().GetMinor())
			return nil
		})
	case *correctionv1.Event_PriceCorrected:
		return v.correctOrder(rows, event, id, 0)
	}
	return nil
}

// correctOrder lets a correction change what was sold or paid in an order, by moved in
// all, and posts that for each parcel.
func (v Shares) correctOrder(rows eventstore.Rows, event *correctionv1.Event, id string, moved int64) error {
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
	after := order.EvolveCorrection(before, event)
	if after.Paid()-before.Paid() != moved {
		return unexpected(v.Name(), event, "of %d, %d found a stone of order %s", moved, after.Paid()-before.Paid(), id)
	}
	for _, l := range after.Lines {
		if l.Paid < 0 || l.Paid > l.Price {
			return unexpected(v.Name(), event, "it leaves a stone of order %s with less than nothing or more than its price paid", id)
		}
	}
	rows.Set(key("order", id), soldRow(after))
	rows.Set(key("paid", id), paidRow(after))
	return v.repostLines(rows, event, before, after)
}

// repostLines posts the change of the lines' payments and prices, once for each parcel:
// the levy of each line as it is, less the levy as it was.
func (v Shares) repostLines(rows eventstore.Rows, event *correctionv1.Event, before, after order.State) error {
	done := map[string]bool{}
	for _, l := range after.Lines {
		if done[l.ParcelID] {
			continue
		}
		done[l.ParcelID] = true
		err := v.post(rows, event, l.ParcelID, after.Currency, func(deal Deal, t *totals) error {
			for i, l2 := range after.Lines {
				if l2.ParcelID != l.ParcelID {
					continue
				}
				was := before.Lines[i]
				levyWas, err := deal.Agreement.SaleLevy.OfPayment(was.Price, was.Paid)
				if err != nil {
					return err
				}
				levyIs, err := deal.Agreement.SaleLevy.OfPayment(l2.Price, l2.Paid)
				if err != nil {
					return err
				}
				t.sales.Amount += l2.Paid - was.Paid
				t.sales.Levies += levyIs - levyWas
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}
