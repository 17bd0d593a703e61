package coop_test

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tradetest"
	"seamshare.example/services/view"
)

const stockKeeper = typev1.Role_ROLE_STOCK_KEEPER

// at is the position of a thing's last record of a type.
func (d desks) at(t *testing.T, thing, event string) (position uint64) {
	t.Helper()
	got, err := d.audit.Coop().GetHistory(t.Context(), &coopv1.GetHistoryRequest{Thing: thing})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range got.GetRecords() {
		if r.GetEvent() == event {
			position = r.GetPosition()
		}
	}
	return position
}

func (d desks) statement(t *testing.T, p cooptest.Parcel) *typev1.ShareStatement {
	t.Helper()
	got, err := d.desk1.Coop().GetShares(t.Context(), &coopv1.GetSharesRequest{ParcelId: p.ID})
	if err != nil {
		t.Fatal(err)
	}
	return got.GetStatement()
}

func (d desks) yield(t *testing.T, p cooptest.Parcel) view.Yield {
	t.Helper()
	q, err := d.Node.Query(t.Context(), 0)
	if err != nil {
		t.Fatal(err)
	}
	defer q.Close()
	v := view.Yields{}
	y, _, err := v.Yield(q.View(v.Name()), p.ID)
	if err != nil {
		t.Fatal(err)
	}
	return y
}

func TestCorrectionsOfMoney(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	p := d.Cut(t, d.billycart, d.wetWheel, 74000, 42000)
	correct := func(position uint64, stone string, minor int64) (*coopv1.Correction, error) {
		got, err := d.desk1.Coop().CorrectAmount(ctx, &coopv1.CorrectAmountRequest{RequestId: command.NewID(), Corrects: position, StoneId: stone, Amount: cooptest.AUD(minor), Reason: "typed wrong"})
		return got.GetCorrection(), err
	}
	d.pay(t, p, 160000)
	d.cost(t, p, "freight", 3850)
	paid, cost := d.at(t, "parcel/"+p.ID, "parcel.v1.Paid"), d.at(t, "parcel/"+p.ID, "parcel.v1.CostRecorded")

	t.Run("OK: a receipt; shares move by the difference", func(t *testing.T) {
		if _, err := correct(paid, "", 150000); err != nil {
			t.Fatal(err)
		}
		if s := d.statement(t, p); minor(s.GetPurchaseReceived()) != 150000 || shareOf(s, "miner") != 145500 {
			t.Errorf("got %v", s)
		}
	})
	t.Run("OK: again, from what was right last", func(t *testing.T) {
		if _, err := correct(paid, "", 160000); err != nil {
			t.Fatal(err)
		}
		if s := d.statement(t, p); shareOf(s, "miner") != 155200 {
			t.Errorf("got %v", s)
		}
	})
	t.Run("refused: the books say so already", func(t *testing.T) {
		_, err := correct(paid, "", 160000)
		tradetest.Refused(t, err, codes.FailedPrecondition, "SAME_AS_RECORDED")
	})
	t.Run("refused: more than the price", func(t *testing.T) {
		_, err := correct(paid, "", 160001)
		tradetest.Refused(t, err, codes.FailedPrecondition, "ABOVE_WHAT_IS_OWED")
	})
	t.Run("refused: a record that holds no money", func(t *testing.T) {
		_, err := correct(1, "", 1)
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOTHING_TO_CORRECT")
	})
	t.Run("OK: a cost", func(t *testing.T) {
		if _, err := correct(cost, "", 4000); err != nil {
			t.Fatal(err)
		}
		if s := d.statement(t, p); minor(s.GetOpen()[0].GetAmount()) != 4000 {
			t.Errorf("got %v", s.GetOpen())
		}
	})
	order := d.sell(t, p)
	placed, received := d.at(t, "order/"+order, "order.v1.Placed"), d.at(t, "order/"+order, "order.v1.Paid")
	t.Run("OK: an order's receipt, then a price up to it", func(t *testing.T) {
		_, err := correct(placed, p.Stones[1].GetId(), 40000)
		tradetest.Refused(t, err, codes.FailedPrecondition, "ABOVE_WHAT_IS_OWED")
		if _, err := correct(received, "", 114000); err != nil {
			t.Fatal(err)
		}
		if _, err := correct(placed, p.Stones[1].GetId(), 40000); err != nil {
			t.Fatal(err)
		}
		// 74000 and 40000, each less 6 %.
		if s := d.statement(t, p); minor(s.GetSalesReceived()) != 114000 || minor(s.GetLevies()) != 4800+4440+2400 {
			t.Errorf("got %v", s)
		}
	})
	d.recomputes(t)

	run, err := prepare(ctx, d.desk1)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := approve(ctx, d.desk2, run); err != nil {
		t.Fatal(err)
	}
	t.Run("after a payout only with a second person", func(t *testing.T) {
		waits, err := correct(paid, "", 150000)
		if err != nil || waits.GetStage() != "waits for a second person" {
			t.Fatalf("got %v, %v", waits, err)
		}
		item := todo(t, d.desk2, "corrections to confirm", "correction/"+waits.GetId())
		if !strings.Contains(item.GetWhat(), " AUD → 1500.00 AUD ") {
			t.Errorf("the day doesn't say what becomes of what: %v", item)
		}
		if s := d.statement(t, p); shareOf(s, "miner") != 155200 {
			t.Errorf("shares moved before the second person's word: %v", s)
		}
		_, err = d.desk1.Coop().ConfirmCorrection(ctx, &coopv1.ConfirmCorrectionRequest{RequestId: command.NewID(), CorrectionId: waits.GetId()})
		tradetest.Refused(t, err, codes.PermissionDenied, "SECOND_PERSON_NEEDED")
		if _, err := d.desk2.Coop().ConfirmCorrection(ctx, &coopv1.ConfirmCorrectionRequest{RequestId: command.NewID(), CorrectionId: waits.GetId()}); err != nil {
			t.Fatal(err)
		}
		if s := d.statement(t, p); shareOf(s, "miner") != 145500 {
			t.Errorf("got %v", s)
		}
	})
	t.Run("refused: the second of two that waited, as the first changed the record meanwhile", func(t *testing.T) {
		first, err := correct(paid, "", 140000)
		if err != nil {
			t.Fatal(err)
		}
		second, err := correct(paid, "", 130000)
		if err != nil || second.GetStage() != "waits for a second person" {
			t.Fatalf("got %v, %v", second, err)
		}
		confirm := func(id string) error {
			_, err := d.desk2.Coop().ConfirmCorrection(ctx, &coopv1.ConfirmCorrectionRequest{RequestId: command.NewID(), CorrectionId: id})
			return err
		}
		if err := confirm(first.GetId()); err != nil {
			t.Fatal(err)
		}
		tradetest.Refused(t, confirm(second.GetId()), codes.FailedPrecondition, "CORRECTED_SINCE", "correction_id")
		if s := d.statement(t, p); minor(s.GetPurchaseReceived()) != 140000 {
			t.Errorf("got %v", s)
		}
		if _, err := d.desk2.Coop().RefuseCorrection(ctx, &coopv1.RefuseCorrectionRequest{RequestId: command.NewID(), CorrectionId: second.GetId(), Reason: "the first came before"}); err != nil {
			t.Error(err)
		}
	})
	t.Run("both stand in the history", func(t *testing.T) {
		got, err := d.audit.Coop().GetHistory(ctx, &coopv1.GetHistoryRequest{Thing: "parcel/" + p.ID})
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for _, r := range got.GetRecords() {
			if r.GetCorrects() == paid {
				n++
			}
			if r.GetPersonId() == "" || r.GetMemberId() == "" || r.GetAt() < "2" {
				t.Errorf("record %d is by %q for %q at %q", r.GetPosition(), r.GetPersonId(), r.GetMemberId(), r.GetAt())
			}
		}
		if n != 4 {
			t.Errorf("%d corrections of the receipt are shown, want 4", n)
		}
	})
	d.recomputes(t)
	t.Run("at every position the streams give what the rows gave", func(t *testing.T) {
		rowsAgreeWithStreams(t, people{House: d.House}, p.ID)
	})
}

