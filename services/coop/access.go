package coop

import (
	"context"
	"time"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
)

// AccessServer implements coopv1.AccessServiceServer.
type AccessServer struct {
	coopv1.UnimplementedAccessServiceServer
	node   *eventstore.Node
	issuer *access.Issuer
}

// NewAccess makes the service that lets persons in.
func NewAccess(node *eventstore.Node, issuer *access.Issuer) *AccessServer {
	return &AccessServer{node: node, issuer: issuer}
}

// IssueToken implements coopv1.AccessServiceServer.
func (s *AccessServer) IssueToken(ctx context.Context, req *coopv1.IssueTokenRequest) (*coopv1.IssueTokenResponse, error) {
	var grant access.Grant
	_, err := query.At(ctx, s.node, 0, func(q *eventstore.Query) (err error) {
		grant, err = s.issuer.Issue(q, req.GetAssertion())
		return err
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.IssueTokenResponse{
		Token: grant.Token, ExpiresAt: grant.ExpiresAt.UTC().Format(time.RFC3339),
		MemberId: grant.Member, Roles: shownRoles(grant.Roles),
	}, nil
}

// WhoAmI implements coopv1.AccessServiceServer.
func (s *AccessServer) WhoAmI(ctx context.Context, req *coopv1.WhoAmIRequest) (*coopv1.WhoAmIResponse, error) {
	who := access.Caller(ctx)
	out := &coopv1.WhoAmIResponse{PersonId: who.Person, MemberId: who.Member, CoopId: s.node.Coop()}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		if err := access.Recheck(q, who); err != nil {
			return err
		}
		p, _, err := eventstore.Load(q, stream.Person, who.Person)
		if err != nil {
			return err
		}
		m, _, err := eventstore.Load(q, stream.Member, who.Member)
		if err != nil {
			return err
		}
		c, _, err := eventstore.Load(q, stream.Coop, s.node.Coop())
		if err != nil {
			return err
		}
		out.Roles, out.TradingName, out.CoopName, out.TimeZone = shownRoles(p.In(m)), m.TradingName, c.Name, c.TimeZone
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}
