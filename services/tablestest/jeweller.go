package tablestest

import (
	"slices"
	"time"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/domain/approval"
	"seamshare.example/services/domain/hold"
	"seamshare.example/services/domain/stage"
	"seamshare.example/services/domain/stone"
	wish "seamshare.example/services/domain/wanted"
)

// jewellerTrials are the trials of the jeweller's things.
func jewellerTrials() []Trial {
	return []Trial{
		holdTrial(), wantedTrial(), goodsTrial(approval.Table, typev1.GoodsKind_GOODS_KIND_APPROVAL),
		goodsTrial(approval.ConsignmentTable, typev1.GoodsKind_GOODS_KIND_CONSIGNMENT), sellingTrial(), orderTrial(),
	}
}

// stonesOnSale are stones on sale.
func stonesOnSale(w *World, n int) []*typev1.Stone {
	w.T.Helper()
	return w.Cut(w.T, w.Miner, w.Cutter, slices.Repeat([]int64{50000}, n)...).Stones
}

func idsOf(stones []*typev1.Stone) (ids []string) {
	for _, st := range stones {
		ids = append(ids, st.GetId())
	}
	return ids
}

// asMeasured is how a stone of cooptest measures.
func asMeasured(id string) *typev1.Measured {
	return &typev1.Measured{
		StoneId: id, Weighing: &typev1.Weighing{MassUg: 608_000, DivisionUg: 2_000}, Size: &typev1.Size{LengthUm: 12_000, WidthUm: 9_000, DepthUm: 3_000},
		Photo: &typev1.Photo{Sha256: make([]byte, 32), MediaType: "image/jpeg", Light: "daylight"},
	}
}

func allMeasured(ids []string) (all []*typev1.Measured) {
	for _, id := range ids {
		all = append(all, asMeasured(id))
	}
	return all
}

func buyStones(w *World, ids ...string) (string, error) {
	req := &jewellerv1.PlaceOrderRequest{RequestId: command.NewID()}
	for _, id := range ids {
		req.Items = append(req.Items, &jewellerv1.OrderItem{StoneId: id, Price: cooptest.AUD(50000)})
	}
	placed, err := w.Jeweller.Jeweller().PlaceOrder(w.Ctx(), req)
	return placed.GetOrder().GetId(), err
}

func holdThem(w *World, ids ...string) (string, error) {
	held, err := w.Jeweller.Jeweller().HoldStones(w.Ctx(), &jewellerv1.HoldStonesRequest{
		RequestId: command.NewID(), StoneIds: ids, EndsAt: w.Now().Add(time.Hour).Format(time.RFC3339),
	})
	return held.GetHold().GetId(), err
}

func askFor(w *World, kind typev1.GoodsKind, ids ...string) (string, error) {
	asked, err := w.Jeweller.Jeweller().AskForApproval(w.Ctx(), &jewellerv1.AskForApprovalRequest{
		RequestId: command.NewID(), Kind: kind, StoneIds: ids, DueAt: w.Now().Add(5 * 24 * time.Hour).Format(time.RFC3339),
		Loss: typev1.Bearer_BEARER_JEWELLER, Breakage: typev1.Bearer_BEARER_JEWELLER,
	})
	return asked.GetApproval().GetId(), err
}

func sendGoods(w *World, approvalID string, loss typev1.Bearer, ids ...string) error {
	_, err := w.Cutter.Cutter().SendOnApproval(w.Ctx(), &cutterv1.SendOnApprovalRequest{
		RequestId: command.NewID(), ApprovalId: approvalID, Stones: allMeasured(ids), Loss: loss, Breakage: loss, Carrier: "by hand", Reference: "1",
	})
	return err
}

func buyFrom(w *World, approvalID string, ids ...string) error {
	_, err := w.Jeweller.Jeweller().BuyFromApproval(w.Ctx(), &jewellerv1.BuyFromApprovalRequest{RequestId: command.NewID(), ApprovalId: approvalID, StoneIds: ids})
	return err
}

func goodsBack(w *World, approvalID, id string) error {
	_, err := w.Cutter.Cutter().TakeBackFromApproval(w.Ctx(), &cutterv1.TakeBackFromApprovalRequest{RequestId: command.NewID(), ApprovalId: approvalID, Stone: asMeasured(id)})
	return err
}

