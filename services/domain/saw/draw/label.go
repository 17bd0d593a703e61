package draw

import (
	"cmp"
	"math"
	"slices"
)

// placer finds places for labels that don't lie on one another: inside what they name where there is room, else in
// rows round the drawing, with a leader.
type placer struct {
	from, to int64 // how far to the left and right labels may go
	core     box   // the drawing itself: labels with leaders lie outside
	taken    []box
	leaders  [][2]point
}

// label is up to a few lines about a place.
type label struct {
	lines  []string // the first is bold
	at     point    // in the middle of it, if it can be
	edge   []point  // where a leader may point to
	region []point  // where it would lie best; none: it always has a leader
	keeps  bool     // the whole region is kept free of other labels
	size   int64
}

const lineHeight = 130 // hundredths of the letters' size

func (l label) extent() (w, h int64) {
	for i, s := range l.lines {
		w = max(w, width(s, l.size, i == 0))
	}
	return w, int64(len(l.lines)) * l.size * lineHeight / 100
}

// marks of the label in its box.
func (l label) marks(in box) (out []mark) {
	step := l.size * lineHeight / 100
	for i, s := range l.lines {
		at := point{in.middle().x, in.min.y + step/2 + int64(i)*step}
		out = append(out, words{at: at, anchor: mid, size: l.size, bold: i == 0, text: s})
	}
	return out
}

// mostLeaders is how many labels of a drawing may lie outside it, and mostMarks how many findings are numbered. More can't
// be read; the tables have them all.
const (
	mostLeaders = 24
	mostMarks   = 40
)

// put places labels and answers their marks: first those that have room where they belong, since the others can go
// anywhere. Of the others some may be left out.
func (p *placer) put(all []label) (out []mark, left int) {
	var rest []label
	for _, l := range all {
		w, h := l.extent()
		if b, ok := p.inside(l, w, h); ok {
			p.taken = append(p.taken, b)
			out = append(out, l.marks(b)...)
		} else {
			rest = append(rest, l)
		}
		if l.keeps {
			p.taken = append(p.taken, around(l.region...))
		}
	}
	for i, l := range rest {
		if i == mostLeaders {
			return out, len(rest) - i
		}
		w, h := l.extent()
		b, at := p.outside(l.edge, w, h)
		p.taken = append(p.taken, b)
		end := b.nearest(at)
		p.leaders = append(p.leaders, [2]point{end, at})
		out = append(out, shape{lines: [][]point{{end, at}}, pen: thin, class: "leader"}, disc{at: at, radius: 400, fill: ink})
		out = append(out, l.marks(b)...)
	}
	return out, 0
}

// inside is a box in the label's region, as near to its place as there is one.
func (p *placer) inside(l label, w, h int64) (box, bool) {
	if len(l.region) == 0 {
		return box{}, false
	}
	all := around(l.region...)
	if all.width() < w || all.height() < h {
		return box{}, false
	}
	const across = 8
	var places []point
	for i := range int64(across + 1) {
		for j := range int64(across + 1) {
			places = append(places, point{all.min.x + w/2 + (all.width()-w)*i/across, all.min.y + h/2 + (all.height()-h)*j/across})
		}
	}
	places = append(places, l.at)
	near(places, l.at)
	for _, at := range places {
		b := box{at.minus(point{w / 2, h / 2}), at.plus(point{w / 2, h / 2})}
		if p.free(b) && !p.crossed(b) && holds(l.region, b) {
			return b, true
		}
	}
	return box{}, false
}

func near(places []point, at point) {
	slices.SortStableFunc(places, func(a, b point) int { return cmp.Compare(a.minus(at).length(), b.minus(at).length()) })
}

func (p *placer) free(b box) bool {
	for _, t := range p.taken {
		if t.meets(b) {
			return false
		}
	}
	return true
}

// crossed is whether a leader or a cut runs through a box.
func (p *placer) crossed(b box) bool {
	for _, l := range p.leaders {
		if meets(b, l[0], l[1]) {
			return true
		}
	}
	return false
}

