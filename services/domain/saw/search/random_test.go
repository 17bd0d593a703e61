package search

import (
	"context"
	"math"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// Chance makes random plans for a task, with none of the search's care: cuts anywhere, and in each part a wanted
// stone at a random place and turn, as large as it goes there.
type Chance struct {
	p   *planner
	rng *Dice
}

func NewChance(t rapid.TB, task Task, rng *Dice) *Chance {
	p, err := newCutter(context.Background(), task)
	if err != nil {
		t.Fatal(err)
	}
	return &Chance{p, rng}
}

// Plan is a random plan and what it would be worth if it were feasible.
func (c *Chance) Plan() (saw.Plan, float64) {
	cl := c.trees()
	d := cl.design(cl.roots)
	return cl.plan(cl.roots, d), d.score
}

func (c *Chance) trees() *climber {
	s := c.p.schemes[c.rng.IntN(len(c.p.schemes))]
	cl := &climber{planner: c.p, scheme: s, rng: c.rng}
	for _, sl := range s.slabs {
		g := &grower{planner: c.p, slab: sl, rng: c.rng, sawing: c.p.minute * float64(c.p.SawMinutes)}
		cl.slabs = append(cl.slabs, g)
		cl.roots = append(cl.roots, c.tree(g, sl.part.Face, nil, 0))
	}
	return cl
}

func (c *Chance) tree(g *grower, ring plane.Ring, sides []cutSide, deep int) *node {
	if deep < 4 && c.rng.IntN(10) < 5 {
		box := ring.Box()
		sin, cos := math.Sincos(c.rng.Float64() * 2 * math.Pi)
		m := vec{float64(box.Min.X) + c.rng.Float64()*float64(box.Size().X), float64(box.Min.Y) + c.rng.Float64()*float64(box.Size().Y)}
		l := through(m.times(1.0/plane.Micrometre), vec{cos, sin})
		if c.rng.IntN(3) == 0 { // along a crack or an edge, perhaps
			if along, ok := g.line(&node{ring: ring, sides: sides, best: -1}); ok {
				l = along
			}
		}
		line := plane.Line{A: plane.Micrometres(l.A.X, l.A.Y), B: plane.Micrometres(l.B.X, l.B.Y)}
		a, b := plane.Cut(ring, line, g.kerf)
		if len(a) > 0 && len(b) > 0 && g.gripped(a, b, line) {
			ordered(a, line)
			ordered(b, line)
			n := &node{ring: ring, sides: sides, cut: &l}
			for _, r := range a {
				n.left = append(n.left, c.tree(g, r, append(sides[:len(sides):len(sides)], cutSide{line}), deep+1))
			}
			for _, r := range b {
				n.right = append(n.right, c.tree(g, r, append(sides[:len(sides):len(sides)], cutSide{plane.Line{A: line.B, B: line.A}}), deep+1))
			}
			n.sum(g)
			return n
		}
	}
	n := &node{ring: ring, sides: sides, area: float64(ring.TwiceArea()) / 2e6, best: -1}
	n.worth = g.rest(n)
	if len(g.slab.seats) == 0 {
		return n
	}
	i := c.rng.IntN(len(g.slab.seats))
	s := g.slab.seats[i]
	w := newWalls(g.region(n, s))
	p := w.random(s.want.body, c.rng)
	f := fit{place: p, where: p, reach: w.reach(s.want.body, p)}
	if f.reach <= 0 {
		return n
	}
	if len(s.want.Sizes) == 0 {
		best := g.longest(s.want, (2*f.reach*s.want.body.sure()-slack)/plane.Micrometre)
		f.size, f.worth = best.size, best.worth
	} else {
		for k, size := range s.want.Sizes {
			if w.reach(s.want.bodies[k], p)*s.want.bodies[k].sure() >= float64(size.LengthUm)*plane.Micrometre/2+slack/2 && g.worth(s.want, size) > f.worth {
				f.size, f.worth = size, g.worth(s.want, size)
			}
		}
	}
	if f.size.LengthUm > 0 {
		n.fits = make([]fit, len(g.slab.seats))
		n.fits[i], n.best, n.worth = f, i, f.worth
	}
	return n
}

// Never says whether none of so many random plans is feasible and worth more.
func (c *Chance) Never(t rapid.TB, more int64, plans int) (feasible int, best int64) {
	best = math.MinInt64
	for i := range plans {
		plan, score := c.Plan()
		// Most are worth far less; those that could be worth more are evaluated, and some of the rest, so that it is known
		// how many are feasible.
		if score <= float64(more)-1 && i%50 != 0 {
			continue
		}
		r, err := c.p.model.Evaluate(plan, c.p.Prices)
		if err != nil || r.Infeasible {
			continue
		}
		feasible++
		best = max(best, r.Money.Expected)
		if r.Money.Expected > more {
			t.Errorf("%s: a random plan is worth %d, more than %d: %+v", c.p.Study.Name, r.Money.Expected, more, plan)
		}
	}
	return feasible, best
}

// Agree holds the regions that the search reckons with, in the parts of random plans, to those of package saw.
func (c *Chance) Agree(t rapid.TB, plans int) (held, not int) {
	for range plans {
		cl := c.trees()
		plan := cl.plan(cl.roots, cl.design(cl.roots))
		end := 0 // ends stand in the order of the leaves
		for i, root := range cl.roots {
			g := cl.slabs[i]
			for _, leaf := range root.leaves(nil) {
				name := plan.Ends[end].Part
				end++
				if len(g.slab.seats) == 0 {
					continue
				}
				s := g.slab.seats[c.rng.IntN(len(g.slab.seats))]
				if len(s.limits) > 0 {
					continue
				}
				p := s.want.Pattern
				q := saw.Query{Part: name, Zone: p.Zone, Surface: p.Surface, View: p.View, DepthUm: p.DepthUm}
				if len(plan.Ends[end-1].Stones) > 0 {
					q.Except = plan.Ends[end-1].Stones[0].Name
				}
				theirs, err := c.p.model.Region(plan, c.p.Prices, q)
				if err != nil {
					t.Fatal(err)
				}
				ours := g.region(leaf, s)
				box := leaf.ring.Box()
				for range 10 {
					length := int64(shortest + c.rng.IntN(4_000))
					stone := saw.Stone{
						Shape: saw.Oval, LengthUm: 2 * length, WidthUm: length, View: saw.Face, TurnMdeg: int64(c.rng.IntN(180_000)),
						At: saw.Point{
							X: (box.Min.X + int64(c.rng.Float64()*float64(box.Size().X))) / plane.Micrometre,
							Y: (box.Min.Y + int64(c.rng.Float64()*float64(box.Size().Y))) / plane.Micrometre,
						},
					}
					r, err := outline(stone)
					if err != nil {
						t.Fatal(err)
					}
					if ours.Holds(r) != theirs.Holds(r) {
						t.Errorf("in part %s of %+v the search says %v for %+v, the evaluation %v", name, plan.Steps, ours.Holds(r), stone, theirs.Holds(r))
					}
					if theirs.Holds(r) {
						held++
					} else {
						not++
					}
				}
			}
		}
	}
	return held, not
}
