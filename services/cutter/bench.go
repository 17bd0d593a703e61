package cutter

import (
	"context"
	"time"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/member"
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
	me, buyer, concerned := access.Caller(ctx).Member, "", false
	pieces, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			p, _, err := eventstore.Load(q, stream.Parcel, req.GetParcelId())
			if err != nil {
				return nil, "", err
			}
			if err := seen(p, me); err != nil {
				return nil, "", err
			}
			buyer, concerned = p.Deal.Buyer, me == p.Seller || me == p.Deal.Buyer
			ids, next := p.PiecesAfter(after, limit)
			return ids, next, nil
		},
		func(q *eventstore.Query, id string) (*typev1.Piece, error) {
			p, _, err := eventstore.Load(q, stream.Piece, id)
			if err != nil {
				return nil, err
			}
			if !concerned {
				return wire.MarketPiece(p), nil
			}
			if buyer != me { // the seller's own; the buyer's bench is nobody's business
				return wire.Piece(p), nil
			}
			settings, err := command.Settings(q, s.node.Coop(), q.Now())
			return wire.BenchPiece(p, me, settings.Wait()), err
		})
	if err != nil {
		return nil, err
	}
	return &cutterv1.ListPiecesResponse{Pieces: pieces, NextPageToken: next, Position: position}, nil
}

// GetPiece implements cutterv1.CutterServiceServer.
func (s *Server) GetPiece(ctx context.Context, req *cutterv1.GetPieceRequest) (*cutterv1.GetPieceResponse, error) {
	me, out := access.Caller(ctx).Member, &cutterv1.GetPieceResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		p, _, err := eventstore.Load(q, stream.Piece, req.GetPieceId())
		if err != nil {
			return err
		}
		if _, err := ownerOf(q, me, p); err != nil {
			return err
		}
		settings, err := command.Settings(q, s.node.Coop(), q.Now())
		out.Piece = wire.BenchPiece(p, me, settings.Wait())
		return err
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// WorkPart implements cutterv1.CutterServiceServer.
func (s *Server) WorkPart(ctx context.Context, req *cutterv1.WorkPartRequest) (*cutterv1.WorkPartResponse, error) {
	var unreadable rule.All
	work := piece.Work{
		Member: access.Caller(ctx).Member, Part: req.GetPart(), Step: piecev1.Step(req.GetStep()), MassIn: wire.ReadWeighing(req.GetMassIn()),
		Reason: piecev1.Reason(req.GetReason()), How: req.GetHow(), AreaUm2: req.GetAreaUm2(), Note: req.GetNote(),
		NotWeighed: req.GetNotWeighed(), Tray: req.GetTray(), Dop: req.GetDop(), Minutes: req.GetMinutes(),
		When: piece.When{Done: wire.Moment(&unreadable, "done_at", req.GetDoneAt()), WhyEarly: req.GetWhyEarly()},
	}
	for _, out := range req.GetPartsOut() {
		work.Out = append(work.Out, piece.Out{Name: out.GetName(), Weighing: wire.ReadWeighing(out.GetWeighing()), Fate: piece.Fate(out.GetFate())})
	}
	p, position, err := s.onPiece(ctx, req, atBench, func(at desk, rough piece.State) (*piecev1.Event, error) {
		if err := unreadable.Err(); err != nil {
			return nil, err
		}
		now := work
		now.When.Now, now.When.Rest = at.now, at.settings.Wait()
		return rough.Work(now)
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.WorkPartResponse{Piece: p, Position: position}, nil
}

// PlacePart implements cutterv1.CutterServiceServer.
func (s *Server) PlacePart(ctx context.Context, req *cutterv1.PlacePartRequest) (*cutterv1.PlacePartResponse, error) {
	me := access.Caller(ctx).Member
	p, position, err := s.onPiece(ctx, req, atBench, func(_ desk, rough piece.State) (*piecev1.Event, error) {
		return rough.Place(me, req.GetPart(), piece.Fate(req.GetFate()), req.GetWhy())
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.PlacePartResponse{Piece: p, Position: position}, nil
}

// desk is what a decision about a piece looks at beside the piece.
type desk struct {
	lot      parcel.State
	settings member.Settings
	now      time.Time
}

// Whether a command needs the rough in hand, or just a deal for it.
const (
	atBench = true
	onPaper = false
)

// pieceRequest is what a command about one piece has.
type pieceRequest interface {
	command.Request
	GetPieceId() string
}

// onPiece runs a command that records one event of a piece, and shows the piece.
func (s *Server) onPiece(ctx context.Context, req pieceRequest, bench bool, decide func(desk, piece.State) (*piecev1.Event, error)) (*typev1.Piece, uint64, error) {
	did, rest, err := s.decidePiece(ctx, req, bench, func(_ *eventstore.Tx, at desk, rough piece.State) (*piecev1.Event, error) { return decide(at, rough) })
	if err != nil {
		return nil, 0, err
	}
	return wire.BenchPiece(did.State, access.Caller(ctx).Member, rest), uint64(did.Position), nil
}

func (s *Server) decidePiece(ctx context.Context, req pieceRequest, bench bool, decide func(*eventstore.Tx, desk, piece.State) (*piecev1.Event, error)) (command.Did[piece.State], time.Duration, error) {
	me := access.Caller(ctx).Member
	var rest time.Duration
	did, err := command.Run(ctx, s.node, req, stream.Piece, func(tx *eventstore.Tx) (*command.Thing[piece.State], error) {
		rough, err := command.Open(tx, stream.Piece, req.GetPieceId())
		if err != nil {
			return nil, err
		}
		at := desk{now: tx.Now()}
		if at.lot, err = ownerOf(tx, me, rough.State); err != nil {
			return nil, err
		}
		if bench {
			if err := at.lot.WorkedBy(me, tx.Now()); err != nil {
				return nil, err
			}
		}
		if at.settings, err = command.Settings(tx, s.node.Coop(), tx.Now()); err != nil {
			return nil, err
		}
		_, ofPlan := req.(planRequest) // whose etag is the plan's
		if tagged, ok := req.(interface{ GetEtag() string }); ok && !ofPlan {
			if err := wire.Unchanged(tagged.GetEtag(), func() *typev1.Piece { return wire.BenchPiece(rough.State, me, at.settings.Wait()) }); err != nil {
				return nil, err
			}
		}
		event, err := decide(tx, at, rough.State)
		if err != nil {
			return nil, err
		}
		rough.Record(event)
		rest = at.settings.Wait()
		return rough, nil
	})
	if err == nil && did.Repeated {
		rest, err = s.rest(ctx, did.Position, did.At)
	}
	return did, rest, err
}

// rest is how long a part rests after shaping, as set at a moment.
func (s *Server) rest(ctx context.Context, at eventstore.Position, now time.Time) (rest time.Duration, err error) {
	_, err = query.At(ctx, s.node, uint64(at), func(q *eventstore.Query) error {
		settings, err := command.Settings(q, s.node.Coop(), now)
		rest = settings.Wait()
		return err
	})
	return rest, err
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
	return rough, lot, lot.WorkedBy(me, tx.Now())
}
