package guillotine

import (
	"context"
	"errors"
)

// rounds are how far each way is gone, one round after the other: dives, and narrow passes,
// in which all limits are kept, look for good plans; full passes prove the bound.
var rounds = []struct {
	dives, width int
	kept, tried  int
}{
	{100, 8, 100_000, 20_000_000},
	{1_000, 32, 300_000, 200_000_000},
	{5_000, 64, 1_000_000, 1_000_000_000},
	{10_000, 128, 4_000_000, 4_000_000_000},
	{10_000, 512, maxKept, 1 << 40},
}

var errFull = errors.New("too many parts")

// run searches until the plan is proved the best, the context ends, or memory does.
func (s *search) run(ctx context.Context) End {
	pr := s.charges(ctx)
	if pr == nil {
		return Stopped
	}
	told := make([]bool, len(s.Kinds))
	walker := s.newWalker(pr)
	for _, r := range rounds {
		if err := walker.walk(ctx, r.dives); err != nil {
			return Stopped
		}
		if err := s.look(ctx, pr, r.width); err != nil {
			return Stopped
		}
		err := s.prove(ctx, pr, told, reach{kept: r.kept, tried: r.tried})
		switch {
		case err == nil:
			return Proved
		case !errors.Is(err, errFull):
			return Stopped
		}
	}
	return Full
}

// look goes narrow passes for plans that are better, at the prices and below them.
func (s *search) look(ctx context.Context, pr *prices, width int) error {
	for salt, eighths := range []int64{8, 4, 0, 6, 2} {
		if s.value == s.bound {
			return nil
		}
		some, err := s.part(ctx, pr, eighths)
		if err != nil {
			return err
		}
		out, err := s.pass(ctx, some, s.limited, s.value+1, reach{width, maxKept, 1 << 40, uint64(salt) * 0x9e3779b97f4a7c15})
		if err != nil {
			return err
		}
		s.found(ctx, some, out)
	}
	return nil
}

// prove lowers the bound until it meets the plan or a pass is full. The target begins
// close below the bound, where few parts can reach it, and sinks in growing steps while
// nothing does.
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
		s.found(ctx, pr, out)
		if !out.reached {
			drop *= 2
			continue
		}
		s.tellMore(told, pr, out.best)
	}
	return nil
}

// found takes over what a pass proved and built.
func (s *search) found(ctx context.Context, pr *prices, out outcome) {
	if out.reached {
		s.repair(ctx, out.best)
	}
	if !out.full {
		s.lower(out.bound / pr.scale)
	}
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
