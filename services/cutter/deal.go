package cutter

import (
	"context"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/lot"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/stone"
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
		left, err := leftover(tx, lot.State)
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

// leftover finds what stands against closing a parcel, by way of its pieces.
func leftover(l eventstore.Loader, lot parcel.State) (left parcel.Leftover, err error) {
	for _, line := range lot.Lines {
		p, _, err := eventstore.Load(l, stream.Piece, line.PieceID)
		if err != nil {
			return left, err
		}
		for _, part := range p.Parts {
			switch {
			case part.LotID != "":
				err = lotSold(l, &left, part.LotID)
			case part.Fate == piece.Stone:
				err = sold(l, &left, part.StoneID)
			case part.Fate != piece.Shelf && part.Fate != piece.Offcut && part.Fate != piece.MovedOn:
				left.InWork = append(left.InWork, "part "+part.Name)
			}
			if err != nil {
				return left, err
			}
		}
	}
	return left, nil
}

// sold notes a stone that isn't sold, or not paid. One that is gone is accounted for.
func sold(l eventstore.Loader, left *parcel.Leftover, stoneID string) error {
	st, _, err := eventstore.Load(l, stream.Stone, stoneID)
	if err != nil {
		return err
	}
	name := "stone " + st.Facts.GetLabel()
	switch st.Stage {
	case stone.Lost, stone.Broken:
		return nil
	case stone.InLot:
		return lotSold(l, left, st.LotID)
	}
	if st.OrderID == "" {
		left.Unsold = append(left.Unsold, name)
		return nil
	}
	o, _, err := eventstore.Load(l, stream.Order, st.OrderID)
	if err != nil {
		return err
	}
	if !paid(o, stoneID) {
		left.Unpaid = append(left.Unpaid, name)
	}
	return nil
}

// lotSold notes a counted lot that isn't sold out, or not paid.
func lotSold(l eventstore.Loader, left *parcel.Leftover, lotID string) error {
	made, _, err := eventstore.Load(l, stream.Lot, lotID)
	if err != nil {
		return err
	}
	name := "lot " + made.Facts.GetLabel()
	if made.Stage != lot.SoldOut {
		left.Unsold = append(left.Unsold, name)
		return nil
	}
	for _, p := range made.Portions {
		o, _, err := eventstore.Load(l, stream.Order, p.OrderID)
		if err != nil {
			return err
		}
		if o.Open() > 0 {
			left.Unpaid = append(left.Unpaid, name)
			return nil
		}
	}
	return nil
}

func paid(o order.State, stoneID string) bool {
	line, ok := o.Line(stoneID)
	return ok && line.Paid >= line.Price
}
