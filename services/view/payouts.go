package view

import (
	"fmt"
	"strings"

	disputev1 "seamshare.example/proto/gen/seamshare/event/dispute/v1"
	payoutv1 "seamshare.example/proto/gen/seamshare/event/payout/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/dispute"
	"seamshare.example/services/domain/payout"
)

// Payouts is what of the earned money was paid, is on its way, or is held.
//
//	run, run id                   → currency, as of, stage, each line's member, amount and stage, while it is live
//	settled, run id               → the same, once the bank has answered for every line
//	taken, currency, member id    → paid, in live runs, and the position that the newest approved run is as of
//	payee, member id, run id        each run that was approved
//	dispute, dispute id           → currency, member, amount, and the parcels of whose money it is, while it is open
//	about, parcel id, dispute id    each open dispute that holds of the parcel's money
//	held, currency, member id     → held by disputes
//	side, member id, dispute id     each dispute that the member opened or is held by
type Payouts struct{}

// Name implements eventstore.View.
func (Payouts) Name() string { return "payouts" }

// Version implements eventstore.View.
func (Payouts) Version() uint32 { return 1 }

// Taken is what of a member's earned money was paid or is bound, in minor units.
type Taken struct {
	Paid, Live int64
	// AsOf is the position that the newest approved run which pays the member is as of;
	// 0: none.
	AsOf eventstore.Position
}

// Sum is what no other run may pay.
func (t Taken) Sum() int64 { return t.Paid + t.Live }

// Apply implements eventstore.View.
func (v Payouts) Apply(rows eventstore.Rows, rec eventstore.Record) error {
	switch event := rec.Event.(type) {
	case *payoutv1.Event:
		return v.payout(rows, event)
	case *disputev1.Event:
		return v.dispute(rows, event)
	}
	return nil
}

func (v Payouts) payout(rows eventstore.Rows, event *payoutv1.Event) error {
	id := runOf(event)
	var before payout.State
	if event.GetPrepared() == nil {
		value, err := rows.Get(key("run", id))
		if value == nil && err == nil {
			value, err = rows.Get(key("settled", id))
		}
		if err != nil {
			return err
		}
		if value == nil {
			return unexpected(v.Name(), event, "run %s isn't live", id)
		}
		if before, err = readRun(id, value); err != nil {
			return err
		}
	}
	after := payout.Evolve(before, event)
	if err := v.move(rows, before, after); err != nil {
		return err
	}
	switch {
	case after.Stage == payout.Prepared || after.Stage == payout.Approved:
		rows.Set(key("run", id), runRow(after))
		return nil
	case after.Stage == payout.Settled:
		rows.Set(key("settled", id), runRow(after))
	}
	if before.Stage != payout.Settled {
		rows.Delete(key("run", id))
	}
	return nil
}

func runOf(event *payoutv1.Event) string {
	switch e := event.GetEvent().(type) {
	case *payoutv1.Event_Prepared:
		return e.Prepared.GetPublic().GetRunId()
	case *payoutv1.Event_Approved:
		return e.Approved.GetPublic().GetRunId()
	case *payoutv1.Event_Rejected:
		return e.Rejected.GetPublic().GetRunId()
	case *payoutv1.Event_LineSettled:
		return e.LineSettled.GetPublic().GetRunId()
	case *payoutv1.Event_LineReturned:
		return e.LineReturned.GetPublic().GetRunId()
	}
	return ""
}

// move books what an event changes of what members were paid and what is on the way.
func (v Payouts) move(rows eventstore.Rows, before, after payout.State) error {
	approved := before.Stage == payout.Prepared && after.Stage == payout.Approved
	for i, l := range after.Lines {
		is := countOf(l)
		var was Taken
		if i < len(before.Lines) {
			was = countOf(before.Lines[i])
		}
		if approved {
			rows.Set(key("payee", l.Member, after.ID), present)
		}
		if is == was && !approved {
			continue
		}
		t, err := v.Taken(rows, after.Currency, l.Member)
		if err != nil {
			return err
		}
		t.Paid += is.Paid - was.Paid
		t.Live += is.Live - was.Live
		if approved {
			t.AsOf = max(t.AsOf, eventstore.Position(after.AsOf))
		}
		rows.Set(key("taken", after.Currency, l.Member), t.row())
	}
	return nil
}

