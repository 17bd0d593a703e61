package coop

import (
	"fmt"
	"slices"
	"time"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/approval"
	"seamshare.example/services/domain/hold"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/promise"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"
)

// ofParcels goes through what the caller has with parcels: offers or viewings.
func (d *day) ofParcels(find func(eventstore.Reader, string, string, int) ([]view.OfParcel, string, error), judge func(lot parcel.State, id string) (enough bool)) error {
	rows := view.Newest(d.q.View(view.Parcels{}.Name()))
	return through(func(after string, limit int) ([]view.OfParcel, string, error) {
		return find(rows, d.who.Member, after, limit)
	},
		func(of view.OfParcel) (bool, error) {
			lot, _, err := eventstore.Load(d.q, stream.Parcel, of.ParcelID)
			return err == nil && judge(lot, of.ID), err
		})
}

// offers goes through offers that wait for the caller's word.
func (d *day) offers(find func(eventstore.Reader, string, string, int) ([]view.OfParcel, string, error), bySeller bool, kind string) error {
	return d.ofParcels(find, func(lot parcel.State, id string) bool {
		o, ok := lot.Offer(id)
		if !ok || o.BySeller() != bySeller || lot.OfferStage(o, d.q.Now()) != parcel.Open {
			return false
		}
		price := o.Agreement.GetPrice()
		return d.addWithin(kind, fmt.Sprintf("%s for %s", wire.Text(price.GetCurrency(), price.GetMinor()), lot.Label), "parcel/"+lot.ID, o.ID, o.EndsAt)
	})
}

func (d *day) offersWaiting() error { return d.offers(view.Parcels{}.OffersTo, false, OffersWaiting) }

func (d *day) countersWaiting() error {
	return d.offers(view.Parcels{}.OffersBy, true, CountersWaiting)
}

func (d *day) viewings(find func(eventstore.Reader, string, string, int) ([]view.OfParcel, string, error), kinds map[parcel.ViewingStage]string) error {
	return d.ofParcels(find, func(lot parcel.State, id string) bool {
		v, ok := lot.Viewing(id)
		if kind := kinds[v.Stage]; ok && kind != "" {
			d.addWithin(kind, lot.Label, "parcel/"+lot.ID, v.ID, v.At)
		}
		return false
	})
}

func (d *day) viewingsOfMine() error {
	return d.viewings(view.Parcels{}.ViewingsOf, map[parcel.ViewingStage]string{
		parcel.ViewingAsked: ViewingsAsked, parcel.ViewingAgreed: ViewingsAgreed, parcel.ViewingOut: ViewingsOut,
	})
}

func (d *day) viewingsToCome() error {
	return d.viewings(view.Parcels{}.ViewingsBy, map[parcel.ViewingStage]string{parcel.ViewingAgreed: ViewingsAgreed, parcel.ViewingOut: ViewingsOut})
}

// parcels goes through the parcels that the caller sold or bought.
func (d *day) parcels(find func(eventstore.Reader, string, string, int) ([]string, string, error), judge func(lot parcel.State) (enough bool, err error)) error {
	return d.listed(view.Parcels{}.Name(), find, func(id string) (bool, error) {
		lot, _, err := eventstore.Load(d.q, stream.Parcel, id)
		if err != nil {
			return false, err
		}
		return judge(lot)
	})
}

// handovers are rough that the caller has still to weigh, on its way there or back.
func (d *day) handovers(find func(eventstore.Reader, string, string, int) ([]string, string, error), word func(parcel.State) parcel.Word) error {
	return d.parcels(find, func(lot parcel.State) (bool, error) {
		kind := map[parcel.Stage]string{parcel.Agreed: ToWeigh, parcel.ComingBack: GoingBack}[lot.Stage(d.q.Now())]
		if kind != "" && !word(lot).Given() {
			d.add(kind, lot.Label, "parcel/"+lot.ID, time.Time{})
		}
		return false, nil
	})
}

