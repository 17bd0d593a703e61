package guillotine

import (
	"cmp"
	"context"
	"slices"
)

const (
	maxSearchCells = 1 << 20
	maxKept        = 8_000_000 // parts kept in a pass, 88 bytes each and 16 more to find them
)

// kept is a part that was built from kinds, pushed together, at its cell (its size).
type kept struct {
	counts  counts
	worth   int64 // as the pass's target counts it, scaled
	charged int64 // with every kind charged, scaled
	first   ref   // of a kind: cell -1, and the variant
	second  ref
	next    ref   // of the same counts, kept before
	last    int32 // of a row: where the side of its smallest, joined last, stands among the grid's points
	side    side
}

// ref is where a kept part is.
type ref struct{ cell, at int32 }

var none = ref{-1, -1}

// pass builds parts, smallest first, of which a plan worth at least target could be made.
type pass struct {
	ctx context.Context // lives as long as the pass
	*search
	*prices
	*layout
	target int64 // scaled
	reach
	given int64 // Σ λ · limit of the kinds that aren't told apart

	cells [][]kept
	done  []int // cells of which all is kept that is of use
	total int
	joins int   // tried so far
	asked int   // when the context is asked next, in joins
	index index // of all kept
	here  []kept
	at    index // of those here
	least int64 // what a part here has to be worth, charged, to be of use
}

// reach is how far a pass goes.
type reach struct {
	kept  int // parts in all
	tried int // joins of two parts
}

// outcome of a pass.
type outcome struct {
	reached bool   // the target, as the pass counts
	best    *build // the best that reached it; nil cuts nothing
	bound   int64  // scaled: nothing is worth more
	full    bool   // it went too far, and the rest says nothing
}

// pass runs one. told says which kinds' counts are told apart; target is in minor units.
// Whether it comes to its end or not, it tightens the prices' bounds, unless the context ends.
func (s *search) pass(ctx context.Context, pr *prices, told []bool, target int64, r reach) (outcome, error) {
	if err := ctx.Err(); err != nil {
		return outcome{}, err
	}
	l, ok := s.newLayout(told, s.most)
	if !ok {
		return outcome{full: true}, nil
	}
	ps := &pass{ctx: ctx, search: s, prices: pr, layout: l, target: target * pr.scale, reach: r}
	worth := make([]int64, len(s.Kinds))
	for i, k := range s.Kinds {
		worth[i] = pr.worth[i]
		if told[i] {
			worth[i] = k.Value * pr.scale
		} else {
			ps.given += pr.charge[i] * s.most[i]
		}
	}
	n := len(s.q)
	ps.cells = make([][]kept, len(pr.around))
	defer ps.tighten()
	// The plan that cuts nothing is one too: where all is charged what it is worth, what
	// was given is all there is.
	best, most := none, int64(0)
	for _, cell := range pr.order {
		if err := ctx.Err(); err != nil {
			return outcome{}, err // most cells have no joins, so they don't ask
		}
		i, j := cell/n, cell%n
		ps.here = ps.here[:0]
		ps.at.reset()
		ps.least = ps.target - pr.sum - pr.around[cell]
		for at, v := range s.variants {
			if v.i == i && v.j == j && pr.worth[v.kind] >= ps.least && (told[v.kind] || worth[v.kind] > 0) {
				ps.keep(cell, kept{counts: l.one[v.kind], worth: worth[v.kind], charged: pr.worth[v.kind], first: ref{-1, int32(at)}})
			}
		}
		if !ps.across(i, j) || !ps.along(i, j) || !ps.settle(cell) {
			return outcome{full: true}, ctx.Err()
		}
		ps.done = append(ps.done, cell)
		for at := range ps.cells[cell] {
			if w := ps.cells[cell][at].worth; w > most {
				most, best = w, ref{int32(cell), int32(at)}
			}
		}
		if len(ps.done)%256 == 0 {
			s.tell(ps.total)
		}
	}
	out := outcome{bound: ps.target - 1}
	if most+ps.given >= ps.target {
		out.reached, out.bound = true, most+ps.given
		if best != none {
			out.best = ps.build(best)
		}
	}
	return out, nil
}

// across joins parts behind one another; the shorter is named first.
func (ps *pass) across(i, j int) bool {
	n := len(ps.q)
	b := i
	for a := 1; 2*ps.p[a] <= ps.p[i]; a++ {
		for ps.p[b] > ps.p[i]-ps.p[a] {
			b--
		}
		if ps.p[b] != ps.p[i]-ps.p[a] {
			continue
		}
		for c := 1; c <= j; c++ {
			if !ps.join(a*n+c, b*n+j, i*n+j, across, a) || c < j && a != b && !ps.join(a*n+j, b*n+c, i*n+j, across, a) {
				return false
			}
		}
	}
	return true
}

