package plane

import "math/bits"

// wide is a signed number of 128 bits in two's complement.
type wide struct {
	hi int64
	lo uint64
}

func product(a, b int64) wide {
	hi, lo := bits.Mul64(uint64(a), uint64(b))
	return wide{int64(hi) - a>>63&b - b>>63&a, lo}
}

func (w wide) plus(v wide) wide {
	lo, carry := bits.Add64(w.lo, v.lo, 0)
	return wide{w.hi + v.hi + int64(carry), lo}
}

func (w wide) negated() wide {
	lo, borrow := bits.Sub64(0, w.lo, 0)
	return wide{-w.hi - int64(borrow), lo}
}

func (w wide) less(v wide) bool { return w.hi < v.hi || w.hi == v.hi && w.lo < v.lo }

// nearest is base + w/d rounded to a whole number, halves away from zero; d > 0, and
// the quotient has to fit an int64.
func nearest(base int64, w wide, d int64) int64 {
	negative := w.hi < 0
	if negative {
		w = w.negated()
	}
	q, r := bits.Div64(uint64(w.hi), w.lo, uint64(d))
	floor := int64(q)
	if negative {
		floor = -floor
		if r > 0 {
			floor, r = floor-1, uint64(d)-r
		}
	}
	x := base + floor // and r/d more
	if 2*r > uint64(d) || 2*r == uint64(d) && x >= 0 {
		x++
	}
	return x
}