func countOf(l payout.Line) Taken {
	switch l.Stage {
	case payout.Waiting:
		return Taken{Live: l.Pays()}
	case payout.Paid:
		return Taken{Paid: l.Pays()}
	}
	return Taken{}
}

func runRow(s payout.State) []byte {
	r := row{}.text(s.Currency).num(s.AsOf).num(uint64(s.Stage)).count(len(s.Lines))
	for _, l := range s.Lines {
		r = r.text(l.ID).text(l.Member).int(l.Minor).int(l.Held).num(uint64(l.Stage))
	}
	return r
}

// readRun reads a run as far as money needs it.
func readRun(id string, value []byte) (payout.State, error) {
	f := read(value)
	s := payout.State{ID: id, Currency: f.text(), AsOf: f.num(), Stage: payout.Stage(f.code())}
	for range f.count() {
		s.Lines = append(s.Lines, payout.Line{ID: f.text(), Member: f.text(), Minor: f.int(), Held: f.int(), Stage: payout.LineStage(f.code())})
	}
	return s, f.done("payouts", "run")
}

func (v Payouts) dispute(rows eventstore.Rows, event *disputev1.Event) error {
	if e := event.GetOpened(); e != nil {
		s := dispute.Evolve(dispute.State{}, event)
		for _, id := range s.Parcels {
			rows.Set(key("about", id, s.ID), present)
		}
		rows.Set(key("dispute", s.ID), disputeRow(s))
		rows.Set(key("side", s.Opener, s.ID), present)
		rows.Set(key("side", s.Against, s.ID), present)
		return v.hold(rows, s.Currency, s.Against, s.HeldMinor)
	}
	id := event.GetResolved().GetPublic().GetDisputeId() + event.GetWithdrawn().GetPublic().GetDisputeId()
	value, err := rows.Get(key("dispute", id))
	if err != nil {
		return err
	}
	if value == nil {
		return unexpected(v.Name(), event, "dispute %s isn't open", id)
	}
	s, err := readDispute(id, value)
	if err != nil {
		return err
	}
	for _, parcelID := range s.Parcels {
		rows.Delete(key("about", parcelID, id))
	}
	rows.Delete(key("dispute", id))
	return v.hold(rows, s.Currency, s.Against, -s.HeldMinor)
}

func disputeRow(s dispute.State) row {
	return row{}.text(s.Currency).text(s.Against).int(s.HeldMinor).texts(s.Parcels)
}

// readDispute reads a dispute as far as money needs it.
func readDispute(id string, value []byte) (dispute.State, error) {
	f := read(value)
	s := dispute.State{ID: id, Currency: f.text(), Against: f.text(), HeldMinor: f.int(), Parcels: f.texts()}
	return s, f.done("payouts", "dispute")
}

func (v Payouts) hold(rows eventstore.Rows, currency, member string, minor int64) error {
	held, err := v.Held(rows, currency, member)
	if err != nil {
		return err
	}
	rows.Set(key("held", currency, member), row{}.int(held+minor))
	return nil
}

// Taken is what of a member's money in a currency was paid or is bound.
func (Payouts) Taken(r eventstore.Reader, currency, member string) (t Taken, err error) {
	value, err := r.Get(key("taken", currency, member))
	if err != nil || value == nil {
		return t, err
	}
	return readTaken(value)
}

func (t Taken) row() row { return row{}.int(t.Paid).int(t.Live).num(uint64(t.AsOf)) }

