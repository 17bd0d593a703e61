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
//	parcel, parcel id, lot id
//	left, lot id               → how many are left, and whether a price is asked for them
//	sale, lot id               while it is on sale and some are left
//	promise, member id, promise id: of the cutter and of the jeweller
type Lots struct{}

// Name implements eventstore.View.
func (Lots) Name() string { return "lots" }

// Version implements eventstore.View.
func (Lots) Version() uint32 { return 1 }

// Apply implements eventstore.View.
func (v Lots) Apply(rows eventstore.Rows, rec eventstore.Record) error {
	switch event := rec.Event.(type) {
	case *lotv1.Event:
		return v.lot(rows, event)
	case *promisev1.Event:
		if e := event.GetMade(); e != nil {
			id := e.GetPublic().GetPromiseId()
			rows.Set(key("promise", e.GetPrivate().GetCutterId(), id), present)
			rows.Set(key("promise", e.GetPrivate().GetJewellerId(), id), present)
		}
	}
	return nil
}

func (Lots) lot(rows eventstore.Rows, event *lotv1.Event) error {
	var id string
	var change func(left int64, asked bool) (int64, bool)
	switch e := event.GetEvent().(type) {
	case *lotv1.Event_Made:
		p := e.Made.GetPublic()
		rows.Set(key("cutter", p.GetCutterId(), p.GetLotId()), present)
		rows.Set(key("parcel", p.GetParcelId(), p.GetLotId()), present)
		id, change = p.GetLotId(), func(int64, bool) (int64, bool) { return int64(p.GetCount()), false }
	case *lotv1.Event_PutOnSale:
		id, change = e.PutOnSale.GetPublic().GetLotId(), func(left int64, _ bool) (int64, bool) { return left, true }
	case *lotv1.Event_TakenOffSale:
		id, change = e.TakenOffSale.GetPublic().GetLotId(), func(left int64, _ bool) (int64, bool) { return left, false }
	case *lotv1.Event_Unmade:
		id, change = e.Unmade.GetPublic().GetLotId(), func(left int64, _ bool) (int64, bool) { return left, false }
	case *lotv1.Event_PortionSold:
		p := e.PortionSold.GetPublic()
		id, change = p.GetLotId(), func(left int64, asked bool) (int64, bool) { return left - int64(p.GetCount()), asked }
	case *lotv1.Event_PortionReturned:
		p := e.PortionReturned.GetPublic()
		id, change = p.GetLotId(), func(left int64, asked bool) (int64, bool) {
			return left + int64(p.GetCount()), asked && (left > 0 || p.GetCalledOff()) // what was sold out is in stock
		}
	case *lotv1.Event_Counted:
		p := e.Counted.GetPublic()
		id, change = p.GetLotId(), func(_ int64, asked bool) (int64, bool) { return int64(p.GetCount()), asked }
	default:
		return nil
	}
	value, err := rows.Get(key("left", id))
	if err != nil {
		return err
	}
	left, asked, err := readLeft(value)
	if err != nil {
		return err
	}
	left, asked = change(left, asked)
	rows.Set(key("left", id), leftRow(left, asked))
	if asked && left > 0 {
		rows.Set(key("sale", id), present)
	} else {
		rows.Delete(key("sale", id))
	}
	return nil
}

func leftRow(left int64, asked bool) row { return row{}.int(left).flag(asked) }

// readLeft reads what is left of a lot; no row: it is being made.
func readLeft(value []byte) (left int64, asked bool, err error) {
	if value == nil {
		return 0, false, nil
	}
	f := read(value)
	left, asked = f.int(), f.flag()
	return left, asked, f.done("lots", "lot")
}

// ByCutter gives the ids of a cutter's lots, oldest first.
func (Lots) ByCutter(r eventstore.Reader, memberID, after string, limit int) (lots []string, next string, err error) {
	return ids(r, table("cutter", memberID), after, limit)
}

// OfParcel gives the ids of the lots of what a parcel gave, unmade ones too, oldest first.
func (Lots) OfParcel(r eventstore.Reader, parcelID, after string, limit int) (lots []string, next string, err error) {
	return ids(r, table("parcel", parcelID), after, limit)
}

// OnSale gives the ids of the lots that are on sale, oldest first.
func (Lots) OnSale(r eventstore.Reader, after string, limit int) (lots []string, next string, err error) {
	return ids(r, table("sale"), after, limit)
}

// Promises gives the ids of a member's promises, made or received, oldest first.
func (Lots) Promises(r eventstore.Reader, memberID, after string, limit int) (promises []string, next string, err error) {
	return ids(r, table("promise", memberID), after, limit)
}
