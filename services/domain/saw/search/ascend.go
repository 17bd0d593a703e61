package search

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// contact is one way in which body and wall may come to touch: the half-length at which they do, and how that changes as
// the body moves along x and y and turns.
type contact struct {
	reach float64
	slope [3]float64
}

// space is memory that is used again, by what goes on until a context ends.
type space struct {
	ctx      context.Context // lives as long as the search; nil: never ends
	rounds   int
	contacts []contact
	halves   [5][]half // of programs in so many unknowns
}

// ascend moves and turns a body to where it may be largest nearby. The reach is the least over contacts, each smooth; so
// again and again a linear program over their slopes, within a box that shrinks when it has promised too much, gives
// the next step. It stops where it is when the context of its space ends.
func (w *walls) ascend(b *body, p place, rounds int, space *space) (place, float64) {
	reach := w.reach(b, p)
	if reach <= 0 {
		return p, reach
	}
	box := reach / 2
	for range rounds {
		if space.ended() {
			break
		}
		turn := box / reach / b.far
		space.contacts = w.contacts(b, p, reach, box, space.contacts[:0])
		d, promised := space.steepest([3]float64{box, box, turn}, b.period == 0)
		if promised <= reach*(1+1e-7) {
			if box *= 0.3; box < reach*1e-5 {
				break
			}
			continue
		}
		q := place{vec{p.at.x + d[0], p.at.y + d[1]}, p.turn + d[2]}
		if r := w.reach(b, q); r > reach {
			if r-reach > (promised-reach)*0.7 {
				box *= 1.7
			} else if r-reach < (promised-reach)*0.2 {
				box *= 0.5
			}
			p, reach = q, r
		} else {
			box *= 0.35
		}
		if box < reach*1e-5 {
			break
		}
	}
	return p, reach
}

// ended asks the context at every so many rounds, which are short.
func (sp *space) ended() bool {
	sp.rounds++
	return sp.ctx != nil && sp.rounds%16 == 0 && sp.ctx.Err() != nil
}

// contacts are those that could count within the box about the place.
func (w *walls) contacts(b *body, p place, reach, box float64, out []contact) []contact {
	most := reach + 2*box/b.ball
	step := max(1, box*1e-4)
	turn := step / reach
	sin, cos := math.Sincos(-p.turn)
	at := [4][2]float64{{sin, cos}, {sin, cos}, {sin, cos}}
	at[3][0], at[3][1] = math.Sincos(-p.turn - turn)
	middle := [4]vec{p.at, {p.at.x + step, p.at.y}, {p.at.x, p.at.y + step}, p.at}
	steps := [3]float64{step, step, turn}
	tell := func(u, v vec, f func(u, v vec) float64, first float64) {
		c := contact{reach: first}
		for k := range 3 {
			c.slope[k] = (f(u.minus(middle[k+1]).turned(at[k+1]), v.minus(middle[k+1]).turned(at[k+1])) - first) / steps[k]
		}
		out = append(out, c)
	}
	for _, s := range w.wall {
		u, v := s.p.minus(p.at).turned(at[0]), s.q.minus(p.at).turned(at[0])
		if toOrigin(u, v) > most*b.far {
			continue
		}
		if b.ellipse {
			round := func(u, v vec) float64 { return b.least(u, v, 0) / b.inner }
			if g := round(u, v); g < most {
				tell(s.p, s.q, round, g)
			}
			continue
		}
		for _, corner := range b.corner {
			// Where the ray through a corner meets the wall's line.
			hit := func(u, v vec) float64 {
				d := v.minus(u)
				return u.cross(d) / corner.cross(d)
			}
			d := v.minus(u)
			den := corner.cross(d)
			if den == 0 {
				continue
			}
			if g := u.cross(d) / den; g > 0 && g < most {
				// Beyond the wall's ends by no more than a step could bring it.
				if k, slack := u.cross(corner)/den, 2*box/d.length(); k > -slack && k < 1+slack {
					tell(s.p, s.q, hit, g)
				}
			}
		}
		if g := b.gauge(u); g < most {
			tell(s.p, s.q, func(u, _ vec) float64 { return b.gauge(u) }, g)
		}
	}
	return out
}

