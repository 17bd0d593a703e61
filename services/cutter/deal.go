package cutter

import (
	"context"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/stream"
	"seamshare.example/services/wire"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// onMine runs a command on a parcel that the caller has, or had, a deal for.
func (s *Server) onMine(ctx context.Context, req command.Request, id string, decide func(*eventstore.Tx, *command.Thing[parcel.State]) ([]*parcelv1.Event, error)) (command.Did[parcel.State], error) {
	return command.Run(ctx, s.node, req, stream.Parcel, func(tx *eventstore.Tx) (*command.Thing[parcel.State], error) {
		lot, err := mine(tx, access.Caller(ctx).Member, id)
		if err != nil {
			return nil, err
		}
		events, err := decide(tx, lot)
		if err != nil {
			return nil, err
		}
		for _, event := range events {
			lot.Record(event)
		}
		return lot, nil
	})
}

// CallOffMisdescribedDeal implements cutterv1.CutterServiceServer.
func (s *Server) CallOffMisdescribedDeal(ctx context.Context, req *cutterv1.CallOffMisdescribedDealRequest) (*cutterv1.CallOffMisdescribedDealResponse, error) {
	me := access.Caller(ctx).Member
	did, err := s.onMine(ctx, req, req.GetParcelId(), func(tx *eventstore.Tx, lot *command.Thing[parcel.State]) ([]*parcelv1.Event, error) {
		cut, err := command.Cut(tx, lot.State)
		if err != nil {
			return nil, err
		}
		return lot.State.CallOff(me, parcelv1.FallReason_FALL_REASON_MISDESCRIBED, req.GetWhy(), cut, tx.Now())
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.CallOffMisdescribedDealResponse{Parcel: shown(did, me), Position: uint64(did.Position)}, nil
}

// GiveBackParcel implements cutterv1.CutterServiceServer.
func (s *Server) GiveBackParcel(ctx context.Context, req *cutterv1.GiveBackParcelRequest) (*cutterv1.GiveBackParcelResponse, error) {
	me := access.Caller(ctx).Member
	did, err := s.onMine(ctx, req, req.GetParcelId(), func(_ *eventstore.Tx, lot *command.Thing[parcel.State]) ([]*parcelv1.Event, error) {
		return lot.State.GiveBack(me, parcel.Word{Count: req.GetCount(), Total: wire.ReadWeighing(req.GetTotal()), Note: req.GetNote()})
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.GiveBackParcelResponse{Parcel: shown(did, me), Position: uint64(did.Position)}, nil
}

// OpenLine implements cutterv1.CutterServiceServer.
func (s *Server) OpenLine(ctx context.Context, req *cutterv1.OpenLineRequest) (*cutterv1.OpenLineResponse, error) {
	me := access.Caller(ctx).Member
	opening := command.Opening{
		PieceID: req.GetPieceId(), Pieces: wire.TakenOut(req.GetPieces(), command.NewID), Left: wire.ReadWeighing(req.GetLeft()),
	}
	did, err := s.onMine(ctx, req, req.GetParcelId(), func(tx *eventstore.Tx, lot *command.Thing[parcel.State]) ([]*parcelv1.Event, error) {
		return nil, command.OpenLine(tx, me, lot, opening)
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.OpenLineResponse{Parcel: shown(did, me), Position: uint64(did.Position)}, nil
}

// CloseParcel implements cutterv1.CutterServiceServer.
func (s *Server) CloseParcel(ctx context.Context, req *cutterv1.CloseParcelRequest) (*cutterv1.CloseParcelResponse, error) {
	me := access.Caller(ctx).Member
	did, err := s.onMine(ctx, req, req.GetParcelId(), func(tx *eventstore.Tx, lot *command.Thing[parcel.State]) ([]*parcelv1.Event, error) {
		if err := wire.Unchanged(req.GetEtag(), func() *typev1.Parcel { return wire.Parcel(lot.State, lot.Version, me, tx.Now()) }); err != nil {
			return nil, err
		}
		left, err := command.Leftover(tx, lot.State)
		if err != nil {
			return nil, err
		}
		closed, err := lot.State.Close(me, left)
		return []*parcelv1.Event{closed}, err
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.CloseParcelResponse{Parcel: shown(did, me), Position: uint64(did.Position)}, nil
}
