package jeweller

import (
	"context"
	"fmt"

	approvalv1 "seamshare.example/proto/gen/seamshare/event/approval/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/approval"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"
)

// AskForApproval implements jewellerv1.JewellerServiceServer. It reserves nothing: who
// wants to be sure holds the stones too.
func (s *Server) AskForApproval(ctx context.Context, req *jewellerv1.AskForApprovalRequest) (*jewellerv1.AskForApprovalResponse, error) {
	me, id := access.Caller(ctx).Member, command.NewID()
	var unreadable rule.All
	due := wire.Moment(&unreadable, "due_at", req.GetDueAt())
	did, err := command.Run(ctx, s.node, req, stream.Approval, func(tx *eventstore.Tx) (*command.Thing[approval.State], error) {
		if err := unreadable.Err(); err != nil {
			return nil, err
		}
		goods, err := command.Open(tx, stream.Approval, id)
		if err != nil {
			return nil, err
		}
		stones, err := command.Together(tx, req.GetStoneIds())
		if err != nil {
			return nil, err
		}
		kind := approvalv1.GoodsKind(req.GetKind())
		longest, err := command.LongestOut(tx, s.node.Coop(), kind, tx.Now())
		if err != nil {
			return nil, err
		}
		wish := approval.Wish{
			ID: id, Kind: kind, Jeweller: me, StoneIDs: req.GetStoneIds(), DueAt: due, Longest: longest,
			Loss: approvalv1.Bearer(req.GetLoss()), Breakage: approvalv1.Bearer(req.GetBreakage()), Note: req.GetNote(), Now: tx.Now(),
		}
		var broken rule.All
		taking := stone.Taking{Jeweller: me, Together: req.GetStoneIds(), Now: tx.Now()}
		for i, st := range stones {
			wish.Cutters = append(wish.Cutters, st.State.Facts.GetCutterId())
			wish.Prices = append(wish.Prices, st.State.Price)
			if err := broken.Merge("", st.State.MayGoOut(taking, fmt.Sprintf("stone_ids[%d]", i))); err != nil {
				return nil, err
			}
		}
		if err := broken.Err(); err != nil { // first, so that nothing is said of stones that can't be seen
			return nil, err
		}
		asked, err := goods.State.Ask(wish)
		if err != nil {
			return nil, err
		}
		goods.Record(asked)
		return goods, nil
	})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.AskForApprovalResponse{Approval: wire.Approval(did.State, did.At), Position: uint64(did.Position)}, nil
}

// WithdrawApproval implements jewellerv1.JewellerServiceServer.
func (s *Server) WithdrawApproval(ctx context.Context, req *jewellerv1.WithdrawApprovalRequest) (*jewellerv1.WithdrawApprovalResponse, error) {
	me := access.Caller(ctx).Member
	did, err := command.Run(ctx, s.node, req, stream.Approval, func(tx *eventstore.Tx) (*command.Thing[approval.State], error) {
		goods, err := command.Open(tx, stream.Approval, req.GetApprovalId())
		if err != nil {
			return nil, err
		}
		withdrawn, err := goods.State.Withdraw(me, tx.Now())
		if err != nil {
			return nil, err
		}
		goods.Record(withdrawn)
		return goods, nil
	})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.WithdrawApprovalResponse{Approval: wire.Approval(did.State, did.At), Position: uint64(did.Position)}, nil
}

// BuyFromApproval implements jewellerv1.JewellerServiceServer. One decision spans the
// approval, its stones and the order.
func (s *Server) BuyFromApproval(ctx context.Context, req *jewellerv1.BuyFromApprovalRequest) (*jewellerv1.BuyFromApprovalResponse, error) {
	me, orderID := access.Caller(ctx).Member, command.NewID()
	did, err := command.Run(ctx, s.node, req, stream.Approval, func(tx *eventstore.Tx) (*command.Thing[approval.State], error) {
		goods, err := command.Open(tx, stream.Approval, req.GetApprovalId())
		if err != nil {
			return nil, err
		}
		kept, err := goods.State.Buy(me, req.GetStoneIds(), orderID, tx.Now())
		if err != nil {
			return nil, err
		}
		if err := command.BuyFromGoods(tx, s.node.Coop(), goods, req.GetStoneIds(), orderID); err != nil {
			return nil, err
		}
		goods.Record(kept)
		return goods, nil
	})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.BuyFromApprovalResponse{Approval: wire.Approval(did.State, did.At), Position: uint64(did.Position)}, nil
}

// ReportLoss implements jewellerv1.JewellerServiceServer.
func (s *Server) ReportLoss(ctx context.Context, req *jewellerv1.ReportLossRequest) (*jewellerv1.ReportLossResponse, error) {
	did, err := command.LoseOut(ctx, s.node, req, access.Caller(ctx).Member)
	if err != nil {
		return nil, err
	}
	return &jewellerv1.ReportLossResponse{Approval: wire.Approval(did.State, did.At), Position: uint64(did.Position)}, nil
}

// GetApproval implements jewellerv1.JewellerServiceServer.
func (s *Server) GetApproval(ctx context.Context, req *jewellerv1.GetApprovalRequest) (*jewellerv1.GetApprovalResponse, error) {
	out := &jewellerv1.GetApprovalResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		a, _, err := eventstore.Load(q, stream.Approval, req.GetApprovalId())
		if err == nil && (a.ID == "" || a.Jeweller != access.Caller(ctx).Member) {
			err = rule.NotThere("approval_id", "approval")
		}
		if err != nil {
			return err
		}
		out.Approval = wire.Approval(a, q.Now())
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// ListApprovals implements jewellerv1.JewellerServiceServer.
func (s *Server) ListApprovals(ctx context.Context, req *jewellerv1.ListApprovalsRequest) (*jewellerv1.ListApprovalsResponse, error) {
	me, v := access.Caller(ctx).Member, view.Selling{}
	approvals, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			return v.ApprovalsBy(q.View(v.Name()), me, after, limit)
		},
		func(q *eventstore.Query, id string) (*typev1.Approval, error) {
			a, _, err := eventstore.Load(q, stream.Approval, id)
			return wire.Approval(a, q.Now()), err
		})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.ListApprovalsResponse{Approvals: approvals, NextPageToken: next, Position: position}, nil
}
