package saw

import (
	"fmt"
	"math"

	"seamshare.example/services/domain/measure/plane"
)

// stones fits the stones of a part's end, weighs and prices them.
func (ev *evaluation) stones(w *way, b *Branch, p part, out *Ended, e End) error {
	faces, sections := ev.obstacles(w, p, false), ev.obstacles(w, p, true)
	out.Stones = make([]Planned, 0, len(e.Stones))
	for i, s := range e.Stones {
		path := fmt.Sprintf("%s.stones[%d]", out.Path, i)
		if other, ok := w.stone[s.Name]; ok {
			return invalid(path+".name", quoted(s.Name), "%s has this name already; give each its own", other)
		}
		w.stone[s.Name] = path
		b.Minutes += s.Minutes
		placed, err := ev.place(path, s)
		if err != nil {
			return err
		}
		f := fitting{evaluation: ev, b: b, p: p, s: placed, path: path}
		f.out = Planned{Name: s.Name, Path: path, Fits: true, ChanceBp: s.ChanceBp, Market: s.Market}
		if err := f.depth(); err != nil {
			return err
		}
		z := f.out.Section.Box()
		if f.region, err = ev.regionOf(w, p, s.Zone, path+".zone", s.Surface, span{z.Min.Y, z.Max.Y}, faces); err != nil {
			return err
		}
		f.face()
		f.section(sections)
		for j := range out.Stones {
			f.other(&out.Stones[j])
		}
		if f.out.Fits {
			f.weigh()
		}
		f.price()
		out.Stones = append(out.Stones, f.out)
	}
	ev.settle(b, p, out, e)
	return nil
}

// fitting is one stone being tried in its part.
type fitting struct {
	*evaluation
	b      *Branch
	p      part
	s      placed
	path   string
	region Region
	out    Planned
	frame  frame
	top    plane.Point // its highest point in its frame
	bar    *layer
}

func (f *fitting) find(rule Rule, against string, supposed bool, view View, at plane.Point, byNm float64, format string, args ...any) {
	f.out.Fits = false
	f.evaluation.find(f.b, Finding{
		Rule: rule, Path: f.path, Part: f.p.name, Stone: f.s.Name, Against: against, Supposed: supposed, View: view, At: um(at),
		ByUm: max(1, ceilUm(byNm)), Text: fmt.Sprintf(format, args...),
	})
}

