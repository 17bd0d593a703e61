package miner

import (
	"context"

	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
)

// RecordClaim implements minerv1.MinerServiceServer.
func (s *Server) RecordClaim(ctx context.Context, req *minerv1.RecordClaimRequest) (*minerv1.RecordClaimResponse, error) {
	me, id := access.Caller(ctx).Member, command.NewID()
	did, err := command.Run(ctx, s.node, req, stream.Claim, func(tx *eventstore.Tx) (*command.Thing[member.Claim], error) {
		claim, err := command.Open(tx, stream.Claim, id)
		if err != nil {
			return nil, err
		}
		field, _, err := eventstore.Load(tx, stream.Field, req.GetFieldId())
		if err != nil {
			return nil, err
		}
		miner, _, err := eventstore.Load(tx, stream.Member, me)
		if err != nil {
			return nil, err
		}
		recorded, err := claim.State.Record(field, miner, id, req.GetName())
		if err != nil {
			return nil, err
		}
		v := view.Members{}
		switch c, taken, err := v.WorkedClaim(tx.View(v.Name()), me, req.GetFieldId(), req.GetName()); {
		case err != nil:
			return nil, err
		case taken:
			return nil, member.NameTaken("claim of yours on this field", c.Name, c.ID)
		}
		claim.Record(recorded)
		return claim, nil
	})
	if err != nil {
		return nil, err
	}
	return &minerv1.RecordClaimResponse{Claim: shownClaim(did.State), Position: uint64(did.Position)}, nil
}

// ListClaims implements minerv1.MinerServiceServer.
func (s *Server) ListClaims(ctx context.Context, req *minerv1.ListClaimsRequest) (*minerv1.ListClaimsResponse, error) {
	me, v := access.Caller(ctx).Member, view.Members{}
	claims, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]view.Claim, string, error) {
			return v.Claims(q.View(v.Name()), me, after, limit)
		},
		func(_ *eventstore.Query, c view.Claim) (*minerv1.Claim, error) {
			return shownClaim(member.Claim{ID: c.ID, FieldID: c.FieldID, Name: c.Name, Closed: c.Closed}), nil
		})
	if err != nil {
		return nil, err
	}
	return &minerv1.ListClaimsResponse{Claims: claims, NextPageToken: next, Position: position}, nil
}

// CloseClaim implements minerv1.MinerServiceServer.
func (s *Server) CloseClaim(ctx context.Context, req *minerv1.CloseClaimRequest) (*minerv1.CloseClaimResponse, error) {
	me := access.Caller(ctx).Member
	did, err := command.Run(ctx, s.node, req, stream.Claim, func(tx *eventstore.Tx) (*command.Thing[member.Claim], error) {
		claim, err := command.Open(tx, stream.Claim, req.GetClaimId())
		if err != nil {
			return nil, err
		}
		closed, err := claim.State.Close(me, req.GetWhy())
		if err != nil {
			return nil, err
		}
		claim.Record(closed)
		return claim, nil
	})
	if err != nil {
		return nil, err
	}
	return &minerv1.CloseClaimResponse{Claim: shownClaim(did.State), Position: uint64(did.Position)}, nil
}

func shownClaim(c member.Claim) *minerv1.Claim {
	out := &minerv1.Claim{Id: c.ID, FieldId: c.FieldID, Name: c.Name, State: minerv1.ClaimState_CLAIM_STATE_WORKED}
	if c.Closed {
		out.State = minerv1.ClaimState_CLAIM_STATE_CLOSED
	}
	return out
}
