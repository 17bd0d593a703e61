package plane

// Where says how a point lies to a ring.
type Where int8

// A point is outside a ring, on its boundary or inside.
const (
	Outside Where = iota - 1
	Boundary
	Inside
)

// Where the point lies, exactly.
func (r Ring) Where(p Point) Where {
	if len(r) == 0 {
		return Outside
	}
	inside := false
	a := r[len(r)-1]
	for _, b := range r {
		if (a.Y > p.Y) != (b.Y > p.Y) { // a ray to the right may pass the edge
			switch s := side(a, b, p); {
			case s == 0:
				return Boundary
			case (s > 0) == (b.Y > a.Y):
				inside = !inside
			}
		} else if a.Y == p.Y && b.Y == p.Y && between(a, b, p) || b == p {
			return Boundary
		}
		a = b
	}
	if inside {
		return Inside
	}
	return Outside
}

// Holds is whether the region of the container holds all of that of inner; they may
// share boundary. Exact: a stone whose outline runs along the edge of its part fits.
func Holds(container, inner Ring) bool {
	if len(container) < 3 || len(inner) == 0 {
		return false
	}
	box := inner.Box()
	if !container.Box().holds(box) || container.Where(inner[0]) == Outside {
		return false
	}
	// The boundary of inner begins inside. It gets outside only by crossing an edge of
	// the container, or by a wrong turn where it is on the container's boundary. There are
	// no holes, so with its boundary all of inner is inside.
	last := len(container) - 1
	for i, c := range container {
		b := container[last]
		last = i
		if !boxOf(b, c).meets(box) {
			continue
		}
		d := container[(i+1)%len(container)]
		for k, p := range inner {
			if leaves(b, c, d, p, inner[(k+1)%len(inner)]) {
				return false
			}
		}
	}
	return true
}

// leaves is whether the way from p to q gets out of the ring, with the inside on its
// left, whose edge b to c is followed by c to d: across the edge, out of its inside, or
// past its end c. What happens at b is told by the edge before.
func leaves(b, c, d, p, q Point) bool {
	sp, sq := side(b, c, p), side(b, c, q)
	if sp > 0 && sq > 0 || sp < 0 && sq < 0 {
		return false
	}
	if pc := side(p, q, c); pc == 0 && c != q && (p == q || between(p, q, c)) {
		return !intoCorner(b, c, d, q.Minus(p))
	} else if sp != 0 && sq != 0 {
		return opposite(side(p, q, b), pc)
	}
	return sp == 0 && sq < 0 && p != b && p != c && between(b, c, p)
}

// intoCorner is whether a step v from c leads along or between the edges b to c and c
// to d of a ring with the inside on its left.
func intoCorner(b, c, d, v Point) bool {
	in, out := c.Minus(b), d.Minus(c)
	if turn := cross(in, out); turn > 0 || turn == 0 && dot(in, out) > 0 {
		return cross(in, v) >= 0 && cross(out, v) >= 0
	}
	return cross(in, v) >= 0 || cross(out, v) >= 0
}
