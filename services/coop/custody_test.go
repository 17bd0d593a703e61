package coop_test

import (
	"errors"
	"testing"
	"time"

	"google.golang.org/grpc/codes"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tradetest"
)

// TestCustody: who holds a thing is what was recorded last of it, by a handover or by the
// stock keeper; also of what no keeper ever moved.
func TestCustody(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	keeper := d.Add(t, d.Desk.Member, stockKeeper)
	listed, err := d.ninth.Miner().PublishParcel(ctx, publishing(outright(38000)))
	if err != nil {
		t.Fatal(err)
	}
	p := d.Cut(t, d.billycart, d.wetWheel, 74000, 42000)
	stones := []string{"stone/" + p.Stones[0].GetId(), "stone/" + p.Stones[1].GetId()}
	pieces := []string{"piece/" + p.Stones[0].GetPieceId(), "piece/" + p.Stones[1].GetPieceId()}
	held := func(t *testing.T, place string) map[string]*coopv1.Custody {
		t.Helper()
		all := map[string]*coopv1.Custody{}
		for token := ""; ; {
			got, err := keeper.Coop().ListCustody(ctx, &coopv1.ListCustodyRequest{Place: place, PageSize: 2, PageToken: token})
			if err != nil {
				t.Fatal(err)
			}
			for _, c := range got.GetCustody() {
				all[c.GetThing()] = c
			}
			if token = got.GetNextPageToken(); token == "" {
				return all
			}
		}
	}
	is := func(t *testing.T, thing, holder, place string) {
		t.Helper()
		if c := held(t, "")[thing]; c.GetHolderId() != holder || c.GetPlace() != place || holder != "" && c.GetLabel() == "" {
			t.Errorf("%s is listed as %v, want it with %q at %q", thing, c, holder, place)
		}
	}
	move := func(thing, holder, place string) {
		t.Helper()
		if _, err := keeper.Coop().MoveStock(ctx, &coopv1.MoveStockRequest{RequestId: command.NewID(), Thing: thing, HolderId: holder, Place: place}); err != nil {
			t.Fatal(err)
		}
	}
	t.Run("by deal and bench", func(t *testing.T) {
		is(t, "parcel/"+listed.GetParcel().GetId(), d.ninth.Member, "")
		is(t, "piece/"+listed.GetParcel().GetLines()[0].GetPieceId(), d.ninth.Member, "")
		for _, thing := range append(append([]string{"parcel/" + p.ID}, pieces...), stones...) {
			is(t, thing, d.wetWheel.Member, "")
		}
	})
	t.Run("a counted lot; the piece of which nothing is left is with nobody", func(t *testing.T) {
		made, err := d.wetWheel.Cutter().MakeLot(ctx, &cutterv1.MakeLotRequest{
			RequestId: command.NewID(), Label: "low end", Weighing: cooptest.Grams(10_000_000), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN,
			Sources: []*typev1.LotSource{{PieceId: p.Stones[1].GetPieceId(), Part: "2B", Count: 1, Weighing: cooptest.Grams(10_000_000)}},
		})
		if err != nil {
			t.Fatal(err)
		}
		is(t, "lot/"+made.GetLot().GetId(), d.wetWheel.Member, "")
		is(t, pieces[1], "", "")
	})
	t.Run("what the keeper moved, until it goes on", func(t *testing.T) {
		move(stones[0], d.Desk.Member, "safe")
		move(pieces[0], d.Desk.Member, "safe")
		is(t, stones[0], d.Desk.Member, "safe")
		is(t, pieces[0], d.Desk.Member, "safe")
		order := d.Order(t, d.other, p.Stones[0])
		is(t, stones[0], d.Desk.Member, "safe") // sold, and not sent yet
		if _, err := d.desk1.Coop().RecordOrderPayment(ctx, &coopv1.RecordOrderPaymentRequest{RequestId: command.NewID(), OrderId: order.GetId(), Amount: order.GetTotal(), Reference: "bank"}); err != nil {
			t.Fatal(err)
		}
		if _, err := d.wetWheel.Cutter().DispatchOrder(ctx, &cutterv1.DispatchOrderRequest{
			RequestId: command.NewID(), OrderId: order.GetId(), Carrier: "by hand", Reference: "1",
			Stones: []*typev1.Measured{{StoneId: p.Stones[0].GetId(), Weighing: p.Stones[0].GetWeighing(), Size: p.Stones[0].GetSize(), Photo: cooptest.Photo()}},
		}); err != nil {
			t.Fatal(err)
		}
		is(t, stones[0], d.other.Member, "")
		if safe := held(t, "safe"); len(safe) != 1 || safe[pieces[0]] == nil {
			t.Errorf("in the safe are %v", safe)
		}
	})
	t.Run("the same move asked for at once is made once", func(t *testing.T) {
		const asked = 4
		made := make(chan error, asked)
		held, release := make(chan struct{}), make(chan struct{})
		go func() { // holds the writer until all of them wait for it
			_, _ = d.Node.Decide(ctx, eventstore.Request{ID: command.NewID(), Member: "m"}, func(*eventstore.Tx) error {
				close(held)
				<-release
				return errors.New("only to hold the writer")
			})
		}()
		<-held
		waiting := d.Node.Waiting()
		for range asked {
			go func() {
				_, err := keeper.Coop().MoveStock(ctx, &coopv1.MoveStockRequest{RequestId: command.NewID(), Thing: stones[1], HolderId: d.Desk.Member, Place: "window"})
				made <- err
			}()
		}
		for d.Node.Waiting() < waiting+asked {
			time.Sleep(100 * time.Microsecond)
		}
		close(release)
		times := 0
		for range asked {
			if err := <-made; err == nil {
				times++
			} else {
				tradetest.Refused(t, err, codes.FailedPrecondition, "ALREADY_THERE", "place")
			}
		}
		if times != 1 {
			t.Errorf("it was moved there %d times", times)
		}
	})
}
