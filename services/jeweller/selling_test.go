package jeweller_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tradetest"
)

// pair offers the first two stones as a pair, at 700.00 and 780.00.
func (s shop) pair(t *testing.T) []*typev1.Stone {
	t.Helper()
	got, err := s.cutter.Cutter().OfferSet(t.Context(), &cutterv1.OfferSetRequest{RequestId: command.NewID(), Kind: typev1.SetKind_SET_KIND_PAIR, Stones: []*cutterv1.SetStone{
		{StoneId: s.stones[0].GetId(), Price: cooptest.AUD(70000)}, {StoneId: s.stones[1].GetId(), Price: cooptest.AUD(78000)},
	}})
	if err != nil {
		t.Fatal(err)
	}
	return got.GetStones()
}

func measured(st *typev1.Stone) *typev1.Measured {
	return &typev1.Measured{StoneId: st.GetId(), Weighing: st.GetWeighing(), Size: st.GetSize(), Photo: &typev1.Photo{Sha256: make([]byte, 32), MediaType: "image/jpeg"}}
}

func ids(stones ...*typev1.Stone) (all []string) {
	for _, st := range stones {
		all = append(all, st.GetId())
	}
	return all
}

func TestPairs(t *testing.T) {
	s := open(t, 10000, 20000, 30000)
	pair := s.pair(t)
	if pair[0].GetSetKind() != typev1.SetKind_SET_KIND_PAIR || pair[0].GetSetId() == "" || !slices.Equal(pair[1].GetSetStoneIds(), ids(pair...)) || pair[1].GetPrice().GetUnits() != 780 {
		t.Fatalf("got %v", pair)
	}
	t.Run("refused: half of it is ordered, held or asked for", func(t *testing.T) {
		ctx := t.Context()
		_, err := s.marrow.Jeweller().PlaceOrder(ctx, cooptest.OrderOf(pair[1], s.stones[2]))
		tradetest.Refused(t, err, codes.FailedPrecondition, "SET_NOT_WHOLE", "items[0].stone_id")
		_, err = s.marrow.Jeweller().HoldStones(ctx, &jewellerv1.HoldStonesRequest{RequestId: command.NewID(), StoneIds: ids(pair[0])})
		tradetest.Refused(t, err, codes.FailedPrecondition, "SET_NOT_WHOLE", "stone_ids[0]")
		_, err = s.marrow.Jeweller().AskForApproval(ctx, &jewellerv1.AskForApprovalRequest{RequestId: command.NewID(), Kind: typev1.GoodsKind_GOODS_KIND_APPROVAL, StoneIds: ids(pair[0])})
		tradetest.Refused(t, err, codes.FailedPrecondition, "SET_NOT_WHOLE", "stone_ids[0]")
	})
	t.Run("refused: half of it gets another price", func(t *testing.T) {
		_, err := s.cutter.Cutter().PutStoneOnSale(t.Context(), &cutterv1.PutStoneOnSaleRequest{RequestId: command.NewID(), StoneId: pair[0].GetId(), Price: cooptest.AUD(1)})
		tradetest.Refused(t, err, codes.FailedPrecondition, "STONE_IN_SET", "stone_id")
	})
	t.Run("OK: found by the filter, off sale as a whole, offered again", func(t *testing.T) {
		got, err := s.marrow.Jeweller().ListStock(t.Context(), &jewellerv1.ListStockRequest{Filter: &jewellerv1.StockFilter{SetKind: typev1.SetKind_SET_KIND_PAIR}})
		if err != nil || !slices.Equal(ids(got.GetStones()...), idsOf(pair...)) {
			t.Errorf("got %v, %v", got, err)
		}
		if _, err := s.cutter.Cutter().TakeOffSale(t.Context(), &cutterv1.TakeOffSaleRequest{RequestId: command.NewID(), StoneId: pair[1].GetId()}); err != nil {
			t.Fatal(err)
		}
		if got := s.stock(t, 0, 10); !slices.Equal(got, idsOf(s.stones[2])) {
			t.Errorf("on sale are %v", got)
		}
		pair = s.pair(t)
	})
	t.Run("OK: ordered as a pair, returned in part, at that stone's own price", func(t *testing.T) {
		o := s.Order(t, s.marrow, pair...)
		pay := &coopv1.RecordOrderPaymentRequest{RequestId: command.NewID(), OrderId: o.GetId(), Amount: cooptest.AUD(148000), Reference: "bank"}
		if _, err := s.books.Coop().RecordOrderPayment(t.Context(), pay); err != nil {
			t.Fatal(err)
		}
		s.takeBack(t, pair[1])
		got, err := s.marrow.Jeweller().GetOrder(t.Context(), &jewellerv1.GetOrderRequest{OrderId: o.GetId()})
		if err != nil || got.GetOrder().GetLines()[1].GetRefundDue().GetUnits() != 780 || got.GetOrder().GetTotal().GetUnits() != 700 {
			t.Errorf("got %v, %v", got, err)
		}
	})
}

