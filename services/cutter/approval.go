package cutter

import (
	"context"
	"fmt"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	approvalv1 "seamshare.example/proto/gen/seamshare/event/approval/v1"
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

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// goods runs a command on goods out, or asked for; that they are the caller's is the
// approval's rule.
func (s *Server) goods(ctx context.Context, req command.Request, id string, unreadable rule.All, decide func(*eventstore.Tx, *command.Thing[approval.State]) (*approvalv1.Event, error)) (*typev1.Approval, uint64, error) {
	did, err := command.Run(ctx, s.node, req, stream.Approval, func(tx *eventstore.Tx) (*command.Thing[approval.State], error) {
		goods, err := command.Open(tx, stream.Approval, id)
		if err != nil {
			return nil, err
		}
		if goods.State.Cutter != access.Caller(ctx).Member {
			return nil, rule.NotThere("approval_id", "approval")
		}
		if err := unreadable.Err(); err != nil {
			return nil, err
		}
		event, err := decide(tx, goods)
		if err != nil {
			return nil, err
		}
		goods.Record(event)
		return goods, nil
	})
	if err != nil {
		return nil, 0, err
	}
	return wire.Approval(did.State, did.At), uint64(did.Position), nil
}

// SendOnApproval implements cutterv1.CutterServiceServer. One decision spans the
// approval, all its stones and the jeweller's holds on them.
func (s *Server) SendOnApproval(ctx context.Context, req *cutterv1.SendOnApprovalRequest) (*cutterv1.SendOnApprovalResponse, error) {
	var unreadable rule.All
	due := wire.Moment(&unreadable, "due_at", req.GetDueAt())
	shown, position, err := s.goods(ctx, req, req.GetApprovalId(), unreadable, func(tx *eventstore.Tx, goods *command.Thing[approval.State]) (*approvalv1.Event, error) {
		var ids []string
		for _, m := range req.GetStones() {
			ids = append(ids, m.GetStoneId())
		}
		stones, err := command.Together(tx, ids)
		if err != nil {
			return nil, err
		}
		sending := approval.Sending{
			DueAt: due, Loss: approvalv1.Bearer(req.GetLoss()), Breakage: approvalv1.Bearer(req.GetBreakage()),
			Carrier: req.GetCarrier(), Reference: req.GetReference(), Now: tx.Now(),
		}
		taking := stone.Taking{Jeweller: goods.State.Jeweller, Together: ids, Now: tx.Now()}
		var broken rule.All
		out := make([]*stonev1.Event, len(stones))
		for i, st := range stones {
			at, measured := fmt.Sprintf("stones[%d]", i), wire.ReadMeasured(req.GetStones()[i])
			if st.State.Facts.GetCutterId() != goods.State.Cutter {
				broken.Add(rule.NotThere(at+".stone_id", "stone"))
				continue
			}
			out[i], err = st.State.SendOut(taking, goods.ID, measured, at)
			if err := broken.Merge("", err); err != nil {
				return nil, err
			}
			if price := st.State.Price; sending.Currency == "" {
				sending.Currency = price.GetCurrency()
			} else if price != nil {
				broken.Currency(at, price, sending.Currency)
			}
			sending.Lines = append(sending.Lines, approval.Line{
				StoneID: st.ID, ParcelID: st.State.Facts.GetParcelId(), SetID: st.State.Set.ID, Price: st.State.Price.GetMinor(), Out: measured,
			})
		}
		if err := s.limits(tx, goods.State, &sending); err != nil {
			return nil, err
		}
		sent, err := goods.State.Send(access.Caller(ctx).Member, sending)
		if err := broken.Merge("", err); err != nil {
			return nil, err
		}
		if err := broken.Err(); err != nil {
			return nil, err
		}
		if err := command.UseHolds(tx, goods.State.Jeweller, stones, "", goods.ID, tx.Now()); err != nil {
			return nil, err
		}
		for i, st := range stones {
			st.Record(out[i])
		}
		return sent, nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.SendOnApprovalResponse{Approval: shown, Position: position}, nil
}

// limits looks up how long goods may be out and how much the jeweller may have out.
func (s *Server) limits(tx *eventstore.Tx, goods approval.State, sending *approval.Sending) (err error) {
	if sending.Longest, err = command.LongestOut(tx, s.node.Coop(), goods.Kind, tx.Now()); err != nil {
		return err
	}
	if sending.Most, sending.Limited, err = command.GoodsLimit(tx, s.node.Coop(), sending.Currency, tx.Now()); err != nil {
		return err
	}
	v := view.Selling{}
	sending.Already, err = v.GoodsOut(tx.View(v.Name()), goods.Jeweller, sending.Currency)
	return err
}

// DeclineApproval implements cutterv1.CutterServiceServer.
func (s *Server) DeclineApproval(ctx context.Context, req *cutterv1.DeclineApprovalRequest) (*cutterv1.DeclineApprovalResponse, error) {
	shown, position, err := s.goods(ctx, req, req.GetApprovalId(), nil, func(tx *eventstore.Tx, goods *command.Thing[approval.State]) (*approvalv1.Event, error) {
		return goods.State.Decline(access.Caller(ctx).Member, req.GetWhy(), tx.Now())
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.DeclineApprovalResponse{Approval: shown, Position: position}, nil
}

// ExtendApproval implements cutterv1.CutterServiceServer.
func (s *Server) ExtendApproval(ctx context.Context, req *cutterv1.ExtendApprovalRequest) (*cutterv1.ExtendApprovalResponse, error) {
	var unreadable rule.All
	due := wire.Moment(&unreadable, "due_at", req.GetDueAt())
	shown, position, err := s.goods(ctx, req, req.GetApprovalId(), unreadable, func(tx *eventstore.Tx, goods *command.Thing[approval.State]) (*approvalv1.Event, error) {
		longest, err := command.LongestOut(tx, s.node.Coop(), goods.State.Kind, tx.Now())
		if err != nil {
			return nil, err
		}
		return goods.State.Extend(access.Caller(ctx).Member, due, longest, tx.Now())
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.ExtendApprovalResponse{Approval: shown, Position: position}, nil
}

// TakeBackFromApproval implements cutterv1.CutterServiceServer.
func (s *Server) TakeBackFromApproval(ctx context.Context, req *cutterv1.TakeBackFromApprovalRequest) (*cutterv1.TakeBackFromApprovalResponse, error) {
	shown, position, err := s.goods(ctx, req, req.GetApprovalId(), nil, func(tx *eventstore.Tx, goods *command.Thing[approval.State]) (*approvalv1.Event, error) {
		id, measured := req.GetStone().GetStoneId(), wire.ReadMeasured(req.GetStone())
		l, _ := goods.State.Line(id)
		differs := stone.Differs(l.Out, measured)
		back, err := goods.State.TakeBack(access.Caller(ctx).Member, id, measured, differs.Mass, differs.Size, req.GetNote())
		if err != nil {
			return nil, err
		}
		st, err := command.Open(tx, stream.Stone, id)
		if err != nil {
			return nil, err
		}
		came, err := st.State.ComeBack(goods.ID, measured)
		if err != nil {
			return nil, err
		}
		if err := weighBack(ctx, tx, st.State, measured.GetWeighing()); err != nil {
			return nil, err
		}
		st.Record(came)
		return back, nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.TakeBackFromApprovalResponse{Approval: shown, Position: position}, nil
}

// RecordApprovalLoss implements cutterv1.CutterServiceServer.
func (s *Server) RecordApprovalLoss(ctx context.Context, req *cutterv1.RecordApprovalLossRequest) (*cutterv1.RecordApprovalLossResponse, error) {
	did, err := command.LoseOut(ctx, s.node, req, access.Caller(ctx).Member)
	if err != nil {
		return nil, err
	}
	return &cutterv1.RecordApprovalLossResponse{Approval: wire.Approval(did.State, did.At), Position: uint64(did.Position)}, nil
}

// GetApproval implements cutterv1.CutterServiceServer.
func (s *Server) GetApproval(ctx context.Context, req *cutterv1.GetApprovalRequest) (*cutterv1.GetApprovalResponse, error) {
	out := &cutterv1.GetApprovalResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		a, _, err := eventstore.Load(q, stream.Approval, req.GetApprovalId())
		if err == nil && (a.ID == "" || a.Cutter != access.Caller(ctx).Member) {
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

// ListApprovals implements cutterv1.CutterServiceServer.
func (s *Server) ListApprovals(ctx context.Context, req *cutterv1.ListApprovalsRequest) (*cutterv1.ListApprovalsResponse, error) {
	me, v := access.Caller(ctx).Member, view.Selling{}
	approvals, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			return v.ApprovalsOf(q.View(v.Name()), me, after, limit)
		},
		func(q *eventstore.Query, id string) (*typev1.Approval, error) {
			a, _, err := eventstore.Load(q, stream.Approval, id)
			return wire.Approval(a, q.Now()), err
		})
	if err != nil {
		return nil, err
	}
	return &cutterv1.ListApprovalsResponse{Approvals: approvals, NextPageToken: next, Position: position}, nil
}
