package coop

import (
	"context"
	"slices"
	"strings"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	disputev1 "seamshare.example/proto/gen/seamshare/event/dispute/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/dispute"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"
)

// OpenDispute implements coopv1.CoopServiceServer.
func (s *Server) OpenDispute(ctx context.Context, req *coopv1.OpenDisputeRequest) (*coopv1.OpenDisputeResponse, error) {
	who := access.Caller(ctx)
	id := command.NewID()
	var unreadable rule.All
	amount := wire.Amount(&unreadable, "amount", req.GetAmount())
	did, err := command.Run(ctx, s.node, req, stream.Dispute, func(tx *eventstore.Tx) (*command.Thing[dispute.State], error) {
		d, err := command.Open(tx, stream.Dispute, id)
		if err != nil {
			return nil, err
		}
		if err := unreadable.Err(); err != nil {
			return nil, err
		}
		o := dispute.Opening{
			ID: id, Opener: who.Member, Person: who.Person, About: req.GetAbout(), Against: req.GetAgainstMemberId(), Amount: amount, Reason: req.GetReason(),
		}
		if err := about(tx, &o); err != nil {
			return nil, err
		}
		opened, err := d.State.Open(o)
		if err != nil {
			return nil, err
		}
		d.Record(opened)
		return d, nil
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.OpenDisputeResponse{Dispute: shownDispute(did.State), Position: uint64(did.Position)}, nil
}

// about finds whom a thing concerns, what the other side has earned there, and what of
// that other open disputes hold: of a parcel what all its parties have, of a stone what
// those of its parcel have and its buyer, of an order what those of its stones' parcels
// have.
func about(tx *eventstore.Tx, o *dispute.Opening) error {
	parcels, more, err := moneyOf(tx, o.About)
	if err != nil {
		return err
	}
	if err := addParties(tx, o, parcels); err != nil {
		return err
	}
	for _, m := range more {
		if m != "" && !slices.Contains(o.Parties, m) {
			o.Parties = append(o.Parties, m)
		}
	}
	if o.Against == "" && len(o.Parties) == 2 && slices.Contains(o.Parties, o.Opener) {
		o.Against = o.Parties[0]
		if o.Against == o.Opener {
			o.Against = o.Parties[1]
		}
		if err := addParties(tx, o, parcels); err != nil {
			return err
		}
	}
	for _, id := range parcels {
		if id != "" {
			o.Parcels = append(o.Parcels, id)
		}
	}
	return addHeld(tx, o)
}

// moneyOf are the parcels whose money a thing's is, and the members beside their parties
// whom it concerns.
func moneyOf(l eventstore.Loader, thing string) (parcels, more []string, err error) {
	switch kind, id, _ := strings.Cut(thing, "/"); kind {
	case "parcel":
		parcels = []string{id}
	case "stone":
		st, _, err := eventstore.Load(l, stream.Stone, id)
		if err != nil {
			return nil, nil, err
		}
		parcels, more = []string{st.Facts.GetParcelId()}, []string{st.Facts.GetCutterId(), st.Buyer}
	case "order":
		ord, _, err := eventstore.Load(l, stream.Order, id)
		if err != nil {
			return nil, nil, err
		}
		more = []string{ord.Buyer}
		for _, line := range ord.Lines {
			if !slices.Contains(parcels, line.ParcelID) {
				parcels = append(parcels, line.ParcelID)
			}
			more = append(more, line.Seller)
		}
	}
	return parcels, more, nil
}

// addHeld adds what other open disputes hold of what Against has earned from the same
// parcels.
func addHeld(tx *eventstore.Tx, o *dispute.Opening) error {
	v := view.Payouts{}
	counted := map[string]bool{} // one on an order may hold of several
	for _, parcel := range o.Parcels {
		for after, more := "", true; more; more = after != "" {
			var open []string
			var err error
			if open, after, err = v.DisputesAbout(tx.View(v.Name()), parcel, after, view.MaxPage); err != nil {
				return err
			}
			for _, id := range open {
				if counted[id] {
					continue
				}
				counted[id] = true
				d, _, err := eventstore.Load(tx, stream.Dispute, id)
				if err != nil {
					return err
				}
				if d.Against == o.Against && d.Currency == o.Currency {
					o.Held += d.HeldMinor
				}
			}
		}
	}
	return nil
}

// addParties adds the parties of parcels, and what Against has earned there.
func addParties(tx *eventstore.Tx, o *dispute.Opening, parcels []string) error {
	v := view.Shares{}
	o.Earned = 0
	for _, id := range parcels {
		if id == "" {
			continue
		}
		lot, _, err := eventstore.Load(tx, stream.Parcel, id)
		if err != nil {
			return err
		}
		for _, m := range view.PartiesOf(lot) {
			if m != "" && !slices.Contains(o.Parties, m) {
				o.Parties = append(o.Parties, m)
			}
		}
		statement, ok, err := v.Statement(tx.View(v.Name()), id)
		if err != nil {
			return err
		}
		if !ok {
			continue
		}
		o.Currency = statement.Agreement.Currency
		for _, p := range statement.Shares.Parties {
			if statement.Member(p.Party) == o.Against {
				o.Earned += p.Total()
			}
		}
	}
	return nil
}

// changeDispute runs a command that records one event of a dispute.
func (s *Server) changeDispute(ctx context.Context, req command.Request, id string, decide func(*eventstore.Tx, dispute.State) (*disputev1.Event, error)) (*coopv1.Dispute, uint64, error) {
	did, err := command.Run(ctx, s.node, req, stream.Dispute, func(tx *eventstore.Tx) (*command.Thing[dispute.State], error) {
		d, err := command.Open(tx, stream.Dispute, id)
		if err != nil {
			return nil, err
		}
		event, err := decide(tx, d.State)
		if err != nil {
			return nil, err
		}
		d.Record(event)
		return d, nil
	})
	if err != nil {
		return nil, 0, err
	}
	return shownDispute(did.State), uint64(did.Position), nil
}

// ResolveDispute implements coopv1.CoopServiceServer.
func (s *Server) ResolveDispute(ctx context.Context, req *coopv1.ResolveDisputeRequest) (*coopv1.ResolveDisputeResponse, error) {
	who := access.Caller(ctx)
	d, at, err := s.changeDispute(ctx, req, req.GetDisputeId(), func(tx *eventstore.Tx, d dispute.State) (*disputev1.Event, error) {
		p, _, err := eventstore.Load(tx, stream.Person, who.Person)
		if err != nil {
			return nil, err
		}
		return d.Resolve(who.Person, p, req.GetOutcome(), req.GetUpheld())
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.ResolveDisputeResponse{Dispute: d, Position: at}, nil
}

// WithdrawDispute implements coopv1.CoopServiceServer.
func (s *Server) WithdrawDispute(ctx context.Context, req *coopv1.WithdrawDisputeRequest) (*coopv1.WithdrawDisputeResponse, error) {
	who := access.Caller(ctx)
	d, at, err := s.changeDispute(ctx, req, req.GetDisputeId(), func(_ *eventstore.Tx, d dispute.State) (*disputev1.Event, error) {
		return d.Withdraw(who.Member, who.Person, req.GetReason())
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.WithdrawDisputeResponse{Dispute: d, Position: at}, nil
}

// GetDispute implements coopv1.CoopServiceServer.
func (s *Server) GetDispute(ctx context.Context, req *coopv1.GetDisputeRequest) (*coopv1.GetDisputeResponse, error) {
	who := access.Caller(ctx)
	out := &coopv1.GetDisputeResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		d, _, err := eventstore.Load(q, stream.Dispute, req.GetDisputeId())
		if err != nil {
			return err
		}
		desk, err := ofDesk(q, who)
		if err != nil {
			return err
		}
		if d.ID == "" || !desk && who.Member != d.Opener && who.Member != d.Against {
			return rule.NotThere("dispute_id", "dispute")
		}
		out.Dispute = shownDispute(d)
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// moneyRoles are who at the desk sees what is in dispute, as it is money.
var moneyRoles = []memberv1.Role{memberv1.Role_ROLE_BOOKKEEPER, memberv1.Role_ROLE_APPROVER, memberv1.Role_ROLE_AUDITOR}

// ofDesk tells whether a caller sees the co-op's money.
func ofDesk(l eventstore.Loader, who access.Identity) (bool, error) {
	p, _, err := eventstore.Load(l, stream.Person, who.Person)
	if err != nil {
		return false, err
	}
	m, _, err := eventstore.Load(l, stream.Member, who.Member)
	return p.Has(m, moneyRoles...), err
}

// ListDisputes implements coopv1.CoopServiceServer.
func (s *Server) ListDisputes(ctx context.Context, req *coopv1.ListDisputesRequest) (*coopv1.ListDisputesResponse, error) {
	who := access.Caller(ctx)
	disputes, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			desk, err := ofDesk(q, who)
			if err != nil {
				return nil, "", err
			}
			if desk {
				return registered("dispute")(q, after, limit)
			}
			v := view.Payouts{}
			return v.DisputesOf(q.View(v.Name()), who.Member, after, limit)
		},
		func(q *eventstore.Query, id string) (*coopv1.Dispute, error) {
			d, _, err := eventstore.Load(q, stream.Dispute, id)
			return shownDispute(d), err
		})
	if err != nil {
		return nil, err
	}
	return &coopv1.ListDisputesResponse{Disputes: disputes, NextPageToken: next, Position: position}, nil
}

func shownDispute(d dispute.State) *coopv1.Dispute {
	return &coopv1.Dispute{
		Id: d.ID, Stage: d.Stage.String(), About: d.About, OpenedByMemberId: d.Opener, AgainstMemberId: d.Against,
		Amount: wire.Money(d.Currency, d.HeldMinor), Reason: d.Reason, Outcome: d.Found, Upheld: d.Upheld,
	}
}
