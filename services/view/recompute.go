package view

import (
	"fmt"
	"maps"
	"math"

	"seamshare.example/eventstore"
)

// Books is what Recompute reads: an eventstore.Query.
type Books interface {
	History
	View(name string) eventstore.Reader
}

// Recompute reckons every parcel's shares anew from the records alone, folded from
// their first, and holds the sums against the books, which were posted receipt by
// receipt: what each parcel brought, each account to the cent, and per currency
// receipts = levies + costs + shares + what is to be paid back. Which parcels there are
// it takes from another view than the books'. It returns how many had a deal; an error
// names the first that differs.
func Recompute(b Books) (parcels int, err error) {
	type account struct{ currency, member, party string }
	sums := map[account]int64{}
	own := map[string]CoOpAccount{}
	var shares Shares
	rows, listed := b.View(shares.Name()), b.View(Yields{}.Name())
	for after, more := "", true; more; more = after != "" {
		after, err = page(listed, table("parcel"), after, MaxPage, func(parcelID string, _ []byte) error {
			s, ok, err := RecomputeParcel(b, parcelID)
			if err != nil || !ok {
				return err
			}
			parcels++
			currency := s.Agreement.Currency
			a := own[currency]
			a.Receipts += s.Shares.Received + s.Back
			a.Back += s.Back
			a.Levies += s.Shares.Levies
			a.Costs += s.Shares.Costs
			own[currency] = a
			for _, p := range s.Shares.Parties {
				sums[account{currency, s.Member(p.Party), s.Role(p.Party)}] += p.Total()
			}
			return nil
		})
		if err != nil {
			return parcels, err
		}
	}
	booked, members, err := shares.Balances(rows)
	if err != nil {
		return parcels, err
	}
	left := map[string]int64{}
	for _, b := range booked {
		a := own[b.Currency]
		if a.Currency = b.Currency; a != b {
			return parcels, fmt.Errorf("the co-op's %s accounts hold receipts %d, levies %d, costs %d, to be paid back %d; the parcels come to %d, %d, %d, %d (minor units)",
				b.Currency, b.Receipts, b.Levies, b.Costs, b.Back, a.Receipts, a.Levies, a.Costs, a.Back)
		}
		left[b.Currency] = b.Receipts - b.Levies - b.Costs - b.Back
	}
	for _, b := range members {
		at := account{b.Currency, b.Member, b.Party}
		if sums[at] != b.Minor {
			return parcels, fmt.Errorf("the %s balance of member %s as %s is %d; its parcels come to %d (minor units)", b.Currency, b.Member, b.Party, b.Minor, sums[at])
		}
		delete(sums, at)
		left[b.Currency] -= b.Minor
	}
	for at, sum := range sums {
		if sum != 0 {
			return parcels, fmt.Errorf("member %s as %s has earned %d %s (minor units) that stand in no balance", at.member, at.party, sum, at.currency)
		}
	}
	for currency, rest := range left {
		if rest != 0 {
			return parcels, fmt.Errorf("%s receipts are not given out: %d minor units are left over", currency, rest)
		}
	}
	return parcels, nil
}

// RecomputeParcel is Recompute of what one parcel brought; ok is false where it has no
// deal.
func RecomputeParcel(b Books, parcelID string) (s Statement, ok bool, err error) {
	s, ok, err = statementOf(b, parcelID, math.MaxInt64)
	if err != nil {
		return Statement{}, false, fmt.Errorf("couldn't reckon parcel %s: %w", parcelID, err)
	}
	if !ok {
		return Statement{}, false, nil
	}
	return s, true, sameInBooks(b.View(Shares{}.Name()), s)
}

// sameInBooks holds what the books say a parcel brought against the records.
func sameInBooks(rows eventstore.Reader, s Statement) error {
	booked, ok, err := Shares{}.Statement(rows, s.ParcelID)
	if err != nil {
		return fmt.Errorf("couldn't read the books on parcel %s: %w", s.ParcelID, err)
	}
	if !ok {
		return fmt.Errorf("the books have no deal on parcel %s, the records have one", s.ParcelID)
	}
	is, want := booked.Totals, s.Totals
	if is.Parcel != want.Parcel || is.Sales != want.Sales || !maps.Equal(is.Costs, want.Costs) || booked.Back != s.Back {
		return fmt.Errorf("the books say that parcel %s brought %+v, and %d to be paid back; its records come to %+v and %d (minor units)", s.ParcelID, is, booked.Back, want, s.Back)
	}
	return nil
}
