package view

import (
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"

	"seamshare.example/eventstore"
)

// Parcels is where parcels are found; what each is, its stream tells.
//
//	market, parcel id            while it can be had
//	seller, member id, parcel id
//	buyer, member id, parcel id  from the deal on
type Parcels struct{}

// Name implements eventstore.View.
func (Parcels) Name() string { return "parcels" }

// Version implements eventstore.View.
func (Parcels) Version() uint32 { return 1 }

// Apply implements eventstore.View.
func (Parcels) Apply(rows eventstore.Rows, rec eventstore.Record) error {
	event, ok := rec.Event.(*parcelv1.Event)
	if !ok {
		return nil
	}
	switch e := event.Event.(type) {
	case *parcelv1.Event_Listed:
		id := e.Listed.GetPublic().GetParcelId()
		rows.Set(key("market", id), present)
		rows.Set(key("seller", e.Listed.GetPrivate().GetSellerId(), id), present)
	case *parcelv1.Event_DealMade:
		id := e.DealMade.GetPublic().GetParcelId()
		rows.Delete(key("market", id))
		rows.Set(key("buyer", e.DealMade.GetPrivate().GetBuyerId(), id), present)
	}
	return nil
}

// Market gives the ids of the parcels that are listed or under offer, oldest first.
func (Parcels) Market(r eventstore.Reader, after string, limit int) (parcels []string, next string, err error) {
	return ids(r, table("market"), after, limit)
}

// BySeller gives the ids of the parcels a miner listed, oldest first.
func (Parcels) BySeller(r eventstore.Reader, memberID, after string, limit int) (parcels []string, next string, err error) {
	return ids(r, table("seller", memberID), after, limit)
}

// ByBuyer gives the ids of the parcels a cutter has a deal for, oldest first.
func (Parcels) ByBuyer(r eventstore.Reader, memberID, after string, limit int) (parcels []string, next string, err error) {
	return ids(r, table("buyer", memberID), after, limit)
}
