package share

import (
	"math/bits"

	"github.com/bojanz/currency"
)

// mulDiv is ⌊a × b / c⌋ for a, b ≥ 0 and c > 0, with the product in 128 bits, and
// whether that was exact; ok is false where the result is above MaxAmount.
func mulDiv(a, b, c int64) (quotient int64, exact, ok bool) {
	hi, lo := bits.Mul64(uint64(a), uint64(b))
	if hi >= uint64(c) {
		return 0, false, false
	}
	q, r := bits.Div64(hi, lo, uint64(c))
	if q > MaxAmount {
		return 0, false, false
	}
	return int64(q), r == 0, true
}

// mulDivUp is ⌈a × b / c⌉ under the same conditions.
func mulDivUp(a, b, c int64) (quotient int64, ok bool) {
	q, exact, ok := mulDiv(a, b, c)
	if !ok {
		return 0, false
	}
	if !exact {
		q++
	}
	return q, q <= MaxAmount
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// inWords is an amount as people write it: "372.55 AUD".
func inWords(minor int64, code string) string {
	amount, err := currency.NewAmountFromInt64(minor, code)
	if err != nil { // only for a code that Validate refuses
		return code
	}
	return amount.String()
}
