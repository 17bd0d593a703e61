package cutter_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/example"
	"seamshare.example/services/domain/saw/search"
	"seamshare.example/services/tradetest"
	"seamshare.example/services/wire"
)

// drawn is a piece in hand that was studied with a drawing of the demo.
func (d *trade) drawn(t *testing.T, study saw.Study) string {
	t.Helper()
	piece := d.inHand(t, outright).GetLines()[0].GetPieceId()
	got, err := d.cutters.StudyPiece(d.wetWheel, &cutterv1.StudyPieceRequest{RequestId: d.id(), PieceId: piece, Drawing: wire.Drawing(study)})
	if err != nil {
		t.Fatal(err)
	}
	if last := got.GetPiece().GetStudies()[0]; !last.GetDrawn() || last.GetDrawing() != nil {
		t.Fatalf("the list of studies has %v", last)
	}
	return piece
}

// demo is the piece of the demo with two seams, which has two plans.
func demo() (saw.Study, saw.Plan, saw.Plan) {
	c := example.Demo()["P1-3"]
	c.Study.MassUg = 8_950_000
	return c.Study, c.Plans[0], c.Plans[1]
}

func TestMeasured(t *testing.T) {
	d := open(t)
	study, both, one := demo()
	piece := d.drawn(t, study)
	want, err := saw.Evaluate(study, both, example.Prices())
	if err != nil {
		t.Fatal(err)
	}
	draft := &typev1.PlanDraft{Label: "both seams", Reason: "the angle opens outward", Cut: wire.CutPlan(both), Prices: wire.PriceList(example.Prices())}
	made, err := d.cutters.MakePlan(d.wetWheel, &cutterv1.MakePlanRequest{RequestId: d.id(), PieceId: piece, Plan: draft})
	if err != nil {
		t.Fatal(err)
	}
	id := made.GetPlan().GetId()
	kept := func(t *testing.T, revision uint32) *typev1.PlanRevision {
		t.Helper()
		got, err := d.cutters.GetPlan(d.wetWheel, &cutterv1.GetPlanRequest{PieceId: piece, PlanId: id, Revision: revision})
		if err != nil {
			t.Fatal(err)
		}
		return got.GetRevision()
	}
	t.Run("OK: a drawing and a plan come back as they went", func(t *testing.T) {
		got, err := d.cutters.GetStudy(d.wetWheel, &cutterv1.GetStudyRequest{PieceId: piece})
		if err != nil || !proto.Equal(got.GetStudy().GetDrawing(), wire.Drawing(study)) {
			t.Errorf("got %v, %v", got, err)
		}
		if plan := kept(t, 0).GetPlan(); !proto.Equal(plan.GetCut(), draft.GetCut()) || !proto.Equal(plan.GetPrices(), draft.GetPrices()) || plan.GetStudyId() != got.GetStudy().GetId() {
			t.Errorf("got %v", plan)
		}
	})
	t.Run("OK: a drawing that is off by more than a fifth of what the scale says is worth another look", func(t *testing.T) {
		model, err := saw.NewModel(study)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range []struct {
			weighedUg int64
			again     bool
		}{{model.DrawnUg(), false}, {model.DrawnUg() * 5 / 6, false}, {model.DrawnUg() * 4 / 5, true}} {
			weighed := study
			weighed.MassUg = c.weighedUg
			if _, err := d.cutters.StudyPiece(d.wetWheel, &cutterv1.StudyPieceRequest{RequestId: d.id(), PieceId: piece, Drawing: wire.Drawing(weighed)}); err != nil {
				t.Fatal(err)
			}
			got, err := d.cutters.GetStudy(d.wetWheel, &cutterv1.GetStudyRequest{PieceId: piece})
			if err != nil {
				t.Fatal(err)
			}
			st := got.GetStudy()
			if st.GetLookAgain() != c.again || st.GetDrawnUg() != model.DrawnUg() || st.GetErrorBp() != saw.ErrorBp(model.DrawnUg(), c.weighedUg) {
				t.Errorf("weighed %d, drawn %d: off by %d, look again %v, want %v", c.weighedUg, st.GetDrawnUg(), st.GetErrorBp(), st.GetLookAgain(), c.again)
			}
			tried, err := d.cutters.EvaluatePlan(d.wetWheel, &cutterv1.EvaluatePlanRequest{PieceId: piece, Cut: draft.GetCut(), Prices: draft.GetPrices()})
			if err != nil || tried.GetResult().GetLookAgain() != c.again || tried.GetResult().GetErrorBp() != st.GetErrorBp() {
				t.Errorf("a plan on it says %v, %v", tried.GetResult().GetLookAgain(), err)
			}
		}
		if _, err := d.cutters.StudyPiece(d.wetWheel, &cutterv1.StudyPieceRequest{RequestId: d.id(), PieceId: piece, Drawing: wire.Drawing(study)}); err != nil {
			t.Fatal(err)
		}
	})
	t.Run("OK: stones, steps and minutes are those of the likeliest outcomes", func(t *testing.T) {
		stones, minutes := likeliest(want.Trunk)
		plan := made.GetPlan().GetRevisions()[0].GetPlan()
		if len(plan.GetStones()) != stones || int64(plan.GetMinutes()) != minutes || len(plan.GetSteps()) == 0 || plan.GetCut() != nil {
			t.Errorf("got %d stones and %d minutes, want %d and %d, of %v", len(plan.GetStones()), plan.GetMinutes(), stones, minutes, plan)
		}
	})
	t.Run("OK: evaluated as package saw does, by id or as given", func(t *testing.T) {
		for _, req := range []*cutterv1.EvaluatePlanRequest{
			{PieceId: piece, PlanId: id},
			{PieceId: piece, Cut: draft.GetCut(), Prices: draft.GetPrices()},
			{PieceId: piece, Drawing: wire.Drawing(study), Cut: draft.GetCut(), Prices: draft.GetPrices()},
		} {
			got, err := d.cutters.EvaluatePlan(d.wetWheel, req)
			if err != nil || !proto.Equal(got.GetResult(), wire.CutResult(want)) {
				t.Errorf("got %v, %v", got, err)
			}
		}
	})
	t.Run("OK: a revision may follow another plan; the one before is kept", func(t *testing.T) {
		next := proto.CloneOf(draft)
		next.Cut = wire.CutPlan(one)
		if _, err := d.cutters.RevisePlan(d.wetWheel, &cutterv1.RevisePlanRequest{RequestId: d.id(), PieceId: piece, PlanId: id, Plan: next, Why: "the second seam is thin"}); err != nil {
			t.Fatal(err)
		}
		if !proto.Equal(kept(t, 0).GetPlan().GetCut(), next.GetCut()) || !proto.Equal(kept(t, 1).GetPlan().GetCut(), draft.GetCut()) {
			t.Error("the revisions aren't the two")
		}
	})
	t.Run("OK: a plan that breaks a rule is kept, and says so", func(t *testing.T) {
		next := proto.CloneOf(draft)
		next.Cut.Settings.BackingUm = 40_000
		got, err := d.cutters.RevisePlan(d.wetWheel, &cutterv1.RevisePlanRequest{RequestId: d.id(), PieceId: piece, PlanId: id, Plan: next, Why: "a thick back"})
		if err != nil || !got.GetPlan().GetRevisions()[2].GetInfeasible() || got.GetPlan().GetRevisions()[0].GetInfeasible() {
			t.Errorf("got %v, %v", got, err)
		}
	})
	t.Run("refused: what can't be, with its path", func(t *testing.T) {
		plan := func(change func(*typev1.PlanDraft)) error {
			next := proto.CloneOf(draft)
			change(next)
			_, err := d.cutters.MakePlan(d.wetWheel, &cutterv1.MakePlanRequest{RequestId: d.id(), PieceId: piece, Plan: next})
			return err
		}
		tradetest.Refused(t, plan(func(p *typev1.PlanDraft) { p.Cut.Steps[0].Part = "9Z" }), codes.InvalidArgument, string(rule.DrawingInvalid), "plan.cut.steps[0].part")
		tradetest.Refused(t, plan(func(p *typev1.PlanDraft) { p.Prices.Markets[1].Name = p.Prices.Markets[0].Name }), codes.InvalidArgument, string(rule.DrawingInvalid), "plan.prices.markets[1].name")
		tradetest.Refused(t, plan(func(p *typev1.PlanDraft) { p.Cut.Settings.Selling.CurrencyCode = "EUR" }), codes.InvalidArgument, string(rule.CurrencyDiffers), "plan.cut.settings.selling.currency_code")
		tradetest.Refused(t, plan(func(p *typev1.PlanDraft) { p.Minutes = 7 }), codes.InvalidArgument, string(rule.FieldInvalid), "plan.minutes")
		tradetest.Refused(t, plan(func(p *typev1.PlanDraft) { p.Cut = nil }), codes.InvalidArgument, string(rule.FieldInvalid), "plan.cut")
		tradetest.Refused(t, plan(func(p *typev1.PlanDraft) { p.StudyId = "nothing" }), codes.NotFound, string(rule.NotFound), "study_id")
		drawing := wire.Drawing(study)
		drawing.Features = append(drawing.Features, drawing.Features[0])
		_, err := d.cutters.StudyPiece(d.wetWheel, &cutterv1.StudyPieceRequest{RequestId: d.id(), PieceId: piece, Drawing: drawing})
		tradetest.Refused(t, err, codes.InvalidArgument, string(rule.DrawingInvalid), "drawing.features["+last(drawing.Features)+"].name")
		heavy := study
		heavy.MassUg = 900_000_000
		_, err = d.cutters.StudyPiece(d.wetWheel, &cutterv1.StudyPieceRequest{RequestId: d.id(), PieceId: piece, Drawing: wire.Drawing(heavy)})
		tradetest.Refused(t, err, codes.InvalidArgument, string(rule.HeavierThanBefore), "drawing.mass_ug")
	})
	t.Run("OK: a repeat answers with the first outcome, though another drawing came", func(t *testing.T) {
		req := &cutterv1.MakePlanRequest{RequestId: d.id(), PieceId: piece, Plan: draft}
		first, err := d.cutters.MakePlan(d.wetWheel, req)
		if err != nil {
			t.Fatal(err)
		}
		bare := saw.Study{Name: "bare", MassUg: 8_000_000, SGMilli: 2_600, ThicknessUm: 9_000, Outline: []saw.Point{{X: 0, Y: 0}, {X: 9_000, Y: 0}, {X: 0, Y: 9_000}}}
		if _, err := d.cutters.StudyPiece(d.wetWheel, &cutterv1.StudyPieceRequest{RequestId: d.id(), PieceId: piece, Drawing: wire.Drawing(bare)}); err != nil {
			t.Fatal(err)
		}
		if again, err := d.cutters.MakePlan(d.wetWheel, req); err != nil || !proto.Equal(first, again) {
			t.Errorf("first %v, again %v, %v", first, again, err)
		}
	})
	t.Run("OK: drawn as a picture and as a page", func(t *testing.T) {
		for media, req := range map[string]*cutterv1.DrawPlanRequest{
			"image/svg+xml": {PieceId: piece, PlanId: id, Step: "steps[0]"}, "text/html": {PieceId: piece, PlanId: id, Sheet: true},
		} {
			got, err := d.cutters.DrawPlan(d.wetWheel, req)
			if err != nil || got.GetMediaType() != media || !strings.Contains(string(got.GetPicture()), "<svg") {
				t.Errorf("got %.80q of %s, %v", got.GetPicture(), got.GetMediaType(), err)
			}
		}
		_, err := d.cutters.DrawPlan(d.wetWheel, &cutterv1.DrawPlanRequest{PieceId: piece, PlanId: id, Step: "steps[99]"})
		tradetest.Refused(t, err, codes.NotFound, string(rule.NotFound), "step")
	})
	t.Run("a drawing waits for a desk, that of a study too", func(t *testing.T) {
		defer d.cutter.TakeDesks()()
		for _, req := range []*cutterv1.DrawPlanRequest{{PieceId: piece}, {PieceId: piece, PlanId: id, Sheet: true}} {
			ctx, cancel := context.WithTimeout(d.wetWheel, 500*time.Millisecond)
			if _, err := d.cutters.DrawPlan(ctx, req); status.Code(err) != codes.DeadlineExceeded {
				t.Errorf("got %v of %v, want it to wait", err, req)
			}
			cancel()
		}
	})
	t.Run("refused: more than is reckoned with, before a plan or drawing is", func(t *testing.T) {
		long := func(corners int) (ring []saw.Point) {
			for i := range corners {
				ring = append(ring, saw.Point{X: int64(i % 7), Y: int64(i % 5)}) // it crosses itself, which reckoning would find
			}
			return ring
		}
		fine := both
		fine.Ends = []saw.End{{Part: "1A", Kind: saw.Stones}}
		for i := range 30 {
			fine.Ends[0].Stones = append(fine.Ends[0].Stones, saw.Stone{Name: fmt.Sprint(i), Shape: saw.Freeform, Ring: long(400), LengthUm: 9_000, WidthUm: 9_000, DepthUm: 3_000, View: saw.Face, ChanceBp: 9_000})
		}
		many := proto.CloneOf(draft)
		many.Cut = wire.CutPlan(fine)
		heavy := proto.CloneOf(draft)
		dear := saw.Prices{Currency: "AUD"}
		for i := range saw.MaxMarkets {
			dear.Markets = append(dear.Markets, saw.Market{Name: fmt.Sprint(i), Prices: slices.Repeat([]saw.Price{{Class: "top of the top", Per: saw.PerCarat, Minor: 1}}, saw.MaxPrices)})
		}
		heavy.Prices = wire.PriceList(dear)
		for value, bad := range map[string]*typev1.PlanDraft{"points": many, "bytes": heavy} {
			_, err := d.cutters.EvaluatePlan(d.wetWheel, &cutterv1.EvaluatePlanRequest{PieceId: piece, Cut: bad.GetCut(), Prices: bad.GetPrices()})
			tradetest.Refused(t, err, codes.InvalidArgument, string(rule.DrawingInvalid), "cut")
			if !strings.Contains(err.Error(), value) {
				t.Errorf("got %v, want %s named", err, value)
			}
			_, err = d.cutters.MakePlan(d.wetWheel, &cutterv1.MakePlanRequest{RequestId: d.id(), PieceId: piece, Plan: bad})
			tradetest.Refused(t, err, codes.InvalidArgument, string(rule.DrawingInvalid), "plan.cut")
		}
		crossed := study
		crossed.Features = slices.Repeat([]saw.Feature{{Name: "pale", Kind: saw.Potch, View: saw.Face, Closed: true, Points: long(2_000)}}, 6)
		drawing := wire.Drawing(crossed)
		_, err := d.cutters.StudyPiece(d.wetWheel, &cutterv1.StudyPieceRequest{RequestId: d.id(), PieceId: piece, Drawing: drawing})
		tradetest.Refused(t, err, codes.InvalidArgument, string(rule.DrawingInvalid), "drawing")
		_, err = d.cutters.EvaluatePlan(d.wetWheel, &cutterv1.EvaluatePlanRequest{PieceId: piece, Drawing: drawing, PlanId: id})
		tradetest.Refused(t, err, codes.InvalidArgument, string(rule.DrawingInvalid), "drawing")
	})
	t.Run("refused: another cutter, who learns nothing", func(t *testing.T) {
		_, err := d.cutters.EvaluatePlan(d.twoDops, &cutterv1.EvaluatePlanRequest{PieceId: piece, PlanId: id})
		tradetest.Refused(t, err, codes.NotFound, string(rule.NotFound), "piece_id")
		_, err = d.suggest(d.twoDops, piece, 1)
		tradetest.Refused(t, err, codes.NotFound, string(rule.NotFound), "piece_id")
	})
}

