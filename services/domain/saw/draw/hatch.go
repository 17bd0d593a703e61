package draw

import "seamshare.example/services/domain/saw"

// fill is what a region is filled with: ink, blank, or a hatching of that id.
type fill string

const (
	ink     fill = "ink"
	blank   fill = "blank"
	colour  fill = "colour"
	potch   fill = "potch"
	rock    fill = "rock"
	matrix  fill = "matrix"
	seamBar fill = "seam"
	waste   fill = "waste"
)

// hatchings are drawn line by line, since browsers print patterns as coarse grey pictures. They stand in the order of legends.
var hatchings = []struct {
	fill fill
	says string
	sets []lines
}{
	{colour, "colour", []lines{
		{level: true, every: 1_600, from: 400, pen: 400, dots: true, dash: 1_600, shift: 400},
		{level: true, every: 1_600, from: 1_200, pen: 400, dots: true, dash: 1_600, shift: 1_200},
	}},
	{seamBar, "seam", []lines{
		{level: true, every: 1_000, from: 250, pen: 440, dots: true, dash: 1_000, shift: 250},
		{level: true, every: 1_000, from: 750, pen: 440, dots: true, dash: 1_000, shift: 750},
	}},
	{potch, "potch", []lines{
		{level: true, every: 2_400, from: 600, pen: 200, on: 1_200, dash: 2_400},
		{level: true, every: 2_400, from: 1_800, pen: 200, on: 1_200, dash: 2_400, shift: 1_200},
	}},
	{rock, "host rock", []lines{{rising: true, every: 3_000, pen: 180}}},
	{matrix, "matrix", []lines{
		{level: true, every: 2_800, from: 700, pen: 180, on: 800, dash: 2_800, shift: 300},
		{upright: true, every: 2_800, from: 700, pen: 180, on: 800, dash: 2_800, shift: 300},
		{level: true, every: 2_800, from: 2_100, pen: 180, on: 800, dash: 2_800, shift: 1_700},
		{upright: true, every: 2_800, from: 2_100, pen: 180, on: 800, dash: 2_800, shift: 1_700},
	}},
	{waste, "waste, trimmed or ground away", []lines{{rising: true, every: 3_200, pen: 150}, {falling: true, every: 3_200, pen: 150}}},
}

// lines are parallel lines on a grid that all drawings on a paper share, in micrometres.
type lines struct {
	level, upright, rising, falling bool

	every, from int64 // apart, and where the first one is
	pen         int64
	dots        bool
	on, dash    int64 // how much of how much is drawn; dots: a dot at the beginning of each dash
	shift       int64 // where the first dash begins
}

// in are the lines' stretches in a box.
func (l lines) in(b box) (out [][2]point) {
	first := func(low int64) int64 { return (low-l.from)/l.every*l.every + l.from - l.every }
	begin := func(low int64) int64 {
		if l.dash == 0 {
			return low
		}
		return (low-l.shift)/l.dash*l.dash + l.shift - l.dash
	}
	add := func(from, to point) {
		if from != to {
			out = append(out, [2]point{from, to})
		}
	}
	switch {
	case l.level:
		for y := first(b.min.y); y <= b.max.y; y += l.every {
			add(point{begin(b.min.x), y}, point{b.max.x, y})
		}
	case l.upright:
		for x := first(b.min.x); x <= b.max.x; x += l.every {
			add(point{x, begin(b.min.y)}, point{x, b.max.y})
		}
	case l.rising:
		for c := first(b.min.x + b.min.y); c <= b.max.x+b.max.y; c += l.every {
			if from, to := max(b.min.x, c-b.max.y), min(b.max.x, c-b.min.y); from < to {
				add(point{from, c - from}, point{to, c - to})
			}
		}
	case l.falling:
		for c := first(b.min.y - b.max.x); c <= b.max.y-b.min.x; c += l.every {
			if from, to := max(b.min.x, b.min.y-c), min(b.max.x, b.max.y-c); from < to {
				add(point{from, from + c}, point{to, to + c})
			}
		}
	}
	return out
}

// hatch fills a region.
func (w *writer) hatch(f fill, region shape) {
	region.pen = 0
	b := region.bounds()
	id := w.clip()
	w.text.WriteString(`<clipPath id="` + id + `">`)
	w.open("path")
	w.attr("d", region.path())
	w.attr("clip-rule", "evenodd")
	w.text.WriteString("/></clipPath>\n")
	for _, h := range hatchings {
		if h.fill != f {
			continue
		}
		for _, l := range h.sets {
			s := shape{}
			for _, stretch := range l.in(b) {
				s.lines = append(s.lines, stretch[:])
			}
			w.open("path")
			w.attr("class", "hatch "+string(f))
			w.attr("clip-path", "url(#"+id+")")
			w.attr("stroke-width", mm(l.pen))
			if l.dots {
				w.attr("stroke-linecap", "round")
			}
			if l.dash > 0 {
				w.attr("stroke-dasharray", mm(l.on)+" "+mm(l.dash-l.on))
			}
			w.attr("d", s.path())
			w.end()
		}
	}
}

