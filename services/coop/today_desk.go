package coop

import (
	"fmt"
	"time"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/correction"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/payout"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"
)

// stonesToConfirm are the stones of all cutters that were checked by somebody else.
func (d *day) stonesToConfirm() error {
	return d.registered("stone", func(id string) (bool, error) {
		st, _, err := eventstore.Load(d.q, stream.Stone, id)
		return err == nil && d.toConfirm(id, st), err
	})
}

// toConfirm notes a stone whose final check waits for a second person.
func (d *day) toConfirm(id string, st stone.State) (full bool) {
	if st.Stage != stone.InStock || st.Check.By == "" || st.Check.Stands() || st.Check.By == d.who.Person {
		return false
	}
	return d.add(StonesToConfirm, namedStone(st), "stone/"+id, time.Time{})
}

func namedStone(st stone.State) string {
	return st.Facts.GetLabel() + ", " + measure.Mass(st.Weighing.GetMassUg()).Carats()
}

// refundsDue is money to pay back: for what came back or was reduced, and for deals
// that fell through.
func (d *day) refundsDue() error {
	if err := d.registered("order", func(id string) (bool, error) {
		o, _, err := eventstore.Load(d.q, stream.Order, id)
		if err != nil {
			return false, err
		}
		var due int64
		for _, l := range o.Lines {
			due += l.RefundDue()
		}
		return due > 0 && d.add(RefundsDue, wire.Text(o.Currency, due)+" to the jeweller", "order/"+id, time.Time{}), nil
	}); err != nil {
		return err
	}
	return d.registered("parcel", func(id string) (bool, error) {
		lot, _, err := eventstore.Load(d.q, stream.Parcel, id)
		if err != nil || !lot.Fallen.Made() || lot.PaidMinor == 0 {
			return false, err
		}
		return d.add(RefundsDue, wire.Text(lot.Currency(), lot.PaidMinor)+" to the buyer, the deal fell through", "parcel/"+id, time.Time{}), nil
	})
}

// purchasesOfAll are purchases whose money should be here by now.
func (d *day) purchasesOfAll() error {
	return d.registered("parcel", func(id string) (bool, error) {
		lot, _, err := eventstore.Load(d.q, stream.Parcel, id)
		if err != nil || !lot.Overdue(d.q.Now()) {
			return false, err
		}
		open := lot.Deal.Agreement.GetPrice().GetMinor() - lot.PaidMinor
		return d.add(PurchasesOverdue, wire.Text(lot.Currency(), open)+" open for "+lot.Label, "parcel/"+id, lot.Deal.DueAt), nil
	})
}

// ordersOfAll are orders whose money should be here by now.
func (d *day) ordersOfAll() error {
	return d.registered("order", func(id string) (bool, error) {
		o, _, err := eventstore.Load(d.q, stream.Order, id)
		if err != nil || !o.Overdue(d.q.Now()) {
			return false, err
		}
		return d.add(OrdersOverdue, wire.Text(o.Currency, o.Open())+" open", "order/"+id, o.PayBy), nil
	})
}

// wrongRuns are the newest runs that don't recompute, and those at the bank that pay what is no longer earned:
// exceptions that desks of money can't leave to others.
func (d *day) wrongRuns(s *Server) error {
	const newest = 5 // each is recomputed from the log
	v := view.Register{}
	found, _, err := judged(d.q, "", newest, func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
		return v.List(view.Newest(q.View(v.Name())), "payout", after, limit)
	}, s.wrongRun)
	if err != nil {
		return err
	}
	above, _, err := judged(d.q, "", maxItems, liveRuns, runAbove)
	for _, e := range append(found, above...) {
		d.addWithin(OpenExceptions, e.Kind+": "+e.What, e.Thing, e.ID, time.Time{})
	}
	return err
}

func (d *day) exceptions(s *Server) error {
	full := false
	for after, pages := "", 0; !full && pages < 20; pages++ {
		some, next, err := s.exceptions(d.q, after, maxItems)
		if err != nil {
			return err
		}
		for _, e := range some {
			full = d.addWithin(OpenExceptions, e.Kind+": "+e.What, e.Thing, e.ID, time.Time{})
		}
		if after = next; next == "" {
			break
		}
	}
	return nil
}

// runs goes through the runs that are live.
func (d *day) runs(kind string, judge func(payout.State) bool) error {
	v := view.Payouts{}
	rows := d.q.View(v.Name())
	return through(func(after string, limit int) ([]string, string, error) { return v.LiveRuns(rows, after, limit) },
		func(id string) (bool, error) {
			run, _, err := eventstore.Load(d.q, stream.Payout, id)
			if err != nil || !judge(run) {
				return false, err
			}
			return d.add(kind, fmt.Sprintf("%s to %d members", wire.Text(run.Currency, run.Total()), len(run.Lines)), "payout/"+id, time.Time{}), nil
		})
}

func (d *day) runsWaiting() error {
	return d.runs(RunsToApprove, func(run payout.State) bool { return run.Stage == payout.Prepared && run.PreparedBy != d.who.Person })
}

func (d *day) linesWaiting() error {
	return d.runs(RunsAtBank, func(run payout.State) bool { return run.Stage == payout.Approved })
}

func (d *day) payable() error {
	shares, payouts := view.Shares{}, view.Payouts{}
	accounts, err := view.Accounts(d.q.View(shares.Name()), d.q.View(payouts.Name()), "")
	if err != nil {
		return err
	}
	sums := map[string]int64{}
	var order []string
	for _, a := range accounts {
		if owed := a.Owed(); owed > 0 {
			if sums[a.Currency] == 0 {
				order = append(order, a.Currency)
			}
			sums[a.Currency] += owed
		}
	}
	for _, currency := range order {
		d.add(ToPayOut, wire.Text(currency, sums[currency])+" is earned and in no run", "", time.Time{})
	}
	return nil
}

func (d *day) correctionsWaiting() error {
	return d.registered("correction", func(id string) (bool, error) {
		c, _, err := eventstore.Load(d.q, stream.Correction, id)
		if err != nil || c.Stage != correction.Waiting || c.ProposedBy == d.who.Person {
			return false, err
		}
		what := "of " + c.About + ": " + c.Reason
		if c.Facts.Amount != nil {
			was, err := amountBefore(d.q, c)
			if err != nil {
				return false, err
			}
			what = wire.Text(c.Facts.Amount.GetCurrency(), c.Facts.Amount.GetMinor()) + " " + what
			if was != nil {
				what = wire.Text(was.GetCurrency(), was.GetMinor()) + " → " + what
			}
		}
		return d.add(ToConfirm, what, "correction/"+id, time.Time{}), nil
	})
}

func (d *day) disputesOpen() error {
	v := view.Payouts{}
	rows := d.q.View(v.Name())
	return through(func(after string, limit int) ([]string, string, error) { return v.OpenDisputes(rows, after, limit) },
		func(id string) (bool, error) {
			x, _, err := eventstore.Load(d.q, stream.Dispute, id)
			if err != nil {
				return false, err
			}
			return d.add(DisputesOpen, wire.Text(x.Currency, x.HeldMinor)+": "+x.Reason, "dispute/"+id, time.Time{}), nil
		})
}

func (d *day) keysWaiting() error {
	v := view.Members{}
	lost, err := v.LostKeys(d.q.View(v.Name()), maxItems)
	if err != nil {
		return err
	}
	for _, k := range lost {
		d.addWithin(KeysToConfirm, "the new one in place of "+k.KeyID, "person/"+k.PersonID, k.KeyID, time.Time{})
	}
	return nil
}
