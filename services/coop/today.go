package coop

import (
	"context"
	"fmt"
	"time"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/domain/approval"
	"seamshare.example/services/domain/correction"
	"seamshare.example/services/domain/hold"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/payout"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"
)

// Bounds of a day: so many items of each kind, and so many things looked through for
// them.
const (
	maxItems  = 20
	maxLooked = 2000
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
		d := day{q: q, who: who}
		for _, role := range p.In(m) {
			d.role = typev1.Role(role)
			if err := d.look(s, role); err != nil {
				return fmt.Errorf("couldn't look through the day of a %v: %w", role, err)
			}
		}
		out.Items = d.items
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
	who   access.Identity
	role  typev1.Role
	items []*coopv1.TodayItem
}

func (d *day) look(s *Server, role memberv1.Role) error {
	switch role {
	case memberv1.Role_ROLE_MINER:
		return d.all(d.offersWaiting, d.viewingsAsked, d.toHandOver)
	case memberv1.Role_ROLE_CUTTER:
		return d.all(d.countersWaiting, d.toReceive, d.partsWaiting, d.approvalsAsked, d.toDispatch)
	case memberv1.Role_ROLE_JEWELLER:
		return d.all(d.holdsEnding, d.unpaidOrders, d.goodsDue)
	case memberv1.Role_ROLE_STOCK_KEEPER:
		return d.exceptions(s)
	case memberv1.Role_ROLE_BOOKKEEPER:
		return d.all(d.linesWaiting, d.payable)
	case memberv1.Role_ROLE_APPROVER:
		return d.all(d.runsWaiting, d.correctionsWaiting, d.disputesOpen, d.keysWaiting)
	case memberv1.Role_ROLE_REGISTRAR:
		return d.keysWaiting()
	case memberv1.Role_ROLE_AUDITOR:
		return d.exceptions(s)
	}
	return nil
}

func (d *day) all(looks ...func() error) error {
	for _, look := range looks {
		if err := look(); err != nil {
			return err
		}
	}
	return nil
}

func (d *day) add(kind, what, thing string, due time.Time) {
	item := &coopv1.TodayItem{Kind: kind, What: what, Thing: thing, Role: d.role}
	if !due.IsZero() {
		item.Due = due.UTC().Format(time.RFC3339)
	}
	d.items = append(d.items, item)
}

// through goes through a list until it has found enough.
func through[T any](find func(after string, limit int) ([]T, string, error), judge func(T) (is bool, err error)) error {
	found, looked := 0, 0
	for after, more := "", true; more; {
		some, next, err := find(after, view.MaxPage)
		if err != nil {
			return err
		}
		for _, t := range some {
			is, err := judge(t)
			if err != nil {
				return err
			}
			if is {
				found++
			}
			if looked++; found == maxItems || looked == maxLooked {
				return nil
			}
		}
		after, more = next, next != ""
	}
	return nil
}

// offers goes through offers that wait for the caller's word.
func (d *day) offers(find func(eventstore.Reader, string, string, int) ([]view.OfParcel, string, error), bySeller bool, kind string) error {
	v := view.Parcels{}
	rows := d.q.View(v.Name())
	return through(func(after string, limit int) ([]view.OfParcel, string, error) {
		return find(rows, d.who.Member, after, limit)
	},
		func(of view.OfParcel) (bool, error) {
			lot, _, err := eventstore.Load(d.q, stream.Parcel, of.ParcelID)
			if err != nil {
				return false, err
			}
			o, ok := lot.Offer(of.ID)
			if !ok || o.BySeller() != bySeller || lot.OfferStage(o, d.q.Now()) != parcel.Open {
				return false, nil
			}
			price := o.Agreement.GetPrice()
			d.add(kind, fmt.Sprintf("%s for %s", wire.Text(price.GetCurrency(), price.GetMinor()), lot.Label), "parcel/"+lot.ID, o.EndsAt)
			return true, nil
		})
}

func (d *day) offersWaiting() error {
	return d.offers(view.Parcels{}.OffersTo, false, "offers waiting")
}