// depth sets the stone as high into its bar, or part, as it goes, and finds whether there is depth and backing
// enough below.
func (f *fitting) depth() error {
	s := f.s
	f.frame = frame{s.cos, s.sin, s.View == Back}
	if s.Bar != "" {
		if err := f.findBar(); err != nil {
			return err
		}
	}
	middle := f.trace.along(s.at).X
	z := extent(f.p.section, span{middle, middle})
	up := z.to
	if s.View == Back {
		up = z.from
	}
	u := f.frame.in(plane.Point{X: middle, Y: up}).X
	reach := span{u + s.forward.from, u + s.forward.to}
	crest := s.crest()
	stops := make([]int64, len(crest))
	for i, c := range crest {
		stops[i] = u + c.X
	}
	drop := func(u0, u1 int64) (d [2]int64) {
		return [2]int64{below(crest, u0-u), below(crest, u1-u)}
	}

	// How high the part lets it go, and where its floor is.
	roof, floor := int64(math.MaxInt64), int64(math.MinInt64)
	missing, at := int64(0), int64(0)
	f.scratch.over(f.frame.rings(f.p.section), reach, stops, func(from, to int64, low, high [2]int64, ok bool) {
		if !ok {
			missing, at = missing+to-from, from
			return
		}
		d := drop(from, to)
		roof = min(roof, high[0]+d[0], high[1]+d[1])
		floor = max(floor, low[0], low[1])
	})
	if roof == math.MaxInt64 {
		roof, floor = 2*up, 2*up
		if f.frame.back {
			roof, floor = -roof, -floor
		}
	}
	if missing > 0 {
		f.find(InsidePart, "", false, Section, f.frame.out(plane.Point{X: at, Y: roof / 2}), float64(missing), "the stone reaches beyond part %s along the section", f.p.name)
	}

	// How high its bar is.
	under := span{math.MaxInt64, math.MinInt64} // the bar's lower boundary
	if f.bar != nil {
		clean, best := int64(math.MaxInt64), int64(math.MinInt64)
		missing := int64(0)
		f.scratch.over(f.frame.rings(f.bar.rings...), reach, stops, func(from, to int64, low, high [2]int64, ok bool) {
			if !ok {
				missing, at = missing+to-from, from
				return
			}
			d := drop(from, to)
			clean, best = min(clean, high[0]+d[0], high[1]+d[1]), max(best, high[0], high[1])
			under = span{min(under.from, low[0], low[1]), max(under.to, low[0], low[1])}
		})
		bare := s.Surface != Clean
		switch {
		case best == math.MinInt64:
			f.find(InsideBar, f.bar.name, false, Section, f.frame.out(plane.Point{X: u, Y: roof / 2}), float64(missing), "there is nothing of %s below the stone in part %s", f.bar.name, f.p.name)
		case bare:
			roof = min(roof, best)
		default:
			if roof = min(roof, clean); missing > 0 {
				f.find(InsideBar, f.bar.name, false, Section, f.frame.out(plane.Point{X: at, Y: roof / 2}), float64(missing), "the stone reaches beyond %s", f.bar.name)
			}
		}
	}
	top := roof >> 1
	if _, _, level := upright(f.p.section); !level || f.frame.sin != 0 {
		top -= 2 // where edges slope, rounding may set it so much too high
	}
	f.top = plane.Point{X: u, Y: top}
	side := s.side(f.top)
	f.out.Section = make(plane.Ring, len(side))
	for i, p := range side {
		f.out.Section[i] = f.frame.out(p)
	}
	if f.frame.back {
		reversed(f.out.Section)
	}

	bottom := top - s.DepthUm*plane.Micrometre
	if lack := floor/2 - bottom; lack > 0 && missing == 0 {
		f.find(EnoughDepth, "", false, Section, f.frame.out(plane.Point{X: u, Y: bottom}), float64(lack), "part %s isn't deep enough below the stone's face for %d µm", f.p.name, s.DepthUm)
	}
	if f.bar == nil || under.from > under.to {
		return nil
	}
	colour, backing := top-under.to/2, under.from/2-bottom
	f.out.ColourUm, f.out.BackingUm = max(0, rounded(colour, plane.Micrometre)), max(0, rounded(backing, plane.Micrometre))
	set := f.plan.Settings
	if lack := set.BackingUm*plane.Micrometre - backing; lack > 1 {
		f.find(EnoughBacking, f.bar.name, false, Section, f.frame.out(plane.Point{X: u, Y: under.from / 2}), float64(lack), "below %s the stone has %s µm of backing, at least %d are asked for", f.bar.name, micrometres(backing), set.BackingUm)
	} else if lack := 2*set.BevelUm*plane.Micrometre - backing; lack > 1 {
		f.find(BevelFits, f.bar.name, false, Section, f.frame.out(plane.Point{X: u, Y: bottom}), float64(lack)/2, "a bevel of %d µm is more than half of %s µm of backing", set.BevelUm, micrometres(backing))
	}
	if lack := s.DomeUm*plane.Micrometre - colour; lack > 1 && s.Surface == Clean {
		f.find(DomeFits, f.bar.name, false, Section, f.frame.out(plane.Point{X: u, Y: under.to / 2}), float64(lack), "the dome goes through %s, which is %s µm thick there", f.bar.name, micrometres(colour))
	}
	return nil
}

// findBar finds what of the bar that the stone claims is in its part.
func (f *fitting) findBar() error {
	for i := range f.whole.layers {
		if l := &f.whole.layers[i]; l.name == f.s.Bar {
			f.bar = &layer{name: l.name, kind: l.kind, sgMilli: l.sgMilli, class: l.class}
		}
	}
	if f.bar == nil {
		return invalid(f.path+".bar", quoted(f.s.Bar), "no layer of that name is in the section")
	}
	for _, l := range f.p.layers {
		if l.name == f.s.Bar {
			f.bar.rings = l.rings
		}
	}
	return nil
}

// below is twice how far below its top the stone's crest is at a place.
func below(crest []plane.Point, u int64) int64 {
	for i := 1; i < len(crest); i++ {
		p, q := crest[i-1], crest[i]
		if u > q.X && i < len(crest)-1 {
			continue
		}
		if q.X == p.X {
			return -2 * max(p.Y, q.Y)
		}
		u = min(max(u, p.X), q.X)
		// Twice, as boundaries are; rounded so that the stone is rather too high.
		return -2*p.Y - int64(math.Floor(2*float64(q.Y-p.Y)*float64(u-p.X)/float64(q.X-p.X)))
	}
	return 0
}

func micrometres(nm int64) string { return fmt.Sprint(rounded(nm, plane.Micrometre)) }

func reversed(r plane.Ring) {
	for i, j := 0, len(r)-1; i < j; i, j = i+1, j-1 {
		r[i], r[j] = r[j], r[i]
	}
}

