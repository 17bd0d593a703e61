package coop_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tradetest"
)

// chainSays are the words of a stone's chain, a link a line.
func (d desks) chainSays(t *testing.T, stoneID string) string {
	t.Helper()
	got, err := d.wetWheel.Coop().GetStoneChain(t.Context(), &coopv1.GetStoneChainRequest{StoneId: stoneID})
	if err != nil {
		t.Fatal(err)
	}
	var words []string
	for _, l := range got.GetLinks() {
		words = append(words, l.GetWhat())
	}
	return strings.Join(words, "\n")
}

func (d desks) says(t *testing.T, stoneID string, want ...string) {
	t.Helper()
	words := d.chainSays(t, stoneID)
	for _, w := range want {
		if !strings.Contains(words, w) {
			t.Errorf("%q isn't in the chain:\n%s", w, words)
		}
	}
}

func (d desks) confirm(t *testing.T, c *coopv1.Correction) error {
	t.Helper()
	_, err := d.desk2.Coop().ConfirmCorrection(t.Context(), &coopv1.ConfirmCorrectionRequest{RequestId: command.NewID(), CorrectionId: c.GetId()})
	return err
}

// told are the stones that a jeweller's day names as something else than was said.
func told(t *testing.T, p cooptest.Person) (things []string) {
	t.Helper()
	got, err := p.Coop().Today(t.Context(), &coopv1.TodayRequest{})
	if err != nil {
		t.Fatal(err)
	}
	for _, i := range got.GetItems() {
		if i.GetKind() == "stones said to be something else" {
			things = append(things, i.GetThing()+" "+i.GetWhat())
		}
	}
	return things
}

