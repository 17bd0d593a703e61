package search

import (
	"math"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// climber searches one scheme by simulated annealing: a tree of cuts in each slab, changed at random, kept where it
// is worth more and at first also where it is worth a little less.
type climber struct {
	*planner
	scheme *scheme
	slabs  []*grower
	roots  []*node
	rng    *Dice
	score  float64
	top    float64
	topped []*node // with the greatest score
	first  []*node // uncut
	book   *book
}

func (p *planner) climber(s *scheme, rng *Dice, b *book) *climber {
	c := &climber{planner: p, scheme: s, rng: rng, book: b, top: math.Inf(-1)}
	for i, sl := range s.slabs {
		g := &grower{planner: p, slab: sl, rng: rng, sawing: p.minute * float64(p.SawMinutes), space: space{ctx: p.ctx}}
		if i == 0 {
			g.pin = p.pinned
		}
		c.slabs = append(c.slabs, g)
		c.roots = append(c.roots, g.root(nil))
	}
	c.first = c.roots
	c.take(c.roots)
	return c
}

// take makes the trees the present ones and notes them if they are the best of their kind.
func (c *climber) take(roots []*node) {
	c.roots = roots
	d := c.design(roots)
	if c.score = d.score; c.score > c.top {
		c.top, c.topped = c.score, roots
	}
	c.book.note(c, d)
}

// run makes so many changes, the warmth falling from one share of the greatest worth to another.
func (c *climber) run(steps int, from, to float64, stop func() bool) {
	for i := range steps {
		if stop() {
			return
		}
		f := float64(i) / float64(steps)
		warmth := max(1, math.Abs(c.top)) * from * math.Pow(to/from, f)
		if c.rng.IntN(200) == 0 && c.score < c.top {
			c.take(c.topped)
		}
		next := c.change(1 - f)
		if next == nil {
			continue
		}
		if gain := c.design(next).score - c.score; gain >= 0 || c.rng.Float64() < math.Exp(gain/warmth) {
			c.take(next)
		}
	}
}

// change is other trees, or nil where the change made no sense. Reach is the share of lengths by which to move, at
// most one.
func (c *climber) change(reach float64) []*node {
	which := c.rng.IntN(len(c.roots))
	g, root := c.slabs[which], c.roots[which]
	var cuts, leaves []*node
	for _, n := range root.all(nil) {
		if n.cut != nil {
			cuts = append(cuts, n)
		} else if !n.pinned || len(n.ring) > 0 {
			leaves = append(leaves, n)
		}
	}
	var old, new *node
	switch k := c.rng.IntN(10); {
	case len(cuts) == 0 || k < 3 && len(leaves) < saw.MaxStones/4:
		old = leaves[c.rng.IntN(len(leaves))]
		line, ok := g.line(old)
		if !ok {
			return nil
		}
		new = g.split(old.ring, old.sides, line, []*node{old}, []*node{old})
	case k == 3:
		old = cuts[c.rng.IntN(len(cuts))]
		// What lay in one of its parts may grow into the whole.
		kids := old.leaves(nil)
		new = g.leaf(old.ring, old.sides, kids[c.rng.IntN(len(kids))])
	case k == 4:
		// A part is looked at afresh.
		old = leaves[c.rng.IntN(len(leaves))]
		new = g.leaf(old.ring, old.sides, nil)
	case k == 5:
		// A cut is made afresh.
		old = cuts[c.rng.IntN(len(cuts))]
		kids := old.leaves(nil)
		line, ok := g.line(kids[c.rng.IntN(len(kids))])
		if !ok {
			return nil
		}
		new = g.split(old.ring, old.sides, line, old.left, old.right)
	default:
		old = cuts[c.rng.IntN(len(cuts))]
		line := g.moved(old, reach)
		if k > 7 {
			line = g.snapped(old)
		}
		new = g.split(old.ring, old.sides, line, old.left, old.right)
	}
	if new == nil {
		return nil
	}
	next := append([]*node(nil), c.roots...)
	if next[which] = root.with(g, old, new); g.pin != nil && !next[which].pinned {
		return nil
	}
	return next
}

// moved is a cut's line shifted and turned about the middle of its way through the part.
func (g *grower) moved(n *node, reach float64) saw.Line {
	p, d := direction(*n.cut)
	box := n.ring.Box()
	size := math.Hypot(float64(box.Size().X), float64(box.Size().Y)) / plane.Micrometre
	c := n.ring.Centroid()
	m := vec{float64(c.X) / plane.Micrometre, float64(c.Y) / plane.Micrometre}
	m = p.plus(d.times(m.minus(p).dot(d)))
	step := size * 0.15 * math.Pow(reach+0.02, 1.5) * math.Exp(-2*g.rng.Float64())
	m = m.plus(vec{-d.y, d.x}.times(g.rng.normal() * step))
	if g.rng.IntN(2) == 0 {
		sin, cos := math.Sincos(g.rng.normal() * step / size * 4)
		d = d.turned([2]float64{sin, cos})
	}
	return through(m, d)
}

func (a vec) plus(b vec) vec { return vec{a.x + b.x, a.y + b.y} }

// direction is a point of a line and the unit vector along it, in micrometres.
func direction(l saw.Line) (p, d vec) {
	p = vec{float64(l.A.X), float64(l.A.Y)}
	d = vec{float64(l.B.X), float64(l.B.Y)}.minus(p)
	return p, d.times(1 / d.length())
}

// through is the line through a point, in micrometres, its ends far apart so that whole micrometres hardly turn it.
func through(m, d vec) saw.Line {
	const far = 40_000
	return saw.Line{
		A: saw.Point{X: int64(math.Round(m.x - d.x*far)), Y: int64(math.Round(m.y - d.y*far))},
		B: saw.Point{X: int64(math.Round(m.x + d.x*far)), Y: int64(math.Round(m.y + d.y*far))},
	}
}

// snapped is a cut's line moved close to the stones on one of its sides.
func (g *grower) snapped(n *node) saw.Line {
	p, d := direction(*n.cut)
	side, kids := vec{-d.y, d.x}, n.left // towards the left
	if g.rng.IntN(2) == 0 {
		side, kids = vec{d.y, -d.x}, n.right
	}
	least := math.Inf(1)
	for _, k := range kids {
		for _, leaf := range k.leaves(nil) {
			if leaf.best >= 0 {
				least = min(least, -g.support(leaf, vec{-side.x, -side.y}))
			} else if leaf.pinned {
				for _, q := range g.pin.outline {
					least = min(least, at(q).dot(side)/plane.Micrometre)
				}
			}
		}
	}
	if math.IsInf(least, 1) {
		return g.moved(n, 1)
	}
	gap := float64(g.Blade.KerfUm)/2 + float64(g.Blade.WanderUm) + 2
	return through(p.plus(side.times(least-gap-p.dot(side))), d)
}

// support is how far the stone of a part reaches in a direction, in micrometres.
func (g *grower) support(n *node, dir vec) float64 {
	f := n.fits[n.best]
	b := g.slab.seats[n.best].want.body
	sin, cos := math.Sincos(f.where.turn)
	most := math.Inf(-1)
	wide := float64(f.size.WidthUm) / float64(f.size.LengthUm) / b.beta
	for _, c := range b.corner {
		c.y *= wide
		v := c.times(float64(f.size.LengthUm) / 2).turned([2]float64{sin, cos})
		most = max(most, v.dot(dir))
	}
	return most + f.where.at.dot(dir)/plane.Micrometre
}

// line is a cut for a part: beside its stone, along a crack or an edge, or anywhere.
func (g *grower) line(n *node) (saw.Line, bool) {
	box := n.ring.Box()
	centre := n.ring.Centroid()
	m := vec{float64(centre.X), float64(centre.Y)}.times(1.0 / plane.Micrometre)
	random := func() vec {
		sin, cos := math.Sincos(g.rng.Float64() * 2 * math.Pi)
		return vec{cos, sin}
	}
	d := random()
	edge := func(r plane.Ring) (vec, vec) {
		i := g.rng.IntN(len(r))
		a, b := at(r[i]).times(1.0/plane.Micrometre), at(r[(i+1)%len(r)]).times(1.0/plane.Micrometre)
		v := b.minus(a)
		return a, v.times(1 / max(v.length(), 1e-9))
	}
	switch g.rng.IntN(5) {
	case 0: // along or square to an edge of the part
		_, d = edge(n.ring)
		if g.rng.IntN(2) == 0 {
			d = vec{-d.y, d.x}
		}
	case 1: // along a crack, a zone's edge, or what is in the way
		if len(g.slab.seats) == 0 {
			break
		}
		s := g.slab.seats[g.rng.IntN(len(g.slab.seats))]
		if k := g.rng.IntN(len(s.avoid) + 1); k < len(s.avoid) {
			path := s.avoid[k].Path
			if s.avoid[k].Ring != nil {
				path = s.avoid[k].Ring.Closed()
			}
			if len(path) > 1 {
				i := g.rng.IntN(len(path) - 1)
				j := i + 1 + g.rng.IntN(len(path)-1-i)
				a, b := at(path[i]).times(1.0/plane.Micrometre), at(path[j]).times(1.0/plane.Micrometre)
				if v := b.minus(a); v.length() > 1 {
					m, d = a, v.times(1/v.length())
					return through(m.plus(vec{-d.y, d.x}.times(g.rng.normal()*300*float64(g.rng.IntN(2)))), d), true
				}
			}
		} else if s.want.zone != nil {
			var a vec
			if a, d = edge(s.want.zone); g.rng.IntN(2) == 0 {
				return through(a, d), d.length() > 0.5
			}
		}
	case 2: // along or square to its stone
		if n.best >= 0 {
			sin, cos := math.Sincos(n.fits[n.best].where.turn)
			if d = (vec{cos, sin}); g.rng.IntN(2) == 0 {
				d = vec{-sin, cos}
			}
		}
	}
	if d.length() < 0.5 {
		return saw.Line{}, false
	}
	side := vec{-d.y, d.x}
	if n.best >= 0 && g.rng.IntN(3) > 0 {
		gap := float64(g.Blade.KerfUm)/2 + float64(g.Blade.WanderUm) + 2
		reach := g.support(n, side) + gap
		return through(m.plus(side.times(reach-m.dot(side))), d), true
	}
	wide := math.Abs(side.x)*float64(box.Size().X) + math.Abs(side.y)*float64(box.Size().Y)
	return through(m.plus(side.times(g.rng.normal()*wide/6/plane.Micrometre)), d), true
}
