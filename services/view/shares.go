package view

import (
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/share"
)

// Shares is the co-op's books: what each parcel brought, and what each member has
// earned over all of them.
//
//  1. Money counts when it is received. What a parcel's parties have earned is
//     share.Entitlement of the parcel's totals, so no row holds it; what a receipt,
//     cost or refund posts is the entitlement after it minus that before it.
//  2. The money of an order covers its stones in their order, those that went back
//     left out. The levy is reckoned stone by stone on what is paid of its price.
//  3. A stone's own parcel decides whose agreement its money runs through.
//  4. Money due back is nobody's share: what a deal that fell through, a stone that came
//     back or a reduced price leaves to be paid back counts in no levy, cost or share from
//     that moment on, and the refund itself changes none.
//  5. Per currency, receipts = levies + costs + all shares + what is to be paid back, at
//     every position.
//
// The rows:
//
//	seller, parcel id                   → member id
//	deal, parcel id                     → seller, buyer, the agreement as share reckons with it
//	totals, parcel id                   → what came in and was laid out
//	order, order id                     → currency, each line's parcel and price
//	paid, order id                      → what is paid of each line, and whether it went back
//	coop, currency                      → receipts, levies, costs, what is to be paid back
//	balance, currency, member id, party → what the member has earned
//	corrected, parcel id, position      → by how much the correction there moved each share
type Shares struct{}

// Name implements eventstore.View.
func (Shares) Name() string { return "shares" }

// Version implements eventstore.View.
func (Shares) Version() uint32 { return 2 }

// Apply implements eventstore.View.
func (v Shares) Apply(rows eventstore.Rows, rec eventstore.Record) error {
	switch event := rec.Event.(type) {
	case *parcelv1.Event:
		return v.parcel(rows, event)
	case *orderv1.Event:
		return v.order(rows, event)
	case *correctionv1.Event:
		return v.correct(rows, rec, event)
	}
	return nil
}

func (v Shares) parcel(rows eventstore.Rows, event *parcelv1.Event) error {
	switch e := event.Event.(type) {
	case *parcelv1.Event_Listed:
		rows.Set(key("seller", e.Listed.GetPublic().GetParcelId()), row{}.text(e.Listed.GetPrivate().GetSellerId()))
	case *parcelv1.Event_DealMade:
		return v.deal(rows, event, e.DealMade)
	case *parcelv1.Event_Relisted:
		// The deal that fell through is over: what was paid went back before.
		id := e.Relisted.GetPublic().GetParcelId()
		rows.Delete(key("deal", id))
		rows.Delete(key("totals", id))
	case *parcelv1.Event_Paid:
		amount := e.Paid.GetPrivate().GetAmount()
		return v.post(rows, event, e.Paid.GetPublic().GetParcelId(), amount.GetCurrency(), func(_ Deal, t *totals) error {
			t.parcel += amount.GetMinor()
			return nil
		})
	case *parcelv1.Event_FellThrough:
		return v.post(rows, event, e.FellThrough.GetPublic().GetParcelId(), "", func(_ Deal, t *totals) error {
			t.fallen = true
			return nil
		})
	case *parcelv1.Event_PurchaseRefunded:
		amount := e.PurchaseRefunded.GetPrivate().GetAmount()
		return v.post(rows, event, e.PurchaseRefunded.GetPublic().GetParcelId(), amount.GetCurrency(), func(_ Deal, t *totals) error {
			t.parcel -= amount.GetMinor()
			return nil
		})
	case *parcelv1.Event_CostRecorded:
		p := e.CostRecorded.GetPrivate()
		return v.post(rows, event, e.CostRecorded.GetPublic().GetParcelId(), p.GetAmount().GetCurrency(), func(_ Deal, t *totals) error {
			t.addCost(p.GetKind(), p.GetAmount().GetMinor())
			return nil
		})
	}
	return nil
}

func (v Shares) deal(rows eventstore.Rows, event *parcelv1.Event, e *parcelv1.DealMade) error {
	id := e.GetPublic().GetParcelId()
	value, err := rows.Get(key("seller", id))
	if err != nil {
		return err
	}
	if value == nil {
		return unexpected(v.Name(), event, "parcel %s was never listed", id)
	}
	seller, err := readText(v.Name(), "seller", value)
	if err != nil {
		return err
	}
	deal := Deal{Seller: seller, Buyer: e.GetPrivate().GetBuyerId(), Agreement: parcel.Terms(e.GetPrivate().GetAgreement())}
	// An agreement that gives no shares now would give none at the first receipt.
	if _, err := share.Entitlement(deal.Agreement, share.Totals{}); err != nil {
		return unexpected(v.Name(), event, "parcel %s: %v", id, err)
	}
	// A deal that fell through left no money here, and its costs with the co-op.
	before, err := rows.Get(key("totals", id))
	if err != nil {
		return err
	}
	t, err := readTotals(before)
	if err != nil {
		return err
	}
	if t.parcel != 0 || t.sales != (share.Received{}) || t.back() != 0 {
		return unexpected(v.Name(), event, "parcel %s still holds money of the deal before", id)
	}
	if before != nil {
		rows.Delete(key("totals", id))
	}
	rows.Set(key("deal", id), deal.row())
	return nil
}

