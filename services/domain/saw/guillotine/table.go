package guillotine

import "context"

// table holds for each part with sides at the grid's points what the most valuable
// unlimited plan of it is worth. v[i*len(q)+j] is of p[i] × q[j].
type table struct {
	*grid
	worth []int64 // of each kind; below 1 it isn't cut
	v     []int64
	i, j  int // v is computed up to these
}

func newTable(g *grid) *table { return &table{grid: g, v: make([]int64, len(g.p)*len(g.q))} }

// fill computes v. It stops with the context's error.
func (t *table) fill(ctx context.Context, worth []int64) error {
	return t.fillTo(ctx, worth, len(t.p)-1, len(t.q)-1)
}

// fillTo computes v of parts up to p[most] × q[wide] only.
func (t *table) fillTo(ctx context.Context, worth []int64, most, wide int) error {
	t.worth, t.i, t.j = worth, most, wide
	n := len(t.q)
	clear(t.v[:n])
	for i := 1; i <= most; i++ {
		if err := ctx.Err(); err != nil {
			return err
		}
		row := t.v[i*n : i*n+wide+1]
		copy(row, t.v[(i-1)*n:i*n])
		for _, v := range t.variants {
			if v.i == i && v.j <= wide {
				row[v.j] = max(row[v.j], worth[v.kind])
			}
		}
		b := i
		for a := 1; 2*t.p[a] <= t.p[i]; a++ {
			for t.p[b] > t.p[i]-t.p[a] {
				b--
			}
			first, second := t.v[a*n:a*n+wide+1], t.v[b*n:b*n+wide+1]
			for j, x := range first {
				if sum := x + second[j]; sum > row[j] {
					row[j] = sum
				}
			}
		}
		for j := 1; j <= wide; j++ {
			best, whole := max(row[j], row[j-1]), t.q[j]
			d := j
			for c := 1; 2*t.q[c] <= whole; c++ {
				for t.q[d] > whole-t.q[c] {
					d--
				}
				if sum := row[c] + row[d]; sum > best {
					best = sum
				}
			}
			row[j] = best
		}
	}
	return nil
}

// total is what the whole stock is worth.
func (t *table) total() int64 { return t.v[len(t.v)-1] }

// build is the plan behind v[i,j]. It looks for a step that gives the value, rather than
// keep one for each part.
func (t *table) build(i, j int) *build {
	n := len(t.q)
	want := t.v[i*n+j]
	if want <= 0 {
		return nil
	}
	for at, v := range t.variants {
		if v.i <= i && v.j <= j && t.worth[v.kind] == want {
			return &build{variant: at}
		}
	}
	for a := 1; 2*t.p[a] <= t.p[i]; a++ {
		b := floor(t.p, t.p[i]-t.p[a])
		if t.v[a*n+j]+t.v[b*n+j] == want {
			return &build{side: across, at: t.p[a], first: t.build(a, j), second: t.build(b, j)}
		}
	}
	for c := 1; ; c++ { // v has no other source
		d := floor(t.q, t.q[j]-t.q[c])
		if t.v[i*n+c]+t.v[i*n+d] == want {
			return &build{side: along, at: t.q[c], first: t.build(i, c), second: t.build(i, d)}
		}
	}
}

// build is a plan without places: a kind, or two builds side by side. Nil is nothing.
type build struct {
	side          side
	variant       int   // where there is no side
	at            int64 // of the first, kerf added
	first, second *build
}

// count adds up how many of each kind there are.
func (b *build) count(g *grid, into []int64) {
	switch {
	case b == nil:
	case b.side == whole:
		into[g.variants[b.variant].kind]++
	default:
		b.first.count(g, into)
		b.second.count(g, into)
	}
}
