package saw

import (
	"errors"
	"math"
	"slices"

	"seamshare.example/services/domain/measure/plane"
)

// placed is a planned stone in its place.
type placed struct {
	Stone
	known   known
	trace   trace
	at      plane.Point // the middle of its face, in the face view
	flat    plane.Ring  // its outline in its own plane, turned, about the origin, as seen from the piece's face
	tilt    float64     // radians
	cos     float64
	sin     float64
	forward span // from where to where the outline reaches along the trace in its own plane
}

// place puts a stone in its place. The error is an *Invalid below the path.
func (m *Model) place(path string, s Stone) (placed, error) {
	known, err := m.outlines.outline(s)
	if err != nil {
		if e := (*Invalid)(nil); errors.As(err, &e) {
			err = &Invalid{path + "." + e.Path, e.Value, e.Rule}
		}
		return placed{}, err
	}
	p := placed{Stone: s, known: known, trace: m.trace, at: nm(s.At), flat: turned(known.ring, s.TurnMdeg), cos: 1}
	if s.View == Back {
		p.at.X, p.flat = -p.at.X, p.flat.Mirrored()
	}
	p.tilt = m.tilts[s.Bar] + float64(s.TiltMdeg)*math.Pi/180_000
	if p.tilt != 0 {
		p.sin, p.cos = math.Sincos(p.tilt)
	}
	centred := trace{plane.Point{}, m.trace.d, m.trace.length}
	p.forward = centred.span(p.flat)
	return p, nil
}

// turned turns a ring by thousandths of a degree, by whole quarters exactly.
func turned(r plane.Ring, mdeg int64) plane.Ring {
	const quarter = 90_000
	quarters := rounded(mdeg, quarter)
	if rest := mdeg - quarters*quarter; rest != 0 {
		r = r.Turned(float64(rest) * math.Pi / 180_000)
	}
	if quarters == 0 {
		return r
	}
	return r.QuarterTurned(int(quarters))
}

// step is a step along the trace.
func (t trace) step(length float64) plane.Point {
	return plane.Point{X: int64(math.Round(length * float64(t.d.X) / t.length)), Y: int64(math.Round(length * float64(t.d.Y) / t.length))}
}

// footprint is what the stone covers in the face view: its outline, or where it is tilted that of all its body.
func (p placed) footprint() plane.Ring {
	if p.tilt == 0 {
		return p.flat.Moved(p.at)
	}
	centred := trace{plane.Point{}, p.trace.d, p.trace.length}
	r := make(plane.Ring, len(p.flat))
	for i, q := range p.flat {
		u := float64(centred.along(q).X)
		r[i] = q.Minus(p.trace.step(u * (1 - p.cos))).Plus(p.at)
	}
	// The back of the stone lies square below its face, and so to one side of it.
	slip := float64(p.DepthUm*plane.Micrometre) * p.sin
	if p.View == Back {
		slip = -slip
	}
	return swept(r, p.trace.step(slip))
}

// swept is what a ring passes over when it moves by v.
func swept(r plane.Ring, v plane.Point) plane.Ring {
	if !convex(r) {
		return sweptOver(r, v)
	}
	// Edges that look the way of the move go along, the others stay.
	n := len(r)
	goes := func(i int) bool {
		d := r[(i+1)%n].Minus(r[i])
		return d.Y*v.X-d.X*v.Y > 0
	}
	out := make(plane.Ring, 0, n+2)
	before := goes(n - 1)
	for i, p := range r {
		after := goes(i)
		if before {
			out = append(out, p.Plus(v))
		}
		if before != after {
			if before {
				out = append(out, p)
			} else {
				out = append(out, p, p.Plus(v))
			}
		} else if !before {
			out = append(out, p)
		}
		before = after
	}
	return out
}

// sweptOver is swept of a ring with hollows: what it doesn't cover at first is passed by a chain of edges that look the
// way of the move, and such a chain with itself moved makes a ring. Hollows that close over are covered too.
func sweptOver(r plane.Ring, v plane.Point) plane.Ring {
	n := len(r)
	goes := func(i int) bool {
		d := r[(i+1)%n].Minus(r[i%n])
		return d.Y*v.X-d.X*v.Y > 0
	}
	rings := []plane.Ring{r}
	for i := range n {
		if goes(i+n-1) || !goes(i) {
			continue
		}
		var chain, moved plane.Ring
		for k := i; ; k++ {
			chain, moved = append(chain, r[k%n]), append(moved, r[k%n].Plus(v))
			if !goes(k) {
				break
			}
		}
		slices.Reverse(moved)
		rings = append(rings, append(chain, moved...))
	}
	if len(rings) == 1 {
		return r // no move
	}
	if faces, err := plane.Union(rings...); err == nil && len(faces) == 1 {
		return faces[0].Outer
	}
	return append(slices.Clone(r), r.Moved(v)...).Hull()
}

// frame turns the section so that the stone lies level in it with its face up: u runs along the stone, v out of
// its face.
type frame struct {
	cos, sin float64
	back     bool
}

func (f frame) in(p plane.Point) plane.Point {
	u, v := p.X, p.Y
	if f.sin != 0 {
		x, y := float64(p.X), float64(p.Y)
		u = int64(math.Round(float64(f.cos*x) + float64(f.sin*y)))
		v = int64(math.Round(float64(f.cos*y) - float64(f.sin*x)))
	}
	if f.back {
		v = -v
	}
	return plane.Point{X: u, Y: v}
}

