package coop

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
)

// Bounds of a day: so many items of each kind, and so many things looked through for
// them, the newest first.
const (
	maxItems  = 20
	maxLooked = 2000
)

// The kinds of things to do, as they are answered.
const (
	OffersWaiting    = "offers waiting"
	ViewingsAsked    = "viewings asked for"
	ViewingsAgreed   = "viewings agreed"
	ViewingsOut      = "viewings under way"
	ToWeigh          = "handovers to weigh"
	GoingBack        = "rough going back, to weigh"
	DealsUnpaid      = "deals unpaid"
	ShareEarned      = "share earned"
	ShareInRun       = "share in a payout run"
	CountersWaiting  = "counter-offers waiting"
	PurchasesUnpaid  = "purchases unpaid"
	PartsWaiting     = "parts waiting for a decision"
	RestOver         = "rest over"
	StonesToCheck    = "stones to check"
	StonesToConfirm  = "stones to confirm"
	ApprovalsAsked   = "stones asked for on approval"
	GoodsOverdue     = "goods overdue"
	OrdersToSend     = "orders to send"
	OrdersOverdue    = "orders overdue"
	ClaimsToAnswer   = "damage claims to answer"
	ReturnsComing    = "returns coming"
	PromisesDue      = "promises due"
	HoldsEnding      = "holds ending"
	GoodsDue         = "goods due back"
	OrdersUnpaid     = "orders unpaid"
	OrdersToReceive  = "orders to receive"
	ReturnsToSend    = "returns to send"
	PromisesToAnswer = "promises to answer"
	PromisesNotKept  = "promises not kept"
	SaidOtherwise    = "stones said to be something else"
	RunsAtBank       = "runs at the bank"
	ToPayOut         = "money to pay out"
	RefundsDue       = "refunds due"
	PurchasesOverdue = "purchases overdue"
	RunsToApprove    = "runs to approve"
	ToConfirm        = "corrections to confirm"
	DisputesOpen     = "disputes"
	KeysToConfirm    = "lost keys to confirm"
	OpenExceptions   = "exceptions"
)

// Today implements coopv1.CoopServiceServer.
func (s *Server) Today(ctx context.Context, req *coopv1.TodayRequest) (*coopv1.TodayResponse, error) {
	who := access.Caller(ctx)
	out := &coopv1.TodayResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		p, _, err := eventstore.Load(q, stream.Person, who.Person)
		if err != nil {
			return err
		}
		m, _, err := eventstore.Load(q, stream.Member, who.Member)
		if err != nil {
			return err
		}
		d := day{q: q, coop: s.node.Coop(), who: who}
		for _, role := range p.In(m) {
			d.role = typev1.Role(role)
			if err := d.look(s, role); err != nil {
				return fmt.Errorf("couldn't look through the day of a %v: %w", role, err)
			}
		}
		out.Items = d.sorted()
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// day gathers what needs a person's attention.
type day struct {
	q     *eventstore.Query
	coop  string
	who   access.Identity
	role  typev1.Role
	items []*coopv1.TodayItem
}

func (d *day) look(s *Server, role memberv1.Role) error {
	wrongRuns := func() error { return d.wrongRuns(s) }
	exceptions := func() error { return d.exceptions(s) }
	switch role {
	case memberv1.Role_ROLE_MINER:
		return all(d.offersWaiting, d.viewingsOfMine, d.toHandOver, d.dealsUnpaid, d.share)
	case memberv1.Role_ROLE_CUTTER:
		return all(d.countersWaiting, d.viewingsToCome, d.toReceive, d.purchasesUnpaid, d.bench, d.stonesOfMine, d.goodsOfMine, d.sales, d.promisesDue, d.share)
	case memberv1.Role_ROLE_JEWELLER:
		return all(d.holdsEnding, d.goodsDue, d.ordersOfMine, d.promisesToMe, d.saidOtherwise)
	case memberv1.Role_ROLE_STOCK_KEEPER:
		return all(d.stonesToConfirm, exceptions)
	case memberv1.Role_ROLE_BOOKKEEPER:
		return all(d.linesWaiting, d.payable, d.refundsDue, d.purchasesOfAll, d.ordersOfAll, wrongRuns)
	case memberv1.Role_ROLE_APPROVER:
		return all(d.runsWaiting, d.correctionsWaiting, d.disputesOpen, d.keysWaiting, wrongRuns)
	case memberv1.Role_ROLE_REGISTRAR:
		return d.keysWaiting()
	case memberv1.Role_ROLE_AUDITOR:
		return exceptions()
	}
	return nil
}

func all(looks ...func() error) error {
	for _, look := range looks {
		if err := look(); err != nil {
			return err
		}
	}
	return nil
}

// add notes something to do, unless there are enough of its kind; full says that there
// are.
func (d *day) add(kind, what, thing string, due time.Time) (full bool) {
	return d.addWithin(kind, what, thing, "", due)
}

// addWithin is add where the thing has several that it may be about.
func (d *day) addWithin(kind, what, thing, within string, due time.Time) (full bool) {
	n := 0
	for _, item := range d.items {
		if item.Kind == kind && item.Role == d.role {
			n++
		}
	}
	if n >= maxItems {
		return true
	}
	item := &coopv1.TodayItem{Kind: kind, What: what, Thing: thing, Within: within, Role: d.role}
	if !due.IsZero() {
		item.Due = due.UTC().Format(time.RFC3339)
	}
	d.items = append(d.items, item)
	return n+1 == maxItems
}

// sorted are the items by role and kind, in the order these were looked for; of one
// kind what is due first, then what has no day.
func (d *day) sorted() []*coopv1.TodayItem {
	type group struct {
		role typev1.Role
		kind string
	}
	rank := map[group]int{}
	for _, item := range d.items {
		g := group{item.Role, item.Kind}
		if _, ok := rank[g]; !ok {
			rank[g] = len(rank)
		}
	}
	slices.SortStableFunc(d.items, func(a, b *coopv1.TodayItem) int {
		return cmp.Or(
			cmp.Compare(rank[group{a.Role, a.Kind}], rank[group{b.Role, b.Kind}]),
			-cmp.Compare(min(1, len(a.Due)), min(1, len(b.Due))),
			cmp.Compare(a.Due, b.Due))
	})
	return d.items
}

// through goes through a list, newest first, until judge has enough.
func through[T any](find func(after string, limit int) ([]T, string, error), judge func(T) (enough bool, err error)) error {
	looked := 0
	for after, more := "", true; more; {
		some, next, err := find(after, view.MaxPage)
		if err != nil {
			return err
		}
		for _, t := range some {
			enough, err := judge(t)
			if looked++; err != nil || enough || looked == maxLooked {
				return err
			}
		}
		after, more = next, next != ""
	}
	return nil
}

// listed goes through a list of the caller's in a view.
func (d *day) listed(name string, find func(r eventstore.Reader, member, after string, limit int) ([]string, string, error), judge func(id string) (enough bool, err error)) error {
	rows := view.Newest(d.q.View(name))
	return through(func(after string, limit int) ([]string, string, error) { return find(rows, d.who.Member, after, limit) }, judge)
}

// registered goes through all things of a kind.
func (d *day) registered(kind string, judge func(id string) (enough bool, err error)) error {
	v := view.Register{}
	rows := view.Newest(d.q.View(v.Name()))
	return through(func(after string, limit int) ([]string, string, error) { return v.List(rows, kind, after, limit) }, judge)
}

// stones is a number of stones: "1 stone", "2 stones".
func stones(n int) string {
	if n == 1 {
		return "1 stone"
	}
	return fmt.Sprintf("%d stones", n)
}
