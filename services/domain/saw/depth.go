package saw

import (
	"math"
	"slices"

	"seamshare.example/services/domain/measure"

	"seamshare.example/services/domain/measure/plane"
)

// lying is how a stone lies along the section, in its frame. Heights are in half nanometres, as sweeps give them.
type lying struct {
	u     int64 // of its middle
	reach span
	crest []plane.Point // its upper edge, from its top
	stops []int64       // where the crest bends
	roof  int64         // as high as its top may be
	floor int64         // as low as its back may be
	under span          // the lower boundary of its bar, lowest and highest
	best  int64         // the highest of its bar; math.MinInt64: there is none

	gap, gapAt   int64 // how much of its reach the part leaves open, and where
	bare, bareAt int64 // the same of its bar
}

// depth sets the stone as high into its bar, or part, as it goes, and finds whether there is depth and backing
// enough below.
func (f *fitting) depth() error {
	f.frame = frame{f.s.cos, f.s.sin, f.s.View == Back}
	within := solid{section: f.p.section}
	if f.s.Bar != "" {
		if err := f.findBar(); err != nil {
			return err
		}
		within.bar = f.bar.rings
	}
	l := f.lie(within)
	f.missing(l)
	top := l.roof >> 1
	if !f.level(within) {
		top -= 2 // where edges slope, rounding may set it so much too high
	}
	f.out.Section = f.side(l, top)
	bottom := top - f.s.DepthUm*plane.Micrometre
	if lack := l.floor/2 - bottom; lack > 0 && l.gap == 0 {
		f.finds(EnoughDepth, "", l.u, bottom, lack, "part %s isn't deep enough below the stone's face for %v", f.p.name, measure.Length(f.s.DepthUm))
	}
	f.drawn = f.out.Section
	if o, ok := f.uncut(within, l); ok {
		l, top = o, o.roof>>1
		f.drawn = f.side(l, top)
	}
	if f.bar != nil && l.under.from <= l.under.to {
		f.backing(l, top, top-f.s.DepthUm*plane.Micrometre)
	}
	return nil
}

// side is the stone's side view in the section, its top so high in its frame.
func (f *fitting) side(l lying, top int64) plane.Ring {
	r := f.s.side(plane.Point{X: l.u, Y: top})
	for i, p := range r {
		r[i] = f.frame.out(p)
	}
	if f.frame.back {
		slices.Reverse(r)
	}
	return r
}

// solid is what a stone lies in, as the section shows it.
type solid struct {
	section plane.Ring
	bar     []plane.Ring // of the bar that the stone claims
	bounds  []bound      // that section and bar are to be cut by
}

// level is whether no rounding comes into how a stone lies there.
func (f *fitting) level(s solid) bool {
	_, _, level := upright(s.section)
	for _, r := range s.bar {
		_, _, flat := upright(r)
		level = level && flat
	}
	return level && f.frame.sin == 0
}

// uncut is how the stone lies by what the study drew and the cuts' own lines, where a part's corners are rounded to
// the nanometre with each cut. What a stone is said to weigh, and how thick its bar, so hangs on no cut but those
// that it lies against. It is false where nothing was rounded, and where that is another place, in a section that
// overhangs.
func (f *fitting) uncut(part solid, l lying) (o lying, ok bool) {
	if f.level(part) {
		return o, false
	}
	drawn := solid{section: f.whole.section, bounds: f.p.bounds}
	if f.bar != nil {
		drawn.bar = f.bar.drawn
	}
	near := func(a, b int64) bool { return max(a-b, b-a) < 2*plane.Micrometre }
	o = f.lie(drawn)
	return o, near(o.roof, l.roof) && (l.under.from > l.under.to || near(o.under.from, l.under.from) && near(o.under.to, l.under.to))
}

// finds notes a finding at a place of the stone's frame.
func (f *fitting) finds(rule Rule, against string, u, v, byNm int64, format string, args ...any) {
	f.find(rule, against, false, Section, f.frame.out(plane.Point{X: u, Y: v}), float64(byNm), format, args...)
}

// claimed is the bar that a stone claims, in its part and as drawn.
type claimed struct {
	layer
	drawn []plane.Ring
}

