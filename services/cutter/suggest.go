package cutter

import (
	"context"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"

	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/draw"
	"seamshare.example/services/domain/saw/search"
	"seamshare.example/services/fault"
	"seamshare.example/services/wire"
)

const (
	usualChanges = 20_000
	usualSeconds = 10
)

// SuggestPlans implements cutterv1.CutterServiceServer.
func (s *Server) SuggestPlans(req *cutterv1.SuggestPlansRequest, stream grpc.ServerStreamingServer[cutterv1.SuggestPlansResponse]) error {
	ctx := stream.Context()
	var unreadable rule.All
	task := wire.ReadTask(&unreadable, req)
	position, err := s.look(ctx, req, func(own piece.Papers) (err error) {
		if err := unreadable.Err(); err != nil {
			return err
		}
		_, task.Study, err = own.Drawing(req.GetStudyId())
		return err
	})
	if err != nil {
		return err
	}
	found, err := s.search(ctx, req, task, func(p search.Progress) error {
		progress := &cutterv1.SuggestProgress{Changes: uint32(p.Step), Of: uint32(p.Of)}
		if p.Best != math.MinInt64 {
			progress.Best = wire.Money(task.Prices.Currency, p.Best)
		}
		return stream.Send(&cutterv1.SuggestPlansResponse{Said: &cutterv1.SuggestPlansResponse_Progress{Progress: progress}})
	})
	if err != nil {
		return err
	}
	for _, o := range found.Offers {
		plan := wire.SuggestedPlan(o)
		wire.WithoutOutlines(plan.GetResult().GetTrunk())
		if err := stream.Send(&cutterv1.SuggestPlansResponse{Said: &cutterv1.SuggestPlansResponse_Plan{Plan: plan}}); err != nil {
			return err
		}
	}
	end := wire.SuggestEnd(task.Prices.Currency, found)
	end.Position = position
	return stream.Send(&cutterv1.SuggestPlansResponse{Said: &cutterv1.SuggestPlansResponse_End{End: end}})
}

// tellEvery is how often a search says how far it is.
const tellEvery = 250 * time.Millisecond

// search runs a search at a desk, which it hands over to what waits for one as often as it can. It ends when the seconds
// are over, and with an error when the caller goes.
func (s *Server) search(ctx context.Context, req *cutterv1.SuggestPlansRequest, task search.Task, tell func(search.Progress) error) (search.Suggestion, error) {
	select {
	case s.searches <- struct{}{}:
		defer func() { <-s.searches }()
	default:
		return search.Suggestion{}, fault.New(fault.NodeBusy, "%d searches for plans go on already, and more would slow the node; try again in a moment", cap(s.searches)).RetryIn(5 * time.Second)
	}
	release, err := s.reckon(ctx)
	if err != nil {
		return search.Suggestion{}, err
	}
	defer func() { release() }()
	changes, seconds := int(req.GetChanges()), time.Duration(req.GetSeconds())*time.Second
	if changes == 0 {
		changes = usualChanges
	}
	if seconds == 0 {
		seconds = usualSeconds * time.Second
	}
	bounded, stop := context.WithTimeout(ctx, seconds)
	defer stop()
	var gone error
	last := time.Now()
	found, err := search.Suggest(bounded, task, search.Seeded(req.GetSeed()), changes, func(p search.Progress) {
		if gone != nil {
			return
		}
		release()
		if release, gone = s.reckon(ctx); gone != nil {
			release = func() {}
			return
		}
		if now := time.Now(); now.Sub(last) >= tellEvery {
			last = now
			if gone = tell(p); gone != nil {
				stop()
			}
		}
	})
	switch {
	case gone != nil:
		return found, gone
	case ctx.Err() != nil:
		return found, fmt.Errorf("couldn't search to the end: %w", ctx.Err())
	case err != nil:
		return found, piece.Refused(err, inSuggest.Replace)
	}
	return found, nil
}

// inSuggest makes paths in a request for a search of those in its task and plans.
var inSuggest = strings.NewReplacer(".pattern", "", "markets[", "prices.markets[", "blades[0]", "blade", "rest.kind", "rest", "rest.class", "rest_class", "rest.market", "rest_market")

