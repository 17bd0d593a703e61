package search

import (
	"context"
	"maps"
	"math"
	"slices"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// Bound is what no plan for the task passes: a feasible plan of saw cuts with the task's blade or a wider one, one
// stone from a part, each stone made as a want says, in its minutes, each cut in the task's. In minor units of
// expected worth.
//
// A piece counts as without a hollow where none, of outline or profile, is as deep as the smallest wanted stone is from
// its middle to its edge: no straight cuts then leave stones on the same side of each that only a hollow parts
// (planner.even).
//
// Why it holds. Stones that claim the same bar and show the same side, are clean and have some backing all hold the
// bar's underside within their walls. So where they are level with it their outlines, seen square to it, lie apart.
// In a piece without a hollow they lie apart by a cut's width where the bar is straight: grown by half of that
// each, a stone of area A covers at least A + √(πA)·g + πg²/4 (Brunn and Minkowski), no two of them the same place,
// within the outline or zone grown as much, whose area is at most area + perimeter·g/2 + πg²/4 (Steiner). Less the
// rock and potch that they keep off. For all other stones it is the volume of their bodies that lies apart, within
// that of the piece. Each area is a knapsack: how much of it stones may take in all, one for the outline and one
// for each zone inside it, solved exactly in small steps of area, each stone's share rounded down. No stone is
// longer than is proved for the uncut piece (as by Largest), cracks and rock without margins, which a cut along
// them spares. A stone's worth is what it brings by its wanted size in the market's list, less levy, selling and
// its minutes; in a piece without a hollow each stone but the first takes a cut, and those minutes. So stones that
// are worth no more than a cut come alone or not at all: two of them bring no more than the better one, and beside
// others they bring nothing. What is left over is taken to be the whole piece.
//
// A stone's part has more than the stone: about an ellipse no polygon of n sides is smaller than n/π·tan(π/n) of
// it. And straight cuts make few sides: k parts of a polygon of m have at most m + 4(k − 1) together, since each
// way of a cut through a part adds four (field.sides). Hollow ones too: leave out each way that parts off nothing
// with a stone; what is joined over a straight stretch stays parted wherever a line parts it on either side. And a
// part with a hollow holds one without, with no more sides, about the stone: cut it at each hollow corner along a
// line that misses the stone.
//
// Stones of a set are counted as if each could come alone, and bars as if they knew nothing of each other.
//
// When the context ends before all is reckoned it is Unbounded.
func Bound(ctx context.Context, t Task) (int64, error) {
	p, err := newPlanner(ctx, t)
	if err != nil {
		return 0, err
	}
	bound := p.bound()
	if p.ended() {
		return Unbounded, nil
	}
	return bound, nil
}

// Unbounded is where no bound is known.
const Unbounded = math.MaxInt64

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
		if p.ended() {
			return Unbounded
		}
		most += p.levelBound(l)
	}
	if most > math.MaxInt64/2 {
		return Unbounded
	}
	return int64(math.Ceil(most)) + 1
}

func (p *planner) levels() (out []level) {
	whole, _ := plane.CheckRing(points(p.Study.Outline))
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
			if straight && p.even(whole) {
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

// levelBound is what stones of one level bring at most.
func (p *planner) levelBound(l level) float64 {
	whole, _ := plane.CheckRing(points(p.Study.Outline))
	room := func(area, around float64) float64 {
		return area*l.stretch + around*l.stretch*l.grow + math.Pi*l.grow*l.grow
	}
	of := func(r plane.Ring, zone string) float64 {
		area := float64(r.TwiceArea()) / 2e6
		if l.thick > 0 {
			return area * l.thick
		}
		return room(area, r.Perimeter()/plane.Micrometre) - p.kept(l, r, zone)
	}
	all := of(whole, "")
	step := all / areaSteps
	by := map[string][]*want{}
	for _, w := range l.wants {
		by[w.Pattern.Zone] = append(by[w.Pattern.Zone], w)
	}
	cut, even := 0.0, p.even(whole)
	if even {
		cut = p.minute * float64(p.SawMinutes)
	}
	// Where all may lie: the piece itself, or where it is even any polygon without a hollow round it, which has
	// more room and may have fewer sides.
	type around struct{ steps, sides int }
	within := []around{{areaSteps, len(whole)}}
	if l.thick == 0 && even {
		hull := hullOf(whole)
		for _, n := range []int{12, 8, 6, 5, 4, 3} {
			if hull = fewer(hull, n); len(hull) < 3 {
				break
			}
			more := room(hull.area(), hull.around())
			if more > 1.5*all {
				break
			}
			within = append(within, around{int(more / step), len(hull)})
		}
	}
	var zones []field
	var free *field
	dearest, alone := 0.0, 0.0 // of stones worth more than a cut, less it; of the others
	for _, zone := range slices.Sorted(maps.Keys(by)) {
		if p.ended() {
			return 0
		}
		f := field{level: l, ctx: p.ctx, step: step, steps: areaSteps, cut: cut}
		if zone != "" {
			f.ring = by[zone][0].zone
			f.steps = min(f.steps, int(of(f.ring, zone)/step))
		}
		if f.stones = p.stonesOf(l, by[zone], whole); !f.fine() {
			return p.plain(l, all)
		}
		for _, s := range f.stones {
			if s.worth > cut {
				dearest = max(dearest, s.worth-cut)
			} else {
				alone = max(alone, s.worth)
			}
		}
		if zone == "" {
			free = &f
		} else {
			zones = append(zones, f)
		}
	}
	fees := []float64{0}
	if free != nil && l.thick == 0 {
		fees = append(fees, feesFor(dearest)...)
	}
	least := math.Inf(1)
	for _, fee := range fees {
		zoned := []float64{0}
		for _, f := range zones {
			if p.ended() {
				return 0
			}
			f.bonus = fee // it may have but three sides of the piece's
			in := f.table(0, false)
			if l.thick == 0 && hollow(f.ring) == 0 {
				f.sides(in)
			}
			zoned = both(zoned, in, areaSteps*3/2)
		}
		for i, w := range within {
			if p.ended() {
				return 0
			}
			if i == 0 && fee > 0 && even && hollow(whole) > 0 {
				continue // grown parts of a piece with small hollows: only those of the hull are sure of their sides
			}
			total := zoned
			if free != nil {
				f := *free
				f.steps = w.steps
				total = both(zoned, f.table(fee, fee > 0), w.steps)
			}
			most := total[min(w.steps, len(total)-1)]
			if fee == 0 && most == 0 {
				return alone // no stone that is worth its cut has room
			}
			least = min(least, max(0, most+fee*float64(w.sides-4))+cut)
		}
	}
	return max(least, alone)
}
