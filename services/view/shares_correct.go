package view

import (
	"fmt"
	"strconv"
	"strings"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/share"
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
			return v.correctOrder(rows, rec, event, id, change)
		}
		return v.corrected(rows, rec, event, id, p.GetRight().GetCurrency(), func(_ Deal, t *totals) error {
			t.parcel += change
			return nil
		})
	case *correctionv1.Event_RefundCorrected:
		p := e.RefundCorrected.GetPrivate()
		change := p.GetWas().GetMinor() - p.GetRight().GetMinor()
		if kind == "order" {
			return v.correctOrder(rows, rec, event, id, change)
		}
		return v.corrected(rows, rec, event, id, p.GetRight().GetCurrency(), func(_ Deal, t *totals) error {
			t.parcel += change
			return nil
		})
	case *correctionv1.Event_CostCorrected:
		p := e.CostCorrected.GetPrivate()
		return v.corrected(rows, rec, event, id, p.GetRight().GetCurrency(), func(_ Deal, t *totals) error {
			t.addCost(p.GetKind(), p.GetRight().GetMinor()-p.GetWas().GetMinor())
			return nil
		})
	case *correctionv1.Event_PriceCorrected:
		if kind == "parcel" {
			return v.correctDeal(rows, rec, event, id, e.PriceCorrected.GetPrivate().GetAgreement())
		}
		return v.correctOrder(rows, rec, event, id, 0)
	}
	return nil
}

// corrected posts a correction's change, and notes by how much it moved each share.
func (v Shares) corrected(rows eventstore.Rows, rec eventstore.Record, event *correctionv1.Event, parcelID, currency string, change func(Deal, *totals) error) error {
	posts, err := v.postings(rows, event, parcelID, currency, change)
	if err != nil {
		return err
	}
	noteCorrection(rows, rec, parcelID, posts)
	return nil
}

func noteCorrection(rows eventstore.Rows, rec eventstore.Record, parcelID string, posts []share.Posting) {
	var moved []Moved
	for _, p := range posts {
		if p.Class == share.ClassShare {
			moved = append(moved, Moved{p.Account, p.Amount})
		}
	}
	rows.Set(key("corrected", parcelID, placeOf(rec.Position)), movedRow(moved))
}

func movedRow(moved []Moved) row {
	r := row{}.count(len(moved))
	for _, m := range moved {
		r = r.text(m.Party).int(m.Minor)
	}
	return r
}

func readMoved(value []byte) (moved []Moved, err error) {
	f := read(value)
	for range f.count() {
		moved = append(moved, Moved{Party: f.text(), Minor: f.int()})
	}
	return moved, f.done("shares", "correction")
}

// correctDeal puts the agreement at the right price in the place of the deal's, and
// posts what each party has under it less what they had.
func (v Shares) correctDeal(rows eventstore.Rows, rec eventstore.Record, event *correctionv1.Event, parcelID string, right *parcelv1.Agreement) error {
	deal, ok, err := v.findDeal(rows, parcelID)
	if err != nil {
		return err
	}
	if !ok {
		return unexpected(v.Name(), event, "there is no deal on parcel %s", parcelID)
	}
	value, err := rows.Get(key("totals", parcelID))
	if err != nil {
		return err
	}
	t, err := readTotals(value)
	if err != nil {
		return err
	}
	before, err := entitlement(deal, t)
	if err != nil {
		return err
	}
	deal.Agreement = parcel.Terms(right)
	after, err := entitlement(deal, t)
	if err != nil {
		return unexpected(v.Name(), event, "parcel %s: %v", parcelID, err)
	}
	posts, err := share.Post(before, after)
	if err != nil {
		return unexpected(v.Name(), event, "parcel %s: %v", parcelID, err)
	}
	rows.Set(key("deal", parcelID), deal.row())
	noteCorrection(rows, rec, parcelID, posts)
	return book(rows, deal, 0, 0, posts)
}

// Correction is where a correction stands, and by how much it moved each party's share
// of a parcel.
type Correction struct {
	Position eventstore.Position
	Moved    []Moved
}

// Moved is by how much a party's share moved.
type Moved struct {
	Party string
	Minor int64
}

// Corrections gives those of a parcel's money, oldest first. A page holds at most
// MaxPage.
func (Shares) Corrections(r eventstore.Reader, parcelID, after string) (all []Correction, next string, err error) {
	next, err = page(r, table("corrected", parcelID), after, MaxPage, func(place string, value []byte) error {
		at, err := strconv.ParseUint(place, 16, 64)
		if err != nil {
			return fmt.Errorf("%w: view shares has a correction at %q", eventstore.ErrCorrupt, place)
		}
		moved, err := readMoved(value)
		all = append(all, Correction{eventstore.Position(at), moved})
		return err
	})
	return all, next, err
}

// correctOrder lets a correction change what was sold or paid in an order, by moved in
// all, and posts that for each parcel.
func (v Shares) correctOrder(rows eventstore.Rows, rec eventstore.Record, event *correctionv1.Event, id string, moved int64) error {
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
	if err := v.bounded(event, before, after, moved); err != nil {
		return err
	}
	rows.Set(key("order", id), soldRow(after))
	rows.Set(key("paid", id), paidRow(after))
	return postLines(before, after, func(parcelID string, change func(Deal, *totals) error) error {
		return v.corrected(rows, rec, event, parcelID, after.Currency, change)
	})
}
