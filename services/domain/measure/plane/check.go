package plane

import (
	"cmp"
	"fmt"
	"slices"
)

// MaxVertices is the most that a ring or path which people give may have.
const MaxVertices = 2_000

// ShapeError says why points make no ring, path or line.
type ShapeError struct {
	Vertex  int   // index of the point to look at first
	Other   int   // where two edges or two points are at fault, the second's index; an edge has the index of the point it begins at
	At      Point // where
	Problem string
}

func (e *ShapeError) Error() string { return e.Problem }

// CheckRing makes a ring of the corners of an outline, given in order in either
// direction, beginning with the same corner. The error is a *ShapeError: fewer than
// three points or more than MaxVertices, one out of range, one that stands twice (the
// last is joined to the first without repeating it), no area, or an outline that crosses
// or touches itself or turns back on itself.
func CheckRing(points []Point) (Ring, error) {
	if err := checkPoints(points, 3, "an outline"); err != nil {
		return nil, err
	}
	seen := make(map[Point]int, len(points))
	flat := true
	for i, p := range points {
		if first, ok := seen[p]; ok {
			return nil, &ShapeError{i, first, p, fmt.Sprintf("the point %s is there twice; leave one out (the last point is joined to the first without repeating it)", p)}
		}
		seen[p] = i
		flat = flat && side(points[0], points[1], p) == 0
	}
	if flat {
		return nil, &ShapeError{0, 0, points[0], "all points lie on one straight line, so they enclose nothing; give the corners of an outline"}
	}
	if err := checkSimple(points); err != nil {
		return nil, err
	}
	ring := slices.Clone(Ring(points))
	if ring.TwiceArea() < 0 {
		slices.Reverse(ring[1:])
	}
	return ring, nil
}

// CheckPath makes a path of its points in order: at least two, at most MaxVertices, in
// range, none the same as the one before it. It may cross itself. The error is a
// *ShapeError.
func CheckPath(points []Point) (Path, error) {
	if err := checkPoints(points, 2, "a line"); err != nil {
		return nil, err
	}
	for i, p := range points[1:] {
		if p == points[i] {
			return nil, &ShapeError{i + 1, i, p, fmt.Sprintf("the point %s is there twice, one after the other; leave one out", p)}
		}
	}
	return slices.Clone(Path(points)), nil
}

// CheckLine makes a line of two points that are in range and apart. The error is a
// *ShapeError.
func CheckLine(a, b Point) (Line, error) {
	if _, err := CheckPath([]Point{a, b}); err != nil {
		return Line{}, err
	}
	return Line{a, b}, nil
}

func checkPoints(points []Point, least int, what string) error {
	switch n := len(points); {
	case n < least:
		return &ShapeError{Vertex: n, Other: n, Problem: fmt.Sprintf("%d points are too few: %s needs at least %d", n, what, least)}
	case n > MaxVertices:
		return &ShapeError{Vertex: MaxVertices, Other: MaxVertices, Problem: fmt.Sprintf("%d points are too many: %s may have %d; leave out those that hardly change it", n, what, MaxVertices)}
	}
	for i, p := range points {
		if !p.inRange() {
			return &ShapeError{i, i, p, fmt.Sprintf("the point %s is more than %s mm from the origin; put the origin in or near the piece", p, millimetres(MaxCoordinate))}
		}
	}
	return nil
}

// checkSimple finds the first two edges that meet where they shouldn't. Edges are swept
// by their left ends, so only those that share some x are compared.
func checkSimple(points []Point) error {
	n := len(points)
	type edge struct {
		i    int
		a, b Point
		box  Box
	}
	edges := make([]edge, n)
	for i, p := range points {
		q := points[(i+1)%n]
		edges[i] = edge{i, p, q, boxOf(p, q)}
	}
	slices.SortFunc(edges, func(e, f edge) int { return cmp.Compare(e.box.Min.X, f.box.Min.X) })
	var fault *ShapeError
	for k, e := range edges {
		for _, f := range edges[k+1:] {
			if f.box.Min.X > e.box.Max.X {
				break
			}
			if !e.box.meets(f.box) {
				continue
			}
			first, second := e, f
			if first.i > second.i {
				first, second = second, first
			}
			if fault != nil && (first.i > fault.Vertex || first.i == fault.Vertex && second.i > fault.Other) {
				continue
			}
			var problem string
			var at Point
			switch {
			case second.i == first.i+1: // second follows first
				at = second.a
				problem = turnsBack(first.a, at, second.b)
			case first.i == 0 && second.i == n-1: // first follows second
				at = first.a
				problem = turnsBack(second.a, at, first.b)
			default:
				at, problem = meeting(first.a, first.b, second.a, second.b)
			}
			if problem != "" {
				fault = &ShapeError{first.i, second.i, at, fmt.Sprintf(
					"the edge from %s to %s %s the edge from %s to %s at %s; an outline may not touch itself",
					first.a, first.b, problem, second.a, second.b, at)}
			}
		}
	}
	if fault != nil {
		return fault
	}
	return nil
}

func turnsBack(a, b, c Point) string {
	if side(a, b, c) == 0 && dot(b.Minus(a), c.Minus(b)) < 0 {
		return "is turned back upon by"
	}
	return ""
}

// meeting is where ab and cd meet, if they do: a crossing rounded, a touch exact.
func meeting(a, b, c, d Point) (Point, string) {
	sc, sd := side(a, b, c), side(a, b, d)
	sa, sb := side(c, d, a), side(c, d, b)
	if opposite(sc, sd) && opposite(sa, sb) {
		span := max(sa, -sa) + max(sb, -sb) // = |(b − a) × (d − c)| ≤ 2·10¹⁸
		return Point{
			nearest(a.X, product(b.X-a.X, max(sa, -sa)), span),
			nearest(a.Y, product(b.Y-a.Y, max(sa, -sa)), span),
		}, "crosses"
	}
	switch {
	case sc == 0 && between(a, b, c):
		return c, "touches"
	case sd == 0 && between(a, b, d):
		return d, "touches"
	case sa == 0 && between(c, d, a):
		return a, "touches"
	case sb == 0 && between(c, d, b):
		return b, "touches"
	}
	return Point{}, ""
}

func opposite(s, t int64) bool { return s > 0 && t < 0 || s < 0 && t > 0 }

// between: p, which is on the line through a and b, lies on the stretch between them.
func between(a, b, p Point) bool {
	return min(a.X, b.X) <= p.X && p.X <= max(a.X, b.X) && min(a.Y, b.Y) <= p.Y && p.Y <= max(a.Y, b.Y)
}

// Hull is the ring's convex hull, without points along its edges (Andrew 1979).
func (r Ring) Hull() Ring {
	points := slices.Clone(r)
	slices.SortFunc(points, func(p, q Point) int {
		return cmp.Or(cmp.Compare(p.X, q.X), cmp.Compare(p.Y, q.Y))
	})
	points = slices.Compact(points)
	if len(points) < 3 {
		return nil
	}
	hull := make(Ring, 0, len(points)+1)
	chain := func(from int, p Point) {
		for len(hull) >= from+2 && side(hull[len(hull)-2], hull[len(hull)-1], p) <= 0 {
			hull = hull[:len(hull)-1]
		}
		hull = append(hull, p)
	}
	for _, p := range points {
		chain(0, p)
	}
	lower := len(hull) - 1
	for i := len(points) - 2; i >= 0; i-- {
		chain(lower, points[i])
	}
	return hull[:len(hull)-1]
}
