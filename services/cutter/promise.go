package cutter

import (
	"context"
	"fmt"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/promise"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"
)

// PromiseStones implements cutterv1.CutterServiceServer.
func (s *Server) PromiseStones(ctx context.Context, req *cutterv1.PromiseStonesRequest) (*cutterv1.PromiseStonesResponse, error) {
	var unreadable rule.All
	making := promise.Making{
		ID: command.NewID(), Cutter: access.Caller(ctx).Member, Jeweller: req.GetJewellerId(), Note: req.GetNote(),
		Items: wire.ReadPromised(&unreadable, "items", req.GetItems()), DueAt: wire.Moment(&unreadable, "due_at", req.GetDueAt()),
	}
	did, err := command.Run(ctx, s.node, req, stream.Promise, func(tx *eventstore.Tx) (*command.Thing[promise.State], error) {
		if err := unreadable.Err(); err != nil {
			return nil, err
		}
		to, _, err := eventstore.Load(tx, stream.Member, making.Jeweller)
		if err != nil {
			return nil, err
		}
		if !to.Stands() || !to.Has(memberv1.Role_ROLE_JEWELLER) {
			return nil, rule.Broken{Reason: rule.MemberNotThere, Field: "jeweller_id", Value: making.Jeweller, Rule: "no jeweller of this id trades here", Hint: "ask for the jeweller's id"}
		}
		p, err := command.Open(tx, stream.Promise, making.ID)
		if err != nil {
			return nil, err
		}
		made, err := p.State.Make(making, tx.Now())
		if err != nil {
			return nil, err
		}
		p.Record(made)
		return p, nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.PromiseStonesResponse{Promise: wire.Promise(did.State, did.At), Position: uint64(did.Position)}, nil
}

// WithdrawPromise implements cutterv1.CutterServiceServer.
func (s *Server) WithdrawPromise(ctx context.Context, req *cutterv1.WithdrawPromiseRequest) (*cutterv1.WithdrawPromiseResponse, error) {
	me := access.Caller(ctx).Member
	did, err := command.Run(ctx, s.node, req, stream.Promise, func(tx *eventstore.Tx) (*command.Thing[promise.State], error) {
		p, err := command.Open(tx, stream.Promise, req.GetPromiseId())
		if err != nil {
			return nil, err
		}
		withdrawn, err := p.State.Withdraw(me, req.GetWhy(), tx.Now())
		if err != nil {
			return nil, err
		}
		p.Record(withdrawn)
		return p, nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.WithdrawPromiseResponse{Promise: wire.Promise(did.State, did.At), Position: uint64(did.Position)}, nil
}

// DeliverPromise implements cutterv1.CutterServiceServer. One decision spans the promise,
// its stones and the order they go into: each is put on sale at the price promised and
// sold at once to the jeweller who accepted it.
func (s *Server) DeliverPromise(ctx context.Context, req *cutterv1.DeliverPromiseRequest) (*cutterv1.DeliverPromiseResponse, error) {
	me, orderID := access.Caller(ctx).Member, command.NewID()
	did, err := command.Run(ctx, s.node, req, stream.Promise, func(tx *eventstore.Tx) (*command.Thing[promise.State], error) {
		p, err := command.Open(tx, stream.Promise, req.GetPromiseId())
		if err != nil {
			return nil, err
		}
		stones := make([]*command.Thing[stone.State], len(req.GetStoneIds()))
		named := make([]promise.Stone, len(stones))
		for i, id := range req.GetStoneIds() {
			st, err := command.Open(tx, stream.Stone, id)
			if err != nil {
				return nil, err
			}
			stones[i] = st
			named[i] = promise.Stone{ID: id, Outline: st.State.Facts.GetOutline(), Kind: st.State.Facts.GetKind(), Size: st.State.Size}
		}
		delivered, err := p.State.Deliver(me, named, orderID)
		if err != nil {
			return nil, err
		}
		if err := s.sellPromised(tx, p.State, stones, orderID); err != nil {
			return nil, err
		}
		p.Record(delivered)
		return p, nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.DeliverPromiseResponse{Promise: wire.Promise(did.State, did.At), Position: uint64(did.Position)}, nil
}

// sellPromised sells the stones of a promise into an order.
func (s *Server) sellPromised(tx *eventstore.Tx, p promise.State, stones []*command.Thing[stone.State], orderID string) error {
	var broken rule.All
	lines := make([]order.Line, len(stones))
	for i, st := range stones {
		at := fmt.Sprintf("stone_ids[%d]", i)
		price := p.Items[i].GetPrice()
		err := sellOne(tx, st, p, price, orderID, at)
		if err := broken.Merge("", renamed(err, at)); err != nil {
			return err
		}
		f := st.State.Facts
		lines[i] = order.Line{StoneID: st.ID, ParcelID: f.GetParcelId(), Seller: p.Cutter, Price: price.GetMinor()}
	}
	if err := broken.Err(); err != nil {
		return err
	}
	settings, err := command.Settings(tx, s.node.Coop(), tx.Now())
	if err != nil {
		return err
	}
	placed, err := order.State{}.Place(orderID, p.Jeweller, p.Items[0].GetPrice().GetCurrency(), lines, order.Terms{PromiseID: p.ID, PayBy: command.PayBy(settings, tx.Now())})
	if err != nil {
		return err
	}
	tx.Record(stream.Order.Stream(orderID), placed)
	return nil
}

func sellOne(tx *eventstore.Tx, st *command.Thing[stone.State], p promise.State, price *eventv1.Amount, orderID, at string) error {
	if st.State.Facts.GetCutterId() != p.Cutter {
		return rule.NotThere(at, "stone")
	}
	of, _, err := eventstore.Load(tx, stream.Parcel, st.State.Facts.GetParcelId())
	if err != nil {
		return err
	}
	offered, err := st.State.PutOnSale(p.Cutter, price, of.Currency(), tx.Now())
	if err != nil {
		return err
	}
	st.Record(offered)
	sold, err := st.State.Sell(stone.Taking{Jeweller: p.Jeweller, Together: []string{st.ID}, Now: tx.Now()}, orderID, price, at)
	if err != nil {
		return err
	}
	st.Record(sold)
	return nil
}

// renamed puts a refusal of a stone at its place in the request.
func renamed(err error, at string) error {
	all, ok := rule.Of(err)
	if err == nil || !ok {
		return err
	}
	out := make(rule.All, len(all))
	for i, b := range all {
		b.Field = at
		out[i] = b
	}
	return out
}

// ListPromises implements cutterv1.CutterServiceServer.
func (s *Server) ListPromises(ctx context.Context, req *cutterv1.ListPromisesRequest) (*cutterv1.ListPromisesResponse, error) {
	me, v := access.Caller(ctx).Member, view.Lots{}
	promises, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			return v.Promises(q.View(v.Name()), me, after, limit)
		},
		func(q *eventstore.Query, id string) (*typev1.Promise, error) {
			p, _, err := eventstore.Load(q, stream.Promise, id)
			return wire.Promise(p, q.Now()), err
		})
	if err != nil {
		return nil, err
	}
	return &cutterv1.ListPromisesResponse{Promises: promises, NextPageToken: next, Position: position}, nil
}
