package draw

import (
	"math"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// views are those that there is something to show in.
func (d *drawing) views(c course) []saw.View {
	back := false
	for _, f := range append(d.study.Features, c.found...) {
		back = back || f.View == saw.Back
	}
	for _, u := range d.study.Underlays {
		back = back || u.View == saw.Back
	}
	for _, w := range c.work {
		back = back || viewOf(w.Step) == saw.Back
	}
	for _, b := range c.ended {
		if b.plan != nil {
			for _, s := range b.plan.Stones {
				back = back || s.View == saw.Back
			}
		}
	}
	if back {
		return []saw.View{saw.Face, saw.Section, saw.Back}
	}
	return []saw.View{saw.Face, saw.Section}
}

// viewOf is the view that a step is drawn in.
func viewOf(s saw.Step) saw.View {
	switch do := s.Do.(type) {
	case saw.Saw:
		return do.View
	case saw.Split:
		return do.View
	case saw.Trim:
		return do.View
	case saw.Grind, saw.Look:
	}
	return saw.Section
}

// scale is the largest at which a course's first part fits.
func (d *drawing) scale(c course, room int64) ratio {
	const round, high = 12_000, 96_000 // for sizes at either side, and so that a view isn't higher than a phone
	w, h := int64(0), int64(0)
	for _, v := range d.views(c) {
		s := c.start.in(v).Box().Size()
		w, h = max(w, s.X), max(h, s.Y)
	}
	return fitting(w, h, room-round, high)
}

// style is how a course's views are drawn.
type style struct {
	labelled bool   // features have their names
	plain    bool   // no names and sizes at all: to lay the piece on
	beside   bool   // the back may stand beside the rest
	heading  string // above the first
	first    int    // number of the first finding
}

// draw adds a course's views to a picture.
func (d *drawing) draw(p *picture, c course, s style) {
	p.scale = d.scale(c, p.room)
	p.flow(d.column(p, c, p.room, s))
}

// column draws a course's views: the section below the face, in line with it where it can be, and the back.
func (d *drawing) column(p *picture, c course, room int64, s style) [][]mark {
	var back, stacked []mark
	for _, v := range d.views(c) {
		q := newPane(v, d.caption(v), p.scale, &p.used, room, c.start.in(v))
		q.course(d, c, s)
		marks := q.finish()
		switch v {
		case saw.Face:
			if stacked = titled(q.caption, marks); s.heading != "" {
				stacked = stack(1_000, []mark{words{at: point{bounds(stacked).min.x, 0}, anchor: left, size: textSize, bold: true, text: s.heading}}, stacked)
			}
		case saw.Section:
			marks = titled(q.caption, marks)
			by := bounds(stacked).min.x - bounds(marks).min.x
			if shift, ok := d.inLine(); ok {
				by = p.scale.um(shift)
			}
			stacked = stack(4_000, stacked, moved(marks, point{by, 0}))
		case saw.Back:
			back = titled(q.caption, marks)
		}
	}
	switch {
	case len(back) == 0:
		return [][]mark{stacked}
	case s.beside:
		return [][]mark{stacked, back}
	}
	return [][]mark{stack(4_000, stacked, moved(back, point{bounds(stacked).min.x - bounds(back).min.x, 0}))}
}

// inLine is by how much the section's s is moved to be the face's x; not so where its trace runs another way.
func (d *drawing) inLine() (int64, bool) {
	t := d.study.Trace
	return t.A.X * plane.Micrometre, t == saw.Line{} || t.A.Y == t.B.Y && t.A.X < t.B.X
}

func (d *drawing) caption(v saw.View) string {
	switch v {
	case saw.Back:
		return "Back"
	case saw.Section:
		if d.study.Trace != (saw.Line{}) {
			return "Section A–B"
		}
		return "Section"
	case saw.Face:
	}
	return "Face"
}

// titled puts a caption above marks.
func titled(caption string, marks []mark) []mark {
	b := bounds(marks)
	return append(marks, words{at: point{b.min.x, b.min.y - 2_500}, anchor: left, size: smallSize, text: caption})
}

// stack puts marks below marks.
func stack(gap int64, above, below []mark) []mark {
	return append(above, moved(below, point{0, bounds(above).max.y + gap - bounds(below).min.y})...)
}

// course draws a branch in a view.
func (p *pane) course(d *drawing, c course, s style) {
	p.plain = s.plain
	whole := c.start.in(p.view)
	if !s.plain {
		p.photos(d.study, d.o.Photo)
		p.insides(d, c.start, c.found, s.labelled)
	}
	if !s.plain {
		p.gone(c)
	}
	p.outline(whole, wide, solid, "outline", c.start.name)
	if !s.plain {
		p.sizes(whole)
	}
	if c.number == "" {
		p.trace(d.study.Trace)
	}
	for _, w := range c.work {
		p.work(d, w)
	}
	for _, b := range c.ended {
		// What is trimmed to has its own line.
		if b.seen(p.view) && len(c.work) > 0 && (!b.trimmed || p.view == saw.Section) {
			p.outline(b.in(p.view), medium, solid, "part", "part "+b.name)
		}
	}
	p.stones(c.ended)
	if s.plain {
		p.late = nil
		return
	}
	for i, n := 0, s.first; i < len(c.branch.Findings); i++ {
		f := c.branch.Findings[i]
		if f.Notice {
			continue
		}
		if f.View == p.view {
			p.warned = append(p.warned, warned{p.at(nm(f.At)), n})
		}
		n++
	}
	for _, b := range c.ended {
		if p.labelsPart(b, d.views(c)) {
			kind := ""
			if b.end.Kind != saw.Stones {
				kind = ", " + string(b.end.Kind)
			}
			p.part(b, d.mass(b.ug)+kind)
		}
	}
}

// labelsPart is whether this is the first view that the part is seen in.
func (p *pane) labelsPart(b body, views []saw.View) bool {
	for _, v := range []saw.View{saw.Face, saw.Back, saw.Section} {
		for _, has := range views {
			if has == v && b.seen(v) {
				return v == p.view
			}
		}
	}
	return false
}

// insides draws what a part is made of, as far as a view shows it.
func (p *pane) insides(d *drawing, b body, found []saw.Feature, labelled bool) {
	if p.view == saw.Section {
		p.layers(d.study, b, labelled)
	}
	var list []saw.Feature
	for _, f := range append(append([]saw.Feature{}, d.study.Features...), found...) {
		// What doesn't reach deep isn't in a part that another one lies over.
		if f.DepthUm > 0 && (f.View == saw.Face && b.under || f.View == saw.Back && b.over) {
			continue
		}
		list = append(list, f)
	}
	p.features(list, b.in(p.view), labelled)
}

// part labels a part with its mass.
func (p *pane) part(b body, more string) {
	line := p.ring(b.in(p.view))
	if at := anchors(line, true); len(at) > 0 {
		p.late = append(p.late, label{lines: []string{name(b.name), more}, at: at[0], edge: at[min(1, len(at)-1):], region: line, size: smallSize})
	}
}

func (p *pane) stones(ended []body) {
	for _, b := range ended {
		if b.plan == nil {
			continue
		}
		for i, s := range b.plan.Stones {
			p.stone(s, b.end.Stones[i])
		}
	}
}

// work draws a step on the part as it is before it.
func (p *pane) work(d *drawing, w work) {
	before := w.before.in(p.view)
	switch do := w.Do.(type) {
	case saw.Saw:
		b := d.blade(do.Blade)
		if c, ok := d.seen(w.before, do.View, do.Line, p.view); ok {
			p.cut(before, c.line, c.wide(b.KerfUm), c.wide(b.WanderUm), false, w.number)
		}
	case saw.Split:
		if c, ok := d.seen(w.before, do.View, do.Line, p.view); ok {
			p.cut(before, c.line, 0, 0, true, w.number)
		}
	case saw.Trim:
		if p.view == saw.Section || !w.before.seen(p.view) {
			return
		}
		p.key(keyTrim)
		for _, b := range w.after {
			p.outline(b.in(p.view), wide, dotted, "trim", "part "+b.name)
		}
		if len(w.after) > 0 {
			p.numbered(w.number, p.ring(w.after[0].in(p.view))...)
		}
	case saw.Grind:
		p.ground(w)
	case saw.Look:
		if do.OffUm > 0 {
			p.ground(w)
			return
		}
		if p.view == saw.Face {
			if at := anchors(p.ring(before), true); len(at) > 0 {
				p.numbered(w.number, at[0])
			}
		}
	}
}

// gone hatches what becomes of nothing.
func (p *pane) gone(c course) {
	// In the section parts may lie behind one another: what is kept behind waste isn't hatched.
	var behind []plane.Ring
	for _, b := range c.ended {
		if p.view == saw.Section && b.end.Kind != saw.Waste {
			behind = append(behind, b.section)
		}
	}
	for _, w := range c.work {
		p.trimmed(w, behind)
	}
	for _, b := range c.ended {
		if b.end.Kind == saw.Waste && b.seen(p.view) {
			p.wasted(b.in(p.view), behind...)
		}
	}
}

// trimmed hatches what a trim takes, but for what lies behind, and clears the ground for the line that it leaves: under
// all other lines.
func (p *pane) trimmed(w work, behind []plane.Ring) {
	if _, ok := w.Do.(saw.Trim); !ok || !w.before.seen(p.view) {
		return
	}
	kept := make([]plane.Ring, len(w.after))
	for i, b := range w.after {
		kept[i] = b.in(p.view)
	}
	p.wasted(w.before.in(p.view), append(kept, behind...)...)
	if p.view == saw.Section {
		return
	}
	for _, r := range kept {
		p.add(shape{lines: [][]point{p.ring(r)}, closed: true, pen: halo, white: true, class: "halo"})
	}
}

// sight is a cut as a view shows it: where, and how much wider than square to the cut, since a section may meet it obliquely.
type sight struct {
	line   plane.Line
	factor float64
}

// wide is so many micrometres square to the cut, in nanometres of the view.
func (s sight) wide(um int64) int64 { return round(float64(um*plane.Micrometre) * s.factor) }

// seen is a cut of a part in a view. One made from face or back goes right through, so that it is seen in both, and in the section
// where it crosses the trace; without a trace, where it crosses the middle of its part. One that runs along the section
// rather than across isn't seen in it.
func (d *drawing) seen(b body, made saw.View, l saw.Line, in saw.View) (sight, bool) {
	line := plane.Line{A: nm(l.A), B: nm(l.B)}
	switch {
	case made == in:
		return sight{line, 1}, true
	case made == saw.Section || !b.seen(in):
		return sight{}, false
	}
	if made == saw.Back || in == saw.Back {
		line.A.X, line.B.X = -line.A.X, -line.B.X
	}
	if in != saw.Section {
		return sight{line, 1}, true
	}
	box := b.face.Box()
	from := plane.Point{Y: (box.Min.Y + box.Max.Y) / 2}
	way := plane.Point{X: plane.Millimetre}
	if t := d.study.Trace; t != (saw.Line{}) {
		from, way = nm(t.A), nm(t.B).Minus(nm(t.A))
	}
	// Where the cut crosses it: products of lengths in nanometres are taken as floats, the place is rounded to one.
	cut, off := line.B.Minus(line.A), line.A.Minus(from)
	cross := func(a, b plane.Point) float64 {
		return float64(float64(a.X)*float64(b.Y)) - float64(float64(a.Y)*float64(b.X))
	}
	length := func(a plane.Point) float64 { return math.Hypot(float64(a.X), float64(a.Y)) }
	across := cross(way, cut)
	factor := length(way) * length(cut) / math.Abs(across)
	if across == 0 || factor > math.Sqrt2 {
		return sight{}, false
	}
	f := cross(off, cut) / across
	at := plane.Point{X: from.X + round(f*float64(way.X)), Y: from.Y + round(f*float64(way.Y))}
	if !inside(b.face, at) {
		return sight{}, false
	}
	s := round(f * length(way))
	return sight{plane.Line{A: plane.Point{X: s}, B: plane.Point{X: s, Y: plane.Millimetre}}, factor}, true
}

// inside is whether a ring holds a point, to the micrometre.
func inside(r plane.Ring, at plane.Point) bool {
	line := make([]point, len(r))
	for i, q := range r {
		line[i] = point{q.X / plane.Micrometre, q.Y / plane.Micrometre}
	}
	return within(line, point{at.X / plane.Micrometre, at.Y / plane.Micrometre})
}

// ground draws what is ground away.
func (p *pane) ground(w work) {
	if p.view != saw.Section || len(w.after) == 0 {
		return
	}
	before, after := p.ring(w.before.section), p.ring(w.after[0].section)
	p.add(shape{lines: [][]point{before, after}, closed: true, pen: thin, fill: p.fill(waste), class: "ground"})
	at := before[0]
	for _, q := range before {
		if fromBack := around(before...).min.y == around(after...).min.y; fromBack && q.y > at.y || !fromBack && q.y < at.y {
			at = q
		}
	}
	p.numbered(w.number, at)
}

func (d *drawing) blade(name string) saw.Blade {
	for _, b := range d.plan.Blades {
		if b.Name == name {
			return b
		}
	}
	return saw.Blade{}
}