func hatching(k saw.Kind) fill {
	switch k {
	case saw.Colour:
		return colour
	case saw.Potch:
		return potch
	case saw.Rock:
		return rock
	case saw.Matrix:
		return matrix
	case saw.Seam:
		return seamBar
	case saw.Crack:
	}
	return ""
}

// legend explains the marks that a picture uses, in rows no wider than that.
func legend(used legendary, most int64) []mark {
	type entry struct {
		swatch []mark // about the origin
		says   string
	}
	const w, h = 7_000, 3_600
	frame := box{point{0, -h / 2}, point{w, h / 2}}.corners()
	line := func(pen int64, dash string) []mark {
		return []mark{shape{lines: [][]point{{{0, 0}, {w, 0}}}, pen: pen, dash: dash}}
	}
	var entries []entry
	for _, h := range hatchings {
		if used.fills[h.fill] {
			entries = append(entries, entry{[]mark{shape{lines: [][]point{frame}, closed: true, pen: thin, fill: h.fill}}, h.says})
		}
	}
	for _, e := range []struct {
		when  legendKey
		entry entry
	}{
		{keyRockLine, entry{line(medium, "4 .8"), "host-rock line"}},
		{keyCrack, entry{crack([]point{{0, 0}, {w, 0}}, false), "crack"}},
		{keySupposed, entry{line(thin, dashed), "dashed: only supposed"}},
		{keyKerf, entry{[]mark{shape{lines: [][]point{box{point{0, -300}, point{w, 300}}.corners()}, closed: true, fill: ink}}, "saw cut, as wide as its kerf"}},
		{keyWander, entry{line(thin, sparse), "as far as the blade may stray"}},
		{keySplit, entry{line(wide, barred), "split"}},
		{keyTrim, entry{line(wide, dotted), "trimmed to this line"}},
		{keyStone, entry{[]mark{shape{lines: [][]point{frame}, closed: true, pen: wide}}, "planned stone"}},
		{keyTrace, entry{line(thin, chain), "where the section lies"}},
		{keyFinding, entry{warning(point{w / 2, 0}, "1"), "a rule is broken here"}},
	} {
		if used.keys[e.when] {
			entries = append(entries, e.entry)
		}
	}
	var out []mark
	x, y := int64(0), int64(0)
	for _, e := range entries {
		wide := w + 1_500 + width(e.says, smallSize, false) + 4_000
		if x > 0 && x+wide > most {
			x, y = 0, y+5_000
		}
		out = append(out, moved(e.swatch, point{x, y})...)
		out = append(out, words{at: point{x + w + 1_500, y}, anchor: left, size: smallSize, text: e.says})
		x += wide
	}
	return out
}

// legendary is what was drawn and wants to be explained.
type legendary struct {
	fills map[fill]bool
	keys  map[legendKey]bool

	unnamed int // labels that had no room
}

type legendKey int

const (
	keyCrack legendKey = iota
	keyRockLine
	keySupposed
	keyKerf
	keySplit
	keyTrim
	keyStone
	keyTrace
	keyFinding
	keyWander
)

// crack is a wide line with barbs to both sides, so that it is no outline.
func crack(line []point, supposed bool) []mark {
	dash := solid
	if supposed {
		dash = dashed
	}
	barbs := shape{pen: thin * 3 / 2, class: "crack"}
	const every, long = 2_000, 600
	next, flip := int64(every/2), int64(1)
	for i := 1; i < len(line); i++ {
		d := line[i].minus(line[i-1])
		if d == (point{}) {
			continue
		}
		l := round(d.length())
		for ; next <= l; next += every {
			at := line[i-1].plus(d.toward(next))
			out := point{-d.y + d.x/2, d.x + d.y/2}.toward(long * flip)
			barbs.lines = append(barbs.lines, []point{at, at.plus(out)})
			flip = -flip
		}
		next -= l
	}
	return []mark{shape{lines: [][]point{line}, pen: wide, dash: dash, class: "crack"}, barbs}
}

// warning is the mark of a finding.
func warning(at point, number string) []mark {
	const r = 2_600
	return []mark{
		shape{lines: [][]point{{at.plus(point{0, -r}), at.plus(point{r, r * 7 / 10}), at.plus(point{-r, r * 7 / 10})}}, closed: true, pen: medium, fill: blank, class: "finding"},
		words{at: at.plus(point{0, 100}), anchor: mid, size: 2_200, bold: true, text: number},
	}
}