// totals is the row of what a parcel brought so far.
type totals struct {
	parcel    int64 // received for the parcel itself
	fallen    bool  // the deal fell through: all of that is to be paid back
	sales     share.Received
	salesBack int64  // received for stones and to be paid back; not in sales
	costs     []cost // by kind, sorted
}

type cost struct {
	kind  string
	minor int64
}

func (t *totals) addCost(kind string, minor int64) {
	at, found := slices.BinarySearchFunc(t.costs, kind, func(c cost, kind string) int { return strings.Compare(c.kind, kind) })
	if !found {
		t.costs = slices.Insert(t.costs, at, cost{kind: kind})
	}
	t.costs[at].minor += minor
}

func (t totals) row() []byte {
	r := row{}.int(t.parcel).flag(t.fallen).int(t.sales.Amount).int(t.sales.Levies).int(t.salesBack).count(len(t.costs))
	for _, c := range t.costs {
		r = r.text(c.kind).int(c.minor)
	}
	return r
}

func readTotals(value []byte) (totals, error) {
	if value == nil {
		return totals{}, nil
	}
	f := read(value)
	t := totals{parcel: f.int(), fallen: f.flag(), sales: share.Received{Amount: f.int(), Levies: f.int()}, salesBack: f.int()}
	for range f.count() {
		t.costs = append(t.costs, cost{f.text(), f.int()})
	}
	return t, f.done("shares", "parcel's totals")
}

// back is what of all that was received is to be paid back.
func (t totals) back() int64 {
	if t.fallen {
		return t.salesBack + t.parcel
	}
	return t.salesBack
}

// under gives the totals as the agreement reckons with them: without what is to be paid
// back.
func (t totals) under(a share.Agreement) (share.Totals, error) {
	kept := t.parcel
	if t.fallen {
		kept = 0
	}
	levy, err := a.ParcelLevy.OfPayment(a.Price, kept)
	if err != nil {
		return share.Totals{}, err
	}
	all := share.Totals{Parcel: share.Received{Amount: kept, Levies: levy}, Sales: t.sales, Costs: map[string]int64{}}
	for _, c := range t.costs {
		all.Costs[c.kind] = c.minor
	}
	return all, nil
}

// post changes a parcel's totals, and every balance by what that changes in the
// entitlements.
func (v Shares) post(rows eventstore.Rows, event proto.Message, parcelID, currency string, change func(Deal, *totals) error) error {
	_, err := v.postings(rows, event, parcelID, currency, change)
	return err
}

// postings is post, and gives what it posted. currency is empty where no money moves.
func (v Shares) postings(rows eventstore.Rows, event proto.Message, parcelID, currency string, change func(Deal, *totals) error) ([]share.Posting, error) {
	deal, ok, err := v.findDeal(rows, parcelID)
	if err != nil {
		return nil, err
	}
	if !ok {
		return nil, unexpected(v.Name(), event, "there is no deal on parcel %s", parcelID)
	}
	if currency != "" && currency != deal.Agreement.Currency {
		return nil, unexpected(v.Name(), event, "the deal on parcel %s is in %s, not %s", parcelID, deal.Agreement.Currency, currency)
	}
	value, err := rows.Get(key("totals", parcelID))
	if err != nil {
		return nil, err
	}
	t, err := readTotals(value)
	if err != nil {
		return nil, err
	}
	before, err := entitlement(deal, t)
	if err != nil {
		return nil, err
	}
	backBefore := t.back()
	if err := change(deal, &t); err != nil {
		return nil, unexpected(v.Name(), event, "parcel %s: %v", parcelID, err)
	}
	after, err := entitlement(deal, t)
	if err != nil {
		return nil, unexpected(v.Name(), event, "parcel %s: %v", parcelID, err)
	}
	posts, err := share.Post(before, after)
	if err != nil {
		return nil, err
	}
	rows.Set(key("totals", parcelID), t.row())
	return posts, book(rows, deal, after.Received-before.Received, t.back()-backBefore, posts)
}