func (f frame) out(p plane.Point) plane.Point {
	if f.back {
		p.Y = -p.Y
	}
	if f.sin == 0 {
		return p
	}
	x, y := float64(p.X), float64(p.Y)
	return plane.Point{
		X: int64(math.Round(float64(f.cos*x) - float64(f.sin*y))),
		Y: int64(math.Round(float64(f.sin*x) + float64(f.cos*y))),
	}
}

// bounds are those that a stone may lie below or above of, in its frame.
func (f frame) bounds(bounds []bound) []slope {
	if len(bounds) == 0 {
		return nil
	}
	out := make([]slope, 0, len(bounds))
	for _, b := range bounds {
		a, d := b.line.A, b.line.B.Minus(b.line.A)
		s := slope{u: float64(a.X), v: float64(a.Y), du: float64(d.X), dv: float64(d.Y)}
		if f.sin != 0 {
			s.u, s.v = float64(f.cos*s.u)+float64(f.sin*s.v), float64(f.cos*s.v)-float64(f.sin*s.u)
			s.du, s.dv = float64(f.cos*s.du)+float64(f.sin*s.dv), float64(f.cos*s.dv)-float64(f.sin*s.du)
		}
		if f.back { // turned over, left is right
			s.v, s.du = -s.v, -s.du
		}
		if s.du == 0 {
			continue // upright
		}
		s.above = s.du < 0
		s.v += float64(b.half*math.Hypot(s.du, s.dv)) / s.du
		out = append(out, s)
	}
	return out
}

// slope is a bound in a stone's frame, moved by half its kerf: through (u, v) along (du, dv).
type slope struct {
	u, v, du, dv float64
	above        bool // what is left lies below it
}

// at is twice its height at a place, rounded to the inside.
func (s slope) at(u int64) int64 {
	v := 2 * (s.v + float64((float64(u)-s.u)*s.dv)/s.du)
	v = max(-1<<60, min(v, 1<<60))
	if s.above {
		return int64(math.Floor(v))
	}
	return int64(math.Ceil(v))
}

func (f frame) rings(rings ...plane.Ring) []plane.Ring {
	if f.sin == 0 && !f.back {
		return rings
	}
	out := make([]plane.Ring, len(rings))
	for i, r := range rings {
		out[i] = make(plane.Ring, len(r))
		for j, p := range r {
			out[i][j] = f.in(p)
		}
	}
	return out
}

// domeSteps is into how many straight stretches each half of a dome is drawn, outside the true one.
const domeSteps = 6

// crest is the upper edge of the stone's side view from one end to the other: u from its middle, v below its top.
// The cross-section of a dome at a height h of H is its outline shrunk by √(1 − (h/H)²).
func (p placed) crest() []plane.Point {
	dome := float64(p.DomeUm * plane.Micrometre)
	if dome == 0 {
		return []plane.Point{{X: p.forward.from}, {X: p.forward.to}}
	}
	out := make([]plane.Point, 2*domeSteps)
	for i := range domeSteps {
		c := arch[i]
		v := min(0, int64(math.Ceil(dome*c.y))-int64(dome))
		out[i] = plane.Point{X: int64(math.Floor(float64(p.forward.from) * c.x)), Y: v}
		out[2*domeSteps-1-i] = plane.Point{X: int64(math.Ceil(float64(p.forward.to) * c.x)), Y: v}
	}
	return out
}

// arch is a polygon round a quarter of the unit circle.
var arch = func() (out [domeSteps]struct{ x, y float64 }) {
	const step = math.Pi / 2 / domeSteps
	for i := range out {
		sin, cos := math.Sincos((float64(i) + 0.5) * step)
		out[i].x, out[i].y = cos/math.Cos(step/2), sin/math.Cos(step/2)
	}
	return out
}()

// side is the stone's side view in its frame, with its top at the point.
func (p placed) side(top plane.Point) plane.Ring {
	crest := p.crest()
	out := make(plane.Ring, 0, len(crest)+2)
	bottom := top.Y - p.DepthUm*plane.Micrometre
	out = append(out, plane.Point{X: top.X + crest[0].X, Y: bottom}, plane.Point{X: top.X + crest[len(crest)-1].X, Y: bottom})
	for i := len(crest) - 1; i >= 0; i-- {
		out = append(out, top.Plus(crest[i]))
	}
	return out
}

// over goes along a stretch of rings and tells of each straight bit from where to where it is, and twice the lowest and
// highest boundary at both its ends; ok is false where there is nothing. It stops at the ends of edges and at stops.
func (k *scratch) over(rings []plane.Ring, s span, stops []int64, tell func(from, to int64, low, high [2]int64, ok bool)) {
	k.edges = appendEdges(k.edges[:0], rings...)
	w := sweep{rest: k.edges, now: k.now[:0]}
	at := append(append(k.at[:0], stops...), s.from, s.to)
	for _, e := range w.rest {
		at = append(at, e.s0, e.s1)
	}
	at = slices.DeleteFunc(at, func(v int64) bool { return v < s.from || v > s.to })
	slices.Sort(at)
	at = slices.Compact(at)
	k.at = at
	for i := 1; i < len(at); i++ {
		from, to := at[i-1], at[i]
		w.to(from, to)
		low, high := [2]int64{math.MaxInt64, math.MaxInt64}, [2]int64{math.MinInt64, math.MinInt64}
		for _, e := range w.now {
			for k, x := range []int64{from, to} {
				v := e.twice(2 * x)
				low[k], high[k] = min(low[k], v), max(high[k], v)
			}
		}
		tell(from, to, low, high, len(w.now) > 0)
	}
	k.now = w.now
}

// scratch is memory that is used again and again within one evaluation.
type scratch struct {
	edges, now []edge
	at         []int64
}
