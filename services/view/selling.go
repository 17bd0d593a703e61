package view

import (
	"fmt"
	"slices"
	"strings"
	"time"

	approvalv1 "seamshare.example/proto/gen/seamshare/event/approval/v1"
	holdv1 "seamshare.example/proto/gen/seamshare/event/hold/v1"
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	wantedv1 "seamshare.example/proto/gen/seamshare/event/wanted/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/approval"
)

// Selling is where holds, goods out and notes of what is wanted are found, and the
// orders of a cutter.
//
//	hold, hold id                        → its jeweller, end and stones
//	holder, member id, hold id
//	held, member id, end, hold id        → how many stones, while it isn't released or used
//	asked, jeweller's id, approval id
//	askedof, cutter's id, approval id
//	goods, approval id                   → jeweller, currency, and each stone out with its price
//	out, jeweller's id, currency         → what is out together, minor units
//	overdue, end, approval id            → while something of it is out
//	seller, member id, order id
//	wanted, note id                      while it is up
//	wants, member id, note id
type Selling struct{}

// Name implements eventstore.View.
func (Selling) Name() string { return "selling" }

// Version implements eventstore.View.
func (Selling) Version() uint32 { return 1 }

// Apply implements eventstore.View.
func (v Selling) Apply(rows eventstore.Rows, rec eventstore.Record) error {
	switch event := rec.Event.(type) {
	case *holdv1.Event:
		return v.hold(rows, event)
	case *approvalv1.Event:
		return v.approval(rows, event)
	case *orderv1.Event:
		if e := event.GetPlaced(); e != nil {
			for _, l := range e.GetPrivate().GetLines() {
				rows.Set(key("seller", l.GetSellerId(), e.GetPublic().GetOrderId()), present)
			}
		}
	case *wantedv1.Event:
		switch e := event.Event.(type) {
		case *wantedv1.Event_Posted:
			id := e.Posted.GetPublic().GetWantedId()
			rows.Set(key("wanted", id), present)
			rows.Set(key("wants", e.Posted.GetPrivate().GetMemberId(), id), present)
		case *wantedv1.Event_Closed:
			rows.Delete(key("wanted", e.Closed.GetPublic().GetWantedId()))
		}
	}
	return nil
}

// momentKey is a moment as a key segment: segments then sort as moments do.
func momentKey(us int64) string { return fmt.Sprintf("%016x", uint64(max(0, us))) }

func (v Selling) hold(rows eventstore.Rows, event *holdv1.Event) error {
	switch e := event.Event.(type) {
	case *holdv1.Event_Placed:
		id, p := e.Placed.GetPublic().GetHoldId(), e.Placed.GetPrivate()
		n := len(p.GetStoneIds())
		rows.Set(key("hold", id), hold{p.GetHolderId(), p.GetEndsAtUs(), uint64(n)}.row())
		rows.Set(key("holder", p.GetHolderId(), id), present)
		rows.Set(key("held", p.GetHolderId(), momentKey(p.GetEndsAtUs()), id), row{}.num(uint64(n)))
	case *holdv1.Event_Released:
		return v.letGo(rows, event, e.Released.GetPublic().GetHoldId(), -1)
	case *holdv1.Event_Used:
		return v.letGo(rows, event, e.Used.GetPublic().GetHoldId(), len(e.Used.GetPrivate().GetStoneIds()))
	}
	return nil
}

// letGo takes stones off a hold; -1: all of them.
func (v Selling) letGo(rows eventstore.Rows, event *holdv1.Event, id string, n int) error {
	value, err := rows.Get(key("hold", id))
	if err != nil {
		return err
	}
	if value == nil {
		return unexpected(v.Name(), event, "hold %s was never placed", id)
	}
	h, err := readHold(value)
	if err != nil {
		return err
	}
	if n < 0 {
		n = int(h.stones)
	}
	if uint64(n) > h.stones {
		return unexpected(v.Name(), event, "hold %s has %d stones, not %d", id, h.stones, n)
	}
	h.stones -= uint64(n)
	rows.Set(key("hold", id), h.row())
	k := key("held", h.holder, momentKey(h.endsUs), id)
	if h.stones == 0 {
		rows.Delete(k)
		return nil
	}
	rows.Set(k, row{}.num(h.stones))
	return nil
}

