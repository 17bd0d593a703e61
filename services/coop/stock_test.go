package coop_test

import (
	"testing"

	"google.golang.org/grpc/codes"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tradetest"
)

func exceptions(t *testing.T, by cooptest.Person, closed bool) (all []*coopv1.Exception) {
	t.Helper()
	for token := ""; ; {
		got, err := by.Coop().ListExceptions(t.Context(), &coopv1.ListExceptionsRequest{Closed: closed, PageToken: token})
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, got.GetExceptions()...)
		if token = got.GetNextPageToken(); token == "" {
			return all
		}
	}
}

func kinds(all []*coopv1.Exception) map[string]int {
	n := map[string]int{}
	for _, e := range all {
		n[e.GetKind()]++
	}
	return n
}

func TestStockCount(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	keeper := d.Add(t, d.Desk.Member, stockKeeper)
	p := d.Cut(t, d.billycart, d.wetWheel, 74000, 42000, 9500)
	move := func(i int, place string) {
		t.Helper()
		_, err := keeper.Coop().MoveStock(ctx, &coopv1.MoveStockRequest{RequestId: command.NewID(), Thing: "stone/" + p.Stones[i].GetId(), HolderId: d.Desk.Member, Place: place})
		if err != nil {
			t.Fatal(err)
		}
	}
	move(0, "safe")
	move(1, "safe")
	move(2, "window")
	found := func(i int, ug int64) *coopv1.CountedThing {
		c := &coopv1.CountedThing{Thing: "stone/" + p.Stones[i].GetId()}
		if ug > 0 {
			c.Weighing = &typev1.Weighing{MassUg: ug, DivisionUg: 2_000}
		}
		return c
	}
	// Stone 1 weighs less, stone 2 isn't there, stone 3 belongs elsewhere.
	counted, err := keeper.Coop().CountStock(ctx, &coopv1.CountStockRequest{RequestId: command.NewID(), Place: "safe", Found: []*coopv1.CountedThing{found(0, 606_000), found(2, 0)}})
	if err != nil {
		t.Fatal(err)
	}
	c := counted.GetCount()
	if len(c.GetMissing()) != 1 || c.GetMissing()[0] != "stone/"+p.Stones[1].GetId() || len(c.GetStrange()) != 1 || len(c.GetDifferences()) != 1 || c.GetDifferences()[0].GetFoundUg() != 606_000 {
		t.Errorf("got %v", c)
	}
	t.Run("the difference is unexplained mass of the parcel", func(t *testing.T) {
		if y := d.yield(t, p); y.UnexplainedUg != 2_000 {
			t.Errorf("got %+v", y)
		}
	})
	t.Run("each difference is an exception, until somebody looked into it", func(t *testing.T) {
		open := exceptions(t, keeper, false)
		if n := kinds(open); n["count difference"] != 3 || n["unexplained mass"] != 0 {
			t.Errorf("got %v", open)
		}
		for _, e := range open {
			if len(e.GetMemberIds()) != 2 {
				t.Errorf("it says not whom it concerns: %v", e)
			}
			_, err := keeper.Coop().CloseException(ctx, &coopv1.CloseExceptionRequest{RequestId: command.NewID(), ExceptionId: e.GetId(), Note: "looked behind the safe"})
			if err != nil {
				t.Fatal(err)
			}
		}
		if left := exceptions(t, keeper, false); len(left) != 0 {
			t.Errorf("left %v", left)
		}
		if closed := exceptions(t, keeper, true); len(closed) != 3 || closed[0].GetNote() != "looked behind the safe" {
			t.Errorf("closed %v", closed)
		}
		_, err := keeper.Coop().CloseException(ctx, &coopv1.CloseExceptionRequest{RequestId: command.NewID(), ExceptionId: open[0].GetId(), Note: "again"})
		tradetest.Refused(t, err, codes.FailedPrecondition, "ALREADY_CLOSED")
		_, err = keeper.Coop().CloseException(ctx, &coopv1.CloseExceptionRequest{RequestId: command.NewID(), ExceptionId: "mass-none-1", Note: "x"})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND")
	})
	t.Run("beyond the tolerance it is an exception of its own, which names whom it concerns", func(t *testing.T) {
		_, err := keeper.Coop().CountStock(ctx, &coopv1.CountStockRequest{RequestId: command.NewID(), Place: "safe", Found: []*coopv1.CountedThing{found(0, 500_000), found(1, 0)}})
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range exceptions(t, keeper, false) {
			if e.GetKind() == "unexplained mass" {
				if len(e.GetMemberIds()) != 2 || e.GetMemberIds()[0] != d.billycart.Member || e.GetThing() != "parcel/"+p.ID {
					t.Errorf("got %v", e)
				}
				return
			}
		}
		t.Error("there is none")
	})
	t.Run("who holds what where", func(t *testing.T) {
		got, err := keeper.Coop().ListCustody(ctx, &coopv1.ListCustodyRequest{Place: "safe"})
		if err != nil || len(got.GetCustody()) != 2 {
			t.Errorf("got %v, %v", got, err)
		}
	})
	t.Run("today shows the exceptions to the keeper, and money to pay out to the bookkeeper", func(t *testing.T) {
		today, err := keeper.Coop().Today(ctx, &coopv1.TodayRequest{})
		if err != nil || len(today.GetItems()) == 0 || today.GetItems()[0].GetKind() != "exceptions" {
			t.Errorf("got %v, %v", today, err)
		}
		d.pay(t, p, 160000)
		if today, err = d.desk1.Coop().Today(ctx, &coopv1.TodayRequest{}); err != nil || len(today.GetItems()) == 0 || today.GetItems()[0].GetKind() != "money to pay out" {
			t.Errorf("got %v, %v", today, err)
		}
		run, err := prepare(ctx, d.desk1)
		if err != nil {
			t.Fatal(err)
		}
		if today, err = d.desk2.Coop().Today(ctx, &coopv1.TodayRequest{}); err != nil || len(today.GetItems()) != 1 || today.GetItems()[0].GetThing() != "payout/"+run.GetId() {
			t.Errorf("got %v, %v", today, err)
		}
		for _, p := range []cooptest.Person{d.billycart, d.wetWheel, d.other, d.Desk, d.audit} {
			if _, err := p.Coop().Today(ctx, &coopv1.TodayRequest{}); err != nil {
				t.Error(err)
			}
		}
	})
}
