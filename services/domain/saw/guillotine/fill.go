package guillotine

import (
	"context"
	"math"
)

// filler fills a room with what is left of each kind, well but not proved the best: it
// builds parts up from kinds, smallest first, and keeps the best few for each size.
type filler struct {
	*search
	*layout
	noise noise
	left  []int64 // of each limited kind
	spare []int64 // of these, what no plan uses yet
	worth []int64 // of each kind, by which options are kept
	cells [][]option
	here  []option // of the cell at hand, best first
	width int      // how many are kept for each size
	joins int      // tried so far
}

// option is one of the best for its cell.
type option struct {
	counts
	worth, value  int64
	first, second ref // of a kind: cell -1, and the variant
	side          side
}

const (
	minWidth = 4
	maxWidth = 64
	maxPairs = 4_000_000 // of cells that are joined: where there are more it would take seconds
)

// A room may cost some joins, seldom many times as many: quick tries and a few thorough ones.
const (
	leastCare = 100_000
	mostCare  = 40_000_000
)

// fill gives the sheet and what it is worth; nil where nothing fits, where the room is too
// large to be filled at once, and where the context ended.
func (f *filler) fill(ctx context.Context, l, w int64) (*sheet, int64) {
	m, n := floor(f.p, l), floor(f.q, w)
	pairs := m * n * (m + n) / 4
	if m == 0 || n == 0 || pairs > maxPairs {
		return nil, 0
	}
	f.appraise()
	care := min(leastCare/(1-f.noise.unit()), mostCare)
	f.width = int(min(max(math.Sqrt(care/float64(pairs)), minWidth), maxWidth))
	for i := range m + 1 {
		if ctx.Err() != nil {
			return nil, 0
		}
		for j := range n + 1 {
			f.settle(i, j)
		}
	}
	var best *option
	list := f.cells[m*len(f.q)+n]
	for x := range list {
		if best == nil || list[x].value > best.value {
			best = &list[x]
		}
	}
	if best == nil {
		return nil, 0
	}
	return f.sheet(best), best.value
}

// appraise says what kinds are worth this time: somewhere between value and area, the
// large more, since small ones find a place later; what is left over more; and by chance.
// Where not all kinds can be counted some go without.
func (f *filler) appraise() {
	by, large, over := f.noise.unit(), f.noise.unit()/2, f.noise.unit()/2
	much := [...]float64{0, 0.05, 0.2, 0.6}[f.noise.below(4)]
	told := make([]bool, len(f.Kinds))
	for k, kind := range f.Kinds {
		told[k] = f.limited[k] && f.left[k] > 0
		f.worth[k] = 0
		if kind.Value == 0 || f.limited[k] && !told[k] {
			continue
		}
		area := float64(kind.Length) * float64(kind.Width)
		worth := math.Pow(float64(kind.Value), 1-by) * math.Pow(area, by+large) * (1 + much*(f.noise.unit()-0.5))
		if f.spare[k] > 0 {
			worth *= 1 + over
		}
		f.worth[k] = int64(worth * 1024)
	}
	var ok bool
	for f.layout, ok = f.newLayout(told, f.left); !ok; f.layout, ok = f.newLayout(told, f.left) {
		k := f.noise.below(len(told))
		if told[k] {
			told[k], f.worth[k] = false, 0
		}
	}
}

// settle finds the options of one cell: those of the cells next below, kinds, and joins.
func (f *filler) settle(i, j int) {
	n := len(f.q)
	cell := i*n + j
	f.here = f.here[:0]
	if i > 0 && j > 0 {
		for _, smaller := range []int{cell - n, cell - 1} {
			for x := range f.cells[smaller] {
				f.keep(&f.cells[smaller][x])
			}
		}
		for at, v := range f.variants {
			if v.i == i && v.j == j && f.worth[v.kind] > 0 {
				f.keep(&option{counts: f.one[v.kind], worth: f.worth[v.kind], value: f.Kinds[v.kind].Value, first: ref{-1, int32(at)}})
			}
		}
		for a, b := 1, i; 2*f.p[a] <= f.p[i]; a++ {
			for f.p[b] > f.p[i]-f.p[a] {
				b--
			}
			f.join(a*n+j, b*n+j, across)
		}
		for c, d := 1, j; 2*f.q[c] <= f.q[j]; c++ {
			for f.q[d] > f.q[j]-f.q[c] {
				d--
			}
			f.join(i*n+c, i*n+d, along)
		}
	}
	f.cells[cell] = append(f.cells[cell][:0], f.here...)
}

// join tries each option of one cell with each of another, while they are worth enough.
func (f *filler) join(a, b int, s side) {
	first, second := f.cells[a], f.cells[b]
	for x := range first {
		one := &first[x]
		for y := range second {
			two := &second[y]
			if len(f.here) == f.width && one.worth+two.worth <= f.here[f.width-1].worth {
				if y == 0 {
					return
				}
				break
			}
			f.joins++
			if sum, ok := f.add(&one.counts, &two.counts); ok {
				f.keep(&option{sum, one.worth + two.worth, one.value + two.value, ref{int32(a), int32(x)}, ref{int32(b), int32(y)}, s})
			}
		}
	}
}

// keep puts an option in its place, unless one of the same kinds is there already.
func (f *filler) keep(o *option) {
	at := len(f.here)
	for at > 0 && f.here[at-1].worth < o.worth {
		at--
	}
	for x := at - 1; x >= 0 && f.here[x].worth == o.worth; x-- {
		if f.here[x].counts == o.counts {
			return
		}
	}
	if len(f.here) < f.width {
		f.here = append(f.here, option{})
	} else if at == f.width {
		return
	}
	copy(f.here[at+1:], f.here[at:])
	f.here[at] = *o
}

// sheet is as large as its parts.
func (f *filler) sheet(o *option) *sheet {
	if o.side == whole {
		return f.piece(int(o.first.at))
	}
	s := &sheet{side: o.side}
	for _, r := range []ref{o.first, o.second} {
		s.take(f.sheet(&f.cells[r.cell][r.at]))
	}
	for _, part := range s.parts {
		if s.side == across {
			s.l, s.w = s.l+part.l, max(s.w, part.w)
		} else {
			s.l, s.w = max(s.l, part.l), s.w+part.w
		}
	}
	return s
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

// below is from 0 to below n.
func (x *noise) below(n int) int { return int(x.next() % uint64(n)) }
