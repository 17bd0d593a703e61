package search

import (
	"math"
	"slices"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// even is whether the piece has no hollow that could part two stones. Take two stones that no cut parts, and of
// each the disk about its middle that it holds, of radius ρ at least. All between the disks lies within the hull
// and on the same side of each cut. A hollow that parts them reaches across, from one side of the strip between the
// disks to the other; it begins at one straight side of the hull, from which the nearer disk's middle is ρ away or
// more, so one of its two sides there is as far too. A hollow that is nowhere so deep parts nothing.
// Nor does one of the profile that is less deep than the radius of a ball within each stone, below its dome.
func (p *planner) even(whole plane.Ring) bool {
	disk, ball := math.Inf(1), math.Inf(1)
	for _, w := range p.wants {
		least := math.Inf(1)
		if len(w.Sizes) == 0 {
			least = w.body.ball * float64(max(w.FromUm, shortest)) / 2
		}
		for i, s := range w.Sizes {
			least = min(least, w.bodies[i].ball*float64(s.LengthUm)/2)
		}
		disk, ball = min(disk, least), min(ball, least, float64(w.Pattern.DepthUm-w.Pattern.DomeUm)/2)
	}
	if len(p.Study.Profile) > 0 {
		profile, _ := plane.CheckRing(points(p.Study.Profile))
		if deep := deepest(profile); deep > 0 && deep >= ball {
			return false
		}
	}
	return deepest(whole) < disk
}

// deepest is how far any corner lies within the hull's side that bridges its hollow, in micrometres.
func deepest(r plane.Ring) (most float64) {
	hull := hullOf(r)
	if len(hull) < 3 {
		return math.Inf(1)
	}
	um := make([]vec, len(r))
	start := -1
	on := func(p vec) bool { return slices.Contains(hull, p) }
	for i, p := range r {
		um[i] = at(p).times(1.0 / plane.Micrometre)
		if start < 0 && on(um[i]) {
			start = i
		}
	}
	from := um[start]
	for i := 1; i <= len(um); {
		to := i
		for !on(um[(start+to)%len(um)]) {
			to++
		}
		d := um[(start+to)%len(um)].minus(from)
		for ; i < to; i++ {
			most = max(most, math.Abs(d.cross(um[(start+i)%len(um)].minus(from)))/d.length())
		}
		from = um[(start+to)%len(um)]
		i = to + 1
	}
	return most
}

// hollow is how many corners of a ring turn inwards.
func hollow(r plane.Ring) (n int) {
	for i, p := range r {
		a, b := r[(i+len(r)-1)%len(r)], r[(i+1)%len(r)]
		if d, v := p.Minus(a), b.Minus(p); d.X*v.Y-d.Y*v.X < 0 {
			n++
		}
	}
	return n
}

func points(of []saw.Point) []plane.Point {
	out := make([]plane.Point, len(of))
	for i, q := range of {
		out[i] = plane.Micrometres(q.X, q.Y)
	}
	return out
}

// polygon is a convex ring in micrometres, against the clock.
type polygon []vec

// hullOf is the convex hull of a ring, in micrometres.
func hullOf(r plane.Ring) polygon {
	hull := r.Hull()
	out := make(polygon, len(hull))
	for i, p := range hull {
		out[i] = at(p).times(1.0 / plane.Micrometre)
	}
	return out
}

func (p polygon) area() (sum float64) {
	for i, a := range p {
		sum += a.cross(p[(i+1)%len(p)]) / 2
	}
	return sum
}

func (p polygon) around() (sum float64) {
	for i, a := range p {
		sum += p[(i+1)%len(p)].minus(a).length()
	}
	return sum
}

// fewer is a polygon of at most n sides round a convex one: again and again the side is left out whose neighbours,
// drawn on until they meet, add the least. It is nil where no side can be left out.
func fewer(p polygon, n int) polygon {
	p = slices.Clone(p)
	for len(p) > n {
		best, at, meet := math.Inf(1), -1, vec{}
		for i := range p {
			a, b, c, d := p[(i+len(p)-1)%len(p)], p[i], p[(i+1)%len(p)], p[(i+2)%len(p)]
			u, v := b.minus(a), c.minus(d)
			den := u.cross(v)
			if den >= 0 {
				continue // they part, or run side by side
			}
			t := d.minus(a).cross(v) / den
			x := a.plus(u.times(t))
			if t < 1 {
				continue
			}
			if add := x.minus(b).cross(c.minus(b)) / -2; math.Abs(add) < best {
				best, at, meet = math.Abs(add), i, x
			}
		}
		if at < 0 {
			return nil
		}
		p[at] = meet
		p = slices.Delete(p, (at+1)%len(p), (at+1)%len(p)+1)
	}
	return p
}
