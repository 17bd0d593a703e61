package miner

import (
	"context"

	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/query"
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
		if out.Statement.Corrections, err = wire.PartyCorrections(q, statement, parcel.Miner); err != nil {
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
