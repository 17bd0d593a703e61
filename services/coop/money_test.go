package coop_test

import (
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/stream"
	"seamshare.example/services/tradetest"
	"seamshare.example/services/view"
)

func minor(m *money.Money) int64 { return m.GetUnits()*100 + int64(m.GetNanos())/10_000_000 }

func shareOf(s *typev1.ShareStatement, party string) int64 {
	for _, p := range s.GetShares() {
		if p.GetParty() == party {
			return minor(p.GetAmount())
		}
	}
	return 0
}

// The sales of the demo's first parcel, the pair as two stones.
var prices = []int64{74000, 74000, 42000, 9500, 115000, 64000, 12000, 26000, 4500, 3750}

func TestMoneyOfAParcel(t *testing.T) {
	h := open(t)
	ctx := t.Context()
	p := h.Cut(t, h.miner, h.cutter, prices...)
	books := h.books.Coop()
	pay := &coopv1.RecordParcelPaymentRequest{RequestId: "pay-1", ParcelId: p.ID, Amount: cooptest.AUD(100000), Reference: "bank 1"}
	first, err := books.RecordParcelPayment(ctx, pay)
	if err != nil {
		t.Fatal(err)
	}
	if got := minor(first.GetStatement().GetPurchaseReceived()); got != 100000 || shareOf(first.GetStatement(), "miner") != 97000 {
		t.Errorf("got %v", first.GetStatement())
	}
	cost, err := books.RecordCost(ctx, &coopv1.RecordCostRequest{RequestId: "cost-1", ParcelId: p.ID, Amount: cooptest.AUD(3850), Reference: "bill 1", Kind: "freight"})
	if err != nil {
		t.Fatal(err)
	}
	if len(cost.GetStatement().GetOpen()) == 0 || minor(cost.GetStatement().GetOpen()[0].GetAmount()) != 3850 {
		t.Errorf("the cost should be open: %v", cost.GetStatement().GetOpen())
	}
	_, err = books.RecordParcelPayment(ctx, &coopv1.RecordParcelPaymentRequest{RequestId: "pay-2", ParcelId: p.ID, Amount: cooptest.AUD(60000), Reference: "bank 2"})
	if err != nil {
		t.Fatal(err)
	}
	order := h.Order(t, h.jeweller, p.Stones...)
	half, err := books.RecordOrderPayment(ctx, &coopv1.RecordOrderPaymentRequest{RequestId: "order-1", OrderId: order.GetId(), Amount: cooptest.AUD(200000), Reference: "bank 3"})
	if err != nil || minor(half.GetPaid()) != 200000 || minor(half.GetOpen()) != 224750 {
		t.Fatalf("got %v, %v", half, err)
	}
	_, err = books.RecordOrderPayment(ctx, &coopv1.RecordOrderPaymentRequest{RequestId: "order-2", OrderId: order.GetId(), Amount: cooptest.AUD(224750), Reference: "bank 4"})
	if err != nil {
		t.Fatal(err)
	}
	shares := func() *typev1.ShareStatement {
		t.Helper()
		got, err := books.GetShares(ctx, &coopv1.GetSharesRequest{ParcelId: p.ID})
		if err != nil {
			t.Fatal(err)
		}
		return got.GetStatement()
	}
	if s := shares(); shareOf(s, "cutter") != 328666 || shareOf(s, "miner") != 155200+66749 {
		t.Errorf("before the return: %v", s.GetShares())
	}
	t.Run("refused: a refund of a stone that isn't back", func(t *testing.T) {
		_, err := books.RecordRefund(ctx, &coopv1.RecordRefundRequest{RequestId: "refund-0", OrderId: order.GetId(), StoneId: p.Stones[5].GetId(), Amount: cooptest.AUD(64000), Reference: "bank 5"})
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOT_RETURNED")
	})
	_, err = h.cutter.Cutter().AcceptReturn(ctx, &cutterv1.AcceptReturnRequest{
		RequestId: command.NewID(), StoneId: p.Stones[5].GetId(), Why: "not the colour hoped for",
		Weighing: p.Stones[5].GetWeighing(), Size: p.Stones[5].GetSize(),
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Run("refused: a refund of another amount", func(t *testing.T) {
		_, err := books.RecordRefund(ctx, &coopv1.RecordRefundRequest{RequestId: "refund-0", OrderId: order.GetId(), StoneId: p.Stones[5].GetId(), Amount: cooptest.AUD(63999), Reference: "bank 5"})
		tradetest.Refused(t, err, codes.FailedPrecondition, "REFUND_DIFFERS")
	})
	refund, err := books.RecordRefund(ctx, &coopv1.RecordRefundRequest{RequestId: "refund-1", OrderId: order.GetId(), StoneId: p.Stones[5].GetId(), Amount: cooptest.AUD(64000), Reference: "bank 5"})
	if err != nil || minor(refund.GetPaid()) != 360750 {
		t.Fatalf("got %v, %v", refund, err)
	}
	if s := shares(); shareOf(s, "cutter") != 294289 || shareOf(s, "miner") != 155200+40966 || minor(s.GetLevies()) != 4800+21645 {
		t.Errorf("after the return: %v", s)
	}
	t.Run("a repeat answers with the first statement, not today's", func(t *testing.T) {
		again, err := books.RecordParcelPayment(ctx, pay)
		if err != nil || !proto.Equal(again, first) {
			t.Errorf("got %v, %v\nwant %v", again, err, first)
		}
	})
	t.Run("balances add up", func(t *testing.T) {
		b, err := books.GetBalances(ctx, &coopv1.GetBalancesRequest{})
		if err != nil {
			t.Fatal(err)
		}
		sum := minor(b.GetReceipts()[0].GetAmount()) - minor(b.GetLevies()[0].GetAmount()) - minor(b.GetCosts()[0].GetAmount())
		for _, s := range b.GetShares() {
			sum -= minor(s.GetAmount())
		}
		if sum != 0 || minor(b.GetReceipts()[0].GetAmount()) != 160000+360750 {
			t.Errorf("they add up to %d: %v", sum, b)
		}
	})
	t.Run("at every position the streams give what the rows gave", func(t *testing.T) {
		rowsAgreeWithStreams(t, h, p.ID)
	})
}

// rowsAgreeWithStreams replays the log into a second node, commit by commit, and holds
// its rows at each against what the first one reckons from streams for then.
func rowsAgreeWithStreams(t *testing.T, h people, parcelID string) {
	t.Helper()
	q, err := h.Node.Query(t.Context(), 0)
	if err != nil {
		t.Fatal(err)
	}
	defer q.Close()
	codec := eventstore.NewCodec(stream.Events()...)
	rows, v, moneys := &memory{}, view.Shares{}, 0
	for seq := eventstore.Sequence(1); seq <= q.Checkpoint().Sequence; seq++ {
		m, err := q.Message(seq)
		if err != nil {
			t.Fatal(err)
		}
		_, records, err := eventstore.ReadMessage(codec, h.Node.Coop(), m)
		if err != nil {
			t.Fatal(err)
		}
		for _, rec := range records {
			if err := v.Apply(rows, rec); err != nil {
				t.Fatal(err)
			}
		}
		at := records[len(records)-1].Position
		want, wantOK, err := v.Statement(rows, parcelID)
		if err != nil {
			t.Fatal(err)
		}
		got, ok, err := view.StatementAt(q, parcelID, at)
		if err != nil || ok != wantOK || got.Shares.Received != want.Shares.Received || got.Shares.Levies != want.Shares.Levies {
			t.Fatalf("at %d the streams give %+v, %t, %v; the rows %+v", at, got.Shares, ok, err, want.Shares)
		}
		for i, p := range want.Shares.Parties {
			if got.Shares.Parties[i] != p {
				t.Fatalf("at %d the streams give %+v, the rows %+v", at, got.Shares.Parties[i], p)
			}
		}
		if want.Shares.Received > 0 {
			moneys++
		}
	}
	if moneys < 5 {
		t.Fatalf("only %d commits with money were looked at", moneys)
	}
}

// A line's own parcel decides whose agreement its money runs through.
func TestAnOrderAcrossParcels(t *testing.T) {
	h := open(t)
	ctx := t.Context()
	one, other := h.Cut(t, h.miner, h.cutter, 200000), h.Cut(t, h.miner, h.cutter, 50000)
	order := h.Order(t, h.jeweller, one.Stones[0], other.Stones[0])
	for i, part := range []int64{150000, 70000, 30000} {
		_, err := h.books.Coop().RecordOrderPayment(ctx, &coopv1.RecordOrderPaymentRequest{RequestId: command.NewID(), OrderId: order.GetId(), Amount: cooptest.AUD(part), Reference: "bank"})
		if err != nil {
			t.Fatal(err)
		}
		want := [][2]int64{{150000, 0}, {200000, 20000}, {200000, 50000}}[i] // the first stone is covered first
		for j, p := range []cooptest.Parcel{one, other} {
			got, err := h.books.Coop().GetShares(ctx, &coopv1.GetSharesRequest{ParcelId: p.ID})
			if err != nil || minor(got.GetStatement().GetSalesReceived()) != want[j] {
				t.Errorf("payment %d: parcel %d has %v, %v; want %d", i+1, j+1, got.GetStatement().GetSalesReceived(), err, want[j])
			}
		}
	}
	// Money on the first parcel, and a repeat of it once more has happened.
	pay := &coopv1.RecordParcelPaymentRequest{RequestId: "pay", ParcelId: one.ID, Amount: cooptest.AUD(100), Reference: "bank"}
	first, err := h.books.Coop().RecordParcelPayment(ctx, pay)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := h.books.Coop().RecordCost(ctx, &coopv1.RecordCostRequest{RequestId: command.NewID(), ParcelId: other.ID, Amount: cooptest.AUD(100), Reference: "bill", Kind: "freight"}); err != nil {
		t.Fatal(err)
	}
	again, err := h.books.Coop().RecordParcelPayment(ctx, pay)
	if err != nil || !proto.Equal(again, first) {
		t.Errorf("got %v, %v\nwant %v", again, err, first)
	}
}

func TestMoneyIsRefused(t *testing.T) {
	h := open(t)
	ctx := t.Context()
	p := h.Cut(t, h.miner, h.cutter, 74000)
	books := h.books.Coop()
	pay := func(change func(*coopv1.RecordParcelPaymentRequest)) error {
		req := &coopv1.RecordParcelPaymentRequest{RequestId: command.NewID(), ParcelId: p.ID, Amount: cooptest.AUD(100), Reference: "bank"}
		change(req)
		_, err := books.RecordParcelPayment(ctx, req)
		return err
	}
	for name, c := range map[string]struct {
		change func(*coopv1.RecordParcelPaymentRequest)
		code   codes.Code
		reason string
	}{
		"no such parcel":       {func(r *coopv1.RecordParcelPaymentRequest) { r.ParcelId = "nothing" }, codes.NotFound, "NOT_FOUND"},
		"more than the price":  {func(r *coopv1.RecordParcelPaymentRequest) { r.Amount = cooptest.AUD(160001) }, codes.FailedPrecondition, "ABOVE_WHAT_IS_OWED"},
		"negative":             {func(r *coopv1.RecordParcelPaymentRequest) { r.Amount = cooptest.AUD(-100) }, codes.InvalidArgument, "AMOUNT_INVALID"},
		"another currency":     {func(r *coopv1.RecordParcelPaymentRequest) { r.Amount.CurrencyCode = "NZD" }, codes.InvalidArgument, "CURRENCY_DIFFERS"},
		"an unknown currency":  {func(r *coopv1.RecordParcelPaymentRequest) { r.Amount.CurrencyCode = "OPL" }, codes.InvalidArgument, "CURRENCY_UNKNOWN"},
		"half a cent":          {func(r *coopv1.RecordParcelPaymentRequest) { r.Amount.Nanos = 5_000_000 }, codes.InvalidArgument, "AMOUNT_INVALID"},
		"no day":               {func(r *coopv1.RecordParcelPaymentRequest) { r.EffectiveDate = "2026-02-30" }, codes.InvalidArgument, "TIME_INVALID"},
		"a year mistyped":      {func(r *coopv1.RecordParcelPaymentRequest) { r.EffectiveDate = "0026-11-25" }, codes.InvalidArgument, "TIME_INVALID"},
		"a day too long ago":   {func(r *coopv1.RecordParcelPaymentRequest) { r.EffectiveDate = "1999-12-31" }, codes.InvalidArgument, "TIME_INVALID"},
		"a day that will come": {func(r *coopv1.RecordParcelPaymentRequest) { r.EffectiveDate = "9999-12-31" }, codes.InvalidArgument, "TIME_INVALID"},
	} {
		t.Run("refused: "+name, func(t *testing.T) { tradetest.Refused(t, pay(c.change), c.code, c.reason) })
	}
	t.Run("refused: a cost the agreement doesn't name", func(t *testing.T) {
		_, err := books.RecordCost(ctx, &coopv1.RecordCostRequest{RequestId: command.NewID(), ParcelId: p.ID, Amount: cooptest.AUD(1), Reference: "x", Kind: "wages"})
		tradetest.Refused(t, err, codes.FailedPrecondition, "COST_NOT_AGREED")
	})
	t.Run("refused: no such order", func(t *testing.T) {
		_, err := books.RecordOrderPayment(ctx, &coopv1.RecordOrderPaymentRequest{RequestId: command.NewID(), OrderId: "nothing", Amount: cooptest.AUD(1), Reference: "x"})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND")
	})
	t.Run("refused: a cutter records money", func(t *testing.T) {
		_, err := h.cutter.Coop().RecordParcelPayment(ctx, &coopv1.RecordParcelPaymentRequest{RequestId: command.NewID(), ParcelId: p.ID, Amount: cooptest.AUD(1), Reference: "x"})
		tradetest.Refused(t, err, codes.PermissionDenied, "ROLE_MISSING")
	})
	t.Run("refused: shares of no parcel", func(t *testing.T) {
		_, err := books.GetShares(ctx, &coopv1.GetSharesRequest{ParcelId: "nothing"})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND")
	})
}

// Money counts on the day in the co-op's own time zone: late in the evening in UTC it
// is the next day in Brisbane.
func TestTheDayIsTheCoOps(t *testing.T) {
	h := cooptest.Open(t, func() time.Time { return time.Date(2026, 11, 25, 20, 0, 0, 0, time.UTC) })
	ps := people{House: h, miner: h.Join(t, "Billycart Diggings", miner), cutter: h.Join(t, "Wet Wheel Workshop", cutter), books: h.Add(t, h.Desk.Member, bookkeeper)}
	p := h.Cut(t, ps.miner, ps.cutter, 74000)
	for asked, want := range map[string]string{"": "2026-11-26", "2026-11-26": "2026-11-26", "2026-11-20": "2026-11-20", "2000-01-01": "2000-01-01"} {
		paid, err := ps.books.Coop().RecordParcelPayment(t.Context(), &coopv1.RecordParcelPaymentRequest{
			RequestId: command.NewID(), ParcelId: p.ID, Amount: cooptest.AUD(100), Reference: "bank", EffectiveDate: asked,
		})
		if err != nil {
			t.Fatal(err)
		}
		q, err := h.Node.Query(t.Context(), eventstore.Position(paid.GetPosition()))
		if err != nil {
			t.Fatal(err)
		}
		rec, err := q.RecordAt(eventstore.Position(paid.GetPosition()))
		q.Close()
		if err != nil || rec.EffectiveDate != want {
			t.Errorf("asked for %q it counts on %q, %v; want %s", asked, rec.EffectiveDate, err, want)
		}
	}
}
