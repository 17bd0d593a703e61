package coop

import (
	"context"
	"fmt"
	"slices"
	"strings"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/approval"
	"seamshare.example/services/domain/lot"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/payout"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/stock"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"
)

// A list of exceptions goes through these one after the other: what events told of,
// then what follows from sums and dates.
const (
	fromEvents  = "events"
	fromParcels = "parcels"
	fromClosed  = "closed"
	fromLots    = "lots"
	fromGoods   = "goods"
	fromOrders  = "orders"
	fromRuns    = "runs"
	fromLive    = "live"
)

var sources = []string{fromEvents, fromParcels, fromClosed, fromLots, fromGoods, fromOrders, fromRuns, fromLive}

// ListExceptions implements coopv1.CoopServiceServer.
func (s *Server) ListExceptions(ctx context.Context, req *coopv1.ListExceptionsRequest) (*coopv1.ListExceptionsResponse, error) {
	all, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]view.Exception, string, error) {
			if req.GetClosed() {
				v := view.Exceptions{}
				return v.Closed(q.View(v.Name()), after, limit)
			}
			return s.exceptions(q, after, limit)
		},
		func(_ *eventstore.Query, e view.Exception) (*coopv1.Exception, error) {
			return &coopv1.Exception{Id: e.ID, Kind: e.Kind, What: e.What, Thing: e.Thing, MemberIds: e.Members, Note: e.Note, ClosedBy: e.ClosedBy}, nil
		})
	if err != nil {
		return nil, err
	}
	return &coopv1.ListExceptionsResponse{Exceptions: all, NextPageToken: next, Position: position}, nil
}

// exceptions gives those that are open, from one source; next goes on in the next.
func (s *Server) exceptions(q *eventstore.Query, after string, limit int) (all []view.Exception, next string, err error) {
	source, from, _ := strings.Cut(after, "|")
	if after == "" {
		source = sources[0]
	}
	switch source {
	case fromEvents:
		v := view.Exceptions{}
		all, next, err = v.Open(q.View(v.Name()), from, limit)
	case fromParcels:
		all, next, err = judged(q, from, limit, registered("parcel"), s.unexplained)
	case fromClosed:
		all, next, err = judged(q, from, limit, registered(stream.Parcel.Name), openAgain)
	case fromLots:
		all, next, err = judged(q, from, limit, registered(stream.Lot.Name), s.unexplainedLot)
	case fromGoods:
		all, next, err = judged(q, from, limit, overdue, lateGoods)
	case fromOrders:
		all, next, err = judged(q, from, limit, registered(stream.Order.Name), lateOrder)
	case fromRuns:
		all, next, err = judged(q, from, min(limit, 5), registered("payout"), s.wrongRun)
	case fromLive:
		all, next, err = judged(q, from, limit, liveRuns, runAbove)
	}
	if err != nil {
		return nil, "", err
	}
	if next != "" {
		return all, source + "|" + next, nil
	}
	for i, s := range sources[:len(sources)-1] {
		if s == source {
			return all, sources[i+1] + "|", nil
		}
	}
	return all, "", nil
}

// judged gives the exceptions among the things that find finds; those that were closed
// are left out.
func judged(q *eventstore.Query, after string, limit int, find query.Finder[string], judge func(*eventstore.Query, string) (view.Exception, bool, error)) (all []view.Exception, next string, err error) {
	things, next, err := find(q, after, limit)
	if err != nil {
		return nil, "", err
	}
	v := view.Exceptions{}
	for _, id := range things {
		e, is, err := judge(q, id)
		if err != nil {
			return nil, "", err
		}
		if !is {
			continue
		}
		closed, err := v.WasClosed(q.View(v.Name()), e.ID)
		if err != nil {
			return nil, "", err
		}
		if !closed {
			all = append(all, e)
		}
	}
	return all, next, nil
}

// unexplained judges a parcel's mass balance. Its id holds the mass, so that an
// exception that was closed comes back when the mass changes.
func (s *Server) unexplained(q *eventstore.Query, id string) (e view.Exception, is bool, err error) {
	v := view.Yields{}
	y, ok, err := v.Yield(q.View(v.Name()), id)
	if err != nil || !ok {
		return e, false, err
	}
	settings, err := command.Settings(q, s.node.Coop(), q.Now())
	if err != nil {
		return e, false, err
	}
	allowed := settings.ToleranceUg(y.BoughtUg)
	if abs(y.UnexplainedUg) <= allowed {
		return e, false, nil
	}
	of, _, err := eventstore.Load(q, stream.Parcel, id)
	return view.Exception{
		ID: fmt.Sprintf("mass-%s-%d", id, y.UnexplainedUg), Kind: view.UnexplainedMass, Thing: "parcel/" + id, Members: present(of.Seller, of.Deal.Buyer),
		What: fmt.Sprintf("%s of %s is unexplained, where %s may be", measure.Mass(y.UnexplainedUg), measure.Mass(y.BoughtUg), measure.Mass(allowed)),
	}, true, err
}

