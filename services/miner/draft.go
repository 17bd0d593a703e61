package miner

import (
	"context"

	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"
)

// SaveDraft implements minerv1.MinerServiceServer.
func (s *Server) SaveDraft(ctx context.Context, req *minerv1.SaveDraftRequest) (*minerv1.SaveDraftResponse, error) {
	var unreadable rule.All
	me, draft := access.Caller(ctx).Member, wire.ReadDraft(&unreadable, "draft", req.GetDraft())
	id, anew := req.GetParcelId(), req.GetParcelId() == ""
	if anew {
		id = command.NewID()
	}
	did, err := command.Run(ctx, s.node, req, stream.Parcel, func(tx *eventstore.Tx) (*command.Thing[parcel.State], error) {
		if err := unreadable.Err(); err != nil {
			return nil, err
		}
		lot, err := command.Open(tx, stream.Parcel, id)
		if err != nil {
			return nil, err
		}
		if !anew && lot.State.ID == "" {
			return nil, rule.NotThere("parcel_id", "draft")
		}
		saved, err := lot.State.SaveDraft(me, id, draft)
		return lot, recorded(lot, saved, err)
	})
	if err != nil {
		return nil, err
	}
	return &minerv1.SaveDraftResponse{Parcel: shown(did, me), Position: uint64(did.Position)}, nil
}

// DiscardDraft implements minerv1.MinerServiceServer.
func (s *Server) DiscardDraft(ctx context.Context, req *minerv1.DiscardDraftRequest) (*minerv1.DiscardDraftResponse, error) {
	me := access.Caller(ctx).Member
	did, err := command.Run(ctx, s.node, req, stream.Parcel, func(tx *eventstore.Tx) (*command.Thing[parcel.State], error) {
		lot, err := command.Open(tx, stream.Parcel, req.GetParcelId())
		if err != nil {
			return nil, err
		}
		discarded, err := lot.State.DiscardDraft(me)
		return lot, recorded(lot, discarded, err)
	})
	if err != nil {
		return nil, err
	}
	return &minerv1.DiscardDraftResponse{Parcel: shown(did, me), Position: uint64(did.Position)}, nil
}

// GetDraft implements minerv1.MinerServiceServer.
func (s *Server) GetDraft(ctx context.Context, req *minerv1.GetDraftRequest) (*minerv1.GetDraftResponse, error) {
	out := &minerv1.GetDraftResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		p, _, err := own(q, access.Caller(ctx).Member, req.GetParcelId())
		if err == nil && p.Draft == nil {
			err = rule.NotThere("parcel_id", "draft")
		}
		out.Draft = wire.Draft(p.Draft)
		return err
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// ListDrafts implements minerv1.MinerServiceServer.
func (s *Server) ListDrafts(ctx context.Context, req *minerv1.ListDraftsRequest) (*minerv1.ListDraftsResponse, error) {
	me, v := access.Caller(ctx).Member, view.Parcels{}
	parcels, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			return v.Drafts(q.View(v.Name()), me, after, limit)
		},
		func(q *eventstore.Query, id string) (*typev1.Parcel, error) { return show(q, me, id) })
	if err != nil {
		return nil, err
	}
	return &minerv1.ListDraftsResponse{Parcels: parcels, NextPageToken: next, Position: position}, nil
}
