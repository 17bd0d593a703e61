package view

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	lotv1 "seamshare.example/proto/gen/seamshare/event/lot/v1"
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
// by way of its pieces.
func ordersOf(h History, rough parcel.State, at eventstore.Position) (map[string]order.State, error) {
	found := orders{h: h, at: at, all: map[string]order.State{}}
	for _, line := range rough.Lines {
		piece, err := fold(h, stream.Piece, line.PieceID, at)
		if err != nil {
			return nil, err
		}
		for _, part := range piece.Parts {
			if err := found.ofLot(part.LotID); err != nil {
				return nil, err
			}
			if err := found.ofStone(part.StoneID); err != nil {
				return nil, err
			}
		}
	}
	return found.all, nil
}

// orders are those found so far, as they stood at a position.
type orders struct {
	h   History
	at  eventstore.Position
	all map[string]order.State
}

func (o orders) ofStone(id string) error {
	if id == "" {
		return nil
	}
	st, err := fold(o.h, stream.Stone, id, o.at)
	if err != nil {
		return err
	}
	if err := o.ofLot(st.LotID); err != nil {
		return err
	}
	return o.in(stream.Stone.Stream(id), func(event proto.Message) string {
		e, _ := event.(*stonev1.Event)
		return e.GetSold().GetPublic().GetOrderId()
	})
}

// ofLot: a lot of which something was sold isn't taken apart any more.
func (o orders) ofLot(id string) error {
	if id == "" {
		return nil
	}
	return o.in(stream.Lot.Stream(id), func(event proto.Message) string {
		e, _ := event.(*lotv1.Event)
		return e.GetPortionSold().GetPublic().GetOrderId()
	})
}

// in adds the orders that a thing was sold in, found in its records by sold.
func (o orders) in(thing eventstore.Stream, sold func(proto.Message) string) error {
	records, err := o.h.Records(thing)
	if err != nil {
		return err
	}
	for _, rec := range records {
		id := sold(rec.Event)
		if _, known := o.all[id]; id == "" || known || rec.Position > o.at {
			continue
		}
		if o.all[id], err = fold(o.h, stream.Order, id, o.at); err != nil {
			return err
		}
	}
	return nil
}
