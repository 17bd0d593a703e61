package jeweller_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
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

// mixed is a parcel of three pieces of three fields in the cutter's hands, of which
// pieces 1 and 2, and then 2 and 3, were mixed up.
func (s shop) mixed(t *testing.T) (fields []string, lot *typev1.Parcel) {
	t.Helper()
	ctx := t.Context()
	total := cooptest.Grams(60_000_000)
	req := &minerv1.PublishParcelRequest{
		RequestId: command.NewID(), Label: "P1", Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, OpenAtAsking: true, Agreement: outright(), Total: total,
	}
	for i := range 3 {
		field, err := s.Desk.Coop().RecordField(ctx, &coopv1.RecordFieldRequest{RequestId: command.NewID(), Name: fmt.Sprint("Field ", i+1)})
		if err != nil {
			t.Fatal(err)
		}
		fields = append(fields, field.GetField().GetId())
		claim, err := s.miner.Miner().RecordClaim(ctx, &minerv1.RecordClaimRequest{RequestId: command.NewID(), FieldId: fields[i], Name: "Claim 4"})
		if err != nil {
			t.Fatal(err)
		}
		req.Pieces = append(req.Pieces, &minerv1.NewPiece{
			Label: fmt.Sprint(i + 1), Weighing: cooptest.Grams(20_000_000), Size: &typev1.Size{LengthUm: 40_000, WidthUm: 30_000, DepthUm: 12_000},
			Kind: typev1.Kind_KIND_BOULDER, ClaimId: claim.GetClaim().GetId(),
		})
	}
	listed, err := s.miner.Miner().PublishParcel(ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	lot = listed.GetParcel()
	if _, err := s.cutter.Cutter().TakeParcel(ctx, &cutterv1.TakeParcelRequest{RequestId: command.NewID(), ParcelId: lot.GetId()}); err != nil {
		t.Fatal(err)
	}
	if _, err := s.miner.Miner().HandOverParcel(ctx, &minerv1.HandOverParcelRequest{RequestId: command.NewID(), ParcelId: lot.GetId(), Count: 3, Total: total}); err != nil {
		t.Fatal(err)
	}
	if _, err := s.cutter.Cutter().ReceiveParcel(ctx, &cutterv1.ReceiveParcelRequest{RequestId: command.NewID(), ParcelId: lot.GetId(), Count: 3, Total: total}); err != nil {
		t.Fatal(err)
	}
	for i := range 2 {
		if _, err := s.cutter.Cutter().ReportMixUp(ctx, &cutterv1.ReportMixUpRequest{RequestId: command.NewID(), Note: "the trays fell", Parts: []*cutterv1.BatchPart{
			{PieceId: lot.GetLines()[i].GetPieceId(), Part: fmt.Sprint(i + 1)}, {PieceId: lot.GetLines()[i+1].GetPieceId(), Part: fmt.Sprint(i + 2)},
		}}); err != nil {
			t.Fatal(err)
		}
	}
	return fields, lot
}

func outright() *typev1.Agreement {
	return &typev1.Agreement{
		Price: cooptest.AUD(160000), ParcelLevy: &typev1.Levy{BasisPoints: 300, BorneBy: "miner"}, SaleLevy: &typev1.Levy{BasisPoints: 600},
		Tiers: []*typev1.Tier{{Form: &typev1.Tier_Split{Split: &typev1.Split{Ratios: []*typev1.Ratio{{Party: "cutter", Weight: 1}}}}}},
	}
}

func (s shop) chain(t *testing.T, pieceID, part string) string {
	t.Helper()
	finished, err := s.cutter.Cutter().FinishStone(t.Context(), &cutterv1.FinishStoneRequest{
		RequestId: command.NewID(), PieceId: pieceID, Part: part, Label: "7", Weighing: &typev1.Weighing{MassUg: 608_000, DivisionUg: 2_000},
		Size: &typev1.Size{LengthUm: 12_000, WidthUm: 9_000, DepthUm: 3_000}, Outline: typev1.Outline_OUTLINE_OVAL, Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN,
		Hydrophane: typev1.Hydrophane_HYDROPHANE_NO, Composite: typev1.Composite_COMPOSITE_NONE, WhyEarly: "shaped before it came here",
	})
	if err != nil {
		t.Fatal(err)
	}
	got, err := s.cutter.Coop().GetStoneChain(t.Context(), &coopv1.GetStoneChainRequest{StoneId: finished.GetStone().GetId()})
	if err != nil {
		t.Fatal(err)
	}
	var words []string
	for _, l := range got.GetLinks() {
		words = append(words, l.GetWhat())
	}
	return strings.Join(words, "\n")
}

// TestMixUps: a part that was mixed up with one that had been mixed up before may be any
// of all of them.
func TestMixUps(t *testing.T) {
	s := open(t)
	_, lot := s.mixed(t)
	words := s.chain(t, lot.GetLines()[2].GetPieceId(), "3")
	for _, want := range []string{
		"The field: Field 1", "The field: Field 2", "The field: Field 3", "Piece 1,", "Piece 2,", "Piece 3,", "part 1 of piece 1", "Part 2 was mixed up", "Part 3 was mixed up",
	} {
		if !strings.Contains(words, want) {
			t.Errorf("%q isn't in the chain:\n%s", want, words)
		}
	}
}

// TestMixedUpAnew: what was mixed up and is listed anew isn't of one field.
func TestMixedUpAnew(t *testing.T) {
	s := open(t)
	ctx := t.Context()
	fields, lot := s.mixed(t)
	anew, err := s.cutter.Cutter().PublishRough(ctx, &cutterv1.PublishRoughRequest{
		RequestId: command.NewID(), Label: "P2", Total: cooptest.Grams(20_000_000), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, OpenAtAsking: true, Agreement: outright(),
		Lines: []*cutterv1.RoughLine{{
			PieceId: lot.GetLines()[1].GetPieceId(), Part: "2", Label: "A", Weighing: cooptest.Grams(20_000_000), Size: &typev1.Size{LengthUm: 40_000, WidthUm: 30_000, DepthUm: 12_000},
		}},
	})
	if err != nil {
		t.Fatal(err)
	}
	rival := s.Join(t, "Two Dops", typev1.Role_ROLE_CUTTER)
	got, err := rival.Cutter().ListPieces(ctx, &cutterv1.ListPiecesRequest{ParcelId: anew.GetParcel().GetId()})
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(fields)
	piece := got.GetPieces()[0]
	if piece.GetFieldId() != "" || piece.GetClaimId() != "" || !slices.Equal(piece.GetMayBeOfFieldIds(), fields) {
		t.Errorf("the market is shown %v", piece)
	}
}

// TestMixedUpFieldCorrected: a claim that was named wrong of one of those mixed up is put
// right in the piece, and in what any of them became in a newer parcel.
func TestMixedUpFieldCorrected(t *testing.T) {
	s := open(t)
	ctx := t.Context()
	fields, lot := s.mixed(t)
	anew, err := s.cutter.Cutter().PublishRough(ctx, &cutterv1.PublishRoughRequest{
		RequestId: command.NewID(), Label: "P2", Total: cooptest.Grams(20_000_000), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, OpenAtAsking: true, Agreement: outright(),
		Lines: []*cutterv1.RoughLine{{
			PieceId: lot.GetLines()[1].GetPieceId(), Part: "2", Label: "A", Weighing: cooptest.Grams(20_000_000), Size: &typev1.Size{LengthUm: 40_000, WidthUm: 30_000, DepthUm: 12_000},
		}},
	})
	if err != nil {
		t.Fatal(err)
	}
	field, err := s.Desk.Coop().RecordField(ctx, &coopv1.RecordFieldRequest{RequestId: command.NewID(), Name: "Field 4"})
	if err != nil {
		t.Fatal(err)
	}
	claim, err := s.miner.Miner().RecordClaim(ctx, &minerv1.RecordClaimRequest{RequestId: command.NewID(), FieldId: field.GetField().GetId(), Name: "Claim 4"})
	if err != nil {
		t.Fatal(err)
	}
	right := claim.GetClaim().GetId()
	// Part 1 of piece 1 was mixed up with part 2 of piece 2, which is listed anew.
	asked, err := s.miner.Coop().CorrectPiece(ctx, &coopv1.CorrectPieceRequest{RequestId: command.NewID(), PieceId: lot.GetLines()[0].GetPieceId(), ClaimId: &right, Reason: "two bags were swapped"})
	if err != nil {
		t.Fatal(err)
	}
	approver := s.Add(t, s.Desk.Member, typev1.Role_ROLE_APPROVER)
	auditor := s.Add(t, s.Desk.Member, typev1.Role_ROLE_AUDITOR)
	if _, err := auditor.Coop().StateTwoPeople(ctx, &coopv1.StateTwoPeopleRequest{RequestId: command.NewID(), PersonId: s.miner.Person, OtherPersonId: approver.Person, Basis: "I know both"}); err != nil {
		t.Fatal(err)
	}
	if _, err := approver.Coop().ConfirmCorrection(ctx, &coopv1.ConfirmCorrectionRequest{RequestId: command.NewID(), CorrectionId: asked.GetCorrection().GetId()}); err != nil {
		t.Fatal(err)
	}
	got, err := s.Join(t, "Two Dops", typev1.Role_ROLE_CUTTER).Cutter().ListPieces(ctx, &cutterv1.ListPiecesRequest{ParcelId: anew.GetParcel().GetId()})
	if err != nil {
		t.Fatal(err)
	}
	fields[0] = field.GetField().GetId()
	slices.Sort(fields)
	if may := got.GetPieces()[0].GetMayBeOfFieldIds(); !slices.Equal(may, fields) {
		t.Errorf("the piece listed anew may be of %v, want %v", may, fields)
	}
	words := s.chain(t, lot.GetLines()[2].GetPieceId(), "3")
	for _, want := range []string{"The field: Field 4", "The field: Field 2", "The field: Field 3", "Corrected: its field is Field 4, not Field 1 as recorded"} {
		if !strings.Contains(words, want) {
			t.Errorf("%q isn't in the chain:\n%s", want, words)
		}
	}
	if strings.Contains(words, "The field: Field 1") {
		t.Errorf("the chain still goes back to the wrong field:\n%s", words)
	}
}