// outside is a box outside the drawing, and to which of the places its leader goes, so that it is short and crosses
// little. There always is one, however far away.
func (p *placer) outside(places []point, w, h int64) (best box, to point) {
	bestCost := math.Inf(1)
	const most = 12
	for i := 0; i < len(places); i += 1 + (len(places)-1)/most {
		if b, cost := p.beside(places[i], w, h, bestCost); cost < bestCost {
			best, to, bestCost = b, places[i], cost
		}
	}
	return best, to
}

// beside is outside for one place, where it costs less than the most.
func (p *placer) beside(at point, w, h int64, most float64) (best box, bestCost float64) {
	const gap, step = 1_200, 1_500
	bestCost = most
	try := func(min point) {
		b := box{min, min.plus(point{w, h})}
		cost := b.nearest(at).minus(at).length()
		if cost >= bestCost || !p.free(b.grown(gap/3)) {
			return
		}
		for _, l := range p.leaders {
			if crosses(l[0], l[1], b.nearest(at), at) {
				cost += 15_000
			}
			if meets(b, l[0], l[1]) {
				cost += 25_000
			}
		}
		for _, t := range p.taken {
			if meets(t, b.nearest(at), at) {
				cost += 30_000
			}
		}
		if cost < bestCost {
			best, bestCost = b, cost
		}
	}
	from, to := p.from, max(p.to-w, p.from)
	for y := p.core.min.y; y+h <= p.core.max.y; y += step {
		if x := p.core.min.x - gap - w; x >= p.from {
			try(point{x, y})
		}
		if x := p.core.max.x + gap; x+w <= p.to {
			try(point{x, y})
		}
	}
	for row := int64(0); row < 8 || math.IsInf(bestCost, 1); row++ {
		away := gap + row*step
		for x := from; ; x += step {
			x = min(x, to)
			try(point{x, p.core.min.y - away - h})
			try(point{x, p.core.max.y + away})
			if x == to {
				break
			}
		}
		middle := min(max(at.x-w/2, from), to)
		try(point{middle, p.core.min.y - away - h})
		try(point{middle, p.core.max.y + away})
	}
	return best, bestCost
}

// holds is whether a box lies within a ring: no edge enters it and its middle is inside.
func holds(ring []point, b box) bool {
	last := ring[len(ring)-1]
	for _, q := range ring {
		if meets(b, last, q) {
			return false
		}
		last = q
	}
	return within(ring, b.middle())
}

// within is whether a point lies in a ring, by the even-odd rule.
func within(ring []point, p point) bool {
	in := false
	last := ring[len(ring)-1]
	for _, q := range ring {
		if (q.y > p.y) != (last.y > p.y) {
			x := float64(q.x) + float64(float64(p.y-q.y)/float64(last.y-q.y))*float64(last.x-q.x)
			if float64(p.x) < x {
				in = !in
			}
		}
		last = q
	}
	return in
}

// meets is whether a stretch enters a box.
func meets(b box, from, to point) bool {
	enter, leave := 0.0, 1.0
	clip := func(start, step, low, high int64) bool {
		if step == 0 {
			return low < start && start < high
		}
		t, u := float64(low-start)/float64(step), float64(high-start)/float64(step)
		enter, leave = max(enter, min(t, u)), min(leave, max(t, u))
		return enter < leave
	}
	d := to.minus(from)
	return clip(from.x, d.x, b.min.x, b.max.x) && clip(from.y, d.y, b.min.y, b.max.y)
}

// crosses is whether two stretches cross.
func crosses(a, b, c, d point) bool {
	side := func(a, b, c point) int64 {
		v, w := b.minus(a), c.minus(a)
		return v.x*w.y - v.y*w.x
	}
	return (side(a, b, c) > 0) != (side(a, b, d) > 0) && (side(c, d, a) > 0) != (side(c, d, b) > 0)
}