func (d *day) toHandOver() error {
	return d.handovers(view.Parcels{}.BySeller, func(s parcel.State) parcel.Word { return s.SellerWord })
}

func (d *day) toReceive() error {
	return d.handovers(view.Parcels{}.ByBuyer, func(s parcel.State) parcel.Word { return s.BuyerWord })
}

// unpaid are deals whose purchase money isn't all there.
func (d *day) unpaid(find func(eventstore.Reader, string, string, int) ([]string, string, error), kind string) error {
	return d.parcels(find, func(lot parcel.State) (bool, error) {
		open := lot.Deal.Agreement.GetPrice().GetMinor() - lot.PaidMinor
		return lot.Deal.Made() && open > 0 && d.add(kind, wire.Text(lot.Currency(), open)+" for "+lot.Label, "parcel/"+lot.ID, lot.Deal.DueAt), nil
	})
}

func (d *day) dealsUnpaid() error { return d.unpaid(view.Parcels{}.BySeller, DealsUnpaid) }

func (d *day) purchasesUnpaid() error { return d.unpaid(view.Parcels{}.ByBuyer, PurchasesUnpaid) }

// share is what the caller has earned and not been paid, once for who has several
// roles.
func (d *day) share() error {
	if slices.ContainsFunc(d.items, func(i *coopv1.TodayItem) bool { return i.Kind == ShareEarned || i.Kind == ShareInRun }) {
		return nil
	}
	shares, payouts := view.Shares{}, view.Payouts{}
	accounts, err := view.Accounts(d.q.View(shares.Name()), d.q.View(payouts.Name()), d.who.Member)
	if err != nil {
		return err
	}
	for _, a := range accounts {
		if owed := a.Owed(); owed > 0 {
			d.add(ShareEarned, wire.Text(a.Currency, owed)+", in no payout run yet", "", time.Time{})
		}
		if a.Taken.Live > 0 {
			d.add(ShareInRun, wire.Text(a.Currency, a.Taken.Live), "", time.Time{})
		}
	}
	return nil
}

// bench are parts that wait for a decision, and those that have rested after shaping
// and weren't touched since.
func (d *day) bench() error {
	settings, err := command.Settings(d.q, d.coop, d.q.Now())
	if err != nil {
		return err
	}
	pieces := 0
	return d.parcels(view.Parcels{}.ByBuyer, func(lot parcel.State) (bool, error) {
		if lot.Stage(d.q.Now()) != parcel.HandedOver {
			return false, nil
		}
		for _, l := range lot.Lines {
			rough, _, err := eventstore.Load(d.q, stream.Piece, l.PieceID)
			if err != nil {
				return false, err
			}
			for _, part := range rough.Parts {
				name, rested := lot.Label+"-"+part.Name, time.UnixMicro(part.ShapedUs).Add(settings.Wait())
				switch {
				case part.Fate == piece.Waiting:
					if waits := part.Of(lot.Deal.Buyer).Waits; waits != "" {
						name += ": " + waits
					}
					d.addWithin(PartsWaiting, name, "piece/"+rough.ID, part.Name, time.Time{})
				case part.Fate == piece.InWork && part.Shaped() && part.LastUs < rested.UnixMicro() && !d.q.Now().Before(rested):
					d.addWithin(RestOver, name, "piece/"+rough.ID, part.Name, time.Time{})
				}
			}
			if pieces++; pieces == maxLooked {
				return true, nil
			}
		}
		return false, nil
	})
}

// stonesOfMine are the cutter's stones before their final check stands.
func (d *day) stonesOfMine() error {
	v := view.Stones{}
	return d.listed(v.Name(), v.ByCutter, func(id string) (bool, error) {
		st, _, err := eventstore.Load(d.q, stream.Stone, id)
		switch {
		case err != nil || st.Stage != stone.InStock:
		case st.Check.By == "":
			d.add(StonesToCheck, namedStone(st), "stone/"+id, time.Time{})
		default:
			d.toConfirm(id, st)
		}
		return false, err
	})
}

