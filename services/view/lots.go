package view

import (
	lotv1 "seamshare.example/proto/gen/seamshare/event/lot/v1"
	promisev1 "seamshare.example/proto/gen/seamshare/event/promise/v1"

	"seamshare.example/eventstore"
)

// Lots is where counted lots and promises to cut are found; what each is, its stream
// tells.
//
//	cutter, member id, lot id
//	sale, lot id               while it is on sale
//	promise, member id, promise id: of the cutter and of the jeweller
type Lots struct{}

// Name implements eventstore.View.
func (Lots) Name() string { return "lots" }

// Version implements eventstore.View.
func (Lots) Version() uint32 { return 1 }

// Apply implements eventstore.View.
func (Lots) Apply(rows eventstore.Rows, rec eventstore.Record) error {
	switch event := rec.Event.(type) {
	case *lotv1.Event:
		switch e := event.GetEvent().(type) {
		case *lotv1.Event_Made:
			rows.Set(key("cutter", e.Made.GetPublic().GetCutterId(), e.Made.GetPublic().GetLotId()), present)
		case *lotv1.Event_PutOnSale:
			rows.Set(key("sale", e.PutOnSale.GetPublic().GetLotId()), present)
		case *lotv1.Event_TakenOffSale:
			rows.Delete(key("sale", e.TakenOffSale.GetPublic().GetLotId()))
		case *lotv1.Event_Unmade:
			rows.Delete(key("sale", e.Unmade.GetPublic().GetLotId()))
		}
	case *promisev1.Event:
		if e := event.GetMade(); e != nil {
			id := e.GetPublic().GetPromiseId()
			rows.Set(key("promise", e.GetPrivate().GetCutterId(), id), present)
			rows.Set(key("promise", e.GetPrivate().GetJewellerId(), id), present)
		}
	}
	return nil
}

// ByCutter gives the ids of a cutter's lots, oldest first.
func (Lots) ByCutter(r eventstore.Reader, memberID, after string, limit int) (lots []string, next string, err error) {
	return ids(r, table("cutter", memberID), after, limit)
}

// OnSale gives the ids of the lots that were put on sale and not taken off it, oldest
// first; one that is sold out since is among them.
func (Lots) OnSale(r eventstore.Reader, after string, limit int) (lots []string, next string, err error) {
	return ids(r, table("sale"), after, limit)
}

// Promises gives the ids of a member's promises, made or received, oldest first.
func (Lots) Promises(r eventstore.Reader, memberID, after string, limit int) (promises []string, next string, err error) {
	return ids(r, table("promise", memberID), after, limit)
}
