package guillotine

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math/bits"
	"slices"

	"seamshare.example/services/domain/money"
	"seamshare.example/services/domain/rule"
)

// End says why a search ended.
type End int

// The ends.
const (
	Proved  End = iota + 1 // no plan is worth more
	Stopped                // by the caller's context
	Full                   // more parts would have to be kept than memory is given for
)

func (e End) String() string {
	switch e {
	case Proved:
		return "no plan is worth more"
	case Stopped:
		return "stopped before the proof"
	case Full:
		return "too many parts to compare"
	}
	return fmt.Sprintf("End(%d)", int(e))
}

// Result is the best plan found. Bound is proved: no plan is worth more. Value is Bound
// where it ended Proved.
type Result struct {
	Plan         *Part
	Value, Bound int64 // minor units
	End          End
}

// Gap is by how much a better plan could still be worth more, minor units.
func (r Result) Gap() int64 { return r.Bound - r.Value }

// Progress is told while a search runs, whenever the plan or the bound is better.
type Progress struct {
	Value, Bound int64 // minor units
	Kept         int   // parts kept for comparison so far in this pass
}

// Solve finds the most valuable plan. Where the context ends it, that is no error: the
// result is the best plan so far, and Bound and Gap say how good it is. Progress may be
// nil; it is called from the caller's goroutine. The answer depends on nothing but the
// problem, unless it is stopped. Memory stays below 2 GiB.
func Solve(ctx context.Context, p Problem, progress func(Progress)) (Result, error) {
	if err := p.Validate(); err != nil {
		return Result{}, err
	}
	g, err := p.newGrid(false)
	if err != nil {
		return Result{}, err
	}
	s := &search{Problem: p, grid: g, progress: progress, bound: p.areaBound(g)}
	s.plan = p.lay(g, nil, p.stock())
	free := newTable(g)
	switch err := free.fill(ctx, p.values()); {
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return s.result(Stopped), nil
	case err != nil:
		return Result{}, err
	}
	s.lower(min(free.total(), p.wanted(g)))
	if slices.Contains(g.limited, true) {
		s.greedy(ctx)
	}
	if s.value < s.bound {
		s.repair(ctx, free.build(len(g.p)-1, len(g.q)-1))
	}
	if s.value == s.bound {
		return s.result(Proved), nil
	}
	if s.grid, err = p.newGrid(true); err != nil {
		return Result{}, err
	}
	if cells := len(s.p) * len(s.q); cells > maxSearchCells {
		return Result{}, rule.Broken{
			Reason: rule.SizeInvalid, Field: "length", Value: fmt.Sprint(p.Length),
			Rule: fmt.Sprintf("cuts can be at %d by %d places, more than the %d that are searched where kinds are limited", len(s.p), len(s.q), maxSearchCells),
			Hint: "take a coarser unit (round pieces up, stock down), or fewer kinds",
		}
	}
	return s.result(s.run(ctx)), nil
}

func (p Problem) stock() *Part { return &Part{Length: p.Length, Width: p.Width, Kind: -1} }

func (p Problem) values() []int64 {
	values := make([]int64, len(p.Kinds))
	for i, k := range p.Kinds {
		values[i] = k.Value
	}
	return values
}

// wanted is what all that is wanted is worth, as many as fit of each kind, up to
// money.Max.
func (p Problem) wanted(g *grid) int64 {
	var sum int64
	for i, k := range p.Kinds {
		hi, worth := bits.Mul64(uint64(k.Value), uint64(g.most[i]))
		if hi > 0 || worth > money.Max {
			return money.Max
		}
		sum = min(sum+int64(worth), money.Max)
	}
	return sum
}

// areaBound is the stock's area at the best value for area of any kind that fits,
// rounded up. Validate keeps it within money.Max.
func (p Problem) areaBound(g *grid) int64 {
	var most int64
	for _, v := range g.variants {
		hi, lo := bits.Mul64(uint64(p.Length+p.Kerf)*uint64(p.Width+p.Kerf), uint64(p.Kinds[v.kind].Value))
		n, rest := bits.Div64(hi, lo, uint64(v.l)*uint64(v.w))
		if rest > 0 {
			n++
		}
		most = max(most, int64(n))
	}
	return most
}

// search is one search among limited kinds.
type search struct {
	Problem
	*grid
	progress func(Progress)
	value    int64 // of plan
	plan     *Part
	bound    int64
}

func (s *search) result(end End) Result {
	if s.value == s.bound {
		end = Proved
	}
	return Result{Plan: s.plan, Value: s.value, Bound: s.bound, End: end}
}

func (s *search) tell(kept int) {
	if s.progress != nil {
		s.progress(Progress{s.value, s.bound, kept})
	}
}

// lower notes a bound.
func (s *search) lower(bound int64) {
	if bound = max(bound, s.value); bound < s.bound {
		s.bound = bound
		s.tell(0)
	}
}

// raise notes a plan that keeps all limits.
func (s *search) raise(plan *Part) {
	var value int64
	for _, piece := range plan.Pieces() {
		value += s.Kinds[piece.Kind].Value
	}
	if value > s.value {
		s.value, s.plan = value, plan
		s.tell(0)
	}
}

// repair makes a plan that keeps all limits of one that may not: pieces too many
// become waste, and waste is filled with what may still be cut. Small things first go out,
// since order in the plan says nothing of worth.
func (s *search) repair(ctx context.Context, b *build) {
	plan := s.lay(s.grid, b, s.stock())
	left := slices.Clone(s.most)
	drop := func(part *Part) {
		pieces := part.Pieces()
		for _, piece := range pieces {
			if left[piece.Kind]--; left[piece.Kind] < 0 {
				left[piece.Kind]++
				piece.Kind, piece.Turned = -1, false
			}
		}
	}
	drop(plan)
	var waste []*Part
	plan.walk(func(q *Part) {
		if q.Waste() {
			waste = append(waste, q)
		}
	})
	slices.SortStableFunc(waste, func(a, b *Part) int { return cmp.Compare(b.Length*b.Width, a.Length*a.Width) })
	var t *table
	worth := make([]int64, len(s.Kinds))
	for len(waste) > 0 && ctx.Err() == nil {
		part := waste[0]
		waste = waste[1:]
		for i, k := range s.Kinds {
			worth[i] = 0
			if left[i] > 0 {
				worth[i] = k.Value
			}
		}
		if t == nil {
			t = newTable(s.grid)
			t.worth = make([]int64, len(worth))
		}
		if !slices.Equal(t.worth, worth) {
			if t.fill(ctx, slices.Clone(worth)) != nil {
				break // the rest stays waste
			}
		}
		more := t.build(floor(t.p, part.Length+s.Kerf), floor(t.q, part.Width+s.Kerf))
		if more == nil {
			continue
		}
		s.lay(s.grid, more, part)
		drop(part)
		var again []*Part
		part.walk(func(q *Part) {
			if q.Waste() {
				again = append(again, q)
			}
		})
		waste = append(again, waste...)
	}
	s.raise(plan)
}
