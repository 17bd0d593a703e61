package draw

import (
	"bytes"
	"fmt"
	"io"
	"regexp"
	"strings"

	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/saw"
)

// Options of a picture. The zero value is good.
type Options struct {
	// ID begins every id in the picture, so that several can stand on one page: a small letter, then small letters,
	// digits and dashes, at most 40 in all. Empty: "drawing".
	ID string
	// Photo finds the photo of those bytes, to lie under its view; nil, or false: there is none. Only a data URI of an image or a
	// path without a host is taken.
	Photo func(sha256 [32]byte) (Photo, bool)
	// Division of the scale that parts will be weighed on, to which masses are rounded; 0: 0.01 g.
	Division measure.Mass
}

// Photo is where a photo is and how many pixels it has.
type Photo struct {
	Href          string
	Width, Height int64
}

// idRule is also what makes an id safe wherever it stands.
var idRule = regexp.MustCompile(`^[a-z][a-z0-9-]{0,39}$`)

// hrefRule is a data URI of an image, or a path that names no scheme and no host.
var hrefRule = regexp.MustCompile(`^(data:image/(png|jpeg|webp|avif);base64,[A-Za-z0-9+/=]+|/?[A-Za-z0-9._~-]+(/[A-Za-z0-9._~-]+)*)$`)

func (o Options) checked(study saw.Study) (Options, error) {
	if o.ID == "" {
		o.ID = "drawing"
	}
	if !idRule.MatchString(o.ID) {
		return o, fmt.Errorf("the picture's id is %q: it has a small letter, then up to 39 small letters, digits and dashes", o.ID)
	}
	if o.Division == 0 {
		o.Division = 10_000
	}
	if o.Division < 0 {
		return o, fmt.Errorf("the scale's division is %s: it is above zero", o.Division)
	}
	if o.Photo == nil {
		return o, nil
	}
	for i, u := range study.Underlays {
		ph, ok := o.Photo(u.SHA256)
		if !ok {
			continue
		}
		if !hrefRule.MatchString(ph.Href) {
			return o, fmt.Errorf("the photo of underlays[%d] is at %q: give a data URI of an image, or a path without a scheme and a host", i, short(ph.Href, 60))
		}
		if ph.Width < 1 || ph.Height < 1 || ph.Width > 1_000_000 || ph.Height > 1_000_000 {
			return o, fmt.Errorf("the photo of underlays[%d] has %d × %d pixels: give its size, 1 to 1 000 000 either way", i, ph.Width, ph.Height)
		}
	}
	return o, nil
}

// Room on the paper, in micrometres: what a phone shows legibly, and what an A4 page holds between its margins.
const (
	pictureRoom = 104_000
	pageRoom    = 179_000
	margin      = 2_000
)

// picture is one drawing being put together, from top to bottom.
type picture struct {
	title, desc string
	room        int64
	scale       ratio
	used        legendary
	marks       []mark
	bottom      int64
}

func newPicture(title, desc string, room int64) *picture {
	return &picture{title: title, desc: desc, room: room, used: legendary{fills: map[fill]bool{}, keys: map[legendKey]bool{}}}
}

// below adds marks under what is there, at the left edge.
func (p *picture) below(gap int64, marks []mark) {
	b := bounds(marks)
	if b.empty() {
		return
	}
	if p.bottom > 0 {
		p.bottom += gap
	}
	p.marks = append(p.marks, moved(marks, point{-b.min.x, p.bottom - b.min.y})...)
	p.bottom += b.height()
}

// flow adds columns in rows that are no wider than the room.
func (p *picture) flow(columns [][]mark) {
	const gap = 5_000
	var row []mark
	x := int64(0)
	for _, c := range columns {
		b := bounds(c)
		if x > 0 && x+b.width() > p.room {
			p.below(gap, row)
			row, x = nil, 0
		}
		row = append(row, moved(c, point{x - b.min.x, -b.min.y})...)
		x += b.width() + gap
	}
	p.below(gap, row)
}