func (s shop) takeBack(t *testing.T, st *typev1.Stone) {
	t.Helper()
	if _, err := s.cutter.Cutter().AcceptReturn(t.Context(), &cutterv1.AcceptReturnRequest{
		RequestId: command.NewID(), StoneId: st.GetId(), Weighing: st.GetWeighing(), Size: st.GetSize(), Why: "the setting was changed",
	}); err != nil {
		t.Fatal(err)
	}
}

func TestHolds(t *testing.T) {
	s := open(t, 10000, 20000, 30000)
	ctx := t.Context()
	got, err := s.marrow.Jeweller().HoldStones(ctx, &jewellerv1.HoldStonesRequest{RequestId: command.NewID(), StoneIds: ids(s.stones[0], s.stones[1])})
	if err != nil {
		t.Fatal(err)
	}
	t.Run("refused to another, in the very words that a sold stone is refused with", func(t *testing.T) {
		_, held := s.fernhook.Jeweller().PlaceOrder(ctx, cooptest.OrderOf(s.stones[0]))
		tradetest.Refused(t, held, codes.FailedPrecondition, "STONE_NOT_FOR_SALE", "items[0].stone_id")
		s.Order(t, s.marrow, s.stones[2])
		_, sold := s.fernhook.Jeweller().PlaceOrder(ctx, cooptest.OrderOf(s.stones[2]))
		if a, b := strings.ReplaceAll(held.Error(), s.stones[0].GetId(), "x"), strings.ReplaceAll(sold.Error(), s.stones[2].GetId(), "x"); a != b {
			t.Errorf("held reads\n%s\nsold reads\n%s", a, b)
		}
	})
	t.Run("shown to others as not to be had, and not why", func(t *testing.T) {
		theirs, err := s.fernhook.Jeweller().GetStone(ctx, &jewellerv1.GetStoneRequest{StoneId: s.stones[0].GetId()})
		if err != nil {
			t.Fatal(err)
		}
		if st := theirs.GetStone(); st.GetAvailability() != typev1.Availability_AVAILABILITY_NOT_AVAILABLE || st.GetHeldUntil() != "" || strings.Contains(theirs.String(), s.marrow.Member) {
			t.Errorf("got %v", st)
		}
		mine, err := s.marrow.Jeweller().GetStone(ctx, &jewellerv1.GetStoneRequest{StoneId: s.stones[0].GetId()})
		if st := mine.GetStone(); err != nil || st.GetAvailability() != typev1.Availability_AVAILABILITY_HELD_BY_YOU || st.GetHeldUntil() != got.GetHold().GetEndsAt() {
			t.Errorf("got %v, %v", st, err)
		}
		cutters, err := s.cutter.Cutter().GetStone(ctx, &cutterv1.GetStoneRequest{StoneId: s.stones[0].GetId()})
		if err != nil || cutters.GetStone().GetHeldUntil() == "" || strings.Contains(cutters.String(), s.marrow.Member) {
			t.Errorf("the cutter sees %v, %v", cutters, err)
		}
		free, err := s.fernhook.Jeweller().ListStock(ctx, &jewellerv1.ListStockRequest{Filter: &jewellerv1.StockFilter{Available: true}})
		if err != nil || len(free.GetStones()) != 0 {
			t.Errorf("got %v, %v", free, err)
		}
	})
	t.Run("refused: a hold of others reads like none", func(t *testing.T) {
		_, others := s.fernhook.Jeweller().ReleaseHold(ctx, &jewellerv1.ReleaseHoldRequest{RequestId: command.NewID(), HoldId: got.GetHold().GetId()})
		_, none := s.fernhook.Jeweller().ReleaseHold(ctx, &jewellerv1.ReleaseHoldRequest{RequestId: command.NewID(), HoldId: "nothing"})
		if tradetest.Refused(t, others, codes.NotFound, "NOT_FOUND"); others.Error() != none.Error() {
			t.Errorf("%v\n%v", others, none)
		}
	})
	t.Run("refused: too long, too many", func(t *testing.T) {
		_, err := s.fernhook.Jeweller().HoldStones(ctx, &jewellerv1.HoldStonesRequest{
			RequestId: command.NewID(), StoneIds: ids(s.stones[2]), EndsAt: time.Now().Add(1000 * time.Hour).UTC().Format(time.RFC3339),
		})
		tradetest.Refused(t, err, codes.InvalidArgument, "TIME_INVALID", "ends_at")
	})
	t.Run("OK: its jeweller buys out of it, and the rest stays held", func(t *testing.T) {
		s.Order(t, s.marrow, s.stones[0])
		left, err := s.marrow.Jeweller().GetHold(ctx, &jewellerv1.GetHoldRequest{HoldId: got.GetHold().GetId()})
		if err != nil || left.GetHold().GetState() != jewellerv1.HoldState_HOLD_STATE_OPEN || !slices.Equal(left.GetHold().GetStoneIds(), ids(s.stones[1])) {
			t.Errorf("got %v, %v", left, err)
		}
	})
}

