package tablestest

import (
	"time"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/stage"
)

// purchase is an order of one stone for 500.00.
type purchase struct {
	id, stone string
	due       int64 // to be paid back
	portion   bench // in place of a stone: all of a lot
}

// placeOne places it, with a deposit of 100.00.
func placeOne(w *World, stone string) (purchase, error) {
	placed, err := w.Jeweller.Jeweller().PlaceOrder(w.Ctx(), &jewellerv1.PlaceOrderRequest{
		RequestId: command.NewID(), Items: []*jewellerv1.OrderItem{{StoneId: stone, Price: cooptest.AUD(50000)}}, Deposit: cooptest.AUD(10000),
	})
	return purchase{id: placed.GetOrder().GetId(), stone: stone, due: 50000, portion: noBench(w)}, err
}

func payOrder(minor int64) func(*World, purchase) (purchase, error) {
	return func(w *World, p purchase) (purchase, error) {
		_, err := w.Books.Coop().RecordOrderPayment(w.Ctx(), &coopv1.RecordOrderPaymentRequest{RequestId: command.NewID(), OrderId: p.id, Amount: cooptest.AUD(minor), Reference: "bank"})
		return p, err
	}
}

func dispatchOrder(w *World, p purchase) (purchase, error) {
	_, err := w.Cutter.Cutter().DispatchOrder(w.Ctx(), &cutterv1.DispatchOrderRequest{
		RequestId: command.NewID(), OrderId: p.id, Stones: allMeasured([]string{p.stone}), Carrier: "by hand", Reference: "1",
	})
	return p, err
}

func receiveOrder(w *World, p purchase) (purchase, error) {
	_, err := w.Jeweller.Jeweller().ReceiveOrder(w.Ctx(), &jewellerv1.ReceiveOrderRequest{RequestId: command.NewID(), OrderId: p.id, Stones: allMeasured([]string{p.stone})})
	return p, err
}

func claimDamage(w *World, p purchase) (purchase, error) {
	_, err := w.Jeweller.Jeweller().ClaimDamage(w.Ctx(), &jewellerv1.ClaimDamageRequest{RequestId: command.NewID(), OrderId: p.id, StoneId: p.stone, Damage: typev1.Damage_DAMAGE_CRAZED, Words: "fine lines", Photo: cooptest.Photo()})
	return p, err
}

func answerDamage(w *World, p purchase) (purchase, error) {
	_, err := w.Cutter.Cutter().AnswerDamageClaim(w.Ctx(), &cutterv1.AnswerDamageClaimRequest{
		RequestId: command.NewID(), OrderId: p.id, StoneId: p.stone, Answer: typev1.DamageAnswer_DAMAGE_ANSWER_REDUCE, Reduction: cooptest.AUD(5000), Words: "agreed",
	})
	p.due = 5000
	return p, err
}

func refundOrder(w *World, p purchase) (purchase, error) {
	_, err := w.Books.Coop().RecordRefund(w.Ctx(), &coopv1.RecordRefundRequest{RequestId: command.NewID(), OrderId: p.id, StoneId: p.stone, Amount: cooptest.AUD(p.due), Reference: "bank"})
	return p, err
}

func stoneBack(w *World, p purchase) (purchase, error) { return p, acceptReturn(w, p.stone) }

// ofLot is an order of all of a lot.
func ofLot(w *World) purchase {
	b := after(after(after(chips, makeLot(ofChips)), said(offerLot)), orderLot(3))(w)
	return purchase{id: b.order, stone: nothing, due: 50000, portion: b}
}

// sendLot sends the portion of an order of a lot, counted and weighed.
func sendLot(w *World, p purchase) (purchase, error) {
	_, err := w.Cutter.Cutter().DispatchOrder(w.Ctx(), &cutterv1.DispatchOrderRequest{
		RequestId: command.NewID(), OrderId: p.id, Carrier: "by hand", Reference: "1",
		Lots: []*cutterv1.SentPortion{{LotId: p.portion.lot, Count: p.portion.portion, Weighing: portionWeighs(p.portion.portion)}},
	})
	return p, err
}

func receiveLot(w *World, p purchase) (purchase, error) {
	_, err := w.Jeweller.Jeweller().ReceiveOrder(w.Ctx(), &jewellerv1.ReceiveOrderRequest{RequestId: command.NewID(), OrderId: p.id})
	return p, err
}

// notPaid calls an order off after its day.
func notPaid(w *World, order string) error {
	w.Advance(15 * 24 * time.Hour)
	_, err := w.Cutter.Cutter().CallOffUnpaidOrder(w.Ctx(), &cutterv1.CallOffUnpaidOrderRequest{RequestId: command.NewID(), OrderId: order, Why: "not paid, and not answered"})
	return err
}

// outOf makes an order out of goods on approval that the jeweller answers for.
func outOf(do func(*World, string, string) error) func(*World, purchase) (purchase, error) {
	return func(w *World, p purchase) (purchase, error) {
		p.stone = stonesOnSale(w, 1)[0].GetId()
		id, err := askFor(w, typev1.GoodsKind_GOODS_KIND_APPROVAL, p.stone)
		w.Must(err)
		w.Must(sendGoods(w, id, typev1.Bearer_BEARER_JEWELLER, p.stone))
		if err := do(w, id, p.stone); err != nil {
			return p, err
		}
		got, err := w.Jeweller.Jeweller().GetApproval(w.Ctx(), &jewellerv1.GetApprovalRequest{ApprovalId: id})
		p.id = got.GetApproval().GetLines()[0].GetOrderId()
		return p, err
	}
}

