package search

import (
	"cmp"
	"math"
	"slices"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// node is a part in a tree of cuts across the face. It is never changed, so trees share what is the same in both.
type node struct {
	ring   plane.Ring
	sides  []cutSide
	area   float64 // µm²
	cut    *saw.Line
	left   []*node // of a cut: along its line, as the evaluation names them
	right  []*node
	fits   []fit // of a part that isn't cut, one for each seat of its slab
	best   int   // which of them is worth the most alone; -1: none is worth anything
	worth  float64
	pinned bool // it holds the stone that stays where it is
}

// cutSide is a cut that a part lies on the left of.
type cutSide struct{ line plane.Line }

// fit is where a want's form goes largest in a part, as far as was looked, and the size of it that is worth the most.
type fit struct {
	place place
	reach float64 // of the want's body, nanometres; 0: it doesn't fit
	size  Size
	where place // of that size
	worth float64
}

// grower grows trees in one slab.
type grower struct {
	*planner
	slab  *slab
	rng   *Dice
	space space
	order []chanceOf
	walls []*walls // of the part that is tried, by seats' places
	pin   *pin     // nil: none
	// saw counts what a cut costs.
	sawing float64
}

// pin is a stone that stays where it is.
type pin struct {
	outline plane.Ring
	stone   saw.Stone
	worth   float64
}

func (g *grower) half() int64 { return g.kerf / 2 }

// root is the slab, uncut.
func (g *grower) root(before *node) *node {
	return g.leaf(g.slab.part.Face, nil, before)
}

// leaf is a part that isn't cut, with stones tried where they lay before.
func (g *grower) leaf(ring plane.Ring, sides []cutSide, before *node) *node {
	n := &node{ring: ring, sides: sides, area: float64(ring.TwiceArea()) / 2e6, best: -1}
	if g.pin != nil && plane.Holds(ring, g.pin.outline) && g.clear(n, g.pin.outline) {
		n.pinned, n.worth = true, g.pin.worth
		return n
	}
	n.fits = make([]fit, len(g.slab.seats))
	n.worth = g.rest(n)
	// What could be worth the most comes first, so that most of the others needn't be tried.
	g.order = g.order[:0]
	for i := range g.slab.seats {
		g.order = append(g.order, chanceOf{i, g.most(g.slab.seats[i].want, n.area)})
	}
	slices.SortStableFunc(g.order, func(a, b chanceOf) int { return -cmp.Compare(a.most, b.most) })
	g.walls = slices.Grow(g.walls[:0], len(n.fits))[:len(n.fits)]
	clear(g.walls)
	for _, c := range g.order {
		var old *fit
		if before != nil && c.seat < len(before.fits) {
			old = &before.fits[c.seat]
		}
		if g.ended() {
			break
		}
		if g.slab.seats[c.seat].want.Together > 0 || c.most > n.worth {
			g.fit(n, c.seat, old)
		}
	}
	return n
}

// chanceOf is a seat and what it could be worth in a part.
type chanceOf struct {
	seat int
	most float64
}

// rest is what the part brings without a stone.
func (g *grower) rest(n *node) float64 {
	if g.gram == 0 || g.slab.part.AreaUm2 == 0 {
		return 0
	}
	// Its length is what the evaluation takes.
	size := n.ring.Box().Size()
	price, ok := g.price(g.Rest.Market, g.Rest.Class, max(size.X, size.Y)/plane.Micrometre)
	if !ok {
		return 0
	}
	return max(0, g.netGram(price)*n.area*float64(g.slab.part.MassUg)/float64(g.slab.part.AreaUm2)-float64(g.Settings.SellingMinor))
}

// clear is whether an outline keeps from the part's sawn edges what the blade may stray.
func (g *grower) clear(n *node, outline plane.Ring) bool {
	if g.Blade.WanderUm == 0 {
		return true
	}
	return saw.Region{Beside: g.besides(n)}.Holds(outline)
}

func (g *grower) besides(n *node) (out []saw.Beside) {
	if g.Blade.WanderUm == 0 {
		return nil
	}
	for _, s := range n.sides {
		out = append(out, saw.Beside{Line: s.line, Clear: g.half() + g.Blade.WanderUm*plane.Micrometre, Wander: g.Blade.WanderUm * plane.Micrometre})
	}
	return out
}

// region is where a want may lie in the part.
func (g *grower) region(n *node, s seat) saw.Region {
	r := saw.Region{Within: []saw.Within{{Ring: n.ring}}, Beside: append(g.besides(n), s.limits...)}
	if s.want.zone != nil {
		r.Within = append(r.Within, saw.Within{Ring: s.want.zone})
	}
	box, sides := n.ring.Box(), make([]plane.HalfPlane, len(n.sides))
	for i, c := range n.sides {
		sides[i], _ = c.line.Band(g.kerf)
	}
	for _, a := range s.avoid {
		r.Avoid = a.CutOff(r.Avoid, sides, box) // a crack in another part does no harm
	}
	return r
}

// fit finds where a want goes in the part and what of it is worth the most.
func (g *grower) fit(n *node, i int, before *fit) {
	w := g.slab.seats[i].want
	at := g.slab.seats[i].place
	if g.walls[at] == nil {
		g.walls[at] = newWalls(g.region(n, g.slab.seats[i]))
	}
	walls := g.walls[at]
	f := &n.fits[i]
	try := func(p place, rounds int) {
		if p, reach := walls.ascend(w.body, p, rounds, &g.space); reach > f.reach {
			f.place, f.reach = p, reach
		}
	}
	starts := 2
	if before != nil && before.reach > 0 {
		try(before.place, 10)
		starts = 1
		if f.reach > before.reach*0.97 {
			starts = 0
		}
	}
	for range starts {
		try(walls.random(w.body, g.rng), 14)
	}
	if f.reach <= 0 {
		return
	}
	g.size(walls, w, f, n.worth)
	if w.Together == 0 && f.worth > n.worth {
		n.worth, n.best = f.worth, i
	}
}

// most is what a want brings in a part of so much area at the most.
func (g *grower) most(w *want, area float64) float64 {
	if len(w.Sizes) > 0 {
		best := 0.0
		for _, s := range w.Sizes {
			if w.unit*float64(s.LengthUm)*float64(s.WidthUm) <= area {
				best = max(best, g.worth(w, s))
			}
		}
		return best
	}
	return g.longest(w, math.Sqrt(area/w.unit/w.body.beta)).worth
}

// longest is what a want of any length brings at most that may be so long, in micrometres, and at which size.
func (g *grower) longest(w *want, most float64) (out fit) {
	if w.ToUm > 0 {
		most = min(most, float64(w.ToUm))
	}
	consider := func(length int64) {
		if length < max(w.FromUm, shortest) || float64(length) > most {
			return
		}
		s := Size{length, w.body.form.WidthUm(length)}
		if s.WidthUm < shortest {
			return
		}
		if worth := g.worth(w, s); worth > out.worth {
			out.size, out.worth = s, worth
		}
	}
	consider(int64(most))
	for _, e := range w.edges {
		consider(e)
	}
	return out
}

// slack is by how much a stone is planned shorter than it seemed to fit, in nanometres: for rounding.
const slack = 3_000

// size finds the size of a want that is worth the most where its form fits, if it is worth more than a floor.
func (g *grower) size(walls *walls, w *want, f *fit, floor float64) {
	f.where = f.place
	if len(w.Sizes) == 0 {
		best := g.longest(w, (2*f.reach*w.body.sure()-slack)/plane.Micrometre)
		f.size, f.worth = best.size, best.worth
		return
	}
	if w.Together > 0 {
		floor = 0
	}
	for i := len(w.Sizes) - 1; i >= 0; i-- {
		s := w.Sizes[i]
		worth := g.worth(w, s)
		if worth <= max(floor, f.worth) {
			continue
		}
		b := w.bodies[i]
		need := (float64(s.LengthUm)*plane.Micrometre + slack) / 2 / b.sure()
		// As large by area as the form that fits, and not much more.
		if need*need*b.beta > f.reach*f.reach*w.body.beta*1.5 {
			continue
		}
		p := f.place
		reach := walls.reach(b, p)
		if reach < need && reach > need*0.85 {
			p, reach = walls.ascend(b, p, 6, &g.space)
		}
		if reach >= need {
			f.size, f.worth, f.where = s, worth, p
		}
	}
}

// split cuts a part and finds what goes into each side; nil where the line misses the part.
func (g *grower) split(ring plane.Ring, sides []cutSide, l saw.Line, left, right []*node) *node {
	line := plane.Line{A: plane.Micrometres(l.A.X, l.A.Y), B: plane.Micrometres(l.B.X, l.B.Y)}
	if line.A == line.B || max(l.A.X, -l.A.X, l.A.Y, -l.A.Y, l.B.X, -l.B.X, l.B.Y, -l.B.Y) > saw.MaxLengthUm {
		return nil
	}
	a, b := plane.Cut(ring, line, g.kerf)
	if len(a) == 0 || len(b) == 0 || !g.gripped(a, b, line) {
		return nil
	}
	ordered(a, line)
	ordered(b, line)
	n := &node{ring: ring, sides: sides, cut: &l, area: float64(ring.TwiceArea()) / 2e6}
	back := plane.Line{A: line.B, B: line.A}
	n.left = g.grown(a, append(slices.Clip(sides), cutSide{line}), left)
	n.right = g.grown(b, append(slices.Clip(sides), cutSide{back}), right)
	n.sum(g)
	return n
}

func (g *grower) gripped(a, b []plane.Ring, l plane.Line) bool {
	most := 0.0
	for _, r := range slices.Concat(a, b) {
		most = max(most, l.Farthest(r)-float64(g.half()))
	}
	return g.Settings.GripUm == 0 || most >= float64(g.Settings.GripUm*plane.Micrometre)
}

// ordered sorts parts along a line, by where each begins.
func ordered(rings []plane.Ring, l plane.Line) {
	if len(rings) > 1 {
		slices.SortStableFunc(rings, func(a, b plane.Ring) int { return cmp.Compare(l.Begins(a), l.Begins(b)) })
	}
}

// grown makes parts of rings as those before were cut.
func (g *grower) grown(rings []plane.Ring, sides []cutSide, before []*node) []*node {
	out := make([]*node, len(rings))
	for i, r := range rings {
		var old *node
		if i < len(before) {
			old = before[i]
		}
		out[i] = g.again(r, sides, old)
	}
	return out
}

// again makes a part that is cut as one before was, as far as that still goes.
func (g *grower) again(r plane.Ring, sides []cutSide, old *node) *node {
	if old != nil && old.cut != nil {
		if n := g.split(r, sides, *old.cut, old.left, old.right); n != nil {
			return n
		}
		old = nil
	}
	return g.leaf(r, sides, old)
}

func (n *node) sum(g *grower) {
	n.worth = -g.sawing
	for _, k := range n.kids() {
		n.worth += k.worth
		n.pinned = n.pinned || k.pinned
	}
}

func (n *node) kids() []*node {
	if n.cut == nil {
		return nil
	}
	return append(slices.Clip(n.left), n.right...)
}

// leaves are the parts that aren't cut.
func (n *node) leaves(out []*node) []*node {
	if n.cut == nil {
		return append(out, n)
	}
	for _, k := range n.left {
		out = k.leaves(out)
	}
	for _, k := range n.right {
		out = k.leaves(out)
	}
	return out
}

// all are the part and all below it.
func (n *node) all(out []*node) []*node {
	out = append(out, n)
	for _, k := range n.left {
		out = k.all(out)
	}
	for _, k := range n.right {
		out = k.all(out)
	}
	return out
}

// with is the tree with one part in another's stead.
func (n *node) with(g *grower, old, new *node) *node {
	if n == old {
		return new
	}
	if n.cut == nil {
		return n
	}
	out := *n
	changed := false
	replace := func(kids []*node) []*node {
		next := kids
		for i, k := range kids {
			if r := k.with(g, old, new); r != k {
				if !changed {
					changed = true
				}
				next = slices.Clone(next)
				next[i] = r
			}
		}
		return next
	}
	out.left, out.right = replace(n.left), replace(n.right)
	if !changed {
		return n
	}
	out.pinned = false
	out.sum(g)
	return &out
}
