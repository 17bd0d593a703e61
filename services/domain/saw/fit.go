package saw

import (
	"fmt"
	"math"

	"seamshare.example/services/domain/measure"

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
	bar    *claimed
	drawn  plane.Ring // its side view by the study as drawn
}

func (f *fitting) find(rule Rule, against string, supposed bool, view View, at plane.Point, byNm float64, format string, args ...any) {
	f.out.Fits = false
	f.evaluation.find(f.b, Finding{
		Rule: rule, Path: f.path, Part: f.p.name, Stone: f.s.Name, Against: against, Supposed: supposed, View: view, At: um(at),
		ByUm: max(1, ceilUm(byNm)), Text: fmt.Sprintf(format, args...),
	})
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
			f.find(a.Rule, a.Name, a.Supposed, Face, at, by, "the stone is too near to %s, %v is asked for", a.Name, millimetres(a.Margin))
		}
	}
	for _, c := range f.region.Beside {
		if short := c.short(outline); short > 0 {
			f.find(ClearOfCut, "", false, Face, worst(c, outline), short, "the blade may stray %v into the stone's side of the cut", millimetres(c.Wander))
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
			f.find(a.Rule, a.Name, a.Supposed, Section, at, by, "the stone is too near to %s, %v is asked for", a.Name, millimetres(a.Margin))
		}
	}
	for _, c := range f.p.sawn {
		if c.view != Section || c.wander == 0 {
			continue
		}
		beside := Beside{c.line, c.clear, c.wander}
		if short := beside.short(side); short > 0 {
			f.find(ClearOfCut, "", false, Section, worst(beside, side), short, "the blade may stray %v into the stone's side of the cut", millimetres(c.wander))
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
	f.find(ClearOfStone, o.Name, false, Face, at, float64(need)-apart, "the stone is too near to stone %s, %v is asked for", o.Name, measure.Length(f.plan.Settings.BetweenUm))
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
	// Of two that don't meet, a corner of one comes nearest to the other.
	apart := math.Inf(1)
	for _, p := range outline {
		for i := range path {
			if d := toStretch(path[max(i, 1)-1], path[i], p); d < apart {
				at, apart = p, d
			}
		}
	}
	deep := 0.0
	for _, p := range path {
		d := toEdge(outline, p)
		if outline.Where(p) != plane.Outside {
			if d >= deep {
				at, deep, apart = p, d, 0
			}
		} else {
			apart = min(apart, d)
		}
	}
	if (Avoid{Ring: a.Ring, Path: a.Path}).near(outline) {
		apart = 0
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
