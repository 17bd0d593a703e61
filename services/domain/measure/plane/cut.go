package plane

import (
	"math"
	"slices"
)

// HalfPlane is one side of a straight line.
type HalfPlane struct{ nx, ny, c int64 } // where nx·x + ny·y ≥ c

// maxKerf is wider than the range of coordinates in any direction.
const maxKerf = 3_000 * Millimetre

// direction is the line's direction, as long as fits: a few nanometres between A and B
// don't make the band's edges coarser.
func (l Line) direction() Point {
	d := l.B.Minus(l.A)
	if longer := max(d.X, -d.X, d.Y, -d.Y); longer > 0 {
		s := 2 * MaxCoordinate / longer
		d = Point{d.X * s, d.Y * s}
	}
	return d
}

// left is what lies to the left of the line by half of twice nanometres or more. The
// band's edge is within 10⁻⁶ nm of its place.
func (l Line) left(twice int64) HalfPlane {
	d := l.direction()
	off := math.Round(float64(min(max(twice, 0), maxKerf)) * math.Sqrt(float64(dot(d, d))) / 2)
	return HalfPlane{-d.Y, d.X, cross(d, l.A) + int64(off)}
}

func (l Line) reversed() Line { return Line{l.B, l.A} }

// Band is what a saw leaves on either side whose kerf, in nm, is centred on the line.
// Without kerf the two sides share the line. A kerf below zero counts as none, and
// where A is B there is no line and nothing is left on either side.
func (l Line) Band(kerf int64) (left, right HalfPlane) {
	return l.left(kerf), l.reversed().left(kerf)
}

// BandOnLeft is Band with the kerf wholly to the left of the line, so that the right
// side keeps all up to the line. For a kerf on the right, reverse the line.
func (l Line) BandOnLeft(kerf int64) (left, right HalfPlane) {
	return l.left(2 * min(kerf, maxKerf)), l.reversed().left(0)
}

// Other is the other side of the same line.
func (h HalfPlane) Other() HalfPlane { return HalfPlane{-h.nx, -h.ny, -h.c} }

func (h HalfPlane) at(p Point) int64 { return h.nx*p.X + h.ny*p.Y - h.c }

// Cut parts the ring with a saw whose kerf, in nm, is centred on the line, and answers
// what is left of it to the left and right of the line. A concave ring may come in
// several parts on a side, a side that the ring doesn't reach is empty, and a ring that
// lies wholly on one side is answered itself.
func Cut(r Ring, l Line, kerf int64) (left, right []Ring) {
	a, b := l.Band(kerf)
	return a.Clip(nil, r), b.Clip(nil, r)
}

// crossing is where the ring's boundary passes the edge of a half-plane.
type crossing struct {
	at        Point // rounded
	low, high Point // ends of the ring's edge, high inside
	fLow      int64 // ≤ 0
	fHigh     int64 // > 0
	from      int   // the ring's edge begins at this vertex
	partner   int   // of a way out: the way in that follows it along the edge
}

// Clip appends to dst what of the ring lies in the half-plane, as parts with an area.
//
// Points on the half-plane's edge count as outside, as if the edge lay a hair further
// inside. So no vertex is ever on it, each time that the boundary passes it is a clean
// crossing, and vertices on the line, edges along it and corners that touch it need no
// case of their own. Sorted along the edge with the inside on its left, ways out and
// ways in take turns, and each way out is joined to the way in that follows it.
func (h HalfPlane) Clip(dst []Ring, r Ring) []Ring {
	if len(r) == 0 {
		return dst
	}
	var space [8]crossing
	found := space[:0]
	inside := 0
	last := len(r) - 1
	fLast := h.at(r[last])
	for i, p := range r {
		f := h.at(p)
		if f > 0 {
			inside++
		}
		switch {
		case fLast > 0 && f <= 0: // a way out
			found = append(found, crossing{low: p, high: r[last], fLow: f, fHigh: fLast, from: last, partner: 0})
		case fLast <= 0 && f > 0: // a way in
			found = append(found, crossing{low: r[last], high: p, fLow: fLast, fHigh: f, from: last, partner: -1})
		}
		last, fLast = i, f
	}
	if len(found) == 0 {
		if inside > 0 {
			return append(dst, r)
		}
		return dst
	}
	h.join(found)
	points := make([]Point, 0, inside+len(found))
	for begin := range found {
		if found[begin].partner != wayIn {
			continue
		}
		start := len(points)
		for in := begin; found[in].partner == wayIn; {
			found[in].partner = used
			out := (in + 1) % len(found)
			points = appendApart(points, start, found[in].at)
			if first, end := (found[in].from+1)%len(r), found[out].from; first <= end {
				points = append(appendApart(points, start, r[first]), r[first+1:end+1]...)
			} else {
				points = append(appendApart(points, start, r[first]), r[first+1:]...)
				points = append(points, r[:end+1]...)
			}
			points = appendApart(points, start, found[out].at)
			in = found[out].partner
		}
		for len(points) > start+1 && points[len(points)-1] == points[start] {
			points = points[:len(points)-1]
		}
		if part := Ring(points[start:len(points):len(points)]); len(part) >= 3 && part.TwiceArea() > 0 {
			dst = append(dst, part)
		} else {
			points = points[:start]
		}
	}
	return dst
}

