package cutter

import (
	"context"
	"fmt"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"

	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
)

// sale runs a command on one order that holds something of the caller; that it does is
// the order's rule.
func (s *Server) sale(ctx context.Context, req command.Request, id string, decide func(*eventstore.Tx, *command.Thing[order.State]) ([]*orderv1.Event, error)) (*cutterv1.Sale, uint64, error) {
	me, buyer := access.Caller(ctx).Member, ""
	did, err := command.Run(ctx, s.node, req, stream.Order, func(tx *eventstore.Tx) (*command.Thing[order.State], error) {
		purchase, err := command.Open(tx, stream.Order, id)
		if err != nil {
			return nil, err
		}
		if !purchase.State.Sells(me) {
			return nil, rule.NotThere("order_id", "order")
		}
		events, err := decide(tx, purchase)
		if err != nil {
			return nil, err
		}
		for _, event := range events {
			purchase.Record(event)
		}
		return purchase, nil
	})
	if err != nil {
		return nil, 0, err
	}
	_, err = query.At(ctx, s.node, uint64(did.Position), func(q *eventstore.Query) (err error) {
		buyer, err = tradesAs(q, did.State.Buyer)
		return err
	})
	if err != nil {
		return nil, 0, err
	}
	return wire.Sale(did.State, me, buyer), uint64(did.Position), nil
}

// tradesAs is the name a member trades under.
func tradesAs(l eventstore.Loader, memberID string) (string, error) {
	m, _, err := eventstore.Load(l, stream.Member, memberID)
	return m.TradingName, err
}

// GetSale implements cutterv1.CutterServiceServer.
func (s *Server) GetSale(ctx context.Context, req *cutterv1.GetSaleRequest) (*cutterv1.GetSaleResponse, error) {
	me, out := access.Caller(ctx).Member, &cutterv1.GetSaleResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) (err error) {
		out.Sale, err = showSale(q, me, req.GetOrderId())
		return err
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// ListSales implements cutterv1.CutterServiceServer.
func (s *Server) ListSales(ctx context.Context, req *cutterv1.ListSalesRequest) (*cutterv1.ListSalesResponse, error) {
	me, v := access.Caller(ctx).Member, view.Selling{}
	sales, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			return v.SalesOf(q.View(v.Name()), me, after, limit)
		},
		func(q *eventstore.Query, id string) (*cutterv1.Sale, error) { return showSale(q, me, id) })
	if err != nil {
		return nil, err
	}
	return &cutterv1.ListSalesResponse{Sales: sales, NextPageToken: next, Position: position}, nil
}

func showSale(q *eventstore.Query, me, id string) (*cutterv1.Sale, error) {
	o, _, err := eventstore.Load(q, stream.Order, id)
	if err == nil && (o.ID == "" || !o.Sells(me)) {
		err = rule.NotThere("order_id", "order")
	}
	if err != nil {
		return nil, err
	}
	buyer, err := tradesAs(q, o.Buyer)
	return wire.Sale(o, me, buyer), err
}