func TestHoldEnds(t *testing.T) {
	clock := &handClock{now: time.Now().UTC().Truncate(time.Second)}
	s := openAt(t, clock.read, 10000)
	ctx, ends := t.Context(), clock.read().Add(time.Minute)
	if _, err := s.marrow.Jeweller().HoldStones(ctx, &jewellerv1.HoldStonesRequest{RequestId: command.NewID(), StoneIds: ids(s.stones[0]), EndsAt: ends.Format(time.RFC3339)}); err != nil {
		t.Fatal(err)
	}
	seen := func() typev1.Availability {
		got, err := s.fernhook.Jeweller().GetStone(ctx, &jewellerv1.GetStoneRequest{StoneId: s.stones[0].GetId()})
		if err != nil {
			t.Fatal(err)
		}
		return got.GetStone().GetAvailability()
	}
	clock.step(time.Minute - time.Microsecond)
	if seen() != typev1.Availability_AVAILABILITY_NOT_AVAILABLE {
		t.Error("it ended early in a query")
	}
	_, err := s.fernhook.Jeweller().PlaceOrder(ctx, cooptest.OrderOf(s.stones[0]))
	tradetest.Refused(t, err, codes.FailedPrecondition, "STONE_NOT_FOR_SALE")
	clock.step(time.Microsecond)
	if seen() != typev1.Availability_AVAILABILITY_AVAILABLE {
		t.Error("at its end it has not ended in a query")
	}
	s.Order(t, s.fernhook, s.stones[0])
}

func TestHoldLimit(t *testing.T) {
	s := open(t, slices.Repeat([]int64{100}, 51)...)
	hold := func(stones ...*typev1.Stone) (string, error) {
		got, err := s.marrow.Jeweller().HoldStones(t.Context(), &jewellerv1.HoldStonesRequest{RequestId: command.NewID(), StoneIds: ids(stones...)})
		return got.GetHold().GetId(), err
	}
	first, err := hold(s.stones[:20]...)
	if err != nil {
		t.Fatal(err)
	}
	_, err = hold(s.stones[20:]...) // 51 with a limit of 50
	tradetest.Refused(t, err, codes.FailedPrecondition, "TOO_MANY_HELD", "stone_ids")
	if _, err := s.marrow.Jeweller().ReleaseHold(t.Context(), &jewellerv1.ReleaseHoldRequest{RequestId: command.NewID(), HoldId: first}); err != nil {
		t.Fatal(err)
	}
	if _, err := hold(s.stones[20:]...); err != nil {
		t.Errorf("after letting go of 20: %v", err)
	}
}