// ClipPath appends to dst what of the path lies in the half-plane or on its edge. Where it passes the edge it ends,
// to the nanometre.
func (h HalfPlane) ClipPath(dst []Path, p Path) []Path {
	inside := 0
	for _, q := range p {
		if h.at(q) >= 0 {
			inside++
		}
	}
	if inside == 0 || inside == len(p) {
		if inside > 0 {
			dst = append(dst, p)
		}
		return dst
	}
	var now Path
	before := int64(0)
	for i, q := range p {
		f := h.at(q)
		if i > 0 && (before >= 0) != (f >= 0) {
			low, high, fLow, fHigh := p[i-1], q, before, f
			if before >= 0 {
				low, high, fLow, fHigh = q, p[i-1], f, before
			}
			now = append(now, passing(low, high, fLow, fHigh))
			if f < 0 {
				dst, now = append(dst, now), nil
			}
		}
		if f >= 0 {
			now = append(now, q)
		}
		before = f
	}
	if len(now) > 0 {
		dst = append(dst, now)
	}
	return dst
}

// passing is where the way from low, outside, to high passes the edge of a half-plane, rounded.
func passing(low, high Point, fLow, fHigh int64) Point {
	span := fHigh - fLow // at most 2·10¹⁸: a cross product
	return Point{nearest(low.X, product(high.X-low.X, -fLow), span), nearest(low.Y, product(high.Y-low.Y, -fLow), span)}
}

// Begins is where along the line the ring begins, to sort rings by.
func (l Line) Begins(r Ring) int64 {
	d := l.B.Minus(l.A)
	first := int64(math.MaxInt64)
	for _, p := range r {
		first = min(first, dot(d, p.Minus(l.A)))
	}
	return first
}

// Farthest is how far from the line the ring reaches on either side, in nm.
func (l Line) Farthest(r Ring) float64 {
	d := l.direction()
	most := int64(0)
	for _, p := range r {
		f := cross(d, p.Minus(l.A))
		most = max(most, f, -f)
	}
	return float64(most) / d.length()
}

const (
	wayIn = -1
	used  = -2
)

// appendApart leaves out a point that repeats the last one of its part.
func appendApart(points []Point, start int, p Point) []Point {
	if len(points) > start && points[len(points)-1] == p {
		return points
	}
	return append(points, p)
}

// join rounds the crossings' places and finds each way out its way in.
func (h HalfPlane) join(found []crossing) {
	var space [8]int
	order := space[:0]
	for i := range found {
		c := &found[i]
		c.at = passing(c.low, c.high, c.fLow, c.fHigh)
		order = append(order, i)
	}
	if len(found) > 2 {
		slices.SortFunc(order, func(i, j int) int { return compare(&found[i], &found[j]) })
	}
	// In a simple ring the two take turns. Where rounding has made a ring touch itself
	// they may not; the n-th out with the n-th in still closes every part, and their
	// areas add up the same.
	in := 0
	for _, i := range order {
		if found[i].partner == wayIn {
			continue
		}
		for found[order[in]].partner != wayIn {
			in++
		}
		found[i].partner = order[in]
		in++
	}
}

// compare orders two crossings along the half-plane's edge by which side of the other a
// ring's edge runs on: exact, where places would have to be rounded. Of two ends on the
// same side of the half-plane's edge the nearer lies beside the other ring's edge.
func compare(a, b *crossing) int {
	s := int64(0)
	if a.fHigh <= b.fHigh {
		s = -side(b.low, b.high, a.high)
	} else {
		s = side(a.low, a.high, b.high)
	}
	if s == 0 {
		if a.fLow >= b.fLow {
			s = -side(b.low, b.high, a.low)
		} else {
			s = side(a.low, a.high, b.low)
		}
	}
	switch {
	case s < 0:
		return -1
	case s > 0:
		return 1
	}
	return 0
}

// Chord is how much of the line, in nm, runs inside the ring: what the saw has to cut.
func Chord(r Ring, l Line) float64 {
	if len(r) == 0 || l.A == l.B {
		return 0
	}
	d := l.direction()
	h := l.left(0)
	// Each stretch inside begins where the boundary leaves the left side and ends where
	// it comes back.
	var sum float64
	last := r[len(r)-1]
	fLast := h.at(last)
	for _, p := range r {
		f := h.at(p)
		if (f > 0) != (fLast > 0) {
			part := float64(fLast) / (float64(fLast) - float64(f))
			place := float64(dot(d, last.Minus(l.A))) + float64(part*float64(dot(d, p.Minus(last))))
			if f > 0 {
				sum += place
			} else {
				sum -= place
			}
		}
		last, fLast = p, f
	}
	return max(0, sum) / d.length()
}