// face tries the stone's outline in the face view.
func (f *fitting) face() {
	f.out.Outline = f.s.footprint()
	outline := f.out.Outline
	f.out.AreaUm2 = int64(f.s.known.outline.FaceArea())
	for _, w := range f.region.Within {
		if plane.Holds(w.Ring, outline) {
			continue
		}
		at, by := outside(w.Ring, outline)
		if w.Rule == InsideZone {
			f.find(w.Rule, w.Name, false, Face, at, by, "the stone reaches beyond %s", w.Name)
		} else {
			f.find(w.Rule, "", false, Face, at, by, "the stone reaches beyond part %s", f.p.name)
		}
	}
	for _, a := range f.region.Avoid {
		if a.near(outline) {
			at, by := nearest(outline, a)
			f.find(a.Rule, a.Name, a.Supposed, Face, at, by, "the stone is too near to %s, %d µm are asked for", a.Name, a.Margin/plane.Micrometre)
		}
	}
	for _, c := range f.region.Beside {
		if short := c.short(outline); short > 0 {
			f.find(ClearOfCut, "", false, Face, worst(c, outline), short, "the blade may stray %d µm into the stone's side of the cut", c.Wander/plane.Micrometre)
		}
	}
}

// section tries the stone's side view in the section.
func (f *fitting) section(cracks []Avoid) {
	side := f.out.Section
	if f.out.Fits && !plane.Holds(f.p.section, side) {
		at, by := outside(f.p.section, side)
		f.find(InsidePart, "", false, Section, at, by, "the stone reaches beyond part %s in the section", f.p.name)
	}
	for _, a := range cracks {
		if a.near(side) {
			at, by := nearest(side, a)
			f.find(a.Rule, a.Name, a.Supposed, Section, at, by, "the stone is too near to %s, %d µm are asked for", a.Name, a.Margin/plane.Micrometre)
		}
	}
	for _, c := range f.p.sawn {
		if c.view != Section || c.wander == 0 {
			continue
		}
		beside := Beside{c.line, c.clear, c.wander}
		if short := beside.short(side); short > 0 {
			f.find(ClearOfCut, "", false, Section, worst(beside, side), short, "the blade may stray %d µm into the stone's side of the cut", c.wander/plane.Micrometre)
		}
	}
}

// other keeps the stone apart from another of its part, beside or above it.
func (f *fitting) other(o *Planned) {
	need := max(1, f.plan.Settings.BetweenUm*plane.Micrometre)
	if !plane.RingsNearer(f.out.Outline, o.Outline, need) || !plane.RingsNearer(f.out.Section, o.Section, need) {
		return
	}
	apart := max(plane.RingsDistance(f.out.Outline, o.Outline), plane.RingsDistance(f.out.Section, o.Section))
	at, _ := nearest(f.out.Outline, Avoid{Ring: o.Outline})
	f.find(ClearOfStone, o.Name, false, Face, at, float64(need)-apart, "the stone is too near to stone %s, %d µm are asked for", o.Name, f.plan.Settings.BetweenUm)
}

// outside is where a ring reaches farthest beyond one that doesn't hold it, and by how much.
func outside(container, r plane.Ring) (at plane.Point, by float64) {
	for _, p := range r {
		if container.Where(p) == plane.Outside {
			if d := toEdge(container, p); d > by {
				at, by = p, d
			}
		}
	}
	for _, p := range container {
		if r.Where(p) == plane.Inside {
			if d := toEdge(r, p); d > by {
				at, by = p, d
			}
		}
	}
	if by == 0 {
		at = r[0]
	}
	return at, by
}

// nearest is where the outline comes nearest to an obstacle, and by how much it is too near. Where they meet, that is
// the margin and how far the obstacle reaches in.
func nearest(outline plane.Ring, a Avoid) (at plane.Point, by float64) {
	path := a.Path
	if a.Ring != nil {
		path = a.Ring.Closed()
	}
	apart := math.Inf(1)
	for _, p := range outline {
		d := 0.0
		if a.Ring == nil || a.Ring.Where(p) == plane.Outside {
			d = math.Inf(1)
			for i := range path {
				d = min(d, toStretch(path[max(i, 1)-1], path[i], p))
			}
		}
		if d < apart {
			at, apart = p, d
		}
	}
	deep := 0.0
	for _, p := range path {
		if outline.Where(p) != plane.Outside {
			if d := toEdge(outline, p); d >= deep {
				at, deep = p, d
			}
		}
	}
	if a.Ring != nil {
		apart = plane.RingsDistance(outline, a.Ring)
	} else {
		apart = plane.Distance(outline, a.Path)
	}
	return at, float64(a.Margin) - apart + deep
}

func worst(b Beside, outline plane.Ring) (at plane.Point) {
	least := math.Inf(1)
	for _, p := range outline {
		if d := away(b.Line, p); d < least {
			at, least = p, d
		}
	}
	return at
}
