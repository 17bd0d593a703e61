package jeweller

import (
	"context"
	"time"

	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/promise"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"

	promisev1 "seamshare.example/proto/gen/seamshare/event/promise/v1"
)

// AcceptPromise implements jewellerv1.JewellerServiceServer.
func (s *Server) AcceptPromise(ctx context.Context, req *jewellerv1.AcceptPromiseRequest) (*jewellerv1.AcceptPromiseResponse, error) {
	me := access.Caller(ctx).Member
	p, position, err := s.onPromise(ctx, req, func(p promise.State, now time.Time) (*promisev1.Event, error) {
		accepted, err := p.Accept(me, now)
		if err != nil {
			return nil, err
		}
		return accepted, wire.Unchanged(req.GetEtag(), func() *typev1.Promise { return wire.Promise(p, p.DueAt) })
	})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.AcceptPromiseResponse{Promise: p, Position: position}, nil
}

// DeclinePromise implements jewellerv1.JewellerServiceServer.
func (s *Server) DeclinePromise(ctx context.Context, req *jewellerv1.DeclinePromiseRequest) (*jewellerv1.DeclinePromiseResponse, error) {
	me := access.Caller(ctx).Member
	p, position, err := s.onPromise(ctx, req, func(p promise.State, _ time.Time) (*promisev1.Event, error) { return p.Decline(me, req.GetWhy()) })
	if err != nil {
		return nil, err
	}
	return &jewellerv1.DeclinePromiseResponse{Promise: p, Position: position}, nil
}

type promiseRequest interface {
	command.Request
	GetPromiseId() string
}

func (s *Server) onPromise(ctx context.Context, req promiseRequest, decide func(promise.State, time.Time) (*promisev1.Event, error)) (*typev1.Promise, uint64, error) {
	did, err := command.Run(ctx, s.node, req, stream.Promise, func(tx *eventstore.Tx) (*command.Thing[promise.State], error) {
		p, err := command.Open(tx, stream.Promise, req.GetPromiseId())
		if err != nil {
			return nil, err
		}
		event, err := decide(p.State, tx.Now())
		if err != nil {
			return nil, err
		}
		p.Record(event)
		return p, nil
	})
	if err != nil {
		return nil, 0, err
	}
	return wire.Promise(did.State, did.At), uint64(did.Position), nil
}

// ListPromises implements jewellerv1.JewellerServiceServer.
func (s *Server) ListPromises(ctx context.Context, req *jewellerv1.ListPromisesRequest) (*jewellerv1.ListPromisesResponse, error) {
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
	return &jewellerv1.ListPromisesResponse{Promises: promises, NextPageToken: next, Position: position}, nil
}

// ListLotsOnSale implements jewellerv1.JewellerServiceServer.
func (s *Server) ListLotsOnSale(ctx context.Context, req *jewellerv1.ListLotsOnSaleRequest) (*jewellerv1.ListLotsOnSaleResponse, error) {
	me, v := access.Caller(ctx).Member, view.Lots{}
	lots, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			return v.OnSale(q.View(v.Name()), after, limit)
		},
		func(q *eventstore.Query, id string) (*typev1.Lot, error) {
			l, _, err := eventstore.Load(q, stream.Lot, id)
			return wire.Lot(l, me), err
		})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.ListLotsOnSaleResponse{Lots: lots, NextPageToken: next, Position: position}, nil
}