// goods goes through goods on approval or consignment that stand somewhere.
func (d *day) goods(find func(eventstore.Reader, string, string, int) ([]string, string, error), kinds map[approval.Stage]string) error {
	return d.listed(view.Selling{}.Name(), find, func(id string) (bool, error) {
		a, _, err := eventstore.Load(d.q, stream.Approval, id)
		if err != nil {
			return false, err
		}
		out := len(a.StoneIDs)
		if a.Sent {
			out = 0
			for _, l := range a.Lines {
				if l.Stage == approval.Out {
					out++
				}
			}
		}
		if kind := kinds[a.Stage(d.q.Now())]; kind != "" {
			d.add(kind, stones(out), "approval/"+id, a.DueAt)
		}
		return false, nil
	})
}

func (d *day) goodsOfMine() error {
	return d.goods(view.Selling{}.ApprovalsOf, map[approval.Stage]string{approval.Asked: ApprovalsAsked, approval.Overdue: GoodsOverdue})
}

func (d *day) goodsDue() error {
	return d.goods(view.Selling{}.ApprovalsBy, map[approval.Stage]string{approval.AllOut: GoodsDue, approval.Overdue: GoodsDue})
}

// goesBack tells whether a line is on its way back to its cutter.
func goesBack(l order.Line) bool {
	return !l.Returned && (l.ReturnAsked || l.Answer == orderv1.DamageAnswer_DAMAGE_ANSWER_TAKE_BACK)
}

// sales are what the cutter's customers wait for.
func (d *day) sales() error {
	return d.listed(view.Selling{}.Name(), view.Selling{}.SalesOf, func(id string) (bool, error) {
		o, _, err := eventstore.Load(d.q, stream.Order, id)
		if err != nil || o.Cancelled {
			return false, err
		}
		send, claims, back, waits := 0, 0, 0, 0
		for _, l := range o.Lines {
			if l.Seller != d.who.Member || l.Returned {
				continue
			}
			if !l.Dispatched && o.MayBeSent() {
				send++
			}
			if !l.Dispatched && o.Overdue(d.q.Now()) {
				waits++
			}
			if l.Damage != 0 && l.Answer == 0 {
				claims++
			}
			if goesBack(l) {
				back++
			}
		}
		for _, found := range []struct {
			kind string
			n    int
		}{{OrdersToSend, send}, {ClaimsToAnswer, claims}, {ReturnsComing, back}} {
			if found.n > 0 {
				d.add(found.kind, lines(found.n), "order/"+id, time.Time{})
			}
		}
		if waits > 0 {
			d.add(OrdersOverdue, lines(waits), "order/"+id, o.PayBy)
		}
		return false, nil
	})
}

// lines is a number of an order's lines: stones, or portions of lots.
func lines(n int) string {
	if n == 1 {
		return "1 line"
	}
	return fmt.Sprintf("%d lines", n)
}

// ordersOfMine are what a jeweller has to pay, to receive and to send back.
func (d *day) ordersOfMine() error {
	return d.listed(view.Orders{}.Name(), view.Orders{}.ByBuyer, func(id string) (bool, error) {
		o, _, err := eventstore.Load(d.q, stream.Order, id)
		if err != nil || o.Cancelled {
			return false, err
		}
		if open := o.Open(); open > 0 {
			what := wire.Text(o.Currency, open) + " open"
			if o.Deposit > 0 && !o.MayBeSent() {
				what += fmt.Sprintf(", %s of it first", wire.Text(o.Currency, min(o.Deposit, o.Total())-o.Paid()))
			}
			d.add(OrdersUnpaid, what, "order/"+id, o.PayBy)
		}
		coming, back := 0, 0
		for _, l := range o.Lines {
			if l.Dispatched && !l.Received && !l.Returned {
				coming++
			}
			if goesBack(l) {
				back++
			}
		}
		if coming > 0 {
			d.add(OrdersToReceive, lines(coming), "order/"+id, time.Time{})
		}
		if back > 0 {
			d.add(ReturnsToSend, lines(back), "order/"+id, time.Time{})
		}
		return false, nil
	})
}

