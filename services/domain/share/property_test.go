package share_test

import (
	"fmt"
	"math/big"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/share"
)

// staircase draws a sound agreement: 2 to 6 parties, up to 6 tiers, costs of three
// kinds recouped wherever it falls out, levies with floors, caps and bearers.
func staircase(t *rapid.T) share.Agreement {
	a := share.Agreement{Currency: "AUD"}
	for i := range rapid.IntRange(2, 6).Draw(t, "parties") {
		a.Parties = append(a.Parties, share.Party{ID: fmt.Sprintf("p%d", i), Role: "partner"})
	}
	party := func(label string) string { return rapid.SampledFrom(a.Parties).Draw(t, label).ID }
	a.Seller = party("seller")
	a.Price = rapid.Int64Range(0, 1_000_000).Draw(t, "price")
	levy := func(label string) share.LevyRule {
		l := share.LevyRule{
			BasisPoints: rapid.Int64Range(0, 10_000).Draw(t, label+" bp"),
			Floor:       rapid.Int64Range(0, 500).Draw(t, label+" floor"),
		}
		if rapid.Bool().Draw(t, label+" capped") {
			l.Cap = share.AtMost(l.Floor + rapid.Int64Range(0, 5_000).Draw(t, label+" cap"))
		}
		if rapid.Bool().Draw(t, label+" borne by one") {
			l.BorneBy = party(label + " bearer")
		}
		return l
	}
	a.ParcelLevy, a.SaleLevy = levy("parcel levy"), levy("sale levy")

	ratios := func(label string) []share.Ratio {
		var out []share.Ratio
		scale := rapid.Int64Range(1, 1000).Draw(t, label+" scale")
		who := rapid.Permutation(a.Parties).Draw(t, label+" who")
		for _, p := range who[:rapid.IntRange(1, len(who)).Draw(t, label+" of")] {
			most := rapid.SampledFrom([]int64{3, 20, 1_600}).Draw(t, label+" most")
			out = append(out, share.Ratio{Party: p.ID, Weight: scale * rapid.Int64Range(1, most).Draw(t, label+" weight")})
		}
		return out
	}
	kinds := []string{"freight", "paper", "bench"}
	for i := range rapid.IntRange(0, 5).Draw(t, "tiers before the last") {
		label := fmt.Sprintf("tier %d", i)
		if rapid.Bool().Draw(t, label+" splits") {
			a.Tiers = append(a.Tiers, share.Split{
				Ratios:  ratios(label),
				Ceiling: share.AtMost(rapid.Int64Range(1, 200_000).Draw(t, label+" ceiling")),
			})
			continue
		}
		r := share.Recoup{To: share.CoOp}
		if rapid.Bool().Draw(t, label+" to a party") {
			r.To = party(label + " to")
		}
		switch n := rapid.IntRange(0, 2).Draw(t, label+" target"); {
		case n == 0 && len(a.CostKinds) < len(kinds):
			kind := kinds[len(a.CostKinds)]
			a.CostKinds = append(a.CostKinds, kind)
			r.Target = share.RecordedCosts{Kinds: []string{kind}}
		case n == 1:
			r.Target = share.PriceMultiple{
				Num: rapid.Int64Range(1, 30).Draw(t, label+" num"),
				Den: rapid.Int64Range(1, 30).Draw(t, label+" den"),
			}
		default:
			r.Target = share.FixedAmount{Amount: rapid.Int64Range(0, 200_000).Draw(t, label+" amount")}
		}
		a.Tiers = append(a.Tiers, r)
	}
	a.Tiers = append(a.Tiers, share.Split{Ratios: ratios("last")})
	if err := a.Validate(); err != nil {
		t.Fatalf("the drawn agreement is not sound: %v", err)
	}
	return a
}

// sale is a price and what has been paid of it.
type sale struct{ price, paid int64 }

func sales(t *rapid.T) []sale {
	out := make([]sale, rapid.IntRange(0, 12).Draw(t, "sales"))
	for i := range out {
		out[i].price = rapid.Int64Range(0, 150_000).Draw(t, "sale")
		out[i].paid = out[i].price
		if rapid.Bool().Draw(t, "in part") {
			out[i].paid = rapid.Int64Range(0, out[i].price).Draw(t, "paid")
		}
	}
	return out
}

func costs(t *rapid.T, a share.Agreement) map[string]int64 {
	out := map[string]int64{}
	for _, kind := range a.CostKinds {
		out[kind] = rapid.Int64Range(0, 100_000).Draw(t, kind)
	}
	return out
}