// findBar finds what of the bar that the stone claims is in its part.
func (f *fitting) findBar() error {
	for _, l := range f.whole.layers {
		if l.name == f.s.Bar {
			f.bar = &claimed{layer{name: l.name, kind: l.kind, sgMilli: l.sgMilli}, l.rings}
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

// lie finds where along the section the stone lies, how high what it lies in lets it go, and where its floor is.
func (f *fitting) lie(in solid) lying {
	middle := f.trace.along(f.s.at).X
	z := extent(in.section, span{middle, middle})
	for _, b := range in.bounds {
		z = b.within(z, middle)
	}
	up := plane.Point{X: middle, Y: z.to}
	if f.s.View == Back {
		up.Y = z.from
	}
	at := f.frame.in(up)
	l := lying{
		u: at.X, reach: span{at.X + f.s.forward.from, at.X + f.s.forward.to}, crest: f.s.crest(),
		roof: math.MaxInt64, floor: math.MinInt64, under: span{math.MaxInt64, math.MinInt64},
	}
	l.stops = make([]int64, len(l.crest))
	for i, c := range l.crest {
		l.stops[i] = l.u + c.X
	}
	bounds := f.frame.bounds(in.bounds)
	f.over(bounds, []plane.Ring{in.section}, l, func(from, to int64, low, high [2]int64, ok bool) {
		if !ok {
			l.gap, l.gapAt = l.gap+to-from, from
			return
		}
		l.roof = min(l.roof, high[0]+l.below(from), high[1]+l.below(to))
		l.floor = max(l.floor, low[0], low[1])
	})
	if l.roof == math.MaxInt64 { // it lies beside the part
		l.roof = 2 * f.frame.in(plane.Point{}).Y
		l.floor = l.roof
	}
	if f.bar != nil {
		f.inBar(bounds, in.bar, &l)
	}
	return l
}

// over goes along the stone's reach in rings that bounds cut.
func (f *fitting) over(bounds []slope, rings []plane.Ring, l lying, tell func(from, to int64, low, high [2]int64, ok bool)) {
	f.scratch.over(f.frame.rings(rings...), l.reach, l.stops, func(from, to int64, low, high [2]int64, ok bool) {
		for _, b := range bounds {
			for k, u := range []int64{from, to} {
				if v := b.at(u); b.above {
					high[k] = min(high[k], v)
				} else {
					low[k] = max(low[k], v)
				}
			}
		}
		tell(from, to, low, high, ok && low[0] <= high[0] && low[1] <= high[1])
	})
}

// inBar lowers the stone until its face is in its bar: all of it, or where the face may be bare, some.
func (f *fitting) inBar(bounds []slope, bar []plane.Ring, l *lying) {
	clean := int64(math.MaxInt64)
	l.best = math.MinInt64
	f.over(bounds, bar, *l, func(from, to int64, low, high [2]int64, ok bool) {
		if !ok {
			l.bare, l.bareAt = l.bare+to-from, from
			return
		}
		clean, l.best = min(clean, high[0]+l.below(from), high[1]+l.below(to)), max(l.best, high[0], high[1])
		l.under = span{min(l.under.from, low[0], low[1]), max(l.under.to, low[0], low[1])}
	})
	switch {
	case l.best == math.MinInt64: // there is none
	case f.s.Surface != Clean:
		l.roof = min(l.roof, l.best)
	default:
		l.roof = min(l.roof, clean)
	}
}

// missing finds where part or bar don't reach all along the stone.
func (f *fitting) missing(l lying) {
	if l.gap > 0 {
		f.finds(InsidePart, "", l.gapAt, l.roof/2, l.gap, "the stone reaches beyond part %s along the section", f.p.name)
	}
	switch {
	case f.bar == nil:
	case l.best == math.MinInt64:
		f.finds(InsideBar, f.bar.name, l.u, l.roof/2, l.bare, "there is nothing of %s below the stone in part %s", f.bar.name, f.p.name)
	case f.s.Surface == Clean && l.bare > 0:
		f.finds(InsideBar, f.bar.name, l.bareAt, l.roof/2, l.bare, "the stone reaches beyond %s", f.bar.name)
	}
}

// backing finds whether the stone has backing enough below its bar, for its bevel too, and colour enough for its dome.
func (f *fitting) backing(l lying, top, bottom int64) {
	set, colour, backing := f.plan.Settings, top-l.under.to/2, l.under.from/2-bottom
	f.out.ColourUm, f.out.BackingUm = max(0, rounded(colour, plane.Micrometre)), max(0, rounded(backing, plane.Micrometre))
	if lack := set.BackingUm*plane.Micrometre - backing; lack > 1 {
		f.finds(EnoughBacking, f.bar.name, l.u, l.under.from/2, lack, "below %s the stone has %v of backing, at least %v is asked for", f.bar.name, millimetres(backing), measure.Length(set.BackingUm))
	} else if lack := 2*set.BevelUm*plane.Micrometre - backing; lack > 1 {
		f.finds(BevelFits, f.bar.name, l.u, bottom, lack/2, "a bevel of %v is more than half of %v of backing", measure.Length(set.BevelUm), millimetres(backing))
	}
	if lack := f.s.DomeUm*plane.Micrometre - colour; lack > 1 && f.s.Surface == Clean {
		f.finds(DomeFits, f.bar.name, l.u, l.under.to/2, lack, "the dome goes through %s, which is %v thick there", f.bar.name, millimetres(colour))
	}
}

// below is how far below its top the stone's crest is at a place.
func (l lying) below(u int64) int64 {
	for i := 1; i < len(l.crest); i++ {
		p, q := l.crest[i-1], l.crest[i]
		if u-l.u > q.X && i < len(l.crest)-1 {
			continue
		}
		if q.X == p.X {
			return -2 * max(p.Y, q.Y)
		}
		along := min(max(u-l.u, p.X), q.X) - p.X
		// Rounded so that the stone is set rather too low.
		return -2*p.Y - int64(math.Ceil(2*float64(q.Y-p.Y)*float64(along)/float64(q.X-p.X)))
	}
	return 0
}

// millimetres is a length in nanometres, in whole micrometres.
func millimetres(nm int64) measure.Length { return measure.Length(rounded(nm, plane.Micrometre)) }
