package risk

import (
	"fmt"
	"math/big"

	"gonum.org/v1/gonum/mathext"

	"seamshare.example/services/domain/rule"
)

// Record is what the co-op saw of one kind of decision.
type Record struct{ Held, Tried int64 }

// Estimate is what a record says of the chance, beside the cutter's own.
//
// The prior is Jeffreys', Beta(½, ½): it says little, favours no scale on which a chance
// could be written, and its equal-tailed interval covers the true chance about as often as
// it says even for a few tries (Brown, Cai and DasGupta 2001), which a uniform prior's
// doesn't near 0 and 1. After h of n the chance is Beta(h + ½, n − h + ½).
type Estimate struct {
	Mean      *big.Rat // (h + ½) / (n + 1), exact
	Low, High int64    // 5 % and 95 % points, basis points, nearest; computed in floats
	Apart     *big.Rat // the cutter's own less Mean
	Outside   bool     // the cutter's own lies outside Low to High: worth a word between people
}

// Estimate reads the record beside the cutter's own chance in basis points. Tries are
// taken as alike and independent; they never quite are, so it is shown, never imposed.
func (r Record) Estimate(own int64) (Estimate, error) {
	var all rule.All
	checkChance(&all, "own", own)
	if r.Tried < 0 || r.Tried > 1_000_000_000 || r.Held < 0 || r.Held > r.Tried {
		all.Add(rule.Broken{
			Reason: rule.CountInvalid, Field: "held", Value: fmt.Sprintf("%d of %d", r.Held, r.Tried),
			Rule: "what held is 0 to what was tried, at most 1000000000", Hint: "count again",
		})
	}
	if err := all.Err(); err != nil {
		return Estimate{}, err
	}
	mean := ratio(2*r.Held+1, 2*r.Tried+2)
	a, b := float64(r.Held)+0.5, float64(r.Tried-r.Held)+0.5
	point := func(tail float64) int64 { return int64(mathext.InvRegIncBeta(a, b, tail)*Certain + 0.5) }
	e := Estimate{Mean: mean, Low: point(0.05), High: point(0.95), Apart: sub(chance(own), mean)}
	e.Outside = own < e.Low || own > e.High
	return e, nil
}
