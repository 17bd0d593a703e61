package search

import (
	"math"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// walls are a region as the search looks at it: the stretches that an outline may not cross, and where its middle may lie.
// Margins are drawn as polygons within the true round ones, so a reach is never too small.
type walls struct {
	inside  [][]vec // rings that hold the middle
	outside [][]vec // rings that don't
	wall    []wall
	box     [2]vec
}

type wall struct{ p, q vec }

// discCorners is how many corners stand for a margin's round end.
const discCorners = 16

func newWalls(r saw.Region) *walls {
	w := &walls{box: [2]vec{{math.Inf(-1), math.Inf(-1)}, {math.Inf(1), math.Inf(1)}}}
	for _, within := range r.Within {
		w.inside = append(w.inside, w.ring(within.Ring))
		box := within.Ring.Box()
		w.box[0] = vec{max(w.box[0].x, float64(box.Min.X)), max(w.box[0].y, float64(box.Min.Y))}
		w.box[1] = vec{min(w.box[1].x, float64(box.Max.X)), min(w.box[1].y, float64(box.Max.Y))}
	}
	for _, a := range r.Avoid {
		w.avoid(a)
	}
	for _, b := range r.Beside {
		w.beside(b)
	}
	// Walls beyond reach never count.
	kept := w.wall[:0]
	for _, s := range w.wall {
		if max(s.p.x, s.q.x) >= w.box[0].x && min(s.p.x, s.q.x) <= w.box[1].x && max(s.p.y, s.q.y) >= w.box[0].y && min(s.p.y, s.q.y) <= w.box[1].y {
			kept = append(kept, s)
		}
	}
	w.wall = kept
	return w
}

func (w *walls) ring(r plane.Ring) []vec {
	out := make([]vec, len(r))
	for i, p := range r {
		out[i] = at(p)
	}
	for i, p := range out {
		w.wall = append(w.wall, wall{p, out[(i+1)%len(out)]})
	}
	return out
}

// avoid draws an obstacle with its margin: itself, and about each of its stretches a capsule.
func (w *walls) avoid(a saw.Avoid) {
	path := a.Path
	if a.Ring != nil {
		w.outside = append(w.outside, w.ring(a.Ring))
		path = a.Ring.Closed()
	}
	m := float64(a.Margin)
	for i := 1; i < len(path); i++ {
		p, q := at(path[i-1]), at(path[i])
		if m < 1 {
			w.wall = append(w.wall, wall{p, q})
			continue
		}
		d := q.minus(p)
		start := math.Atan2(d.x, -d.y) // to the left
		capsule := make([]vec, 0, discCorners+2)
		for k := range discCorners + 2 {
			end, turn := p, float64(k)
			if k > discCorners/2 {
				end, turn = q, float64(k-1)
			}
			sin, cos := math.Sincos(start + turn*2*math.Pi/discCorners)
			capsule = append(capsule, vec{end.x + m*cos, end.y + m*sin})
		}
		w.outside = append(w.outside, capsule)
		for k, c := range capsule {
			w.wall = append(w.wall, wall{c, capsule[(k+1)%len(capsule)]})
		}
	}
}

// beside is a straight wall as long as anything is wide.
func (w *walls) beside(b saw.Beside) {
	p, q := at(b.Line.A), at(b.Line.B)
	d := q.minus(p)
	d = d.times(1 / d.length())
	const far = 4 * plane.MaxCoordinate
	off := vec{-d.y * float64(b.Clear), d.x * float64(b.Clear)}
	foot := p.dot(d)
	middle := vec{p.x - d.x*foot + off.x, p.y - d.y*foot + off.y} // of the line, near the origin
	p, q = vec{middle.x - d.x*far, middle.y - d.y*far}, vec{middle.x + d.x*far, middle.y + d.y*far}
	w.wall = append(w.wall, wall{p, q})
	back := vec{-d.y * far, d.x * far}
	w.inside = append(w.inside, []vec{p, q, {q.x + back.x, q.y + back.y}, {p.x + back.x, p.y + back.y}})
}

func holds(r []vec, p vec) bool {
	in := false
	a := r[len(r)-1]
	for _, b := range r {
		if (a.y > p.y) != (b.y > p.y) {
			if s := b.minus(a).cross(p.minus(a)); (s > 0) == (b.y > a.y) {
				in = !in
			}
		}
		a = b
	}
	return in
}

func (w *walls) admit(p vec) bool {
	if p.x < w.box[0].x || p.x > w.box[1].x || p.y < w.box[0].y || p.y > w.box[1].y {
		return false
	}
	for _, r := range w.inside {
		if !holds(r, p) {
			return false
		}
	}
	for _, r := range w.outside {
		if holds(r, p) {
			return false
		}
	}
	return true
}

// place is where a form lies: the middle of its box, and its turn in radians.
type place struct {
	at   vec
	turn float64
}

// reach is how large the body may be there, as its half-length in nanometres; below zero, where its middle may not
// lie, how far that is from where it may, in the body's smallest radius.
func (w *walls) reach(b *body, p place) float64 {
	if !w.admit(p.at) {
		near := math.Inf(1)
		for _, s := range w.wall {
			near = min(near, toOrigin(s.p.minus(p.at), s.q.minus(p.at)))
		}
		return -near / b.ball
	}
	sin, cos := math.Sincos(-p.turn)
	sc := [2]float64{sin, cos}
	least := math.Inf(1)
	if b.ellipse {
		f := 1 / b.beta
		for _, s := range w.wall {
			u, v := s.p.minus(p.at).turned(sc), s.q.minus(p.at).turned(sc)
			u.y, v.y = u.y*f, v.y*f
			d := v.minus(u)
			t, whole := -u.dot(d), d.dot(d)
			// Squares, and one root at the end.
			square := 0.0
			switch {
			case t <= 0:
				square = u.dot(u)
			case t >= whole:
				square = v.dot(v)
			default:
				c := u.cross(d)
				square = c * c / whole
			}
			least = min(least, square)
		}
		return math.Sqrt(least) / b.inner
	}
	for _, s := range w.wall {
		least = min(least, b.least(s.p.minus(p.at).turned(sc), s.q.minus(p.at).turned(sc), least))
	}
	return least
}
