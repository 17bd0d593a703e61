package search

import (
	"context"
	"fmt"
	"math"
	"slices"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// planner is a task made ready.
type planner struct {
	Task
	ctx     context.Context // lives as long as the search
	model   *saw.Model
	wants   []*want
	list    map[string][]saw.Price
	minute  float64 // what one costs, minor units
	gram    float64 // the greatest net price of a microgram of the rest, whatever its length
	kerf    int64   // nanometres
	schemes []*scheme
	pinned  *pin // a stone that stays where it is, or nil
}

// want is a Want made ready.
type want struct {
	Want
	at      int // its place in the task
	body    *body
	bodies  []*body // of Sizes
	unit    float64 // area of its outline over length times width
	perArea float64 // micrograms for a square micrometre of outline; an estimate
	edges   []int64 // lengths just below which a price ends
	avoided []saw.Avoid
	zone    plane.Ring
}

// scheme is a way to cut the piece in the section first.
type scheme struct {
	cuts  []saw.Line
	slabs []*slab
}

// slab is what the section cuts leave, before cuts across the face.
type slab struct {
	name  string
	part  saw.Part
	seats []seat
}

// seat is a want in a slab, and how far along the trace its depth lets it lie.
type seat struct {
	want   *want
	place  int // the first seat of the slab that may lie just where this may
	limits []saw.Beside
	avoid  []saw.Avoid // what of its obstacles is in its depth
}

// newPlanner makes a task ready but for its section.
func newPlanner(ctx context.Context, t Task) (*planner, error) {
	if err := t.check(); err != nil {
		return nil, err
	}
	m, err := saw.NewModel(t.Study)
	if err != nil {
		return nil, err
	}
	p := &planner{Task: t, ctx: ctx, model: m, list: map[string][]saw.Price{}, kerf: t.Blade.KerfUm * plane.Micrometre}
	p.minute = float64(t.Settings.HourMinor) / 60
	for _, m := range t.Prices.Markets {
		p.list[m.Name] = m.Prices
	}
	for _, price := range p.list[t.Rest.Market] {
		if price.Class == t.Rest.Class && t.Rest.Class != "" {
			p.gram = max(p.gram, p.netGram(price))
		}
	}
	if p.Rest.Kind == "" {
		p.Rest.Kind = saw.Shelf
	}
	for i, w := range t.Wants {
		made, err := p.ready(w, i)
		if err != nil {
			return nil, err
		}
		p.wants = append(p.wants, made)
	}
	return p, nil
}

// netGram is what is left of a microgram's price after the levy.
func (p *planner) netGram(price saw.Price) float64 {
	return float64(price.Minor) * (1 - float64(p.Settings.LevyBp)/10_000) / 1e6
}

func (p *planner) ended() bool { return p.ctx.Err() != nil }

// newCutter is a planner with its section laid out. When the context ends there are no more ways to cut, and no more
// places for stones; the first way, not to cut at all, is always there.
func newCutter(ctx context.Context, t Task) (*planner, error) {
	p, err := newPlanner(ctx, t)
	if err != nil {
		return nil, err
	}
	return p, p.section()
}

// in is the planner with only the wants of one market.
func (p *planner) in(market string) *planner {
	out := *p
	out.Task = p.Task.In(market)
	elsewhere := func(w *want) bool { return w.Pattern.Market != market }
	out.wants = slices.DeleteFunc(slices.Clone(p.wants), elsewhere)
	out.schemes = nil
	for _, s := range p.schemes {
		only := &scheme{cuts: s.cuts}
		for _, sl := range s.slabs {
			less := *sl
			less.seats = slices.DeleteFunc(slices.Clone(sl.seats), func(s seat) bool { return elsewhere(s.want) })
			less.group()
			only.slabs = append(only.slabs, &less)
		}
		out.schemes = append(out.schemes, only)
	}
	return &out
}

// group finds which seats may lie in the same places.
func (s *slab) group() {
	for i := range s.seats {
		s.seats[i].place = slices.IndexFunc(s.seats, s.seats[i].alike)
	}
}

// ready makes a want ready.
func (p *planner) ready(w Want, i int) (*want, error) {
	out := &want{Want: w, at: i}
	form := func(length, width int64) Form {
		return Form{Shape: w.Pattern.Shape, Ring: w.Pattern.Ring, Length: length, Width: width}
	}
	var err error
	slices.SortFunc(out.Sizes, func(a, b Size) int { return int(a.LengthUm*a.WidthUm - b.LengthUm*b.WidthUm) })
	if n := len(out.Sizes); n > 0 {
		middle := out.Sizes[n/2]
		out.Pattern.LengthUm, out.Pattern.WidthUm = middle.LengthUm, middle.WidthUm
		for _, s := range out.Sizes {
			b, err := newBody(form(s.LengthUm, s.WidthUm), w.Pattern.View)
			if err != nil {
				return nil, err
			}
			out.bodies = append(out.bodies, b)
		}
	}
	if out.body, err = newBody(form(out.Pattern.LengthUm, out.Pattern.WidthUm), w.Pattern.View); err != nil {
		return nil, err
	}
	out.unit = out.body.area / 4 / out.body.beta
	out.perArea = float64(w.Pattern.DepthUm-w.Pattern.DomeUm/3) * float64(p.Study.SGMilli) * 1e-9
	for _, price := range p.list[w.Pattern.Market] {
		if price.Class == w.Pattern.Class {
			if price.ToUm > 0 {
				out.edges = append(out.edges, price.ToUm-1)
			}
			if price.FromUm > 0 {
				out.edges = append(out.edges, price.FromUm-1)
			}
		}
	}
	for _, f := range p.Study.Features {
		if f.View == saw.Section {
			continue
		}
		points := make([]plane.Point, len(f.Points))
		for i, q := range f.Points {
			if points[i] = plane.Micrometres(q.X, q.Y); f.View == saw.Back {
				points[i].X = -points[i].X
			}
		}
		if f.Closed {
			ring, err := plane.CheckRing(points)
			if err != nil {
				return nil, err
			}
			points = ring
		}
		if f.Name == w.Pattern.Zone && f.Closed {
			out.zone = points
		}
		a := saw.Avoid{Name: f.Name, Kind: f.Kind, Path: points}
		switch {
		case f.Kind == saw.Crack:
			a.Margin = p.Settings.CrackUm * plane.Micrometre
		case f.Kind == saw.Rock && w.Pattern.Surface != saw.RockInFace, f.Kind == saw.Potch && w.Pattern.Surface != saw.PotchInFace:
			a.Margin = p.Settings.PotchUm * plane.Micrometre
		default:
			continue
		}
		if f.Closed {
			a.Ring, a.Path = points, nil
		}
		out.avoided = append(out.avoided, a)
	}
	if w.Pattern.Zone != "" && out.zone == nil {
		return nil, &saw.Invalid{Path: fmt.Sprintf("wants[%d].pattern.zone", i), Value: w.Pattern.Zone, Rule: "no zone of that name is drawn in face or back"}
	}
	return out, nil
}

// section lays out the ways to cut in the section, and what each leaves.
func (p *planner) section() error {
	whole, err := p.try(nil, nil)
	if err != nil {
		return err
	}
	part := whole.Trunk.Parts[0]
	ways := [][]saw.Line{nil}
	if between := p.between(part); len(between) > 0 {
		ways = append(ways, between)
	}
	ways = append(ways, p.slices(part)...)
	var refused error
	for _, cuts := range ways {
		if cuts != nil && p.ended() {
			break
		}
		s := &scheme{cuts: cuts}
		r, err := p.try(cuts, nil)
		if err != nil || r.Infeasible {
			refused = err
			continue
		}
		parts := map[string]saw.Part{}
		for _, part := range r.Trunk.Parts {
			parts[part.Name] = part
		}
		for i := range len(cuts) + 1 {
			slab := &slab{name: slabName(i, len(cuts)), part: parts[slabName(i, len(cuts))]}
			if len(cuts) == 0 {
				slab.part = part
			}
			for _, w := range p.wants {
				seats, err := p.seats(cuts, slab, w)
				if err != nil {
					return err
				}
				slab.seats = append(slab.seats, seats...)
			}
			slab.group()
			s.slabs = append(s.slabs, slab)
		}
		p.schemes = append(p.schemes, s)
	}
	if len(p.schemes) == 0 {
		return refused
	}
	return nil
}

func slabName(i, cuts int) string {
	if cuts == 0 {
		return saw.Whole
	}
	return fmt.Sprintf("slab %d", i+1)
}

// sectionSteps cuts slabs off from above.
func (p *planner) sectionSteps(cuts []saw.Line) (steps []saw.Step) {
	rest := saw.Whole
	for i, l := range cuts {
		next := fmt.Sprintf("rest %d", i+1)
		if i == len(cuts)-1 {
			next = slabName(i+1, len(cuts))
		}
		steps = append(steps, saw.Step{Part: rest, Minutes: p.SawMinutes, Do: saw.Saw{Blade: p.Blade.Name, View: saw.Section, Line: l, Left: []string{slabName(i, len(cuts))}, Right: []string{next}}})
		rest = next
	}
	return steps
}

// try evaluates a plan of section cuts and ends.
func (p *planner) try(cuts []saw.Line, ends []saw.End) (saw.Result, error) {
	return p.model.Evaluate(saw.Plan{Blades: []saw.Blade{p.Blade}, Settings: p.Settings, Steps: p.sectionSteps(cuts), Ends: ends}, p.Prices)
}

// between are cuts midway between the bars that stones are wanted of, from above.
func (p *planner) between(part saw.Part) []saw.Line {
	wanted := map[string]bool{}
	for _, w := range p.Wants {
		wanted[w.Pattern.Bar] = true
	}
	type bar struct{ top, bottom [2]int64 }
	var bars []bar
	box := part.Section.Box()
	at := [2]int64{box.Min.X + box.Size().X/10, box.Max.X - box.Size().X/10}
	for _, l := range part.Layers {
		if !wanted[l.Name] {
			continue
		}
		b := bar{[2]int64{math.MinInt64, math.MinInt64}, [2]int64{math.MaxInt64, math.MaxInt64}}
		for k, s := range at {
			for _, r := range l.Rings {
				if low, high, ok := upright(r, s); ok {
					b.top[k], b.bottom[k] = max(b.top[k], high), min(b.bottom[k], low)
				}
			}
		}
		// A bar that doesn't reach so far is taken as level.
		for k := range 2 {
			if b.top[k] == math.MinInt64 {
				b.top[k], b.bottom[k] = b.top[1-k], b.bottom[1-k]
			}
		}
		if b.top[0] != math.MinInt64 {
			bars = append(bars, b)
		}
	}
	slices.SortFunc(bars, func(a, b bar) int { return int((b.top[0] + b.top[1] - a.top[0] - a.top[1]) / plane.Micrometre) })
	var out []saw.Line
	for i := 1; i < len(bars); i++ {
		var ends [2]saw.Point
		for k := range 2 {
			ends[k] = saw.Point{X: at[k] / plane.Micrometre, Y: (bars[i-1].bottom[k] + bars[i].top[k]) / 2 / plane.Micrometre}
		}
		out = append(out, saw.Line{A: ends[0], B: ends[1]})
	}
	return out
}

// upright is from where to where a ring reaches at s.
func upright(r plane.Ring, s int64) (low, high int64, ok bool) {
	low, high = math.MaxInt64, math.MinInt64
	a := r[len(r)-1]
	for _, b := range r {
		if (a.X <= s) != (b.X <= s) {
			z := a.Y + int64(math.Round(float64(b.Y-a.Y)*float64(s-a.X)/float64(b.X-a.X)))
			low, high = min(low, z), max(high, z)
		}
		a = b
	}
	return low, high, low <= high
}

// slices are level cuts that part a piece in two or three of equal thickness, where stones of one material are so thin.
func (p *planner) slices(part saw.Part) (out [][]saw.Line) {
	thin := int64(0)
	for _, w := range p.Wants {
		if w.Pattern.Bar == "" && (thin == 0 || w.Pattern.DepthUm < thin) {
			thin = w.Pattern.DepthUm
		}
	}
	box := part.Section.Box()
	thick := box.Size().Y / plane.Micrometre
	for n := int64(2); n <= 3 && thin > 0 && thick >= n*thin+(n-1)*(p.Blade.KerfUm+2*p.Blade.WanderUm); n++ {
		var cuts []saw.Line
		for i := int64(1); i < n; i++ {
			z := box.Max.Y/plane.Micrometre - thick*i/n
			cuts = append(cuts, saw.Line{A: saw.Point{X: 0, Y: z}, B: saw.Point{X: 1_000, Y: z}})
		}
		out = append(out, cuts)
	}
	return out
}

// samples is at how many places along the trace a want is tried with the smallest stone.
const samples = 41

// seats finds where along the trace a slab is deep enough for a want: with the smallest stone, so no place is missed for
// being too near to one where it isn't.
func (p *planner) seats(cuts []saw.Line, sl *slab, w *want) (out []seat, err error) {
	from, to := p.alongTrace(sl.part.Face)
	tiny := w.Pattern
	tiny.Name, tiny.Shape, tiny.Ring, tiny.LengthUm, tiny.WidthUm = "s", saw.Round, nil, shortest, shortest
	var runs [][2]int
	low, high := int64(math.MaxInt64), int64(math.MinInt64)
	for i := range samples {
		if p.ended() {
			return nil, nil
		}
		s := from + (to-from)*(float64(i)+0.5)/samples
		tiny.At = p.traced(s)
		if tiny.View == saw.Back {
			tiny.At.X = -tiny.At.X
		}
		r, err := p.try(cuts, []saw.End{{Part: sl.name, Kind: saw.Stones, Stones: []saw.Stone{tiny}}})
		if err != nil {
			return nil, err
		}
		bad := false
		for _, f := range r.Trunk.Findings {
			bad = bad || !f.Notice && f.View == saw.Section && f.Stone == "s"
		}
		if bad {
			continue
		}
		box := r.Trunk.Ends[0].Stones[0].Section.Box()
		low, high = min(low, box.Min.Y), max(high, box.Max.Y)
		if n := len(runs); n > 0 && runs[n-1][1] == i-1 {
			runs[n-1][1] = i
		} else {
			runs = append(runs, [2]int{i, i})
		}
	}
	var avoid []saw.Avoid
	for i, f := range w.avoided {
		if p.inDepth(f.Name, low, high) {
			avoid = append(avoid, w.avoided[i])
		}
	}
	for _, run := range runs {
		out = append(out, seat{want: w, avoid: avoid})
		seat := &out[len(out)-1]
		if run[0] > 0 {
			seat.limits = append(seat.limits, p.across(from+(to-from)*float64(run[0])/samples, false))
		}
		if run[1] < samples-1 {
			seat.limits = append(seat.limits, p.across(from+(to-from)*(float64(run[1])+1)/samples, true))
		}
	}
	return out, nil
}

// alike is whether two seats may lie in the same places.
func (s seat) alike(o seat) bool {
	same := func(a, b saw.Avoid) bool { return a.Name == b.Name }
	return s.want.Pattern.Zone == o.want.Pattern.Zone && slices.Equal(s.limits, o.limits) && slices.EqualFunc(s.avoid, o.avoid, same)
}

// inDepth is whether a feature of face or back may be at a stone's height.
func (p *planner) inDepth(name string, low, high int64) bool {
	from, to := p.model.Reach(name)
	return from < high && low < to
}

// floor is the lowest point of the piece.
func (p *planner) floor() int64 {
	if len(p.Study.Profile) == 0 {
		return -p.Study.ThicknessUm * plane.Micrometre
	}
	z := int64(0)
	for _, q := range p.Study.Profile {
		z = min(z, q.Y*plane.Micrometre)
	}
	return z
}

// trace is the section's first point and direction in the face view.
func (p *planner) trace() (a, d vec) {
	if p.Study.Trace == (saw.Line{}) {
		return vec{}, vec{1, 0}
	}
	a = vec{float64(p.Study.Trace.A.X), float64(p.Study.Trace.A.Y)}.times(plane.Micrometre)
	d = vec{float64(p.Study.Trace.B.X), float64(p.Study.Trace.B.Y)}.times(plane.Micrometre).minus(a)
	return a, d.times(1 / d.length())
}

func (p *planner) alongTrace(r plane.Ring) (from, to float64) {
	a, d := p.trace()
	from, to = math.Inf(1), math.Inf(-1)
	for _, q := range r {
		s := at(q).minus(a).dot(d)
		from, to = min(from, s), max(to, s)
	}
	return from, to
}

func (p *planner) traced(s float64) saw.Point {
	a, d := p.trace()
	return saw.Point{X: int64(math.Round((a.x + d.x*s) / plane.Micrometre)), Y: int64(math.Round((a.y + d.y*s) / plane.Micrometre))}
}

// across is a limit square to the trace: the outline lies where s is greater, or less.
func (p *planner) across(s float64, less bool) saw.Beside {
	a, d := p.trace()
	m := vec{a.x + d.x*s, a.y + d.y*s}
	const long = 100 * plane.Millimetre
	n := vec{d.y * long, -d.x * long} // greater s is on its left
	if less {
		n = vec{-n.x, -n.y}
	}
	from := plane.Point{X: int64(m.x), Y: int64(m.y)}
	return saw.Beside{Line: plane.Line{A: from, B: from.Plus(plane.Point{X: int64(n.x), Y: int64(n.y)})}}
}
