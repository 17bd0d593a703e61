package search

import (
	"cmp"
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
// A piece counts as without a hollow where none is as deep as the smallest wanted stone is from its middle to its edge: no
// straight cuts then leave stones on the same side of each that only a hollow parts (planner.even).
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
// its minutes; in a piece without a hollow each stone but the first takes a cut, and those minutes. What is left
// over is taken to be the whole piece.
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

// areaSteps is into how many steps an area is parted.
const areaSteps = 2_000

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
	dearest := 0.0
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
			dearest = max(dearest, s.worth-cut)
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
			if most > 0 {
				most = max(0, most+fee*float64(w.sides-4)+cut)
			}
			least = min(least, most)
		}
	}
	return least
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

// feesFor are fees on a side to try, for stones worth so much.
func feesFor(dearest float64) (out []float64) {
	for fee := dearest / 4; fee > dearest/400; fee /= 2 {
		out = append(out, fee)
	}
	return out
}

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
			if v > 0 {
				v = max(0, v+fee*float64(len(f.ring)-4))
			}
			table[j] = min(table[j], v)
		}
	}
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

// stonesOf are all the stones of some wants that could count: the calibrated, and of any length those that are the
// longest to take so many steps, or the last of their price.
func (p *planner) stonesOf(l level, wants []*want, whole plane.Ring) (out []single) {
	for _, w := range wants {
		if p.ended() {
			return nil
		}
		body, oval := 1.0, w.body.oval(p.ctx)
		if l.thick > 0 {
			body = float64(w.Pattern.DepthUm) - float64(w.Pattern.DomeUm)/3
		}
		note := func(s Size, worth float64) {
			one := single{worth: worth*(1+1e-5) + 2, area: w.unit * float64(s.LengthUm) * float64(s.WidthUm) * (1 - 1e-5) * body}
			if l.thick == 0 {
				one.round = one.area * oval
			}
			if worth > 0 {
				out = append(out, one)
			}
		}
		region := p.uncut(w, whole, l.stretch)
		if len(w.Sizes) > 0 {
			// By area, so what is too large comes after what it holds.
			var too []Size
			for i, s := range w.Sizes {
				larger := func(o Size) bool { return o.LengthUm <= s.LengthUm && o.WidthUm <= s.WidthUm }
				if slices.ContainsFunc(too, larger) || !p.holds(region, w.bodies[i], s) {
					too = append(too, s)
					continue
				}
				note(s, p.worth(w, s))
			}
			continue
		}
		most := p.proved(region, w.body, 0)
		if w.ToUm > 0 {
			most = min(most, w.ToUm)
		}
		least := max(w.FromUm, shortest)
		size := func(length int64) Size { return Size{length, w.body.form.WidthUm(length)} }
		// Each stands for all that are shorter than it and longer than the one before: it has the area of those and the
		// worth of itself, within one price the greatest.
		stops := []int64{most}
		for _, e := range w.edges {
			if e >= least && e < most {
				stops = append(stops, e)
			}
		}
		slices.Sort(stops)
		from := least
		for _, to := range stops {
			for from <= to {
				next := min(to, max(from, int64(float64(from)*1.004)))
				s := size(from)
				s.WidthUm = max(1, s.WidthUm-1) // rounded up
				one := single{worth: p.worth(w, size(next))*(1+1e-5) + 2, area: w.unit * float64(s.LengthUm) * float64(s.WidthUm) * (1 - 1e-5) * body}
				if l.thick == 0 {
					one.round = one.area * oval
				}
				if one.worth > 2 {
					out = append(out, one)
				}
				from = next + 1
			}
		}
	}
	return out
}

// oval is the share of a body's area that an ellipse has which it holds: as large a one as a short search finds.
func (b *body) oval(ctx context.Context) (most float64) {
	const scale = plane.Millimetre
	if b.ellipse {
		return math.Pi * b.inner * b.inner * b.beta / b.area * (1 - 1e-9)
	}
	ring := make(plane.Ring, len(b.corner))
	for i, c := range b.corner {
		ring[i] = plane.Point{X: int64(math.Round(c.x * scale)), Y: int64(math.Round(c.y * scale))}
	}
	w := newWalls(saw.Region{Within: []saw.Within{{Ring: ring}}})
	rng := Seeded(1)
	space := space{ctx: ctx}
	for ratio := int64(10); ratio <= 30; ratio += 2 {
		e, err := newBody(Form{Shape: saw.Oval, Length: ratio, Width: 10}, saw.Face)
		if err != nil {
			continue
		}
		for range 3 {
			_, reach := w.ascend(e, w.random(e, rng), 30, &space)
			reach *= e.inner / scale
			most = max(most, math.Pi*reach*reach*e.beta/b.area*(1-1e-5))
		}
	}
	return most
}

// uncut is where a want may lie in the uncut piece, its obstacles without margins: in the plane of its bar, in
// which all is longer along the trace by the stretch.
func (p *planner) uncut(w *want, whole plane.Ring, stretch float64) saw.Region {
	a, d := p.trace()
	drawn := func(q plane.Point) plane.Point {
		more := at(q).minus(a).dot(d) * (stretch - 1)
		return q.Plus(plane.Point{X: int64(math.Round(d.x * more)), Y: int64(math.Round(d.y * more))})
	}
	ring := func(r plane.Ring) plane.Ring {
		out := make(plane.Ring, len(r))
		for i, q := range r {
			out[i] = drawn(q)
		}
		return out
	}
	r := saw.Region{Within: []saw.Within{{Ring: ring(whole)}}}
	if w.zone != nil {
		r.Within = append(r.Within, saw.Within{Ring: ring(w.zone)})
	}
	for _, o := range w.avoided {
		if !p.surely(o.Name, w) {
			continue
		}
		o.Margin = 0
		if o.Ring != nil {
			o.Ring = ring(o.Ring)
		}
		o.Path = plane.Path(ring(plane.Ring(o.Path)))
		r.Avoid = append(r.Avoid, o)
	}
	return r
}

