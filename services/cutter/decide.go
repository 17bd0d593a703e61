package cutter

import (
	"context"
	"fmt"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/wire"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// AwaitDecision implements cutterv1.CutterServiceServer.
func (s *Server) AwaitDecision(ctx context.Context, req *cutterv1.AwaitDecisionRequest) (*cutterv1.AwaitDecisionResponse, error) {
	me := access.Caller(ctx).Member
	p, position, err := s.onPiece(ctx, req, onPaper, func(_ desk, rough piece.State) (*piecev1.Event, error) {
		return rough.AwaitDecision(me, req.GetPart(), req.GetReason())
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.AwaitDecisionResponse{Piece: p, Position: position}, nil
}

// Decide implements cutterv1.CutterServiceServer.
func (s *Server) Decide(ctx context.Context, req *cutterv1.DecideRequest) (*cutterv1.DecideResponse, error) {
	me := access.Caller(ctx).Member
	p, position, err := s.onPiece(ctx, req, onPaper, func(_ desk, rough piece.State) (*piecev1.Event, error) {
		return rough.Decide(me, req.GetPart(), req.GetDecision())
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.DecideResponse{Piece: p, Position: position}, nil
}

// GradePart implements cutterv1.CutterServiceServer.
func (s *Server) GradePart(ctx context.Context, req *cutterv1.GradePartRequest) (*cutterv1.GradePartResponse, error) {
	x := piece.Expectation{
		Member: access.Caller(ctx).Member, Part: req.GetPart(), Grade: wire.ReadGrade(req.GetGrade()), Class: req.GetClass(), Why: req.GetWhy(),
	}
	p, position, err := s.onPiece(ctx, req, onPaper, func(at desk, rough piece.State) (*piecev1.Event, error) {
		x := x
		x.Classes = at.settings.Classes
		return rough.Regrade(x)
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.GradePartResponse{Piece: p, Position: position}, nil
}

// batch are the pieces of a batch, each opened once, in the order in which they are
// first named.
type batch struct {
	pieces []*command.Thing[piece.State]
	lotIDs []string   // of each of them
	parts  [][]string // of each of them
}

// openBatch opens the pieces of which parts are named; all are in the member's hands.
func openBatch(tx *eventstore.Tx, me string, named []*cutterv1.BatchPart) (b batch, err error) {
	at := map[string]int{}
	for i, n := range named {
		j, opened := at[n.GetPieceId()]
		if !opened {
			rough, lot, err := inHand(tx, me, n.GetPieceId())
			if err != nil {
				var broken rule.All
				if err := broken.Merge(fmt.Sprintf("parts[%d]", i), err); err != nil {
					return b, err
				}
				return b, broken.Err()
			}
			j, at[n.GetPieceId()] = len(b.pieces), len(b.pieces)
			b.pieces, b.lotIDs, b.parts = append(b.pieces, rough), append(b.lotIDs, lot.ID), append(b.parts, nil)
		}
		b.parts[j] = append(b.parts[j], n.GetPart())
	}
	return b, nil
}

// onBatch runs a command on several pieces and shows them all.
func (s *Server) onBatch(ctx context.Context, req command.Request, named []*cutterv1.BatchPart, decide func(batch) error) ([]*typev1.Piece, uint64, error) {
	me := access.Caller(ctx).Member
	did, err := command.Run(ctx, s.node, req, stream.Piece, func(tx *eventstore.Tx) (*command.Thing[piece.State], error) {
		b, err := openBatch(tx, me, named)
		if err != nil {
			return nil, err
		}
		if err := decide(b); err != nil {
			return nil, err
		}
		return b.pieces[0], nil
	})
	if err != nil {
		return nil, 0, err
	}
	var shown []*typev1.Piece
	_, err = query.At(ctx, s.node, uint64(did.Position), func(q *eventstore.Query) error {
		settings, err := command.Settings(q, s.node.Coop(), did.At)
		if err != nil {
			return err
		}
		seen := map[string]bool{}
		for _, n := range named {
			if seen[n.GetPieceId()] {
				continue
			}
			seen[n.GetPieceId()] = true
			p, _, err := eventstore.LoadAt(q, stream.Piece, n.GetPieceId(), did.Position)
			if err != nil {
				return err
			}
			shown = append(shown, wire.BenchPiece(p, me, settings.Wait()))
		}
		return nil
	})
	return shown, uint64(did.Position), err
}

// LookAgain implements cutterv1.CutterServiceServer.
func (s *Server) LookAgain(ctx context.Context, req *cutterv1.LookAgainRequest) (*cutterv1.LookAgainResponse, error) {
	me := access.Caller(ctx).Member
	pieces, position, err := s.onBatch(ctx, req, req.GetParts(), func(b batch) error {
		for i, rough := range b.pieces {
			looked, err := rough.State.LookAgain(me, b.parts[i], req.GetNote())
			if err != nil {
				return err
			}
			rough.Record(looked)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.LookAgainResponse{Pieces: pieces, Position: position}, nil
}

// ReportMixUp implements cutterv1.CutterServiceServer. The mix-up is recorded in the
// piece of each part, so that the chain of whatever is cut of it shows it.
func (s *Server) ReportMixUp(ctx context.Context, req *cutterv1.ReportMixUpRequest) (*cutterv1.ReportMixUpResponse, error) {
	me, id := access.Caller(ctx).Member, command.NewID()
	pieces, position, err := s.onBatch(ctx, req, req.GetParts(), func(b batch) error {
		var may [][]*piecev1.Candidate
		for i, rough := range b.pieces {
			if b.lotIDs[i] != b.lotIDs[0] {
				return rule.Broken{Reason: rule.NotOneParcel, Field: "parts", Value: rough.ID, Rule: "a mix-up is between parts of one parcel", Hint: "work one parcel at a time; report each by itself"}
			}
			for _, part := range b.parts[i] {
				each, err := rough.State.Mixable(part)
				if err != nil {
					return err
				}
				may = append(may, each)
			}
		}
		candidates, err := piece.Between(may)
		if err != nil {
			return err
		}
		for i, rough := range b.pieces {
			for _, part := range b.parts[i] {
				mixed, err := rough.State.MixUp(me, id, part, candidates, req.GetNote())
				if err != nil {
					return err
				}
				rough.Record(mixed)
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.ReportMixUpResponse{Pieces: pieces, Position: position}, nil
}
