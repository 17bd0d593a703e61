package guillotine

import (
	"context"
	"slices"
)

// diver makes plans that keep all limits, from the outside in: it takes the step that is
// best while as many of each kind as fit could be had, cuts one of the two parts to the end,
// and thinks anew, with what is left of each kind, about the whole of the other.
type diver struct {
	*search
	*table
	worth []int64 // by which steps are chosen
	now   []int64 // worth, or 0 where nothing is left
	left  []int64
	noise noise
}

// built is a plan without places and the size it takes, kerf added.
type built struct {
	*build
	l, w int64
}

// dive makes one plan and notes it. It gives what the plan is worth.
func (d *diver) dive() int64 {
	copy(d.left, d.table.most)
	b := d.fill(d.Length+d.Kerf, d.Width+d.Kerf)
	plan := d.lay(d.search.grid, b.build, d.stock())
	d.raise(plan)
	var value int64
	for _, piece := range plan.Pieces() {
		value += d.Kinds[piece.Kind].Value
	}
	return value
}

func (d *diver) fill(l, w int64) built {
	i, j := floor(d.table.p, l), floor(d.table.q, w)
	if i == 0 || j == 0 {
		return built{}
	}
	for k, n := range d.left {
		d.now[k] = d.worth[k]
		if n == 0 {
			d.now[k] = 0
		}
	}
	if i > d.i || j > d.j || !slices.Equal(d.now, d.table.worth) {
		_ = d.fillTo(context.Background(), slices.Clone(d.now), i, j) // no context, no error
	}
	v, at, s := d.step(i, j)
	switch s {
	case across:
		one := d.fill(at, w)
		if one.build == nil {
			return one
		}
		return one.before(d.fill(l-one.l, w))
	case along:
		one := d.fill(l, at)
		if one.build == nil {
			return one
		}
		return one.beside(d.fill(l, w-one.w))
	}
	if v < 0 {
		return built{}
	}
	d.left[d.table.variants[v].kind]--
	one := built{&build{variant: v}, d.table.variants[v].l, d.table.variants[v].w}
	// What is left around it, in the order that leaves the larger part whole.
	if (l-one.l)*w >= l*(w-one.w) {
		one = one.beside(d.fill(one.l, w-one.w))
		return one.before(d.fill(l-one.l, w))
	}
	one = one.before(d.fill(l-one.l, one.w))
	return one.beside(d.fill(l, w-one.w))
}

// step is one that gives a part's value: a variant, or a cut and where; v is below 0 where
// nothing is worth cutting. Among cuts that do as well the noise decides.
func (d *diver) step(i, j int) (v int, at int64, s side) {
	t, n := d.table, len(d.table.q)
	want := t.v[i*n+j]
	if want <= 0 {
		return -1, 0, whole
	}
	for v, k := range t.variants {
		if k.i <= i && k.j <= j && t.worth[k.kind] == want {
			return v, 0, whole
		}
	}
	seen := uint64(0)
	take := func() bool { seen++; return d.noise.next()%seen == 0 }
	for a := 1; 2*t.p[a] <= t.p[i]; a++ {
		if t.v[a*n+j]+t.v[floor(t.p, t.p[i]-t.p[a])*n+j] == want && take() {
			at, s = t.p[a], across
		}
	}
	for c := 1; 2*t.q[c] <= t.q[j]; c++ {
		if t.v[i*n+c]+t.v[i*n+floor(t.q, t.q[j]-t.q[c])] == want && take() {
			at, s = t.q[c], along
		}
	}
	return 0, at, s
}

func (b built) before(next built) built {
	if next.build == nil {
		return b
	}
	return built{&build{side: across, at: b.l, first: b.build, second: next.build}, b.l + next.l, max(b.w, next.w)}
}

func (b built) beside(next built) built {
	if next.build == nil {
		return b
	}
	return built{&build{side: along, at: b.w, first: b.build, second: next.build}, max(b.l, next.l), b.w + next.w}
}

// noise is SplitMix64 (Steele, Lea and Flood 2014): the same for the same problem always.
type noise uint64

func (x *noise) next() uint64 {
	*x += 0x9e3779b97f4a7c15
	z := uint64(*x)
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// unit is from 0 to below 1.
func (x *noise) unit() float64 { return float64(x.next()>>11) / (1 << 53) }

// diveBudget is additions over all dives of a round: some seconds where the grid is large.
const diveBudget = 8_000_000_000

// walker makes plans with the worth of kinds changed a little each time, from the best
// change so far: a walk among worths, not among plans.
type walker struct {
	diver
	scale  int64
	best   []float64 // factor of each kind's worth
	factor []float64
	found  int64 // by best
}

// newWalker begins with the charges taken off, in eighths.
func (s *search) newWalker(pr *prices) *walker {
	n := len(s.Kinds)
	w := &walker{
		diver: diver{search: s, table: newTable(s.grid), worth: make([]int64, n), now: make([]int64, n), left: make([]int64, n)},
		scale: pr.scale, best: make([]float64, n), factor: make([]float64, n), found: -1,
	}
	for eighths := range 9 {
		for i, k := range s.Kinds {
			w.factor[i] = 1
			if k.Value > 0 {
				w.factor[i] = max(0.02, 1-float64(eighths)/8*float64(pr.charge[i])/float64(k.Value*pr.scale))
			}
		}
		w.try()
	}
	return w
}

// try dives with the factors as they are.
func (w *walker) try() {
	for i, k := range w.Kinds {
		w.worth[i] = max(1, int64(float64(k.Value*w.scale)*w.factor[i]))
	}
	if value := w.dive(); value >= w.found {
		w.found = value
		copy(w.best, w.factor)
	}
}

// walk goes some steps on.
func (w *walker) walk(ctx context.Context, steps int) error {
	p, q := float64(len(w.table.p)), float64(len(w.table.q))
	for range int(min(float64(steps), max(10, diveBudget/(8*p*q*(p+q))))) {
		if err := ctx.Err(); err != nil {
			return err
		}
		if w.value == w.bound {
			return nil
		}
		copy(w.factor, w.best)
		for range 1 + w.noise.next()%3 {
			f := &w.factor[w.noise.next()%uint64(len(w.factor))]
			*f = min(max(*f*(0.6+w.noise.unit()), 0.01), 4) // sums stay within int64: see scale
		}
		w.try()
	}
	return nil
}
