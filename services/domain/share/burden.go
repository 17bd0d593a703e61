package share

// LevyKind says which levy is meant.
type LevyKind int

// The levies of an agreement.
const (
	ParcelLevy LevyKind = iota + 1
	SaleLevy
)

func (k LevyKind) String() string {
	switch k {
	case ParcelLevy:
		return "levy on the parcel"
	case SaleLevy:
		return "levy on sales"
	}
	return "unknown levy"
}

// Burden is what the bearer of a levy owes one other account for it: what that
// account would have had without the levy, less what it has. Only the bearer's
// poured share pays it, so what is Open may be paid by later sales.
type Burden struct {
	By   string // a party
	To   string // a party, or CoOp for costs it would have had back
	Levy LevyKind
	Owed int64
	Paid int64
}

// Open is what the bearer's share couldn't pay so far.
func (b Burden) Open() int64 { return b.Owed - b.Paid }

// burdens are the debts of both levies' bearers, and what poured (by account) pays of
// them. A debtor whose poured share is too small pays each debt in proportion, by the
// largest remainder; what it receives from the other debtor pays nothing, so the
// result doesn't depend on who is looked at first.
func burdens(a Agreement, t Totals, poured []int64) []Burden {
	var owed []Burden
	if by := a.ParcelLevy.BorneBy; by != "" && by != a.Seller && t.Parcel.Levies > 0 {
		owed = append(owed, Burden{By: by, To: a.Seller, Levy: ParcelLevy, Owed: t.Parcel.Levies})
	}
	if by := a.SaleLevy.BorneBy; by != "" && t.Sales.Levies > 0 {
		without := byAccount(a, pour(a, t.Costs, t.Sales.Amount))
		for i := range without {
			to := CoOp
			if i < len(a.Parties) {
				to = a.Parties[i].ID
			}
			if lost := without[i] - poured[i]; lost > 0 && to != by {
				owed = append(owed, Burden{By: by, To: to, Levy: SaleLevy, Owed: lost})
			}
		}
	}
	for i, p := range a.Parties {
		pay(owed, p.ID, poured[i])
	}
	return owed
}

// pay lets one debtor pay its debts from what it has.
func pay(owed []Burden, by string, has int64) {
	var sum int64
	debts := make([]int64, len(owed))
	for i, b := range owed {
		if b.By == by {
			debts[i] = b.Owed
			sum += b.Owed
		}
	}
	if sum == 0 {
		return
	}
	// The debts are at most both levies, so their sum is within MaxAmount.
	for i, paid := range largestRemainder(debts, sum, min(sum, has)) {
		owed[i].Paid += paid
	}
}
