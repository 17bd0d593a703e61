package guillotine

import (
	"cmp"
	"context"
	"math"
	"math/bits"
	"slices"
)

// prices are what each limited kind is charged so that unlimited plans keep the limits
// by themselves as well as they can. All amounts are minor units times scale.
type prices struct {
	scale  int64
	charge []int64 // λ of each kind
	worth  []int64 // value - λ
	sum    int64   // Σ λ · limit
	inside *table  // most that a part is worth, charged; passes tighten it
	around []int64 // most that can be added around a part, charged; laid out as inside.v
	order  []int   // the cells with a size, the smaller first
}

const (
	maxSteps   = 500
	stepBudget = 4_000_000_000 // additions, over all steps: some seconds
)

// charges finds good prices by subgradient steps. A repaired plan of each step that
// bettered the bound is a candidate. It stops early, with what it has, with the context.
func (s *search) charges(ctx context.Context) *prices {
	pr := &prices{scale: 1, charge: make([]int64, len(s.Kinds)), worth: make([]int64, len(s.Kinds)), inside: newTable(s.grid)}
	most := float64(s.bound)
	for i, k := range s.Kinds {
		if s.limited[i] {
			most += float64(k.Value) * float64(s.most[i])
		}
	}
	for pr.scale < 1<<10 && most*float64(pr.scale)*2 < 1<<60 {
		pr.scale *= 2
	}
	s.begin(pr)
	best := slices.Clone(pr.charge)
	lowest := int64(math.MaxInt64)
	factor, idle := 1.0, 0
	work := float64(len(s.p)*len(s.q)) * float64(len(s.p)+len(s.q)) / 4
	steps := int(min(maxSteps, max(20, stepBudget/work)))
	used := make([]int64, len(s.Kinds))
	for range steps {
		if s.price(ctx, pr) != nil {
			break
		}
		b := pr.inside.build(len(s.p)-1, len(s.q)-1)
		clear(used)
		b.count(s.grid, used)
		now := pr.inside.total() + pr.sum
		if now < lowest {
			if lowest/pr.scale != now/pr.scale {
				s.repair(ctx, b)
			}
			lowest, idle = now, 0
			copy(best, pr.charge)
			s.lower(now / pr.scale)
		} else if idle++; idle == 12 {
			factor, idle = factor/2, 0
			s.repair(ctx, b)
		}
		if s.value == s.bound || factor < 1e-4 {
			break
		}
		var norm float64
		for i := range used {
			if over := used[i] - s.most[i]; s.limited[i] && (over > 0 || pr.charge[i] > 0) {
				norm += float64(over * over)
			}
		}
		if norm == 0 {
			break // it keeps all limits and wastes no price: repair has found it
		}
		step := factor * (float64(now) - float64(s.value*pr.scale)) / norm
		for i, k := range s.Kinds {
			if s.limited[i] {
				c := float64(pr.charge[i]) + step*float64(used[i]-s.most[i])
				pr.charge[i] = int64(min(max(c, 0), float64(k.Value*pr.scale)))
			}
		}
	}
	copy(pr.charge, best)
	if s.price(ctx, pr) != nil {
		return nil
	}
	s.repair(ctx, pr.inside.build(len(s.p)-1, len(s.q)-1))
	if pr.surround(ctx) != nil {
		return nil
	}
	pr.order = s.byArea()
	return pr
}

// begin charges what a kind is worth above the value for area at which the limits just
// fill the stock: with such prices the bound is that of the stock's area at most.
func (s *search) begin(pr *prices) {
	density := func(i int) float64 {
		k := s.Kinds[i]
		return float64(k.Value) / (float64(k.Length+s.Kerf) * float64(k.Width+s.Kerf))
	}
	order := make([]int, len(s.Kinds))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(density(b), density(a)) })
	left := float64(s.Length+s.Kerf) * float64(s.Width+s.Kerf)
	last := 0.0
	for _, i := range order {
		k := s.Kinds[i]
		area := float64(k.Length+s.Kerf) * float64(k.Width+s.Kerf)
		if left -= area * float64(s.most[i]); left < 0 {
			last = density(i)
			break
		}
	}
	for i, k := range s.Kinds {
		if d := density(i); s.limited[i] && d > last {
			pr.charge[i] = min(k.Value*pr.scale, int64(float64(k.Value*pr.scale)*(1-last/d)))
		}
	}
}