func entitlement(d Deal, t totals) (share.Shares, error) {
	all, err := t.under(d.Agreement)
	if err != nil {
		return share.Shares{}, err
	}
	return share.Entitlement(d.Agreement, all)
}

// book adds postings to the balances: one row for the co-op, one for each member that
// they concern. kept is by how much more is given out, back by how much more is to be
// paid back.
func book(rows eventstore.Rows, deal Deal, kept, back int64, posts []share.Posting) error {
	currency := deal.Agreement.Currency
	value, err := rows.Get(key("coop", currency))
	if err != nil {
		return err
	}
	own, err := readCoOpAccount(currency, value)
	if err != nil {
		return err
	}
	own.Receipts += kept + back
	own.Back += back
	for _, p := range posts {
		switch p.Class {
		case share.ClassLevy:
			own.Levies += p.Amount
		case share.ClassCost:
			own.Costs += p.Amount
		case share.ClassShare:
			k := key("balance", currency, deal.Member(p.Account), deal.Role(p.Account))
			value, err := rows.Get(k)
			if err != nil {
				return err
			}
			earned, err := readInt("shares", "balance", value)
			if err != nil {
				return err
			}
			rows.Set(k, row{}.int(earned+p.Amount))
		}
	}
	rows.Set(key("coop", currency), own.row())
	return nil
}

func (a CoOpAccount) row() row { return row{}.int(a.Receipts).int(a.Levies).int(a.Costs).int(a.Back) }

func readCoOpAccount(currency string, value []byte) (CoOpAccount, error) {
	if value == nil {
		return CoOpAccount{Currency: currency}, nil
	}
	f := read(value)
	a := CoOpAccount{Currency: currency, Receipts: f.int(), Levies: f.int(), Costs: f.int(), Back: f.int()}
	return a, f.done("shares", "co-op's account")
}

func (Shares) findDeal(r eventstore.Reader, parcelID string) (d Deal, ok bool, err error) {
	value, err := r.Get(key("deal", parcelID))
	if err != nil || value == nil {
		return Deal{}, false, err
	}
	d, err = readDeal(parcelID, value)
	return d, err == nil, err
}

// Statement is all that a parcel's money came to.
type Statement struct {
	Deal
	Totals share.Totals // without Back
	Shares share.Shares
	Back   int64 // received and to be paid back: nobody's share
}

// Statement reckons a parcel's shares; ok is false where there is no deal on it. Its
// words are share.Explain's.
func (v Shares) Statement(r eventstore.Reader, parcelID string) (s Statement, ok bool, err error) {
	if s.Deal, ok, err = v.findDeal(r, parcelID); err != nil || !ok {
		return Statement{}, false, err
	}
	value, err := r.Get(key("totals", parcelID))
	if err != nil {
		return Statement{}, false, err
	}
	t, err := readTotals(value)
	if err != nil {
		return Statement{}, false, err
	}
	err = s.reckon(t)
	return s, err == nil, err
}

func (s *Statement) reckon(t totals) (err error) {
	if s.Totals, err = t.under(s.Agreement); err != nil {
		return err
	}
	s.Back = t.back()
	s.Shares, err = share.Entitlement(s.Agreement, s.Totals)
	return err
}

// CoOpAccount is what stands for the co-op itself in one currency.
type CoOpAccount struct {
	Currency string
	Receipts int64 // all money from outside, refunds taken off
	Levies   int64
	Costs    int64 // laid out and got back
	Back     int64 // received and to be paid back to who paid it
}

// Balance is what a member has earned in one role and currency.
type Balance struct {
	Member, Party string
	Currency      string
	Minor         int64
}

// Balances gives all accounts, by currency; an account that came back to nothing
// stays in the list.
func (Shares) Balances(r eventstore.Reader) (coop []CoOpAccount, members []Balance, err error) {
	for after, more := "", true; more; more = after != "" {
		after, err = page(r, table("coop"), after, MaxPage, func(currency string, value []byte) error {
			a, err := readCoOpAccount(currency, value)
			coop = append(coop, a)
			return err
		})
		if err != nil {
			return nil, nil, err
		}
	}
	for after, more := "", true; more; more = after != "" {
		after, err = page(r, table("balance"), after, MaxPage, func(rest string, value []byte) error {
			earned, err := readInt("shares", "balance", value)
			at := strings.Split(rest, "\x00")
			if err != nil || len(at) != 3 {
				return fmt.Errorf("%w: view shares has a balance at key %q", eventstore.ErrCorrupt, rest)
			}
			members = append(members, Balance{Currency: at[0], Member: at[1], Party: at[2], Minor: earned})
			return nil
		})
		if err != nil {
			return nil, nil, err
		}
	}
	return coop, members, nil
}
