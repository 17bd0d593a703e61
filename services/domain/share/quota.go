package share

import (
	"fmt"
	"math/bits"
)

// Quota gives out units by the quota method (M. L. Balinski and H. P. Young, "The
// Quota Method of Apportionment", American Mathematical Monthly 82, 1975): unit n
// goes, among the parties with x·W < w·n (x units so far, weight w, W the sum of the
// weights), to the one with the greatest w / (x + 1); ties to the one furthest behind
// (w·n − x·W), then to the first in the list.
//
// No party ever loses a unit as the pot grows, and each stays within one unit of its
// exact share: the two things that rounding a running total, or the largest
// remainder of one, can't both do. After W units every party has exactly its weight,
// so only units mod W have to be given out one by one.
//
// Weights are reduced first; they must be at least 0 with a sum of at most MaxWhole,
// and units between 0 and MaxAmount. The error is an *AmountError.
func Quota(weights []int64, units int64) ([]int64, error) {
	if err := checkAmount("units", units); err != nil {
		return nil, err
	}
	var divisor int64
	for i, w := range weights {
		if err := checkAmount(fmt.Sprintf("weights[%d]", i), w); err != nil {
			return nil, err
		}
		divisor = gcd(divisor, w)
	}
	if divisor == 0 {
		return nil, &AmountError{"weights", 0, "at least one must be above 0"}
	}
	reduced := make([]int64, len(weights))
	var whole int64
	for i, w := range weights {
		reduced[i] = w / divisor
		whole += reduced[i]
		if whole > MaxWhole {
			return nil, &AmountError{"weights", whole, fmt.Sprintf("their sum, reduced, must be at most %d", MaxWhole)}
		}
	}
	return quota(reduced, whole, units), nil
}

// quota is Quota for checked, reduced weights.
func quota(weights []int64, whole, units int64) []int64 {
	got := cycle(weights, whole, units%whole)
	for i, w := range weights {
		got[i] += units / whole * w
	}
	return got
}

// cycle gives out the first units < whole, one by one. Every product is below
// MaxWhole², so plain int64 is enough.
func cycle(weights []int64, whole, units int64) []int64 {
	got := make([]int64, len(weights))
	for n := int64(1); n <= units; n++ {
		best := -1
		for i, w := range weights {
			if got[i]*whole >= w*n {
				continue // one more would put it above its exact share rounded up
			}
			if best < 0 || before(w, got[i], weights[best], got[best], n, whole) {
				best = i
			}
		}
		got[best]++
	}
	return got
}

// before reports whether a party of weight w with x units comes before one of weight
// v with y units; equal ones stay in the order of the list.
func before(w, x, v, y, n, whole int64) bool {
	if a, b := w*(y+1), v*(x+1); a != b {
		return a > b
	}
	return w*n-x*whole > v*n-y*whole
}

// LargestRemainder divides total by weights: each gets its exact share rounded down,
// and the units left go one each to the largest remainders; ties go to the one that
// stands first in the list.
//
// It is for sums that are divided once. Applied to a running total it takes units
// back: at 3:3:1 three units give 1,1,1 and four give 2,2,0. Use Quota there.
//
// Weights must be at least 0, and their sum and total at most MaxAmount; with all
// weights 0 only a total of 0 can be divided. The error is an *AmountError.
func LargestRemainder(weights []int64, total int64) ([]int64, error) {
	if err := checkAmount("total", total); err != nil {
		return nil, err
	}
	var sum int64
	for i, w := range weights {
		if err := checkAmount(fmt.Sprintf("weights[%d]", i), w); err != nil {
			return nil, err
		}
		sum += w
		if err := checkAmount("sum of weights", sum); err != nil {
			return nil, err
		}
	}
	if sum == 0 {
		if total == 0 {
			return make([]int64, len(weights)), nil
		}
		return nil, &AmountError{"sum of weights", 0, "a total above 0 needs a weight above 0"}
	}
	return largestRemainder(weights, sum, total), nil
}

// largestRemainder is LargestRemainder for checked weights that add up to sum > 0.
func largestRemainder(weights []int64, sum, total int64) []int64 {
	got := make([]int64, len(weights))
	left := total
	rest := make([]uint64, len(weights))
	for i, w := range weights {
		hi, lo := bits.Mul64(uint64(w), uint64(total))
		q, r := bits.Div64(hi, lo, uint64(sum)) // w ≤ sum, so q ≤ total
		got[i], rest[i] = int64(q), r
		left -= got[i]
	}
	for range left { // fewer than there are weights
		best := 0
		for i, r := range rest {
			if r > rest[best] {
				best = i
			}
		}
		got[best]++
		rest[best] = 0
	}
	return got
}
