package jeweller

import (
	"context"
	"time"

	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/stream"
	"seamshare.example/services/wire"

	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
)

// own runs a command on one order; that it is the caller's is the order's rule.
func (s *Server) own(ctx context.Context, req command.Request, id string, decide func(*eventstore.Tx, *command.Thing[order.State]) (*orderv1.Event, error)) (*jewellerv1.Order, uint64, error) {
	did, err := command.Run(ctx, s.node, req, stream.Order, func(tx *eventstore.Tx) (*command.Thing[order.State], error) {
		purchase, err := command.Open(tx, stream.Order, id)
		if err != nil {
			return nil, err
		}
		event, err := decide(tx, purchase)
		if err != nil {
			return nil, err
		}
		purchase.Record(event)
		return purchase, nil
	})
	if err != nil {
		return nil, 0, err
	}
	return wire.Order(did.State), uint64(did.Position), nil
}

// CancelOrder implements jewellerv1.JewellerServiceServer. Its stones are on sale again
// as they were, its portions are back in their lots, sold out ones on sale again too.
func (s *Server) CancelOrder(ctx context.Context, req *jewellerv1.CancelOrderRequest) (*jewellerv1.CancelOrderResponse, error) {
	me := access.Caller(ctx).Member
	shown, position, err := s.own(ctx, req, req.GetOrderId(), func(tx *eventstore.Tx, o *command.Thing[order.State]) (*orderv1.Event, error) {
		cancelled, err := o.State.Cancel(me, req.GetWhy())
		if err != nil {
			return nil, err
		}
		for _, l := range o.State.Lines {
			if err := command.CallOff(tx, o.ID, l, req.GetWhy()); err != nil {
				return nil, err
			}
		}
		return cancelled, nil
	})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.CancelOrderResponse{Order: shown, Position: position}, nil
}

// ReceiveOrder implements jewellerv1.JewellerServiceServer.
func (s *Server) ReceiveOrder(ctx context.Context, req *jewellerv1.ReceiveOrderRequest) (*jewellerv1.ReceiveOrderResponse, error) {
	me := access.Caller(ctx).Member
	shown, position, err := s.own(ctx, req, req.GetOrderId(), func(tx *eventstore.Tx, o *command.Thing[order.State]) (*orderv1.Event, error) {
		settings, err := command.Settings(tx, s.node.Coop(), tx.Now())
		if err != nil {
			return nil, err
		}
		const day = 24 * time.Hour
		now := tx.Now()
		return o.State.Receive(me, readArrived(o.State, req.GetStones()), now.Add(time.Duration(settings.ReturnDays)*day), now.Add(time.Duration(settings.ClaimDays)*day))
	})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.ReceiveOrderResponse{Order: shown, Position: position}, nil
}

// readArrived reads what the jeweller measured, and holds it against what was sent.
func readArrived(o order.State, stones []*typev1.Measured) (measured []order.MeasuredStone) {
	for _, m := range stones {
		arrived := order.MeasuredStone{StoneID: m.GetStoneId(), Measured: wire.ReadMeasured(m)}
		if l, ok := o.Line(m.GetStoneId()); ok && l.Sent != nil {
			differs := stone.Differs(l.Sent, arrived.Measured)
			arrived.Before, arrived.MassDiffers, arrived.SizeDiffers = l.Sent, differs.Mass, differs.Size
		}
		measured = append(measured, arrived)
	}
	return measured
}

// AskReturn implements jewellerv1.JewellerServiceServer.
func (s *Server) AskReturn(ctx context.Context, req *jewellerv1.AskReturnRequest) (*jewellerv1.AskReturnResponse, error) {
	me := access.Caller(ctx).Member
	shown, position, err := s.own(ctx, req, req.GetOrderId(), func(tx *eventstore.Tx, o *command.Thing[order.State]) (*orderv1.Event, error) {
		return o.State.AskReturn(me, req.GetStoneIds(), req.GetWhy(), tx.Now())
	})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.AskReturnResponse{Order: shown, Position: position}, nil
}

// ClaimDamage implements jewellerv1.JewellerServiceServer.
func (s *Server) ClaimDamage(ctx context.Context, req *jewellerv1.ClaimDamageRequest) (*jewellerv1.ClaimDamageResponse, error) {
	me := access.Caller(ctx).Member
	shown, position, err := s.own(ctx, req, req.GetOrderId(), func(tx *eventstore.Tx, o *command.Thing[order.State]) (*orderv1.Event, error) {
		return o.State.ClaimDamage(me, order.Claim{
			StoneID: req.GetStoneId(), Damage: orderv1.Damage(req.GetDamage()), Words: req.GetWords(), Photo: wire.PhotoIn(req.GetPhoto()),
		}, tx.Now())
	})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.ClaimDamageResponse{Order: shown, Position: position}, nil
}