func reportLoss(w *World, approvalID, id string, broken bool) error {
	_, err := w.Jeweller.Jeweller().ReportLoss(w.Ctx(), &jewellerv1.ReportLossRequest{RequestId: command.NewID(), ApprovalId: approvalID, StoneId: id, Broken: broken, How: "it fell"})
	return err
}

func recordLoss(w *World, approvalID, id string, broken bool) error {
	_, err := w.Cutter.Cutter().RecordApprovalLoss(w.Ctx(), &cutterv1.RecordApprovalLossRequest{RequestId: command.NewID(), ApprovalId: approvalID, StoneId: id, Broken: broken, How: "it fell"})
	return err
}

// heldStones is a hold on two stones.
type heldStones struct {
	id     string
	stones []string
	goods  string // what was asked for on approval: the first of them
	all    string // likewise: both
}

func holdTrial() Trial {
	open := func(w *World) heldStones {
		stones := idsOf(stonesOnSale(w, 2))
		h := heldStones{stones: stones}
		var err error
		h.goods, err = askFor(w, typev1.GoodsKind_GOODS_KIND_APPROVAL, stones[0])
		w.Must(err)
		h.all, err = askFor(w, typev1.GoodsKind_GOODS_KIND_APPROVAL, stones...)
		w.Must(err)
		h.id, err = holdThem(w, stones...)
		w.Must(err)
		return h
	}
	release := func(w *World, h heldStones) (heldStones, error) {
		_, err := w.Jeweller.Jeweller().ReleaseHold(w.Ctx(), &jewellerv1.ReleaseHoldRequest{RequestId: command.NewID(), HoldId: h.id})
		return h, err
	}
	then := func(do func(*World, heldStones) error) []Recipe[heldStones] {
		return []Recipe[heldStones]{{Make: func(w *World) heldStones {
			h := open(w)
			w.Must(do(w, h))
			return h
		}}}
	}
	held := []string{"open", "used"}
	const apart = "the stones of a hold that never was or is over can be had like any others"
	return Thing[heldStones]{
		Table: hold.Table,
		In: map[string][]Recipe[heldStones]{
			stage.None: {{Make: func(w *World) heldStones { return heldStones{id: nothing, stones: idsOf(stonesOnSale(w, 2))} }}},
			"open":     {{Make: open}},
			"ended":    then(func(w *World, _ heldStones) error { w.Advance(time.Hour); return nil }),
			"released": then(func(w *World, h heldStones) error { _, err := release(w, h); return err }),
			"used":     then(func(w *World, h heldStones) error { _, err := buyStones(w, h.stones...); return err }),
		},
		Do: map[string][]Call[heldStones]{
			"JewellerService/HoldStones": {{Fresh: true, Do: func(w *World, h heldStones) (heldStones, error) {
				id, err := holdThem(w, h.stones...)
				h.id = id
				return h, err
			}}},
			"JewellerService/ReleaseHold": {{Do: release}},
			"JewellerService/PlaceOrder": {
				{Name: "all", In: held, Do: func(w *World, h heldStones) (heldStones, error) { _, err := buyStones(w, h.stones...); return h, err }},
				{Name: "some", In: held, Do: func(w *World, h heldStones) (heldStones, error) { _, err := buyStones(w, h.stones[0]); return h, err }},
			},
			"CutterService/SendOnApproval": {
				{Name: "all", In: held, Do: func(w *World, h heldStones) (heldStones, error) {
					return h, sendGoods(w, h.all, typev1.Bearer_BEARER_CUTTER, h.stones...)
				}},
				{Name: "some", In: held, Do: func(w *World, h heldStones) (heldStones, error) {
					return h, sendGoods(w, h.goods, typev1.Bearer_BEARER_CUTTER, h.stones[0])
				}},
			},
			Time: {{Do: func(w *World, h heldStones) (heldStones, error) { w.Advance(time.Hour); return h, nil }}},
		},
		Apart: map[string]string{"JewellerService/PlaceOrder": apart, "CutterService/SendOnApproval": apart},
		State: func(w *World, h heldStones) string {
			got, err := w.Jeweller.Jeweller().GetHold(w.Ctx(), &jewellerv1.GetHoldRequest{HoldId: h.id})
			if err != nil {
				return stage.None
			}
			return []string{"", "open", "ended", "released", "used"}[got.GetHold().GetState()]
		},
	}
}

