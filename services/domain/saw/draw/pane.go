package draw

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// pane is one view of something at one scale. The origin of the view is the origin of its paper.
type pane struct {
	view    saw.View
	scale   ratio
	caption string
	plain   bool // without hatching
	used    *legendary
	marks   []mark
	place   placer
	late    []label // placed when all that has its fixed place is there
	warned  []warned
}

type warned struct {
	at     point
	number int
}

// newPane is a pane around rings, with room for labels to that width. A pane that is too narrow for its rings is as wide
// as they are.
func newPane(view saw.View, caption string, scale ratio, used *legendary, room int64, rings ...plane.Ring) *pane {
	p := &pane{view: view, scale: scale, caption: caption, used: used}
	for _, r := range rings {
		p.place.core = p.place.core.with(around(p.ring(r)...))
	}
	core := p.place.core
	spare := max(0, room-core.width()) / 2
	p.place.from, p.place.to = core.min.x-spare, core.max.x+spare
	return p
}

// at is where a point of the view, in nanometres, is on the paper.
func (p *pane) at(q plane.Point) point {
	return point{p.scale.um(q.X), -p.scale.um(q.Y)}
}

func (p *pane) ring(r plane.Ring) []point { return p.path(plane.Path(r)) }

func (p *pane) path(r plane.Path) []point {
	out := make([]point, len(r))
	for i, q := range r {
		out[i] = p.at(q)
	}
	return out
}

func nm(q saw.Point) plane.Point { return plane.Micrometres(q.X, q.Y) }

func nms(points []saw.Point) []plane.Point {
	out := make([]plane.Point, len(points))
	for i, q := range points {
		out[i] = nm(q)
	}
	return out
}

func (p *pane) add(m ...mark) { p.marks = append(p.marks, m...) }

func (p *pane) fill(f fill) fill {
	if f != "" {
		p.used.fills[f] = true
	}
	return f
}

func (p *pane) key(k legendKey) { p.used.keys[k] = true }

// photos draws those that lie under the view, as much of them as is under the outline and a little round it.
func (p *pane) photos(study saw.Study, resolve func([32]byte) (Photo, bool)) {
	if resolve == nil {
		return
	}
	for _, u := range study.Underlays {
		if u.View != p.view {
			continue
		}
		ph, ok := resolve(u.SHA256)
		if !ok {
			continue
		}
		// Micrometres of paper for a step of one pixel to the right, from a long step, so that rounding is lost in it.
		const far = 100_000
		corner := u.Place(saw.Pixel{})
		step := u.Place(saw.Pixel{X: far}).Minus(corner)
		per := float64(p.scale.Num) / float64(p.scale.Den*plane.Micrometre*far)
		a, b := float64(step.X)*per, -float64(step.Y)*per
		p.add(photo{href: ph.Href, width: ph.Width, height: ph.Height, a: a / 1_000, b: b / 1_000, at: p.at(corner), shown: p.place.core.grown(1_000)})
	}
}

// features draws what of them belongs into the view and lies in the region, with their labels.
func (p *pane) features(list []saw.Feature, region plane.Ring, labelled bool) {
	clip := p.ring(region)
	var in []mark
	for _, f := range list {
		if f.View != p.view || p.view == saw.Section && (f.Closed || f.Kind == saw.Seam) {
			continue
		}
		line := p.path(nms(f.Points))
		dash := solid
		if f.Supposed {
			p.key(keySupposed)
			dash = dashed
		}
		switch {
		case f.Closed:
			in = append(in, shape{lines: [][]point{line}, closed: true, pen: thin, dash: dash, fill: p.fill(hatching(f.Kind)), class: "feature", hint: f.Name})
		case f.Kind == saw.Crack:
			p.key(keyCrack)
			in = append(in, crack(line, f.Supposed)...)
		default:
			p.key(keyRockLine)
			if dash == solid {
				dash = "4 .8"
			}
			in = append(in, shape{lines: [][]point{line}, pen: medium, dash: dash, class: "feature", hint: f.Name})
		}
		if labelled {
			p.name(featureLabel(f.Name, f.Class, "", f.Supposed), line, f.Closed, region)
		}
	}
	if len(in) > 0 {
		p.add(clipped{in, clip})
	}
}

