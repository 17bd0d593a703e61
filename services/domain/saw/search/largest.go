package search

import (
	"container/heap"
	"context"
	"math"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// Effort is how long to look for the largest stone. Zero values are sensible.
type Effort struct {
	Starts int // of the local search; 0: 24
	Cells  int // looked into for the bound; 0: 400 000
	GapBp  int // of the length, at which to stop; 0: 30
}

// Found is the largest stone of a form that was found in a region, and what is proved of all others.
type Found struct {
	// LengthUm and WidthUm are 0 where none was found that is as long as a stone may be short.
	LengthUm, WidthUm int64
	At                saw.Point // of the stone, in its view
	TurnMdeg          int64
	Outline           plane.Ring // in the face view; the region holds it
	// BoundUm: no stone of the form that is longer lies in the region, at any place and turn.
	BoundUm int64
	Cells   int // looked into
}

// shortest is the least length and width of a stone, in micrometres.
const shortest = 100

// Largest finds the largest stone of a form that a region holds, at any place and turn, whose face looks to the
// view. What it answers was tried by the region itself, with the outline that the evaluation of a plan takes.
//
// First a local search from many places, then branch and bound over boxes of place and turn. In a box of
// half-diagonal δ and half-turn α about a middle where the form may be λ large, it can't be larger than λ·μ(α) +
// δ/r anywhere, r being its smallest radius and μ how much it has to grow to hold itself turned. So BoundUm is
// proved for real numbers; two micrometres are added for rounding. It depends on nothing but its arguments unless
// the context ends it, which is no error: Found is then what there is so far. The error is a *saw.Invalid.
func Largest(ctx context.Context, region saw.Region, f Form, view saw.View, rng *Dice, e Effort) (Found, error) {
	b, err := newBody(f, view)
	if err != nil {
		return Found{}, err
	}
	if len(region.Within) == 0 {
		return Found{}, &saw.Invalid{Path: "region.within", Value: "0", Rule: "a region has a ring that holds the outline"}
	}
	if e.Starts == 0 {
		e.Starts = 24
	}
	if e.Cells == 0 {
		e.Cells = 400_000
	}
	if e.GapBp == 0 {
		e.GapBp = 30
	}
	w := newWalls(region)
	l := &larger{b: b, w: w, region: region, space: space{ctx: ctx}}
	for range e.Starts {
		if ctx.Err() != nil {
			break
		}
		l.try(w.ascend(b, w.random(b, rng), 60, &l.space))
	}
	bound, cells := l.prove(ctx, e)
	l.found.BoundUm = max(l.found.LengthUm, int64(math.Ceil(2*bound/plane.Micrometre))+2)
	l.found.Cells = cells
	return l.found, nil
}

type larger struct {
	b      *body
	w      *walls
	region saw.Region
	best   float64 // half-length of what was found, in nanometres
	seen   float64 // the greatest reach that was tried
	found  Found
	space  space
	// unsettled: only the bound is wanted, and best is a reach.
	unsettled bool
}

// try takes a place up if a larger stone than before lies there, exactly.
func (l *larger) try(p place, reach float64) {
	if reach <= l.seen*(1+1e-5) {
		return
	}
	l.seen = reach
	if s, ring, ok := l.b.settle(l.region, p, reach, l.found.LengthUm); ok {
		l.found = Found{LengthUm: s.LengthUm, WidthUm: s.WidthUm, At: s.At, TurnMdeg: s.TurnMdeg, Outline: ring}
		l.best = float64(s.LengthUm) * plane.Micrometre / 2
	}
}

// note takes a reach up as it is.
func (l *larger) note(_ place, reach float64) {
	l.best, l.seen = max(l.best, reach), max(l.seen, reach)
}

// settle is the longest stone, in whole micrometres and thousandths of a degree, that the region holds there, if
// it is longer than one that is known.
func (b *body) settle(r saw.Region, p place, reach float64, known int64) (saw.Stone, plane.Ring, bool) {
	s := b.stone(p)
	fits := func(length int64) (plane.Ring, bool) {
		s.LengthUm, s.WidthUm = length, b.form.WidthUm(length)
		ring, err := outline(s)
		return ring, err == nil && r.Holds(ring)
	}
	low, high := max(known, shortest-1), int64(2*reach/plane.Micrometre)+1 // low is known, high may be too long
	high = min(high, saw.MaxLengthUm/2)
	if b.form.Width > b.form.Length {
		high = min(high, saw.MaxLengthUm/2*b.form.Length/b.form.Width)
	}
	if b.form.WidthUm(low+1) < shortest {
		low = (shortest-1)*b.form.Length/b.form.Width + 1
	}
	var best plane.Ring
	length := int64(0)
	// Rounding and margins take little off, so look close below what was promised first.
	for step := int64(2); low < high; {
		mid := max(low+1, high-step)
		if ring, ok := fits(mid); ok {
			best, length, low, step = ring, mid, mid, (high-mid)/2
		} else {
			high, step = mid-1, step*4
		}
	}
	if best == nil {
		return s, nil, false
	}
	s.LengthUm, s.WidthUm = length, b.form.WidthUm(length)
	return s, best, true
}

// stone is the form's pattern at a place.
func (b *body) stone(p place) saw.Stone {
	s := saw.Stone{Shape: b.form.Shape, Ring: b.form.Ring, View: b.view}
	s.At = saw.Point{X: int64(math.Round(p.at.x / plane.Micrometre)), Y: int64(math.Round(p.at.y / plane.Micrometre))}
	turn := p.turn
	if b.period > 0 {
		turn = math.Mod(turn, b.period)
	} else {
		turn = 0
	}
	s.TurnMdeg = int64(math.Round(turn * 180_000 / math.Pi))
	if b.view == saw.Back {
		s.At.X, s.TurnMdeg = -s.At.X, -s.TurnMdeg
	}
	return s
}

// random is a place where the middle may lie, if some tries find one.
func (w *walls) random(b *body, rng *Dice) place {
	p := place{turn: rng.Float64() * b.period}
	for range 50 {
		p.at = vec{w.box[0].x + rng.Float64()*(w.box[1].x-w.box[0].x), w.box[0].y + rng.Float64()*(w.box[1].y-w.box[0].y)}
		if w.admit(p.at) {
			break
		}
	}
	return p
}

// cell is a box of places and turns.
type cell struct {
	middle     place
	hx, hy, ht float64 // halves of its sides
	most       float64 // proved reach
}

type cells []cell

func (c cells) Len() int           { return len(c) }
func (c cells) Less(i, j int) bool { return c[i].most > c[j].most }
func (c cells) Swap(i, j int)      { c[i], c[j] = c[j], c[i] }
func (c *cells) Push(x any)        { *c = append(*c, x.(cell)) }
func (c *cells) Pop() any {
	old := *c
	last := old[len(old)-1]
	*c = old[:len(old)-1]
	return last
}

// prove is a half-length that nothing passes, and how many cells were looked into. Better places that it comes upon are
// taken.
func (l *larger) prove(ctx context.Context, e Effort) (float64, int) {
	b, w := l.b, l.w
	size := w.box[1].minus(w.box[0])
	if size.x <= 0 || size.y <= 0 {
		return 0, 0
	}
	weigh := func(c cell) cell {
		reach := w.reach(b, c.middle)
		shift := math.Hypot(c.hx, c.hy) / b.ball
		c.most = reach + shift
		if reach > 0 {
			c.most = reach*b.stretch(c.ht) + shift
		}
		switch {
		case reach <= l.seen:
		case l.unsettled:
			l.note(w.ascend(b, c.middle, 40, &l.space))
		default:
			l.try(w.ascend(b, c.middle, 60, &l.space))
		}
		return c
	}
	turns := 1
	if b.period > 0 {
		turns = 8
	}
	var open cells
	for i := range turns {
		ht := b.period / float64(turns) / 2
		open = append(open, weigh(cell{
			middle: place{vec{w.box[0].x + size.x/2, w.box[0].y + size.y/2}, ht * float64(2*i+1)},
			hx:     size.x / 2, hy: size.y / 2, ht: ht,
		}))
	}
	heap.Init(&open)
	n := len(open)
	for open[0].most > l.best*(1+float64(e.GapBp)/10_000)+plane.Micrometre && n < e.Cells && ctx.Err() == nil {
		c := heap.Pop(&open).(cell)
		// Halve what counts most for the bound.
		parts := [2]cell{c, c}
		turn := 0.0
		if c.ht > 0 {
			turn = (b.stretch(c.ht) - 1) * max(c.most, 0)
		}
		switch {
		case turn > math.Hypot(c.hx, c.hy)/b.ball:
			parts[0].ht, parts[1].ht = c.ht/2, c.ht/2
			parts[0].middle.turn -= c.ht / 2
			parts[1].middle.turn += c.ht / 2
		case c.hx > c.hy:
			parts[0].hx, parts[1].hx = c.hx/2, c.hx/2
			parts[0].middle.at.x -= c.hx / 2
			parts[1].middle.at.x += c.hx / 2
		default:
			parts[0].hy, parts[1].hy = c.hy/2, c.hy/2
			parts[0].middle.at.y -= c.hy / 2
			parts[1].middle.at.y += c.hy / 2
		}
		for _, p := range parts {
			n++
			if p = weigh(p); p.most > l.best {
				p.most = min(p.most, c.most)
				heap.Push(&open, p)
			}
		}
		if len(open) == 0 {
			return l.best, n
		}
	}
	return max(open[0].most, l.best), n
}