func (d *day) countersWaiting() error {
	return d.offers(view.Parcels{}.OffersBy, true, "counter-offers waiting")
}

func (d *day) viewingsAsked() error {
	v := view.Parcels{}
	rows := d.q.View(v.Name())
	return through(func(after string, limit int) ([]view.OfParcel, string, error) {
		return v.ViewingsOf(rows, d.who.Member, after, limit)
	},
		func(of view.OfParcel) (bool, error) {
			lot, _, err := eventstore.Load(d.q, stream.Parcel, of.ParcelID)
			if err != nil {
				return false, err
			}
			for _, viewing := range lot.Viewings {
				if viewing.ID == of.ID && viewing.Stage == parcel.ViewingAsked {
					d.add("viewings asked for", lot.Label, "parcel/"+lot.ID, time.Time{})
					return true, nil
				}
			}
			return false, nil
		})
}

// handovers goes through parcels that the caller has still to weigh.
func (d *day) handovers(find func(eventstore.Reader, string, string, int) ([]string, string, error), word func(parcel.State) parcel.Word) error {
	v := view.Parcels{}
	rows := d.q.View(v.Name())
	return through(func(after string, limit int) ([]string, string, error) { return find(rows, d.who.Member, after, limit) },
		func(id string) (bool, error) {
			lot, _, err := eventstore.Load(d.q, stream.Parcel, id)
			if err != nil || lot.Stage(d.q.Now()) != parcel.Agreed || word(lot).Given() {
				return false, err
			}
			d.add("handovers to weigh", lot.Label, "parcel/"+id, time.Time{})
			return true, nil
		})
}

func (d *day) toHandOver() error {
	return d.handovers(view.Parcels{}.BySeller, func(s parcel.State) parcel.Word { return s.SellerWord })
}

func (d *day) toReceive() error {
	return d.handovers(view.Parcels{}.ByBuyer, func(s parcel.State) parcel.Word { return s.BuyerWord })
}

func (d *day) partsWaiting() error {
	v := view.Parcels{}
	rows := d.q.View(v.Name())
	return through(func(after string, limit int) ([]string, string, error) {
		return v.ByBuyer(rows, d.who.Member, after, limit)
	},
		func(id string) (bool, error) {
			lot, _, err := eventstore.Load(d.q, stream.Parcel, id)
			if err != nil || lot.Stage(d.q.Now()) != parcel.HandedOver {
				return false, err
			}
			found := false
			for _, l := range lot.Lines {
				rough, _, err := eventstore.Load(d.q, stream.Piece, l.PieceID)
				if err != nil {
					return false, err
				}
				for _, part := range rough.Parts {
					if part.Waits != "" && len(d.items) < 10*maxItems {
						d.add("parts waiting for a decision", fmt.Sprintf("%s-%s: %s", lot.Label, part.Name, part.Waits), "piece/"+rough.ID, time.Time{})
						found = true
					}
				}
			}
			return found, nil
		})
}

// goods goes through goods on approval or consignment that stand somewhere.
func (d *day) goods(find func(eventstore.Reader, string, string, int) ([]string, string, error), kind string, stages ...approval.Stage) error {
	v := view.Selling{}
	rows := d.q.View(v.Name())
	return through(func(after string, limit int) ([]string, string, error) { return find(rows, d.who.Member, after, limit) },
		func(id string) (bool, error) {
			a, _, err := eventstore.Load(d.q, stream.Approval, id)
			if err != nil {
				return false, err
			}
			for _, stage := range stages {
				if a.Stage(d.q.Now()) == stage {
					d.add(kind, fmt.Sprintf("%d stones", len(a.StoneIDs)), "approval/"+id, a.DueAt)
					return true, nil
				}
			}
			return false, nil
		})
}

func (d *day) approvalsAsked() error {
	return d.goods(view.Selling{}.ApprovalsOf, "stones asked for on approval", approval.Asked)
}