func last[A any](list []A) string {
	if len(list) == 0 {
		return ""
	}
	return string(rune('0' + len(list) - 1))
}

// likeliest counts what comes of the likeliest outcomes.
func likeliest(b saw.Branch) (stones int, minutes int64) {
	minutes = b.Minutes
	for _, e := range b.Ends {
		stones += len(e.Stones)
	}
	for _, l := range b.Looks {
		best := l.Outcomes[0]
		for _, o := range l.Outcomes {
			if o.ChanceBp > best.ChanceBp {
				best = o
			}
		}
		n, more := likeliest(best)
		stones, minutes = stones+n, minutes+more
	}
	return stones, minutes
}

// suggest asks for plans of ovals in the piece's colour.
func (d *trade) suggest(ctx context.Context, piece string, seconds uint32) (all []*cutterv1.SuggestPlansResponse, err error) {
	want := search.Want{
		Pattern: saw.Stone{Shape: saw.Oval, DepthUm: 3_000, DomeUm: 1_000, View: saw.Face, Class: "top", Market: "singles", ChanceBp: 9_000, Minutes: 60},
		Sizes:   search.Calibrated(saw.Oval),
	}
	stream, err := d.cutters.SuggestPlans(ctx, &cutterv1.SuggestPlansRequest{
		PieceId: piece, Prices: wire.PriceList(example.Prices()), Blade: wire.Blade(example.Trim()), Settings: wire.Settings(example.Settings()),
		Wants: []*typev1.StoneWanted{wire.WantedStone(want)}, SawMinutes: 15, Changes: 1_000_000, Seconds: seconds,
	})
	for err == nil {
		var m *cutterv1.SuggestPlansResponse
		if m, err = stream.Recv(); err == nil {
			all = append(all, m)
		}
	}
	if errors.Is(err, io.EOF) {
		err = nil
	}
	return all, err
}

