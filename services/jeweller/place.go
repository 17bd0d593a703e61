package jeweller

import (
	"context"
	"fmt"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/stream"
	"seamshare.example/services/wire"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// PlaceOrder implements jewellerv1.JewellerServiceServer. One decision spans the order
// and all its stones: either each is on sale at the price the caller saw, or nothing
// happens and every item that stands in the way is named.
func (s *Server) PlaceOrder(ctx context.Context, req *jewellerv1.PlaceOrderRequest) (*jewellerv1.PlaceOrderResponse, error) {
	me, id := access.Caller(ctx).Member, command.NewID()
	var unreadable rule.All
	seen := make([]*eventv1.Amount, len(req.GetItems()))
	for i, item := range req.GetItems() {
		seen[i] = wire.Amount(&unreadable, fmt.Sprintf("items[%d].price", i), item.GetPrice())
	}
	did, err := command.Run(ctx, s.node, req, stream.Order, func(tx *eventstore.Tx) (*command.Thing[order.State], error) {
		if err := unreadable.Err(); err != nil {
			return nil, err
		}
		purchase, err := command.Open(tx, stream.Order, id)
		if err != nil {
			return nil, err
		}
		var broken rule.All
		currency, err := order.OneCurrency(seen)
		if err := broken.Merge("", err); err != nil {
			return nil, err
		}
		lines := make([]order.Line, len(seen))
		stones := make([]*command.Thing[stone.State], len(seen))
		sold := make([]*stonev1.Event, len(seen))
		for i, item := range req.GetItems() {
			if stones[i], err = command.Open(tx, stream.Stone, item.GetStoneId()); err != nil {
				return nil, err
			}
			sold[i], err = stones[i].State.Sell(me, id, seen[i], fmt.Sprintf("items[%d]", i))
			if err := broken.Merge("", err); err != nil {
				return nil, err
			}
			facts := stones[i].State.Facts
			lines[i] = order.Line{
				StoneID: item.GetStoneId(), ParcelID: facts.GetParcelId(), Seller: facts.GetCutterId(), Price: seen[i].GetMinor(),
			}
		}
		placed, err := purchase.State.Place(id, me, currency, lines)
		if err := broken.Merge("", err); err != nil {
			return nil, err
		}
		if err := broken.Err(); err != nil {
			return nil, err
		}
		purchase.Record(placed)
		for i := range stones {
			stones[i].Record(sold[i])
		}
		return purchase, nil
	})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.PlaceOrderResponse{Order: wire.Order(did.State), Position: uint64(did.Position)}, nil
}
