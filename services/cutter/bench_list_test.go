package cutter_test

import (
	"context"
	"fmt"
	"slices"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

// bench is a member's bench list, "part job" for each line, read in pages of a size.
func (d *trade) bench(t *testing.T, as context.Context, size int32) (lines []string) {
	t.Helper()
	token := ""
	for pages := 0; ; pages++ {
		got, err := d.cutters.ListBench(as, &cutterv1.ListBenchRequest{PageSize: size, PageToken: token})
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range got.GetLines() {
			lines = append(lines, fmt.Sprintf("%s %s", l.GetPart(), l.GetJob()))
		}
		if token = got.GetNextPageToken(); token == "" || pages > 50 {
			return lines
		}
	}
}

func TestBenchList(t *testing.T) {
	d := open(t)
	if got := d.bench(t, d.wetWheel, 0); len(got) != 0 {
		t.Errorf("an empty bench shows %v", got)
	}
	first := d.inHand(t, outright)
	d.inHand(t, outright) // a second one, untouched to the end
	d.listed(t, outright) // on the market, in nobody's hands
	piece := first.GetLines()[0].GetPieceId()
	expect := func(when string, want ...string) {
		t.Helper()
		for _, size := range []int32{1, 2, 3, 4, 0} {
			if got := d.bench(t, d.wetWheel, size); !slices.Equal(got, append(want, "1 JOB_STUDY", "2 JOB_OPEN")) {
				t.Errorf("%s, in pages of %d: %v", when, size, got)
			}
		}
	}
	expect("untouched", "1 JOB_STUDY", "2 JOB_OPEN")

	if _, err := d.cutters.StudyPiece(d.wetWheel, &cutterv1.StudyPieceRequest{RequestId: d.id(), PieceId: piece, Seen: "a bar"}); err != nil {
		t.Fatal(err)
	}
	expect("studied", "1 JOB_PLAN", "2 JOB_OPEN")
	made, err := d.cutters.MakePlan(d.wetWheel, &cutterv1.MakePlanRequest{RequestId: d.id(), PieceId: piece, Plan: &typev1.PlanDraft{Label: "one", Reason: "sure"}})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := d.cutters.ChoosePlan(d.wetWheel, &cutterv1.ChoosePlanRequest{RequestId: d.id(), PieceId: piece, PlanId: made.GetPlan().GetId(), Reason: "sure"}); err != nil {
		t.Fatal(err)
	}
	expect("planned", "1 JOB_BEGIN", "2 JOB_OPEN")

	d.work(t, &cutterv1.WorkPartRequest{
		PieceId: piece, Part: "1", Step: typev1.Step_STEP_SPLIT, Tray: "3", DoneAt: d.ago(100),
		PartsOut: []*cutterv1.PartOut{
			{Name: "a", Weighing: mg(10_000)},
			{Name: "b", Weighing: mg(10_000)},
			{Name: "c", Weighing: mg(10_000)},
			{Name: "d", Weighing: mg(4_200), Fate: typev1.Fate_FATE_OFFCUT},
		},
	})
	expect("split", "a JOB_GO_ON", "b JOB_GO_ON", "c JOB_GO_ON", "2 JOB_OPEN")
	d.work(t, &cutterv1.WorkPartRequest{PieceId: piece, Part: "a", Step: typev1.Step_STEP_SHAPE, NotWeighed: true, Dop: "7", DoneAt: d.ago(80)})
	d.work(t, &cutterv1.WorkPartRequest{PieceId: piece, Part: "b", Step: typev1.Step_STEP_SHAPE, NotWeighed: true, DoneAt: d.ago(20)})
	if _, err := d.cutters.AwaitDecision(d.wetWheel, &cutterv1.AwaitDecisionRequest{RequestId: d.id(), PieceId: piece, Part: "c", Reason: "through the crack?"}); err != nil {
		t.Fatal(err)
	}
	expect("shaped", "a JOB_POLISH", "b JOB_REST", "c JOB_DECIDE", "2 JOB_OPEN")
	got, err := d.cutters.ListBench(d.wetWheel, &cutterv1.ListBenchRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if l := got.GetLines()[0]; l.GetTray() != "3" || l.GetDop() != "7" || l.GetLastStep() != typev1.Step_STEP_SHAPE || l.GetRestsUntil() == "" || l.GetParcelLabel() != "P1" {
		t.Errorf("the first line is %v", l)
	}
	if l := got.GetLines()[2]; l.GetWaitsFor() != "through the crack?" {
		t.Errorf("what waits is %v", l)
	}

	finished, err := d.cutters.FinishStone(d.wetWheel, &cutterv1.FinishStoneRequest{
		RequestId: d.id(), PieceId: piece, Part: "a", Label: "A", Weighing: mg(10_000), Size: mm(12, 9, 3), Outline: typev1.Outline_OUTLINE_OVAL,
		Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, Hydrophane: typev1.Hydrophane_HYDROPHANE_NO, Composite: typev1.Composite_COMPOSITE_NONE,
	})
	if err != nil {
		t.Fatal(err)
	}
	expect("finished", "a JOB_CHECK", "b JOB_REST", "c JOB_DECIDE", "2 JOB_OPEN")
	if _, err := d.cutters.CheckStone(d.wetWheel, d.checking(finished.GetStone())); err != nil {
		t.Fatal(err)
	}
	expect("checked", "a JOB_CONFIRM", "b JOB_REST", "c JOB_DECIDE", "2 JOB_OPEN")
	keeper := d.Join(t, "keeper", memberv1.Role_ROLE_STOCK_KEEPER)
	if _, err := d.cutters.ConfirmStone(keeper, &cutterv1.ConfirmStoneRequest{RequestId: d.id(), StoneId: finished.GetStone().GetId()}); err != nil {
		t.Fatal(err)
	}
	expect("confirmed", "a JOB_SELL", "b JOB_REST", "c JOB_DECIDE", "2 JOB_OPEN")
	if _, err := d.cutters.PutStoneOnSale(d.wetWheel, &cutterv1.PutStoneOnSaleRequest{RequestId: d.id(), StoneId: finished.GetStone().GetId(), Price: aud(740)}); err != nil {
		t.Fatal(err)
	}
	expect("on sale", "b JOB_REST", "c JOB_DECIDE", "2 JOB_OPEN")

	t.Run("another cutter's bench is empty, a miner has none", func(t *testing.T) {
		if got := d.bench(t, d.twoDops, 0); len(got) != 0 {
			t.Errorf("it shows %v", got)
		}
		if _, err := d.cutters.ListBench(d.billycart, &cutterv1.ListBenchRequest{}); status.Code(err) != codes.PermissionDenied {
			t.Errorf("a miner got %v", err)
		}
	})
}
