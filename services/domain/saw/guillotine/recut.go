package guillotine

import (
	"context"
	"math"
)

// sheet is a part of a plan that is worked on, its sides with the kerf added.
type sheet struct {
	l, w    int64
	side    side     // how parts lie; whole: a piece
	variant int      // of a piece
	parts   []*sheet // what they leave of the sheet is waste
}

// recutter betters a plan by cutting some of it anew, again and again: it takes some parts
// that lie side by side with the waste beside them, and fills the room with what is left of
// each kind.
type recutter struct {
	filler
	stock *sheet
	value int64 // of stock
	best  *sheet
	found int64 // by best
}

func (s *search) newRecutter() *recutter {
	n := len(s.Kinds)
	r := &recutter{filler: filler{
		search: s, left: make([]int64, n), spare: make([]int64, n), worth: make([]int64, n),
		cells: make([][]option, len(s.p)*len(s.q)),
	}}
	r.best, r.found = r.read(s.plan), s.value
	if piece := r.best; piece.side == whole { // the stock itself: what is cut anew has parts
		r.best = &sheet{l: piece.l, w: piece.w, side: across, parts: []*sheet{piece}}
	}
	return r
}

const (
	warmest   = 1.0 / 80 // of the plan's value: what is lost at first, about, now and then
	stepJoins = 1_000    // what a step costs besides its joins, in joins
)

// better tries so many joins of two parts in all, half of them uphill only: whether that
// or annealing finds the best plan sooner differs from problem to problem.
func (r *recutter) better(ctx context.Context, joins int) error {
	if err := r.anneal(ctx, joins/2, 0); err != nil {
		return err
	}
	return r.anneal(ctx, joins/2, warmest)
}

// anneal goes on from the best plan, and from one a little worse too, less often the longer
// it works (simulated annealing, Kirkpatrick, Gelatt and Vecchi 1983); never at warmth 0.
func (r *recutter) anneal(ctx context.Context, joins int, warmest float64) error {
	r.stock, r.value = r.best.clone(), r.found
	for r.joins = 0; r.joins < joins && r.search.value < r.bound; r.joins += stepJoins {
		if err := ctx.Err(); err != nil {
			return err
		}
		warmth := warmest * float64(r.found) * (1 - float64(r.joins)/float64(joins))
		r.step(ctx, int64(warmth*-math.Log(1-r.noise.unit())))
	}
	return nil
}

// step cuts some anew, and keeps it unless it loses more than it may.
func (r *recutter) step(ctx context.Context, may int64) {
	copy(r.spare, r.most)
	var cut []*sheet
	r.stock.walk(func(q *sheet) {
		if q.side == whole {
			r.spare[r.variants[q.variant].kind]--
		} else {
			cut = append(cut, q)
		}
	})
	s := cut[r.noise.below(len(cut))]
	stay := r.shuffle(s.parts)
	l, w := s.l, s.w
	for _, part := range s.parts[:stay] {
		if s.side == across {
			l -= part.l
		} else {
			w -= part.w
		}
	}
	var before int64
	copy(r.left, r.spare)
	for _, part := range s.parts[stay:] {
		part.walk(func(q *sheet) {
			if q.side == whole {
				k := r.variants[q.variant].kind
				r.left[k]++
				before += r.Kinds[k].Value
			}
		})
	}
	anew, after := r.fill(ctx, l, w)
	if anew == nil || after < before-may {
		return
	}
	r.value += after - before
	s.parts = s.parts[:stay]
	if stay == 0 && anew.side != whole {
		s.side = anew.side
	}
	s.take(anew)
	s.spread()
	if r.value > r.found {
		r.found, r.best = r.value, r.stock.clone()
	}
	if r.value > r.search.value {
		r.raise(r.lay(r.grid, r.stock.build(), r.Problem.stock()))
	}
}

// shuffle puts parts in any order and says how many of them stay; the others come last.
func (r *recutter) shuffle(parts []*sheet) int {
	n := len(parts)
	for i := range parts {
		j := i + r.noise.below(n-i)
		parts[i], parts[j] = parts[j], parts[i]
	}
	if n == 0 {
		return 0
	}
	return r.noise.below(n)
}

// read makes a sheet of a plan.
func (s *search) read(p *Part) *sheet {
	if p.Kind >= 0 {
		for at, v := range s.variants {
			if v.kind == p.Kind && v.turned == p.Turned {
				return s.piece(at)
			}
		}
	}
	out := &sheet{l: p.Length + s.Kerf, w: p.Width + s.Kerf, side: across}
	if p.Cut == nil {
		return out
	}
	if p.Cut.Along {
		out.side = along
	}
	for _, part := range []*Part{p.Cut.First, p.Cut.Second} {
		if part != nil && !part.Waste() {
			out.take(s.read(part))
		}
	}
	return out
}

func (g *grid) piece(variant int) *sheet {
	v := g.variants[variant]
	return &sheet{l: v.l, w: v.w, variant: variant}
}

// take adds a part, or the parts of one that is cut the same way.
func (s *sheet) take(part *sheet) {
	if part.side == s.side {
		s.parts = append(s.parts, part.parts...)
	} else {
		s.parts = append(s.parts, part)
	}
}

// spread gives the parts the whole of the sheet's other side.
func (s *sheet) spread() {
	for _, part := range s.parts {
		if s.side == across {
			part.w = s.w
		} else {
			part.l = s.l
		}
		part.spread()
	}
}

func (s *sheet) walk(visit func(*sheet)) {
	visit(s)
	for _, part := range s.parts {
		part.walk(visit)
	}
}

func (s *sheet) clone() *sheet {
	c := *s
	c.parts = make([]*sheet, len(s.parts))
	for i, part := range s.parts {
		c.parts[i] = part.clone()
	}
	return &c
}

// build is nil where there is no piece.
func (s *sheet) build() *build {
	if s.side == whole {
		return &build{variant: s.variant}
	}
	var b *build
	for _, part := range s.parts {
		at := part.l
		if s.side == along {
			at = part.w
		}
		if one := part.build(); one != nil {
			b = &build{side: s.side, at: at, first: one, second: b}
		}
	}
	return b
}
