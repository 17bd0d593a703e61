package command

import (
	"context"
	"time"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/approval"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/stream"

	approvalv1 "seamshare.example/proto/gen/seamshare/event/approval/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

const day = 24 * time.Hour

// LongestOut is for how long goods of a kind may be out by the co-op's settings.
func LongestOut(l eventstore.Loader, coopID string, kind approvalv1.GoodsKind, now time.Time) (time.Duration, error) {
	settings, err := Settings(l, coopID, now)
	if kind == approvalv1.GoodsKind_GOODS_KIND_CONSIGNMENT {
		return time.Duration(settings.ConsignmentDays) * day, err
	}
	return time.Duration(settings.ApprovalDays) * day, err
}

// BuyFromGoods places the order by which the jeweller buys stones that are out with
// them, and sells each. That they may is what the approval's own rule decided.
func BuyFromGoods(tx *eventstore.Tx, coopID string, goods *Thing[approval.State], stoneIDs []string, orderID string) error {
	settings, err := Settings(tx, coopID, tx.Now())
	if err != nil {
		return err
	}
	purchase, err := Open(tx, stream.Order, orderID)
	if err != nil {
		return err
	}
	var lines []order.Line
	for _, id := range stoneIDs {
		l, _ := goods.State.Line(id)
		lines = append(lines, order.Line{StoneID: id, ParcelID: l.ParcelID, SetID: l.SetID, Seller: goods.State.Cutter, Price: l.Price})
	}
	placed, err := purchase.State.Place(orderID, goods.State.Jeweller, goods.State.Currency, lines, order.Terms{
		ApprovalID: goods.ID, ClaimUntil: tx.Now().Add(time.Duration(settings.ClaimDays) * day), PayBy: PayBy(settings, tx.Now()),
	})
	if err != nil {
		return err
	}
	stones, err := Together(tx, stoneIDs)
	if err != nil {
		return err
	}
	purchase.Record(placed)
	for _, st := range stones {
		sold, err := st.State.KeepFromOut(goods.ID, orderID)
		if err != nil {
			return err
		}
		st.Record(sold)
	}
	return nil
}

// Loss is a request that says that a stone that is out is lost or broke.
type Loss interface {
	Request
	GetApprovalId() string
	GetStoneId() string
	GetBroken() bool
	GetHow() string
}

// LoseOut records that a stone that is out is lost or broke, as either side says. Where
// the jeweller bears it, the stone is sold to them by an order of its own.
func LoseOut(ctx context.Context, node *eventstore.Node, req Loss, me string) (Did[approval.State], error) {
	newOrder := NewID()
	return Run(ctx, node, req, stream.Approval, func(tx *eventstore.Tx) (*Thing[approval.State], error) {
		goods, err := Open(tx, stream.Approval, req.GetApprovalId())
		if err != nil {
			return nil, err
		}
		orderID := ""
		if goods.State.Bearer(req.GetBroken()) == approvalv1.Bearer_BEARER_JEWELLER {
			orderID = newOrder
		}
		lost, err := goods.State.Lose(me, req.GetStoneId(), req.GetBroken(), req.GetHow(), orderID, tx.Now())
		if err != nil {
			return nil, err
		}
		if orderID != "" {
			err = BuyFromGoods(tx, node.Coop(), goods, []string{req.GetStoneId()}, orderID)
		} else {
			err = goneAtCuttersCost(tx, goods.ID, req)
		}
		if err != nil {
			return nil, err
		}
		goods.Record(lost)
		return goods, nil
	})
}

func goneAtCuttersCost(tx *eventstore.Tx, approvalID string, req Loss) error {
	st, err := Open(tx, stream.Stone, req.GetStoneId())
	if err != nil {
		return err
	}
	var gone *stonev1.Event
	if gone, err = st.State.Lose(approvalID, req.GetBroken()); err != nil {
		return err
	}
	st.Record(gone)
	return nil
}

// GoodsLimit is what a jeweller may have out in a currency; limited is false where
// there is no limit.
func GoodsLimit(l eventstore.Loader, coopID, currency string, now time.Time) (minor int64, limited bool, err error) {
	settings, err := Settings(l, coopID, now)
	if err != nil {
		return 0, false, err
	}
	minor, limited = settings.GoodsOutLimit(currency)
	return minor, limited, nil
}
