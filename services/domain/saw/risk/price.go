package risk

import (
	"fmt"
	"math"
	"math/big"

	"gonum.org/v1/gonum/mathext"

	"seamshare.example/services/domain/rule"
)

// Shape is how a price spreads between its ends.
type Shape int

// The shapes. Both are zero at Low and High and highest at Likely.
const (
	Triangular Shape = iota + 1
	PERT             // a beta distribution with mean (low + 4 likely + high) / 6: ends weigh less
)

// Range is a price that is not known yet: Low ≤ Likely ≤ High, minor units.
type Range struct {
	Low, Likely, High int64
	Shape             Shape
}

// Moments are exact: standard results of the triangular and of the PERT distribution with
// its usual weight of 4.
func (r Range) Moments() Moments {
	a, m, b := whole(r.Low), whole(r.Likely), whole(r.High)
	if r.Shape == PERT {
		mean := mul(add(add(a, b), mul(whole(4), m)), ratio(1, 6))
		return Moments{mean, mul(mul(sub(mean, a), sub(b, mean)), ratio(1, 7))}
	}
	squares := add(add(mul(a, a), mul(b, b)), mul(m, m))
	products := add(add(mul(a, b), mul(a, m)), mul(b, m))
	return Moments{mul(add(add(a, b), m), ratio(1, 3)), mul(sub(squares, products), ratio(1, 18))}
}

// at is the price below which it stays with chance u: the inverse distribution function.
func (r Range) at(u float64) float64 {
	a, m, b := float64(r.Low), float64(r.Likely), float64(r.High)
	width := b - a
	if width == 0 {
		return a
	}
	if r.Shape == PERT {
		return a + width*mathext.InvRegIncBeta(1+4*(m-a)/width, 1+4*(b-m)/width, u)
	}
	if u*width < m-a {
		return a + math.Sqrt(u*width*(m-a))
	}
	return b - math.Sqrt((1-u)*width*(b-m))
}

// Gain is an amount that depends on nothing else: either some outcomes with chances, or a
// price range.
type Gain struct {
	Outcomes []Outcome // their chances add up to Certain; nil where Range is set
	Range    *Range
}

// Outcome is one of the amounts that a gain can be.
type Outcome struct {
	Chance int64 // basis points
	Value  int64 // minor units
}

// Moments of the gain, exact.
func (g Gain) Moments() Moments {
	if g.Range != nil {
		return g.Range.Moments()
	}
	mean, square := new(big.Rat), new(big.Rat)
	for _, o := range g.Outcomes {
		mean.Add(mean, mul(chance(o.Chance), whole(o.Value)))
		square.Add(square, mul(chance(o.Chance), mul(whole(o.Value), whole(o.Value))))
	}
	return Moments{mean, sub(square, mul(mean, mean))}
}

func (g Gain) check(all *rule.All, field string) {
	if r := g.Range; r != nil {
		checkAmount(all, field+".range.low", r.Low)
		checkAmount(all, field+".range.high", r.High)
		if r.Low > r.Likely || r.Likely > r.High || len(g.Outcomes) > 0 || r.Shape != Triangular && r.Shape != PERT {
			all.Add(rule.Broken{
				Reason: rule.AmountInvalid, Field: field + ".range", Value: fmt.Sprintf("%d, %d, %d", r.Low, r.Likely, r.High),
				Rule: "a price range rises from low to likely to high, has a shape, and stands alone", Hint: "give the three in order",
			})
		}
		return
	}
	var sum int64
	for i, o := range g.Outcomes {
		checkChance(all, fmt.Sprintf("%s.outcomes[%d].chance", field, i), o.Chance)
		checkAmount(all, fmt.Sprintf("%s.outcomes[%d].value", field, i), o.Value)
		sum += min(max(o.Chance, -Certain), 2*Certain)
	}
	checkCertain(all, field+".outcomes", sum, "all outcomes")
}
