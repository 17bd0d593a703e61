package plane

import "math"

// TwiceArea is twice the ring's area in nm², exactly: above zero for a ring that runs
// counter-clockwise. Sums on the way may pass what an int64 holds and wrap; addition
// modulo 2⁶⁴ forgets nothing, and the end, at most 4·10¹⁸, is in range.
func (r Ring) TwiceArea() int64 {
	if len(r) == 0 {
		return 0
	}
	var sum int64
	last := r[len(r)-1].Minus(r[0])
	for _, p := range r {
		p = p.Minus(r[0])
		sum += cross(last, p)
		last = p
	}
	return sum
}

// SquareMicrometres is the ring's area rounded to whole µm².
func (r Ring) SquareMicrometres() int64 {
	return nearest(0, product(r.TwiceArea(), 1), 2*Micrometre*Micrometre)
}

// SquareMillimetres is the ring's area in mm².
func (r Ring) SquareMillimetres() float64 { return float64(r.TwiceArea()) / 2e12 }

// Perimeter is the length of the ring in nm.
func (r Ring) Perimeter() float64 { return r.Closed().Length() }

// Length of the path in nm.
func (p Path) Length() float64 {
	var sum float64
	for i := 1; i < len(p); i++ {
		sum += p[i].Minus(p[i-1]).length()
	}
	return sum
}

// Centroid is the ring's centre of area, rounded to the nanometre. The ring must have
// an area.
func (r Ring) Centroid() Point {
	// Measured from the first vertex: Σ (a + b)(a × b) / (3 · twice the area). A term is
	// at most 4·10²⁷ and a sum of two thousand 10³¹, of 1.7·10³⁸ that are possible.
	var x, y wide
	last := r[len(r)-1].Minus(r[0])
	for _, p := range r {
		p = p.Minus(r[0])
		c := cross(last, p)
		x = x.plus(product(last.X+p.X, c))
		y = y.plus(product(last.Y+p.Y, c))
		last = p
	}
	d := 3 * r.TwiceArea()
	return Point{nearest(r[0].X, x, d), nearest(r[0].Y, y, d)}
}

// Box is an upright rectangle with its edges.
type Box struct{ Min, Max Point }

// Size of the box along x and y in nm.
func (b Box) Size() Point { return b.Max.Minus(b.Min) }

// Near is whether two boxes are no farther from each other than a margin along x and y, in nm.
func (b Box) Near(c Box, margin int64) bool { return b.grown(margin).meets(c) }

func (b Box) meets(c Box) bool {
	return b.Min.X <= c.Max.X && c.Min.X <= b.Max.X && b.Min.Y <= c.Max.Y && c.Min.Y <= b.Max.Y
}

func (b Box) holds(c Box) bool {
	return b.Min.X <= c.Min.X && c.Max.X <= b.Max.X && b.Min.Y <= c.Min.Y && c.Max.Y <= b.Max.Y
}

func boxOf(a, b Point) Box {
	return Box{Point{min(a.X, b.X), min(a.Y, b.Y)}, Point{max(a.X, b.X), max(a.Y, b.Y)}}
}

// grown is the box with d more on each side.
func (b Box) grown(d int64) Box {
	return Box{b.Min.Minus(Point{d, d}), b.Max.Plus(Point{d, d})}
}

// Box is the smallest box around the ring.
func (r Ring) Box() Box { return Path(r).Box() }

// Box is the smallest box around the path.
func (p Path) Box() Box {
	if len(p) == 0 {
		return Box{}
	}
	b := Box{p[0], p[0]}
	for _, q := range p[1:] {
		b.Min.X, b.Max.X = min(b.Min.X, q.X), max(b.Max.X, q.X)
		b.Min.Y, b.Max.Y = min(b.Min.Y, q.Y), max(b.Max.Y, q.Y)
	}
	return b
}

// Across is how wide the ring is in nm, measured square to the line: what the jaws of a
// vice along the line would span.
func (r Ring) Across(l Line) float64 {
	d := l.direction()
	low, high := int64(math.MaxInt64), int64(math.MinInt64)
	for _, p := range r {
		v := cross(d, p)
		low, high = min(low, v), max(high, v)
	}
	if low > high {
		return 0
	}
	return float64(high-low) / d.length()
}

// Width is the ring's least width in nm: the smallest gap between two parallel lines
// that it goes through in some direction.
func (r Ring) Width() float64 {
	hull := r.Hull()
	if len(hull) < 3 {
		return 0
	}
	least := math.Inf(1)
	for i, p := range hull {
		// The narrowest strip lies along an edge of the hull (Houle and Toussaint 1988).
		least = min(least, hull.Across(Line{p, hull[(i+1)%len(hull)]}))
	}
	return least
}
