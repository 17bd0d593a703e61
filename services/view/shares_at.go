package view

import (
	"errors"
	"fmt"

	lotv1 "seamshare.example/proto/gen/seamshare/event/lot/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/stream"
)

// StatementAt reckons a parcel's shares as they were at an earlier position, which the
// rows no longer say: from the streams alone, by the same rules. ok is false where
// there was no deal.
func StatementAt(q *eventstore.Query, parcelID string, at eventstore.Position) (s Statement, ok bool, err error) {
	if q.Position() == at {
		v := Shares{}
		return v.Statement(q.View(v.Name()), parcelID)
	}
	return statementOf(q, parcelID, at)
}

// statementOf reckons a parcel's shares from its records up to a position; ok is false
// where there was no deal. It reads no row and no state that anybody kept.
func statementOf(h History, parcelID string, at eventstore.Position) (s Statement, ok bool, err error) {
	lot, err := fold(h, stream.Parcel, parcelID, at)
	if err != nil || !lot.LastDeal().Made() {
		return Statement{}, false, err
	}
	sales, err := ordersOf(h, lot, at)
	if err != nil {
		return Statement{}, false, fmt.Errorf("couldn't find the sales of parcel %s: %w", parcelID, err)
	}
	s, err = reckon(lot, sales)
	return s, err == nil, err
}

// fold folds a stream's records up to a position.
func fold[S any](h History, kind eventstore.Kind[S], id string, at eventstore.Position) (state S, err error) {
	records, err := h.Records(kind.Stream(id))
	if err != nil {
		return state, err
	}
	for _, rec := range records {
		if rec.Position <= at {
			state = kind.Evolve(state, rec.Event)
		}
	}
	return state, nil
}

// reckon is the statement of a parcel that has a deal, or had one that fell through, from
// itself and every order that its stones went into.
func reckon(lot parcel.State, sales map[string]order.State) (s Statement, err error) {
	deal := lot.LastDeal()
	s.Deal = Deal{ParcelID: lot.ID, Seller: lot.Seller, Buyer: deal.Buyer, Agreement: parcel.Terms(deal.Agreement)}
	t := totals{parcel: lot.PaidMinor, fallen: !lot.Deal.Made()}
	for kind, minor := range lot.Costs {
		t.addCost(kind, minor)
	}
	for _, o := range sales {
		for _, l := range o.Lines {
			if l.ParcelID != lot.ID {
				continue
			}
			if err := t.countLine(s.Deal, order.Line{}, l); err != nil {
				return Statement{}, err
			}
		}
	}
	return s, s.reckon(t)
}

// ordersOf finds every order that a stone or a counted lot of the parcel ever went into,
// by way of its pieces. It goes by what happened and not by what is: of a lot that was
// unmade nothing is sold, and money of it may still have to be paid back.
func ordersOf(h History, rough parcel.State, at eventstore.Position) (map[string]order.State, error) {
	found := orders{h: h, at: at, looked: map[eventstore.Stream]bool{}, all: map[string]order.State{}}
	for _, line := range rough.Lines {
		if err := found.from("piece", line.PieceID); err != nil {
			return nil, err
		}
	}
	return found.all, nil
}

// orders are those found so far, as they stood at a position.
type orders struct {
	h      History
	at     eventstore.Position
	looked map[eventstore.Stream]bool
	all    map[string]order.State
}

// from follows a piece, stone or lot to the orders that it, or what came of it, was sold in.
func (o orders) from(kind, id string) error {
	thing := eventstore.Stream(kind + "/" + id)
	if id == "" || o.looked[thing] {
		return nil
	}
	o.looked[thing] = true
	records, err := o.h.Records(thing)
	if err != nil {
		return err
	}
	for _, rec := range records {
		if rec.Position > o.at {
			break
		}
		switch event := rec.Event.(type) {
		case *piecev1.Event:
			err = errors.Join(o.from("stone", event.GetFinished().GetPublic().GetStoneId()), o.from("lot", event.GetMovedOn().GetPublic().GetLotId()))
		case *stonev1.Event:
			err = errors.Join(o.from("lot", event.GetPutInLot().GetPublic().GetLotId()), o.order(event.GetSold().GetPublic().GetOrderId()))
		case *lotv1.Event:
			err = o.order(event.GetPortionSold().GetPublic().GetOrderId())
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func (o orders) order(id string) (err error) {
	if _, known := o.all[id]; id != "" && !known {
		o.all[id], err = fold(o.h, stream.Order, id, o.at)
	}
	return err
}
