package jeweller

import (
	"context"
	"fmt"
	"time"

	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/hold"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// HoldStones implements jewellerv1.JewellerServiceServer. One decision spans the hold and
// all its stones: either each can be held, or nothing happens and every stone that stands
// in the way is named.
func (s *Server) HoldStones(ctx context.Context, req *jewellerv1.HoldStonesRequest) (*jewellerv1.HoldStonesResponse, error) {
	me, id := access.Caller(ctx).Member, command.NewID()
	var unreadable rule.All
	ends := wire.Moment(&unreadable, "ends_at", req.GetEndsAt())
	did, err := command.Run(ctx, s.node, req, stream.Hold, func(tx *eventstore.Tx) (*command.Thing[hold.State], error) {
		if err := unreadable.Err(); err != nil {
			return nil, err
		}
		held, err := command.Open(tx, stream.Hold, id)
		if err != nil {
			return nil, err
		}
		settings, err := command.Settings(tx, s.node.Coop(), tx.Now())
		if err != nil {
			return nil, err
		}
		v := view.Selling{}
		already, err := v.HeldBy(tx.View(v.Name()), me, tx.Now(), int(settings.HoldsAtOnce))
		if err != nil {
			return nil, err
		}
		var broken rule.All
		placed, err := held.State.Place(hold.Wish{
			ID: id, Holder: me, StoneIDs: req.GetStoneIds(), EndsAt: ends, Longest: time.Duration(settings.HoldHours) * time.Hour,
			Already: already, Most: int(settings.HoldsAtOnce), Now: tx.Now(),
		})
		if err := broken.Merge("", err); err != nil {
			return nil, err
		}
		stones, err := command.Together(tx, req.GetStoneIds())
		if err != nil {
			return nil, err
		}
		kept := make([]*stonev1.Event, len(stones))
		taking := stone.Taking{Jeweller: me, Together: req.GetStoneIds(), Now: tx.Now()}
		for i, st := range stones {
			endsAt := time.UnixMicro(placed.GetPlaced().GetPrivate().GetEndsAtUs())
			kept[i], err = st.State.Keep(taking, id, endsAt, fmt.Sprintf("stone_ids[%d]", i))
			if err := broken.Merge("", err); err != nil {
				return nil, err
			}
		}
		if err := broken.Err(); err != nil {
			return nil, err
		}
		held.Record(placed)
		for i, st := range stones {
			st.Record(kept[i])
		}
		return held, nil
	})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.HoldStonesResponse{Hold: wire.Hold(did.State, did.At), Position: uint64(did.Position)}, nil
}

// ReleaseHold implements jewellerv1.JewellerServiceServer.
func (s *Server) ReleaseHold(ctx context.Context, req *jewellerv1.ReleaseHoldRequest) (*jewellerv1.ReleaseHoldResponse, error) {
	me := access.Caller(ctx).Member
	did, err := command.Run(ctx, s.node, req, stream.Hold, func(tx *eventstore.Tx) (*command.Thing[hold.State], error) {
		held, err := command.Open(tx, stream.Hold, req.GetHoldId())
		if err != nil {
			return nil, err
		}
		released, err := held.State.Release(me, tx.Now())
		if err != nil {
			return nil, err
		}
		for _, id := range held.State.StoneIDs {
			st, err := command.Open(tx, stream.Stone, id)
			if err != nil {
				return nil, err
			}
			if let, ok := st.State.Release(held.ID, tx.Now()); ok {
				st.Record(let)
			}
		}
		held.Record(released)
		return held, nil
	})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.ReleaseHoldResponse{Hold: wire.Hold(did.State, did.At), Position: uint64(did.Position)}, nil
}

// GetHold implements jewellerv1.JewellerServiceServer.
func (s *Server) GetHold(ctx context.Context, req *jewellerv1.GetHoldRequest) (*jewellerv1.GetHoldResponse, error) {
	out := &jewellerv1.GetHoldResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		h, _, err := eventstore.Load(q, stream.Hold, req.GetHoldId())
		if err == nil && (h.ID == "" || h.Holder != access.Caller(ctx).Member) {
			err = rule.NotThere("hold_id", "hold")
		}
		if err != nil {
			return err
		}
		out.Hold = wire.Hold(h, q.Now())
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// ListHolds implements jewellerv1.JewellerServiceServer.
func (s *Server) ListHolds(ctx context.Context, req *jewellerv1.ListHoldsRequest) (*jewellerv1.ListHoldsResponse, error) {
	me, v := access.Caller(ctx).Member, view.Selling{}
	holds, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			return v.HoldsBy(q.View(v.Name()), me, after, limit)
		},
		func(q *eventstore.Query, id string) (*jewellerv1.Hold, error) {
			h, _, err := eventstore.Load(q, stream.Hold, id)
			return wire.Hold(h, q.Now()), err
		})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.ListHoldsResponse{Holds: holds, NextPageToken: next, Position: position}, nil
}
