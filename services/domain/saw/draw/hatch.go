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

// hatchings are the patterns in the order of legends: the side of the square that repeats, in millimetres, and what is in it.
var hatchings = []struct {
	fill fill
	side string
	body string
	says string
}{
	{colour, "1.6", `<circle cx=".4" cy=".4" r=".2" fill="#000"/><circle cx="1.2" cy="1.2" r=".2" fill="#000"/>`, "colour"},
	{seamBar, "1", `<circle cx=".25" cy=".25" r=".22" fill="#000"/><circle cx=".75" cy=".75" r=".22" fill="#000"/>`, "seam"},
	{potch, "2.4", `<path d="M.2 .6H1.4M1.4 1.8H2.4M0 1.8H.2" stroke="#000" stroke-width=".2"/>`, "potch"},
	{rock, "3", `<path d="M-.5 .5L.5 -.5M-.5 3.5L3.5 -.5M2.5 3.5L3.5 2.5" stroke="#000" stroke-width=".18"/>`, "host rock"},
	{matrix, "2.8", `<path d="M.3 .7H1.1M.7 .3V1.1M1.7 2.1H2.5M2.1 1.7V2.5" stroke="#000" stroke-width=".18"/>`, "matrix"},
	{waste, "3.2", `<path d="M0 0L3.2 3.2M3.2 0L0 3.2" stroke="#000" stroke-width=".14"/>`, "waste, trimmed or ground away"},
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

// patterns writes those that were used.
func (w *writer) patterns(used map[fill]bool) {
	for _, h := range hatchings {
		if used[h.fill] {
			w.text.WriteString(`<pattern id="` + w.prefix + string(h.fill) + `" width="` + h.side + `" height="` + h.side + `" patternUnits="userSpaceOnUse">` + h.body + "</pattern>\n")
		}
	}
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
		{keyWander, entry{line(thin, dashed), "as far as the blade may stray"}},
		{keySplit, entry{line(wide, barred), "split"}},
		{keyTrim, entry{line(medium, dotted), "trimmed to this line"}},
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
