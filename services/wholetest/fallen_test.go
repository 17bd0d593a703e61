package wholetest_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tablestest"
	"seamshare.example/services/tradetest"
)

// TestAFallenDealIsOver: what was booked under a deal that fell through says nothing of the
// parcel once that is on the market again, or sold anew.
func TestAFallenDealIsOver(t *testing.T) {
	w := tablestest.NewWorld(t)
	ctx := w.Ctx()
	id := listed(w)
	take := func(who cooptest.Person) {
		_, err := who.Cutter().TakeParcel(ctx, &cutterv1.TakeParcelRequest{RequestId: command.NewID(), ParcelId: id})
		w.Must(err)
	}
	take(w.Cutter)
	cost, err := w.Books.Coop().RecordCost(ctx, &coopv1.RecordCostRequest{RequestId: command.NewID(), ParcelId: id, Amount: cooptest.AUD(3_850), Reference: "carrier", Kind: "freight"})
	w.Must(err)
	_, err = w.Cutter.Cutter().CallOffMisdescribedDeal(ctx, &cutterv1.CallOffMisdescribedDealRequest{RequestId: command.NewID(), ParcelId: id, Why: "glued"})
	w.Must(err)
	_, err = w.Miner.Miner().RelistParcel(ctx, &minerv1.RelistParcelRequest{RequestId: command.NewID(), ParcelId: id, OpenAtAsking: true})
	w.Must(err)
	correct := func() error {
		_, err := w.Books.Coop().CorrectAmount(ctx, &coopv1.CorrectAmountRequest{RequestId: command.NewID(), Corrects: cost.GetPosition(), Amount: cooptest.AUD(3_580), Reason: "misread"})
		return err
	}
	shares := func() (*coopv1.GetSharesResponse, error) {
		return w.Books.Coop().GetShares(ctx, &coopv1.GetSharesRequest{ParcelId: id})
	}
	t.Run("refused: on the market its cost can't be corrected", func(t *testing.T) {
		tradetest.Refused(t, correct(), codes.FailedPrecondition, "NOTHING_TO_CORRECT", "corrects")
	})
	t.Run("refused: on the market it has no shares", func(t *testing.T) {
		_, err := shares()
		tradetest.Refused(t, err, codes.FailedPrecondition, "NO_DEAL", "parcel_id")
	})
	take(w.OtherCutter)
	t.Run("refused: sold anew its cost can't be corrected", func(t *testing.T) {
		tradetest.Refused(t, correct(), codes.FailedPrecondition, "NOTHING_TO_CORRECT", "corrects")
	})
	t.Run("its new deal begins with nothing", func(t *testing.T) {
		got, err := shares()
		w.Must(err)
		if s := got.GetStatement(); len(s.GetOpen()) > 0 && s.GetOpen()[0].GetAmount().GetUnits() == 38 {
			t.Errorf("the freight of the deal before is recouped: %v", s)
		}
	})
}

// inclusion is a decision about one in the face.
func inclusion(pieceID, words string, chosen uint32) *cutterv1.RecordDecisionRequest {
	return &cutterv1.RecordDecisionRequest{
		RequestId: command.NewID(), PieceId: pieceID, Part: "1", Kind: typev1.DecisionKind_DECISION_KIND_INCLUSION, About: "a sand spot; " + words, ChanceBp: 6_000,
		Options: []*typev1.DecisionOption{
			{Name: "keep it; " + words, IfHolds: cooptest.AUD(90_000), IfFails: cooptest.AUD(10_000)},
			{Name: "grind it away; " + words, IfHolds: cooptest.AUD(40_000), IfFails: cooptest.AUD(20_000)},
		},
		Chosen: chosen, Reason: words,
	}
}

