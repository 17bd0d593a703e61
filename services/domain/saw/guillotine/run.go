package guillotine

import "context"

// firstWidth is how many parts of a size are kept in the first look for a good plan.
const firstWidth = 8

// run searches until the plan is proved the best, the context ends, or memory does.
func (s *search) run(ctx context.Context) End {
	pr := s.charges(ctx)
	if pr == nil {
		return Stopped
	}
	if s.value == s.bound {
		return Proved
	}
	// A look with few parts of a size, all limits kept: a good plan makes the rest short.
	for width := firstWidth; width <= 4*firstWidth && s.value < s.bound; width *= 4 {
		out, err := s.pass(ctx, pr, s.limited, s.value+1, width)
		if err != nil {
			return Stopped
		}
		if out.full {
			break
		}
		s.found(pr, out)
	}
	// The proof. The target begins close below the bound, where few parts can reach it, and
	// sinks in growing steps while nothing does.
	told := make([]bool, len(s.Kinds))
	drop := max(1, (s.bound-s.value)/16)
	for s.value < s.bound {
		target := max(s.value+1, s.bound+1-drop)
		out, err := s.pass(ctx, pr, told, target, 0)
		switch {
		case err != nil:
			return Stopped
		case out.full && target < s.bound:
			if drop = (s.bound + 1 - target) / 4; drop < 1 {
				drop = 1
			}
			continue
		case out.full:
			return Full
		}
		s.found(pr, out)
		if out.best == nil {
			drop *= 2
			continue
		}
		s.tellMore(told, pr, out.best)
	}
	return Proved
}

// found takes over what a pass proved and built.
func (s *search) found(pr *prices, out outcome) {
	if out.best != nil {
		s.repair(out.best)
	}
	s.lower(out.bound / pr.scale)
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
