package cutter

import (
	"context"
	"fmt"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/saw"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/wire"
)

// GetStudy implements cutterv1.CutterServiceServer.
func (s *Server) GetStudy(ctx context.Context, req *cutterv1.GetStudyRequest) (*cutterv1.GetStudyResponse, error) {
	out := &cutterv1.GetStudyResponse{}
	position, err := s.look(ctx, req, func(own piece.Papers) error {
		id := req.GetStudyId()
		if id == "" {
			var err error
			if id, _, err = own.Drawing(""); err != nil {
				return err
			}
		}
		for _, st := range own.Studies {
			if st.GetPrivate().GetStudyId() == id {
				out.Study = wire.DrawnStudy(st)
				return nil
			}
		}
		return rule.NotThere("study_id", "study")
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// GetPlan implements cutterv1.CutterServiceServer.
func (s *Server) GetPlan(ctx context.Context, req *cutterv1.GetPlanRequest) (*cutterv1.GetPlanResponse, error) {
	out := &cutterv1.GetPlanResponse{}
	position, err := s.look(ctx, req, func(own piece.Papers) error {
		plan, ok := own.Plan(req.GetPlanId())
		if !ok {
			return rule.NotThere("plan_id", "plan")
		}
		kept := plan.Now()
		if n := int(req.GetRevision()); n > 0 {
			if n > len(plan.Revisions) {
				return rule.NotThere("revision", "revision of the plan")
			}
			kept = plan.Revisions[n-1]
		}
		out.Revision = wire.MeasuredPlan(kept)
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// maxResult leaves room in an answer, which has 2 MiB.
const maxResult = 1_900_000

// EvaluatePlan implements cutterv1.CutterServiceServer. The reckoning is done after the read is closed.
func (s *Server) EvaluatePlan(ctx context.Context, req *cutterv1.EvaluatePlanRequest) (*cutterv1.EvaluatePlanResponse, error) {
	var unreadable rule.All
	try := trial{study: wire.ReadDrawing(req.GetDrawing()), plan: wire.ReadCutPlan(&unreadable, "cut", req.GetCut()), prices: wire.ReadPriceList(&unreadable, "prices", req.GetPrices())}
	position, err := s.look(ctx, req, func(own piece.Papers) error {
		if err := unreadable.Err(); err != nil {
			return err
		}
		return try.complete(req, own)
	})
	if err != nil {
		return nil, err
	}
	result, err := s.evaluate(ctx, try.study, try.plan, try.prices)
	if err != nil {
		return nil, err
	}
	shown := wire.CutResult(result)
	if req.GetWithoutOutlines() {
		wire.WithoutOutlines(shown.GetTrunk())
	}
	out := &cutterv1.EvaluatePlanResponse{Result: shown, Position: position}
	return out, fits(out, "without_outlines", "ask without outlines, or draw with fewer points")
}

// trial is a plan to try on a drawing.
type trial struct {
	study  saw.Study
	plan   saw.Plan
	prices saw.Prices
}

// complete takes what the request doesn't give from what the cutter keeps of the piece.
func (t *trial) complete(req *cutterv1.EvaluatePlanRequest, own piece.Papers) error {
	studyID := req.GetStudyId()
	if (req.GetPlanId() == "") == (req.GetCut() == nil) {
		return rule.Broken{Reason: rule.FieldInvalid, Field: "cut", Value: "both or neither", Rule: "it is a kept plan or another one that is tried", Hint: "give plan_id or cut, one of them"}
	}
	if id := req.GetPlanId(); id != "" {
		now, err := own.MeasuredPlan(id)
		if err != nil {
			return err
		}
		stored := now.Plan
		t.plan = piece.Cut(stored.GetCut())
		if req.GetPrices() == nil {
			t.prices = piece.Prices(stored.GetPrices())
		}
		if studyID == "" {
			studyID = stored.GetStudyId()
		}
	} else if req.GetPrices() == nil {
		return rule.Broken{Reason: rule.FieldInvalid, Field: "prices", Value: "missing", Rule: "a plan is valued with prices", Hint: "give a list, if only of its currency"}
	}
	if req.GetDrawing() != nil {
		return nil
	}
	var err error
	_, t.study, err = own.Drawing(studyID)
	return err
}

// evaluate reckons what comes of a plan, in its turn.
func (s *Server) evaluate(ctx context.Context, study saw.Study, plan saw.Plan, prices saw.Prices) (saw.Result, error) {
	release, err := s.reckon(ctx)
	if err != nil {
		return saw.Result{}, err
	}
	defer release()
	return evaluate(study, plan, prices)
}

// evaluate is for those at a desk.
func evaluate(study saw.Study, plan saw.Plan, prices saw.Prices) (saw.Result, error) {
	drawn, err := piece.Draw("drawing", study)
	if err != nil {
		return saw.Result{}, err
	}
	return drawn.Evaluate("cut", plan, "prices", prices)
}

// draw checks a drawing, in its turn.
func (s *Server) draw(ctx context.Context, field string, study saw.Study) (*piece.Drawn, error) {
	release, err := s.reckon(ctx)
	if err != nil {
		return nil, err
	}
	defer release()
	return piece.Draw(field, study)
}

// measure evaluates the measured plan of a draft; nil where it is in words only. It is done before the decision,
// since it takes longer than a decision may.
func (s *Server) measure(ctx context.Context, req pieceRequest, draft *typev1.PlanDraft) (*piece.Measured, error) {
	if draft.GetCut() == nil {
		if draft.GetPrices() != nil || draft.GetStudyId() != "" {
			return nil, rule.Broken{Reason: rule.FieldInvalid, Field: "plan.cut", Value: "missing", Rule: "prices and study belong to a measured plan", Hint: "give the plan in cut, or leave them out"}
		}
		return nil, nil
	}
	var unreadable rule.All
	plan := wire.ReadCutPlan(&unreadable, "plan.cut", draft.GetCut())
	prices := wire.ReadPriceList(&unreadable, "plan.prices", draft.GetPrices())
	var study saw.Study
	studyID := draft.GetStudyId()
	if _, err := s.look(ctx, req, func(own piece.Papers) (err error) {
		if err := unreadable.Err(); err != nil {
			return err
		}
		studyID, study, err = own.Drawing(studyID)
		return err
	}); err != nil {
		return nil, err
	}
	release, err := s.reckon(ctx)
	if err != nil {
		return nil, err
	}
	defer release()
	drawn, err := piece.Draw("plan.study_id", study)
	if err != nil {
		return nil, err
	}
	return drawn.Measure(studyID, "plan.cut", plan, "plan.prices", prices)
}

// look reads what the caller keeps of one of their pieces.
func (s *Server) look(ctx context.Context, req interface {
	GetPieceId() string
	GetMinPosition() uint64
}, read func(piece.Papers) error,
) (uint64, error) {
	me := access.Caller(ctx).Member
	return query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		p, _, err := eventstore.Load(q, stream.Piece, req.GetPieceId())
		if err != nil {
			return err
		}
		if _, err := ownerOf(q, me, p); err != nil {
			return err
		}
		return read(p.Of(me))
	})
}

// reckon takes a turn at reckoning, of which fewer go on at once than there are processors, so that one is left
// for the writer. It waits until ctx ends.
func (s *Server) reckon(ctx context.Context) (release func(), err error) {
	select {
	case s.desks <- struct{}{}:
		return func() { <-s.desks }, nil
	case <-ctx.Done():
		return nil, fmt.Errorf("couldn't get a turn at reckoning: %w", ctx.Err())
	}
}
