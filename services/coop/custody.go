package coop

import (
	"context"
	"strings"

	"google.golang.org/protobuf/proto"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	lotv1 "seamshare.example/proto/gen/seamshare/event/lot/v1"
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/lot"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
)

// ListCustody implements coopv1.CoopServiceServer. What nothing is left of is in nobody's
// hands and isn't listed.
func (s *Server) ListCustody(ctx context.Context, req *coopv1.ListCustodyRequest) (*coopv1.ListCustodyResponse, error) {
	all, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) (held []*coopv1.Custody, next string, err error) {
			things, next, err := whatIsAt(q, req.GetPlace(), after, limit)
			for _, thing := range things {
				c, err := custody(q, thing)
				if err != nil {
					return nil, "", err
				}
				if c.GetHolderId() != "" && (req.GetPlace() == "" || req.GetPlace() == c.GetPlace()) {
					held = append(held, c)
				}
			}
			return held, next, err
		},
		func(_ *eventstore.Query, c *coopv1.Custody) (*coopv1.Custody, error) { return c, nil })
	if err != nil {
		return nil, err
	}
	return &coopv1.ListCustodyResponse{Custody: all, NextPageToken: next, Position: position}, nil
}

// whatIsAt lists things, as streams: what a stock keeper put at a place, or everything.
func whatIsAt(q *eventstore.Query, place, after string, limit int) (things []string, next string, err error) {
	if place == "" {
		return inTurn(q, []string{stream.Parcel.Name, stream.Piece.Name, stream.Stone.Name, stream.Lot.Name}, after, limit)
	}
	v := view.Exceptions{}
	held, next, err := v.Where(q.View(v.Name()), place, after, limit)
	for _, h := range held {
		things = append(things, h.Thing)
	}
	return things, next, err
}

// inTurn lists the things of several kinds one kind after the other, as streams.
func inTurn(q *eventstore.Query, kinds []string, after string, limit int) (things []string, next string, err error) {
	kind, from, _ := strings.Cut(after, "/")
	if after == "" {
		kind = kinds[0]
	}
	found, more, err := registered(kind)(q, from, limit)
	if err != nil {
		return nil, "", err
	}
	for _, id := range found {
		things = append(things, kind+"/"+id)
	}
	if more != "" {
		return things, kind + "/" + more, nil
	}
	for i, k := range kinds[:len(kinds)-1] {
		if k == kind {
			return things, kinds[i+1] + "/", nil
		}
	}
	return things, "", nil
}

// history reads whole streams: a Query, or a decision's Tx.
type history interface {
	eventstore.Loader
	view.History
}

// custody says who holds a thing: whom it was handed to, or whom a stock keeper gave it
// to and where, whichever was recorded last.
func custody(q history, thing string) (*coopv1.Custody, error) {
	h, err := handed(q, thing)
	if err != nil || h.holder == "" {
		return &coopv1.Custody{Thing: thing, Label: h.label}, err
	}
	out := &coopv1.Custody{Thing: thing, Label: h.label, HolderId: h.holder}
	moves, err := q.Records(stream.Custody.Stream(custodyID(thing)))
	if err != nil || len(moves) == 0 || moves[len(moves)-1].Position < h.since {
		return out, err
	}
	moved, _, err := eventstore.Load(q, stream.Custody, custodyID(thing))
	out.HolderId, out.Place = moved.Holder, moved.Place
	return out, err
}

// hands are those that a thing is in by what was recorded of it, and since which
// record. Without a holder nothing of it is left, or it isn't shown yet.
type hands struct {
	label, holder string
	since         eventstore.Position
}

func handed(q history, thing string) (hands, error) {
	kind, id, _ := strings.Cut(thing, "/")
	switch kind {
	case stream.Parcel.Name:
		return parcelHands(q, id)
	case stream.Piece.Name:
		return pieceHands(q, id)
	case stream.Stone.Name:
		return stoneHands(q, id)
	}
	return lotHands(q, id)
}

// lotHands: what is left of a lot is with its cutter or where it was moved to. Portions
// that come back to a lot of which nothing was left are with its cutter again.
func lotHands(q history, id string) (hands, error) {
	records, err := q.Records(stream.Lot.Stream(id))
	if err != nil {
		return hands{}, err
	}
	var l lot.State
	var h hands
	for _, rec := range records {
		event, _ := rec.Event.(*lotv1.Event)
		if back := event.GetPortionReturned().GetPublic(); back != nil && !back.GetCalledOff() && l.Count == 0 {
			h.since = rec.Position
		}
		l = stream.Lot.Evolve(l, rec.Event)
	}
	if h.label = l.Facts.GetLabel(); l.Count > 0 && l.Stage != lot.Unmade {
		h.holder = l.Facts.GetCutterId()
	}
	return h, nil // else its portions are with their buyers, or its parts at the bench
}

// parcelHands: a draft is its seller's own business.
func parcelHands(q history, id string) (hands, error) {
	p, _, err := eventstore.Load(q, stream.Parcel, id)
	if err != nil || !p.Shown() {
		return hands{}, err
	}
	since, err := last(q, stream.Parcel.Stream(id), func(e proto.Message) bool {
		event, _ := e.(*parcelv1.Event)
		return event.GetHandedOver() != nil || event.GetHandedBack() != nil || event.GetViewingStarted() != nil || event.GetViewingEnded() != nil
	})
	return hands{p.Label, p.Custody(), since}, err
}

// pieceHands: what is left of a piece is with its parcel.
func pieceHands(q history, id string) (hands, error) {
	rough, _, err := eventstore.Load(q, stream.Piece, id)
	if err != nil {
		return hands{}, err
	}
	h, err := parcelHands(q, rough.ParcelID)
	h.label = rough.Label + " of " + h.label
	for _, part := range rough.Parts {
		if part.Fate != piece.Stone && part.Fate != piece.MovedOn {
			return h, err
		}
	}
	return hands{label: h.label}, err
}

// stoneHands: a stone that was sold is its buyer's to hold from the moment it is sent.
func stoneHands(q history, id string) (h hands, err error) {
	st, _, err := eventstore.Load(q, stream.Stone, id)
	if err != nil {
		return hands{}, err
	}
	h.label, h.holder = st.Facts.GetLabel(), st.Facts.GetCutterId()
	switch st.Stage {
	case stone.Lost, stone.Broken, stone.InLot:
		return hands{label: h.label}, nil
	case stone.AtJeweller:
		h.holder = st.Out.Jeweller
	case stone.Sold:
		o, _, err := eventstore.Load(q, stream.Order, st.OrderID)
		if err != nil {
			return hands{}, err
		}
		if l, _ := o.Line(id); l.Dispatched {
			h.holder = st.Buyer
			h.since, err = last(q, stream.Order.Stream(st.OrderID), func(e proto.Message) bool {
				event, _ := e.(*orderv1.Event)
				return event.GetDispatched() != nil
			})
			return h, err
		}
		if o.ApprovalID != "" {
			h.holder = st.Buyer // who had it before
		}
	}
	h.since, err = last(q, stream.Stone.Stream(id), func(e proto.Message) bool {
		event, _ := e.(*stonev1.Event)
		return event.GetSentOut() != nil || event.GetCameBack() != nil || event.GetReturned() != nil
	})
	return h, err
}

// last is the position of a stream's last record of some events; 0: none.
func last(q history, of eventstore.Stream, is func(proto.Message) bool) (at eventstore.Position, err error) {
	records, err := q.Records(of)
	for _, rec := range records {
		if is(rec.Event) {
			at = rec.Position
		}
	}
	return at, err
}
