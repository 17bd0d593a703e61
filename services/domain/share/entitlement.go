package share

import (
	"fmt"
	"slices"
)

// Totals is what has come in and been laid out for one parcel so far, excluding tax
// collected. A sale that was returned in full counts in nothing.
type Totals struct {
	Parcel Received         // money paid for the parcel itself
	Sales  Received         // money paid for what the parcel gave
	Costs  map[string]int64 // recorded so far, by kind; never changed here
}

// Received is money that came in and the levies on it, each computed by
// LevyRule.OfPayment per sale and added up.
type Received struct {
	Amount int64
	Levies int64
}

// Shares is what every account has earned. Levies, costs and the parties' totals add
// up to Received. The zero value stands before the first receipt.
type Shares struct {
	Currency string
	Received int64
	Levies   int64
	Costs    int64        // paid back to the co-op, CoOp, what it laid out
	Parties  []PartyShare // in the agreement's order
	Tiers    []TierShare  // the pour, in the agreement's order
	Burdens  []Burden     // only where a levy is borne by one party
}

// PartyShare is one party's share and what it is made of.
type PartyShare struct {
	Party    string
	Role     string
	Price    int64 // for the parcel, as its seller
	Poured   int64 // from the tiers; never falls when money comes in
	MadeGood int64 // from the bearer of a levy
	Borne    int64 // paid to the others for a levy this party bears; at most Poured
}

// Total is the party's share; it is never below 0.
func (p PartyShare) Total() int64 { return p.Price + p.Poured + p.MadeGood - p.Borne }

// Of finds a party's share.
func (s Shares) Of(party string) (PartyShare, bool) {
	for _, p := range s.Parties {
		if p.Party == party {
			return p, true
		}
	}
	return PartyShare{}, false
}

// TierShare is what one tier took of the proceeds.
type TierShare struct {
	Took  int64
	Limit Limit  // a recoup's target, a split's ceiling as raised
	Parts []Part // whom it went to; a split's in the order of the agreement's parties
}

// Part is what one account has from one tier.
type Part struct {
	Account string
	Amount  int64
}

// Open is what the tier still takes before the next one is reached: what a recoup
// still owes to whoever laid it out. It is 0 for the last tier.
func (t TierShare) Open() int64 {
	if !t.Limit.Set {
		return 0
	}
	return t.Limit.Amount - t.Took
}

// Entitlement is what each account has earned at these totals. The error is
// Violations, of the agreement ("tiers[1].ceiling") or of the totals ("totals.sales").
func Entitlement(a Agreement, t Totals) (Shares, error) {
	if err := a.Validate(); err != nil {
		return Shares{}, fmt.Errorf("couldn't compute shares, the agreement is not sound: %w", err)
	}
	if v := t.violations(a); len(v) > 0 {
		return Shares{}, fmt.Errorf("couldn't compute shares from these totals: %w", v)
	}
	s := Shares{
		Currency: a.Currency,
		Received: t.Parcel.Amount + t.Sales.Amount,
		Levies:   t.Parcel.Levies + t.Sales.Levies,
		Tiers:    pour(a, t.Costs, t.Sales.Amount-t.Sales.Levies),
	}
	poured := byAccount(a, s.Tiers)
	s.Costs = poured[len(a.Parties)]
	for i, p := range a.Parties {
		s.Parties = append(s.Parties, PartyShare{Party: p.ID, Role: p.Role, Poured: poured[i]})
	}
	if i := a.partyIndex(a.Seller); i >= 0 {
		s.Parties[i].Price = t.Parcel.Amount - t.Parcel.Levies
	}
	s.Burdens = burdens(a, t, poured)
	for _, b := range s.Burdens {
		s.Parties[a.partyIndex(b.By)].Borne += b.Paid
		if b.To == CoOp {
			s.Costs += b.Paid
		} else {
			s.Parties[a.partyIndex(b.To)].MadeGood += b.Paid
		}
	}
	return s, nil
}

func (t Totals) violations(a Agreement) Violations {
	var v Violations
	for _, r := range []struct {
		field string
		Received
	}{{"totals.parcel", t.Parcel}, {"totals.sales", t.Sales}} {
		sound := v.amount(r.field+".amount", r.Amount)
		if v.amount(r.field+".levies", r.Levies) && sound && r.Levies > r.Amount {
			v.add(r.field+".levies", "%d is more than the %d received", r.Levies, r.Amount)
		}
	}
	if len(v) == 0 {
		v.amount("totals (parcel and sales together)", t.Parcel.Amount+t.Sales.Amount)
	}
	if t.Parcel.Amount > a.Price {
		v.add("totals.parcel.amount", "%d is more than the price of %d; hold the rest as the payer's money", t.Parcel.Amount, a.Price)
	}
	var sum int64
	kinds := make([]string, 0, len(t.Costs))
	for kind := range t.Costs {
		kinds = append(kinds, kind)
	}
	slices.Sort(kinds) // so that the same totals give the same message
	for _, kind := range kinds {
		field := fmt.Sprintf("totals.costs[%q]", kind)
		if !slices.Contains(a.CostKinds, kind) {
			v.add(field, "is not a recoverable kind of this agreement")
		}
		if v.amount(field, t.Costs[kind]) && sum <= MaxAmount {
			sum += t.Costs[kind]
		}
	}
	if sum > MaxAmount {
		v.add("totals.costs", "add up to more than %d", int64(MaxAmount))
	}
	return v
}

// pour sends proceeds through the tiers of a sound agreement. Nothing is left: the
// last tier has no limit.
func pour(a Agreement, costs map[string]int64, proceeds int64) []TierShare {
	tiers := make([]TierShare, len(a.Tiers))
	for i, tier := range a.Tiers {
		switch t := tier.(type) {
		case Recoup:
			target := targetOf(t.Target, a.Price, costs)
			took := min(proceeds, target)
			tiers[i] = TierShare{took, AtMost(target), []Part{{t.To, took}}}
			proceeds -= took
		case Split:
			weights, whole := a.weights(t)
			took, limit := proceeds, NoLimit
			if t.Ceiling.Set {
				limit = AtMost(raised(t.Ceiling.Amount, whole))
				took = min(proceeds, limit.Amount)
			}
			var parts []Part
			for j, amount := range quota(weights, whole, took) {
				if weights[j] > 0 {
					parts = append(parts, Part{a.Parties[j].ID, amount})
				}
			}
			tiers[i] = TierShare{took, limit, parts}
			proceeds -= took
		}
	}
	return tiers
}

func targetOf(target Target, price int64, costs map[string]int64) int64 {
	switch t := target.(type) {
	case FixedAmount:
		return t.Amount
	case PriceMultiple:
		amount, _ := mulDivUp(price, t.Num, t.Den)
		return amount
	case RecordedCosts:
		var sum int64
		for _, kind := range t.Kinds {
			sum += costs[kind]
		}
		return sum
	}
	return 0 // Validate knows no other
}

// byAccount adds the tiers up per party, the co-op last.
func byAccount(a Agreement, tiers []TierShare) []int64 {
	sums := make([]int64, len(a.Parties)+1)
	for _, tier := range tiers {
		for _, part := range tier.Parts {
			sums[a.accountIndex(part.Account)] += part.Amount
		}
	}
	return sums
}