// hold is the row of a hold: the stones still on it.
type hold struct {
	holder string
	endsUs int64
	stones uint64
}

func (h hold) row() row { return row{}.text(h.holder).int(h.endsUs).num(h.stones) }

func readHold(value []byte) (hold, error) {
	f := read(value)
	h := hold{f.text(), f.int(), f.num()}
	return h, f.done("selling", "hold")
}

// HeldBy is how many stones a jeweller holds at a moment; counting ends above most. It
// reads only what ends after now.
func (v Selling) HeldBy(r eventstore.Reader, member string, now time.Time, most int) (held int, err error) {
	prefix := table("held", member)
	start := append(slices.Clone(prefix), momentKey(now.UnixMicro()+1)...) // one that ends now has ended
	err2 := r.Scan(prefix, start, false, func(_, value []byte) bool {
		var n uint64
		n, err = readNum(v.Name(), "held stones", value)
		held += int(n)
		return err == nil && held <= most
	})
	if err == nil {
		err = err2
	}
	return held, err
}

// HoldsBy gives the ids of a jeweller's holds, oldest first.
func (Selling) HoldsBy(r eventstore.Reader, memberID, after string, limit int) ([]string, string, error) {
	return ids(r, table("holder", memberID), after, limit)
}

// goods is the row of an approval: as far as money and times need it.
type goods struct {
	jeweller, currency string
	dueUs              int64
	lines              []approval.Line // those that are out
}

func (g goods) row() []byte {
	r := row{}.text(g.jeweller).text(g.currency).int(g.dueUs).count(len(g.lines))
	for _, l := range g.lines {
		r = r.text(l.StoneID).int(l.Price)
	}
	return r
}

func readGoods(value []byte) (goods, error) {
	f := read(value)
	g := goods{jeweller: f.text(), currency: f.text(), dueUs: f.int()}
	for range f.count() {
		g.lines = append(g.lines, approval.Line{StoneID: f.text(), Price: f.int()})
	}
	return g, f.done("selling", "goods out")
}

func (v Selling) approval(rows eventstore.Rows, event *approvalv1.Event) error {
	switch e := event.Event.(type) {
	case *approvalv1.Event_Asked:
		id, p := e.Asked.GetPublic().GetApprovalId(), e.Asked.GetPrivate()
		rows.Set(key("asked", p.GetJewellerId(), id), present)
		rows.Set(key("askedof", p.GetCutterId(), id), present)
		rows.Set(key("goods", id), goods{jeweller: p.GetJewellerId()}.row())
	case *approvalv1.Event_Sent:
		p := e.Sent.GetPrivate()
		return v.goods(rows, event, e.Sent.GetPublic().GetApprovalId(), func(g *goods) {
			g.currency, g.dueUs = p.GetCurrency(), p.GetDueAtUs()
			for _, l := range p.GetLines() {
				g.lines = append(g.lines, approval.Line{StoneID: l.GetStoneId(), Price: l.GetPriceMinor()})
			}
		})
	case *approvalv1.Event_Extended:
		return v.goods(rows, event, e.Extended.GetPublic().GetApprovalId(), func(g *goods) { g.dueUs = e.Extended.GetPrivate().GetDueAtUs() })
	case *approvalv1.Event_Kept:
		return v.noLonger(rows, event, e.Kept.GetPublic().GetApprovalId(), e.Kept.GetPrivate().GetStoneIds()...)
	case *approvalv1.Event_TakenBack:
		return v.noLonger(rows, event, e.TakenBack.GetPublic().GetApprovalId(), e.TakenBack.GetPrivate().GetStoneId())
	case *approvalv1.Event_Lost:
		return v.noLonger(rows, event, e.Lost.GetPublic().GetApprovalId(), e.Lost.GetPrivate().GetStoneId())
	case *approvalv1.Event_Broken:
		return v.noLonger(rows, event, e.Broken.GetPublic().GetApprovalId(), e.Broken.GetPrivate().GetStoneId())
	}
	return nil
}

