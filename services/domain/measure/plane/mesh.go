package plane

import (
	"cmp"
	"slices"
)

// Mesh is a triangulation of points, which it names by their index.
type Mesh struct {
	Triangles [][3]int // counter-clockwise
	// Hull runs counter-clockwise around all triangles and has also the points along its
	// edges. Where all points lie on one line there are no triangles, and it runs along it.
	Hull []int
}

// Triangulate is the Delaunay triangulation of different points: no point lies inside the
// circle around a triangle. Of several such triangulations it is one that depends only on
// the points and their order. Swept from left to right, then flipped (Lawson 1977);
// exact, quadratic in the number of points at worst.
func Triangulate(points []Point) Mesh {
	order := make([]int, len(points))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(i, j int) int {
		p, q := points[i], points[j]
		return cmp.Or(cmp.Compare(p.X, q.X), cmp.Compare(p.Y, q.Y))
	})
	// The first points that lie on a line, and the one that leaves it.
	first := 2
	for first < len(order) && side(points[order[0]], points[order[1]], points[order[first]]) == 0 {
		first++
	}
	if first >= len(order) {
		return Mesh{Hull: order}
	}
	hull := slices.Clone(order[:first])
	if side(points[order[0]], points[order[1]], points[order[first]]) < 0 {
		slices.Reverse(hull)
	}
	var m Mesh
	for i := 1; i < first; i++ {
		m.Triangles = append(m.Triangles, [3]int{hull[i-1], hull[i], order[first]})
	}
	hull = append(hull, order[first])
	for _, p := range order[first+1:] {
		// The point lies outside; the hull's edges that it sees follow each other.
		n := len(hull)
		sees := func(i int) bool { return side(points[hull[i%n]], points[hull[(i+1)%n]], points[p]) < 0 }
		begin := 0
		for sees(begin) { // go back to before the first that it sees
			begin += n - 1
		}
		for !sees(begin) {
			begin++
		}
		end := begin
		for ; sees(end); end++ {
			m.Triangles = append(m.Triangles, [3]int{hull[(end+1)%n], hull[end%n], p})
		}
		next := []int{p}
		for i := end; i%n != begin%n; i++ {
			next = append(next, hull[i%n])
		}
		hull = append(next, hull[begin%n])
	}
	m.Hull = hull
	m.flip(points)
	return m
}

// flip turns the edge between two triangles until no circle holds a corner of a
// neighbour. Each flip lowers the surface lifted onto a paraboloid, so it ends.
func (m *Mesh) flip(points []Point) {
	type edge struct{ a, b int }
	owner := make(map[edge]int, 3*len(m.Triangles)) // of the triangle on the edge's left
	var open []edge
	for t, c := range m.Triangles {
		for i := range 3 {
			e := edge{c[i], c[(i+1)%3]}
			owner[e] = t
			open = append(open, e)
		}
	}
	opposite := func(t int, e edge) int {
		for _, c := range m.Triangles[t] {
			if c != e.a && c != e.b {
				return c
			}
		}
		panic("plane: a triangle has no third corner")
	}
	for len(open) > 0 {
		e := open[len(open)-1]
		open = open[:len(open)-1]
		left, ok := owner[e]
		right, okToo := owner[edge{e.b, e.a}]
		if !ok || !okToo {
			continue
		}
		c, d := opposite(left, e), opposite(right, e)
		if !inCircle(points[e.a], points[e.b], points[c], points[d]) {
			continue
		}
		delete(owner, e)
		delete(owner, edge{e.b, e.a})
		m.Triangles[left], m.Triangles[right] = [3]int{c, d, e.b}, [3]int{d, c, e.a}
		for _, t := range []int{left, right} {
			for i, corner := range m.Triangles[t] {
				f := edge{corner, m.Triangles[t][(i+1)%3]}
				owner[f] = t
				open = append(open, f)
			}
		}
	}
}

// inCircle is whether d lies inside the circle around a, b, c, which run
// counter-clockwise: the determinant of Guibas and Stolfi (1985). Its terms are at most
// 4·10³⁶ each.
func inCircle(a, b, c, d Point) bool {
	a, b, c = a.Minus(d), b.Minus(d), c.Minus(d)
	sum := product(dot(a, a), cross(b, c)).plus(product(dot(b, b), cross(c, a))).plus(product(dot(c, c), cross(a, b)))
	return sum.hi > 0 || sum.hi == 0 && sum.lo > 0
}