func (d *day) goodsDue() error {
	return d.goods(view.Selling{}.ApprovalsBy, "goods due back", approval.AllOut, approval.Overdue)
}

func (d *day) toDispatch() error {
	v := view.Selling{}
	rows := d.q.View(v.Name())
	return through(func(after string, limit int) ([]string, string, error) {
		return v.SalesOf(rows, d.who.Member, after, limit)
	},
		func(id string) (bool, error) {
			o, _, err := eventstore.Load(d.q, stream.Order, id)
			if err != nil || o.Stage() != order.Placed || o.Open() > 0 {
				return false, err
			}
			d.add("orders to send", fmt.Sprintf("%d stones, paid", len(o.Lines)), "order/"+id, time.Time{})
			return true, nil
		})
}

func (d *day) holdsEnding() error {
	v := view.Selling{}
	rows := d.q.View(v.Name())
	return through(func(after string, limit int) ([]string, string, error) {
		return v.HoldsBy(rows, d.who.Member, after, limit)
	},
		func(id string) (bool, error) {
			h, _, err := eventstore.Load(d.q, stream.Hold, id)
			if err != nil || h.Stage(d.q.Now()) != hold.Open {
				return false, err
			}
			d.add("holds ending", fmt.Sprintf("%d stones", len(h.StoneIDs)), "hold/"+id, h.EndsAt)
			return true, nil
		})
}

func (d *day) unpaidOrders() error {
	v := view.Orders{}
	rows := d.q.View(v.Name())
	return through(func(after string, limit int) ([]string, string, error) {
		return v.ByBuyer(rows, d.who.Member, after, limit)
	},
		func(id string) (bool, error) {
			o, _, err := eventstore.Load(d.q, stream.Order, id)
			if err != nil || o.Open() == 0 || o.Stage() == order.Cancelled {
				return false, err
			}
			d.add("orders unpaid", wire.Text(o.Currency, o.Open())+" open", "order/"+id, time.Time{})
			return true, nil
		})
}

func (d *day) exceptions(s *Server) error {
	found := 0
	for after, pages := "", 0; found < maxItems && pages < 20; pages++ {
		some, next, err := s.exceptions(d.q, after, maxItems)
		if err != nil {
			return err
		}
		for _, e := range some {
			if found++; found <= maxItems {
				d.add("exceptions", e.Kind+": "+e.What, e.Thing, time.Time{})
			}
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
			d.add(kind, fmt.Sprintf("%s to %d members", wire.Text(run.Currency, run.Total()), len(run.Lines)), "payout/"+id, time.Time{})
			return true, nil
		})
}

func (d *day) runsWaiting() error {
	return d.runs("runs to approve", func(run payout.State) bool { return run.Stage == payout.Prepared && run.PreparedBy != d.who.Person })
}

func (d *day) linesWaiting() error {
	return d.runs("runs at the bank", func(run payout.State) bool { return run.Stage == payout.Approved })
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
		d.add("money to pay out", wire.Text(currency, sums[currency])+" is earned and in no run", "", time.Time{})
	}
	return nil
}

func (d *day) correctionsWaiting() error {
	return through(func(after string, limit int) ([]string, string, error) {
		return registered("correction")(d.q, after, limit)
	},
		func(id string) (bool, error) {
			c, _, err := eventstore.Load(d.q, stream.Correction, id)
			if err != nil || c.Stage != correction.Waiting || c.ProposedBy == d.who.Person {
				return false, err
			}
			d.add("corrections to confirm", c.Reason, "correction/"+id, time.Time{})
			return true, nil
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
			d.add("disputes", wire.Text(x.Currency, x.HeldMinor)+": "+x.Reason, "dispute/"+id, time.Time{})
			return true, nil
		})
}

func (d *day) keysWaiting() error {
	v := view.Members{}
	lost, err := v.LostKeys(d.q.View(v.Name()), maxItems)
	if err != nil {
		return err
	}
	for _, k := range lost {
		d.add("lost keys to confirm", "key "+k.KeyID, "person/"+k.PersonID, time.Time{})
	}
	return nil
}
