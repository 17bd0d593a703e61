package view

import (
	"fmt"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/share"
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
	lot, _, err := eventstore.LoadAt(q, stream.Parcel, parcelID, at)
	if err != nil || !lot.Deal.Made() {
		return Statement{}, false, err
	}
	orders, err := ordersOf(q, lot, at)
	if err != nil {
		return Statement{}, false, fmt.Errorf("couldn't find the sales of parcel %s: %w", parcelID, err)
	}
	s, err = reckon(lot, orders)
	return s, err == nil, err
}

// reckon is the statement of a parcel that has a deal, from itself and every order that
// its stones went into.
func reckon(lot parcel.State, orders map[string]order.State) (s Statement, err error) {
	s.Deal = Deal{ParcelID: lot.ID, Seller: lot.Seller, Buyer: lot.Deal.Buyer, Agreement: parcel.Terms(lot.Deal.Agreement)}
	t := totals{parcel: lot.PaidMinor}
	for kind, minor := range lot.Costs {
		t.addCost(kind, minor)
	}
	for _, o := range orders {
		for _, l := range o.Lines {
			if l.ParcelID != lot.ID {
				continue
			}
			if err := t.countLine(s.Deal, l, 0); err != nil {
				return Statement{}, err
			}
		}
	}
	if s.Totals, err = t.under(s.Agreement); err != nil {
		return Statement{}, err
	}
	s.Shares, err = share.Entitlement(s.Agreement, s.Totals)
	return s, err
}

// ordersOf finds every order that a stone of the parcel ever went into, by way of its
// pieces.
func ordersOf(q *eventstore.Query, lot parcel.State, at eventstore.Position) (map[string]order.State, error) {
	orders := map[string]order.State{}
	for _, line := range lot.Lines {
		rough, _, err := eventstore.LoadAt(q, stream.Piece, line.PieceID, at)
		if err != nil {
			return nil, err
		}
		for _, part := range rough.Parts {
			if part.StoneID == "" {
				continue
			}
			if err := addOrders(q, orders, part.StoneID, at); err != nil {
				return nil, err
			}
		}
	}
	return orders, nil
}

func addOrders(q *eventstore.Query, orders map[string]order.State, stoneID string, at eventstore.Position) error {
	records, err := q.Records(stream.Stone.Stream(stoneID))
	if err != nil {
		return err
	}
	for _, rec := range records {
		event, _ := rec.Event.(*stonev1.Event)
		id := event.GetSold().GetPublic().GetOrderId()
		if _, known := orders[id]; id == "" || known || rec.Position > at {
			continue
		}
		if orders[id], _, err = eventstore.LoadAt(q, stream.Order, id, at); err != nil {
			return err
		}
	}
	return nil
}