// steepest is the step within the box after which the least contact is the greatest, as far as slopes tell, and how great.
func (sp *space) steepest(box [3]float64, round bool) (d [3]float64, promised float64) {
	contacts := sp.contacts
	if len(contacts) == 0 {
		return d, 0
	}
	swing := func(c *contact) float64 {
		return math.Abs(c.slope[0])*box[0] + math.Abs(c.slope[1])*box[1] + math.Abs(c.slope[2])*box[2]
	}
	// The most that any step could bring; what stays above it all the way doesn't count.
	most := math.Inf(1)
	for i := range contacts {
		most = min(most, contacts[i].reach+swing(&contacts[i]))
	}
	kept := contacts[:0]
	for i := range contacts {
		if contacts[i].reach-swing(&contacts[i]) < most {
			kept = append(kept, contacts[i])
		}
	}
	contacts = kept
	slices.SortFunc(contacts, func(a, b contact) int { return cmp.Compare(a.reach, b.reach) })
	// Steps are measured in boxes and reaches in the first one's, so that all numbers are near one.
	scale := contacts[0].reach
	p := program{n: 4, space: sp, halves: sp.halves[4][:0]}
	for k := range 3 {
		p.low[k], p.high[k] = -1, 1
	}
	if round {
		p.low[2], p.high[2] = 0, 0
	}
	p.low[3], p.high[3], p.aim[3] = 0, 10, 1
	for _, c := range contacts {
		// t − Σ slope·d ≤ reach
		var h half
		for k := range 3 {
			h.a[k] = -c.slope[k] * box[k] / scale
		}
		h.a[3], h.b = 1, c.reach/scale
		p.halves = append(p.halves, h)
	}
	sp.halves[4] = p.halves
	x, ok := p.solve()
	if !ok {
		return d, 0
	}
	for k := range 3 {
		d[k] = x[k] * box[k]
	}
	return d, x[3] * scale
}

// program is a linear program: the greatest aim·x within bounds and halves a·x ≤ b (Seidel 1991, without shuffling:
// the halves come in the order in which they are likely to count).
type program struct {
	n              int
	low, high, aim [4]float64
	halves         []half
	space          *space
}

type half struct {
	a [4]float64
	b float64
}

func (p *program) solve() (x [4]float64, ok bool) {
	const slack = 1e-9
	for k := range p.n {
		if p.low[k] > p.high[k]+slack {
			return x, false
		}
		if x[k] = p.low[k]; p.aim[k] > 0 {
			x[k] = p.high[k]
		}
	}
	for i, h := range p.halves {
		sum, v := 0.0, 0
		for k := range p.n {
			sum += h.a[k] * x[k]
			if math.Abs(h.a[k]) > math.Abs(h.a[v]) {
				v = k
			}
		}
		if sum <= h.b+slack {
			continue
		}
		if math.Abs(h.a[v]) < 1e-12 {
			return x, false
		}
		if p.n == 1 {
			at := h.b / h.a[0]
			if h.a[0] > 0 {
				p.high[0] = min(p.high[0], at)
			} else {
				p.low[0] = max(p.low[0], at)
			}
			if p.low[0] > p.high[0]+slack {
				return x, false
			}
			x[0] = min(max(x[0], p.low[0]), p.high[0])
			continue
		}
		// The best lies on its edge: put x[v] by the others.
		sub := program{n: p.n - 1, space: p.space}
		drop := func(from half) (to half) {
			f := from.a[v] / h.a[v]
			j := 0
			for k := range p.n {
				if k != v {
					to.a[j] = from.a[k] - f*h.a[k]
					j++
				}
			}
			to.b = from.b - f*h.b
			return to
		}
		j := 0
		for k := range p.n {
			if k != v {
				sub.low[j], sub.high[j] = p.low[k], p.high[k]
				sub.aim[j] = p.aim[k] - p.aim[v]/h.a[v]*h.a[k]
				j++
			}
		}
		bound := half{b: p.high[v]}
		bound.a[v] = 1
		sub.halves = append(p.space.halves[sub.n][:0], drop(bound))
		bound.a[v], bound.b = -1, -p.low[v]
		sub.halves = append(sub.halves, drop(bound))
		for _, earlier := range p.halves[:i] {
			sub.halves = append(sub.halves, drop(earlier))
		}
		p.space.halves[sub.n] = sub.halves
		y, ok := sub.solve()
		if !ok {
			return x, false
		}
		sum, j = h.b, 0
		for k := range p.n {
			if k != v {
				x[k] = y[j]
				sum -= h.a[k] * y[j]
				j++
			}
		}
		x[v] = sum / h.a[v]
	}
	return x, true
}
