package share

import "fmt"

// Class tells what a posted amount is.
type Class int

// The classes of postings.
const (
	ClassLevy  Class = iota + 1 // to the co-op, for its service
	ClassCost                   // to the co-op, for what it laid out
	ClassShare                  // to a party
)

func (c Class) String() string {
	switch c {
	case ClassLevy:
		return "levy"
	case ClassCost:
		return "cost"
	case ClassShare:
		return "share"
	}
	return "unknown"
}

// Posting is one account's change. Account is CoOp for levies and costs.
type Posting struct {
	Class   Class
	Account string
	Amount  int64 // negative where an entitlement was lowered
}

// Post is the difference between two Shares of one agreement: what a receipt, cost,
// return or correction adds to each account. Levies come first, then costs, then the
// parties in the agreement's order; nothing is listed that didn't change. The amounts
// add up to the change in what was received.
//
// A zero before stands for nothing yet. A lowered entitlement that was already paid
// out is an advance; recouping it is the payer's business, not this package's.
func Post(before, after Shares) ([]Posting, error) {
	if len(before.Parties) == 0 {
		before.Currency = after.Currency
		for _, p := range after.Parties {
			before.Parties = append(before.Parties, PartyShare{Party: p.Party})
		}
	}
	if before.Currency != after.Currency || len(before.Parties) != len(after.Parties) {
		return nil, fmt.Errorf("couldn't post the difference: before has %d parties in %s, after %d in %s; both must be of one agreement",
			len(before.Parties), before.Currency, len(after.Parties), after.Currency)
	}
	var posts []Posting
	add := func(class Class, account string, amount int64) {
		if amount != 0 {
			posts = append(posts, Posting{class, account, amount})
		}
	}
	add(ClassLevy, CoOp, after.Levies-before.Levies)
	add(ClassCost, CoOp, after.Costs-before.Costs)
	for i, p := range after.Parties {
		if before.Parties[i].Party != p.Party {
			return nil, fmt.Errorf("couldn't post the difference: party %d is %q before and %q after; both must be of one agreement",
				i, before.Parties[i].Party, p.Party)
		}
		add(ClassShare, p.Party, p.Total()-before.Parties[i].Total())
	}
	return posts, nil
}
