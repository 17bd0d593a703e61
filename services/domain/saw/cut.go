package saw

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"seamshare.example/services/domain/measure"

	"seamshare.example/services/domain/measure/plane"
)

// cutting is a saw cut or a split.
type cutting struct {
	path, at    string
	view        View
	line        Line
	left, right []string
	blade       *Blade // nil: a split
}

func (ev *evaluation) saw(w *way, b *Branch, p part, path string, s Saw) error {
	for i := range ev.plan.Blades {
		if blade := &ev.plan.Blades[i]; blade.Name == s.Blade {
			return ev.part(w, b, p, cutting{path, path + ".saw", s.View, s.Line, s.Left, s.Right, blade})
		}
	}
	return invalid(path+".saw.blade", quoted(s.Blade), "the plan has no such blade")
}

// front is a cut's view and line with the back turned over into the face view. Left stays left as drawn: turning
// over swaps the sides, and so do the line's ends.
func front(v View, l Line) (View, plane.Line) {
	a, b := nm(l.A), nm(l.B)
	if v == Back {
		a.X, b.X = -a.X, -b.X
		return Face, plane.Line{A: b, B: a}
	}
	return v, plane.Line{A: a, B: b}
}

// part parts a part by a straight cut.
func (ev *evaluation) part(w *way, b *Branch, p part, c cutting) error {
	view, line := front(c.view, c.line)
	var kerf, wander int64
	if c.blade != nil {
		kerf, wander = c.blade.KerfUm*plane.Micrometre, c.blade.WanderUm*plane.Micrometre
		ev.reach(b, p, c, view, line)
	}
	left, right := ev.cut(p, view, line, kerf)
	if c.blade != nil {
		ev.grip(b, p, c, view, line, left, right)
	}
	var made []part
	for _, s := range []struct {
		side  string
		names []string
		parts []part
		line  plane.Line
	}{{"left", c.left, left, line}, {"right", c.right, right, plane.Line{A: line.B, B: line.A}}} {
		if len(s.parts) < len(s.names) {
			if len(s.parts) == 0 {
				return invalid(c.at+".line", fmt.Sprintf("%v to %v", c.line.A, c.line.B), "the cut misses part %s: nothing is left on its %s; move the line", p.name, s.side)
			}
			return invalid(c.at+"."+s.side, fmt.Sprintf("%q", s.names), "the cut gives %d on that side of part %s; name no more", len(s.parts), p.name)
		}
		for i, q := range s.parts {
			if q.unplaced = i >= len(s.names); q.unplaced {
				q.name = s.names[len(s.names)-1] + "/" + strconv.Itoa(i-len(s.names)+2)
				ev.find(b, Finding{
					Rule: AllNamed, Path: c.path, Part: q.name, View: Face, At: um(q.face.Centroid()), Notice: true,
					Text: fmt.Sprintf("the cut gives %d parts on its %s, %d have names; the rest counts as waste", len(s.parts), s.side, len(s.names)),
				})
			} else {
				q.name = s.names[i]
			}
			q.from, q.step, q.trimmed = p.name, c.path, false
			if view == Section {
				q = q.cutOff(s.line, kerf)
			}
			if c.blade != nil {
				side, _ := s.line.Band(kerf)
				q = q.beside(sawn{view, s.line, side, kerf/2 + wander, wander, c.path})
			}
			ev.weigh(&q)
			made = append(made, q)
		}
	}
	lost := ev.share(p, made, c.blade != nil)
	for _, q := range made {
		if err := w.add(c.at, q); err != nil {
			return err
		}
		b.Parts = append(b.Parts, q.shown())
	}
	if c.blade != nil {
		loss := Loss{Reason: Kerf, Part: p.name, Path: c.path, MassUg: lost}
		if kerf > 0 {
			loss.AreaUm2 = ev.kerfArea(p, made, kerf)
		}
		b.Losses = append(b.Losses, loss)
	}
	return nil
}

// kerfArea is what of the part is no more, by the kerf.
func (ev *evaluation) kerfArea(p part, made []part, kerf int64) int64 {
	v := ev.volume(p)
	for _, q := range made {
		v -= ev.volume(q)
	}
	return int64(math.Round(max(0, v) / float64(kerf) / (plane.Micrometre * plane.Micrometre)))
}

