package guillotine

import (
	"cmp"
	"context"
	"math"
	"slices"
)

const (
	greedyPlans  = 500
	greedyLooks  = 20_000_000 // of a kind at a piece of waste, in all: where many are wanted, some plans less
	greedyPieces = 10_000     // where more are wanted than this it would be few
)

// greedy looks for a plan to begin with, and finds one where all that is wanted fits with
// room to spare. It puts one kind after the other, in an order by chance with the large
// and the dear ahead, each piece into the waste that it fits the closest, again and again.
func (s *search) greedy(ctx context.Context) {
	var wanted int64
	for _, most := range s.most {
		wanted += most
	}
	if wanted > greedyPieces {
		return
	}
	var noise noise
	key := make([]float64, len(s.Kinds))
	order := make([]int, len(s.Kinds))
	for i := range order {
		order[i] = i
	}
	for plans, looks := 0, 0; plans < greedyPlans && looks < greedyLooks && s.value < s.bound && ctx.Err() == nil; plans++ {
		dear, large, long, much := noise.unit(), noise.unit(), noise.unit(), noise.unit()
		for i, k := range s.Kinds {
			l, w := float64(k.Length+s.Kerf), float64(k.Width+s.Kerf)
			key[i] = math.Pow(float64(k.Value)/(l*w), 4*dear) * math.Pow(l*w, large) * math.Pow(max(l, w), 2*long) * (1 + much*noise.unit())
		}
		slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(key[b], key[a]) })
		plan := s.stock()
		waste := []*Part{plan}
		for _, k := range order {
			for range s.most[k] {
				looks += len(waste)
				at, b := s.closest(waste, k)
				if b == nil {
					break
				}
				part := waste[at]
				waste = slices.Delete(waste, at, at+1)
				s.lay(s.grid, b, part).walk(func(q *Part) {
					if q.Waste() {
						waste = append(waste, q)
					}
				})
			}
		}
		s.raise(plan)
	}
}

// closest is the waste where the least is left beside a piece of the kind on the shorter of
// its two sides, and how to cut the piece out so that the longer is left whole.
func (s *search) closest(waste []*Part, kind int) (at int, b *build) {
	least := int64(math.MaxInt64)
	for i, v := range s.variants {
		if v.kind != kind {
			continue
		}
		for x, part := range waste {
			l, w := part.Length+s.Kerf-v.l, part.Width+s.Kerf-v.w
			if l < 0 || w < 0 || min(l, w) >= least {
				continue
			}
			least, at, b = min(l, w), x, &build{variant: i}
			if w > l {
				b = &build{side: along, at: v.w, first: b}
			}
		}
	}
	return at, b
}