// price computes worth, sum and inside from the charges.
func (s *search) price(ctx context.Context, pr *prices) error {
	pr.sum = 0
	for i, k := range s.Kinds {
		pr.worth[i] = k.Value*pr.scale - pr.charge[i]
		pr.sum += pr.charge[i] * s.most[i]
	}
	return pr.inside.fill(ctx, pr.worth)
}

// surround computes around, from inside and from the whole stock inwards: a part is joined
// with another along one of its sides, and what is around both follows. Where the context
// ends it stays as it was.
func (pr *prices) surround(ctx context.Context) error {
	t := pr.inside
	m, n := len(t.p), len(t.q)
	if err := ctx.Err(); err != nil {
		return err
	}
	around := make([]int64, m*n)
	for i := m - 1; i >= 0; i-- {
		if err := ctx.Err(); err != nil {
			return err
		}
		row := around[i*n : (i+1)*n]
		if i+1 < m {
			copy(row, around[(i+1)*n:])
		}
		for a, sum := 1, i; a < m && t.p[i]+t.p[a] <= t.p[m-1]; a++ {
			for t.p[sum] < t.p[i]+t.p[a] {
				sum++
			}
			if t.p[sum] != t.p[i]+t.p[a] {
				continue
			}
			beside, beyond := t.v[a*n:(a+1)*n], around[sum*n:(sum+1)*n]
			for j, x := range beside {
				if x += beyond[j]; x > row[j] {
					row[j] = x
				}
			}
		}
		inside := t.v[i*n : (i+1)*n]
		for j := n - 1; j >= 0; j-- {
			best := row[j]
			if j+1 < n {
				best = max(best, row[j+1])
			}
			for c, sum := 1, j; c < n && t.q[j]+t.q[c] <= t.q[n-1]; c++ {
				for t.q[sum] < t.q[j]+t.q[c] {
					sum++
				}
				if t.q[sum] == t.q[j]+t.q[c] {
					best = max(best, inside[c]+row[sum])
				}
			}
			row[j] = best
		}
	}
	pr.around = around
	return nil
}

// byArea is all cells with a size, the smaller first: parts of a part come before it.
func (g *grid) byArea() []int {
	var cells []int
	n := len(g.q)
	for i := 1; i < len(g.p); i++ {
		for j := 1; j < n; j++ {
			cells = append(cells, i*n+j)
		}
	}
	slices.SortFunc(cells, func(a, b int) int { return cmp.Compare(g.p[a/n]*g.q[a%n], g.p[b/n]*g.q[b%n]) })
	return cells
}

// counts packs how many there are of some kinds into 256 bits, a field each with a bit
// to spare, so that two are added and held to all limits in a few instructions.
type counts [4]uint64

// layout says where each kind's field is.
type layout struct {
	one   []counts // one of the kind; zero where it isn't told apart
	room  counts   // added to a sum, sets the spare bit of a field above its limit
	spare counts
}

// newLayout tells the kinds apart that told says, up to the limits most. It is false where
// they don't fit.
func (g *grid) newLayout(told []bool, most []int64) (*layout, bool) {
	l := &layout{one: make([]counts, len(told))}
	word, bit := 0, 0
	for i, tell := range told {
		if !tell {
			continue
		}
		width := bits.Len64(uint64(most[i])) + 1
		if bit+width > 64 {
			word, bit = word+1, 0
		}
		if word == len(l.room) || width > 64 {
			return nil, false
		}
		l.one[i][word] = 1 << bit
		l.spare[word] |= 1 << (bit + width - 1)
		l.room[word] |= (1<<(width-1) - 1 - uint64(most[i])) << bit
		bit += width
	}
	return l, true
}

// add is false where the sum breaks a limit.
func (l *layout) add(a, b *counts) (counts, bool) {
	sum := counts{a[0] + b[0], a[1] + b[1], a[2] + b[2], a[3] + b[3]}
	over := (sum[0]+l.room[0])&l.spare[0] | (sum[1]+l.room[1])&l.spare[1] |
		(sum[2]+l.room[2])&l.spare[2] | (sum[3]+l.room[3])&l.spare[3]
	return sum, over == 0
}

func (c *counts) hash() uint64 {
	h := c[0] * 0x9e3779b97f4a7c15
	for _, w := range c[1:] {
		h = (bits.RotateLeft64(h, 29) ^ w) * 0x9e3779b97f4a7c15
	}
	return h ^ h>>32
}