// openAgain judges a parcel that was closed with all of it paid: a correction since may
// have left money open. Its id holds the amounts, so that one that was looked into comes
// back when they change.
func openAgain(q *eventstore.Query, id string) (e view.Exception, is bool, err error) {
	of, _, err := eventstore.Load(q, stream.Parcel, id)
	if err != nil || !of.Done {
		return e, false, err
	}
	left, err := command.Leftover(q, of)
	if err != nil {
		return e, false, err
	}
	open := of.LastDeal().Agreement.GetPrice().GetMinor() - of.PaidMinor
	if open <= 0 && len(left.Unpaid) == 0 {
		return e, false, nil
	}
	var what []string
	if open > 0 {
		what = append(what, wire.Text(of.Currency(), open)+" of its price")
	}
	if len(left.Unpaid) > 0 {
		what = append(what, "the price of "+strings.Join(left.Unpaid, ", "))
	}
	return view.Exception{
		ID: fmt.Sprintf("closed-%s-%d-%d", id, max(0, open), left.UnpaidMinor), Kind: view.ClosedNotPaid, Thing: "parcel/" + id,
		Members: present(of.Seller, of.Deal.Buyer), What: "the parcel was closed as paid, and " + strings.Join(what, " and ") + " is open by now",
	}, true, nil
}

// unexplainedLot judges what a counted lot's weighings disagree by. Once it is unmade,
// that is its parcel's.
func (s *Server) unexplainedLot(q *eventstore.Query, id string) (e view.Exception, is bool, err error) {
	l, _, err := eventstore.Load(q, stream.Lot, id)
	if err != nil || l.Facts == nil || l.Stage == lot.Unmade {
		return e, false, err
	}
	settings, err := command.Settings(q, s.node.Coop(), q.Now())
	if err != nil {
		return e, false, err
	}
	made := l.Facts.GetWeighing().GetMassUg()
	allowed := settings.ToleranceUg(made)
	if abs(l.UnexplainedUg) <= allowed {
		return e, false, nil
	}
	return view.Exception{
		ID: fmt.Sprintf("lot-%s-%d", id, l.UnexplainedUg), Kind: view.UnexplainedMass, Thing: "lot/" + id, Members: present(l.Facts.GetCutterId()),
		What: fmt.Sprintf("%s of %s is unexplained, where %s may be", measure.Mass(l.UnexplainedUg), measure.Mass(made), measure.Mass(allowed)),
	}, true, nil
}

func abs(n int64) int64 { return max(n, -n) }

func present(members ...string) (some []string) {
	for _, m := range members {
		if m != "" {
			some = append(some, m)
		}
	}
	return some
}

func overdue(q *eventstore.Query, after string, limit int) ([]string, string, error) {
	v := view.Selling{}
	return v.Overdue(q.View(v.Name()), q.Now(), after, limit)
}

func lateGoods(q *eventstore.Query, id string) (view.Exception, bool, error) {
	a, _, err := eventstore.Load(q, stream.Approval, id)
	if err != nil {
		return view.Exception{}, false, err
	}
	return view.Exception{
		ID: fmt.Sprintf("overdue-%s-%d", id, a.DueAt.Unix()), Kind: view.OverdueApproval, Thing: "approval/" + id, Members: present(a.Cutter, a.Jeweller),
		What: "the goods were due on " + rule.Moment(a.DueAt),
	}, a.Stage(q.Now()) == approval.Overdue, nil
}

// lateOrder judges whether an order's money should be here by now.
func lateOrder(q *eventstore.Query, id string) (view.Exception, bool, error) {
	o, _, err := eventstore.Load(q, stream.Order, id)
	if err != nil || !o.Overdue(q.Now()) {
		return view.Exception{}, false, err
	}
	members := []string{o.Buyer}
	for _, l := range o.Lines {
		if !slices.Contains(members, l.Seller) {
			members = append(members, l.Seller)
		}
	}
	return view.Exception{
		ID: fmt.Sprintf("unpaid-%s-%d", id, o.PayBy.Unix()), Kind: view.OrderNotPaid, Thing: "order/" + id, Members: members,
		What: wire.Text(o.Currency, o.Open()) + " was to be paid by " + rule.Moment(o.PayBy),
	}, true, nil
}