// TestCorrectedStone: what a cutter said of a stone is put right by the cutter and a second
// person; from then on stock, answers and chain say so, and who has the stone learns of it.
func TestCorrectedStone(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	buyer := d.Join(t, "Marrow & Pin Jewellers", jeweller)
	d.twoPeople(t, d.wetWheel, d.desk2)
	p := d.Cut(t, d.billycart, d.wetWheel, 74000, 42000)
	id := p.Stones[0].GetId()
	held, err := buyer.Jeweller().HoldStones(ctx, &jewellerv1.HoldStonesRequest{
		RequestId: command.NewID(), StoneIds: []string{id}, EndsAt: d.clock.read().Add(2 * time.Hour).Format(time.RFC3339),
	})
	if err != nil {
		t.Fatal(held, err)
	}
	found := func(outline typev1.Outline, treatment typev1.Treatment) bool {
		t.Helper()
		got, err := buyer.Jeweller().ListStock(ctx, &jewellerv1.ListStockRequest{Outline: outline, Filter: &jewellerv1.StockFilter{Treatment: treatment}})
		if err != nil {
			t.Fatal(err)
		}
		return slices.ContainsFunc(got.GetStones(), func(s *typev1.Stone) bool { return s.GetId() == id })
	}
	const (
		none, resin = typev1.Treatment_TREATMENT_NONE_KNOWN, typev1.Treatment_TREATMENT_RESIN
		oval, pear  = typev1.Outline_OUTLINE_OVAL, typev1.Outline_OUTLINE_PEAR
	)
	ask := func(by cooptest.Person, change func(*coopv1.CorrectStoneRequest)) (*coopv1.Correction, error) {
		req := &coopv1.CorrectStoneRequest{RequestId: command.NewID(), StoneId: id, Reason: "a crack was filled"}
		change(req)
		got, err := by.Coop().CorrectStone(ctx, req)
		return got.GetCorrection(), err
	}
	filled := func(r *coopv1.CorrectStoneRequest) { r.Treatment, r.Outline = resin, pear }

	t.Run("refused: another cutter's, no stone, nothing wrong", func(t *testing.T) {
		_, err := ask(d.twoDops, filled)
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "stone_id")
		_, err = ask(d.wetWheel, func(r *coopv1.CorrectStoneRequest) { r.StoneId, r.Treatment = "nowhere", resin })
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "stone_id")
		_, err = ask(d.wetWheel, func(r *coopv1.CorrectStoneRequest) { r.Treatment = none })
		tradetest.Refused(t, err, codes.FailedPrecondition, "SAME_AS_RECORDED")
	})
	c, err := ask(d.wetWheel, filled)
	if err != nil || c.GetStage() != "waits for a second person" || c.GetStone().GetTreatment() != resin || c.GetStone().GetKind() != p.Stones[0].GetKind() {
		t.Fatalf("got %v, %v", c, err)
	}
	if !found(oval, none) || found(0, resin) || told(t, buyer) != nil {
		t.Error("it changed before the second person's word")
	}
	if err := d.confirm(t, c); err != nil {
		t.Fatal(err)
	}
	t.Run("filters and answers", func(t *testing.T) {
		if found(0, none) || found(oval, 0) || !found(pear, resin) {
			t.Error("the stock's filters find what was wrong")
		}
		got, err := buyer.Jeweller().GetStone(ctx, &jewellerv1.GetStoneRequest{StoneId: id})
		if st := got.GetStone(); err != nil || st.GetTreatment() != resin || st.GetOutline() != pear || st.GetHydrophane() != typev1.Hydrophane_HYDROPHANE_NO || st.GetKind() != p.Stones[0].GetKind() {
			t.Errorf("got %v, %v", st, err)
		}
	})
	t.Run("the chain says both", func(t *testing.T) {
		d.says(t, id, "Finished from part 1A: stone", "Corrected: treatment: resin, not none known as recorded; outline: pear, not oval as recorded")
	})
	t.Run("who holds it learns of it, for two weeks", func(t *testing.T) {
		if got := told(t, buyer); len(got) != 1 || !strings.HasPrefix(got[0], "stone/"+id) || !strings.Contains(got[0], "resin, not none known") {
			t.Errorf("the holder is told %v", got)
		}
		if got := told(t, d.other); got != nil {
			t.Errorf("who has nothing to do with it is told %v", got)
		}
		d.clock.move(14*24*time.Hour + time.Minute)
		if got := told(t, buyer); got != nil {
			t.Errorf("after two weeks the holder is told %v", got)
		}
	})
	t.Run("refused: the second of two that waited for the same stone", func(t *testing.T) {
		one, err := ask(d.wetWheel, func(r *coopv1.CorrectStoneRequest) { r.Treatment = typev1.Treatment_TREATMENT_OIL })
		if err != nil {
			t.Fatal(err)
		}
		two, err := ask(d.wetWheel, func(r *coopv1.CorrectStoneRequest) { r.Hydrophane = typev1.Hydrophane_HYDROPHANE_YES })
		if err != nil {
			t.Fatal(err)
		}
		if err := d.confirm(t, one); err != nil {
			t.Fatal(err)
		}
		tradetest.Refused(t, d.confirm(t, two), codes.FailedPrecondition, "CORRECTED_SINCE", "correction_id")
	})
	t.Run("a stone cut again has the outline that was said then", func(t *testing.T) {
		id = p.Stones[1].GetId()
		if _, err := d.wetWheel.Cutter().TakeOffSale(ctx, &cutterv1.TakeOffSaleRequest{RequestId: command.NewID(), StoneId: id}); err != nil {
			t.Fatal(err)
		}
		if _, err := d.wetWheel.Cutter().RecutStone(ctx, &cutterv1.RecutStoneRequest{
			RequestId: command.NewID(), StoneId: id, Weighing: &typev1.Weighing{MassUg: 500_000, DivisionUg: 2_000},
			Size: &typev1.Size{LengthUm: 11_000, WidthUm: 8_000, DepthUm: 3_000}, Outline: pear, Reason: typev1.Reason_REASON_GROUND_OFF, Why: "a chip",
		}); err != nil {
			t.Fatal(err)
		}
		_, err := ask(d.wetWheel, filled)
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOTHING_TO_CORRECT", "outline")
		c, err := ask(d.wetWheel, func(r *coopv1.CorrectStoneRequest) { r.Outline = typev1.Outline_OUTLINE_CUSHION })
		if err != nil {
			t.Fatal(err)
		}
		if err := d.confirm(t, c); err != nil {
			t.Fatal(err)
		}
		if c.GetCorrects() != d.at(t, "stone/"+id, "stone.v1.Recut") {
			t.Errorf("it corrects record %d", c.GetCorrects())
		}
		d.says(t, id, "Corrected: outline: cushion, not pear as recorded")
	})
}