func wantedTrial() Trial {
	looked := &typev1.Wish{Outline: typev1.Outline_OUTLINE_OVAL, Colours: "green"}
	post := func(w *World, _ string) (string, error) {
		posted, err := w.Jeweller.Jeweller().PostWanted(w.Ctx(), &jewellerv1.PostWantedRequest{RequestId: command.NewID(), Wish: looked})
		return posted.GetWanted().GetId(), err
	}
	closeIt := func(w *World, id string) (string, error) {
		_, err := w.Jeweller.Jeweller().CloseWanted(w.Ctx(), &jewellerv1.CloseWantedRequest{RequestId: command.NewID(), WantedId: id})
		return id, err
	}
	up := func(w *World) string {
		id, err := post(w, "")
		w.Must(err)
		return id
	}
	return Thing[string]{
		Table: wish.Table,
		In: map[string][]Recipe[string]{
			stage.None: {{Make: func(*World) string { return nothing }}},
			"up":       {{Make: up}},
			"taken down": {{Make: func(w *World) string {
				id, err := closeIt(w, up(w))
				w.Must(err)
				return id
			}}},
		},
		Do: map[string][]Call[string]{
			"JewellerService/PostWanted": {{Fresh: true, Do: post}},
			"JewellerService/ChangeWanted": {{Do: func(w *World, id string) (string, error) {
				_, err := w.Jeweller.Jeweller().ChangeWanted(w.Ctx(), &jewellerv1.ChangeWantedRequest{RequestId: command.NewID(), WantedId: id, Wish: looked, ShowsName: true})
				return id, err
			}}},
			"JewellerService/CloseWanted": {{Do: closeIt}},
		},
		State: func(w *World, id string) string {
			list, err := w.Jeweller.Jeweller().ListWanted(w.Ctx(), &jewellerv1.ListWantedRequest{PageSize: 200})
			w.Must(err)
			for _, n := range list.GetWanted() {
				switch {
				case n.GetId() == id && n.GetClosed():
					return "taken down"
				case n.GetId() == id:
					return "up"
				}
			}
			return stage.None
		},
	}
}

// goods are goods on approval or consignment.
type goods struct {
	id     string
	stones []string
}

