package view

import (
	"fmt"
	"maps"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/stream"
)

// Books is what Recompute reads: an eventstore.Query.
type Books interface {
	History
	View(name string) eventstore.Reader
}

// Recompute reckons every parcel's shares anew from the records alone, folded from
// their first, and holds the sums against the books, which were posted receipt by
// receipt: what each parcel brought, each account to the cent, and per currency
// receipts = levies + costs + shares. Which parcels there are it takes from another
// view than the books'. It returns how many had a deal; an error names the first that
// differs.
func Recompute(b Books) (parcels int, err error) {
	type account struct{ currency, member, party string }
	sums := map[account]int64{}
	own := map[string]CoOpAccount{}
	var shares Shares
	rows, listed := b.View(shares.Name()), b.View(Yields{}.Name())
	for after, more := "", true; more; more = after != "" {
		after, err = page(listed, table("parcel"), after, MaxPage, func(parcelID string, _ []byte) error {
			s, ok, err := statementOf(b, parcelID)
			if err != nil {
				return fmt.Errorf("couldn't reckon parcel %s: %w", parcelID, err)
			}
			if !ok {
				return nil
			}
			if err := sameInBooks(rows, s); err != nil {
				return err
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
	booked, members, err := shares.Balances(rows)
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
	if is.Parcel != want.Parcel || is.Sales != want.Sales || !maps.Equal(is.Costs, want.Costs) {
		return fmt.Errorf("the books say that parcel %s brought %+v; its records come to %+v (minor units)", s.ParcelID, is, want)
	}
	return nil
}

// statementOf reckons a parcel's shares from its records; ok is false where there is no
// deal on it. It reads no row and no state that anybody kept.
func statementOf(h History, parcelID string) (s Statement, ok bool, err error) {
	lot, err := fold(h, stream.Parcel, parcelID)
	if err != nil || !lot.Deal.Made() {
		return Statement{}, false, err
	}
	orders, err := foldOrders(h, lot)
	if err != nil {
		return Statement{}, false, err
	}
	s, err = reckon(lot, orders)
	return s, err == nil, err
}

// foldOrders folds every order that a stone of the parcel ever went into.
func foldOrders(h History, lot parcel.State) (map[string]order.State, error) {
	orders := map[string]order.State{}
	for _, line := range lot.Lines {
		rough, err := fold(h, stream.Piece, line.PieceID)
		if err != nil {
			return nil, err
		}
		for _, part := range rough.Parts {
			if part.StoneID == "" {
				continue
			}
			records, err := h.Records(stream.Stone.Stream(part.StoneID))
			if err != nil {
				return nil, err
			}
			for _, rec := range records {
				event, _ := rec.Event.(*stonev1.Event)
				id := event.GetSold().GetPublic().GetOrderId()
				if _, known := orders[id]; id == "" || known {
					continue
				}
				if orders[id], err = fold(h, stream.Order, id); err != nil {
					return nil, err
				}
			}
		}
	}
	return orders, nil
}

func fold[S any](h History, kind eventstore.Kind[S], id string) (state S, err error) {
	records, err := h.Records(kind.Stream(id))
	if err != nil {
		return state, err
	}
	for _, rec := range records {
		state = kind.Evolve(state, rec)
	}
	return state, nil
}
