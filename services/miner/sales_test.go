package miner_test

import (
	"fmt"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/miner"
	"seamshare.example/services/stream"
)

// record writes events of one stream.
func (d *trade) record(t *testing.T, on eventstore.Stream, events ...proto.Message) {
	t.Helper()
	_, err := d.Node.Decide(t.Context(), eventstore.Request{}, func(tx *eventstore.Tx) error {
		for _, e := range events {
			tx.Record(on, e)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// stones makes stones of a piece, and sells each into an order of its own that is paid
// with 1.00.
func (d *trade) stones(t *testing.T, parcel, piece string, n int) {
	t.Helper()
	scale := func(ug int64) *eventv1.Weighing { return &eventv1.Weighing{MassUg: ug, DivisionUg: 1_000} }
	sawn := &piecev1.Worked{Public: &piecev1.Worked_Public{PieceId: piece, Part: "1", Step: piecev1.Step_STEP_SPLIT, MassIn: scale(34_200_000)}, Private: &piecev1.Worked_Private{}}
	left := int64(34_200_000)
	var finished []proto.Message
	for i := range n {
		part, stone := fmt.Sprint("1.", i), fmt.Sprint("stone-", i)
		sawn.Public.PartsOut = append(sawn.Public.PartsOut, &piecev1.Part{Name: part, Weighing: scale(100_000), Fate: piecev1.Fate_FATE_IN_WORK})
		left -= 100_000
		finished = append(finished, &piecev1.Event{Event: &piecev1.Event_Finished{Finished: &piecev1.Finished{
			Public: &piecev1.Finished_Public{PieceId: piece, Part: part, StoneId: stone, MassIn: scale(100_000), Stone: scale(100_000)}, Private: &piecev1.Finished_Private{},
		}}})
	}
	sawn.Public.LossUg, sawn.Public.Reason = left, piecev1.Reason_REASON_WASTE
	d.record(t, stream.Piece.Stream(piece), append([]proto.Message{&piecev1.Event{Event: &piecev1.Event_Worked{Worked: sawn}}}, finished...)...)
	one := &eventv1.Amount{Currency: "AUD", Minor: 100}
	for i := range n {
		stone, order := fmt.Sprint("stone-", i), fmt.Sprint("order-", i)
		d.record(t, stream.Stone.Stream(stone),
			&stonev1.Event{Event: &stonev1.Event_Finished{Finished: &stonev1.Finished{
				Public: &stonev1.Finished_Public{StoneId: stone, Label: fmt.Sprint(i), ParcelId: parcel, PieceId: piece, CutterId: "wetwheel", Weighing: scale(100_000)}, Private: &stonev1.Finished_Private{},
			}}},
			&stonev1.Event{Event: &stonev1.Event_PutOnSale{PutOnSale: &stonev1.PutOnSale{Public: &stonev1.PutOnSale_Public{StoneId: stone}, Private: &stonev1.PutOnSale_Private{Price: one}}}},
			&stonev1.Event{Event: &stonev1.Event_Sold{Sold: &stonev1.Sold{Public: &stonev1.Sold_Public{StoneId: stone, OrderId: order}, Private: &stonev1.Sold_Private{BuyerId: "fernhook", Price: one}}}})
		d.record(t, stream.Order.Stream(order),
			&orderv1.Event{Event: &orderv1.Event_Placed{Placed: &orderv1.Placed{
				Public:  &orderv1.Placed_Public{OrderId: order},
				Private: &orderv1.Placed_Private{BuyerId: "fernhook", Currency: "AUD", Lines: []*orderv1.Line{{StoneId: stone, ParcelId: parcel, SellerId: "wetwheel", PriceMinor: 100}}},
			}}},
			&orderv1.Event{Event: &orderv1.Event_Paid{Paid: &orderv1.Paid{Public: &orderv1.Paid_Public{OrderId: order}, Private: &orderv1.Paid_Private{Amount: one, Reference: "bank"}}}})
	}
}

func TestSales(t *testing.T) {
	d := open(t)
	p := d.published(t)
	if _, err := d.cutters.TakeParcel(d.wetWheel, &cutterv1.TakeParcelRequest{RequestId: "t", ParcelId: p.GetId()}); err != nil {
		t.Fatal(err)
	}
	d.stones(t, p.GetId(), p.GetLines()[0].GetPieceId(), miner.MaxStones+3)
	sales := func() (listed, back int, last string) {
		t.Helper()
		got, err := d.miners.GetShare(d.billycart, &minerv1.GetShareRequest{ParcelId: p.GetId()})
		if err != nil {
			t.Fatal(err)
		}
		for _, step := range got.GetStatement().GetSteps() {
			if last = step.GetWhy(); strings.HasPrefix(last, "Stone ") {
				listed++
			}
			if strings.Contains(last, "it came back") {
				back++
			}
		}
		if received := got.GetStatement().GetSalesReceived().GetUnits(); received < miner.MaxStones {
			t.Errorf("the sums hold %d", received)
		}
		return listed, back, last
	}
	t.Run("OK: bounded, with a line that says how many more there are", func(t *testing.T) {
		if listed, _, last := sales(); listed != miner.MaxStones || !strings.HasPrefix(last, "The parcel has 3 more stones") {
			t.Errorf("%d are listed, and at last %q", listed, last)
		}
	})
	t.Run("OK: one that came back is shown until its money is paid back", func(t *testing.T) {
		d.record(t, stream.Stone.Stream("stone-7"), &stonev1.Event{Event: &stonev1.Event_Returned{Returned: &stonev1.Returned{
			Public: &stonev1.Returned_Public{StoneId: "stone-7", OrderId: "order-7"}, Private: &stonev1.Returned_Private{},
		}}})
		d.record(t, stream.Order.Stream("order-7"), &orderv1.Event{Event: &orderv1.Event_Returned{Returned: &orderv1.Returned{
			Public: &orderv1.Returned_Public{OrderId: "order-7", StoneId: "stone-7"}, Private: &orderv1.Returned_Private{},
		}}})
		if listed, back, _ := sales(); listed != miner.MaxStones || back != 1 {
			t.Errorf("%d are listed, %d that came back", listed, back)
		}
		d.record(t, stream.Order.Stream("order-7"), &orderv1.Event{Event: &orderv1.Event_Refunded{Refunded: &orderv1.Refunded{
			Public:  &orderv1.Refunded_Public{OrderId: "order-7", StoneId: "stone-7"},
			Private: &orderv1.Refunded_Private{Amount: &eventv1.Amount{Currency: "AUD", Minor: 100}, Reference: "bank"},
		}}})
		if listed, back, _ := sales(); listed != miner.MaxStones-1 || back != 0 {
			t.Errorf("%d are listed, %d that came back", listed, back)
		}
	})
}