func goodsTrial(table stage.Table, kind typev1.GoodsKind) Trial {
	const loss = typev1.Bearer_BEARER_CUTTER
	asked := func(w *World, n int) goods {
		g := goods{stones: idsOf(stonesOnSale(w, n))}
		var err error
		g.id, err = askFor(w, kind, g.stones...)
		w.Must(err)
		return g
	}
	out := func(n int, bearer typev1.Bearer) func(*World) goods {
		return func(w *World) goods {
			g := asked(w, n)
			w.Must(sendGoods(w, g.id, bearer, g.stones...))
			return g
		}
	}
	overdue := func(n int, bearer typev1.Bearer) func(*World) goods {
		return func(w *World) goods {
			g := out(n, bearer)(w)
			w.Advance(5 * 24 * time.Hour)
			return g
		}
	}
	withdraw := func(w *World, g goods) (goods, error) {
		_, err := w.Jeweller.Jeweller().WithdrawApproval(w.Ctx(), &jewellerv1.WithdrawApprovalRequest{RequestId: command.NewID(), ApprovalId: g.id})
		return g, err
	}
	decline := func(w *World, g goods) (goods, error) {
		_, err := w.Cutter.Cutter().DeclineApproval(w.Ctx(), &cutterv1.DeclineApprovalRequest{RequestId: command.NewID(), ApprovalId: g.id, Why: "they are promised"})
		return g, err
	}
	then := func(before func(*World) goods, do func(*World, goods) error) func(*World) goods {
		return func(w *World) goods {
			g := before(w)
			w.Must(do(w, g))
			return g
		}
	}
	first := func(do func(*World, string, string) error) func(*World, goods) (goods, error) {
		return func(w *World, g goods) (goods, error) { return g, do(w, g.id, g.stones[0]) }
	}
	lost := func(w *World, g goods) error { return reportLoss(w, g.id, g.stones[0], false) }
	return Thing[goods]{
		Table: table,
		In: map[string][]Recipe[goods]{
			stage.None:  {{Make: func(w *World) goods { return goods{nothing, idsOf(stonesOnSale(w, 1))} }}},
			"asked for": {{Make: func(w *World) goods { return asked(w, 2) }}},
			"out":       {{Name: "two", Make: out(2, loss)}, {Name: "one", Make: out(1, loss)}, {Name: "at the jeweller's cost", Make: out(1, typev1.Bearer_BEARER_JEWELLER)}},
			"overdue":   {{Name: "two", Make: overdue(2, loss)}, {Name: "one", Make: overdue(1, loss)}, {Name: "over at the jeweller's cost", Make: overdue(1, typev1.Bearer_BEARER_JEWELLER)}},
			"settled": {
				{Name: "lost at the cutter's cost", Make: then(out(1, loss), lost)},
				{Name: "lost at the jeweller's cost", Make: then(out(1, typev1.Bearer_BEARER_JEWELLER), lost)},
				{Name: "bought", Make: then(out(1, loss), func(w *World, g goods) error { return buyFrom(w, g.id, g.stones...) })},
				{Name: "back", Make: then(out(1, loss), func(w *World, g goods) error { return goodsBack(w, g.id, g.stones[0]) })},
			},
			"declined":  {{Make: then(func(w *World) goods { return asked(w, 1) }, func(w *World, g goods) error { _, err := decline(w, g); return err })}},
			"withdrawn": {{Make: then(func(w *World) goods { return asked(w, 1) }, func(w *World, g goods) error { _, err := withdraw(w, g); return err })}},
		},
		Do: map[string][]Call[goods]{
			"JewellerService/AskForApproval": {{Fresh: true, Do: func(w *World, g goods) (goods, error) {
				id, err := askFor(w, kind, g.stones...)
				return goods{id, g.stones}, err
			}}},
			"JewellerService/WithdrawApproval": {{Do: withdraw}},
			"CutterService/DeclineApproval":    {{Do: decline}},
			"CutterService/SendOnApproval": {{Do: func(w *World, g goods) (goods, error) {
				return g, sendGoods(w, g.id, loss, g.stones...)
			}}},
			"CutterService/ExtendApproval": {{Do: func(w *World, g goods) (goods, error) {
				_, err := w.Cutter.Cutter().ExtendApproval(w.Ctx(), &cutterv1.ExtendApprovalRequest{RequestId: command.NewID(), ApprovalId: g.id, DueAt: w.Now().Add(10 * 24 * time.Hour).Format(time.RFC3339)})
				return g, err
			}}},
			"JewellerService/BuyFromApproval":    {{Do: first(func(w *World, id, stone string) error { return buyFrom(w, id, stone) })}},
			"JewellerService/ReportLoss":         {{Do: first(func(w *World, id, stone string) error { return reportLoss(w, id, stone, false) })}},
			"CutterService/RecordApprovalLoss":   {{With: []string{"two", "one", "over at the jeweller's cost"}, Do: first(func(w *World, id, stone string) error { return recordLoss(w, id, stone, true) })}},
			"CutterService/TakeBackFromApproval": {{With: []string{"two", "one", "lost at the cutter's cost"}, Do: first(goodsBack)}},
			Time:                                 {{Do: func(w *World, g goods) (goods, error) { w.Advance(6 * 24 * time.Hour); return g, nil }}},
		},
		State: func(w *World, g goods) string {
			got, err := w.Jeweller.Jeweller().GetApproval(w.Ctx(), &jewellerv1.GetApprovalRequest{ApprovalId: g.id})
			if err != nil {
				return stage.None
			}
			return []string{"", "asked for", "out", "overdue", "settled", "declined", "withdrawn"}[got.GetApproval().GetState()]
		},
	}
}

// selling is a stone on its way, another that makes a pair with it, and what it is
// asked for, held and ordered by.
type selling struct {
	id, other          string
	goods, hold, order string
	agreed             string // a promise of a stone like it, accepted
}