func (s *Server) wrongRun(q *eventstore.Query, id string) (view.Exception, bool, error) {
	if _, sound := s.sound.Load(id); sound {
		return view.Exception{}, false, nil
	}
	differences, ok, err := view.CheckPayout(q, id)
	if err != nil || !ok {
		return view.Exception{}, false, err
	}
	if len(differences) == 0 {
		s.sound.Store(id, nil)
		return view.Exception{}, false, nil
	}
	return view.Exception{
		ID: "payout-" + id, Kind: view.PayoutDiffers, Thing: "payout/" + id, What: differences[0].String(), Members: []string{differences[0].MemberID},
	}, true, nil
}

func liveRuns(q *eventstore.Query, after string, limit int) ([]string, string, error) {
	v := view.Payouts{}
	return v.LiveRuns(q.View(v.Name()), after, limit)
}

// runAbove judges whether the bank is about to pay what is no longer earned. One that waits for its approval is refused
// there. Its id holds the amount, so that one that was looked into comes back when that changes.
func runAbove(q *eventstore.Query, id string) (e view.Exception, is bool, err error) {
	run, _, err := eventstore.Load(q, stream.Payout, id)
	if err != nil || run.Stage != payout.Approved {
		return e, false, err
	}
	var what, members []string
	var sum int64
	for _, l := range run.Lines {
		p, err := payee(q, run.Currency, l.Member)
		if err != nil {
			return e, false, err
		}
		if earned, above := l.Above(p); above && l.Stage == payout.Waiting {
			what = append(what, fmt.Sprintf("line %s pays %s, and by now %s of it is earned", l.ID, wire.Text(run.Currency, l.Pays()), wire.Text(run.Currency, earned)))
			members, sum = append(members, l.Member), sum+l.Pays()-earned
		}
	}
	return view.Exception{
		ID: fmt.Sprintf("above-%s-%d", id, sum), Kind: view.PayoutAbove, Thing: "payout/" + id, Members: members,
		What: strings.Join(what, "; "),
	}, len(what) > 0, nil
}

// CloseException implements coopv1.CoopServiceServer. What follows from sums is reckoned
// before the decision; that nobody closed it meanwhile is the decision's.
func (s *Server) CloseException(ctx context.Context, req *coopv1.CloseExceptionRequest) (*coopv1.CloseExceptionResponse, error) {
	who := access.Caller(ctx)
	id := req.GetExceptionId()
	if err := s.before(ctx, req.GetMinPosition(), func(q *eventstore.Query) error { return s.isOpen(q, id) }); err != nil {
		return nil, err
	}
	did, err := command.Run(ctx, s.node, req, stream.Exception, func(tx *eventstore.Tx) (*command.Thing[stock.Looked], error) {
		e, err := command.Open(tx, stream.Exception, id)
		if err != nil {
			return nil, err
		}
		closed, err := e.State.Close(id, who.Person, req.GetNote())
		if err != nil {
			return nil, err
		}
		e.Record(closed)
		return e, nil
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.CloseExceptionResponse{ExceptionId: did.ID, Position: uint64(did.Position)}, nil
}

// isOpen refuses an exception that isn't there. One that was closed is left to the
// decision, which answers a repeat.
func (s *Server) isOpen(q *eventstore.Query, id string) error {
	v := view.Exceptions{}
	rows := q.View(v.Name())
	if closed, err := v.WasClosed(rows, id); err != nil || closed {
		return err
	}
	if _, ok, err := v.Find(rows, id); err != nil || ok {
		return err
	}
	var e view.Exception
	var is bool
	var err error
	switch kind, thing, _ := strings.Cut(id, "-"); kind {
	case "mass":
		e, is, err = s.unexplained(q, withoutMass(thing))
	case "closed":
		parcelID, _, _ := strings.Cut(thing, "-")
		e, is, err = openAgain(q, parcelID)
	case "lot":
		e, is, err = s.unexplainedLot(q, withoutMass(thing))
	case "overdue":
		approvalID, _, _ := strings.Cut(thing, "-")
		e, is, err = lateGoods(q, approvalID)
	case "unpaid":
		orderID, _, _ := strings.Cut(thing, "-")
		e, is, err = lateOrder(q, orderID)
	case "payout":
		e, is, err = s.wrongRun(q, thing)
	case "above":
		runID, _, _ := strings.Cut(thing, "-")
		e, is, err = runAbove(q, runID)
	}
	if err == nil && (!is || e.ID != id) {
		err = rule.NotThere("exception_id", "open exception")
	}
	return err
}

// withoutMass is the id in front of a mass, which may be below zero.
func withoutMass(thing string) string {
	return strings.TrimRight(strings.TrimRight(thing, "0123456789"), "-")
}
