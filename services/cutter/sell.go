package cutter

import (
	"context"
	"fmt"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// OfferSet implements cutterv1.CutterServiceServer. One decision spans all stones of the
// set: each is offered in it, or none.
func (s *Server) OfferSet(ctx context.Context, req *cutterv1.OfferSetRequest) (*cutterv1.OfferSetResponse, error) {
	me, setID := access.Caller(ctx).Member, command.NewID()
	var unreadable rule.All
	prices := make([]*eventv1.Amount, len(req.GetStones()))
	set := stone.Set{ID: setID, Kind: stonev1.SetKind(req.GetKind())}
	for i, item := range req.GetStones() {
		prices[i] = wire.Amount(&unreadable, fmt.Sprintf("stones[%d].price", i), item.GetPrice())
		set.StoneIDs = append(set.StoneIDs, item.GetStoneId())
	}
	did, err := command.Run(ctx, s.node, req, stream.Stone, func(tx *eventstore.Tx) (*command.Thing[stone.State], error) {
		broken := unreadable[:len(unreadable):len(unreadable)] // of its own: this may run again
		if err := broken.Merge("", stone.CheckSet(set.Kind, set.StoneIDs)); err != nil {
			return nil, err
		}
		stones, err := command.Together(tx, set.StoneIDs)
		if err != nil {
			return nil, err
		}
		currency := ""
		offered := make([]*stonev1.Event, len(stones))
		for i, st := range stones {
			if st.State.Facts == nil {
				broken.Add(rule.NotThere(fmt.Sprintf("stones[%d].stone_id", i), "stone"))
				continue
			}
			rough, _, err := eventstore.Load(tx, stream.Parcel, st.State.Facts.GetParcelId())
			if err != nil {
				return nil, err
			}
			if currency == "" {
				currency = rough.Currency()
			}
			offered[i], err = st.State.OfferIn(set, me, prices[i], rough.Currency(), tx.Now())
			if err := broken.Merge(fmt.Sprintf("stones[%d]", i), err); err != nil {
				return nil, err
			}
			if prices[i] != nil {
				broken.Currency(fmt.Sprintf("stones[%d].price", i), prices[i], currency)
			}
		}
		if err := broken.Err(); err != nil {
			return nil, err
		}
		for i, st := range stones {
			st.Record(offered[i])
		}
		return stones[len(stones)-1], nil
	})
	if err != nil {
		return nil, err
	}
	out := &cutterv1.OfferSetResponse{Position: uint64(did.Position)}
	_, err = query.At(ctx, s.node, uint64(did.Position), func(q *eventstore.Query) error {
		for _, id := range set.StoneIDs {
			st, _, err := eventstore.LoadAt(q, stream.Stone, id, did.Position)
			if err != nil {
				return err
			}
			out.Stones = append(out.Stones, wire.Stone(st))
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// TakeOffSale implements cutterv1.CutterServiceServer.
func (s *Server) TakeOffSale(ctx context.Context, req *cutterv1.TakeOffSaleRequest) (*cutterv1.TakeOffSaleResponse, error) {
	me := access.Caller(ctx).Member
	did, err := command.Run(ctx, s.node, req, stream.Stone, func(tx *eventstore.Tx) (*command.Thing[stone.State], error) {
		named, err := ownStone(tx, me, req.GetStoneId())
		if err != nil {
			return nil, err
		}
		off, err := named.State.TakeOffSale(me, tx.Now())
		if err != nil {
			return nil, err
		}
		for _, id := range named.State.Set.StoneIDs {
			if id == named.ID {
				continue
			}
			other, err := ownStone(tx, me, id)
			if err != nil {
				return nil, err
			}
			also, err := other.State.TakeOffSale(me, tx.Now())
			if err != nil {
				return nil, fmt.Errorf("couldn't take stone %s of the same set off sale: %w", id, err)
			}
			other.Record(also)
		}
		named.Record(off)
		return named, nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.TakeOffSaleResponse{Stone: wire.Stone(did.State), Position: uint64(did.Position)}, nil
}

// ListWanted implements cutterv1.CutterServiceServer.
func (s *Server) ListWanted(ctx context.Context, req *cutterv1.ListWantedRequest) (*cutterv1.ListWantedResponse, error) {
	v := view.Selling{}
	notes, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			return v.Wanted(q.View(v.Name()), after, limit)
		},
		func(q *eventstore.Query, id string) (*typev1.Wanted, error) {
			n, _, err := eventstore.Load(q, stream.Wanted, id)
			if err != nil || !n.ShowsName {
				return wire.Wanted(n, false, ""), err
			}
			m, _, err := eventstore.Load(q, stream.Member, n.Member)
			return wire.Wanted(n, false, m.TradingName), err
		})
	if err != nil {
		return nil, err
	}
	return &cutterv1.ListWantedResponse{Wanted: notes, NextPageToken: next, Position: position}, nil
}