// layers draws what a part's section is made of.
func (p *pane) layers(study saw.Study, b body, labelled bool) {
	for _, l := range b.layers {
		dash, text := solid, []string(nil)
		var middle []point
		for _, s := range study.Layers {
			if s.Name == l.Name {
				text = featureLabel(s.Name, s.Class, length(s.ThicknessUm), s.Supposed)
				if s.Supposed {
					dash = dashed
				}
			}
		}
		for _, f := range study.Features {
			if f.Name == l.Name {
				thick := ""
				if f.Kind == saw.Seam {
					thick, middle = length(f.ThicknessUm), p.path(nms(f.Points))
				}
				text = featureLabel(f.Name, f.Class, thick, f.Supposed)
				if f.Supposed {
					dash = dashed
				}
			}
		}
		if dash == dashed {
			p.key(keySupposed)
		}
		for i, r := range l.Rings {
			line := p.ring(r)
			p.add(shape{lines: [][]point{line}, closed: true, pen: thin, dash: dash, fill: p.fill(hatching(l.Kind)), class: "layer", hint: l.Name})
			if labelled && i == 0 {
				p.name(text, line, true, r)
			}
		}
		if len(middle) > 1 {
			p.add(clipped{[]mark{shape{lines: [][]point{middle}, pen: thin, dash: chain}}, p.ring(b.section)})
		}
	}
}

func featureLabel(n, class, thick string, supposed bool) []string {
	more := short(class, nameColumns)
	if thick != "" {
		if more != "" {
			more += ", "
		}
		more += thick
	}
	if supposed {
		if more != "" {
			more += ", "
		}
		more += "supposed"
	}
	if more == "" {
		return []string{name(n)}
	}
	return []string{name(n), more}
}

// name asks for a label at a line or region, where some of it lies in the part that is drawn.
func (p *pane) name(text []string, line []point, closed bool, part plane.Ring) {
	inside := p.ring(part)
	for _, q := range anchors(line, closed) {
		if within(inside, q) {
			l := label{lines: text, at: q, edge: []point{q}, size: smallSize}
			if closed {
				l.region = line
			}
			p.late = append(p.late, l)
			return
		}
	}
}

// anchors are places on a line or in a region to point at, the best first.
func anchors(line []point, closed bool) []point {
	var out []point
	if closed {
		b := around(line...)
		if m := b.middle(); within(line, m) {
			out = append(out, m)
		}
		for i := range line {
			// A hair inside an edge's middle, on whichever side that is.
			a, c := line[i], line[(i+1)%len(line)]
			d := c.minus(a)
			if d == (point{}) {
				continue
			}
			m := point{(a.x + c.x) / 2, (a.y + c.y) / 2}
			for _, side := range []point{{-d.y, d.x}, {d.y, -d.x}} {
				if q := m.plus(side.toward(300)); within(line, q) {
					out = append(out, q)
				}
			}
		}
		return out
	}
	for i := range line[1:] {
		out = append(out, point{(line[i].x + line[i+1].x) / 2, (line[i].y + line[i+1].y) / 2})
	}
	return out
}

// outline draws a ring.
func (p *pane) outline(r plane.Ring, pen int64, dash, class, hint string) {
	p.add(shape{lines: [][]point{p.ring(r)}, closed: true, pen: pen, dash: dash, class: class, hint: hint})
}

// wasted hatches a region as waste, without what of it lies in the other rings.
func (p *pane) wasted(r plane.Ring, but ...plane.Ring) {
	lines := [][]point{p.ring(r)}
	faces, err := plane.Difference([]plane.Ring{r}, but)
	if err == nil {
		lines = nil
	}
	for _, f := range faces {
		lines = append(lines, p.ring(f.Outer))
		for _, h := range f.Holes {
			lines = append(lines, p.ring(h))
		}
	}
	p.add(shape{lines: lines, closed: true, fill: p.fill(waste), class: "waste"})
}