func readTaken(value []byte) (Taken, error) {
	f := read(value)
	t := Taken{f.int(), f.int(), eventstore.Position(f.num())}
	return t, f.done("payouts", "taken amount")
}

// Held is what disputes hold of a member's money in a currency.
func (Payouts) Held(r eventstore.Reader, currency, member string) (int64, error) {
	value, err := r.Get(key("held", currency, member))
	if err != nil {
		return 0, err
	}
	return readInt("payouts", "held amount", value)
}

// LiveRuns gives the ids of the runs that wait for an approver or the bank, oldest
// first.
func (Payouts) LiveRuns(r eventstore.Reader, after string, limit int) (runs []string, next string, err error) {
	return ids(r, table("run"), after, limit)
}

// OpenDisputes gives the ids of the disputes that are open, oldest first.
func (Payouts) OpenDisputes(r eventstore.Reader, after string, limit int) (disputes []string, next string, err error) {
	return ids(r, table("dispute"), after, limit)
}

// DisputesAbout gives the ids of the open disputes that hold of a parcel's money, oldest first.
func (Payouts) DisputesAbout(r eventstore.Reader, parcel, after string, limit int) (disputes []string, next string, err error) {
	return ids(r, table("about", parcel), after, limit)
}

// RunsOf gives the ids of the approved runs that pay a member, oldest first.
func (Payouts) RunsOf(r eventstore.Reader, member, after string, limit int) (runs []string, next string, err error) {
	return ids(r, table("payee", member), after, limit)
}

// DisputesOf gives the ids of the disputes on a member's side, oldest first.
func (Payouts) DisputesOf(r eventstore.Reader, member, after string, limit int) (disputes []string, next string, err error) {
	return ids(r, table("side", member), after, limit)
}

// Account is what stands between a member and the co-op in one currency, in minor
// units.
type Account struct {
	Member, Currency string
	Earned           int64
	Taken            Taken
	Held             int64
}

// Owed is what can be paid now; below zero it is an advance.
func (a Account) Owed() int64 { return a.Earned - a.Taken.Sum() - a.Held }

// Earned is what a member has earned in a currency, in all its parts.
func (Shares) Earned(r eventstore.Reader, currency, member string) (sum int64, err error) {
	_, err = page(r, table("balance", currency, member), "", MaxPage, func(_ string, value []byte) error {
		earned, err := readInt("shares", "balance", value)
		sum += earned
		return err
	})
	return sum, err
}

// Accounts gives every member's account, by currency and member; member empty: all.
func Accounts(shares, payouts eventstore.Reader, member string) (all []Account, err error) {
	_, balances, err := Shares{}.Balances(shares)
	if err != nil {
		return nil, err
	}
	for _, b := range balances {
		if member != "" && b.Member != member {
			continue
		}
		if n := len(all); n > 0 && all[n-1].Member == b.Member && all[n-1].Currency == b.Currency {
			all[n-1].Earned += b.Minor
			continue
		}
		a := Account{Member: b.Member, Currency: b.Currency, Earned: b.Minor}
		if a.Taken, err = (Payouts{}).Taken(payouts, b.Currency, b.Member); err != nil {
			return nil, err
		}
		if a.Held, err = (Payouts{}).Held(payouts, b.Currency, b.Member); err != nil {
			return nil, err
		}
		all = append(all, a)
	}
	return all, nil
}

// payees are the members that any balance in a currency stands for.
func payees(balances []Balance, currency string) (members []string) {
	for _, b := range balances {
		if b.Currency == currency && (len(members) == 0 || members[len(members)-1] != b.Member) {
			members = append(members, b.Member)
		}
	}
	return members
}

// Payees are the members who ever earned anything in a currency, by id.
func Payees(shares eventstore.Reader, currency string) ([]string, error) {
	_, balances, err := Shares{}.Balances(shares)
	if err != nil {
		return nil, fmt.Errorf("couldn't find who earned %s: %w", strings.ToUpper(currency), err)
	}
	return payees(balances, currency), nil
}
