package wholetest_test

import (
	"fmt"
	"reflect"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/storetest"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"
)

// What must hold all the way. Each names the parcel or stone, so that the log of the
// walk tells the rest.

// each holds what every command must leave, of all that its records touched. Where no
// record touches a thing nothing of it may change; everything holds that, of everything.
// w.mu is held.
func (w *walk) each() {
	if w.World == nil {
		return // it is being founded; the first command after that checks that too
	}
	to := w.Node.Checkpoint().Position
	if to == w.checked {
		return
	}
	q, err := w.Node.Query(w.t.Context(), 0)
	if err != nil {
		w.t.Error(err)
		return
	}
	defer q.Close()
	t := touched{parcels: map[string]bool{}, stones: map[string]bool{}}
	for w.checked < to {
		w.checked++
		rec, err := q.RecordAt(w.checked)
		if err == nil {
			err = t.by(q, rec.Stream)
		}
		if err != nil {
			w.t.Errorf("what record %d touches: %v", w.checked, err)
			return
		}
	}
	for id := range t.parcels {
		if err := weighed(q, id); err != nil {
			w.t.Errorf("after record %d: %v", to, err)
		}
		if err := w.accounts.parcel(q, id); err != nil {
			w.t.Errorf("after record %d: %v; %s", to, err, w.story(q, id))
		}
	}
	for id := range t.stones {
		w.chainHolds(q, id)
	}
	if err := w.accounts.hold(q); err != nil {
		w.t.Errorf("after record %d: %v", to, err)
	}
}

// touched are the parcels whose masses or money records may have changed, and the stones
// whose chains.
type touched struct{ parcels, stones map[string]bool }

func (t touched) by(q *eventstore.Query, of eventstore.Stream) error {
	kind, id, _ := strings.Cut(string(of), "/")
	switch kind {
	case "parcel":
		t.parcels[id] = true
	case "piece":
		s, _, err := eventstore.Load(q, stream.Piece, id)
		t.parcels[s.ParcelID] = true
		for _, p := range s.Parts {
			if p.StoneID != "" {
				t.stones[p.StoneID] = true
			}
		}
		return err
	case "stone":
		s, _, err := eventstore.Load(q, stream.Stone, id)
		t.parcels[s.Facts.GetParcelId()], t.stones[id] = true, true
		return err
	case "lot":
		s, _, err := eventstore.Load(q, stream.Lot, id)
		t.parcels[s.Facts.GetParcelId()] = true
		return err
	case "order":
		s, _, err := eventstore.Load(q, stream.Order, id)
		for _, l := range s.Lines {
			t.parcels[l.ParcelID] = true
			if l.LotID == "" {
				t.stones[l.StoneID] = true
			}
		}
		return err
	}
	return nil
}

// weighed: bought = finished + kept + uncut + gone on + lost + unexplained, of a parcel.
func weighed(q *eventstore.Query, parcel string) error {
	v := view.Yields{}
	y, _, err := v.Yield(q.View(v.Name()), parcel)
	if err != nil {
		return fmt.Errorf("the yield of parcel %s: %w", parcel, err)
	}
	if sum := y.FinishedUg + y.OffcutUg + y.UncutUg + y.MovedOnUg + y.LossUg + y.UnexplainedUg; sum != y.BoughtUg {
		return fmt.Errorf("parcel %s: bought %d µg, accounted for %d µg: %+v", parcel, y.BoughtUg, sum, y)
	}
	if min(y.FinishedUg, y.OffcutUg, y.UncutUg, y.MovedOnUg) < 0 {
		return fmt.Errorf("parcel %s holds less than nothing: %+v", parcel, y)
	}
	return nil
}

// account is one of the books' accounts; member is empty for the co-op's own, by what it is for.
type account struct{ currency, member, of string }

// accounts are what all accounts come to, kept beside the books: what the records of each
// parcel brought.
type accounts struct {
	brought map[string]map[account]int64 // by parcel
	sums    map[account]int64
}

func newAccounts() accounts {
	return accounts{map[string]map[account]int64{}, map[account]int64{}}
}

// parcel reckons a parcel anew from its records, and holds that all of its money is given
// out and that the books say the same.
func (a accounts) parcel(q *eventstore.Query, parcel string) error {
	s, ok, err := view.RecomputeParcel(q, parcel)
	if err != nil {
		return err
	}
	now := map[account]int64{}
	if ok {
		shares := view.Shares{}
		booked, _, err := shares.Statement(q.View(shares.Name()), parcel)
		if err != nil {
			return err
		}
		if !reflect.DeepEqual(booked.Shares, s.Shares) {
			return fmt.Errorf("parcel %s: the books give shares %+v, the records %+v", parcel, booked.Shares, s.Shares)
		}
		currency := s.Agreement.Currency
		now[account{currency, "", "receipts"}] = s.Totals.Parcel.Amount + s.Totals.Sales.Amount + s.Back
		now[account{currency, "", "levies"}] = s.Shares.Levies
		now[account{currency, "", "costs"}] = s.Shares.Costs
		now[account{currency, "", "back"}] = s.Back
		left := s.Totals.Parcel.Amount + s.Totals.Sales.Amount - s.Shares.Levies - s.Shares.Costs
		for _, p := range s.Shares.Parties {
			now[account{currency, s.Member(p.Party), s.Role(p.Party)}] += p.Total()
			left -= p.Total()
		}
		if left != 0 {
			return fmt.Errorf("parcel %s: %d minor units of its money are given to nobody: %+v", parcel, left, s)
		}
	}
	for of, was := range a.brought[parcel] {
		a.sums[of] -= was
	}
	for of, is := range now {
		a.sums[of] += is
	}
	a.brought[parcel] = now
	return nil
}