// cut draws a saw cut or a split of a ring, with its number where the line leaves the drawing. Widths are in nanometres.
func (p *pane) cut(r plane.Ring, line plane.Line, width, wander int64, split bool, number string) {
	gone := kerf(r, line, width)
	d := line.B.Minus(line.A)
	long := math.Hypot(float64(d.X), float64(d.Y))
	from, to := math.Inf(1), math.Inf(-1)
	note := func(q plane.Point) {
		v := q.Minus(line.A)
		along := float64(float64(v.X)*float64(d.X)+float64(v.Y)*float64(d.Y)) / long
		from, to = min(from, along), max(to, along)
	}
	for _, g := range gone {
		for _, q := range g {
			note(q)
		}
	}
	if width == 0 {
		for _, q := range crossings(r, line) {
			note(q)
		}
	}
	if from > to {
		return // the cut misses it
	}
	on := func(along float64) point {
		f := along / long
		return p.at(plane.Point{X: line.A.X + round(f*float64(d.X)), Y: line.A.Y + round(f*float64(d.Y))})
	}
	ends := [2]point{on(from), on(to)}
	way := point{d.X, -d.Y}
	switch {
	case split:
		p.key(keySplit)
		p.add(shape{lines: [][]point{ends[:]}, pen: wide, dash: barred, class: "split"})
	case width == 0:
		p.key(keyKerf)
		p.add(shape{lines: [][]point{ends[:]}, pen: thin, class: "kerf"})
	default:
		p.key(keyKerf)
		s := shape{closed: true, fill: ink, class: "kerf"}
		for _, g := range gone {
			s.lines = append(s.lines, p.ring(g))
		}
		p.add(s)
	}
	p.wander(r, line, width, wander)
	p.place.leaders = append(p.place.leaders, ends)
	best, bestWay := point{}, int64(math.MaxInt64)
	start := point{}
	radius := p.balloonRadius(number)
	for i, end := range ends {
		out := way
		if i == 0 {
			out = point{-way.x, -way.y}
		}
		for away := radius + 1_500; away < bestWay; away += 700 {
			at := end.plus(out.toward(away))
			b := box{at, at}.grown(radius + 200)
			if !b.meets(p.place.core) && p.place.free(b) || away > 300_000 {
				best, bestWay, start = at, away, end
				break
			}
		}
	}
	if bestWay == math.MaxInt64 {
		best, start = ends[1], ends[1]
	}
	if v := best.minus(start); v.length() > float64(radius) {
		p.add(shape{lines: [][]point{{start, start.plus(v.toward(round(v.length()) - radius))}}, pen: thin, dash: chain, class: "way"})
	}
	p.balloon(number, best)
}

// kerf is what of a ring a saw takes.
func kerf(r plane.Ring, l plane.Line, width int64) []plane.Ring {
	if width == 0 {
		return nil
	}
	left, right := l.Band(width)
	var out []plane.Ring
	for _, half := range left.Other().Clip(nil, r) {
		out = right.Other().Clip(out, half)
	}
	return out
}

// wander draws how far to either side of a cut the blade may come.
func (p *pane) wander(r plane.Ring, l plane.Line, kerf, wander int64) {
	if wander == 0 {
		return
	}
	p.key(keyWander)
	d := l.B.Minus(l.A)
	long := math.Hypot(float64(d.X), float64(d.Y))
	for _, away := range []float64{-1, 1} {
		away *= (float64(kerf)/2 + float64(wander)) / long
		by := plane.Point{X: -round(away * float64(d.Y)), Y: round(away * float64(d.X))}
		ends := crossings(r, plane.Line{A: l.A.Plus(by), B: l.B.Plus(by)})
		slices.SortFunc(ends, func(a, b plane.Point) int {
			a, b = a.Minus(l.A), b.Minus(l.A)
			return cmp.Compare(float64(float64(a.X)*float64(d.X))+float64(float64(a.Y)*float64(d.Y)), float64(float64(b.X)*float64(d.X))+float64(float64(b.Y)*float64(d.Y)))
		})
		for i := 0; i+1 < len(ends); i += 2 {
			p.add(shape{lines: [][]point{{p.at(ends[i]), p.at(ends[i+1])}}, pen: thin, dash: sparse, class: "wander"})
		}
	}
}

// crossings are where a line meets the ring's edges, to the nanometre.
func crossings(r plane.Ring, l plane.Line) []plane.Point {
	var out []plane.Point
	d := l.B.Minus(l.A)
	away := func(q plane.Point) float64 {
		v := q.Minus(l.A)
		return float64(float64(d.X)*float64(v.Y)) - float64(float64(d.Y)*float64(v.X))
	}
	for i, q := range r {
		next := r[(i+1)%len(r)]
		a, b := away(q), away(next)
		if (a > 0) == (b > 0) {
			continue
		}
		f := a / (a - b)
		step := next.Minus(q)
		out = append(out, plane.Point{X: q.X + round(f*float64(step.X)), Y: q.Y + round(f*float64(step.Y))})
	}
	return out
}

