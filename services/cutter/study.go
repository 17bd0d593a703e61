package cutter

import (
	"context"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/wire"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// StudyPiece implements cutterv1.CutterServiceServer.
func (s *Server) StudyPiece(ctx context.Context, req *cutterv1.StudyPieceRequest) (*cutterv1.StudyPieceResponse, error) {
	study := piece.Study{
		ID: command.NewID(), Member: access.Caller(ctx).Member, Size: wire.ReadSize(req.GetSize()), Photos: wire.PhotosIn(req.GetPhotos()),
		Seen: req.GetSeen(), Note: req.GetNote(),
	}
	var unfit error
	if req.GetDrawing() != nil {
		study.Drawn, unfit = s.draw(ctx, "drawing", wire.ReadDrawing(req.GetDrawing()))
	}
	p, position, err := s.onPiece(ctx, req, onPaper, func(_ desk, rough piece.State) (*piecev1.Event, error) {
		if unfit != nil {
			return nil, unfit
		}
		return rough.Study(study)
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.StudyPieceResponse{Piece: p, Position: position}, nil
}

// MakePlan implements cutterv1.CutterServiceServer.
func (s *Server) MakePlan(ctx context.Context, req *cutterv1.MakePlanRequest) (*cutterv1.MakePlanResponse, error) {
	me, id := access.Caller(ctx).Member, command.NewID()
	var unreadable rule.All
	plan := wire.ReadPlan(&unreadable, "plan", req.GetPlan())
	measured, unfit := s.measure(ctx, req, req.GetPlan())
	did, _, err := s.decidePiece(ctx, req, onPaper, func(tx *eventstore.Tx, at desk, rough piece.State) (*piecev1.Event, error) {
		if err := unreadable.Err(); err != nil {
			return nil, err
		}
		if unfit != nil {
			return nil, unfit
		}
		made, err := rough.MakePlan(me, id, plan, measured, at.lot.Currency())
		if err == nil {
			tx.Made(id)
		}
		return made, err
	})
	if err != nil {
		return nil, err
	}
	made, _ := did.State.Of(me).Plan(did.Made[0])
	return &cutterv1.MakePlanResponse{Plan: wire.Plan(made), Position: uint64(did.Position)}, nil
}

// RevisePlan implements cutterv1.CutterServiceServer.
func (s *Server) RevisePlan(ctx context.Context, req *cutterv1.RevisePlanRequest) (*cutterv1.RevisePlanResponse, error) {
	me := access.Caller(ctx).Member
	var unreadable rule.All
	plan := wire.ReadPlan(&unreadable, "plan", req.GetPlan())
	measured, unfit := s.measure(ctx, req, req.GetPlan())
	shown, position, err := s.onPlan(ctx, req, func(at desk, rough piece.State) (*piecev1.Event, error) {
		if err := unreadable.Err(); err != nil {
			return nil, err
		}
		if unfit != nil {
			return nil, unfit
		}
		return rough.RevisePlan(me, req.GetPlanId(), plan, measured, req.GetWhy(), at.lot.Currency())
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.RevisePlanResponse{Plan: shown, Position: position}, nil
}

// ChoosePlan implements cutterv1.CutterServiceServer.
func (s *Server) ChoosePlan(ctx context.Context, req *cutterv1.ChoosePlanRequest) (*cutterv1.ChoosePlanResponse, error) {
	me := access.Caller(ctx).Member
	shown, position, err := s.onPlan(ctx, req, func(_ desk, rough piece.State) (*piecev1.Event, error) {
		return rough.ChoosePlan(me, req.GetPlanId(), req.GetReason())
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.ChoosePlanResponse{Plan: shown, Position: position}, nil
}

// DropPlan implements cutterv1.CutterServiceServer.
func (s *Server) DropPlan(ctx context.Context, req *cutterv1.DropPlanRequest) (*cutterv1.DropPlanResponse, error) {
	me := access.Caller(ctx).Member
	shown, position, err := s.onPlan(ctx, req, func(_ desk, rough piece.State) (*piecev1.Event, error) {
		return rough.DropPlan(me, req.GetPlanId(), req.GetReason())
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.DropPlanResponse{Plan: shown, Position: position}, nil
}

// planRequest is what a command about one plan has.
type planRequest interface {
	pieceRequest
	GetPlanId() string
	GetEtag() string
}

func (s *Server) onPlan(ctx context.Context, req planRequest, decide func(desk, piece.State) (*piecev1.Event, error)) (*typev1.Plan, uint64, error) {
	me := access.Caller(ctx).Member
	did, _, err := s.decidePiece(ctx, req, onPaper, func(_ *eventstore.Tx, at desk, rough piece.State) (*piecev1.Event, error) {
		plan, _ := rough.Of(me).Plan(req.GetPlanId())
		if err := wire.Unchanged(req.GetEtag(), func() *typev1.Plan { return wire.Plan(plan) }); err != nil {
			return nil, err
		}
		return decide(at, rough)
	})
	if err != nil {
		return nil, 0, err
	}
	plan, _ := did.State.Of(me).Plan(req.GetPlanId())
	return wire.Plan(plan), uint64(did.Position), nil
}

// ListPlans implements cutterv1.CutterServiceServer.
func (s *Server) ListPlans(ctx context.Context, req *cutterv1.ListPlansRequest) (*cutterv1.ListPlansResponse, error) {
	out := &cutterv1.ListPlansResponse{}
	position, err := s.look(ctx, req, func(own piece.Papers) error {
		for _, plan := range own.Plans {
			out.Plans = append(out.Plans, wire.Plan(plan))
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}