// hold: every account in the books is what the parcels brought, and in each currency
// receipts are levies, costs, what members earned and what is to be paid back.
func (a accounts) hold(q *eventstore.Query) error {
	v := view.Shares{}
	own, members, err := v.Balances(q.View(v.Name()))
	if err != nil {
		return err
	}
	booked, left := map[account]int64{}, map[string]int64{}
	for _, c := range own {
		booked[account{c.Currency, "", "receipts"}] = c.Receipts
		booked[account{c.Currency, "", "levies"}] = c.Levies
		booked[account{c.Currency, "", "costs"}] = c.Costs
		booked[account{c.Currency, "", "back"}] = c.Back
		left[c.Currency] += c.Receipts - c.Levies - c.Costs - c.Back
	}
	for _, m := range members {
		booked[account{m.Currency, m.Member, m.Party}] = m.Minor
		left[m.Currency] -= m.Minor
	}
	for currency, rest := range left {
		if rest != 0 {
			return fmt.Errorf("the %s accounts sum to %d minor units", currency, rest)
		}
	}
	for of, is := range booked {
		if is != a.sums[of] {
			return fmt.Errorf("account %+v holds %d minor units, the parcels brought it %d", of, is, a.sums[of])
		}
	}
	for of, sum := range a.sums {
		if _, ok := booked[of]; !ok && sum != 0 {
			return fmt.Errorf("the parcels brought account %+v %d minor units, and there is none", of, sum)
		}
	}
	return nil
}

// asked: members are told the same of any parcel.
func (w *walk) asked() {
	w.mu.Lock()
	var id string
	if len(w.parcels) > 0 {
		id = w.parcels[w.random.IntN(len(w.parcels))]
	}
	w.mu.Unlock()
	if id != "" {
		w.massesClose(id)
		w.moneyCloses(id)
	}
}

// massesClose: what the cutter is told of a parcel's masses closes too, by reason and part.
func (w *walk) massesClose(parcel string) {
	for _, cutter := range []cooptest.Person{w.Cutter, w.OtherCutter} {
		got, err := cutter.Cutter().GetYield(w.Ctx(), &cutterv1.GetYieldRequest{ParcelId: parcel})
		if status.Code(err) == codes.NotFound || status.Code(err) == codes.FailedPrecondition {
			continue
		}
		if err != nil {
			w.t.Errorf("the yield of parcel %s: %v", parcel, err)
			return
		}
		y := got.GetYield()
		var lost, parts int64
		for _, l := range y.GetLosses() {
			lost += l.GetMassUg()
		}
		if lost != y.GetLossUg() {
			w.t.Errorf("parcel %s lost %d µg, and %d µg by reason", parcel, y.GetLossUg(), lost)
		}
		sum := y.GetFinishedUg() + y.GetOffcutUg() + y.GetUncutUg() + y.GetMovedOnUg() + y.GetLossUg() + y.GetUnexplainedUg()
		if sum != y.GetBoughtUg() {
			w.t.Errorf("parcel %s: bought %d µg, accounted for %d µg: %v", parcel, y.GetBoughtUg(), sum, y)
		}
		for _, p := range y.GetParts() {
			if p.GetMassUg() < 0 {
				w.t.Errorf("parcel %s has parts of %d µg", parcel, p.GetMassUg())
			}
			parts += p.GetMassUg()
		}
		if y.GetFinishedUg() < 0 || y.GetOffcutUg() < 0 || y.GetUncutUg() < 0 || y.GetMovedOnUg() < 0 {
			w.t.Errorf("parcel %s holds less than nothing: %v", parcel, y)
		}
		return
	}
}

// moneyCloses: what the books are told of a parcel's money is given out too.
func (w *walk) moneyCloses(parcel string) {
	got, err := w.Books.Coop().GetShares(w.Ctx(), &coopv1.GetSharesRequest{ParcelId: parcel})
	if code := status.Code(err); code == codes.NotFound || code == codes.FailedPrecondition {
		return
	}
	if err != nil {
		w.t.Errorf("the shares of parcel %s: %v", parcel, err)
		return
	}
	s := got.GetStatement()
	if w.random.IntN(2) == 0 && len(w.past) < 2_000 {
		w.past = append(w.past, past{parcel, s})
	}
	minor := func(m interface {
		GetUnits() int64
		GetNanos() int32
	},
	) int64 {
		return m.GetUnits()*100 + int64(m.GetNanos())/10_000_000
	}
	left := minor(s.GetPurchaseReceived()) + minor(s.GetSalesReceived()) - minor(s.GetLevies()) - minor(s.GetCostsRecouped())
	for _, share := range s.GetShares() {
		left -= minor(share.GetAmount())
	}
	if left != 0 {
		w.t.Errorf("parcel %s: %d minor units of its money are given to nobody: %v", parcel, left, s)
	}
}