func TestGoodsOut(t *testing.T) {
	s := open(t, 10000, 20000)
	ctx := t.Context()
	asked, err := s.marrow.Jeweller().AskForApproval(ctx, &jewellerv1.AskForApprovalRequest{RequestId: command.NewID(), Kind: typev1.GoodsKind_GOODS_KIND_CONSIGNMENT, StoneIds: ids(s.stones...), Loss: typev1.Bearer_BEARER_JEWELLER})
	if err != nil {
		t.Fatal(err)
	}
	id := asked.GetApproval().GetId()
	send := &cutterv1.SendOnApprovalRequest{
		RequestId: command.NewID(), ApprovalId: id, Loss: typev1.Bearer_BEARER_JEWELLER, Breakage: typev1.Bearer_BEARER_CUTTER, Carrier: "by hand", Reference: "1",
		Stones: []*typev1.Measured{measured(s.stones[0])},
	}
	t.Run("refused: not all of them, or without a photo", func(t *testing.T) {
		_, err := s.cutter.Cutter().SendOnApproval(ctx, send)
		tradetest.Refused(t, err, codes.InvalidArgument, "COUNT_INVALID", "stones")
		send.Stones = append(send.Stones, measured(s.stones[1]))
		send.Stones[1].Photo = nil
		_, err = s.cutter.Cutter().SendOnApproval(ctx, send)
		tradetest.Refused(t, err, codes.InvalidArgument, "NOT_ANSWERED", "stones[1].photo.sha256")
		send.Stones[1] = measured(s.stones[1])
	})
	sent, err := s.cutter.Cutter().SendOnApproval(ctx, send)
	if err != nil || sent.GetApproval().GetLines()[1].GetPrice().GetUnits() != 200 {
		t.Fatalf("got %v, %v", sent, err)
	}
	t.Run("what is out is shown to whom it is with, and to nobody else", func(t *testing.T) {
		if _, err := s.marrow.Jeweller().GetStone(ctx, &jewellerv1.GetStoneRequest{StoneId: s.stones[0].GetId()}); err != nil {
			t.Error(err)
		}
		_, err := s.fernhook.Jeweller().GetStone(ctx, &jewellerv1.GetStoneRequest{StoneId: s.stones[0].GetId()})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND")
		_, err = s.fernhook.Jeweller().GetApproval(ctx, &jewellerv1.GetApprovalRequest{ApprovalId: id})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND")
	})
	t.Run("OK: another stone that comes back is marked", func(t *testing.T) {
		swapped := measured(s.stones[1])
		swapped.Weighing = &typev1.Weighing{MassUg: swapped.GetWeighing().GetMassUg() - 4_001, DivisionUg: 2_000}
		swapped.Size = proto.CloneOf(swapped.GetSize())
		swapped.Size.WidthUm += 100 // within what two readings may differ by
		back, err := s.cutter.Cutter().TakeBackFromApproval(ctx, &cutterv1.TakeBackFromApprovalRequest{RequestId: command.NewID(), ApprovalId: id, Stone: swapped})
		if l := back.GetApproval().GetLines()[1]; err != nil || !l.GetMassDiffers() || l.GetSizeDiffers() || l.GetState() != typev1.ApprovalLineState_APPROVAL_LINE_STATE_RETURNED {
			t.Errorf("got %v, %v", l, err)
		}
	})
	t.Run("OK: a lost stone is owed by whom it was agreed", func(t *testing.T) {
		lost, err := s.marrow.Jeweller().ReportLoss(ctx, &jewellerv1.ReportLossRequest{RequestId: command.NewID(), ApprovalId: id, StoneId: s.stones[0].GetId(), How: "stolen"})
		if err != nil || lost.GetApproval().GetState() != typev1.ApprovalState_APPROVAL_STATE_SETTLED {
			t.Fatalf("got %v, %v", lost, err)
		}
		o, err := s.marrow.Jeweller().GetOrder(ctx, &jewellerv1.GetOrderRequest{OrderId: lost.GetApproval().GetLines()[0].GetOrderId()})
		if err != nil || o.GetOrder().GetOpen().GetUnits() != 100 {
			t.Errorf("got %v, %v", o, err)
		}
	})
}

