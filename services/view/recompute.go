package view

import (
	"fmt"

	"seamshare.example/eventstore"
)

// Recompute reckons every parcel's shares anew from its agreement and what was
// received, and holds the sums against the books, which were posted receipt by
// receipt: each account to the cent, and per currency receipts = levies + costs +
// shares. It returns how many parcels there were; an error names the first account
// that differs.
func Recompute(r eventstore.Reader) (parcels int, err error) {
	type account struct{ currency, member, party string }
	sums := map[account]int64{}
	own := map[string]CoOpAccount{}
	var shares Shares
	for after, more := "", true; more; more = after != "" {
		after, err = page(r, table("deal"), after, MaxPage, func(parcelID string, _ []byte) error {
			s, _, err := shares.Statement(r, parcelID)
			if err != nil {
				return fmt.Errorf("couldn't reckon parcel %s: %w", parcelID, err)
			}
			parcels++
			currency := s.Agreement.Currency
			a := own[currency]
			a.Receipts += s.Shares.Received
			a.Levies += s.Shares.Levies
			a.Costs += s.Shares.Costs
			own[currency] = a
			for _, p := range s.Shares.Parties {
				sums[account{currency, s.Member(p.Party), s.role(p.Party)}] += p.Total()
			}
			return nil
		})
		if err != nil {
			return parcels, err
		}
	}
	booked, members, err := shares.Balances(r)
	if err != nil {
		return parcels, err
	}
	left := map[string]int64{}
	for _, b := range booked {
		a := own[b.Currency]
		if a.Receipts != b.Receipts || a.Levies != b.Levies || a.Costs != b.Costs {
			return parcels, fmt.Errorf("the co-op's %s accounts hold receipts %d, levies %d, costs %d; the parcels come to %d, %d, %d (minor units)",
				b.Currency, b.Receipts, b.Levies, b.Costs, a.Receipts, a.Levies, a.Costs)
		}
		left[b.Currency] = b.Receipts - b.Levies - b.Costs
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
