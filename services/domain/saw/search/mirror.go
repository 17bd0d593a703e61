package search

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// Pair is a stone that is wanted twice, from the same place of both halves of a split piece, one the mirror of the other.
type Pair struct {
	Want saw.Stone // in the first piece; only its place is chosen
	// Other is what differs for the second: zone, bar, depth, class and so on. Its outline is the first's, mirrored.
	Other saw.Stone
	Sizes []Size // empty: any length of Want's proportions
	// The face's point (x, y) of the first piece lay on (XUm − x, y + YUm) of the second's.
	XUm, YUm int64
}

// Mirrored is a suggestion for both halves. The plans of A and B each have one stone of the pair; the other offers
// of each differ in the rest.
type Mirrored struct {
	A, B        Suggestion
	Left, Right saw.Stone // the pair as placed, unnamed
	Best, Bound int64     // of both together; no plans with stones from any places pass the bound, which may be Unbounded
}

// SuggestMirrored plans two halves of a piece so that each gives one stone of a pair, from the same place, and what
// else they give is worth the most. It tries the pair in the three sizes that are worth the most. It is false where
// the pair doesn't go anywhere. As Suggest in all else.
func SuggestMirrored(ctx context.Context, a, b Task, p Pair, rng *Dice, steps int, progress func(Progress)) (Mirrored, bool, error) {
	p.Other.Shape, p.Other.Ring = p.Want.Shape, mirroredRing(p.Want.Ring)
	first, second := Want{Pattern: p.Want, Sizes: p.Sizes}, Want{Pattern: p.Other, Sizes: p.Sizes}
	if second.Pattern.LengthUm == 0 {
		second.Pattern.LengthUm, second.Pattern.WidthUm = first.Pattern.LengthUm, first.Pattern.WidthUm
	}
	alone := func(t Task, w Want) (*planner, error) {
		t.Wants = []Want{w}
		return newCutter(ctx, t)
	}
	pa, err := alone(a, first)
	if err != nil {
		return Mirrored{}, false, err
	}
	pb, err := alone(b, second)
	if err != nil {
		return Mirrored{}, false, err
	}
	var best Mirrored
	found := false
	pairs := p.places(pa, pb, rng)
	for _, pins := range pairs {
		m := Mirrored{Left: pins[0].stone, Right: pins[1].stone}
		n := steps / 2 / len(pairs)
		if m.A, err = suggest(ctx, a, rng, n, progress, &pins[0]); err == nil {
			m.B, err = suggest(ctx, b, rng, n, progress, &pins[1])
		}
		if errors.Is(err, errNothing) {
			continue // a pair that can't be cut out
		}
		if err != nil {
			return Mirrored{}, false, err
		}
		if m.Best = m.A.Best + m.B.Best; !found || m.Best > best.Best {
			best, found = m, true
		}
	}
	switch {
	case !found && ctx.Err() != nil:
		return best, false, fmt.Errorf("couldn't look for places of the pair to the end: %w", ctx.Err())
	case !found:
		return best, false, nil
	}
	a.Wants, b.Wants = append(slices.Clone(a.Wants), first), append(slices.Clone(b.Wants), second)
	for i, t := range []Task{a, b} {
		bound, err := Bound(ctx, t)
		if err != nil {
			return best, false, err
		}
		best.Bound = sum(best.Bound, bound)
		[]*Suggestion{&best.A, &best.B}[i].Bound = bound
	}
	return best, true, nil
}

// sum is a bound on both, where there is one on each.
func sum(a, b int64) int64 {
	if a > Unbounded-b {
		return Unbounded
	}
	return a + b
}

