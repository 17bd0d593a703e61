package search

import (
	"math"
	"slices"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw/guillotine"
)

const (
	// rectSteps is into how many units the longer side of a rectangular piece is parted.
	rectSteps = 600
	// rectLengths is how many lengths are tried of a want of any length.
	rectLengths = 16
)

// rectangular is the best way to cut a clean upright rectangle into upright rectangles that each hold a stone, by the
// exact search, as a tree to go on from; nil where the piece isn't one.
func (c *climber) rectangular() *node {
	g := c.slabs[0]
	ring := g.slab.part.Face
	box := ring.Box()
	if len(c.roots) != 1 || len(ring) != 4 || ring.TwiceArea()/2 != box.Size().X*box.Size().Y {
		return nil
	}
	unit := max(50, (max(box.Size().X, box.Size().Y)/plane.Micrometre+rectSteps-1)/rectSteps) // µm
	up := func(um int64) int64 { return (um + unit - 1) / unit }
	kerf := up(c.Blade.KerfUm + 2*c.Blade.WanderUm)
	type kind struct {
		seat int
		size Size
	}
	var kinds []kind
	problem := guillotine.Problem{Length: box.Size().X / plane.Micrometre / unit, Width: box.Size().Y / plane.Micrometre / unit, Kerf: kerf}
	for i, s := range g.slab.seats {
		w := s.want
		if len(s.avoid) > 0 || len(s.limits) > 0 {
			return nil
		}
		if w.zone != nil || w.Together > 0 {
			continue
		}
		sizes := slices.Clone(w.Sizes)
		if len(sizes) == 0 {
			most := float64(max(box.Size().X, box.Size().Y)) / plane.Micrometre
			lengths := slices.Clone(w.edges)
			for k := range rectLengths {
				lengths = append(lengths, int64(most*float64(k+1)/rectLengths))
				lengths = append(lengths, int64(float64(min(box.Size().X, box.Size().Y))/plane.Micrometre*float64(k+1)/rectLengths/w.body.beta))
			}
			for _, l := range lengths {
				if l >= max(w.FromUm, shortest) && (w.ToUm == 0 || l <= w.ToUm) {
					sizes = append(sizes, Size{l, w.body.form.WidthUm(l)})
				}
			}
		}
		for _, size := range sizes {
			long, wide := up(size.LengthUm+4), up(size.WidthUm+4)
			value := int64(c.worth(w, size) - g.sawing)
			if value < 1 || size.WidthUm < shortest || max(long, wide) > max(problem.Length, problem.Width) {
				continue
			}
			problem.Kinds = append(problem.Kinds, guillotine.Kind{Length: long, Width: wide, Value: value, Turns: true})
			kinds = append(kinds, kind{i, size})
		}
	}
	if len(kinds) == 0 {
		return nil
	}
	r, err := guillotine.Solve(c.ctx, problem, nil)
	if err != nil {
		return nil // too fine for it; the other search goes on
	}
	corner := box.Min
	nm := func(units int64) float64 { return float64(units * unit * plane.Micrometre) }
	var grow func(p *guillotine.Part, ring plane.Ring, sides []cutSide) *node
	grow = func(p *guillotine.Part, ring plane.Ring, sides []cutSide) *node {
		if p != nil && p.Cut != nil {
			first, second := p.Cut.First.Pieces(), p.Cut.Second.Pieces()
			if len(first) == 0 {
				return grow(p.Cut.Second, ring, sides)
			}
			if len(second) == 0 {
				return grow(p.Cut.First, ring, sides)
			}
			at := vec{float64(corner.X) + nm(p.X+p.Cut.At) + nm(kerf)/2, float64(corner.Y)}
			d := vec{0, 1} // what lies behind the cut is on its right
			if p.Cut.Along {
				at, d = vec{float64(corner.X), float64(corner.Y) + nm(p.Y+p.Cut.At) + nm(kerf)/2}, vec{-1, 0}
			}
			l := through(at.times(1.0/plane.Micrometre), d)
			line := plane.Line{A: plane.Micrometres(l.A.X, l.A.Y), B: plane.Micrometres(l.B.X, l.B.Y)}
			a, b := plane.Cut(ring, line, g.kerf)
			if len(a) != 1 || len(b) != 1 {
				return nil
			}
			n := &node{ring: ring, sides: sides, cut: &l, area: float64(ring.TwiceArea()) / 2e6}
			left := grow(p.Cut.First, a[0], append(slices.Clip(sides), cutSide{line}))
			right := grow(p.Cut.Second, b[0], append(slices.Clip(sides), cutSide{plane.Line{A: line.B, B: line.A}}))
			if left == nil || right == nil {
				return nil
			}
			n.left, n.right = []*node{left}, []*node{right}
			n.sum(g)
			return n
		}
		n := &node{ring: ring, sides: sides, area: float64(ring.TwiceArea()) / 2e6, best: -1, fits: make([]fit, len(g.slab.seats))}
		if p == nil || p.Kind < 0 {
			n.worth = g.rest(n)
			return n
		}
		k := kinds[p.Kind]
		w := g.slab.seats[k.seat].want
		f := &n.fits[k.seat]
		f.place.at = vec{float64(corner.X) + nm(p.X) + nm(p.Length)/2, float64(corner.Y) + nm(p.Y) + nm(p.Width)/2}
		if p.Turned {
			f.place.turn = math.Pi / 2
		}
		f.where, f.size, f.worth, f.reach = f.place, k.size, c.worth(w, k.size), float64(k.size.LengthUm)*plane.Micrometre/2
		n.best, n.worth = k.seat, f.worth
		return n
	}
	return grow(r.Plan, ring, nil)
}