func (d *day) holdsEnding() error {
	return d.listed(view.Selling{}.Name(), view.Selling{}.HoldsBy, func(id string) (bool, error) {
		h, _, err := eventstore.Load(d.q, stream.Hold, id)
		if err != nil || h.Stage(d.q.Now()) != hold.Open {
			return false, err
		}
		return d.add(HoldsEnding, stones(len(h.StoneIDs)), "hold/"+id, h.EndsAt), nil
	})
}

// promises goes through stones promised to be cut to order; kind says what one is to the
// caller, if anything.
func (d *day) promises(kind func(promise.State) string) error {
	return d.listed(view.Lots{}.Name(), view.Lots{}.Promises, func(id string) (bool, error) {
		p, _, err := eventstore.Load(d.q, stream.Promise, id)
		if err != nil {
			return false, err
		}
		of := kind(p)
		return of != "" && d.add(of, stones(len(p.Items)), "promise/"+id, p.DueAt), nil
	})
}

func (d *day) promisesDue() error {
	return d.promises(func(p promise.State) string {
		if p.Cutter == d.who.Member && p.Stage == promise.Accepted {
			return PromisesDue
		}
		return ""
	})
}

// toldFor is how long a jeweller is told that a promise isn't kept, or that a stone they
// have is something else than was said.
const toldFor = 14 * 24 * time.Hour

func (d *day) promisesToMe() error {
	now := d.q.Now()
	return d.promises(func(p promise.State) string {
		switch {
		case p.Jeweller != d.who.Member:
		case p.Stage == promise.Offered && !p.Lapsed(now):
			return PromisesToAnswer
		case p.Stage == promise.NotKept && now.Before(p.EndedAt.Add(toldFor)):
			return PromisesNotKept
		}
		return ""
	})
}

// saidOtherwise are stones of which the cutter or the miner took back what was said, while
// the caller held them, had them or had ordered them.
func (d *day) saidOtherwise() error {
	now, told := d.q.Now(), map[string]bool{}
	judge := func(stoneIDs []string) error {
		for _, id := range stoneIDs {
			st, _, err := eventstore.Load(d.q, stream.Stone, id)
			if err != nil {
				return err
			}
			if st.Told.Jeweller == d.who.Member && now.Before(st.Told.At.Add(toldFor)) && !told[id] {
				told[id] = true
				d.add(SaidOtherwise, st.Facts.GetLabel()+": "+view.Words(st.Told.Correction), "stone/"+id, time.Time{})
			}
		}
		return nil
	}
	if err := d.listed(view.Selling{}.Name(), view.Selling{}.HoldsBy, func(id string) (bool, error) {
		h, _, err := eventstore.Load(d.q, stream.Hold, id)
		if err != nil {
			return false, err
		}
		return false, judge(h.StoneIDs)
	}); err != nil {
		return err
	}
	if err := d.listed(view.Selling{}.Name(), view.Selling{}.ApprovalsBy, func(id string) (bool, error) {
		a, _, err := eventstore.Load(d.q, stream.Approval, id)
		if err != nil {
			return false, err
		}
		return false, judge(a.StoneIDs)
	}); err != nil {
		return err
	}
	return d.listed(view.Orders{}.Name(), view.Orders{}.ByBuyer, func(id string) (bool, error) {
		o, _, err := eventstore.Load(d.q, stream.Order, id)
		if err != nil {
			return false, err
		}
		var stoneIDs []string
		for _, l := range o.Lines {
			if l.StoneID != "" { // else a portion of a lot
				stoneIDs = append(stoneIDs, l.StoneID)
			}
		}
		return false, judge(stoneIDs)
	})
}
