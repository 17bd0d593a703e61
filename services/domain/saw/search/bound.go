package search

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// Bound is what no plan for the task passes: a feasible plan of saw cuts with the task's blade or a wider one, one stone from a part, each
// stone made as a want says, in its minutes, each cut in the task's. In minor units of expected worth.
//
// Why it holds. Stones that claim the same bar and show the same side, are clean and have some backing all hold the bar's
// underside within their walls. So where they are level with it their outlines, seen square to it, lie apart, and by a cut's
// width at least where the bar is straight. Grown by half of that each, a stone of area A covers at least A + √(πA)·g + πg²/4
// (Brunn and Minkowski), no two of them the same place, within the outline or zone grown as much, whose area is at most
// area + perimeter·g/2 + πg²/4 (Steiner). Less the rock and potch that they keep off. For all other stones it is the volume of
// their bodies that lies apart, within that of the piece. Each area is a knapsack: how much of it stones may take in all, one
// for the outline and one for each zone inside it, solved exactly in small steps of area, each stone's share rounded down. No stone
// is longer than Largest proves for the uncut piece, cracks and rock without margins, which a cut along them spares. A stone's
// worth is what it brings by its wanted size in the market's list, less levy, selling and its minutes; in a piece without a
// hollow each stone but the first takes a cut, and those minutes. What is left over is taken to be the whole piece.
//
// Stones of a set are counted as if each could come alone, and bars as if they knew nothing of each other.
func Bound(t Task) (int64, error) {
	p, err := newPlanner(t)
	if err != nil {
		return 0, err
	}
	return p.bound(), nil
}

// level is what shares an area: stones of one bar and side, or all that are counted by volume.
type level struct {
	wants   []*want
	thick   float64 // µm: a body's height counts, in a piece so thick; 0: outlines count
	grow    float64 // half of what they keep apart, µm
	stretch float64 // of areas, for a slope
}

func (p *planner) bound() int64 {
	heaviest := p.Study.SGMilli
	for _, l := range p.Study.Layers {
		heaviest = max(heaviest, l.SGMilli)
	}
	for _, f := range p.Study.Features {
		heaviest = max(heaviest, f.SGMilli)
	}
	for _, w := range p.wants {
		sg := heaviest
		if w.Pattern.SGMilli > 0 {
			sg = w.Pattern.SGMilli
		}
		w.perArea = (float64(w.Pattern.DepthUm) - float64(w.Pattern.DomeUm)/3) * float64(sg) * 1e-9
	}
	most := p.gram * float64(p.Study.MassUg)
	for _, l := range p.levels() {
		most += p.levelBound(l)
	}
	return int64(math.Ceil(most)) + 1
}

func (p *planner) levels() (out []level) {
	type key struct {
		bar  string
		view saw.View
	}
	by := map[key]int{}
	bulk := -1
	for _, w := range p.wants {
		s := w.Pattern
		slope, straight, ok := p.straight(s.Bar)
		if s.Bar == "" || s.Surface != saw.Clean || s.TiltMdeg != 0 || p.Settings.BackingUm < 1 || !ok {
			if bulk < 0 {
				bulk = len(out)
				out = append(out, level{thick: p.thickness(), stretch: 1})
			}
			out[bulk].wants = append(out[bulk].wants, w)
			continue
		}
		k := key{s.Bar, s.View}
		i, known := by[k]
		if !known {
			i = len(out)
			by[k] = i
			l := level{stretch: 1 / math.Cos(slope)}
			if straight {
				l.grow = float64(p.Blade.KerfUm)/2 + float64(p.Blade.WanderUm)
			}
			out = append(out, l)
		}
		out[i].wants = append(out[i].wants, w)
	}
	return out
}

// straight is the slope that stones of a bar are laid to, and whether its underside is straight; ok is false where stones
// needn't be level with it.
func (p *planner) straight(bar string) (slope float64, straight, ok bool) {
	for _, l := range p.Study.Layers {
		if l.Name == bar {
			return 0, true, true
		}
	}
	for _, f := range p.Study.Features {
		if f.Name != bar || f.View != saw.Section {
			continue
		}
		if f.Kind != saw.Seam {
			return 0, false, true
		}
		a, b := f.Points[0], f.Points[len(f.Points)-1]
		return math.Atan2(float64(b.Y-a.Y), float64(b.X-a.X)), true, len(f.Points) == 2 && a.X != b.X
	}
	return 0, false, false
}

func (p *planner) thickness() float64 {
	if len(p.Study.Profile) == 0 {
		return float64(p.Study.ThicknessUm)
	}
	return float64(-p.floor()) / plane.Micrometre
}

// steps is into how many steps an area is parted.
const areaSteps = 3_000