// places are where the pair goes in a few sizes, those that are worth the most first.
func (p Pair) places(pa, pb *planner, rng *Dice) (out [][2]pin) {
	const most = 3
	wa, wb := pa.wants[0], pb.wants[0]
	for _, sa := range pa.schemes[0].slabs[0].seats {
		for _, sb := range pb.schemes[0].slabs[0].seats {
			ga := &grower{planner: pa, slab: pa.schemes[0].slabs[0]}
			gb := &grower{planner: pb, slab: pb.schemes[0].slabs[0]}
			ra := ga.region(&node{ring: ga.slab.part.Face}, sa)
			rb := gb.region(&node{ring: gb.slab.part.Face}, sb)
			both := p.joined(ra, rb)
			walls := newWalls(both)
			space := space{ctx: pa.ctx}
			search := func(b *body) (at place, reach float64) {
				for range 24 {
					if q, r := walls.ascend(b, walls.random(b, rng), 40, &space); r > reach {
						at, reach = q, r
					}
				}
				return at, reach
			}
			try := func(b *body, at place, s Size) {
				left := b.stone(at)
				left.LengthUm, left.WidthUm = s.LengthUm, s.WidthUm
				right := left
				right.At = saw.Point{X: p.XUm - left.At.X, Y: left.At.Y + p.YUm}
				right.Ring, right.TurnMdeg = mirroredRing(left.Ring), 180_000-left.TurnMdeg
				for right.TurnMdeg > 360_000 {
					right.TurnMdeg -= 360_000
				}
				oa, err := outline(left)
				if err != nil || !ra.Holds(oa) {
					return
				}
				ob, err := outline(right)
				if err != nil || !rb.Holds(ob) {
					return
				}
				place := func(w *want, s saw.Stone) saw.Stone {
					q := w.Pattern
					q.Ring, q.At, q.TurnMdeg, q.LengthUm, q.WidthUm = s.Ring, s.At, s.TurnMdeg, s.LengthUm, s.WidthUm
					return q
				}
				out = append(out, [2]pin{{oa, place(wa, left), pa.worth(wa, s)}, {ob, place(wb, right), pb.worth(wb, s)}})
			}
			if len(p.Sizes) == 0 {
				at, reach := search(wa.body)
				for _, f := range []float64{1, 0.9, 0.8} {
					l := int64((2*reach*wa.body.sure() - 2*slack) / plane.Micrometre * f)
					if s := (Size{l, wa.body.form.WidthUm(l)}); s.LengthUm >= shortest && s.WidthUm >= shortest {
						try(wa.body, at, s)
					}
				}
				continue
			}
			for i, s := range wa.Sizes {
				if at, reach := search(wa.bodies[i]); reach*wa.bodies[i].sure() >= float64(s.LengthUm)*plane.Micrometre/2+slack/2 {
					try(wa.bodies[i], at, s)
				}
			}
		}
	}
	slices.SortStableFunc(out, func(a, b [2]pin) int {
		return -int(math.Copysign(1, a[0].worth+a[1].worth-b[0].worth-b[1].worth))
	})
	return out[:min(most, len(out))]
}

// joined is where an outline may lie in the first piece so that its mirror may lie in the second.
func (p Pair) joined(a, b saw.Region) saw.Region {
	r := saw.Region{Within: slices.Clone(a.Within), Avoid: slices.Clone(a.Avoid), Beside: slices.Clone(a.Beside)}
	point := func(q plane.Point) plane.Point {
		return plane.Point{X: p.XUm*plane.Micrometre - q.X, Y: q.Y - p.YUm*plane.Micrometre}
	}
	ring := func(q plane.Ring) plane.Ring {
		return q.Mirrored().Moved(plane.Micrometres(p.XUm, -p.YUm))
	}
	for _, w := range b.Within {
		w.Ring = ring(w.Ring)
		r.Within = append(r.Within, w)
	}
	for _, v := range b.Avoid {
		if v.Ring != nil {
			v.Ring = ring(v.Ring)
		}
		path := slices.Clone(v.Path)
		for i := range path {
			path[i] = point(path[i])
		}
		v.Path = path
		r.Avoid = append(r.Avoid, v)
	}
	for _, s := range b.Beside {
		// Turned over, left is right.
		s.Line = plane.Line{A: point(s.Line.B), B: point(s.Line.A)}
		r.Beside = append(r.Beside, s)
	}
	return r
}

// mirroredRing is a freeform's ring turned over its length.
func mirroredRing(r []saw.Point) []saw.Point {
	if r == nil {
		return nil
	}
	out := make([]saw.Point, len(r))
	for i, q := range r {
		out[len(r)-1-i] = saw.Point{X: q.X, Y: -q.Y}
	}
	return out
}