// surely is whether a feature of face or back is in the way of a want wherever it lies: it goes all through, or
// from its side beyond the underside of the want's layer.
func (p *planner) surely(name string, w *want) bool {
	from, to := p.model.Reach(name)
	if from == math.MinInt64 && to == math.MaxInt64 {
		return true
	}
	z := int64(0)
	for _, l := range p.Study.Layers {
		if z -= l.ThicknessUm * plane.Micrometre; l.Name == w.Pattern.Bar && w.Pattern.View == saw.Face && w.Pattern.Surface == saw.Clean && w.Pattern.DomeUm > 1 {
			return to == math.MaxInt64 && from <= z
		}
	}
	return false
}

// proved is a length that no stone of a body passes in the region; looking ends where it is below enough.
func (p *planner) proved(r saw.Region, b *body, enough int64) int64 {
	l := &larger{b: b, w: newWalls(r), region: r, space: space{ctx: p.ctx}}
	rng := Seeded(1)
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
	most, _ := l.prove(p.ctx, e)
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
		if a.Ring == nil || p.ended() || zone != "" && !plane.Holds(within, a.Ring) || l.stretch != 1 {
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

// even is whether the piece has no hollow that could part two stones. Take two stones that no cut parts, and of
// each the disk about its middle that it holds, of radius ρ at least. All between the disks lies within the hull
// and on the same side of each cut. A hollow that parts them reaches across, from one side of the strip between the
// disks to the other; it begins at one straight side of the hull, from which the nearer disk's middle is ρ away or
// more, so one of its two sides there is as far too. A hollow that is nowhere so deep parts nothing.
func (p *planner) even(whole plane.Ring) bool {
	least := math.Inf(1)
	for _, w := range p.wants {
		if len(w.Sizes) == 0 {
			least = min(least, w.body.ball*float64(max(w.FromUm, shortest))/2)
		}
		for i, s := range w.Sizes {
			least = min(least, w.bodies[i].ball*float64(s.LengthUm)/2)
		}
	}
	return deepest(whole) < least
}

// deepest is how far any corner lies within the hull's side that bridges its hollow, in micrometres.
func deepest(r plane.Ring) (most float64) {
	hull := hullOf(r)
	if len(hull) < 3 {
		return math.Inf(1)
	}
	um := make([]vec, len(r))
	start := -1
	on := func(p vec) bool { return slices.Contains(hull, p) }
	for i, p := range r {
		um[i] = vec{float64(p.X) / plane.Micrometre, float64(p.Y) / plane.Micrometre}
		if start < 0 && on(um[i]) {
			start = i
		}
	}
	from := um[start]
	for i := 1; i <= len(um); {
		to := i
		for !on(um[(start+to)%len(um)]) {
			to++
		}
		d := um[(start+to)%len(um)].minus(from)
		for ; i < to; i++ {
			most = max(most, math.Abs(d.cross(um[(start+i)%len(um)].minus(from)))/d.length())
		}
		from = um[(start+to)%len(um)]
		i = to + 1
	}
	return most
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

// polygon is a convex ring in micrometres, against the clock.
type polygon []vec

// hullOf is the convex hull of a ring (Andrew 1979), in micrometres.
func hullOf(r plane.Ring) polygon {
	at := make([]vec, len(r))
	for i, p := range r {
		at[i] = vec{float64(p.X) / plane.Micrometre, float64(p.Y) / plane.Micrometre}
	}
	slices.SortFunc(at, func(a, b vec) int { return cmp.Or(cmp.Compare(a.x, b.x), cmp.Compare(a.y, b.y)) })
	var out polygon
	chain := func(from int, p vec) {
		for len(out) >= from+2 && out[len(out)-1].minus(out[len(out)-2]).cross(p.minus(out[len(out)-2])) <= 0 {
			out = out[:len(out)-1]
		}
		out = append(out, p)
	}
	for _, p := range at {
		chain(0, p)
	}
	lower := len(out) - 1
	for i := len(at) - 2; i >= 0; i-- {
		chain(lower, at[i])
	}
	return out[:len(out)-1]
}

func (p polygon) area() (sum float64) {
	for i, a := range p {
		sum += a.cross(p[(i+1)%len(p)]) / 2
	}
	return sum
}

func (p polygon) around() (sum float64) {
	for i, a := range p {
		sum += p[(i+1)%len(p)].minus(a).length()
	}
	return sum
}

// fewer is a polygon of at most n sides round a convex one: again and again the side is left out whose neighbours,
// drawn on until they meet, add the least. It is nil where no side can be left out.
func fewer(p polygon, n int) polygon {
	p = slices.Clone(p)
	for len(p) > n {
		best, at, meet := math.Inf(1), -1, vec{}
		for i := range p {
			a, b, c, d := p[(i+len(p)-1)%len(p)], p[i], p[(i+1)%len(p)], p[(i+2)%len(p)]
			u, v := b.minus(a), c.minus(d)
			den := u.cross(v)
			if den >= 0 {
				continue // they part, or run side by side
			}
			t := d.minus(a).cross(v) / den
			x := a.plus(u.times(t))
			if t < 1 {
				continue
			}
			if add := x.minus(b).cross(c.minus(b)) / -2; math.Abs(add) < best {
				best, at, meet = math.Abs(add), i, x
			}
		}
		if at < 0 {
			return nil
		}
		p[at] = meet
		p = slices.Delete(p, (at+1)%len(p), (at+1)%len(p)+1)
	}
	return p
}
