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
}

// depth sets the stone as high into its bar, or part, as it goes, and finds whether there is depth and backing
// enough below.
func (f *fitting) depth() error {
	f.frame = frame{f.s.cos, f.s.sin, f.s.View == Back}
	if f.s.Bar != "" {
		if err := f.findBar(); err != nil {
			return err
		}
	}
	l := f.lie()
	whole := f.inPart(&l)
	if f.bar != nil {
		f.inBar(&l)
	}
	top := l.roof >> 1
	if _, _, level := upright(f.p.section); !level || f.frame.sin != 0 {
		top -= 2 // where edges slope, rounding may set it so much too high
	}
	f.out.Section = f.s.side(plane.Point{X: l.u, Y: top})
	for i, p := range f.out.Section {
		f.out.Section[i] = f.frame.out(p)
	}
	if f.frame.back {
		slices.Reverse(f.out.Section)
	}
	bottom := top - f.s.DepthUm*plane.Micrometre
	if lack := l.floor/2 - bottom; lack > 0 && whole {
		f.finds(EnoughDepth, "", l.u, bottom, lack, "part %s isn't deep enough below the stone's face for %v", f.p.name, measure.Length(f.s.DepthUm))
	}
	if f.bar != nil && l.under.from <= l.under.to {
		f.backing(l, top, bottom)
	}
	return nil
}

// finds notes a finding at a place of the stone's frame.
func (f *fitting) finds(rule Rule, against string, u, v, byNm int64, format string, args ...any) {
	f.find(rule, against, false, Section, f.frame.out(plane.Point{X: u, Y: v}), float64(byNm), format, args...)
}

// findBar finds what of the bar that the stone claims is in its part.
func (f *fitting) findBar() error {
	for i := range f.whole.layers {
		if l := &f.whole.layers[i]; l.name == f.s.Bar {
			f.bar = &layer{name: l.name, kind: l.kind, sgMilli: l.sgMilli}
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

// lie finds where along the section the stone lies.
func (f *fitting) lie() lying {
	middle := f.trace.along(f.s.at).X
	z := extent(f.p.section, span{middle, middle})
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
	return l
}

// inPart finds how high the part lets the stone go and where its floor is, and whether it is there all along.
func (f *fitting) inPart(l *lying) bool {
	missing, at := int64(0), int64(0)
	f.scratch.over(f.frame.rings(f.p.section), l.reach, l.stops, func(from, to int64, low, high [2]int64, ok bool) {
		if !ok {
			missing, at = missing+to-from, from
			return
		}
		l.roof = min(l.roof, high[0]+l.below(from), high[1]+l.below(to))
		l.floor = max(l.floor, low[0], low[1])
	})
	if l.roof == math.MaxInt64 { // it lies beside the part
		l.roof = 2 * f.frame.in(plane.Point{}).Y
		l.floor = l.roof
	}
	if missing > 0 {
		f.finds(InsidePart, "", at, l.roof/2, missing, "the stone reaches beyond part %s along the section", f.p.name)
	}
	return missing == 0
}

// inBar lowers the stone until its face is in its bar: all of it, or where the face may be bare, some.
func (f *fitting) inBar(l *lying) {
	clean, best := int64(math.MaxInt64), int64(math.MinInt64)
	missing, at := int64(0), int64(0)
	f.scratch.over(f.frame.rings(f.bar.rings...), l.reach, l.stops, func(from, to int64, low, high [2]int64, ok bool) {
		if !ok {
			missing, at = missing+to-from, from
			return
		}
		clean, best = min(clean, high[0]+l.below(from), high[1]+l.below(to)), max(best, high[0], high[1])
		l.under = span{min(l.under.from, low[0], low[1]), max(l.under.to, low[0], low[1])}
	})
	switch {
	case best == math.MinInt64:
		f.finds(InsideBar, f.bar.name, l.u, l.roof/2, missing, "there is nothing of %s below the stone in part %s", f.bar.name, f.p.name)
	case f.s.Surface != Clean:
		l.roof = min(l.roof, best)
	default:
		if l.roof = min(l.roof, clean); missing > 0 {
			f.finds(InsideBar, f.bar.name, at, l.roof/2, missing, "the stone reaches beyond %s", f.bar.name)
		}
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
