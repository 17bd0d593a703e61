package risk

import (
	"fmt"
	"math/big"

	"seamshare.example/services/domain/money"
	"seamshare.example/services/domain/rule"
)

// Certain is a chance of one, in basis points.
const Certain = 10_000

// Round is the nearest whole number, halves away from zero, and no farther from zero than money.Max: a sum of many
// valid amounts may pass what any one of them may be.
func Round(r *big.Rat) int64 {
	num := new(big.Int).Abs(r.Num())
	num.Lsh(num, 1).Add(num, r.Denom())
	out := bounded(num.Quo(num, new(big.Int).Lsh(r.Denom(), 1)))
	if r.Sign() < 0 {
		return -out
	}
	return out
}

// BasisPoints is a chance in the nearest whole basis points, halves up.
func BasisPoints(chance *big.Rat) int64 {
	return Round(new(big.Rat).Mul(chance, big.NewRat(Certain, 1)))
}

// Root is the nearest whole number to the square root, halves up, at most money.Max. Where r is a variance
// of minor units it is the standard deviation in whole minor units.
func Root(r *big.Rat) int64 {
	// ⌊√r + ½⌋ = ⌊(√(4r) + 1) / 2⌋, and ⌊√⌋ of a rational is that of its floor.
	four := new(big.Int).Lsh(r.Num(), 2)
	root := new(big.Int).Sqrt(four.Quo(four, r.Denom()))
	return bounded(root.Add(root, big.NewInt(1)).Rsh(root, 1))
}

// bounded is a number that isn't negative, at most money.Max.
func bounded(n *big.Int) int64 {
	if !n.IsInt64() {
		return money.Max
	}
	return min(n.Int64(), money.Max)
}

func ratio(a, b int64) *big.Rat  { return big.NewRat(a, b) }
func whole(a int64) *big.Rat     { return new(big.Rat).SetInt64(a) }
func chance(bp int64) *big.Rat   { return big.NewRat(bp, Certain) }
func add(a, b *big.Rat) *big.Rat { return new(big.Rat).Add(a, b) }
func sub(a, b *big.Rat) *big.Rat { return new(big.Rat).Sub(a, b) }
func mul(a, b *big.Rat) *big.Rat { return new(big.Rat).Mul(a, b) }

// Moments are the mean and variance of an amount, in minor units and their square.
type Moments struct{ Mean, Variance *big.Rat }

// Deviation is the standard deviation in whole minor units.
func (m Moments) Deviation() int64 { return Root(m.Variance) }

// Plus is the sum of two amounts whose correlation is rho, in basis points from -10 000 to
// 10 000: stones of one bar fail together. With rho 0 it is exact; otherwise the product
// of two standard deviations is, to 256 bits.
func (m Moments) Plus(o Moments, rho int64) Moments {
	variance := add(m.Variance, o.Variance)
	if rho != 0 {
		both := new(big.Float).SetPrec(256).SetRat(mul(m.Variance, o.Variance))
		product, _ := both.Sqrt(both).Rat(nil)
		variance = add(variance, mul(product, ratio(2*rho, Certain)))
	}
	return Moments{add(m.Mean, o.Mean), variance}
}

func checkChance(all *rule.All, field string, bp int64) {
	if bp < 0 || bp > Certain {
		all.Add(rule.Broken{
			Reason: rule.FieldInvalid, Field: field, Value: fmt.Sprint(bp),
			Rule: "a chance is 0 to 10000 basis points", Hint: "give 7000 for 70 %",
		})
	}
}

func checkAmount(all *rule.All, field string, minor int64) {
	if minor < -money.Max || minor > money.Max {
		all.Add(rule.Broken{
			Reason: rule.AmountInvalid, Field: field, Value: fmt.Sprint(minor),
			Rule: fmt.Sprintf("an amount is within %d minor units either way", int64(money.Max)), Hint: "check the amount",
		})
	}
}

func checkCertain(all *rule.All, field string, sum int64, of string) {
	if sum != Certain {
		all.Add(rule.Broken{
			Reason: rule.FieldInvalid, Field: field, Value: fmt.Sprint(sum),
			Rule: "the chances of " + of + " add up to 10000 basis points", Hint: "name every way it can come out",
		})
	}
}

func checkCount(all *rule.All, field string, got, want int, of string) bool {
	if got == want && want > 0 {
		return true
	}
	all.Add(rule.Broken{
		Reason: rule.CountInvalid, Field: field, Value: fmt.Sprint(got),
		Rule: fmt.Sprintf("there is one for each of the %d %s", want, of), Hint: "fill the table",
	})
	return false
}