// TestTheNextBuyerSeesNoPlans: what a cutter wrote of a piece stays with that cutter when the deal falls through. Who buys it
// next sees no word of it, can't go on with it, and begins with a clean sheet.
func TestTheNextBuyerSeesNoPlans(t *testing.T) {
	const (
		canary = "bluebird"
		tray   = "tray7"
	)
	w := tablestest.NewWorld(t)
	ctx := w.Ctx()
	first, next := w.Cutter.Cutter(), w.OtherCutter.Cutter()
	study := tablestest.StudyDrawn(w) // of a piece in the first cutter's hands
	piece := study.GetPieceId()
	study.RequestId, study.Seen, study.Note, study.Drawing.Name = command.NewID(), canary, canary, canary
	studied, err := first.StudyPiece(ctx, study)
	w.Must(err)
	parcel, studyID := studied.GetPiece().GetParcelId(), studied.GetPiece().GetStudies()[0].GetId()
	draft := tablestest.MeasuredDraft()
	draft.Label, draft.Reason, draft.Cut.Name = canary, canary, canary
	plan, err := first.MakePlan(ctx, &cutterv1.MakePlanRequest{RequestId: command.NewID(), PieceId: piece, Plan: draft})
	w.Must(err)
	planID := plan.GetPlan().GetId()
	_, err = first.ChoosePlan(ctx, &cutterv1.ChoosePlanRequest{RequestId: command.NewID(), PieceId: piece, PlanId: planID, Reason: canary})
	w.Must(err)
	decided, err := first.RecordDecision(ctx, inclusion(piece, canary, 1))
	w.Must(err)
	_, err = first.WorkPart(ctx, &cutterv1.WorkPartRequest{
		RequestId: command.NewID(), PieceId: piece, Part: "1", Step: typev1.Step_STEP_DOP, NotWeighed: true, Tray: tray, Dop: tray, Minutes: 77, Note: canary,
	})
	w.Must(err)
	_, err = first.GradePart(ctx, &cutterv1.GradePartRequest{RequestId: command.NewID(), PieceId: piece, Part: "1", Grade: &typev1.Grade{Colours: canary}, Why: canary})
	w.Must(err)
	_, err = first.AwaitDecision(ctx, &cutterv1.AwaitDecisionRequest{RequestId: command.NewID(), PieceId: piece, Part: "1", Reason: canary})
	w.Must(err)

	w.Advance(31 * 24 * time.Hour)
	_, err = w.Miner.Miner().CallOffUnpaidDeal(ctx, &minerv1.CallOffUnpaidDealRequest{RequestId: command.NewID(), ParcelId: parcel})
	w.Must(err)
	total := cooptest.Grams(20_000_000)
	_, err = first.GiveBackParcel(ctx, &cutterv1.GiveBackParcelRequest{RequestId: command.NewID(), ParcelId: parcel, Count: 1, Total: total})
	w.Must(err)
	_, err = w.Miner.Miner().TakeBackParcel(ctx, &minerv1.TakeBackParcelRequest{RequestId: command.NewID(), ParcelId: parcel, Count: 1, Total: total})
	w.Must(err)
	_, err = w.Miner.Miner().RelistParcel(ctx, &minerv1.RelistParcelRequest{RequestId: command.NewID(), ParcelId: parcel, OpenAtAsking: true})
	w.Must(err)
	_, err = next.TakeParcel(ctx, &cutterv1.TakeParcelRequest{RequestId: command.NewID(), ParcelId: parcel})
	w.Must(err)
	_, err = w.Miner.Miner().HandOverParcel(ctx, &minerv1.HandOverParcelRequest{RequestId: command.NewID(), ParcelId: parcel, Count: 1, Total: total})
	w.Must(err)
	_, err = next.ReceiveParcel(ctx, &cutterv1.ReceiveParcelRequest{RequestId: command.NewID(), ParcelId: parcel, Count: 1, Total: total})
	w.Must(err)

	clean := func(t *testing.T, answer proto.Message, err error) {
		t.Helper()
		w.Must(err)
		for _, word := range []string{canary, tray, studyID, planID, decided.GetDecision().GetId(), "minutes"} {
			if text := prototext.Format(answer); strings.Contains(text, word) {
				t.Errorf("the next buyer sees %q of the buyer before: %s", word, text)
			}
		}
	}
	t.Run("no read shows a word of it", func(t *testing.T) {
		shown, err := next.GetPiece(ctx, &cutterv1.GetPieceRequest{PieceId: piece})
		clean(t, shown, err)
		pieces, err := next.ListPieces(ctx, &cutterv1.ListPiecesRequest{ParcelId: parcel})
		clean(t, pieces, err)
		bench, err := next.ListBench(ctx, &cutterv1.ListBenchRequest{})
		clean(t, bench, err)
		plans, err := next.ListPlans(ctx, &cutterv1.ListPlansRequest{PieceId: piece})
		clean(t, plans, err)
		decisions, err := next.ListDecisions(ctx, &cutterv1.ListDecisionsRequest{PieceId: piece})
		clean(t, decisions, err)
		today, err := w.OtherCutter.Coop().Today(ctx, &coopv1.TodayRequest{})
		clean(t, today, err)
		if !strings.Contains(prototext.Format(today), piece) {
			t.Errorf("the part that waits isn't in the next buyer's day: %v", today)
		}
		yield, err := next.GetYield(ctx, &cutterv1.GetYieldRequest{ParcelId: parcel})
		clean(t, yield, err)
		if n := len(plans.GetPlans()) + len(decisions.GetDecisions()) + len(shown.GetPiece().GetStudies()) + len(yield.GetYield().GetPlanned()); n != 0 {
			t.Errorf("the next buyer begins with %d papers", n)
		}
	})
	t.Run("refused: what is named of it isn't there", func(t *testing.T) {
		for field, read := range map[string]func() error{
			"study_id": func() error {
				_, err := next.GetStudy(ctx, &cutterv1.GetStudyRequest{PieceId: piece, StudyId: studyID})
				return err
			},
			"plan_id": func() error {
				_, err := next.GetPlan(ctx, &cutterv1.GetPlanRequest{PieceId: piece, PlanId: planID})
				return err
			},
		} {
			tradetest.Refused(t, read(), codes.NotFound, "NOT_FOUND", field)
		}
		_, err := next.EvaluatePlan(ctx, &cutterv1.EvaluatePlanRequest{PieceId: piece, PlanId: planID})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "plan_id")
		_, err = next.DrawPlan(ctx, &cutterv1.DrawPlanRequest{PieceId: piece, PlanId: planID})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "plan_id")
		_, err = next.DrawPlan(ctx, &cutterv1.DrawPlanRequest{PieceId: piece, StudyId: studyID})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "study_id")
		_, err = next.DrawPlan(ctx, &cutterv1.DrawPlanRequest{PieceId: piece})
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOT_DRAWN", "piece_id")
	})
	words := &typev1.PlanDraft{Label: "one", Reason: "my own"}
	t.Run("refused: it can't be gone on with", func(t *testing.T) {
		_, err := next.RevisePlan(ctx, &cutterv1.RevisePlanRequest{RequestId: command.NewID(), PieceId: piece, PlanId: planID, Plan: words, Why: "mine now"})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "plan_id")
		_, err = next.ChoosePlan(ctx, &cutterv1.ChoosePlanRequest{RequestId: command.NewID(), PieceId: piece, PlanId: planID, Reason: "mine now"})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "plan_id")
		_, err = next.DropPlan(ctx, &cutterv1.DropPlanRequest{RequestId: command.NewID(), PieceId: piece, PlanId: planID, Reason: "mine now"})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "plan_id")
		_, err = next.RecordOutcome(ctx, &cutterv1.RecordOutcomeRequest{RequestId: command.NewID(), PieceId: piece, DecisionId: decided.GetDecision().GetId(), Held: true})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "decision_id")
		measured := tablestest.MeasuredDraft()
		measured.StudyId = studyID
		_, err = next.MakePlan(ctx, &cutterv1.MakePlanRequest{RequestId: command.NewID(), PieceId: piece, Plan: measured})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "study_id")
	})
	t.Run("the next buyer's own stand alone, and the stone tells of them only", func(t *testing.T) {
		_, err := next.Decide(ctx, &cutterv1.DecideRequest{RequestId: command.NewID(), PieceId: piece, Part: "1", Decision: "go on"})
		w.Must(err)
		again, err := next.StudyPiece(ctx, &cutterv1.StudyPieceRequest{RequestId: command.NewID(), PieceId: piece, Note: "my own"})
		clean(t, again, err)
		made, err := next.MakePlan(ctx, &cutterv1.MakePlanRequest{RequestId: command.NewID(), PieceId: piece, Plan: words})
		w.Must(err)
		own := made.GetPlan().GetId()
		_, err = next.ChoosePlan(ctx, &cutterv1.ChoosePlanRequest{RequestId: command.NewID(), PieceId: piece, PlanId: own, Reason: "my own"})
		w.Must(err)
		_, err = next.RecordDecision(ctx, inclusion(piece, "my own", 2))
		w.Must(err)
		finished, err := next.FinishStone(ctx, &cutterv1.FinishStoneRequest{
			RequestId: command.NewID(), PieceId: piece, Part: "1", Label: "21", Weighing: &typev1.Weighing{MassUg: 1_776_000, DivisionUg: 2_000},
			Size:    &typev1.Size{LengthUm: 18_000, WidthUm: 13_000, DepthUm: 3_600},
			Outline: typev1.Outline_OUTLINE_FREEFORM, Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, Hydrophane: typev1.Hydrophane_HYDROPHANE_NO,
			Composite: typev1.Composite_COMPOSITE_NONE, WhyEarly: "the test doesn't wait", Minutes: 5,
		})
		w.Must(err)
		got, err := next.GetYield(ctx, &cutterv1.GetYieldRequest{ParcelId: parcel})
		w.Must(err)
		if y := got.GetYield(); len(y.GetPlanned()) != 1 || y.GetPlanned()[0].GetPlanId() != own || y.GetMinutes() != 5 {
			t.Errorf("planned and done is %v in %d minutes", y.GetPlanned(), y.GetMinutes())
		}
		chain, err := w.Auditor.Coop().GetStoneChain(ctx, &coopv1.GetStoneChainRequest{StoneId: finished.GetStone().GetId()})
		w.Must(err)
		var told []string
		for _, l := range chain.GetLinks() {
			if strings.Contains(l.GetWhat(), "inclusion") {
				told = append(told, l.GetWhat())
			}
		}
		if !slices.Equal(told, []string{"Part 1: an inclusion in the face was ground away"}) {
			t.Errorf("the chain tells %q", told)
		}
	})
}