// letters are the size of steps' numbers: small at the piece's own size, where stones are no larger than a fingernail.
func (p *pane) letters() int64 {
	if p.plain {
		return ownLetters
	}
	return smallSize
}

func (p *pane) balloonRadius(number string) int64 {
	size := p.letters()
	return max(size*85/100, width(number, size, true)/2+size/5)
}

// balloon is the number of a step in a circle.
func (p *pane) balloon(number string, at point) {
	r := p.balloonRadius(number)
	p.place.taken = append(p.place.taken, box{at, at}.grown(r+200))
	p.add(disc{at: at, radius: r, pen: thin, fill: blank}, words{at: at, anchor: mid, size: p.letters(), bold: true, text: number})
}

// numbered is a balloon outside the drawing that points to one of the places.
func (p *pane) numbered(number string, places ...point) {
	r := p.balloonRadius(number)
	b, at := p.place.outside(places, 2*r, 2*r)
	m := b.middle()
	if v := at.minus(m); v != (point{}) {
		p.add(shape{lines: [][]point{{m.plus(v.toward(r)), at}}, pen: thin, class: "leader"})
	}
	p.place.leaders = append(p.place.leaders, [2]point{m, at})
	p.balloon(number, m)
}

// arrow is a dimension line with a head at either end.
func arrow(a, b point) []mark {
	d := b.minus(a)
	long := round(d.length())
	if long == 0 {
		return nil
	}
	const head, half = 1_600, 320
	tip := func(at, way point) mark {
		base := at.plus(way.toward(min(head, long/2)))
		side := point{-way.y, way.x}.toward(half)
		return shape{lines: [][]point{{at, base.plus(side), base.minus(side)}}, closed: true, fill: ink}
	}
	return []mark{shape{lines: [][]point{{a, b}}, pen: thin, class: "dimension"}, tip(a, d), tip(b, point{-d.x, -d.y})}
}

// sizes draws how long and how wide a box of the drawing is: to the hundredth of a millimetre.
func (p *pane) sizes(r plane.Ring) {
	b, model := around(p.ring(r)...), r.Box().Size()
	text := func(nm int64) string { return mm(half(nm, 10*plane.Micrometre) * 10) }
	const away, over = 3_600, 800
	y := p.place.core.max.y + away
	p.add(shape{lines: [][]point{{{b.min.x, b.max.y + over}, {b.min.x, y + over}}, {{b.max.x, b.max.y + over}, {b.max.x, y + over}}}, pen: thin, class: "dimension"})
	p.add(arrow(point{b.min.x, y}, point{b.max.x, y})...)
	t := words{at: point{b.middle().x, y}, anchor: mid, size: smallSize, back: true, text: text(model.X)}
	p.add(t)
	p.place.taken = append(p.place.taken, box{point{b.min.x, y - over}, point{b.max.x, y + over}}, t.bounds())
	x := p.place.core.min.x - away
	p.add(shape{lines: [][]point{{{b.min.x - over, b.min.y}, {x - over, b.min.y}}, {{b.min.x - over, b.max.y}, {x - over, b.max.y}}}, pen: thin, class: "dimension"})
	p.add(arrow(point{x, b.min.y}, point{x, b.max.y})...)
	t = words{at: point{x, b.middle().y}, anchor: mid, size: smallSize, upward: true, back: true, text: text(model.Y)}
	p.add(t)
	p.place.taken = append(p.place.taken, box{point{x - over, b.min.y}, point{x + over, b.max.y}}, t.bounds())
}

// trace draws in the face view where the section lies.
func (p *pane) trace(l saw.Line) {
	if l == (saw.Line{}) || p.view != saw.Face {
		return
	}
	p.key(keyTrace)
	a, b := p.at(nm(l.A)), p.at(nm(l.B))
	way := b.minus(a)
	beyond := p.place.core.grown(1_500)
	in := func(q point) bool { return beyond.nearest(q) == q }
	// From the middle of the drawing's place on the line outwards.
	m := p.place.core.middle().minus(a)
	f := float64(float64(m.x)*float64(way.x)+float64(m.y)*float64(way.y)) / float64(float64(way.x)*float64(way.x)+float64(way.y)*float64(way.y))
	start := a.plus(point{round(f * float64(way.x)), round(f * float64(way.y))})
	for i, letter := range []string{"B", "A"} {
		out := way
		if i == 1 {
			out = point{-way.x, -way.y}
		}
		end := start
		for away := int64(500); in(end); away += 500 {
			end = start.plus(out.toward(away))
		}
		at := end.plus(out.toward(2_000))
		p.add(shape{lines: [][]point{{start, end}}, pen: thin, dash: chain, class: "trace"}, words{at: at, anchor: mid, size: smallSize, bold: true, text: letter})
		p.place.taken = append(p.place.taken, box{at, at}.grown(1_800))
	}
}

