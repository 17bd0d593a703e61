package draw

import (
	"bytes"
	"encoding/xml"
	"math"
	"strconv"

	"seamshare.example/services/domain/measure"
)

// point is a place on the paper in micrometres: x to the right, y down.
type point struct{ x, y int64 }

func (p point) plus(v point) point  { return point{p.x + v.x, p.y + v.y} }
func (p point) minus(v point) point { return point{p.x - v.x, p.y - v.y} }
func (p point) length() float64     { return math.Hypot(float64(p.x), float64(p.y)) }

// toward is the step of a length in the direction of p, which isn't zero.
func (p point) toward(length int64) point {
	f := float64(length) / p.length()
	return point{round(float64(p.x) * f), round(float64(p.y) * f)}
}

func round(f float64) int64 { return int64(math.Round(f)) }

// box is an upright rectangle on the paper. The zero box is empty.
type box struct{ min, max point }

func (b box) empty() bool   { return b == box{} }
func (b box) width() int64  { return b.max.x - b.min.x }
func (b box) height() int64 { return b.max.y - b.min.y }
func (b box) middle() point { return point{(b.min.x + b.max.x) / 2, (b.min.y + b.max.y) / 2} }
func (b box) moved(v point) box {
	return box{b.min.plus(v), b.max.plus(v)}
}

func (b box) grown(d int64) box {
	return box{b.min.minus(point{d, d}), b.max.plus(point{d, d})}
}

func (b box) with(c box) box {
	switch {
	case b.empty():
		return c
	case c.empty():
		return b
	}
	return box{point{min(b.min.x, c.min.x), min(b.min.y, c.min.y)}, point{max(b.max.x, c.max.x), max(b.max.y, c.max.y)}}
}

func (b box) meets(c box) bool {
	return b.min.x < c.max.x && c.min.x < b.max.x && b.min.y < c.max.y && c.min.y < b.max.y
}

func (b box) corners() []point {
	return []point{b.min, {b.max.x, b.min.y}, b.max, {b.min.x, b.max.y}}
}

// nearest is the place of the box that is nearest to p.
func (b box) nearest(p point) point {
	return point{min(max(p.x, b.min.x), b.max.x), min(max(p.y, b.min.y), b.max.y)}
}

func around(points ...point) box {
	b := box{points[0], points[0]}
	for _, p := range points {
		b.min = point{min(b.min.x, p.x), min(b.min.y, p.y)}
		b.max = point{max(b.max.x, p.x), max(b.max.y, p.y)}
	}
	return b
}

// mark is something on the paper.
type mark interface {
	bounds() box
	moved(by point) mark
	write(w *writer)
}

func bounds(marks []mark) (b box) {
	for _, m := range marks {
		b = b.with(m.bounds())
	}
	return b
}

func moved(marks []mark, by point) []mark {
	out := make([]mark, len(marks))
	for i, m := range marks {
		out[i] = m.moved(by)
	}
	return out
}

// Pens, as wide as they draw, in micrometres.
const (
	wide   = 500 // outlines, planned stones, cracks
	medium = 350 // parts
	thin   = 180 // features, dimensions, leaders

	halo = 1_500 // the blank on which a line stands out from a hatching
)

// Dashes: lengths of stroke and gap in hundredths of a millimetre.
const (
	solid  = ""
	dashed = "1.4 .9"     // only supposed
	chain  = "3 .7 .6 .7" // a line that isn't there: a cut's way, a trace, a seam's middle
	dotted = ".9 .6"      // bold: what is trimmed to
	barred = "2 .6 .4 .6" // a split
	sparse = ".4 1.1"     // as far as a blade may stray
)

// shape is lines, or a region with the even-odd rule where closed.
type shape struct {
	lines  [][]point
	closed bool
	pen    int64
	dash   string
	fill   fill
	white  bool   // its lines are blank
	class  string // what it is, for those who read the file
	hint   string // shown on pointing at it
}

func (s shape) bounds() (b box) {
	for _, l := range s.lines {
		b = b.with(around(l...).grown((s.pen + 1) / 2))
	}
	return b
}

func (s shape) moved(by point) mark {
	lines := make([][]point, len(s.lines))
	for i, l := range s.lines {
		lines[i] = make([]point, len(l))
		for j, p := range l {
			lines[i][j] = p.plus(by)
		}
	}
	s.lines = lines
	return s
}

// path is the shape as SVG has it.
func (s shape) path() string {
	var d []byte
	for _, l := range s.lines {
		for i, p := range l {
			switch i {
			case 0:
				d = append(d, 'M')
			case 1:
				d = append(d, 'L')
			default:
				d = append(d, ' ')
			}
			d = append(append(append(d, mm(p.x)...), ' '), mm(p.y)...)
		}
		if s.closed {
			d = append(d, 'Z')
		}
	}
	return string(d)
}

func (s shape) write(w *writer) {
	if len(s.lines) == 0 {
		return
	}
	hatched := s.fill != "" && s.fill != ink && s.fill != blank
	if hatched {
		w.hatch(s.fill, s)
	}
	w.open("path")
	if s.class != "" {
		w.attr("class", s.class)
	}
	w.attr("d", s.path())
	if s.pen == 0 {
		w.attr("stroke", "none")
	} else {
		w.attr("stroke-width", mm(s.pen))
	}
	if s.white {
		w.attr("stroke", blank.paint())
	}
	if s.dash != solid {
		w.attr("stroke-dasharray", s.dash)
	}
	if s.fill != "" && !hatched {
		w.attr("fill", s.fill.paint())
	}
	if s.hint == "" {
		w.end()
		return
	}
	w.text.WriteString("><title>")
	w.escape(s.hint)
	w.text.WriteString("</title></path>\n")
}