// What a jeweller owes without a word of theirs is what they asked under, and no more.
func TestOwedAsAsked(t *testing.T) {
	clock := &handClock{now: time.Now().UTC().Truncate(time.Second)}
	s := openAt(t, clock.read, 10000)
	ctx, st, due := t.Context(), s.stones[0], clock.read().Add(48*time.Hour)
	ask := &jewellerv1.AskForApprovalRequest{RequestId: command.NewID(), Kind: typev1.GoodsKind_GOODS_KIND_APPROVAL, StoneIds: ids(st), DueAt: due.Format(time.RFC3339)}
	send := func(a *typev1.Approval, change func(*cutterv1.SendOnApprovalRequest)) (*cutterv1.SendOnApprovalResponse, error) {
		req := &cutterv1.SendOnApprovalRequest{
			RequestId: command.NewID(), ApprovalId: a.GetId(), Stones: []*typev1.Measured{measured(st)}, Loss: a.GetLoss(), Breakage: a.GetBreakage(), Carrier: "by hand", Reference: "1",
		}
		change(req)
		return s.cutter.Cutter().SendOnApproval(ctx, req)
	}
	asked, err := s.marrow.Jeweller().AskForApproval(ctx, ask)
	if l := asked.GetApproval(); err != nil || l.GetLoss() != typev1.Bearer_BEARER_CUTTER || l.GetBreakage() != typev1.Bearer_BEARER_CUTTER || l.GetLines()[0].GetPrice().GetUnits() != 100 {
		t.Fatalf("got %v, %v", asked, err)
	}
	t.Run("refused: dearer, at the jeweller's cost, later", func(t *testing.T) {
		price := func(minor int64) {
			if _, err := s.cutter.Cutter().PutStoneOnSale(ctx, &cutterv1.PutStoneOnSaleRequest{RequestId: command.NewID(), StoneId: st.GetId(), Price: cooptest.AUD(minor)}); err != nil {
				t.Fatal(err)
			}
		}
		price(10001)
		_, err := send(asked.GetApproval(), func(*cutterv1.SendOnApprovalRequest) {})
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOT_AS_ASKED", "stones[0]")
		price(10000)
		_, err = send(asked.GetApproval(), func(r *cutterv1.SendOnApprovalRequest) { r.Loss = typev1.Bearer_BEARER_JEWELLER })
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOT_AS_ASKED", "loss")
		_, err = send(asked.GetApproval(), func(r *cutterv1.SendOnApprovalRequest) { r.Breakage = typev1.Bearer_BEARER_JEWELLER })
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOT_AS_ASKED", "breakage")
		_, err = send(asked.GetApproval(), func(r *cutterv1.SendOnApprovalRequest) { r.DueAt = due.Add(time.Second).Format(time.RFC3339) })
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOT_AS_ASKED", "due_at")
	})
	ask.RequestId, ask.Loss = command.NewID(), typev1.Bearer_BEARER_JEWELLER
	if asked, err = s.marrow.Jeweller().AskForApproval(ctx, ask); err != nil {
		t.Fatal(err)
	}
	if _, err := send(asked.GetApproval(), func(r *cutterv1.SendOnApprovalRequest) { r.DueAt = clock.read().Add(time.Second).Format(time.RFC3339) }); err != nil {
		t.Fatal(err)
	}
	lose := func() (*cutterv1.RecordApprovalLossResponse, error) {
		return s.cutter.Cutter().RecordApprovalLoss(ctx, &cutterv1.RecordApprovalLossRequest{RequestId: command.NewID(), ApprovalId: asked.GetApproval().GetId(), StoneId: st.GetId(), How: "not back"})
	}
	t.Run("refused: the cutter alone says that it is lost, before the day that was asked for", func(t *testing.T) {
		clock.step(48*time.Hour - time.Microsecond) // overdue by the cutter's own day
		_, err := lose()
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOT_OVERDUE", "stone_id")
	})
	t.Run("OK: not back in time it is owed, and can't be sent back: no last day is made up", func(t *testing.T) {
		clock.step(time.Microsecond)
		lost, err := lose()
		if err != nil {
			t.Fatal(err)
		}
		id := lost.GetApproval().GetLines()[0].GetOrderId()
		_, err = s.marrow.Jeweller().AskReturn(ctx, &jewellerv1.AskReturnRequest{RequestId: command.NewID(), OrderId: id, StoneIds: ids(st), Why: "no"})
		tradetest.Refused(t, err, codes.FailedPrecondition, "RETURN_PERIOD_OVER", "stone_ids[0]")
		if strings.Contains(err.Error(), "0001") || !strings.Contains(err.Error(), "approval") {
			t.Errorf("got %v", err)
		}
	})
}