func TestSuggest(t *testing.T) {
	d := open(t)
	study := example.P1Piece1()
	study.MassUg = 8_950_000
	piece := d.drawn(t, study)
	t.Run("OK: progress, plans that are feasible as they stand, and the end", func(t *testing.T) {
		all, err := d.suggest(d.wetWheel, piece, 1)
		if err != nil || len(all) < 3 {
			t.Fatalf("got %d messages, %v", len(all), err)
		}
		if all[0].GetProgress() == nil || all[len(all)-1].GetEnd() == nil || !all[len(all)-1].GetEnd().GetStopped() {
			t.Errorf("it begins with %v and ends with %v", all[0], all[len(all)-1])
		}
		plans := 0
		for _, m := range all {
			if m.GetPlan() == nil {
				continue
			}
			plans++
			got, err := d.cutters.EvaluatePlan(d.wetWheel, &cutterv1.EvaluatePlanRequest{PieceId: piece, Cut: m.GetPlan().GetCut(), Prices: wire.PriceList(example.Prices()), WithoutOutlines: true})
			if err != nil || got.GetResult().GetInfeasible() || !proto.Equal(got.GetResult(), m.GetPlan().GetResult()) {
				t.Errorf("%s comes out as\n%v\nwant\n%v, %v", m.GetPlan().GetWords(), got.GetResult(), m.GetPlan().GetResult(), err)
			}
		}
		if plans == 0 {
			t.Error("no plan was suggested")
		}
	})
	t.Run("refused: what can't be searched for, with its path in the request", func(t *testing.T) {
		ask := func(change func(*cutterv1.SuggestPlansRequest)) error {
			req := &cutterv1.SuggestPlansRequest{
				PieceId: piece, Prices: wire.PriceList(example.Prices()), Blade: wire.Blade(example.Trim()), Settings: wire.Settings(example.Settings()), Changes: 200,
				Wants: []*typev1.StoneWanted{wire.WantedStone(search.Want{
					Pattern: saw.Stone{Shape: saw.Oval, DepthUm: 3_000, View: saw.Face, Class: "top", Market: "singles", ChanceBp: 9_000}, Sizes: []search.Size{{LengthUm: 8_000, WidthUm: 6_000}},
				})},
			}
			change(req)
			stream, err := d.cutters.SuggestPlans(d.wetWheel, req)
			for err == nil {
				_, err = stream.Recv()
			}
			if errors.Is(err, io.EOF) {
				return nil
			}
			return err
		}
		refused := func(err error, field string) {
			t.Helper()
			tradetest.Refused(t, err, codes.InvalidArgument, string(rule.DrawingInvalid), field)
		}
		refused(ask(func(r *cutterv1.SuggestPlansRequest) { r.Wants[0].Sizes = nil }), "wants[0].length_um")
		refused(ask(func(r *cutterv1.SuggestPlansRequest) { r.Prices.Markets[1].Name = r.Prices.Markets[0].Name }), "prices.markets[1].name")
		refused(ask(func(r *cutterv1.SuggestPlansRequest) {
			r.Rest, r.RestClass, r.RestMarket = typev1.EndKind_END_KIND_STONES, "", ""
		}), "rest")
		if err := ask(func(r *cutterv1.SuggestPlansRequest) { r.Wants[0].DepthUm = 200_000 }); err != nil {
			t.Errorf("nothing fits: got %v", err)
		}
	})
	t.Run("OK: a caller who goes ends it, and its place is free again", func(t *testing.T) {
		for range 8 {
			ctx, cancel := context.WithCancel(d.wetWheel)
			stream, err := d.cutters.SuggestPlans(ctx, &cutterv1.SuggestPlansRequest{
				PieceId: piece, Prices: wire.PriceList(example.Prices()), Blade: wire.Blade(example.Trim()), Settings: wire.Settings(example.Settings()), Seconds: 30, Changes: 1_000_000,
				Wants: []*typev1.StoneWanted{wire.WantedStone(search.Want{Pattern: saw.Stone{Shape: saw.Oval, DepthUm: 3_000, View: saw.Face, Class: "top", Market: "singles", ChanceBp: 9_000}, Sizes: search.Calibrated(saw.Oval)})},
			})
			if err != nil {
				t.Fatal(err)
			}
			if _, err := stream.Recv(); err != nil && status.Code(err) != codes.ResourceExhausted {
				t.Error(err)
			}
			cancel()
			for err == nil {
				_, err = stream.Recv()
			}
		}
		for {
			if _, err := d.suggest(d.wetWheel, piece, 1); status.Code(err) != codes.ResourceExhausted {
				if err != nil {
					t.Error(err)
				}
				break
			}
		}
	})
}

