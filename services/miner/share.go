package miner

import (
	"context"

	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"
)

// GetShare implements minerv1.MinerServiceServer.
func (s *Server) GetShare(ctx context.Context, req *minerv1.GetShareRequest) (*minerv1.GetShareResponse, error) {
	out := &minerv1.GetShareResponse{}
	_, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		p, _, err := own(q, access.Caller(ctx).Member, req.GetParcelId())
		if err != nil {
			return err
		}
		v := view.Shares{}
		statement, ok, err := v.Statement(q.View(v.Name()), p.ID)
		if err != nil {
			return err
		}
		if !ok || !p.LastDeal().Made() {
			return rule.Broken{Reason: rule.NoDeal, Field: "parcel_id", Value: p.ID, Rule: "shares come with the deal", Hint: "accept an offer first"}
		}
		if out.Statement, err = wire.PartyStatement(statement, p.LastDeal().Agreement, q.Position(), parcel.Miner); err != nil {
			return err
		}
		if wire.Partakes(statement, parcel.Miner) {
			sales, err := salesOf(q, p)
			if err != nil {
				return err
			}
			out.Statement.Steps = append(out.Statement.Steps, sales...)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// salesOf shows what each stone of the parcel brought, and no buyer: who shares in the
// money may see what it is made of.
func salesOf(q *eventstore.Query, p parcel.State) ([]*typev1.ShareStep, error) {
	var steps []*typev1.ShareStep
	for _, line := range p.Lines {
		rough, _, err := eventstore.Load(q, stream.Piece, line.PieceID)
		if err != nil {
			return nil, err
		}
		for _, part := range rough.Parts {
			if part.Fate != piece.Stone {
				continue
			}
			step, err := saleOf(q, part.StoneID)
			if err != nil {
				return nil, err
			}
			if step != nil {
				steps = append(steps, step)
			}
		}
	}
	return steps, nil
}

// saleOf is what a stone brought; nil while it isn't sold.
func saleOf(q *eventstore.Query, stoneID string) (*typev1.ShareStep, error) {
	sold, _, err := eventstore.Load(q, stream.Stone, stoneID)
	if err != nil || sold.OrderID == "" {
		return nil, err
	}
	bought, _, err := eventstore.Load(q, stream.Order, sold.OrderID)
	if err != nil {
		return nil, err
	}
	line, ok := bought.Line(stoneID)
	if !ok {
		return nil, nil
	}
	return &typev1.ShareStep{Amount: wire.Money(bought.Currency, line.Paid), Why: sale(sold.Facts.GetLabel(), bought.Currency, line)}, nil
}

func sale(label, currency string, l order.Line) string {
	return "Stone " + label + ": " + wire.Text(currency, l.Paid) + " received of its price of " + wire.Text(currency, l.Price) + "."
}