// noLonger takes stones off what is out; one that was lost before is off already.
func (v Selling) noLonger(rows eventstore.Rows, event *approvalv1.Event, id string, stones ...string) error {
	return v.goods(rows, event, id, func(g *goods) {
		g.lines = slices.DeleteFunc(g.lines, func(l approval.Line) bool { return slices.Contains(stones, l.StoneID) })
	})
}

// goods changes an approval's row, what its jeweller has out, and the list by day.
func (v Selling) goods(rows eventstore.Rows, event *approvalv1.Event, id string, change func(*goods)) error {
	value, err := rows.Get(key("goods", id))
	if err != nil {
		return err
	}
	if value == nil {
		return unexpected(v.Name(), event, "approval %s was never asked for", id)
	}
	g, err := readGoods(value)
	if err != nil {
		return err
	}
	worth, was := approvalWorth(g), g
	change(&g)
	rows.Set(key("goods", id), g.row())
	if len(was.lines) > 0 {
		rows.Delete(key("overdue", momentKey(was.dueUs), id))
	}
	if len(g.lines) > 0 {
		rows.Set(key("overdue", momentKey(g.dueUs), id), present)
	}
	if moved := approvalWorth(g) - worth; moved != 0 {
		out, err := v.GoodsOut(rows, g.jeweller, g.currency)
		if err != nil {
			return err
		}
		rows.Set(key("out", g.jeweller, g.currency), row{}.int(out+moved))
	}
	return nil
}

func approvalWorth(g goods) (sum int64) {
	for _, l := range g.lines {
		sum += l.Price
	}
	return sum
}

// GoodsOut is what a jeweller has out in one currency, at the prices it went out with.
func (v Selling) GoodsOut(r eventstore.Reader, memberID, currency string) (int64, error) {
	value, err := r.Get(key("out", memberID, currency))
	if err != nil {
		return 0, err
	}
	return readInt(v.Name(), "worth of goods out", value)
}

// Overdue gives the ids of goods on approval or consignment whose day is over, the
// longest overdue first. after is what the page before gave as next.
func (Selling) Overdue(r eventstore.Reader, now time.Time, after string, limit int) (approvals []string, next string, err error) {
	until := momentKey(now.UnixMicro())
	next, err = page(r, table("overdue"), after, limit, func(segment string, _ []byte) error {
		due, id, _ := strings.Cut(segment, "\x00")
		if due <= until { // when now is not before it, it is over
			approvals = append(approvals, id)
		}
		return nil
	})
	if due, _, _ := strings.Cut(next, "\x00"); due > until {
		next = ""
	}
	return approvals, next, err
}

// ApprovalsBy gives the ids of what a jeweller asked for, oldest first.
func (Selling) ApprovalsBy(r eventstore.Reader, memberID, after string, limit int) ([]string, string, error) {
	return ids(r, table("asked", memberID), after, limit)
}

// ApprovalsOf gives the ids of what a cutter was asked for, oldest first.
func (Selling) ApprovalsOf(r eventstore.Reader, memberID, after string, limit int) ([]string, string, error) {
	return ids(r, table("askedof", memberID), after, limit)
}

// SalesOf gives the ids of the orders that hold something of a cutter, oldest first.
func (Selling) SalesOf(r eventstore.Reader, memberID, after string, limit int) ([]string, string, error) {
	return ids(r, table("seller", memberID), after, limit)
}

// Wanted gives the ids of the notes that are up, oldest first.
func (Selling) Wanted(r eventstore.Reader, after string, limit int) ([]string, string, error) {
	return ids(r, table("wanted"), after, limit)
}

// WantedBy gives the ids of a jeweller's notes, oldest first.
func (Selling) WantedBy(r eventstore.Reader, memberID, after string, limit int) ([]string, string, error) {
	return ids(r, table("wants", memberID), after, limit)
}