func at(t *rapid.T, a share.Agreement, laidOut map[string]int64, parcelPaid int64, sold []sale) share.Totals {
	out := share.Totals{Costs: laidOut}
	add := func(to *share.Received, l share.LevyRule, price, paid int64) {
		levy, err := l.OfPayment(price, paid)
		if err != nil {
			t.Fatal(err)
		}
		to.Amount += paid
		to.Levies += levy
	}
	add(&out.Parcel, a.ParcelLevy, a.Price, parcelPaid)
	for _, s := range sold {
		add(&out.Sales, a.SaleLevy, s.price, s.paid)
	}
	return out
}

func shares(t *rapid.T, a share.Agreement, totals share.Totals) share.Shares {
	s, err := share.Entitlement(a, totals)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Money rule 1: every receipt is given out to the cent.
func TestRule1SharesLeviesAndCostsAreTheReceipts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := staircase(t)
		totals := at(t, a, costs(t, a), rapid.Int64Range(0, a.Price).Draw(t, "parcel paid"), sales(t))
		s := shares(t, a, totals)
		sum := s.Levies + s.Costs
		for _, p := range s.Parties {
			sum += p.Total()
			if p.Total() < 0 || p.Poured < p.Borne {
				t.Errorf("%s went below zero: %+v", p.Party, p)
			}
		}
		if received := totals.Parcel.Amount + totals.Sales.Amount; sum != received || s.Received != received {
			t.Errorf("given out %d of %d", sum, received)
		}
	})
}

// Money rule 2: within one unit of the exact share for each split tier entered, and
// exact where only recoup tiers were.
func TestRule2SharesStayWithinOneUnitOfTheExactOnes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := staircase(t)
		totals := at(t, a, costs(t, a), 0, sales(t))
		s := shares(t, a, totals)
		exact, entered := exactly(a, totals.Costs, totals.Sales.Amount-totals.Sales.Levies)
		got := map[string]int64{}
		for _, tier := range s.Tiers {
			for _, part := range tier.Parts {
				got[part.Account] += part.Amount
			}
		}
		for account, want := range exact {
			off := new(big.Rat).Sub(big.NewRat(got[account], 1), want)
			if n := entered[account]; n == 0 && off.Sign() != 0 || off.Abs(off).Cmp(big.NewRat(n, 1)) > 0 {
				t.Errorf("%s has %d, exactly %s, off by more than %d units", account, got[account], want.FloatString(3), n)
			}
		}
		for _, p := range s.Parties {
			if p.Poured != got[p.Party] {
				t.Errorf("%s has %d poured, the tiers say %d", p.Party, p.Poured, got[p.Party])
			}
		}
	})
}

// Money rule 3: a receipt gives nobody a negative share, a full return restores every
// entitlement; and no order of the same receipts ends anywhere else.
func TestRule3ReceiptsOnlyAddAndReturnsRestore(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := staircase(t)
		laidOut, sold := costs(t, a), sales(t)
		ledger := map[string]int64{}
		post := func(before, after share.Shares) {
			posts, err := share.Post(before, after)
			if err != nil {
				t.Fatal(err)
			}
			for _, p := range posts {
				ledger[p.Class.String()+" "+p.Account] += p.Amount
			}
		}
		now := shares(t, a, at(t, a, laidOut, 0, nil))
		post(share.Shares{}, now)
		for i := range sold {
			next := shares(t, a, at(t, a, laidOut, 0, sold[:i+1]))
			for j, p := range next.Parties {
				if p.Poured < now.Parties[j].Poured {
					t.Errorf("a receipt takes %d from what is poured to %s", now.Parties[j].Poured-p.Poured, p.Party)
				}
			}
			post(now, next)
			now = next
		}

		shuffled := rapid.Permutation(sold).Draw(t, "another order")
		if other := shares(t, a, at(t, a, laidOut, 0, shuffled)); !reflect.DeepEqual(now, other) {
			t.Errorf("another order ends elsewhere: %+v, not %+v", other, now)
		}
		want := map[string]int64{}
		for _, l := range []share.Posting{{Class: share.ClassLevy, Account: share.CoOp, Amount: now.Levies}, {Class: share.ClassCost, Account: share.CoOp, Amount: now.Costs}} {
			want[l.Class.String()+" "+l.Account] = l.Amount
		}
		for _, p := range now.Parties {
			want["share "+p.Party] = p.Total()
		}
		for account, amount := range want {
			if ledger[account] != amount {
				t.Errorf("what was posted to %s is %d, its entitlement %d", account, ledger[account], amount)
			}
		}

		more := sale{price: rapid.Int64Range(1, 1_000_000).Draw(t, "sold and returned")}
		more.paid = more.price
		with := shares(t, a, at(t, a, laidOut, 0, append(sold[:len(sold):len(sold)], more)))
		post(now, with)
		post(with, shares(t, a, at(t, a, laidOut, 0, sold)))
		for account, amount := range want {
			if ledger[account] != amount {
				t.Errorf("after a full return %s has %d, before it %d", account, ledger[account], amount)
			}
		}
	})
}

