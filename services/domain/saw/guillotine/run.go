package guillotine

import (
	"context"
	"errors"
	"math"
	"slices"
)

// rounds are how far each way is gone, one round after the other: cutting anew looks for
// good plans, in so many joins; passes, which keep so many parts of so many joins, prove
// the bound.
var rounds = []struct {
	joins int
	pass  reach
}{
	{2_000_000, reach{20_000, 4_000_000}},
	{10_000_000, reach{100_000, 20_000_000}},
	{50_000_000, reach{400_000, 100_000_000}},
	{200_000_000, reach{1_600_000, 500_000_000}},
	{400_000_000, reach{maxKept, 4_000_000_000}},
	{2_000_000_000, reach{maxKept, math.MaxInt}},
}

var errFull = errors.New("too many parts")

// run searches until the plan is proved the best, the context ends, or memory does.
func (s *search) run(ctx context.Context) End {
	if ctx.Err() != nil {
		return Stopped
	}
	pr := s.charges(ctx)
	if pr == nil {
		return Stopped
	}
	told := slices.Clone(s.limited)
	if _, ok := s.newLayout(told, s.most); !ok {
		clear(told)
	}
	recutter := s.newRecutter()
	for _, r := range rounds {
		if err := recutter.better(ctx, r.joins); err != nil {
			return Stopped
		}
		err := s.prove(ctx, pr, told, r.pass)
		switch {
		case err == nil:
			return Proved
		case !errors.Is(err, errFull):
			return Stopped
		}
	}
	return Full
}

// prove lowers the bound until it meets the plan or a pass is full. The target begins
// close below the bound, where few parts can reach it, and sinks in growing steps while
// nothing does: each pass tightens the prices for the next.
func (s *search) prove(ctx context.Context, pr *prices, told []bool, r reach) error {
	drop := max(1, (s.bound-s.value)/16)
	for s.value < s.bound {
		target := max(s.value+1, s.bound+1-drop)
		out, err := s.pass(ctx, pr, told, target, r)
		switch {
		case err != nil:
			return err
		case out.full && target < s.bound:
			drop = max(1, (s.bound+1-target)/4)
			continue
		case out.full:
			return errFull
		}
		if out.reached {
			s.repair(ctx, out.best)
		}
		s.lower(out.bound / pr.scale)
		if out.reached {
			s.tellMore(told, pr, out.best)
		} else {
			drop *= 2
		}
	}
	return nil
}

// tellMore tells the kinds apart that the plan uses too often or pays for in vain. Where
// there are none it keeps all limits and is worth what the pass said.
func (s *search) tellMore(told []bool, pr *prices, b *build) {
	used := make([]int64, len(s.Kinds))
	b.count(s.grid, used)
	over := false
	for i := range used {
		if s.limited[i] && !told[i] && used[i] > s.most[i] {
			told[i], over = true, true
		}
	}
	for i := range used {
		if !over && s.limited[i] && !told[i] && used[i] < s.most[i] && pr.charge[i] > 0 {
			told[i] = true
		}
	}
}
