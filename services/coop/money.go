package coop

import (
	"context"
	"fmt"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"
)

// RecordParcelPayment implements coopv1.CoopServiceServer.
func (s *Server) RecordParcelPayment(ctx context.Context, req *coopv1.RecordParcelPaymentRequest) (*coopv1.RecordParcelPaymentResponse, error) {
	var unreadable rule.All
	amount := wire.Amount(&unreadable, "amount", req.GetAmount())
	did, err := money(ctx, s, req, stream.Parcel, req.GetParcelId(), req.GetEffectiveDate(), unreadable, func(lot *command.Thing[parcel.State], on eventstore.RecordOption) error {
		paid, err := lot.State.Pay(amount, req.GetReference())
		for _, event := range paid {
			lot.Record(event, on)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	statement, err := s.after(ctx, did)
	if err != nil {
		return nil, err
	}
	return &coopv1.RecordParcelPaymentResponse{Statement: statement, Position: uint64(did.Position)}, nil
}

// RecordCost implements coopv1.CoopServiceServer.
func (s *Server) RecordCost(ctx context.Context, req *coopv1.RecordCostRequest) (*coopv1.RecordCostResponse, error) {
	var unreadable rule.All
	amount := wire.Amount(&unreadable, "amount", req.GetAmount())
	did, err := money(ctx, s, req, stream.Parcel, req.GetParcelId(), req.GetEffectiveDate(), unreadable, func(lot *command.Thing[parcel.State], on eventstore.RecordOption) error {
		recorded, err := lot.State.RecordCost(req.GetKind(), amount, req.GetReference())
		if err == nil {
			lot.Record(recorded, on)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	statement, err := s.after(ctx, did)
	if err != nil {
		return nil, err
	}
	return &coopv1.RecordCostResponse{Statement: statement, Position: uint64(did.Position)}, nil
}

// RecordOrderPayment implements coopv1.CoopServiceServer.
func (s *Server) RecordOrderPayment(ctx context.Context, req *coopv1.RecordOrderPaymentRequest) (*coopv1.RecordOrderPaymentResponse, error) {
	var unreadable rule.All
	amount := wire.Amount(&unreadable, "amount", req.GetAmount())
	did, err := money(ctx, s, req, stream.Order, req.GetOrderId(), req.GetEffectiveDate(), unreadable, func(o *command.Thing[order.State], on eventstore.RecordOption) error {
		paid, err := o.State.Pay(amount, req.GetReference())
		if err == nil {
			o.Record(paid, on)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	o := did.State
	return &coopv1.RecordOrderPaymentResponse{
		OrderId: did.ID, Position: uint64(did.Position), Paid: wire.Money(o.Currency, o.Paid()), Open: wire.Money(o.Currency, o.Open()),
	}, nil
}

// RecordRefund implements coopv1.CoopServiceServer.
func (s *Server) RecordRefund(ctx context.Context, req *coopv1.RecordRefundRequest) (*coopv1.RecordRefundResponse, error) {
	var unreadable rule.All
	amount := wire.Amount(&unreadable, "amount", req.GetAmount())
	did, err := money(ctx, s, req, stream.Order, req.GetOrderId(), req.GetEffectiveDate(), unreadable, func(o *command.Thing[order.State], on eventstore.RecordOption) error {
		refunded, err := o.State.Refund(req.GetStoneId(), amount, req.GetReference())
		if err == nil {
			o.Record(refunded, on)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.RecordRefundResponse{
		OrderId: did.ID, Position: uint64(did.Position), Paid: wire.Money(did.State.Currency, did.State.Paid()),
	}, nil
}

// money runs a command that records money on one thing, on the day it counts for.
// unreadable is what of the request couldn't be read.
func money[S any](
	ctx context.Context, s *Server, req command.Request, kind eventstore.Kind[S], id, date string, unreadable rule.All,
	decide func(*command.Thing[S], eventstore.RecordOption) error,
) (did command.Did[S], err error) {
	zone, err := s.days.zone(ctx, s.node)
	if err != nil {
		return did, err
	}
	return command.Run(ctx, s.node, req, kind, func(tx *eventstore.Tx) (*command.Thing[S], error) {
		broken := unreadable[:len(unreadable):len(unreadable)] // of its own: this may run again
		day := countsOn(&broken, date, tx.Now().In(zone))
		if err := broken.Err(); err != nil {
			return nil, err
		}
		thing, err := command.Open(tx, kind, id)
		if err != nil {
			return nil, err
		}
		return thing, decide(thing, eventstore.EffectiveOn(day))
	})
}

// after is a parcel's statement right after a command on it.
func (s *Server) after(ctx context.Context, did command.Did[parcel.State]) (statement *typev1.ShareStatement, err error) {
	_, err = query.At(ctx, s.node, uint64(did.Position), func(q *eventstore.Query) error {
		then, ok, err := view.StatementAt(q, did.ID, did.Position)
		if err == nil && !ok {
			err = fmt.Errorf("parcel %s has money but no deal at position %d: %w", did.ID, did.Position, eventstore.ErrCorrupt)
		}
		if err != nil {
			return err
		}
		statement, err = wire.Statement(then, did.State.LastDeal().Agreement, did.Position)
		return err
	})
	return statement, err
}

// GetShares implements coopv1.CoopServiceServer.
func (s *Server) GetShares(ctx context.Context, req *coopv1.GetSharesRequest) (*coopv1.GetSharesResponse, error) {
	out := &coopv1.GetSharesResponse{}
	_, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		lot, _, err := eventstore.Load(q, stream.Parcel, req.GetParcelId())
		if err != nil {
			return err
		}
		if lot.ID == "" {
			return rule.NotThere("parcel_id", "parcel")
		}
		v := view.Shares{}
		statement, ok, err := v.Statement(q.View(v.Name()), lot.ID)
		if err != nil {
			return err
		}
		if !ok {
			return rule.Broken{Reason: rule.NoDeal, Field: "parcel_id", Value: lot.ID, Rule: "shares come with the deal", Hint: "wait until the parcel is sold or placed"}
		}
		if out.Statement, err = wire.Statement(statement, lot.LastDeal().Agreement, q.Position()); err != nil {
			return err
		}
		out.Statement.Corrections, err = wire.Corrections(q, statement)
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// GetBalances implements coopv1.CoopServiceServer.
func (s *Server) GetBalances(ctx context.Context, req *coopv1.GetBalancesRequest) (*coopv1.GetBalancesResponse, error) {
	out := &coopv1.GetBalancesResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		v := view.Shares{}
		own, members, err := v.Balances(q.View(v.Name()))
		if err != nil {
			return err
		}
		for _, a := range own {
			out.Receipts = append(out.Receipts, &coopv1.Balance{Amount: wire.Money(a.Currency, a.Receipts)})
			out.Levies = append(out.Levies, &coopv1.Balance{Amount: wire.Money(a.Currency, a.Levies)})
			out.Costs = append(out.Costs, &coopv1.Balance{Amount: wire.Money(a.Currency, a.Costs)})
			out.ToPayBack = append(out.ToPayBack, &coopv1.Balance{Amount: wire.Money(a.Currency, a.Back)})
		}
		for _, m := range members {
			out.Shares = append(out.Shares, &coopv1.Balance{MemberId: m.Member, Party: m.Party, Amount: wire.Money(m.Currency, m.Minor)})
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}