// A levy borne by one party: the others have what they would have without it, as far
// as the bearer's poured share goes; what is missing is visible.
func TestABorneLevyIsMadeGoodToTheOthers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := staircase(t)
		a.SaleLevy.BorneBy = rapid.SampledFrom(a.Parties).Draw(t, "bearer").ID
		a.ParcelLevy.BorneBy = ""
		totals := at(t, a, costs(t, a), 0, sales(t))
		s := shares(t, a, totals)
		free := totals
		free.Sales.Levies = 0
		without := shares(t, a, free)
		open := map[string]int64{}
		for _, b := range s.Burdens {
			open[b.To] += b.Open()
			if p, _ := s.Of(b.By); b.Open() > 0 && p.Borne != p.Poured {
				t.Errorf("%s still owes %d but kept %d", b.By, b.Open(), p.Poured-p.Borne)
			}
		}
		for i, p := range s.Parties {
			if p.Party != a.SaleLevy.BorneBy && p.Total()+open[p.Party] != without.Parties[i].Total() {
				t.Errorf("%s has %d and %d open, without the levy it had %d", p.Party, p.Total(), open[p.Party], without.Parties[i].Total())
			}
		}
		if s.Costs+open[share.CoOp] != without.Costs {
			t.Errorf("costs are %d and %d open, without the levy they were %d", s.Costs, open[share.CoOp], without.Costs)
		}
	})
}

// The levy of part payments never exceeds what was paid, never falls as more is paid,
// and ends at what is due.
func TestLevyOfPartPayments(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := staircase(t).SaleLevy
		price := rapid.Int64Range(0, share.MaxAmount).Draw(t, "price")
		if rapid.Bool().Draw(t, "small") {
			price %= 1000
		}
		first := rapid.Int64Range(0, price).Draw(t, "first")
		second := rapid.Int64Range(first, price).Draw(t, "second")
		due, err := l.Due(price)
		if err != nil {
			t.Fatal(err)
		}
		var last int64
		for _, paid := range []int64{0, first, second, price} {
			levy, err := l.OfPayment(price, paid)
			if err != nil {
				t.Fatal(err)
			}
			exact := new(big.Int)
			if price > 0 {
				exact.Div(exact.Mul(big.NewInt(due), big.NewInt(paid)), big.NewInt(price))
			}
			if levy < last || levy > paid || exact.Int64() != levy {
				t.Errorf("levy on %d of %d is %d (before %d), due %d", paid, price, levy, last, due)
			}
			last = levy
		}
		if last != due || due > price {
			t.Errorf("levy on the full price of %d is %d, due %d", price, last, due)
		}
	})
}

func TestQuotaNeverTakesAUnitBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		weights := rapid.SliceOfN(rapid.Int64Range(0, 1_600), 1, 6).Draw(t, "weights")
		weights[0]++
		units := rapid.Int64Range(0, share.MaxAmount-1).Draw(t, "units")
		now, err := share.Quota(weights, units)
		if err != nil {
			t.Fatal(err)
		}
		next, err := share.Quota(weights, units+1)
		if err != nil {
			t.Fatal(err)
		}
		var given, whole int64
		for _, w := range weights {
			whole += w
		}
		for i, w := range weights {
			given += next[i] - now[i]
			if next[i] < now[i] {
				t.Errorf("unit %d takes one from party %d", units+1, i)
			}
			off := new(big.Rat).Sub(big.NewRat(now[i], 1), new(big.Rat).Mul(big.NewRat(units, 1), big.NewRat(w, whole)))
			if off.Abs(off).Cmp(big.NewRat(1, 1)) >= 0 {
				t.Errorf("party %d is a unit or more off after %d", i, units)
			}
		}
		if given != 1 {
			t.Errorf("unit %d gave out %d", units+1, given)
		}
	})
}