// A stone that comes back heavier or lighter is so in its parcel's books too, and what
// it is cut to next is held against what came back.
func TestBackWithAnotherMass(t *testing.T) {
	s := open(t, 10000, 20000)
	ctx := t.Context()
	yield := func() *cutterv1.Yield {
		got, err := s.cutter.Cutter().GetYield(ctx, &cutterv1.GetYieldRequest{ParcelId: s.stones[0].GetParcelId()})
		if err != nil {
			t.Fatal(err)
		}
		return got.GetYield()
	}
	weighs := func(what string, before *cutterv1.Yield, lighter int64) {
		if now := yield(); now.GetFinishedUg() != before.GetFinishedUg()-lighter || now.GetUnexplainedUg() != before.GetUnexplainedUg()+lighter {
			t.Errorf("%s: finished %d, then %d; unexplained %d, then %d", what, before.GetFinishedUg(), now.GetFinishedUg(), before.GetUnexplainedUg(), now.GetUnexplainedUg())
		}
	}
	before := yield()

	swapped := measured(s.stones[0])
	swapped.Weighing = &typev1.Weighing{MassUg: swapped.GetWeighing().GetMassUg() - 108_000, DivisionUg: 2_000}
	asked, err := s.marrow.Jeweller().AskForApproval(ctx, &jewellerv1.AskForApprovalRequest{RequestId: command.NewID(), Kind: typev1.GoodsKind_GOODS_KIND_APPROVAL, StoneIds: ids(s.stones[0])})
	if err != nil {
		t.Fatal(err)
	}
	id := asked.GetApproval().GetId()
	if _, err := s.cutter.Cutter().SendOnApproval(ctx, &cutterv1.SendOnApprovalRequest{
		RequestId: command.NewID(), ApprovalId: id, Stones: []*typev1.Measured{measured(s.stones[0])},
		Loss: typev1.Bearer_BEARER_CUTTER, Breakage: typev1.Bearer_BEARER_CUTTER, Carrier: "by hand", Reference: "1",
	}); err != nil {
		t.Fatal(err)
	}
	if _, err := s.cutter.Cutter().TakeBackFromApproval(ctx, &cutterv1.TakeBackFromApprovalRequest{RequestId: command.NewID(), ApprovalId: id, Stone: swapped}); err != nil {
		t.Fatal(err)
	}
	weighs("back from approval", before, 108_000)
	recut := &cutterv1.RecutStoneRequest{
		RequestId: command.NewID(), StoneId: s.stones[0].GetId(), Weighing: &typev1.Weighing{MassUg: swapped.GetWeighing().GetMassUg() + 2_000, DivisionUg: 2_000},
		Size: s.stones[0].GetSize(), Outline: s.stones[0].GetOutline(), Reason: typev1.Reason_REASON_GROUND_OFF, Why: "a chip",
	}
	_, err = s.cutter.Cutter().RecutStone(ctx, recut)
	tradetest.Refused(t, err, codes.InvalidArgument, "HEAVIER_THAN_BEFORE", "weighing.mass_ug")

	before = yield()
	o := s.Order(t, s.marrow, s.stones[1])
	if _, err := s.books.Coop().RecordOrderPayment(ctx, &coopv1.RecordOrderPaymentRequest{RequestId: command.NewID(), OrderId: o.GetId(), Amount: cooptest.AUD(20000), Reference: "bank"}); err != nil {
		t.Fatal(err)
	}
	heavier := s.stones[1]
	heavier.Weighing = &typev1.Weighing{MassUg: heavier.GetWeighing().GetMassUg() + 92_000, DivisionUg: 2_000}
	s.takeBack(t, heavier)
	weighs("an order returned", before, -92_000)
	kept, err := s.books.Coop().ListExceptions(ctx, &coopv1.ListExceptionsRequest{})
	if err != nil || len(kept.GetExceptions()) < 2 {
		t.Errorf("exceptions are %v, %v", kept, err)
	}
}

func TestWanted(t *testing.T) {
	s := open(t)
	ctx := t.Context()
	for _, shows := range []bool{false, true} {
		if _, err := s.marrow.Jeweller().PostWanted(ctx, &jewellerv1.PostWantedRequest{
			RequestId: command.NewID(), ShowsName: shows, Wish: &typev1.Wish{Outline: typev1.Outline_OUTLINE_OVAL, Stones: 2, Budget: cooptest.AUD(150000)},
		}); err != nil {
			t.Fatal(err)
		}
	}
	got, err := s.cutter.Cutter().ListWanted(ctx, &cutterv1.ListWantedRequest{})
	if err != nil || len(got.GetWanted()) != 2 {
		t.Fatalf("got %v, %v", got, err)
	}
	if hidden := got.GetWanted()[0]; strings.Contains(hidden.String(), s.marrow.Member) || strings.Contains(hidden.String(), "Marrow") || hidden.GetWish().GetBudget().GetUnits() != 1500 {
		t.Errorf("a note without a name shows %v", hidden)
	}
	if shown := got.GetWanted()[1]; shown.GetTradingName() != "Marrow & Pin Jewellers" || shown.GetMemberId() != s.marrow.Member {
		t.Errorf("a note with a name shows %v", shown)
	}
	if others, err := s.fernhook.Jeweller().ListWanted(ctx, &jewellerv1.ListWantedRequest{}); err != nil || len(others.GetWanted()) != 0 {
		t.Errorf("another jeweller sees %v, %v", others, err)
	}
}
