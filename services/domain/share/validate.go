package share

import (
	"fmt"
	"slices"
	"strings"

	"github.com/bojanz/currency"
)

// Violation is one rule that a value breaks. Field is its path, as
// "tiers[2].ceiling".
type Violation struct {
	Field   string
	Problem string
}

func (v Violation) String() string { return v.Field + ": " + v.Problem }

// Violations is every rule an agreement, or its totals, break at once, so that a
// person can put all of them right in one go. It is never empty as an error.
type Violations []Violation

func (v Violations) Error() string {
	lines := make([]string, len(v))
	for i, one := range v {
		lines[i] = one.String()
	}
	return strings.Join(lines, "; ")
}

func (v *Violations) add(field, format string, args ...any) {
	*v = append(*v, Violation{field, fmt.Sprintf(format, args...)})
}

func (v *Violations) amount(field string, value int64) bool {
	if value < 0 || value > MaxAmount {
		v.add(field, "is %d; %s", value, amountRule)
		return false
	}
	return true
}

// Validate returns nil, or Violations with all that is wrong.
func (a Agreement) Validate() error {
	var v Violations
	if !currency.IsValid(a.Currency) {
		v.add("currency", "%q is not an ISO 4217 code; use three capital letters, as AUD", a.Currency)
	}
	a.checkParties(&v)
	if v.amount("price", a.Price); a.Price > 0 && a.partyIndex(a.Seller) < 0 {
		v.add("seller", "%q is not a party; name the party that the price is paid to", a.Seller)
	} else if a.Seller != "" && a.partyIndex(a.Seller) < 0 {
		v.add("seller", "%q is not a party", a.Seller)
	}
	a.checkLevy(&v, "parcel_levy", a.ParcelLevy)
	a.checkLevy(&v, "sale_levy", a.SaleLevy)
	a.checkTiers(&v)
	a.checkCostKinds(&v)
	if len(v) == 0 {
		return nil
	}
	return v
}

func (a Agreement) checkParties(v *Violations) {
	if n := len(a.Parties); n < 1 || n > MaxParties {
		v.add("parties", "there are %d; an agreement has 1 to %d", n, MaxParties)
	}
	for i, p := range a.Parties {
		field := fmt.Sprintf("parties[%d]", i)
		switch {
		case p.ID == "":
			v.add(field+".id", "is empty; name the party")
		case p.ID == CoOp:
			v.add(field+".id", "%q stands for the co-op's own costs; give a co-op that takes a share an id of its own", CoOp)
		case a.partyIndex(p.ID) != i:
			v.add(field+".id", "%q is in the list twice", p.ID)
		}
		if p.Role == "" {
			v.add(field+".role", "is empty; say what the party is, as miner or cutter")
		}
	}
}

func (l LevyRule) violations(field string) Violations {
	var v Violations
	if l.BasisPoints < 0 || l.BasisPoints > maxBasisPoints {
		v.add(field+".basis_points", "is %d; it must be between 0 and %d (100 %%)", l.BasisPoints, maxBasisPoints)
	}
	v.amount(field+".floor", l.Floor)
	if l.Cap.Set {
		if v.amount(field+".cap", l.Cap.Amount) && l.Cap.Amount < l.Floor {
			v.add(field+".cap", "%d is below the floor of %d", l.Cap.Amount, l.Floor)
		}
	} else if l.Cap.Amount != 0 {
		v.add(field+".cap", "an amount of %d is given but the cap isn't set", l.Cap.Amount)
	}
	return v
}

func (a Agreement) checkLevy(v *Violations, field string, l LevyRule) {
	*v = append(*v, l.violations(field)...)
	if l.BorneBy != "" && a.partyIndex(l.BorneBy) < 0 {
		v.add(field+".borne_by", "%q is not a party; leave it empty for a levy off the top for all", l.BorneBy)
	}
}

func (a Agreement) checkTiers(v *Violations) {
	if n := len(a.Tiers); n < 1 || n > MaxTiers {
		v.add("tiers", "there are %d; an agreement has 1 to %d", n, MaxTiers)
	}
	for i, tier := range a.Tiers {
		field := fmt.Sprintf("tiers[%d]", i)
		last := i == len(a.Tiers)-1
		switch t := tier.(type) {
		case Recoup:
			a.checkRecoup(v, field, t)
			if last {
				v.add(field, "the last tier must be a split without a ceiling, or money would be left that belongs to nobody")
			}
		case Split:
			a.checkSplit(v, field, t, last)
		default:
			v.add(field, "must be a recoup or a split")
		}
	}
}