// chord is from where to where a line runs through a ring, first way in to last way out, as the two points.
func chord(r plane.Ring, l plane.Line) (a, b plane.Point, ok bool) {
	d := l.B.Minus(l.A)
	low, high := math.Inf(1), math.Inf(-1)
	length := math.Hypot(float64(d.X), float64(d.Y))
	p := r[len(r)-1]
	hp := beyond(l, d, p)
	for _, q := range r {
		hq := beyond(l, d, q)
		if (hp > 0) != (hq > 0) {
			f := float64(hp) / (float64(hp) - float64(hq))
			v := p.Minus(l.A)
			at := (float64(d.X*v.X+d.Y*v.Y) + float64(f*float64(d.X*(q.X-p.X)+d.Y*(q.Y-p.Y)))) / length
			low, high = min(low, at), max(high, at)
		}
		p, hp = q, hq
	}
	if low > high {
		return a, b, false
	}
	on := func(t float64) plane.Point {
		return l.A.Plus(plane.Point{X: int64(math.Round(t * float64(d.X) / length)), Y: int64(math.Round(t * float64(d.Y) / length))})
	}
	return on(low), on(high), true
}

// beyond is above zero to the left of the line: the distance times the length of d.
func beyond(l plane.Line, d, p plane.Point) int64 {
	v := p.Minus(l.A)
	return d.X*v.Y - d.Y*v.X
}

// away is how far to the left of the line a point lies, in nanometres.
func away(l plane.Line, p plane.Point) float64 {
	d := l.B.Minus(l.A)
	return float64(beyond(l, d, p)) / math.Hypot(float64(d.X), float64(d.Y))
}

// reach finds whether the blade gets through. It goes in along the shorter way through the cut's face.
func (ev *evaluation) reach(b *Branch, p part, c cutting, view View, l plane.Line) {
	r := p.face
	if view == Section {
		r = p.section
	}
	from, to, ok := chord(r, l)
	if !ok {
		return // it misses, and that will be said
	}
	long := math.Hypot(float64(to.X-from.X), float64(to.Y-from.Y))
	s := span{from.X, to.X}
	other := p.section
	if view == Section {
		other = ev.trace.ring(p.face)
	} else {
		s = span{ev.trace.along(from).X, ev.trace.along(to).X}
	}
	if s.from > s.to {
		s.from, s.to = s.to, s.from
	}
	z := extent(other, s)
	deep := int64(math.Ceil(min(long, float64(z.to-z.from)) / plane.Micrometre))
	if deep > c.blade.ReachUm {
		ev.find(b, Finding{
			Rule: WithinReach, Path: c.path, Part: p.name, View: view, At: um(from), ByUm: deep - c.blade.ReachUm,
			Text: fmt.Sprintf("the cut is %v deep, blade %s reaches %v", measure.Length(deep), c.blade.Name, measure.Length(c.blade.ReachUm)),
		})
	}
}

// extent is how far a ring reaches in its second coordinate over a stretch of the first.
func extent(r plane.Ring, s span) span {
	out := span{math.MaxInt64, math.MinInt64}
	note := func(v int64) { out = span{min(out.from, v), max(out.to, v)} }
	p := r[len(r)-1]
	for _, q := range r {
		if s.from <= q.X && q.X <= s.to {
			note(q.Y)
		}
		for _, x := range []int64{s.from, s.to} {
			if p.X < x && x < q.X || q.X < x && x < p.X {
				note(p.Y + int64(math.Round(float64((q.Y-p.Y)*(x-p.X))/float64(q.X-p.X))))
			}
		}
		p = q
	}
	if out.from > out.to {
		return span{}
	}
	return out
}

// grip finds whether there is enough of the part on one side of the cut to hold it by.
func (ev *evaluation) grip(b *Branch, p part, c cutting, view View, l plane.Line, left, right []part) {
	need := float64(ev.plan.Settings.GripUm * plane.Micrometre)
	if need == 0 {
		return
	}
	most := 0.0
	for _, q := range slices.Concat(left, right) {
		most = max(most, l.Farthest(q.in(view))-float64(c.blade.KerfUm*plane.Micrometre)/2)
	}
	if most < need-1 {
		ev.find(b, Finding{
			Rule: EnoughGrip, Path: c.path, Part: p.name, View: c.view, At: c.line.A, ByUm: ceilUm(need - most),
			Text: fmt.Sprintf("on neither side of the cut there are %v to hold the part by", measure.Length(ev.plan.Settings.GripUm)),
		})
	}
}

// ceilUm is nanometres in whole micrometres, rounded up.
func ceilUm(nm float64) int64 { return int64(math.Ceil(nm / plane.Micrometre)) }
