package jeweller_test

import (
	"slices"
	"testing"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
)

// ends fails unless the stone's chain, as this member reads it, ends with these words.
func ends(t *testing.T, who cooptest.Person, st *typev1.Stone, want ...string) {
	t.Helper()
	got, err := who.Coop().GetStoneChain(t.Context(), &coopv1.GetStoneChainRequest{StoneId: st.GetId()})
	if err != nil {
		t.Fatal(err)
	}
	var words []string
	for _, l := range got.GetLinks() {
		words = append(words, l.GetWhat())
	}
	if last := words[max(0, len(words)-len(want)):]; !slices.Equal(last, want) {
		t.Errorf("the chain ends with %q, want %q", last, want)
	}
}

// TestChainBetweenHands: what became of a stone between two owners stays in its chain.
func TestChainBetweenHands(t *testing.T) {
	s := open(t, 10000, 20000, 30000)
	ctx := t.Context()
	t.Run("a sale that was called off", func(t *testing.T) {
		o := s.Order(t, s.marrow, s.stones[0])
		if _, err := s.marrow.Jeweller().CancelOrder(ctx, &jewellerv1.CancelOrderRequest{RequestId: command.NewID(), OrderId: o.GetId(), Why: "a slip"}); err != nil {
			t.Fatal(err)
		}
		ends(t, s.fernhook, s.stones[0], "Ordered", "Sold", "The sale was called off")
	})
	t.Run("out to a jeweller and back, otherwise than it went; lost there", func(t *testing.T) {
		a, err := s.marrow.Jeweller().AskForApproval(ctx, &jewellerv1.AskForApprovalRequest{
			RequestId: command.NewID(), Kind: typev1.GoodsKind_GOODS_KIND_APPROVAL, StoneIds: ids(s.stones...),
		})
		if err != nil {
			t.Fatal(err)
		}
		id := a.GetApproval().GetId()
		if _, err := s.cutter.Cutter().SendOnApproval(ctx, &cutterv1.SendOnApprovalRequest{
			RequestId: command.NewID(), ApprovalId: id, Stones: []*typev1.Measured{measured(s.stones[0]), measured(s.stones[1]), measured(s.stones[2])},
			Loss: typev1.Bearer_BEARER_CUTTER, Breakage: typev1.Bearer_BEARER_CUTTER, Carrier: "Parcel Post", Reference: "r1",
		}); err != nil {
			t.Fatal(err)
		}
		swapped := measured(s.stones[1])
		swapped.Weighing = &typev1.Weighing{MassUg: 604_000 - 4_001, DivisionUg: 2_000}
		for _, back := range []*typev1.Measured{measured(s.stones[0]), swapped} {
			if _, err := s.cutter.Cutter().TakeBackFromApproval(ctx, &cutterv1.TakeBackFromApprovalRequest{RequestId: command.NewID(), ApprovalId: id, Stone: back}); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := s.marrow.Jeweller().ReportLoss(ctx, &jewellerv1.ReportLossRequest{RequestId: command.NewID(), ApprovalId: id, StoneId: s.stones[2].GetId(), How: "stolen"}); err != nil {
			t.Fatal(err)
		}
		ends(t, s.cutter, s.stones[0], "Went out to a jeweller, not sold: 3.04 ct, 12 × 9 × 3 mm", "Came back from there: 3.04 ct, 12 × 9 × 3 mm")
		ends(t, s.cutter, s.stones[1], "Went out to a jeweller, not sold: 3.04 ct, 12 × 9 × 3 mm", "Came back from there: 2.99 ct, 12 × 9 × 3 mm; it measures otherwise than it went")
		ends(t, s.cutter, s.stones[2], "Went out to a jeweller, not sold: 3.04 ct, 12 × 9 × 3 mm", "Lost while it was out")
	})
	t.Run("into a counted lot and out of it", func(t *testing.T) {
		st := s.stones[0]
		made, err := s.cutter.Cutter().MakeLot(ctx, &cutterv1.MakeLotRequest{
			RequestId: command.NewID(), Label: "low", Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, Weighing: st.GetWeighing(),
			Sources: []*typev1.LotSource{{PieceId: st.GetPieceId(), Part: st.GetPart(), StoneId: st.GetId(), Count: 1, Weighing: st.GetWeighing()}},
		})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.cutter.Cutter().UnmakeLot(ctx, &cutterv1.UnmakeLotRequest{RequestId: command.NewID(), LotId: made.GetLot().GetId(), Why: "sold by themselves after all"}); err != nil {
			t.Fatal(err)
		}
		ends(t, s.cutter, st, "Went into a counted lot, in which no stone has a name of its own", "Came out of the counted lot, which was unmade")
	})
}