func (a Agreement) checkRecoup(v *Violations, field string, r Recoup) {
	if a.accountIndex(r.To) < 0 {
		v.add(field+".to", "%q is neither a party nor %q", r.To, CoOp)
	}
	field += ".target"
	switch t := r.Target.(type) {
	case FixedAmount:
		v.amount(field+".amount", t.Amount)
	case PriceMultiple:
		if t.Num < 1 || t.Num > MaxAmount || t.Den < 1 || t.Den > MaxAmount {
			v.add(field, "%d/%d of the price; both numbers must be between 1 and %d", t.Num, t.Den, int64(MaxAmount))
		} else if a.Price >= 0 && a.Price <= MaxAmount {
			if _, ok := mulDivUp(a.Price, t.Num, t.Den); !ok {
				v.add(field, "%d/%d of the price of %d is above %d", t.Num, t.Den, a.Price, int64(MaxAmount))
			}
		}
	case RecordedCosts:
		if len(t.Kinds) == 0 {
			v.add(field+".kinds", "names no kind of cost")
		}
		for j, kind := range t.Kinds {
			if !slices.Contains(a.CostKinds, kind) {
				v.add(fmt.Sprintf("%s.kinds[%d]", field, j), "%q is not in the agreement's cost_kinds", kind)
			}
		}
	default:
		v.add(field, "must be a fixed amount, a multiple of the price, or recorded costs")
	}
}

func (a Agreement) checkSplit(v *Violations, field string, s Split, last bool) {
	switch {
	case last && s.Ceiling.Set:
		v.add(field+".ceiling", "the last tier must have none, or money would be left that belongs to nobody")
	case !last && !s.Ceiling.Set:
		v.add(field+".ceiling", "is missing; without one no later tier is ever reached")
	case !s.Ceiling.Set && s.Ceiling.Amount != 0:
		v.add(field+".ceiling", "an amount of %d is given but the ceiling isn't set", s.Ceiling.Amount)
	case s.Ceiling.Set && (s.Ceiling.Amount < 1 || s.Ceiling.Amount > MaxAmount):
		v.add(field+".ceiling", "is %d; it must be between 1 and %d minor units", s.Ceiling.Amount, int64(MaxAmount))
	}
	if len(s.Ratios) == 0 {
		v.add(field+".ratios", "names no party")
		return
	}
	sound := true
	for j, r := range s.Ratios {
		at := fmt.Sprintf("%s.ratios[%d]", field, j)
		switch {
		case r.Party == CoOp:
			v.add(at+".party", "%q only recoups costs; a co-op that takes a share is a party with its own id", CoOp)
			sound = false
		case a.partyIndex(r.Party) < 0:
			v.add(at+".party", "%q is not a party", r.Party)
			sound = false
		case slices.ContainsFunc(s.Ratios[:j], func(o Ratio) bool { return o.Party == r.Party }):
			v.add(at+".party", "%q is in this split twice; add its weights up", r.Party)
			sound = false
		}
		if r.Weight < 1 || r.Weight > MaxAmount {
			v.add(at+".weight", "is %d; it must be between 1 and %d", r.Weight, int64(MaxAmount))
			sound = false
		}
	}
	if !sound {
		return
	}
	_, whole := a.weights(s)
	if whole > MaxWhole {
		v.add(field+".ratios", "add up to %d after reducing; at most %d is allowed, so use rounder ratios", whole, MaxWhole)
	} else if c := s.Ceiling; c.Set && c.Amount <= MaxAmount && raised(c.Amount, whole) > MaxAmount {
		v.add(field+".ceiling", "%d raised to a multiple of %d is above %d", c.Amount, whole, int64(MaxAmount))
	}
}

// checkCostKinds: a kind that no tier recouped would be recoverable in name only,
// and one that two tiers recouped would be paid back twice.
func (a Agreement) checkCostKinds(v *Violations) {
	for i, kind := range a.CostKinds {
		field := fmt.Sprintf("cost_kinds[%d]", i)
		if kind == "" {
			v.add(field, "is empty; name the kind of cost")
			continue
		}
		if slices.Index(a.CostKinds, kind) != i {
			v.add(field, "%q is in the list twice", kind)
			continue
		}
		times := 0
		for _, tier := range a.Tiers {
			if r, ok := tier.(Recoup); ok {
				if t, ok := r.Target.(RecordedCosts); ok {
					for _, k := range t.Kinds {
						if k == kind {
							times++
						}
					}
				}
			}
		}
		if times != 1 {
			v.add(field, "%q is recouped by %d tiers; it must be exactly one", kind, times)
		}
	}
}

// raised is ceiling as the next multiple of whole.
func raised(ceiling, whole int64) int64 {
	return (ceiling + whole - 1) / whole * whole
}
