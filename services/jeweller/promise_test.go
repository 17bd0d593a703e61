package jeweller_test

import (
	"testing"
	"time"

	"google.golang.org/grpc/codes"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tradetest"
)

// promised is a promise of stones like the one given.
func (s shop) promised(t *testing.T, like *typev1.Stone, due time.Time) string {
	t.Helper()
	p, err := s.cutter.Cutter().PromiseStones(t.Context(), &cutterv1.PromiseStonesRequest{
		RequestId: command.NewID(), JewellerId: s.marrow.Member, DueAt: due.UTC().Format(time.RFC3339Nano),
		Items: []*typev1.PromisedStone{{Outline: like.GetOutline(), Kind: like.GetKind(), Size: like.GetSize(), Price: cooptest.AUD(9999)}},
	})
	if err != nil {
		t.Fatal(err)
	}
	return p.GetPromise().GetId()
}

func (s shop) accept(t *testing.T, promise string) error {
	t.Helper()
	_, err := s.marrow.Jeweller().AcceptPromise(t.Context(), &jewellerv1.AcceptPromiseRequest{RequestId: command.NewID(), PromiseId: promise})
	return err
}

// TestPromiseBinds: what was cut to order isn't called off; its cutter lets the jeweller out.
func TestPromiseBinds(t *testing.T) {
	s := open(t, 10000)
	st := s.stones[0]
	if _, err := s.cutter.Cutter().TakeOffSale(t.Context(), &cutterv1.TakeOffSaleRequest{RequestId: command.NewID(), StoneId: st.GetId()}); err != nil {
		t.Fatal(err)
	}
	promise := s.promised(t, st, time.Now().Add(time.Hour))
	if err := s.accept(t, promise); err != nil {
		t.Fatal(err)
	}
	got, err := s.cutter.Cutter().DeliverPromise(t.Context(), &cutterv1.DeliverPromiseRequest{RequestId: command.NewID(), PromiseId: promise, StoneIds: ids(st)})
	if err != nil {
		t.Fatal(err)
	}
	order := got.GetPromise().GetOrderId()
	_, err = s.marrow.Jeweller().CancelOrder(t.Context(), &jewellerv1.CancelOrderRequest{RequestId: command.NewID(), OrderId: order, Why: "changed my mind"})
	tradetest.Refused(t, err, codes.FailedPrecondition, "ORDER_PROMISED", "order_id")
	if o, err := s.marrow.Jeweller().GetOrder(t.Context(), &jewellerv1.GetOrderRequest{OrderId: order}); err != nil || o.GetOrder().GetPromiseId() != promise {
		t.Errorf("the order should name promise %s; got %v, %v", promise, o.GetOrder(), err)
	}
	if _, err := s.cutter.Cutter().AcceptReturn(t.Context(), &cutterv1.AcceptReturnRequest{
		RequestId: command.NewID(), StoneId: st.GetId(), Weighing: st.GetWeighing(), Size: st.GetSize(), Why: "let out of it",
	}); err != nil {
		t.Error(err)
	}
}

// TestPromiseLapses: what is due can't be accepted any more.
func TestPromiseLapses(t *testing.T) {
	now := time.Now()
	s := openAt(t, func() time.Time { return now }, 10000)
	promise := s.promised(t, s.stones[0], now.Add(30*time.Minute))
	now = now.Add(30 * time.Minute)
	tradetest.Refused(t, s.accept(t, promise), codes.FailedPrecondition, "PROMISE_LAPSED", "promise_id")
}