// DispatchOrder implements cutterv1.CutterServiceServer.
func (s *Server) DispatchOrder(ctx context.Context, req *cutterv1.DispatchOrderRequest) (*cutterv1.DispatchOrderResponse, error) {
	me := access.Caller(ctx).Member
	shown, position, err := s.sale(ctx, req, req.GetOrderId(), func(tx *eventstore.Tx, o *command.Thing[order.State]) ([]*orderv1.Event, error) {
		var leaving []order.MeasuredStone
		for _, m := range req.GetStones() {
			st, _, err := eventstore.Load(tx, stream.Stone, m.GetStoneId())
			if err != nil {
				return nil, err
			}
			before, measured := st.Measured(), wire.ReadMeasured(m)
			differs := stone.Differs(before, measured)
			leaving = append(leaving, order.MeasuredStone{StoneID: m.GetStoneId(), Measured: measured, Before: before, MassDiffers: differs.Mass, SizeDiffers: differs.Size})
		}
		var portions []*orderv1.SentPortion
		for _, p := range req.GetLots() {
			portions = append(portions, &orderv1.SentPortion{LotId: p.GetLotId(), Count: p.GetCount(), Weighing: wire.ReadWeighing(p.GetWeighing())})
		}
		sent, err := o.State.Dispatch(me, leaving, req.GetCarrier(), req.GetReference(), portions...)
		if err != nil {
			return nil, err
		}
		var broken rule.All
		for i, p := range portions {
			l, _, err := eventstore.Load(tx, stream.Lot, p.GetLotId())
			if err != nil {
				return nil, err
			}
			if err := broken.Merge(fmt.Sprintf("lots[%d]", i), l.Send(o.ID, p.GetCount(), p.GetWeighing())); err != nil {
				return nil, err
			}
		}
		return []*orderv1.Event{sent}, broken.Err()
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.DispatchOrderResponse{Sale: shown, Position: position}, nil
}

// AnswerDamageClaim implements cutterv1.CutterServiceServer.
func (s *Server) AnswerDamageClaim(ctx context.Context, req *cutterv1.AnswerDamageClaimRequest) (*cutterv1.AnswerDamageClaimResponse, error) {
	me := access.Caller(ctx).Member
	var unreadable rule.All
	reduction := wire.Amount(&unreadable, "reduction", req.GetReduction())
	shown, position, err := s.sale(ctx, req, req.GetOrderId(), func(_ *eventstore.Tx, o *command.Thing[order.State]) ([]*orderv1.Event, error) {
		if err := unreadable.Err(); err != nil {
			return nil, err
		}
		return o.State.AnswerDamage(me, req.GetStoneId(), orderv1.DamageAnswer(req.GetAnswer()), reduction, req.GetWords())
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.AnswerDamageClaimResponse{Sale: shown, Position: position}, nil
}

// CallOffUnpaidOrder implements cutterv1.CutterServiceServer. The caller's stones are on
// sale again as they were, their portions back in their lots; what others sold in the
// order stays sold.
func (s *Server) CallOffUnpaidOrder(ctx context.Context, req *cutterv1.CallOffUnpaidOrderRequest) (*cutterv1.CallOffUnpaidOrderResponse, error) {
	me := access.Caller(ctx).Member
	shown, position, err := s.sale(ctx, req, req.GetOrderId(), func(tx *eventstore.Tx, o *command.Thing[order.State]) ([]*orderv1.Event, error) {
		buyer, err := tradesAs(tx, o.State.Buyer)
		if err != nil {
			return nil, err
		}
		if err := wire.Unchanged(req.GetEtag(), func() *cutterv1.Sale { return wire.Sale(o.State, me, buyer) }); err != nil {
			return nil, err
		}
		events, err := o.State.CallOffUnpaid(me, req.GetWhy(), tx.Now())
		if err != nil {
			return nil, err
		}
		for _, l := range o.State.Lines {
			if l.Seller != me || l.Returned {
				continue
			}
			if err := command.CallOff(tx, o.ID, l, req.GetWhy()); err != nil {
				return nil, err
			}
		}
		return events, nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.CallOffUnpaidOrderResponse{Sale: shown, Position: position}, nil
}

// AcceptLotReturn implements cutterv1.CutterServiceServer. A portion comes back as a
// whole, as it has one price.
func (s *Server) AcceptLotReturn(ctx context.Context, req *cutterv1.AcceptLotReturnRequest) (*cutterv1.AcceptLotReturnResponse, error) {
	me := access.Caller(ctx).Member
	shown, position, err := s.sale(ctx, req, req.GetOrderId(), func(tx *eventstore.Tx, o *command.Thing[order.State]) ([]*orderv1.Event, error) {
		l, ok := o.State.Line(req.GetLotId())
		if !ok || l.LotID == "" || l.Seller != me {
			return nil, rule.NotThere("lot_id", "lot in this order")
		}
		if req.GetCount() != l.Count {
			return nil, rule.Broken{
				Reason: rule.CountDiffers, Field: "count", Value: fmt.Sprint(req.GetCount()),
				Rule: fmt.Sprintf("the portion was %d, and it comes back as a whole", l.Count), Hint: "take a price off for what is missing, or count again",
			}
		}
		returned, err := o.State.Return(l.LotID)
		if err != nil {
			return nil, err
		}
		from, err := command.Open(tx, stream.Lot, l.LotID)
		if err != nil {
			return nil, err
		}
		back, err := from.State.Return(me, o.ID, req.GetCount(), wire.ReadWeighing(req.GetWeighing()), req.GetWhy())
		if err != nil {
			return nil, err
		}
		from.Record(back)
		return []*orderv1.Event{returned}, nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.AcceptLotReturnResponse{Sale: shown, Position: position}, nil
}