// past is what a parcel's money was said to come to, at an earlier position.
type past struct {
	parcel    string
	statement *typev1.ShareStatement
}

// pastHolds: the streams alone say of an earlier position what was said at the time.
func (w *walk) pastHolds(q *eventstore.Query) {
	for _, p := range w.past {
		at := eventstore.Position(p.statement.GetPosition())
		s, ok, err := view.StatementAt(q, p.parcel, at)
		if err != nil || !ok {
			w.t.Errorf("parcel %s at position %d: %v, there: %v; %s", p.parcel, at, err, ok, w.story(q, p.parcel))
			continue
		}
		lot, _, err := eventstore.LoadAt(q, stream.Parcel, p.parcel, at)
		if err != nil {
			w.t.Error(err)
			continue
		}
		again, err := wire.Statement(s, lot.LastDeal().Agreement, at)
		if err != nil {
			w.t.Error(err)
			continue
		}
		p.statement.Corrections = nil // what moved the shares since, which the streams of then don't know
		if !proto.Equal(again, p.statement) {
			w.t.Errorf("parcel %s at position %d: its streams say\n%v\nand it was said\n%v\n%s", p.parcel, at, again, p.statement, w.story(q, p.parcel))
		}
	}
}

// story tells what happened to a parcel, for who has to find out.
func (w *walk) story(q *eventstore.Query, parcel string) string {
	records, err := q.Records(stream.Parcel.Stream(parcel))
	if err != nil {
		return err.Error()
	}
	var b strings.Builder
	for _, r := range records {
		m := r.Event.ProtoReflect()
		fmt.Fprintf(&b, "%d %s; ", r.Position, m.WhichOneof(m.Descriptor().Oneofs().Get(0)).Name())
	}
	return b.String()
}

// everything holds of all there is what each holds of what was touched.
func (w *walk) everything() {
	q, err := w.Node.Query(w.Ctx(), 0)
	if err != nil {
		w.t.Error(err)
		return
	}
	defer q.Close()
	register := view.Register{}
	parcels, err := register.All(q.View(register.Name()), "parcel")
	if err != nil {
		w.t.Error(err)
	}
	for _, id := range parcels {
		if err := weighed(q, id); err != nil {
			w.t.Error(err)
		}
	}
	if _, err := view.Recompute(q); err != nil {
		w.t.Error(err)
	}
	stones, err := register.All(q.View(register.Name()), "stone")
	if err != nil {
		w.t.Error(err)
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.ways = ways{}
	for _, id := range stones {
		w.chainHolds(q, id)
	}
}

// chainHolds: a stone's chain begins at a field, or says that the field isn't shown.
func (w *walk) chainHolds(q *eventstore.Query, stone string) {
	links, err := view.Chain(q, stone)
	if err != nil {
		w.t.Errorf("the chain of stone %s: %v", stone, err)
		return
	}
	w.ways.count(links)
	for _, l := range links {
		if strings.HasPrefix(string(l.About), "field/") || strings.Contains(l.What, "field is not shown") {
			return
		}
	}
	w.t.Errorf("the chain of stone %s doesn't reach a field: %v", stone, links)
}

// payoutsHold: runs come out again from the log alone. Each is reckoned from all there is,
// so some are drawn.
func (w *walk) payoutsHold(q *eventstore.Query) {
	register := view.Register{}
	runs, err := register.All(q.View(register.Name()), "payout")
	if err != nil {
		w.t.Error(err)
		return
	}
	w.random.Shuffle(len(runs), func(i, j int) { runs[i], runs[j] = runs[j], runs[i] })
	for _, id := range runs[:min(len(runs), 12)] {
		differences, ok, err := view.CheckPayout(q, id)
		if err != nil || !ok {
			w.t.Errorf("run %s: %v, there: %v", id, err, ok)
		}
		for _, d := range differences {
			w.t.Errorf("it doesn't recompute: %v", d)
		}
	}
}

// end holds everything once more, what was said on the way, payouts, and that all views
// are what the log says.
func (w *walk) end() {
	w.everything()
	q, err := w.Node.Query(w.Ctx(), 0)
	if err != nil {
		w.t.Fatal(err)
	}
	w.pastHolds(q)
	w.payoutsHold(q)
	q.Close()
	for _, parcel := range w.parcels {
		w.massesClose(parcel)
		w.moneyCloses(parcel)
	}
	scratch := storetest.NewMemoryStore()
	if _, err := w.Node.Verify(w.Ctx(), scratch, nil); err != nil {
		w.t.Errorf("the views are not what the log says: %v", err)
	}
}