const chipped = piecev1.Reason_REASON_CHIPPED_EDGE

func lostBy(y view.Yield, reason piecev1.Reason) int64 {
	for _, l := range y.Losses {
		if l.Reason == reason {
			return l.MassUg
		}
	}
	return 0
}

func TestCorrectionsOfMasses(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	keeper := d.Add(t, d.Desk.Member, stockKeeper)
	p := d.Cut(t, d.billycart, d.wetWheel, 74000)
	history, err := d.audit.Coop().GetHistory(ctx, &coopv1.GetHistoryRequest{Thing: "stone/" + p.Stones[0].GetId()})
	if !slices.ContainsFunc(history.GetRecords(), func(r *coopv1.HistoryRecord) bool {
		return r.GetEvent() == "stone.v1.Finished" && proto.Equal(r.GetSize(), p.Stones[0].GetSize())
	}) {
		t.Errorf("the size isn't shown: %v", history)
	}
	if err != nil {
		t.Fatal(err)
	}
	pieceID := p.Stones[0].GetPieceId()
	if pieceID == "" {
		t.Fatalf("the stone names no piece: %v", p.Stones[0])
	}
	correct := func(position uint64, part string, ug int64) error {
		before := d.yield(t, p)
		got, err := keeper.Coop().CorrectMass(ctx, &coopv1.CorrectMassRequest{
			RequestId: command.NewID(), Corrects: position, Part: part, Weighing: &typev1.Weighing{MassUg: ug, DivisionUg: 2_000}, Reason: "the pan was on the scale",
		})
		if y := d.yield(t, p); err == nil && got.GetCorrection().GetUnexplainedUg() != y.UnexplainedUg-before.UnexplainedUg {
			t.Errorf("the answer says that %d is unexplained by it, and it is %d", got.GetCorrection().GetUnexplainedUg(), y.UnexplainedUg-before.UnexplainedUg)
		}
		return err
	}
	closes := func(t *testing.T) view.Yield {
		t.Helper()
		y := d.yield(t, p)
		if sum := y.FinishedUg + y.OffcutUg + y.UncutUg + y.LossUg + y.UnexplainedUg; sum != y.BoughtUg {
			t.Errorf("the masses add up to %d, not %d: %+v", sum, y.BoughtUg, y)
		}
		return y
	}
	before := closes(t)
	t.Run("OK: a stone; what it weighs less was lost", func(t *testing.T) {
		if err := correct(history.GetRecords()[0].GetPosition(), "", 600_000); err != nil {
			t.Fatal(err)
		}
		if y := closes(t); y.FinishedUg != before.FinishedUg-8_000 || y.LossUg != before.LossUg+8_000 {
			t.Errorf("got %+v, before it was %+v", y, before)
		}
	})
	t.Run("OK: a part that is still there", func(t *testing.T) {
		if err := correct(d.at(t, "piece/"+pieceID, "piece.v1.Worked"), "1B", 9_990_000); err != nil {
			t.Fatal(err)
		}
		if y := closes(t); y.UncutUg != before.UncutUg-10_000 {
			t.Errorf("got %+v", y)
		}
	})
	t.Run("refused: more than went in", func(t *testing.T) {
		err := correct(d.at(t, "piece/"+pieceID, "piece.v1.Worked"), "1B", 12_000_000)
		tradetest.Refused(t, err, codes.InvalidArgument, "HEAVIER_THAN_BEFORE")
	})
	t.Run("OK: the piece as listed, with the total: the saw that went on from it took so much more", func(t *testing.T) {
		was := closes(t)
		described := &coopv1.CorrectMassRequest{
			RequestId: command.NewID(), Corrects: d.at(t, "piece/"+pieceID, "piece.v1.Described"), Weighing: cooptest.Grams(20_500_000), Reason: "the pan was on the scale",
		}
		_, err := keeper.Coop().CorrectMass(ctx, described)
		tradetest.Refused(t, err, codes.InvalidArgument, "MASSES_DONT_ADD_UP", "total.mass_ug")
		described.Total = cooptest.Grams(20_500_000)
		if _, err := keeper.Coop().CorrectMass(ctx, described); err != nil {
			t.Fatal(err)
		}
		if y := closes(t); y.BoughtUg != 20_500_000 || y.UnexplainedUg != 0 || y.LossUg != was.LossUg+500_000 {
			t.Errorf("got %+v, before it was %+v", y, was)
		}
	})
	t.Run("OK: a stone that was cut again since stays at what it weighs now, and so do books and bench; that cut lost more", func(t *testing.T) {
		id := p.Stones[0].GetId()
		if _, err := d.wetWheel.Cutter().TakeOffSale(ctx, &cutterv1.TakeOffSaleRequest{RequestId: command.NewID(), StoneId: id}); err != nil {
			t.Fatal(err)
		}
		recut, err := d.wetWheel.Cutter().RecutStone(ctx, &cutterv1.RecutStoneRequest{
			RequestId: command.NewID(), StoneId: id, Weighing: &typev1.Weighing{MassUg: 570_000, DivisionUg: 2_000}, Size: p.Stones[0].GetSize(),
			Outline: p.Stones[0].GetOutline(), Reason: typev1.Reason_REASON_CHIPPED_EDGE, Why: "an edge chipped",
		})
		if err != nil {
			t.Fatal(err)
		}
		was := closes(t)
		if err := correct(history.GetRecords()[0].GetPosition(), "", 604_000); err != nil {
			t.Fatal(err)
		}
		if y := closes(t); y.FinishedUg != was.FinishedUg || y.UnexplainedUg != 0 || y.LossUg != was.LossUg || lostBy(y, chipped) != lostBy(was, chipped)+4_000 {
			t.Errorf("got %+v, before it was %+v", y, was)
		}
		got, err := d.wetWheel.Cutter().GetStone(ctx, &cutterv1.GetStoneRequest{StoneId: id})
		if err != nil || got.GetStone().GetWeighing().GetMassUg() != recut.GetStone().GetWeighing().GetMassUg() {
			t.Errorf("it weighs %v, %v", got.GetStone().GetWeighing(), err)
		}
		bench, err := d.wetWheel.Cutter().GetPiece(ctx, &cutterv1.GetPieceRequest{PieceId: pieceID})
		if err != nil {
			t.Fatal(err)
		}
		for _, part := range bench.GetPiece().GetParts() {
			if part.GetStoneId() == id && part.GetWeighing().GetMassUg() != 570_000 {
				t.Errorf("the bench says %v", part)
			}
		}
	})
	t.Run("the stone's chain shows both, and still checks", func(t *testing.T) {
		got, err := d.audit.Coop().GetStoneChain(ctx, &coopv1.GetStoneChainRequest{StoneId: p.Stones[0].GetId()})
		if err != nil {
			t.Fatal(err)
		}
		corrections := 0
		for _, l := range got.GetLinks() {
			if l.GetWhat() != "" && len(l.GetWhat()) > 9 && l.GetWhat()[:9] == "Corrected" {
				corrections++
			}
		}
		if corrections == 0 {
			t.Errorf("no correction is shown: %v", got.GetLinks())
		}
	})
}
