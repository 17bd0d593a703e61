package draw

import (
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
	whole := c.start.in(p.view)
	if !s.plain {
		p.photos(d.study, d.o.Photo)
		p.insides(d, c.start, c.found, s.labelled)
	}
	for _, b := range c.ended {
		if !s.plain && b.end.Kind == saw.Waste && b.seen(p.view) {
			p.wasted(b.in(p.view))
		}
	}
	p.outline(whole, wide, solid, "outline", c.start.name)
	if !s.plain {
		p.sizes(whole)
	}
	if c.number == "" {
		p.trace(d.study.Trace)
	}
	p.plain = s.plain
	for _, w := range c.work {
		p.work(d, w)
	}
	for _, b := range c.ended {
		// What is trimmed to has its own line.
		if b.seen(p.view) && len(c.work) > 0 && (b.trimmed != p.view) {
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
		if do.View == p.view {
			p.cut(before, do.Line, d.blade(do.Blade), false, w.number)
		}
	case saw.Split:
		if do.View == p.view {
			p.cut(before, do.Line, saw.Blade{}, true, w.number)
		}
	case saw.Trim:
		if do.View != p.view {
			return
		}
		p.key(keyTrim)
		kept := make([]plane.Ring, len(w.after))
		for i, b := range w.after {
			kept[i] = b.in(p.view)
		}
		if w.before.seen(p.view) && !p.plain {
			p.wasted(before, kept...)
		}
		for i, r := range kept {
			p.outline(r, medium, dotted, "trim", "part "+w.after[i].name)
		}
		if len(kept) > 0 {
			p.numbered(w.number, p.ring(kept[0])...)
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