// levelBound is what stones of one level bring at most.
func (p *planner) levelBound(l level) float64 {
	whole, _ := plane.CheckRing(points(p.Study.Outline))
	room := func(r plane.Ring, zone string) float64 {
		area, around := float64(r.TwiceArea())/2e6*l.stretch, r.Perimeter()/plane.Micrometre*l.stretch
		if l.thick > 0 {
			return area * l.thick
		}
		return area + around*l.grow + math.Pi*l.grow*l.grow - p.kept(l, r, zone)
	}
	all := room(whole, "")
	step := all / areaSteps
	tables := map[string][]float64{}
	var zones []string
	for _, w := range l.wants {
		zone := w.Pattern.Zone
		if tables[zone] == nil {
			n := areaSteps
			if zone != "" {
				n = min(n, int(room(w.zone, zone)/step))
				zones = append(zones, zone)
			}
			tables[zone] = make([]float64, n+1)
		}
	}
	slices.Sort(zones)
	cut := 0.0
	if hollow(whole) == 0 {
		cut = p.minute * float64(p.SawMinutes)
	}
	for zone, best := range tables {
		for _, w := range l.wants {
			if w.Pattern.Zone == zone {
				if !p.single(l, w, whole, step, best) {
					return p.plain(l, all)
				}
			}
		}
		for i := range best {
			best[i] = max(0, best[i]-cut)
		}
		knapsack(best)
	}
	total := tables[""]
	if total == nil {
		total = make([]float64, areaSteps+1)
	}
	for _, zone := range zones {
		in := tables[zone]
		next := slices.Clone(total)
		for i, v := range in {
			if i > 0 && v == in[i-1] {
				continue
			}
			for j := i; j < len(next); j++ {
				next[j] = max(next[j], v+total[j-i])
			}
		}
		total = next
	}
	if most := total[len(total)-1]; most > 0 {
		return most + cut
	}
	return 0
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

// single notes what one stone of a want brings, by the steps of area it takes, rounded down. It is false where a stone
// takes less than a step.
func (p *planner) single(l level, w *want, whole plane.Ring, step float64, best []float64) bool {
	takes := func(s Size) float64 {
		area := w.unit * float64(s.LengthUm) * float64(s.WidthUm) * (1 - 1e-5)
		if l.thick > 0 {
			return area * (float64(w.Pattern.DepthUm) - float64(w.Pattern.DomeUm)/3)
		}
		return area + 2*math.Sqrt(math.Pi*area)*l.grow + math.Pi*l.grow*l.grow
	}
	ok := true
	note := func(s Size) {
		worth := p.worth(w, s)*(1+1e-5) + 2
		k := int(takes(s) / step)
		if worth <= 2 {
			return
		}
		if k == 0 {
			ok = false
			return
		}
		if k < len(best) {
			best[k] = max(best[k], worth)
		}
	}
	region := p.uncut(w, whole)
	if len(w.Sizes) > 0 {
		// By area, so what is too large comes after what it holds.
		var too []Size
		for i, s := range w.Sizes {
			larger := func(o Size) bool { return o.LengthUm <= s.LengthUm && o.WidthUm <= s.WidthUm }
			switch {
			case l.stretch != 1:
			case slices.ContainsFunc(too, larger), !p.holds(region, w.bodies[i], s):
				too = append(too, s)
				continue
			}
			note(s)
		}
		return ok
	}
	most := int64(math.Sqrt(float64(whole.TwiceArea())/2e6*l.stretch/w.unit/w.body.beta)) + 2
	if l.stretch == 1 {
		most = min(most, p.proved(region, w.body, 0))
	}
	if w.ToUm > 0 {
		most = min(most, w.ToUm)
	}
	least := max(w.FromUm, shortest)
	size := func(length int64) Size { return Size{length, w.body.form.WidthUm(length)} }
	for k := range best {
		// The longest that takes less than k + 1 steps.
		low, high := least-1, most
		for low < high {
			if mid := (low + high + 1) / 2; takes(size(mid)) < float64(k+1)*step {
				low = mid
			} else {
				high = mid - 1
			}
		}
		if low >= least {
			note(size(low))
		}
		if low == most {
			break
		}
	}
	for _, e := range w.edges {
		if e >= least && e <= most {
			note(size(e))
		}
	}
	return ok
}

// uncut is where a want may lie in the uncut piece, its obstacles without margins.
func (p *planner) uncut(w *want, whole plane.Ring) saw.Region {
	r := saw.Region{Within: []saw.Within{{Ring: whole}}}
	if w.zone != nil {
		r.Within = append(r.Within, saw.Within{Ring: w.zone})
	}
	for _, a := range w.avoided {
		if p.surely(a.Name, w) {
			a.Margin = 0
			r.Avoid = append(r.Avoid, a)
		}
	}
	return r
}

// surely is whether a feature of face or back is in the way of a want wherever it lies: it goes all through, or from its side beyond the
// underside of the want's layer.
func (p *planner) surely(name string, w *want) bool {
	for _, f := range p.Study.Features {
		if f.Name != name {
			continue
		}
		if f.DepthUm == 0 {
			return true
		}
		z := int64(0)
		for _, l := range p.Study.Layers {
			if z += l.ThicknessUm; l.Name == w.Pattern.Bar && w.Pattern.View == saw.Face && w.Pattern.Surface == saw.Clean && w.Pattern.DomeUm > 1 {
				return f.View == saw.Face && f.DepthUm >= z
			}
		}
	}
	return false
}

// proved is a length that no stone of a body passes in the region; looking ends where it is below enough.
func (p *planner) proved(r saw.Region, b *body, enough int64) int64 {
	l := &larger{b: b, w: newWalls(r), region: r}
	rng := rand.New(rand.NewPCG(1, 1))
	for range 4 {
		l.note(l.w.ascend(b, l.w.random(b, rng), 20, &l.space))
	}
	if enough > 0 {
		// Whether it goes at all: what is found is enough, and so is a proof that it doesn't.
		if 2*l.best > float64(enough)*plane.Micrometre {
			return enough
		}
		l.best = max(l.best, float64(enough)*plane.Micrometre/2*0.998)
		l.seen = l.best
	}
	l.unsettled = true
	e := Effort{Cells: 20_000, GapBp: 100}
	if enough > 0 {
		e.GapBp = 5
	}
	most, _ := l.prove(context.Background(), e)
	return int64(math.Ceil(2*most/plane.Micrometre)) + 2
}

// holds is whether a size may lie in the region, as far as is known.
func (p *planner) holds(r saw.Region, b *body, s Size) bool {
	return p.proved(r, b, s.LengthUm) >= s.LengthUm
}

// kept is the area of rock and potch that the stones of a level keep off, grown as they are.
func (p *planner) kept(l level, within plane.Ring, zone string) float64 {
	sum := 0.0
	for _, a := range l.wants[0].avoided {
		if a.Ring == nil || zone != "" && !plane.Holds(within, a.Ring) || l.stretch != 1 {
			continue
		}
		all := true
		for _, w := range l.wants {
			all = all && p.surely(a.Name, w) && slices.ContainsFunc(w.avoided, func(b saw.Avoid) bool { return b.Name == a.Name })
		}
		// Obstacles that overlap would be counted twice.
		for _, b := range l.wants[0].avoided {
			all = all && (b.Name == a.Name || b.Ring == nil || !plane.RingsNearer(a.Ring, b.Ring, 1))
		}
		if all {
			// After a cut along it nothing is kept but the stone itself; it reaches in by as much as it was grown.
			sum += max(0, float64(a.Ring.TwiceArea())/2e6-a.Ring.Perimeter()/plane.Micrometre*l.grow)
		}
	}
	return sum
}

// plain is the area at the best price of any size: for stones so small that steps of area don't tell them apart.
func (p *planner) plain(l level, room float64) float64 {
	best := 0.0
	for _, w := range l.wants {
		try := func(s Size) {
			area := w.unit * float64(s.LengthUm) * float64(s.WidthUm) * (1 - 1e-5)
			if l.thick > 0 {
				area *= float64(w.Pattern.DepthUm) - float64(w.Pattern.DomeUm)/3
			}
			best = max(best, (p.worth(w, s)+p.minute*float64(w.Pattern.Minutes)+2)/area)
		}
		for _, s := range w.Sizes {
			try(s)
		}
		if len(w.Sizes) == 0 {
			for _, length := range append(slices.Clone(w.edges), max(w.FromUm, shortest), saw.MaxLengthUm/2) {
				if length >= shortest {
					try(Size{length, w.body.form.WidthUm(length)})
					try(Size{length + 1, w.body.form.WidthUm(length + 1)})
				}
			}
		}
	}
	return best * room
}

// hollow is how many corners of a ring turn inwards.
func hollow(r plane.Ring) (n int) {
	for i, p := range r {
		a, b := r[(i+len(r)-1)%len(r)], r[(i+1)%len(r)]
		if d, v := p.Minus(a), b.Minus(p); d.X*v.Y-d.Y*v.X < 0 {
			n++
		}
	}
	return n
}

func points(of []saw.Point) []plane.Point {
	out := make([]plane.Point, len(of))
	for i, q := range of {
		out[i] = plane.Micrometres(q.X, q.Y)
	}
	return out
}
