package main

import (
	"bytes"
	"context"
	"fmt"

	"google.golang.org/grpc"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/draw"
	"seamshare.example/services/photo"
	"seamshare.example/services/wire"
)

// drawWithPhotos answers DrawPlan here, by the code that the node draws with, and with the
// photos under the views that the study puts them under.
func (s *session) drawWithPhotos(q call) func(context.Context, *cutterv1.DrawPlanRequest, ...grpc.CallOption) (*cutterv1.DrawPlanResponse, error) {
	return func(ctx context.Context, r *cutterv1.DrawPlanRequest, _ ...grpc.CallOption) (*cutterv1.DrawPlanResponse, error) {
		if r.GetPlanId() == "" && (r.GetSheet() || r.GetStep() != "") {
			return nil, wrongUsage("PLAN", "name a measured plan", "is missing: a step or a page is of a plan")
		}
		cutter, studyID := cutterv1.NewCutterServiceClient(q.conn), r.GetStudyId()
		var plan saw.Plan
		var prices saw.Prices
		if r.GetPlanId() != "" {
			kept, err := cutter.GetPlan(ctx, &cutterv1.GetPlanRequest{PieceId: r.GetPieceId(), PlanId: r.GetPlanId()})
			if err != nil {
				return nil, err
			}
			draft := kept.GetRevision().GetPlan()
			if draft.GetCut() == nil {
				return nil, wrongInput("PLAN", "revise it with --file", "the plan isn't measured")
			}
			var broken rule.All
			plan, prices = wire.ReadCutPlan(&broken, "cut", draft.GetCut()), wire.ReadPriceList(&broken, "prices", draft.GetPrices())
			if err := broken.Err(); err != nil {
				return nil, err
			}
			if studyID == "" {
				studyID = draft.GetStudyId()
			}
		}
		got, err := cutter.GetStudy(ctx, &cutterv1.GetStudyRequest{PieceId: r.GetPieceId(), StudyId: studyID})
		if err != nil {
			return nil, err
		}
		study := wire.ReadDrawing(got.GetStudy().GetDrawing())
		options, err := keptPhotos(q, study)
		if err != nil {
			return nil, err
		}
		out := &cutterv1.DrawPlanResponse{MediaType: "image/svg+xml", Position: got.GetPosition()}
		var b bytes.Buffer
		if r.GetPlanId() == "" {
			err = draw.Study(&b, study, options)
		} else {
			err = drawPlan(&b, r, study, plan, prices, options)
		}
		if err != nil {
			return nil, err
		}
		if r.GetSheet() {
			out.MediaType = "text/html"
		}
		out.Picture = b.Bytes()
		return out, nil
	}
}

func drawPlan(b *bytes.Buffer, r *cutterv1.DrawPlanRequest, study saw.Study, plan saw.Plan, prices saw.Prices, o draw.Options) error {
	drawn, err := piece.Draw("drawing", study)
	if err != nil {
		return err
	}
	result, err := drawn.Evaluate("cut", plan, "prices", prices)
	switch {
	case err != nil:
		return err
	case r.GetSheet():
		return draw.Sheet(b, study, plan, result, o)
	case r.GetStep() != "":
		there := false
		if err := eachStep("", "", plan.Steps, func(path, _ string, _ saw.Work) error {
			there = there || path == r.GetStep()
			return nil
		}); err != nil {
			return err
		}
		if !there {
			return wrongInput("--step", "name one such as steps[0]", "the plan has no step %q", r.GetStep())
		}
		return draw.Step(b, study, plan, result, r.GetStep(), o)
	}
	return draw.Plan(b, study, plan, result, o)
}

// keptPhotos fetches the photos that a study places.
func keptPhotos(q call, study saw.Study) (draw.Options, error) {
	photos := map[[32]byte]draw.Photo{}
	for _, u := range study.Underlays {
		if _, there := photos[u.SHA256]; there {
			continue
		}
		data, err := fetchPhoto(q, photo.Sum(u.SHA256))
		if err != nil {
			return draw.Options{}, err
		}
		if photos[u.SHA256], err = drawable(data); err != nil {
			return draw.Options{}, fmt.Errorf("photo %x: %w", u.SHA256, err)
		}
	}
	return photosBySum(photos), nil
}