// along joins parts beside one another.
func (ps *pass) along(i, j int) bool {
	n := len(ps.q)
	d := j
	for c := 1; 2*ps.q[c] <= ps.q[j]; c++ {
		for ps.q[d] > ps.q[j]-ps.q[c] {
			d--
		}
		if ps.q[d] != ps.q[j]-ps.q[c] {
			continue
		}
		for a := 1; a <= i; a++ {
			if !ps.join(a*n+c, i*n+d, i*n+j, along, c) || a < i && c != d && !ps.join(i*n+c, a*n+d, i*n+j, along, c) {
				return false
			}
		}
	}
	return true
}

// join tries each part of one cell with each of another; both are sorted, best first. The
// first is no longer than the second, the last-th of the points. A row is built in one
// order only: part by part, none longer than those before it. That loses nothing. Where a
// part of the row was left out for another of the same pieces, no larger, the row with that
// one has an order too; it takes up less, or its shortest part is shorter, or it is the
// order tried here.
func (ps *pass) join(a, b, cell int, s side, last int) bool {
	first, second := ps.cells[a], ps.cells[b]
	if len(first) == 0 || len(second) == 0 {
		return true
	}
	top := second[0].charged
	for x := range first {
		one := &first[x]
		if one.charged+top < ps.least {
			break
		}
		if one.side == s {
			continue
		}
		for y := range second {
			two := &second[y]
			if one.charged+two.charged < ps.least {
				break
			}
			if two.side == s && int(two.last) < last {
				continue
			}
			ps.joins++
			if sum, ok := ps.add(&one.counts, &two.counts); ok {
				ps.keep(cell, kept{
					counts: sum, worth: one.worth + two.worth, charged: one.charged + two.charged,
					first: ref{int32(a), int32(x)}, second: ref{int32(b), int32(y)}, last: int32(last), side: s,
				})
			}
		}
		if ps.total+len(ps.here) > ps.kept || ps.joins > ps.tried || ps.stopped() {
			return false
		}
	}
	return true
}

// stopped asks the context now and then.
func (ps *pass) stopped() bool {
	if ps.joins < ps.asked {
		return false
	}
	ps.asked = ps.joins + 1<<20
	return ps.ctx.Err() != nil
}

// keep takes a candidate, unless one of the same counts is worth as much and is no
// larger. Worth as much with the same counts means charged as much.
func (ps *pass) keep(cell int, k kept) {
	hash := k.counts.hash()
	if slot := ps.at.find(hash, func(r ref) bool { return ps.here[r.at].counts == k.counts }); slot.cell >= 0 {
		if old := &ps.here[slot.at]; old.worth < k.worth {
			k.next = old.next
			*old = k
		}
		return
	}
	k.next = ps.index.find(hash, func(r ref) bool { return ps.cells[r.cell][r.at].counts == k.counts })
	n := int32(len(ps.q))
	for r, tries := k.next, 0; r.cell >= 0 && tries < maxTries; tries++ {
		old := &ps.cells[r.cell][r.at]
		if old.worth >= k.worth && r.cell/n <= int32(cell)/n && r.cell%n <= int32(cell)%n {
			return
		}
		r = old.next
	}
	ps.at.put(hash, ref{0, int32(len(ps.here))}, nil)
	ps.here = append(ps.here, k)
}

// maxTries bounds how many kept parts a candidate is held against; missing one that
// makes it needless costs time only.
const maxTries = 40

// settle keeps what is here, best first.
func (ps *pass) settle(cell int) bool {
	if len(ps.here) == 0 {
		return true
	}
	slices.SortFunc(ps.here, func(a, b kept) int { return cmp.Or(cmp.Compare(b.charged, a.charged), cmp.Compare(b.worth, a.worth)) })
	ps.cells[cell] = slices.Clone(ps.here)
	ps.total += len(ps.here)
	for at := range ps.cells[cell] {
		k := &ps.cells[cell][at]
		ps.index.put(k.counts.hash(), ref{int32(cell), int32(at)}, func(r ref) bool { return ps.cells[r.cell][r.at].counts == k.counts })
	}
	return ps.total <= ps.kept
}

func (ps *pass) build(r ref) *build {
	k := &ps.cells[r.cell][r.at]
	if k.side == whole {
		return &build{variant: int(k.first.at)}
	}
	b := &build{side: k.side, first: ps.build(k.first), second: ps.build(k.second)}
	if n := len(ps.q); k.side == across {
		b.at = ps.p[int(k.first.cell)/n]
	} else {
		b.at = ps.q[int(k.first.cell)%n]
	}
	return b
}

// tighten takes over what the pass saw of each size: no part is worth more, charged, than
// the best that was kept, or than what would have been kept. That holds for any target,
// because a part of a dropped one is held to what can be added around both: surround
// follows inside, and around a part is never less than beside it and around the two.
// After a search that was stopped nothing more is asked of the prices.
func (ps *pass) tighten() {
	if ps.ctx.Err() != nil {
		return
	}
	n := len(ps.q)
	v := ps.inside.v
	for _, cell := range ps.done {
		own := ps.target - ps.sum - ps.around[cell] - 1
		for at := range ps.cells[cell] {
			own = max(own, ps.cells[cell][at].charged)
		}
		v[cell] = min(v[cell], max(own, v[cell-n], v[cell-1]))
	}
	_ = ps.surround(ps.ctx) // ended: so does the search
}
