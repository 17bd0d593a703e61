package search

import (
	"context"
	"math"
	"slices"

	"seamshare.example/services/domain/measure/plane"
)

// areaSteps is into how many steps an area is parted.
const areaSteps = 2_000

// field is an outline or zone that stones share.
type field struct {
	level
	ctx    context.Context // as the planner's
	ring   plane.Ring      // of a zone
	stones []single
	step   float64 // µm²
	steps  int     // how many there are
	cut    float64 // what a stone costs besides, and
	bonus  float64 // what it brings besides
}

// single is a stone of some size: what it brings, its area (or volume), and that of an ellipse that it holds.
type single struct{ worth, area, round float64 }

// takes is how many steps a stone covers in a part of n sides, rounded down; 0 sides: whichever.
func (f *field) takes(s single, n int) int {
	area := s.area
	if n > 0 && s.round > 0 {
		// No polygon of n sides about an ellipse is smaller than the regular one about a circle, drawn out.
		area = max(area, s.round*float64(n)/math.Pi*math.Tan(math.Pi/float64(n)))
	}
	return int((area + 2*math.Sqrt(math.Pi*area)*f.grow + math.Pi*f.grow*f.grow) / f.step)
}

// fine is whether each stone takes a step at least.
func (f *field) fine() bool {
	return !slices.ContainsFunc(f.stones, func(s single) bool { return f.takes(s, 0) == 0 })
}

// mostSides is from where on sides aren't told apart.
const mostSides = 10

// table is what stones in so many steps bring at most, if each side of a part beyond four costs a fee, and each
// short of four brings it.
func (f *field) table(fee float64, sides bool) []float64 {
	best := make([]float64, f.steps+1)
	for _, s := range f.stones {
		worth := s.worth - f.cut
		if worth <= 0 {
			continue // a plan is better without it
		}
		worth += f.bonus
		if !sides {
			if k := f.takes(s, 0); k < len(best) {
				best[k] = max(best[k], worth)
			}
			continue
		}
		for n := 3; n <= mostSides; n++ {
			of := n
			if n == mostSides {
				of = 0
			}
			if k := f.takes(s, of); k < len(best) {
				best[k] = max(best[k], worth-fee*float64(n-4))
			}
		}
	}
	knapsack(best)
	return best
}

// sides lowers a zone's table by how many sides parts of a convex polygon can have: each straight cut through one
// adds four to what the parts have together, so the sides of k parts are at most those of the polygon and 4 (k −
// 1). A fee on sides, whichever it is, turns that into a sum (Lagrangian relaxation).
func (f *field) sides(table []float64) {
	dearest := 0.0
	for _, s := range f.stones {
		dearest = max(dearest, s.worth-f.cut)
	}
	for _, fee := range feesFor(dearest) {
		if f.ctx.Err() != nil {
			return
		}
		for j, v := range f.table(fee, true) {
			// Nothing at a fee isn't nothing: a stone of many sides may cost more than it brings.
			table[j] = min(table[j], max(0, v+fee*float64(len(f.ring)-4)))
		}
	}
}

// feesFor are fees on a side to try, for stones worth so much.
func feesFor(dearest float64) (out []float64) {
	for fee := dearest / 4; fee > dearest/400; fee /= 2 {
		out = append(out, fee)
	}
	return out
}

// knapsack makes of what one stone brings in so many steps of area what any number of them brings.
func knapsack(best []float64) {
	one := slices.Clone(best)
	var kinds []int // only where a stone brings more than in fewer steps
	most := 0.0
	for k, v := range one {
		if v > most {
			kinds, most = append(kinds, k), v
		}
	}
	for j := range best {
		best[j] = 0
		if j > 0 {
			best[j] = best[j-1]
		}
		for _, k := range kinds {
			if k > j {
				break
			}
			best[j] = max(best[j], best[j-k]+one[k])
		}
	}
}

// both is what two fields bring together in so many steps at most.
func both(a, b []float64, steps int) []float64 {
	out := make([]float64, min(len(a)+len(b)-2, steps)+1)
	for i, v := range a {
		if i > 0 && v == a[i-1] {
			continue
		}
		for j := i; j < len(out); j++ {
			out[j] = max(out[j], v+b[min(j-i, len(b)-1)])
		}
	}
	return out
}
