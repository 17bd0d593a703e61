package view

import (
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"

	"seamshare.example/eventstore"
)

// Orders is where a jeweller's orders are found.
//
//	buyer, member id, order id
type Orders struct{}

// Name implements eventstore.View.
func (Orders) Name() string { return "orders" }

// Version implements eventstore.View.
func (Orders) Version() uint32 { return 1 }

// Apply implements eventstore.View.
func (Orders) Apply(rows eventstore.Rows, rec eventstore.Record) error {
	event, ok := rec.Event.(*orderv1.Event)
	if !ok {
		return nil
	}
	if e := event.GetPlaced(); e != nil {
		rows.Set(key("buyer", e.GetPrivate().GetBuyerId(), e.GetPublic().GetOrderId()), present)
	}
	return nil
}

// ByBuyer gives the ids of a jeweller's orders, oldest first.
func (Orders) ByBuyer(r eventstore.Reader, memberID, after string, limit int) (orders []string, next string, err error) {
	return ids(r, table("buyer", memberID), after, limit)
}