func sellingTrial() Trial {
	ask := func(w *World, s *selling) {
		var err error
		s.goods, err = askFor(w, typev1.GoodsKind_GOODS_KIND_APPROVAL, s.id)
		w.Must(err)
	}
	off := func(w *World, id string) error {
		_, err := w.Cutter.Cutter().TakeOffSale(w.Ctx(), &cutterv1.TakeOffSaleRequest{RequestId: command.NewID(), StoneId: id})
		return err
	}
	onSale := func(w *World) selling {
		stones := idsOf(stonesOnSale(w, 2))
		s := selling{id: stones[0], other: stones[1], hold: nothing, order: nothing, agreed: promiseOval(w)}
		ask(w, &s)
		return s
	}
	pair := func(w *World, s selling) error {
		_, err := w.Cutter.Cutter().OfferSet(w.Ctx(), &cutterv1.OfferSetRequest{RequestId: command.NewID(), Kind: typev1.SetKind_SET_KIND_PAIR, Stones: []*cutterv1.SetStone{
			{StoneId: s.id, Price: cooptest.AUD(50000)}, {StoneId: s.other, Price: cooptest.AUD(50000)},
		}})
		return err
	}
	holds := func(w *World, s selling) (selling, error) {
		id, err := holdThem(w, s.id)
		s.hold = id
		return s, err
	}
	orders := func(w *World, s selling) (selling, error) {
		id, err := buyStones(w, s.id)
		s.order = id
		return s, err
	}
	out := func(bearer typev1.Bearer) func(*World) selling {
		return func(w *World) selling {
			s := onSale(w)
			w.Must(sendGoods(w, s.goods, bearer, s.id))
			return s
		}
	}
	then := func(do func(*World, selling) (selling, error)) func(*World) selling {
		return func(w *World) selling {
			s, err := do(w, onSale(w))
			w.Must(err)
			return s
		}
	}
	lose := func(broken bool) func(*World) selling {
		return func(w *World) selling {
			s := out(typev1.Bearer_BEARER_CUTTER)(w)
			w.Must(reportLoss(w, s.goods, s.id, broken))
			return s
		}
	}
	keep := func(do func(*World, selling) error) func(*World, selling) (selling, error) {
		return func(w *World, s selling) (selling, error) { return s, do(w, s) }
	}
	return Thing[selling]{
		Table: stone.SellingTable,
		In: map[string][]Recipe[selling]{
			stage.None:        {{Make: func(*World) selling { return selling{nothing, nothing, nothing, nothing, nothing, nothing} }}},
			"with its cutter": {{Make: then(func(w *World, s selling) (selling, error) { return s, off(w, s.id) })}},
			"on sale":         {{Make: onSale}},
			"held":            {{Make: then(holds)}},
			"sold": {{Name: "ordered", Make: then(orders)}, {Name: "bought from approval", Make: func(w *World) selling {
				s := out(typev1.Bearer_BEARER_CUTTER)(w)
				w.Must(buyFrom(w, s.goods, s.id))
				return s
			}}},
			"out": {{Name: "cutter bears", Make: out(typev1.Bearer_BEARER_CUTTER)}, {Name: "jeweller bears", Make: out(typev1.Bearer_BEARER_JEWELLER)}, {Name: "jeweller bears, overdue", Make: func(w *World) selling {
				s := out(typev1.Bearer_BEARER_JEWELLER)(w)
				w.Advance(5 * 24 * time.Hour)
				return s
			}}},
			"lost":   {{Make: lose(false)}},
			"broken": {{Make: lose(true)}},
		},
		Do: map[string][]Call[selling]{
			"CutterService/PutStoneOnSale": {{Do: keep(func(w *World, s selling) error {
				_, err := w.Cutter.Cutter().PutStoneOnSale(w.Ctx(), &cutterv1.PutStoneOnSaleRequest{RequestId: command.NewID(), StoneId: s.id, Price: cooptest.AUD(50000)})
				return err
			})}},
			"CutterService/OfferSet":       {{Do: keep(pair)}},
			"CutterService/DeliverPromise": {{Do: keep(func(w *World, s selling) error { _, err := deliverOval(w, s.agreed, s.id); return err })}},
			"CutterService/TakeOffSale":    {{Do: keep(func(w *World, s selling) error { return off(w, s.id) })}},
			"JewellerService/HoldStones":   {{Do: holds}},
			"JewellerService/PlaceOrder":   {{Do: orders}},
			"CutterService/SendOnApproval": {{Do: keep(func(w *World, s selling) error { return sendGoods(w, s.goods, typev1.Bearer_BEARER_CUTTER, s.id) })}},
			"JewellerService/ReleaseHold": {{Do: keep(func(w *World, s selling) error {
				_, err := w.Jeweller.Jeweller().ReleaseHold(w.Ctx(), &jewellerv1.ReleaseHoldRequest{RequestId: command.NewID(), HoldId: s.hold})
				return err
			})}},
			"JewellerService/CancelOrder": {{With: []string{"ordered"}, Do: keep(func(w *World, s selling) error {
				_, err := w.Jeweller.Jeweller().CancelOrder(w.Ctx(), &jewellerv1.CancelOrderRequest{RequestId: command.NewID(), OrderId: s.order, Why: "the customer left"})
				return err
			})}},
			"CutterService/CallOffUnpaidOrder":   {{With: []string{"ordered"}, In: []string{stone.SoldState}, Do: keep(func(w *World, s selling) error { return notPaid(w, s.order) })}},
			"CutterService/AcceptReturn":         {{Do: keep(func(w *World, s selling) error { return acceptReturn(w, s.id) })}},
			"JewellerService/BuyFromApproval":    {{Do: keep(func(w *World, s selling) error { return buyFrom(w, s.goods, s.id) })}},
			"CutterService/TakeBackFromApproval": {{Do: keep(func(w *World, s selling) error { return goodsBack(w, s.goods, s.id) })}},
			"JewellerService/ReportLoss": {
				{Name: "lost", Do: keep(func(w *World, s selling) error { return reportLoss(w, s.goods, s.id, false) })},
				{Name: "broken", Do: keep(func(w *World, s selling) error { return reportLoss(w, s.goods, s.id, true) })},
			},
			"CutterService/RecordApprovalLoss": {
				{Name: "lost", With: []string{"cutter bears", "jeweller bears, overdue"}, Do: keep(func(w *World, s selling) error { return recordLoss(w, s.goods, s.id, false) })},
				{Name: "broken", With: []string{"cutter bears", "jeweller bears, overdue"}, Do: keep(func(w *World, s selling) error { return recordLoss(w, s.goods, s.id, true) })},
			},
			Time: {{Do: func(w *World, s selling) (selling, error) { w.Advance(time.Hour); return s, nil }}},
		},
		Apart: map[string]string{"CutterService/CallOffUnpaidOrder": "it is of an order, whose days pass until then: holds end by themselves"},
		State: func(w *World, s selling) string {
			got, err := w.Cutter.Cutter().GetStone(w.Ctx(), &cutterv1.GetStoneRequest{StoneId: s.id})
			if err != nil {
				return stage.None
			}
			switch st := got.GetStone(); {
			case st.GetHeldUntil() != "":
				return "held"
			case st.GetState() == typev1.StoneState_STONE_STATE_IN_STOCK:
				return "with its cutter"
			default:
				return map[typev1.StoneState]string{
					typev1.StoneState_STONE_STATE_ON_SALE: stone.Offered, typev1.StoneState_STONE_STATE_SOLD: stone.SoldState,
					typev1.StoneState_STONE_STATE_OUT: "out", typev1.StoneState_STONE_STATE_LOST: "lost", typev1.StoneState_STONE_STATE_BROKEN: "broken",
				}[st.GetState()]
			}
		},
	}
}