// DrawPlan implements cutterv1.CutterServiceServer.
func (s *Server) DrawPlan(ctx context.Context, req *cutterv1.DrawPlanRequest) (*cutterv1.DrawPlanResponse, error) {
	var study saw.Study
	var kept *piece.Revision
	position, err := s.look(ctx, req, func(own piece.Papers) error {
		studyID := req.GetStudyId()
		if id := req.GetPlanId(); id != "" {
			now, err := own.MeasuredPlan(id)
			if err != nil {
				return err
			}
			kept = &now
			if studyID == "" {
				studyID = now.Plan.GetStudyId()
			}
		}
		var err error
		_, study, err = own.Drawing(studyID)
		return err
	})
	if err != nil {
		return nil, err
	}
	out := &cutterv1.DrawPlanResponse{Position: position}
	if out.Picture, err = s.atDesk(ctx, func(w io.Writer) (err error) {
		out.MediaType, err = drawn(w, req, study, kept)
		return err
	}); err != nil {
		return nil, err
	}
	return out, nil
}

// drawn writes what is asked for of a study, or of a plan on it, and says what it is.
func drawn(w io.Writer, req *cutterv1.DrawPlanRequest, study saw.Study, kept *piece.Revision) (media string, err error) {
	if kept == nil {
		if req.GetSheet() || req.GetStep() != "" {
			return "", rule.Broken{Reason: rule.FieldInvalid, Field: "plan_id", Value: "missing", Rule: "a step or a page is of a plan", Hint: "name a measured plan"}
		}
		media, err = "image/svg+xml", draw.Study(w, study, draw.Options{})
	} else {
		plan := piece.Cut(kept.Plan.GetCut())
		if !req.GetSheet() && req.GetStep() != "" && !hasStep(plan.Steps, "", req.GetStep()) {
			return "", rule.NotThere("step", "step of the plan")
		}
		var result saw.Result
		if result, err = evaluate(study, plan, piece.Prices(kept.Plan.GetPrices())); err != nil {
			return "", err
		}
		switch {
		case req.GetSheet():
			media, err = "text/html", draw.Sheet(w, study, plan, result, draw.Options{})
		case req.GetStep() != "":
			media, err = "image/svg+xml", draw.Step(w, study, plan, result, req.GetStep(), draw.Options{})
		default:
			media, err = "image/svg+xml", draw.Plan(w, study, plan, result, draw.Options{})
		}
	}
	if err != nil {
		return "", fmt.Errorf("couldn't draw the plan: %w", err)
	}
	return media, nil
}

// atDesk gives what is written in its turn.
func (s *Server) atDesk(ctx context.Context, write func(io.Writer) error) ([]byte, error) {
	release, err := s.reckon(ctx)
	if err != nil {
		return nil, err
	}
	defer release()
	var out answer
	err = write(&out)
	return out.data, err
}

// answer keeps what is written to it, and refuses what an answer has no room for.
type answer struct{ data []byte }

// Write implements io.Writer.
func (a *answer) Write(p []byte) (int, error) {
	if n := len(a.data) + len(p); n > maxResult {
		return 0, tooLarge(n, "step", "draw one step, or with fewer points")
	}
	a.data = append(a.data, p...)
	return len(p), nil
}

// fits refuses an answer that is larger than any may be.
func fits(answer proto.Message, field, hint string) error {
	if n := proto.Size(answer); n > maxResult {
		return tooLarge(n, field, hint)
	}
	return nil
}

func tooLarge(n int, field, hint string) error {
	return rule.Broken{Reason: rule.KeepsTooMuch, Field: field, Value: fmt.Sprintf("%d bytes", n), Rule: fmt.Sprintf("an answer takes at most %d bytes", maxResult), Hint: hint}
}

// hasStep tells whether a step stands at a path.
func hasStep(steps []saw.Step, at, path string) bool {
	for i, step := range steps {
		here := fmt.Sprintf("%ssteps[%d]", at, i)
		if here == path {
			return true
		}
		if look, ok := step.Do.(saw.Look); ok {
			for j, o := range look.Outcomes {
				if hasStep(o.Steps, fmt.Sprintf("%s.look.outcomes[%d].", here, j), path) {
					return true
				}
			}
		}
	}
	return false
}