func TestDecisionRecord(t *testing.T) {
	d := open(t)
	piece := d.inHand(t, outright).GetLines()[0].GetPieceId()
	const kind = typev1.DecisionKind_DECISION_KIND_SAW
	record := func(t *testing.T, who context.Context, tried, held int64) {
		t.Helper()
		own := int64(9_000)
		got, err := d.cutters.GetDecisionRecord(who, &cutterv1.GetDecisionRecordRequest{Kind: kind, ChanceBp: &own})
		if err != nil || got.GetRecord().GetTried() != tried || got.GetRecord().GetHeld() != held || got.GetApartBp() != own-got.GetRecord().GetMeanBp() {
			t.Errorf("got %v, %v, want %d of %d", got, err, held, tried)
		}
	}
	decide := func(t *testing.T) string {
		t.Helper()
		got, err := d.cutters.RecordDecision(d.wetWheel, &cutterv1.RecordDecisionRequest{
			RequestId: d.id(), PieceId: piece, Part: "1", Kind: kind, About: "a bar below, supposed", ChanceBp: 6_000, Chosen: 2, Reason: "the window shows it",
			Options: []*typev1.DecisionOption{{Name: "leave it", IfHolds: aud(100), IfFails: aud(100)}, {Name: "saw", IfHolds: aud(400), IfFails: aud(40)}},
		})
		if err != nil {
			t.Fatal(err)
		}
		return got.GetDecision().GetId()
	}
	record(t, d.wetWheel, 0, 0)
	for _, held := range []bool{true, false, true} {
		id := decide(t)
		req := &cutterv1.RecordOutcomeRequest{RequestId: d.id(), PieceId: piece, DecisionId: id, Held: held}
		for range 2 { // a repeat counts once
			if _, err := d.cutters.RecordOutcome(d.wetWheel, req); err != nil {
				t.Fatal(err)
			}
		}
	}
	decide(t) // open: it doesn't count
	record(t, d.wetWheel, 3, 2)
	record(t, d.twoDops, 3, 2)
	t.Run("said anew with a reason, what is said last counts", func(t *testing.T) {
		id := decide(t)
		say := func(held bool, note string) error {
			_, err := d.cutters.RecordOutcome(d.wetWheel, &cutterv1.RecordOutcomeRequest{RequestId: d.id(), PieceId: piece, DecisionId: id, Held: held, Note: note})
			return err
		}
		if err := say(false, ""); err != nil {
			t.Fatal(err)
		}
		record(t, d.wetWheel, 4, 2)
		tradetest.Refused(t, say(true, ""), codes.FailedPrecondition, string(rule.AlreadyThere), "note")
		record(t, d.wetWheel, 4, 2)
		for _, held := range []bool{true, true, false, true} {
			if err := say(held, "the other bar was meant"); err != nil {
				t.Fatal(err)
			}
		}
		record(t, d.wetWheel, 4, 3)
		got, err := d.cutters.ListDecisions(d.wetWheel, &cutterv1.ListDecisionsRequest{PieceId: piece})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range got.GetDecisions() {
			if c.GetId() == id && c.GetState() != typev1.DecisionState_DECISION_STATE_HELD {
				t.Errorf("got %v", c)
			}
		}
	})
	t.Run("refused: of a part that isn't there, and by another cutter", func(t *testing.T) {
		_, err := d.cutters.RecordOutcome(d.twoDops, &cutterv1.RecordOutcomeRequest{RequestId: d.id(), PieceId: piece, DecisionId: decide(t), Held: true})
		tradetest.Refused(t, err, codes.NotFound, string(rule.NotFound), "piece_id")
	})
}
