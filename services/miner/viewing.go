package miner

import (
	"context"
	"fmt"

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

// viewed shows a viewing as a command left it.
func viewed(did command.Did[parcel.State], id string) (*typev1.Viewing, error) {
	v, ok := did.State.Viewing(id)
	if !ok {
		return nil, fmt.Errorf("parcel %s has lost viewing %s", did.ID, id)
	}
	return wire.Viewing(did.ID, v), nil
}

// AgreeViewing implements minerv1.MinerServiceServer.
func (s *Server) AgreeViewing(ctx context.Context, req *minerv1.AgreeViewingRequest) (*minerv1.AgreeViewingResponse, error) {
	var unreadable rule.All
	me := access.Caller(ctx).Member
	at := wire.Moment(&unreadable, "at", req.GetAt())
	did, err := s.onLot(ctx, req, req.GetParcelId(), func(tx *eventstore.Tx, lot *command.Thing[parcel.State]) error {
		broken := unreadable[:len(unreadable):len(unreadable)] // of its own: this may run again
		agreed, err := lot.State.AgreeViewing(me, req.GetViewingId(), at, req.GetMayRub(), req.GetNote(), tx.Now())
		return recordedUnless(broken, lot, agreed, err)
	})
	if err != nil {
		return nil, err
	}
	viewing, err := viewed(did, req.GetViewingId())
	return &minerv1.AgreeViewingResponse{Viewing: viewing, Position: uint64(did.Position)}, err
}

// CallOffViewing implements minerv1.MinerServiceServer.
func (s *Server) CallOffViewing(ctx context.Context, req *minerv1.CallOffViewingRequest) (*minerv1.CallOffViewingResponse, error) {
	me := access.Caller(ctx).Member
	did, err := s.onLot(ctx, req, req.GetParcelId(), func(_ *eventstore.Tx, lot *command.Thing[parcel.State]) error {
		off, err := lot.State.CallOffViewing(me, req.GetViewingId(), req.GetWhy())
		return recorded(lot, off, err)
	})
	if err != nil {
		return nil, err
	}
	viewing, err := viewed(did, req.GetViewingId())
	return &minerv1.CallOffViewingResponse{Viewing: viewing, Position: uint64(did.Position)}, err
}

// StartViewing implements minerv1.MinerServiceServer.
func (s *Server) StartViewing(ctx context.Context, req *minerv1.StartViewingRequest) (*minerv1.StartViewingResponse, error) {
	me := access.Caller(ctx).Member
	did, err := s.onLot(ctx, req, req.GetParcelId(), func(_ *eventstore.Tx, lot *command.Thing[parcel.State]) error {
		started, err := lot.State.StartViewing(me, req.GetViewingId(), req.GetCount(), wire.ReadWeighing(req.GetTotal()))
		return recorded(lot, started, err)
	})
	if err != nil {
		return nil, err
	}
	viewing, err := viewed(did, req.GetViewingId())
	return &minerv1.StartViewingResponse{Viewing: viewing, Position: uint64(did.Position)}, err
}

// EndViewing implements minerv1.MinerServiceServer.
func (s *Server) EndViewing(ctx context.Context, req *minerv1.EndViewingRequest) (*minerv1.EndViewingResponse, error) {
	me := access.Caller(ctx).Member
	did, err := s.onLot(ctx, req, req.GetParcelId(), func(_ *eventstore.Tx, lot *command.Thing[parcel.State]) error {
		ended, err := lot.State.EndViewing(me, parcel.Viewing{
			ID: req.GetViewingId(), Back: parcel.Word{Count: req.GetCount(), Total: wire.ReadWeighing(req.GetTotal())},
			Light: req.GetLight(), Candled: req.GetCandled(), Rubbed: req.GetRubbed(), Note: req.GetNote(),
		})
		return recorded(lot, ended, err)
	})
	if err != nil {
		return nil, err
	}
	viewing, err := viewed(did, req.GetViewingId())
	return &minerv1.EndViewingResponse{Viewing: viewing, Position: uint64(did.Position)}, err
}

// ListViewings implements minerv1.MinerServiceServer.
func (s *Server) ListViewings(ctx context.Context, req *minerv1.ListViewingsRequest) (*minerv1.ListViewingsResponse, error) {
	me, v := access.Caller(ctx).Member, view.Parcels{}
	viewings, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]view.OfParcel, string, error) {
			return v.ViewingsOf(q.View(v.Name()), me, after, limit)
		},
		func(q *eventstore.Query, at view.OfParcel) (*typev1.Viewing, error) {
			p, _, err := eventstore.Load(q, stream.Parcel, at.ParcelID)
			if err != nil {
				return nil, err
			}
			found, _ := p.Viewing(at.ID)
			return wire.Viewing(p.ID, found), nil
		})
	if err != nil {
		return nil, err
	}
	return &minerv1.ListViewingsResponse{Viewings: viewings, NextPageToken: next, Position: position}, nil
}