// disc is a circle.
type disc struct {
	at     point
	radius int64
	pen    int64
	fill   fill
}

func (d disc) bounds() box {
	return box{d.at, d.at}.grown(d.radius + (d.pen+1)/2)
}

func (d disc) moved(by point) mark {
	d.at = d.at.plus(by)
	return d
}

func (d disc) write(w *writer) {
	w.open("circle")
	w.attr("cx", mm(d.at.x))
	w.attr("cy", mm(d.at.y))
	w.attr("r", mm(d.radius))
	if d.pen == 0 {
		w.attr("stroke", "none")
	} else {
		w.attr("stroke-width", mm(d.pen))
	}
	if d.fill != "" {
		w.attr("fill", d.fill.paint())
	}
	w.end()
}

// words is one line of text.
type words struct {
	at     point // the middle of its left edge, its middle, or the middle of its right edge
	anchor anchor
	size   int64
	bold   bool
	upward bool // written from below upwards
	back   bool // on a blank ground
	text   string
}

type anchor string

const (
	left  anchor = "start"
	mid   anchor = "middle"
	right anchor = "end"
)

func (t words) bounds() box {
	w, h := width(t.text, t.size, t.bold), t.size*5/4
	from := point{0, -h / 2}
	switch t.anchor {
	case mid:
		from.x = -w / 2
	case right:
		from.x = -w
	case left:
	}
	b := box{from, point{from.x + w, h / 2}}
	if t.upward {
		b = box{point{b.min.y, -b.max.x}, point{b.max.y, -b.min.x}}
	}
	return b.moved(t.at)
}

func (t words) moved(by point) mark {
	t.at = t.at.plus(by)
	return t
}

func (t words) write(w *writer) {
	// From the middle of small letters and capitals down to the line they stand on.
	drop := t.size * 35 / 100
	at := point{t.at.x, t.at.y + drop}
	if t.upward {
		at = point{t.at.x + drop, t.at.y}
	}
	if t.back {
		w.open("rect")
		w.attr("fill", "#fff")
		w.attr("stroke", "none")
		w.rect(t.bounds())
		w.end()
	}
	w.open("text")
	w.text.WriteString(` fill="#000" stroke="#fff" stroke-width=".9" paint-order="stroke" font-family="sans-serif"`)
	w.attr("x", mm(at.x))
	w.attr("y", mm(at.y))
	if t.upward {
		w.attr("transform", "rotate(-90 "+mm(at.x)+" "+mm(at.y)+")")
	}
	if t.anchor != left {
		w.attr("text-anchor", string(t.anchor))
	}
	w.attr("font-size", mm(t.size))
	if t.bold {
		w.attr("font-weight", "bold")
	}
	w.text.WriteString(">")
	w.escape(t.text)
	w.text.WriteString("</text>\n")
}

// photo is placed by the numbers of its matrix (a, b, -b, a, at.x, at.y); what of it is shown is clipped.
type photo struct {
	href          string
	width, height int64 // in pixels
	a, b          float64
	at            point // of the photo's upper left corner
	shown         box
}

func (p photo) bounds() box { return p.shown }

func (p photo) moved(by point) mark {
	p.at, p.shown = p.at.plus(by), p.shown.moved(by)
	return p
}

func (p photo) write(w *writer) {
	id := w.clip()
	w.text.WriteString(`<clipPath id="` + id + `"><rect`)
	w.rect(p.shown)
	w.text.WriteString("/></clipPath>\n")
	w.open("g")
	w.attr("clip-path", "url(#"+id+")")
	w.text.WriteString(">")
	w.open("image")
	w.attr("class", "photo")
	w.attr("href", p.href)
	w.attr("width", strconv.FormatInt(p.width, 10))
	w.attr("height", strconv.FormatInt(p.height, 10))
	w.attr("opacity", ".6")
	f := func(v float64) string { return strconv.FormatFloat(v, 'f', 6, 64) }
	w.attr("transform", "matrix("+f(p.a)+" "+f(p.b)+" "+f(-p.b)+" "+f(p.a)+" "+mm(p.at.x)+" "+mm(p.at.y)+")")
	w.text.WriteString("/></g>\n")
}

// writer writes SVG. Ids begin with the prefix, so that pictures can share a page.
type writer struct {
	text   bytes.Buffer
	prefix string
	clips  int
}

func (w *writer) open(name string) {
	w.text.WriteByte('<')
	w.text.WriteString(name)
}

func (w *writer) attr(name, value string) {
	w.text.WriteByte(' ')
	w.text.WriteString(name)
	w.text.WriteString(`="`)
	w.escape(value)
	w.text.WriteByte('"')
}

func (w *writer) end() { w.text.WriteString("/>\n") }

func (w *writer) rect(b box) {
	w.attr("x", mm(b.min.x))
	w.attr("y", mm(b.min.y))
	w.attr("width", mm(b.width()))
	w.attr("height", mm(b.height()))
}

// escape writes text so that it can neither end what it stands in nor change how the rest is read.
func (w *writer) escape(s string) {
	_ = xml.EscapeText(&w.text, []byte(plain(s))) // a buffer takes all
}

// paint of what isn't hatched.
func (f fill) paint() string {
	if f == ink {
		return "#000"
	}
	return "#fff"
}

func (w *writer) clip() string {
	w.clips++
	return w.prefix + "clip-" + strconv.Itoa(w.clips)
}

// mm is micrometres as millimetres.
func mm(um int64) string { return number(measure.Length(um)) }

func number(l measure.Length) string {
	s := l.Millimetres(0)
	return s[:len(s)-len(" mm")]
}
