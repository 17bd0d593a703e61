package guillotine

import (
	"fmt"
	"math/big"
	"math/bits"

	"seamshare.example/services/domain/money"
	"seamshare.example/services/domain/rule"
)

// MaxSide bounds a side of the stock, kerf added, in units: 16 m of micrometres.
const MaxSide = 1 << 24

// maxCells bounds the table of parts, eight bytes each.
const maxCells = 1 << 24

// Kind is a rectangle that is wanted.
type Kind struct {
	Length, Width int64 // units
	Value         int64 // of one, minor units
	Most          int64 // how many at most; 0: as many as fit
	Turns         bool  // may also lie turned by a right angle
}

// Problem is what to cut from what.
type Problem struct {
	Length, Width int64 // of the stock, units
	Kerf          int64 // taken by each cut, units
	Kinds         []Kind
}

// Validate refuses what can't be computed, as a rule.All with all that is wrong.
func (p Problem) Validate() error {
	var all rule.All
	if p.Kerf < 0 || p.Kerf >= MaxSide {
		all.Add(rule.Broken{
			Reason: rule.SizeInvalid, Field: "kerf", Value: fmt.Sprint(p.Kerf),
			Rule: fmt.Sprintf("a kerf is 0 to %d units", MaxSide-1), Hint: "give the measured width of the blade's cut",
		})
		return all
	}
	side := func(field string, n int64) bool {
		if n >= 1 && n+p.Kerf <= MaxSide && n <= MaxSide {
			return true
		}
		all.Add(rule.Broken{
			Reason: rule.SizeInvalid, Field: field, Value: fmt.Sprint(n),
			Rule: fmt.Sprintf("a side and the kerf are together 1 to %d units", MaxSide), Hint: "give the side in whole units, or take a coarser unit",
		})
		return false
	}
	stock := side("length", p.Length)
	stock = side("width", p.Width) && stock
	for i, k := range p.Kinds {
		field := fmt.Sprintf("kinds[%d]", i)
		sides := side(field+".length", k.Length)
		sides = side(field+".width", k.Width) && sides
		if k.Most < 0 {
			all.Add(rule.Broken{
				Reason: rule.CountInvalid, Field: field + ".most", Value: fmt.Sprint(k.Most),
				Rule: "a limit can't be below zero", Hint: "give how many at most, or 0 for as many as fit",
			})
		}
		switch {
		case k.Value < 0 || k.Value > money.Max:
			all.Add(rule.Broken{
				Reason: rule.AmountInvalid, Field: field + ".value", Value: fmt.Sprint(k.Value),
				Rule: fmt.Sprintf("a value is 0 to %d minor units", int64(money.Max)), Hint: "give what one is worth",
			})
		case stock && sides && p.worthTooMuch(k):
			all.Add(rule.Broken{
				Reason: rule.AmountInvalid, Field: field + ".value", Value: fmt.Sprint(k.Value),
				Rule: fmt.Sprintf("as many as the stock's area holds can't be worth more than %d minor units", int64(money.Max)),
				Hint: "check value and size, or take a coarser unit of money",
			})
		}
	}
	return all.Err()
}

// worthTooMuch: value for area is above what keeps any sum within money.Max.
func (p Problem) worthTooMuch(k Kind) bool {
	area := func(l, w int64) *big.Int { return new(big.Int).Mul(big.NewInt(l+p.Kerf), big.NewInt(w+p.Kerf)) }
	worth := new(big.Int).Mul(big.NewInt(k.Value), area(p.Length, p.Width))
	most := new(big.Int).Mul(big.NewInt(money.Max), area(k.Length, k.Width))
	return worth.Cmp(most) > 0
}

// variant is a kind in one of its two positions, its sides with the kerf added.
type variant struct {
	kind   int
	turned bool
	l, w   int64
	i, j   int // where l and w stand among the grid's points
}

// grid is the sides that parts can have, kerf added: 0 and all sums of kinds that fit.
type grid struct {
	p, q     []int64 // lengths and widths, rising from 0
	variants []variant
	most     []int64 // of each kind, at most what fits; 0 of a kind that doesn't fit
	limited  []bool  // the limit is less than what fits
}

// newGrid lays out the points; with limits it leaves out sums that need more of a kind
// than there may be.
func (p Problem) newGrid(limits bool) (*grid, error) {
	g := &grid{most: make([]int64, len(p.Kinds)), limited: make([]bool, len(p.Kinds))}
	length, width := p.Length+p.Kerf, p.Width+p.Kerf
	for n, k := range p.Kinds {
		if k.Value == 0 {
			continue
		}
		for _, v := range []variant{
			{kind: n, l: k.Length + p.Kerf, w: k.Width + p.Kerf},
			{kind: n, turned: true, l: k.Width + p.Kerf, w: k.Length + p.Kerf},
		} {
			if v.turned && (!k.Turns || k.Length == k.Width) || v.l > length || v.w > width {
				continue
			}
			g.variants = append(g.variants, v)
			// By area, so that both positions are counted at once.
			hi, lo := bits.Mul64(uint64(length), uint64(width))
			fit, _ := bits.Div64(hi, lo, uint64(v.l)*uint64(v.w))
			g.most[n] = int64(fit)
		}
		if k.Most > 0 && k.Most < g.most[n] {
			g.most[n], g.limited[n] = k.Most, true
		}
	}
	g.p = g.points(length, limits, func(v variant) int64 { return v.l })
	g.q = g.points(width, limits, func(v variant) int64 { return v.w })
	if cells := len(g.p) * len(g.q); cells > maxCells {
		return nil, rule.Broken{
			Reason: rule.SizeInvalid, Field: "length", Value: fmt.Sprint(p.Length),
			Rule: fmt.Sprintf("cuts can be at %d by %d places, more than the %d that are computed", len(g.p), len(g.q), maxCells),
			Hint: "take a coarser unit (round pieces up, stock down), or fewer kinds",
		}
	}
	for n := range g.variants {
		v := &g.variants[n]
		v.i, v.j = floor(g.p, v.l), floor(g.q, v.w)
	}
	return g, nil
}

// points are the sums of the variants' sides up to most.
func (g *grid) points(most int64, limits bool, side func(variant) int64) []int64 {
	reached := make([]bool, most+1)
	reached[0] = true
	var used []int64
	for _, v := range g.variants {
		s := side(v)
		if !limits || !g.limited[v.kind] {
			for x := s; x <= most; x++ {
				reached[x] = reached[x] || reached[x-s]
			}
			continue
		}
		// used is how many of this kind the point needs, where it is reached with any at all.
		if used == nil {
			used = make([]int64, most+1)
		}
		clear(used)
		for x := s; x <= most; x++ {
			if !reached[x] && reached[x-s] && used[x-s] < g.most[v.kind] {
				reached[x], used[x] = true, used[x-s]+1
			}
		}
	}
	var points []int64
	for x, ok := range reached {
		if ok {
			points = append(points, int64(x))
		}
	}
	return points
}

// floor is the place of the last point that is not above x.
func floor(points []int64, x int64) int {
	lo, hi := 0, len(points)
	for lo+1 < hi {
		if mid := (lo + hi) / 2; points[mid] <= x {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}