// stone draws a planned stone: in face or back its outline and how it lies, in the section its side.
func (p *pane) stone(s saw.Stone, planned saw.Planned) {
	if p.view != saw.Section && s.View != p.view {
		return
	}
	p.key(keyStone)
	ring := planned.Outline
	switch p.view {
	case saw.Section:
		ring = planned.Section
	case saw.Back:
		ring = ring.Mirrored()
	case saw.Face:
	}
	if len(ring) == 0 {
		return
	}
	line := p.ring(ring)
	hint := "stone " + s.Name + ", " + size(s) + " × " + mm(s.DepthUm) + " mm"
	p.add(shape{lines: [][]point{line}, closed: true, pen: wide, class: "stone", hint: hint})
	l := label{lines: []string{name(s.Name)}, at: around(line...).middle(), edge: line, region: line, size: smallSize, keeps: true}
	if p.view != saw.Section {
		const mdeg = math.Pi / 180_000
		sin, cos := math.Sincos(float64(s.TurnMdeg) * mdeg)
		reach := plane.Point{X: round(float64(s.LengthUm) * cos * plane.Micrometre / 2), Y: round(float64(s.LengthUm) * sin * plane.Micrometre / 2)}
		at := nm(s.At)
		p.add(arrow(p.at(at.Minus(reach)), p.at(at.Plus(reach)))...)
		l.at = p.at(at)
		l.lines = append(l.lines, size(s))
		if !planned.Fits {
			l.lines = append(l.lines, "doesn't fit")
		}
	}
	p.late = append(p.late, l)
}

// finish places the labels and answers all marks.
func (p *pane) finish() []mark {
	for _, w := range p.warned {
		p.warn(w)
	}
	marks, left := p.place.put(p.late)
	p.add(marks...)
	p.used.unnamed += left
	return p.marks
}

// warn puts a finding's mark beside its place, and a cross on it.
func (p *pane) warn(w warned) {
	p.key(keyFinding)
	const arm = 700
	cross := shape{lines: [][]point{{w.at.minus(point{arm, arm}), w.at.plus(point{arm, arm})}, {w.at.minus(point{arm, -arm}), w.at.plus(point{arm, -arm})}}, pen: medium, class: "finding"}
	if w.number > mostMarks {
		p.add(cross)
		return
	}
	for away := int64(4_500); ; away += 3_000 {
		for _, way := range []point{{1, -1}, {-1, -1}, {1, 1}, {-1, 1}, {0, -1}, {1, 0}, {0, 1}, {-1, 0}} {
			at := w.at.plus(way.toward(away))
			b := box{at, at}.grown(2_700)
			if !p.place.free(b) || b.min.x < p.place.from-3_000 || b.max.x > p.place.to+3_000 {
				if away < 90_000 {
					continue
				}
			}
			p.place.taken = append(p.place.taken, b)
			p.add(cross, shape{lines: [][]point{{w.at, at}}, pen: thin, class: "leader"})
			p.add(warning(at, strconv.Itoa(w.number))...)
			return
		}
	}
}

// clipped shows of its marks what lies in a ring.
type clipped struct {
	marks []mark
	ring  []point
}

func (c clipped) bounds() box { return around(c.ring...) }

func (c clipped) moved(by point) mark {
	ring := make([]point, len(c.ring))
	for i, q := range c.ring {
		ring[i] = q.plus(by)
	}
	return clipped{moved(c.marks, by), ring}
}

func (c clipped) write(w *writer) {
	id := w.clip()
	w.text.WriteString(`<clipPath id="` + id + `">`)
	shape{lines: [][]point{c.ring}, closed: true}.write(w)
	w.text.WriteString("</clipPath>\n<g")
	w.attr("clip-path", "url(#"+id+")")
	w.text.WriteString(">\n")
	for _, m := range c.marks {
		m.write(w)
	}
	w.text.WriteString("</g>\n")
}
