package view

import (
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"

	"seamshare.example/eventstore"
)

// Parcels is where parcels, their offers and their viewings are found; what each is, the
// parcel's stream tells.
//
//	of, parcel id                 → member id of the seller
//	draft, member id, parcel id   until it is listed or discarded
//	market, parcel id             while it can be had
//	seller, member id, parcel id  from the listing on
//	buyer, member id, parcel id   from the deal on; while the rough goes back, if the deal fell through
//	offer, seller id, offer id    → parcel id; counter-offers too
//	bid, buyer id, offer id       → parcel id; counter-offers too
//	show, seller id, viewing id   → parcel id
//	look, viewer id, viewing id   → parcel id
type Parcels struct{}

// Name implements eventstore.View.
func (Parcels) Name() string { return "parcels" }

// Version implements eventstore.View.
func (Parcels) Version() uint32 { return 1 }

// Apply implements eventstore.View.
func (v Parcels) Apply(rows eventstore.Rows, rec eventstore.Record) error {
	event, ok := rec.Event.(*parcelv1.Event)
	if !ok {
		return nil
	}
	switch e := event.Event.(type) {
	case *parcelv1.Event_DraftSaved:
		rows.Set(key("draft", e.DraftSaved.GetPrivate().GetSellerId(), e.DraftSaved.GetPublic().GetParcelId()), present)
	case *parcelv1.Event_DraftDiscarded:
		rows.Delete(key("draft", e.DraftDiscarded.GetPrivate().GetSellerId(), e.DraftDiscarded.GetPublic().GetParcelId()))
	case *parcelv1.Event_Listed:
		id, seller := e.Listed.GetPublic().GetParcelId(), e.Listed.GetPrivate().GetSellerId()
		rows.Delete(key("draft", seller, id))
		rows.Set(key("of", id), row{}.text(seller))
		rows.Set(key("market", id), present)
		rows.Set(key("seller", seller, id), present)
	case *parcelv1.Event_Withdrawn:
		rows.Delete(key("market", e.Withdrawn.GetPublic().GetParcelId()))
	case *parcelv1.Event_Relisted:
		rows.Set(key("market", e.Relisted.GetPublic().GetParcelId()), present)
	case *parcelv1.Event_DealMade:
		id := e.DealMade.GetPublic().GetParcelId()
		rows.Delete(key("market", id))
		rows.Set(key("buyer", e.DealMade.GetPrivate().GetBuyerId(), id), present)
	case *parcelv1.Event_FellThrough:
		if !e.FellThrough.GetPublic().GetGoesBack() {
			rows.Delete(key("buyer", e.FellThrough.GetPrivate().GetBuyerId(), e.FellThrough.GetPublic().GetParcelId()))
		}
	case *parcelv1.Event_HandedBack:
		rows.Delete(key("buyer", e.HandedBack.GetPrivate().GetBuyerId(), e.HandedBack.GetPublic().GetParcelId()))
	case *parcelv1.Event_OfferMade:
		p := e.OfferMade.GetPrivate()
		return v.both(rows, event, e.OfferMade.GetPublic().GetParcelId(), "offer", "bid", p.GetBuyerId(), p.GetOfferId())
	case *parcelv1.Event_CounterOffered:
		p := e.CounterOffered.GetPrivate()
		return v.both(rows, event, e.CounterOffered.GetPublic().GetParcelId(), "offer", "bid", p.GetBuyerId(), p.GetOfferId())
	case *parcelv1.Event_ViewingAsked:
		p := e.ViewingAsked.GetPrivate()
		return v.both(rows, event, e.ViewingAsked.GetPublic().GetParcelId(), "show", "look", p.GetViewerId(), p.GetViewingId())
	}
	return nil
}

// both finds a thing of a parcel for its seller and for the other side.
func (v Parcels) both(rows eventstore.Rows, event *parcelv1.Event, parcelID, ofSeller, ofOther, other, id string) error {
	value, err := rows.Get(key("of", parcelID))
	if err != nil {
		return err
	}
	if value == nil {
		return unexpected(v.Name(), event, "parcel %s was never listed", parcelID)
	}
	seller, err := readText(v.Name(), "seller", value)
	if err != nil {
		return err
	}
	at := row{}.text(parcelID)
	rows.Set(key(ofSeller, seller, id), at)
	rows.Set(key(ofOther, other, id), at)
	return nil
}

// Market gives the ids of the parcels that are listed or under offer, oldest first.
func (Parcels) Market(r eventstore.Reader, after string, limit int) (parcels []string, next string, err error) {
	return ids(r, table("market"), after, limit)
}

// Drafts gives the ids of a seller's drafts, oldest first.
func (Parcels) Drafts(r eventstore.Reader, memberID, after string, limit int) (parcels []string, next string, err error) {
	return ids(r, table("draft", memberID), after, limit)
}

// BySeller gives the ids of the parcels a miner listed, oldest first.
func (Parcels) BySeller(r eventstore.Reader, memberID, after string, limit int) (parcels []string, next string, err error) {
	return ids(r, table("seller", memberID), after, limit)
}

// ByBuyer gives the ids of the parcels a cutter has a deal for, or has to give back,
// oldest first.
func (Parcels) ByBuyer(r eventstore.Reader, memberID, after string, limit int) (parcels []string, next string, err error) {
	return ids(r, table("buyer", memberID), after, limit)
}

// OfParcel is an offer or a viewing, and the parcel it is of.
type OfParcel struct {
	ID, ParcelID string
}

// OffersTo gives the offers for all of a seller's parcels, oldest first.
func (Parcels) OffersTo(r eventstore.Reader, sellerID, after string, limit int) (offers []OfParcel, next string, err error) {
	return ofParcels(r, "offer", sellerID, after, limit)
}

// OffersBy gives a buyer's offers and the counter-offers to it, oldest first.
func (Parcels) OffersBy(r eventstore.Reader, buyerID, after string, limit int) (offers []OfParcel, next string, err error) {
	return ofParcels(r, "bid", buyerID, after, limit)
}

// ViewingsOf gives the viewings of all of a seller's parcels, oldest first.
func (Parcels) ViewingsOf(r eventstore.Reader, sellerID, after string, limit int) (viewings []OfParcel, next string, err error) {
	return ofParcels(r, "show", sellerID, after, limit)
}

// ViewingsBy gives the viewings that a member asked for, oldest first.
func (Parcels) ViewingsBy(r eventstore.Reader, viewerID, after string, limit int) (viewings []OfParcel, next string, err error) {
	return ofParcels(r, "look", viewerID, after, limit)
}

func ofParcels(r eventstore.Reader, kind, memberID, after string, limit int) (found []OfParcel, next string, err error) {
	next, err = page(r, table(kind, memberID), after, limit, func(id string, value []byte) error {
		parcelID, err := readText("parcels", kind+"'s parcel", value)
		found = append(found, OfParcel{ID: id, ParcelID: parcelID})
		return err
	})
	return found, next, err
}
