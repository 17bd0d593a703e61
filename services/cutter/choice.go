package cutter

import (
	"context"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/saw/risk"
	"seamshare.example/services/query"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// RecordDecision implements cutterv1.CutterServiceServer.
func (s *Server) RecordDecision(ctx context.Context, req *cutterv1.RecordDecisionRequest) (*cutterv1.RecordDecisionResponse, error) {
	var unreadable rule.All
	choosing := piece.Choosing{
		Member: access.Caller(ctx).Member, ID: command.NewID(), Part: req.GetPart(), About: req.GetAbout(), Kind: piecev1.DecisionKind(req.GetKind()), ChanceBp: req.GetChanceBp(),
		Options: wire.ReadOptions(&unreadable, "options", req.GetOptions()), Chosen: req.GetChosen(), Reason: req.GetReason(),
	}
	did, _, err := s.decidePiece(ctx, req, onPaper, func(tx *eventstore.Tx, at desk, rough piece.State) (*piecev1.Event, error) {
		if err := unreadable.Err(); err != nil {
			return nil, err
		}
		chosen, err := rough.Choose(choosing, at.lot.Currency())
		if err == nil {
			tx.Made(choosing.ID)
		}
		return chosen, err
	})
	if err != nil {
		return nil, err
	}
	choice, _ := did.State.Of(choosing.Member).Choice(did.Made[0])
	shown, err := wire.Decision(choice)
	return &cutterv1.RecordDecisionResponse{Decision: shown, Position: uint64(did.Position)}, err
}

// RecordOutcome implements cutterv1.CutterServiceServer.
func (s *Server) RecordOutcome(ctx context.Context, req *cutterv1.RecordOutcomeRequest) (*cutterv1.RecordOutcomeResponse, error) {
	me := access.Caller(ctx).Member
	did, _, err := s.decidePiece(ctx, req, onPaper, func(_ *eventstore.Tx, _ desk, rough piece.State) (*piecev1.Event, error) {
		return rough.ComeOut(me, req.GetDecisionId(), req.GetHeld(), req.GetNote())
	})
	if err != nil {
		return nil, err
	}
	choice, _ := did.State.Of(me).Choice(req.GetDecisionId())
	shown, err := wire.Decision(choice)
	return &cutterv1.RecordOutcomeResponse{Decision: shown, Position: uint64(did.Position)}, err
}

// ListDecisions implements cutterv1.CutterServiceServer.
func (s *Server) ListDecisions(ctx context.Context, req *cutterv1.ListDecisionsRequest) (*cutterv1.ListDecisionsResponse, error) {
	out := &cutterv1.ListDecisionsResponse{}
	position, err := s.look(ctx, req, func(own piece.Papers) error {
		for _, c := range own.Choices {
			shown, err := wire.Decision(c)
			if err != nil {
				return err
			}
			out.Decisions = append(out.Decisions, shown)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// GetDecisionRecord implements cutterv1.CutterServiceServer.
func (s *Server) GetDecisionRecord(ctx context.Context, req *cutterv1.GetDecisionRecordRequest) (*cutterv1.GetDecisionRecordResponse, error) {
	out := &cutterv1.GetDecisionRecordResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		v := view.Decisions{}
		tried, held, err := v.Record(q.View(v.Name()), piecev1.DecisionKind(req.GetKind()))
		if err != nil {
			return err
		}
		record, estimate, err := wire.DecisionRecord(req.GetKind(), risk.Record{Held: held, Tried: tried}, req.GetChanceBp())
		if err != nil {
			return err
		}
		out.Record = record
		if req.ChanceBp != nil {
			out.ApartBp, out.Outside = req.GetChanceBp()-record.GetMeanBp(), estimate.Outside
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}
