package jeweller

import (
	"context"
	"fmt"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/lot"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/stream"
	"seamshare.example/services/wire"

	lotv1 "seamshare.example/proto/gen/seamshare/event/lot/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// PlaceOrder implements jewellerv1.JewellerServiceServer. One decision spans the order,
// all its stones and lots, and the holds they come out of: either each is on sale at the
// price the caller saw, or nothing happens and every item that stands in the way is
// named.
func (s *Server) PlaceOrder(ctx context.Context, req *jewellerv1.PlaceOrderRequest) (*jewellerv1.PlaceOrderResponse, error) {
	me, id := access.Caller(ctx).Member, command.NewID()
	var unreadable rule.All
	var seen, perUnit []*eventv1.Amount
	for i, item := range req.GetItems() {
		seen = append(seen, wire.Amount(&unreadable, fmt.Sprintf("items[%d].price", i), item.GetPrice()))
	}
	for i, item := range req.GetLots() {
		perUnit = append(perUnit, wire.Amount(&unreadable, fmt.Sprintf("lots[%d].price", i), item.GetPrice()))
	}
	deposit := wire.Amount(&unreadable, "deposit", req.GetDeposit())
	did, err := command.Run(ctx, s.node, req, stream.Order, func(tx *eventstore.Tx) (*command.Thing[order.State], error) {
		if err := unreadable.Err(); err != nil {
			return nil, err
		}
		purchase, err := command.Open(tx, stream.Order, id)
		if err != nil {
			return nil, err
		}
		var broken rule.All
		currency, err := order.OneCurrency(append(append([]*eventv1.Amount{}, seen...), perUnit...))
		if err := broken.Merge("", err); err != nil {
			return nil, err
		}
		stones, sold, lines, err := s.sell(tx, &broken, req, me, id, seen)
		if err != nil {
			return nil, err
		}
		lots, portions, more, err := portion(tx, &broken, req, me, id, perUnit)
		if err != nil {
			return nil, err
		}
		settings, err := command.Settings(tx, s.node.Coop(), tx.Now())
		if err != nil {
			return nil, err
		}
		placed, err := purchase.State.Place(id, me, currency, append(lines, more...), order.Terms{Deposit: deposit, PayBy: command.PayBy(settings, tx.Now())})
		if err := broken.Merge("", err); err != nil {
			return nil, err
		}
		if err := broken.Err(); err != nil {
			return nil, err
		}
		if err := command.UseHolds(tx, me, stones, id, "", tx.Now()); err != nil {
			return nil, err
		}
		purchase.Record(placed)
		for i := range stones {
			stones[i].Record(sold[i])
		}
		for i := range lots {
			lots[i].Record(portions[i])
		}
		return purchase, nil
	})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.PlaceOrderResponse{Order: wire.Order(did.State), Position: uint64(did.Position)}, nil
}

// sell asks each stone of the request whether it is sold, and notes what stands in the
// way.
func (s *Server) sell(tx *eventstore.Tx, broken *rule.All, req *jewellerv1.PlaceOrderRequest, me, orderID string, seen []*eventv1.Amount) (stones []*command.Thing[stone.State], sold []*stonev1.Event, lines []order.Line, err error) {
	taking := stone.Taking{Jeweller: me, Now: tx.Now()}
	for _, item := range req.GetItems() {
		taking.Together = append(taking.Together, item.GetStoneId())
	}
	if stones, err = command.Together(tx, taking.Together); err != nil {
		return nil, nil, nil, err
	}
	for i, st := range stones {
		event, err := st.State.Sell(taking, orderID, seen[i], fmt.Sprintf("items[%d]", i))
		if err := broken.Merge("", err); err != nil {
			return nil, nil, nil, err
		}
		facts := st.State.Facts
		sold = append(sold, event)
		lines = append(lines, order.Line{
			StoneID: st.ID, ParcelID: facts.GetParcelId(), Seller: facts.GetCutterId(), SetID: st.State.Set.ID, Price: seen[i].GetMinor(),
		})
	}
	return stones, sold, lines, nil
}

// portion asks each lot of the request for a portion.
func portion(tx *eventstore.Tx, broken *rule.All, req *jewellerv1.PlaceOrderRequest, me, orderID string, perUnit []*eventv1.Amount) (lots []*command.Thing[lot.State], sold []*lotv1.Event, lines []order.Line, err error) {
	for i, item := range req.GetLots() {
		from, err := command.Open(tx, stream.Lot, item.GetLotId())
		if err != nil {
			return nil, nil, nil, err
		}
		event, err := from.State.Sell(lot.Taking{
			Buyer: me, OrderID: orderID, Count: item.GetCount(), Weighing: wire.ReadWeighing(item.GetWeighing()),
			Unit: lotv1.Unit(item.GetUnit()), Price: perUnit[i],
		}, fmt.Sprintf("lots[%d]", i))
		if err := broken.Merge("", err); err != nil {
			return nil, nil, nil, err
		}
		facts, price, weighing := from.State.Facts, perUnit[i].GetMinor(), wire.ReadWeighing(item.GetWeighing()) // a refused portion has no price of its own
		if event != nil {
			price, weighing = event.GetPortionSold().GetPrivate().GetPrice().GetMinor(), event.GetPortionSold().GetPublic().GetWeighing()
		}
		lots, sold = append(lots, from), append(sold, event)
		lines = append(lines, order.Line{
			LotID: from.ID, ParcelID: facts.GetParcelId(), Seller: facts.GetCutterId(), Price: price,
			Count: item.GetCount(), Weighing: weighing,
		})
	}
	return lots, sold, lines, nil
}