func acceptReturn(w *World, id string) error {
	m := asMeasured(id)
	_, err := w.Cutter.Cutter().AcceptReturn(w.Ctx(), &cutterv1.AcceptReturnRequest{RequestId: command.NewID(), StoneId: id, Weighing: m.GetWeighing(), Size: m.GetSize(), Why: "the setting was changed"})
	return err
}

// promiseOval is a promise of a stone like those of stonesOnSale, accepted.
func promiseOval(w *World) string {
	m := asMeasured(nothing)
	got, err := w.Cutter.Cutter().PromiseStones(w.Ctx(), &cutterv1.PromiseStonesRequest{
		RequestId: command.NewID(), JewellerId: w.Jeweller.Member, DueAt: w.Now().Add(720 * time.Hour).Format(time.RFC3339),
		Items: []*typev1.PromisedStone{{Outline: typev1.Outline_OUTLINE_OVAL, Size: m.GetSize(), Kind: typev1.Kind_KIND_BOULDER, Price: cooptest.AUD(50000)}},
	})
	w.Must(err)
	_, err = w.Jeweller.Jeweller().AcceptPromise(w.Ctx(), &jewellerv1.AcceptPromiseRequest{RequestId: command.NewID(), PromiseId: got.GetPromise().GetId()})
	w.Must(err)
	return got.GetPromise().GetId()
}

// deliverOval gives the order that it went into.
func deliverOval(w *World, promiseID, stoneID string) (string, error) {
	got, err := w.Cutter.Cutter().DeliverPromise(w.Ctx(), &cutterv1.DeliverPromiseRequest{RequestId: command.NewID(), PromiseId: promiseID, StoneIds: []string{stoneID}})
	return got.GetPromise().GetOrderId(), err
}
