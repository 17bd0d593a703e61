package cutter

import (
	"context"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/wire"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// ListPieces implements cutterv1.CutterServiceServer.
func (s *Server) ListPieces(ctx context.Context, req *cutterv1.ListPiecesRequest) (*cutterv1.ListPiecesResponse, error) {
	me, concerned := access.Caller(ctx).Member, false
	pieces, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			p, _, err := eventstore.Load(q, stream.Parcel, req.GetParcelId())
			if err != nil {
				return nil, "", err
			}
			if err := seen(p, me); err != nil {
				return nil, "", err
			}
			concerned = me == p.Seller || me == p.Deal.Buyer
			return linesAfter(p.Lines, after, limit)
		},
		func(q *eventstore.Query, id string) (*typev1.Piece, error) {
			p, _, err := eventstore.Load(q, stream.Piece, id)
			if !concerned {
				return wire.MarketPiece(p), err
			}
			return wire.Piece(p), err
		})
	if err != nil {
		return nil, err
	}
	return &cutterv1.ListPiecesResponse{Pieces: pieces, NextPageToken: next, Position: position}, nil
}

// linesAfter gives the pieces that follow one in the order of the listing.
func linesAfter(lines []parcel.Line, after string, limit int) (ids []string, next string, err error) {
	begun := after == ""
	for _, l := range lines {
		if begun && len(ids) == limit {
			return ids, ids[limit-1], nil
		}
		if begun {
			ids = append(ids, l.PieceID)
		}
		begun = begun || l.PieceID == after
	}
	return ids, "", nil
}

// GetPiece implements cutterv1.CutterServiceServer.
func (s *Server) GetPiece(ctx context.Context, req *cutterv1.GetPieceRequest) (*cutterv1.GetPieceResponse, error) {
	out := &cutterv1.GetPieceResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		p, _, err := eventstore.Load(q, stream.Piece, req.GetPieceId())
		if err != nil {
			return err
		}
		if _, err := ownerOf(q, access.Caller(ctx).Member, p); err != nil {
			return err
		}
		out.Piece = wire.Piece(p)
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// WorkPart implements cutterv1.CutterServiceServer.
func (s *Server) WorkPart(ctx context.Context, req *cutterv1.WorkPartRequest) (*cutterv1.WorkPartResponse, error) {
	me := access.Caller(ctx).Member
	work := piece.Work{
		Member: me, Part: req.GetPart(), Step: piecev1.Step(req.GetStep()), MassIn: wire.ReadWeighing(req.GetMassIn()),
		Reason: piecev1.Reason(req.GetReason()), How: req.GetHow(), AreaUm2: req.GetAreaUm2(), Note: req.GetNote(),
	}
	for _, out := range req.GetPartsOut() {
		work.Out = append(work.Out, piece.Out{Name: out.GetName(), Weighing: wire.ReadWeighing(out.GetWeighing()), Fate: piece.Fate(out.GetFate())})
	}
	did, err := command.Run(ctx, s.node, req, stream.Piece, func(tx *eventstore.Tx) (*command.Thing[piece.State], error) {
		rough, _, err := inHand(tx, me, req.GetPieceId())
		if err != nil {
			return nil, err
		}
		if err := wire.Unchanged(req.GetEtag(), func() *typev1.Piece { return wire.Piece(rough.State) }); err != nil {
			return nil, err
		}
		worked, err := rough.State.Work(work)
		if err != nil {
			return nil, err
		}
		rough.Record(worked)
		return rough, nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.WorkPartResponse{Piece: wire.Piece(did.State), Position: uint64(did.Position)}, nil
}

// PlacePart implements cutterv1.CutterServiceServer.
func (s *Server) PlacePart(ctx context.Context, req *cutterv1.PlacePartRequest) (*cutterv1.PlacePartResponse, error) {
	me := access.Caller(ctx).Member
	did, err := command.Run(ctx, s.node, req, stream.Piece, func(tx *eventstore.Tx) (*command.Thing[piece.State], error) {
		rough, _, err := inHand(tx, me, req.GetPieceId())
		if err != nil {
			return nil, err
		}
		if err := wire.Unchanged(req.GetEtag(), func() *typev1.Piece { return wire.Piece(rough.State) }); err != nil {
			return nil, err
		}
		placed, err := rough.State.Place(me, req.GetPart(), piece.Fate(req.GetFate()), req.GetWhy())
		if err != nil {
			return nil, err
		}
		rough.Record(placed)
		return rough, nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.PlacePartResponse{Piece: wire.Piece(did.State), Position: uint64(did.Position)}, nil
}

// ownerOf is the parcel of a piece that is the member's. A piece of another looks like
// none.
func ownerOf(l eventstore.Loader, me string, p piece.State) (parcel.State, error) {
	missing := rule.NotThere("piece_id", "piece")
	if p.ID == "" {
		return parcel.State{}, missing
	}
	lot, _, err := eventstore.Load(l, stream.Parcel, p.ParcelID)
	if err == nil && lot.Deal.Buyer != me {
		err = missing
	}
	return lot, err
}

// inHand is a piece that the member may work now.
func inHand(tx *eventstore.Tx, me, id string) (*command.Thing[piece.State], parcel.State, error) {
	rough, err := command.Open(tx, stream.Piece, id)
	if err != nil {
		return nil, parcel.State{}, err
	}
	lot, err := ownerOf(tx, me, rough.State)
	if err != nil {
		return nil, lot, err
	}
	return rough, lot, lot.WorkedBy(me)
}