// TestCorrectedPiece: a claim or a kind that a seller named wrong is put right in the piece,
// and in all that came of it.
func TestCorrectedPiece(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	d.twoPeople(t, d.billycart, d.desk2)
	p := d.Cut(t, d.billycart, d.wetWheel, 74000)
	id, stoneID := p.Stones[0].GetPieceId(), p.Stones[0].GetId()
	other, err := d.Desk.Coop().RecordField(ctx, &coopv1.RecordFieldRequest{RequestId: command.NewID(), Name: "Long Gully", Country: "clay country"})
	if err != nil {
		t.Fatal(err)
	}
	claim := func(by cooptest.Person) string {
		t.Helper()
		got, err := by.Miner().RecordClaim(ctx, &minerv1.RecordClaimRequest{RequestId: command.NewID(), FieldId: other.GetField().GetId(), Name: "Claim 2"})
		if err != nil {
			t.Fatal(err)
		}
		return got.GetClaim().GetId()
	}
	right := claim(d.billycart)
	ask := func(by cooptest.Person, pieceID string, claimID *string, kind typev1.Kind) (*coopv1.Correction, error) {
		got, err := by.Coop().CorrectPiece(ctx, &coopv1.CorrectPieceRequest{RequestId: command.NewID(), PieceId: pieceID, ClaimId: claimID, Kind: kind, Reason: "two bags were swapped"})
		return got.GetCorrection(), err
	}
	put := func(claimID *string, kind typev1.Kind) {
		t.Helper()
		c, err := ask(d.billycart, id, claimID, kind)
		if err != nil {
			t.Fatal(err)
		}
		if err := d.confirm(t, c); err != nil {
			t.Fatal(err)
		}
	}
	notFull := func() bool {
		t.Helper()
		got, err := d.audit.Coop().ListExceptions(ctx, &coopv1.ListExceptionsRequest{PageSize: 200})
		if err != nil {
			t.Fatal(err)
		}
		return slices.ContainsFunc(got.GetExceptions(), func(e *coopv1.Exception) bool {
			return e.GetKind() == "chain not full" && e.GetThing() == "stone/"+stoneID
		})
	}
	piece := func(parcelID, pieceID string) *typev1.Piece {
		t.Helper()
		got, err := d.billycart.Miner().ListPieces(ctx, &minerv1.ListPiecesRequest{ParcelId: parcelID})
		if err != nil {
			t.Fatal(err)
		}
		at := slices.IndexFunc(got.GetPieces(), func(p *typev1.Piece) bool { return p.GetId() == pieceID })
		return got.GetPieces()[at]
	}
	t.Run("refused: another's piece, another's claim, the same again", func(t *testing.T) {
		_, err := ask(d.ninth, id, &right, 0)
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "piece_id")
		theirs := claim(d.ninth)
		_, err = ask(d.billycart, id, &theirs, 0)
		tradetest.Refused(t, err, codes.FailedPrecondition, "CLAIM_NOT_YOURS", "claim_id")
		_, err = ask(d.billycart, id, nil, typev1.Kind_KIND_UNSPECIFIED)
		tradetest.Refused(t, err, codes.FailedPrecondition, "SAME_AS_RECORDED")
	})
	t.Run("OK: the right claim, which was closed since; the stone comes from its field", func(t *testing.T) {
		if _, err := d.billycart.Miner().CloseClaim(ctx, &minerv1.CloseClaimRequest{RequestId: command.NewID(), ClaimId: right}); err != nil {
			t.Fatal(err)
		}
		put(&right, 0)
		if got := piece(p.ID, id); got.GetClaimId() != right || got.GetFieldId() != other.GetField().GetId() {
			t.Errorf("the piece is %v", got)
		}
		d.says(t, stoneID, "The field: Long Gully, clay country", "Corrected: its field is Long Gully, not Ashbarrel Rise as recorded")
		if strings.Contains(d.chainSays(t, stoneID), "The field: Ashbarrel Rise") {
			t.Error("the chain still goes back to the wrong field")
		}
	})
	t.Run("OK: nobody knows the claim after all; the chain isn't full, and full again once it is known", func(t *testing.T) {
		none := ""
		put(&none, 0)
		if !notFull() || strings.Contains(d.chainSays(t, stoneID), "The field:") {
			t.Errorf("the exception stands: %v; the chain is\n%s", notFull(), d.chainSays(t, stoneID))
		}
		put(&right, 0)
		if notFull() {
			t.Error("the chain is full, and the exception stands")
		}
	})
	t.Run("OK: its kind, which its stone took over", func(t *testing.T) {
		put(nil, typev1.Kind_KIND_MATRIX)
		got, err := d.other.Jeweller().ListStock(ctx, &jewellerv1.ListStockRequest{Filter: &jewellerv1.StockFilter{Kind: typev1.Kind_KIND_MATRIX}})
		if err != nil || len(got.GetStones()) != 1 || got.GetStones()[0].GetKind() != typev1.Kind_KIND_MATRIX {
			t.Errorf("the stock of matrix is %v, %v", got, err)
		}
	})
	t.Run("a group: what was taken out of it follows", func(t *testing.T) {
		wrong, err := d.billycart.Miner().RecordClaim(ctx, &minerv1.RecordClaimRequest{RequestId: command.NewID(), FieldId: d.FieldID, Name: "Claim 9"})
		if err != nil {
			t.Fatal(err)
		}
		listed, err := d.billycart.Miner().PublishParcel(ctx, &minerv1.PublishParcelRequest{
			RequestId: command.NewID(), Label: "P9", Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, OpenAtAsking: true, Agreement: cooptest.RisingShare(160000), Total: cooptest.Grams(30_000_000),
			Pieces: []*minerv1.NewPiece{
				{Label: "1", Weighing: cooptest.Grams(10_000_000), Kind: typev1.Kind_KIND_BOULDER, Count: 4, ClaimId: wrong.GetClaim().GetId()},
				{Label: "2", Weighing: cooptest.Grams(20_000_000), Kind: typev1.Kind_KIND_BOULDER, Count: 4},
			},
		})
		if err != nil {
			t.Fatal(err)
		}
		lines := listed.GetParcel().GetLines()
		opened, err := d.billycart.Miner().OpenLine(ctx, &minerv1.OpenLineRequest{
			RequestId: command.NewID(), ParcelId: listed.GetParcel().GetId(), PieceId: lines[0].GetPieceId(), Left: cooptest.Grams(6_000_000),
			Pieces: []*typev1.TakenOut{{Label: "1a", Weighing: cooptest.Grams(4_000_000), Size: &typev1.Size{LengthUm: 20_000, WidthUm: 10_000, DepthUm: 6_000}}},
		})
		if err != nil {
			t.Fatal(err)
		}
		var taken string
		for _, l := range opened.GetParcel().GetLines() {
			if piece(listed.GetParcel().GetId(), l.GetPieceId()).GetOpenedFrom() != "" {
				taken = l.GetPieceId()
			}
		}
		_, err = ask(d.billycart, taken, &right, 0)
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOTHING_TO_CORRECT", "piece_id")
		_, err = ask(d.billycart, lines[1].GetPieceId(), &right, 0)
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOTHING_TO_CORRECT", "claim_id")
		id = lines[0].GetPieceId()
		put(&right, 0)
		if got := piece(listed.GetParcel().GetId(), taken); got.GetClaimId() != right || got.GetFieldId() != other.GetField().GetId() {
			t.Errorf("what was taken out of the group is %v", got)
		}
	})
	d.recomputes(t)
}