func orderTrial() Trial {
	from := func(place func(*World) purchase, steps ...func(*World, purchase) (purchase, error)) func(*World) purchase {
		return func(w *World) purchase {
			p := place(w)
			for _, step := range steps {
				var err error
				p, err = step(w, p)
				w.Must(err)
			}
			return p
		}
	}
	after := func(steps ...func(*World, purchase) (purchase, error)) func(*World) purchase {
		return from(func(w *World) purchase {
			p, err := placeOne(w, stonesOnSale(w, 1)[0].GetId())
			w.Must(err)
			return p
		}, steps...)
	}
	cancel := func(w *World, p purchase) (purchase, error) {
		_, err := w.Jeweller.Jeweller().CancelOrder(w.Ctx(), &jewellerv1.CancelOrderRequest{RequestId: command.NewID(), OrderId: p.id, Why: "the customer left"})
		return p, err
	}
	callOffUnpaid := func(w *World, p purchase) (purchase, error) { return p, notPaid(w, p.id) }
	full, part := payOrder(50000), payOrder(10000)
	lotSent := from(ofLot, payOrder(5000), sendLot)
	stones := []string{"unpaid", "paid", "deposit paid", "claimed", "reduced"}
	return Thing[purchase]{
		Table: order.Table,
		In: map[string][]Recipe[purchase]{
			stage.None:   {{Make: func(w *World) purchase { return purchase{nothing, nothing, 50000, noBench(w)} }}},
			"placed":     {{Name: "unpaid", Make: after()}, {Name: "paid", Make: after(full)}, {Name: "deposit paid", Make: after(part)}, {Name: "of a lot", Make: ofLot}},
			"dispatched": {{Name: "paid", Make: after(full, dispatchOrder)}, {Name: "deposit paid", Make: after(part, dispatchOrder)}, {Name: "of a lot", Make: lotSent}},
			"received": {
				{Name: "of a lot", Make: from(lotSent, receiveLot)},
				{Name: "paid", Make: after(full, dispatchOrder, receiveOrder)},
				{Name: "deposit paid", Make: after(part, dispatchOrder, receiveOrder)},
				{Name: "claimed", Make: after(full, dispatchOrder, receiveOrder, claimDamage)},
				{Name: "reduced", Make: after(full, dispatchOrder, receiveOrder, claimDamage, answerDamage)},
			},
			"returned":   {{Name: "paid", Make: after(full, stoneBack)}, {Name: "unpaid", Make: after(stoneBack)}},
			"called off": {{Make: after(cancel)}},
		},
		Do: map[string][]Call[purchase]{
			"JewellerService/PlaceOrder":     {{Fresh: true, Do: func(w *World, _ purchase) (purchase, error) { return placeOne(w, stonesOnSale(w, 1)[0].GetId()) }}},
			"JewellerService/CancelOrder":    {{With: []string{"unpaid", "of a lot"}, Do: cancel}},
			"CoopService/RecordOrderPayment": {{With: []string{"unpaid", "deposit paid"}, Do: part}},
			"CutterService/DispatchOrder":    {{With: []string{"paid", "deposit paid"}, Do: dispatchOrder}},
			"JewellerService/ReceiveOrder":   {{With: stones, Do: receiveOrder}, {With: []string{"of a lot"}, In: []string{"dispatched"}, Do: receiveLot}},
			"JewellerService/AskReturn": {{With: stones, Do: func(w *World, p purchase) (purchase, error) {
				_, err := w.Jeweller.Jeweller().AskReturn(w.Ctx(), &jewellerv1.AskReturnRequest{RequestId: command.NewID(), OrderId: p.id, StoneIds: []string{p.stone}, Why: "too dark"})
				return p, err
			}}},
			"JewellerService/ClaimDamage":      {{With: []string{"paid", "deposit paid"}, Do: claimDamage}},
			"CutterService/AnswerDamageClaim":  {{With: []string{"claimed"}, Do: answerDamage}},
			"CoopService/RecordRefund":         {{With: []string{"reduced", "paid"}, In: []string{stage.None, "placed", "dispatched", "returned", "called off"}, Do: refundOrder}, {With: []string{"reduced"}, In: []string{"received"}, Do: refundOrder}},
			"CutterService/AcceptReturn":       {{With: stones, Do: stoneBack}},
			"CutterService/CallOffUnpaidOrder": {{With: []string{"unpaid", "deposit paid", "of a lot"}, Do: callOffUnpaid}},
			"CutterService/AcceptLotReturn": {{With: []string{"of a lot"}, Do: func(w *World, p purchase) (purchase, error) {
				return p, lotReturned(w, p.portion)
			}}},
			"CutterService/DeliverPromise": {{Fresh: true, Do: func(w *World, p purchase) (purchase, error) {
				var err error
				p.stone = stonesOnSale(w, 1)[0].GetId()
				p.id, err = deliverOval(w, promiseOval(w), p.stone)
				return p, err
			}}},
			"JewellerService/BuyFromApproval": {{Fresh: true, Do: outOf(func(w *World, id, stone string) error { return buyFrom(w, id, stone) })}},
			"JewellerService/ReportLoss":      {{Fresh: true, Do: outOf(func(w *World, id, stone string) error { return reportLoss(w, id, stone, false) })}},
			"CutterService/RecordApprovalLoss": {{Fresh: true, Do: outOf(func(w *World, id, stone string) error {
				w.Advance(5 * 24 * time.Hour) // the time to bring it back is over
				return recordLoss(w, id, stone, true)
			})}},
		},
		State: func(w *World, p purchase) string {
			got, err := w.Jeweller.Jeweller().GetOrder(w.Ctx(), &jewellerv1.GetOrderRequest{OrderId: p.id})
			if err != nil {
				return stage.None
			}
			return []string{"", "placed", "dispatched", "received", "returned", "called off"}[got.GetOrder().GetState()]
		},
	}
}
