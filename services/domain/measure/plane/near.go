package plane

import "math"

// Nearer is whether some point of the path is less than margin, in nm, from some point
// of the ring's region: exact. Margin zero asks nothing and the answer is no.
func Nearer(r Ring, p Path, margin int64) bool {
	if len(r) == 0 || len(p) == 0 || margin <= 0 {
		return false
	}
	margin = min(margin, maxKerf)
	reach := r.Box().grown(margin)
	if !reach.meets(p.Box()) {
		return false
	}
	if r.Where(p[0]) != Outside {
		return true
	}
	return stretches(p, func(c, d Point) bool {
		box := boxOf(c, d)
		if !reach.meets(box) {
			return false
		}
		box = box.grown(margin)
		a := r[len(r)-1]
		for _, b := range r {
			if boxOf(a, b).meets(box) && segmentsNearer(a, b, c, d, margin) {
				return true
			}
			a = b
		}
		return false
	})
}

// RingsNearer is Nearer for the regions of two rings, one inside the other included.
func RingsNearer(r, s Ring, margin int64) bool {
	return Nearer(r, s.Closed(), margin) || margin > 0 && len(r) > 0 && s.Where(r[0]) != Outside
}

// Distance is how far the path is from the ring's region in nm: zero where they meet.
func Distance(r Ring, p Path) float64 {
	if len(r) == 0 || len(p) == 0 {
		return math.Inf(1)
	}
	if r.Where(p[0]) != Outside {
		return 0
	}
	least := math.Inf(1)
	stretches(p, func(c, d Point) bool {
		a := r[len(r)-1]
		for _, b := range r {
			least = min(least, segmentsApart(a, b, c, d))
			a = b
		}
		return least == 0
	})
	return least
}

// RingsDistance is how far the regions of two rings are from each other in nm.
func RingsDistance(r, s Ring) float64 {
	if len(r) > 0 && s.Where(r[0]) != Outside {
		return 0
	}
	return Distance(r, s.Closed())
}

// stretches asks for each straight stretch of the path until one answers yes. A path of
// one point is a stretch from it to itself.
func stretches(p Path, ask func(c, d Point) bool) bool {
	if len(p) == 1 {
		return ask(p[0], p[0])
	}
	for i := 1; i < len(p); i++ {
		if ask(p[i-1], p[i]) {
			return true
		}
	}
	return false
}

func segmentsNearer(a, b, c, d Point, margin int64) bool {
	if _, met := meeting(a, b, c, d); met != "" {
		return true
	}
	return pointNearer(a, b, c, margin) || pointNearer(a, b, d, margin) || pointNearer(c, d, a, margin) || pointNearer(c, d, b, margin)
}

// pointNearer is whether p is less than margin from the stretch between a and b.
func pointNearer(a, b, p Point, margin int64) bool {
	along, v := b.Minus(a), p.Minus(a)
	square := product(margin, margin)
	switch t, whole := dot(along, v), dot(along, along); {
	case t <= 0:
		return squared(v).less(square)
	case t >= whole:
		return squared(p.Minus(b)).less(square)
	default:
		// Height above the stretch, cross/length; times length both squares are at most
		// 1.8·10³⁷ of 1.7·10³⁸ that are possible.
		s := cross(along, v)
		return product(s, s).less(product(margin*margin, whole))
	}
}

func squared(v Point) wide { return product(v.X, v.X).plus(product(v.Y, v.Y)) }

func segmentsApart(a, b, c, d Point) float64 {
	if _, met := meeting(a, b, c, d); met != "" {
		return 0
	}
	return min(pointApart(a, b, c), pointApart(a, b, d), pointApart(c, d, a), pointApart(c, d, b))
}

func pointApart(a, b, p Point) float64 {
	along, v := b.Minus(a), p.Minus(a)
	switch t, whole := dot(along, v), dot(along, along); {
	case t <= 0:
		return v.length()
	case t >= whole:
		return p.Minus(b).length()
	default:
		s := cross(along, v)
		return float64(max(s, -s)) / along.length()
	}
}