func (p *picture) text(gap, size int64, bold bool, text string) {
	for i, line := range wrap(text, size, p.room, bold) {
		if i > 0 {
			gap = 500
		}
		p.below(gap, []mark{words{anchor: left, size: size, bold: bold, text: line}})
	}
}

// bar is a scale bar: so many millimetres of the piece as take about a third of the room.
func (p *picture) bar() []mark {
	const h = 1_200
	long := int64(500)
	for _, l := range []int64{200, 100, 50, 20, 10, 5, 2, 1} {
		if p.scale.um(long*1_000_000) > 50_000 {
			long = l
		}
	}
	n := int64(5)
	if long%10 == 2 || long == 20 || long == 200 {
		n = 4
	}
	at := func(i int64) int64 { return p.scale.um(long * 1_000_000 * i / n) }
	var out []mark
	for i := range n {
		f := ink
		if i%2 == 1 {
			f = blank
		}
		out = append(out, shape{lines: [][]point{box{point{at(i), 0}, point{at(i + 1), h}}.corners()}, closed: true, pen: thin, fill: f, class: "scale-bar"})
	}
	return append(
		out,
		words{at: point{0, h + 2_200}, anchor: left, size: smallSize, text: "0"},
		words{at: point{at(n), h + 2_200}, anchor: mid, size: smallSize, text: fmt.Sprintf("%d mm", long)},
		words{at: point{at(n) + 6_000, h / 2}, anchor: left, size: smallSize, text: "scale " + p.scale.String()},
	)
}

// finish adds what every picture ends with, no wider than what is there, or than a phone shows.
func (p *picture) finish(notes []string) {
	p.room = min(p.room, max(pictureRoom, bounds(p.marks).width()))
	if p.used.unnamed > 0 {
		notes = append(notes, fmt.Sprintf("%d names had no room.", p.used.unnamed))
	}
	for i, n := range notes {
		gap := int64(700)
		if i == 0 {
			gap = 3_500
		}
		p.text(gap, smallSize, false, n)
	}
	p.below(4_500, legend(p.used, p.room))
	p.below(3_500, p.bar())
}

// fitted is the one style: a screen that is narrower than a picture shrinks it. Paper never does, nor has it a say in a page that
// the picture is put into.
const fitted = `@media screen{svg:root{max-width:100%;height:auto}}`

// svg writes the picture. Where it stands inside a page it needs no declaration.
func (p *picture) svg(out io.Writer, id string, inline bool) error {
	w := &writer{prefix: id + "-"}
	for _, m := range p.marks {
		m.write(w)
	}
	body := bytes.Clone(w.text.Bytes())
	w.text.Reset()
	b := bounds(p.marks).grown(margin)
	if !inline {
		w.text.WriteString("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n")
	}
	w.open("svg")
	w.attr("xmlns", "http://www.w3.org/2000/svg")
	w.attr("width", mm(b.width())+"mm")
	w.attr("height", mm(b.height())+"mm")
	w.attr("viewBox", strings.Join([]string{mm(b.min.x), mm(b.min.y), mm(b.width()), mm(b.height())}, " "))
	w.attr("role", "img")
	w.attr("aria-labelledby", w.prefix+"title "+w.prefix+"desc")
	w.text.WriteString(">\n")
	if !inline {
		w.text.WriteString("<style>" + fitted + "</style>\n")
	}
	w.text.WriteString("<title id=\"" + w.prefix + "title\">")
	w.escape(p.title)
	w.text.WriteString("</title>\n<desc id=\"" + w.prefix + "desc\">")
	w.escape(p.desc)
	w.text.WriteString("</desc>\n<rect fill=\"#fff\"")
	w.rect(b)
	w.text.WriteString("/>\n")
	w.text.WriteString(`<g fill="none" stroke="#000" fill-rule="evenodd" stroke-linejoin="round">` + "\n")
	if _, err := out.Write(w.text.Bytes()); err != nil {
		return err
	}
	if _, err := out.Write(body); err != nil {
		return err
	}
	_, err := io.WriteString(out, "</g>\n</svg>\n")
	return err
}
