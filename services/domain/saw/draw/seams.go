package draw

import (
	"fmt"
	"io"
	"math"

	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/seam"
)

// Angled is two seams at an angle with the cut between them.
type Angled struct {
	Name  string // of the piece
	Seams seam.Seams
	Cut   seam.Cut
	// PlaceUm is where the open part is parted from the closed end, from where the seams meet, along the first
	// seam or the bisector as the cut runs. 0: it isn't, and the cut goes right through.
	PlaceUm int64
	// First and Second are the seams' names; ThicknessUm is drawn outward from where their backing begins.
	First, Second string
	ThicknessUm   int64
}

// Seams draws the section of two seams at an angle: from where outward both stones can be had, the cut with its kerf and
// wander, and what backing is left at the place that was chosen. A place that leaves too little is drawn and
// marked; one outside the piece is an error, as is what seam.Seams.Validate refuses.
func Seams(w io.Writer, a Angled, o Options) error {
	o, err := o.checked(saw.Study{})
	if err != nil {
		return err
	}
	if a.Cut != seam.Parallel && a.Cut != seam.Bisector {
		return fmt.Errorf("the cut between the seams is %d: it is parallel to the first or midway", a.Cut)
	}
	from, err := a.Seams.From(a.Cut)
	if err != nil {
		return err
	}
	if a.ThicknessUm < 0 || a.ThicknessUm > saw.MaxLengthUm || a.Seams.FarUm > saw.MaxLengthUm {
		return fmt.Errorf("thickness %d µm, open end at %d µm: a drawing takes 0 to %d µm", a.ThicknessUm, a.Seams.FarUm, int64(saw.MaxLengthUm))
	}
	if a.PlaceUm != 0 && (a.PlaceUm <= a.Seams.NearUm || a.PlaceUm >= a.Seams.FarUm) {
		return fmt.Errorf("place_um is %d: the open part begins within the piece, between %d and %d micrometres", a.PlaceUm, a.Seams.NearUm, a.Seams.FarUm)
	}
	if a.First == "" {
		a.First = "first seam"
	}
	if a.Second == "" {
		a.Second = "second seam"
	}
	return a.picture(from).svg(w, o.ID, false)
}

// wedge is the geometry of an Angled in nanometres: where the seams meet is the origin, and the line that places are
// measured along is the x axis.
type wedge struct {
	Angled
	low, high float64 // angles of the seams against the x axis, in radians
}

func (a Angled) wedge() wedge {
	angle := float64(a.Seams.AngleMilliDeg) / 1_000 * math.Pi / 180
	if a.Cut == seam.Bisector {
		return wedge{a, -angle / 2, angle / 2}
	}
	return wedge{a, 0, angle}
}

// on is the point so far out along a seam, and that much outward from it.
func on(angle, um, outward float64) plane.Point {
	sin, cos := math.Sincos(angle)
	return plane.Point{
		X: round((float64(um*cos) - float64(outward*sin)) * plane.Micrometre),
		Y: round((float64(um*sin) + float64(outward*cos)) * plane.Micrometre),
	}
}

// body is all of the piece between its seams and with them.
func (w wedge) body() plane.Ring {
	near, far, t := float64(w.Seams.NearUm), float64(w.Seams.FarUm), float64(w.ThicknessUm)
	return distinct(on(w.low, near, -t), on(w.low, far, -t), on(w.low, far, 0), on(w.high, far, 0), on(w.high, far, t), on(w.high, near, t), on(w.high, near, 0), on(w.low, near, 0))
}

func distinct(points ...plane.Point) plane.Ring {
	var out plane.Ring
	for i, p := range points {
		if i == 0 || p != out[len(out)-1] && p != out[0] {
			out = append(out, p)
		}
	}
	return out
}

func (w wedge) seam(angle, outward float64) plane.Ring {
	near, far := float64(w.Seams.NearUm), float64(w.Seams.FarUm)
	if outward < 0 {
		return distinct(on(angle, near, outward), on(angle, far, outward), on(angle, far, 0), on(angle, near, 0))
	}
	return distinct(on(angle, near, 0), on(angle, far, 0), on(angle, far, outward), on(angle, near, outward))
}

// middle is the height of the cut's middle line above the x axis in micrometres. An odd kerf has a half.
func (w wedge) middle() float64 {
	if w.Cut == seam.Bisector {
		return 0
	}
	return float64(w.Seams.FirstBackUm+w.Seams.WanderUm) + float64(w.Seams.KerfUm)/2
}

// sides are the lowest and highest that the blade may come, in micrometres.
func (w wedge) sides() (low, high float64) {
	half := float64(w.Seams.KerfUm)/2 + float64(w.Seams.WanderUm)
	return w.middle() - half, w.middle() + half
}

func level(um float64) plane.Line {
	y := round(um * plane.Micrometre)
	return plane.Line{A: plane.Point{Y: y}, B: plane.Point{X: plane.Millimetre, Y: y}}
}

func upright(um float64) plane.Line {
	x := round(um * plane.Micrometre)
	return plane.Line{A: plane.Point{X: x}, B: plane.Point{X: x, Y: plane.Millimetre}}
}

func (a Angled) picture(from int64) *picture {
	w := a.wedge()
	how := "parallel to " + name(a.First)
	along := "along " + name(a.First)
	if a.Cut == seam.Bisector {
		how, along = "midway between the seams", "along the middle"
	}
	p := newPicture(fmt.Sprintf("%s: two seams, cut %s", a.Name, how), "", pictureRoom)
	inside := from < a.Seams.FarUm
	says := fmt.Sprintf("Both stones can be had from %s outward, measured %s from where the seams meet.", length(from), along)
	if !inside {
		says = fmt.Sprintf("Both stones could be had from %s outward, beyond the open end: one seam only.", length(from))
	}
	p.desc = fmt.Sprintf("Section of %s: seams %s apart, the cut takes %s. %s", a.Name, degrees(a.Seams.AngleMilliDeg), length(a.Seams.KerfUm), says)
	p.text(0, titleSize, true, p.title)
	p.text(800, smallSize, false, says+" "+estimates)

	body := w.body()
	tip := plane.Ring{{}, {X: plane.Micrometre}, {Y: plane.Micrometre}}
	box := append(append(plane.Ring{}, body...), tip...).Box().Size()
	p.scale = fitting(box.X, box.Y, p.room-8_000, 70_000)
	q := newPane(saw.Section, "", p.scale, &p.used, p.room, body, tip)
	w.draw(q, body, from)
	far := float64(a.Seams.FarUm)
	for i, s := range w.seams() {
		q.add(shape{lines: [][]point{{q.at(plane.Point{}), q.at(on(s.angle, float64(a.Seams.NearUm), 0))}}, pen: thin, dash: chain, class: "seam-line"})
		at := q.at(on(s.angle, (float64(a.Seams.NearUm)+3*far)/4, s.outward/2))
		lines := []string{name(s.name)}
		if i == 0 {
			lines = append(lines, degrees(a.Seams.AngleMilliDeg)+" apart")
		}
		q.late = append(q.late, label{lines: lines, at: at, edge: []point{at}, size: smallSize})
	}
	w.places(q, from, inside)

	// Where it matters, so large that the backing can be measured.
	at := a.PlaceUm
	if at == 0 && inside && from > a.Seams.NearUm {
		at = from
	}
	if at == 0 {
		p.flow([][]mark{q.finish()})
		p.finish(nil)
		return p
	}
	window := w.window(at)
	q.add(shape{lines: [][]point{q.ring(window)}, closed: true, pen: thin, dash: chain, class: "window"})
	size := window.Box().Size()
	detail := newPane(saw.Section, "", fitting(size.X, size.Y, 70_000, 70_000), &p.used, p.room, window)
	w.draw(detail, body, from)
	detail.marks = []mark{clipped{detail.marks, detail.ring(window)}, shape{lines: [][]point{detail.ring(window)}, closed: true, pen: thin, dash: chain}}
	bad := w.backing(detail, at)
	marks := q.finish()
	large := titled(fmt.Sprintf("At %s, %s", length(at), detail.scale), detail.finish())
	p.flow([][]mark{stack(5_000, marks, moved(large, point{bounds(marks).min.x - bounds(large).min.x, 0}))})
	p.finish(append(bad, w.choices()...))
	return p
}

type side struct {
	angle, outward float64
	name           string
}

func (w wedge) seams() []side {
	return []side{{w.low, -float64(w.ThicknessUm), w.First}, {w.high, float64(w.ThicknessUm), w.Second}}
}

// draw draws the seams, the outline and the cuts.
func (w wedge) draw(q *pane, body plane.Ring, from int64) {
	if w.ThicknessUm > 0 {
		for _, s := range w.seams() {
			q.add(shape{lines: [][]point{q.ring(w.seam(s.angle, s.outward))}, closed: true, pen: thin, fill: q.fill(seamBar), class: "seam", hint: s.name})
		}
	}
	q.outline(body, wide, solid, "outline", w.Name)
	w.cuts(q, body, from)
}

// window is what a detail at a place shows: from seam to seam, and a little of the closed part.
func (w wedge) window(at int64) plane.Ring {
	low, high := float64(at)*math.Tan(w.low), float64(at)*math.Tan(w.high)
	middle := (low + high) / 2
	h := high - low + 2*float64(w.ThicknessUm) + float64(w.Seams.KerfUm)
	from, to := float64(at)-0.5*h, float64(at)+0.8*h
	return plane.Ring{on(0, from, middle-0.6*h), on(0, to, middle-0.6*h), on(0, to, middle+0.6*h), on(0, from, middle+0.6*h)}
}

// cuts draws the cut between the seams and the one across.
func (w wedge) cuts(q *pane, body plane.Ring, from int64) {
	open := []plane.Ring{body}
	if w.PlaceUm > 0 {
		l := upright(float64(w.PlaceUm) - float64(w.Seams.KerfUm)/2)
		_, right := l.Band(w.Seams.KerfUm * plane.Micrometre)
		open = right.Clip(nil, body)
		q.cutBand(body, l, w.Seams.KerfUm, "kerf")
	}
	for _, r := range open {
		q.cutBand(r, level(w.middle()), w.Seams.KerfUm, "kerf")
		q.wander(r, level(w.middle()), w.Seams.KerfUm*plane.Micrometre, w.Seams.WanderUm*plane.Micrometre)
	}
	if from < w.Seams.FarUm {
		// From where both can be had.
		ends := crossings(body, upright(float64(from)))
		if len(ends) >= 2 {
			q.add(shape{lines: [][]point{{q.at(ends[0]), q.at(ends[1])}}, pen: medium, dash: chain, class: "from"})
		}
	}
}

// cutBand draws a kerf without a number.
func (p *pane) cutBand(r plane.Ring, l plane.Line, kerfUm int64, class string) {
	p.key(keyKerf)
	if kerfUm == 0 {
		if ends := crossings(r, l); len(ends) >= 2 {
			p.add(shape{lines: [][]point{{p.at(ends[0]), p.at(ends[1])}}, pen: thin, class: class})
		}
		return
	}
	s := shape{closed: true, fill: ink, class: class}
	for _, g := range kerf(r, l, kerfUm*plane.Micrometre) {
		s.lines = append(s.lines, p.ring(g))
	}
	p.add(s)
}

// backing measures at a place what is left on either side, square to each seam.
func (w wedge) backing(q *pane, placeUm int64) (bad []string) {
	first, second, err := w.Seams.Backing(w.Cut, placeUm)
	if err != nil {
		return []string{err.Error()}
	}
	low, high := w.sides()
	for i, s := range []struct {
		angle, side float64
		left, asked int64
		name        string
	}{{w.low, low, first, w.Seams.FirstBackUm, w.First}, {w.high, high, second, w.Seams.SecBackUm, w.Second}} {
		from := plane.Point{X: placeUm * plane.Micrometre, Y: round(s.side * plane.Micrometre)}
		sin, cos := math.Sincos(s.angle)
		foot := on(s.angle, float64(float64(placeUm)*cos)+float64(s.side*sin), 0)
		a, b := q.at(from), q.at(foot)
		middle := point{(a.x + b.x) / 2, (a.y + b.y) / 2}
		if d := b.minus(a); d != (point{}) {
			// On a blank strip, since it lies along the cut.
			aside := point{-d.y, d.x}.toward(550)
			q.add(shape{lines: [][]point{{a.plus(aside), b.plus(aside), b.minus(aside), a.minus(aside)}}, closed: true, fill: blank})
			for _, m := range arrow(a, b) {
				if line, ok := m.(shape); ok && !line.closed {
					line.class = "backing"
					m = line
				}
				q.add(m)
			}
		}
		t := words{at: middle.plus(point{1_500, 0}), anchor: left, size: smallSize, back: true, text: length(s.left) + " backing, " + length(s.asked) + " asked"}
		q.add(t)
		q.place.taken = append(q.place.taken, t.bounds())
		if s.left < s.asked {
			bad = append(bad, fmt.Sprintf("Mark %d: %s is left with %s of backing, %s are asked for: %s short.", i+1, name(s.name), length(s.left), length(s.asked), length(s.asked-s.left)))
			q.warned = append(q.warned, warned{middle, i + 1})
		}
	}
	return bad
}

// places are measured from where the seams meet, each on a line of its own below the drawing.
func (w wedge) places(q *pane, from int64, inside bool) {
	y := q.place.core.max.y + 4_500
	x := func(um int64) int64 { return q.at(plane.Point{X: um * plane.Micrometre}).x }
	bottom := q.place.core.max.y
	var over []mark // the texts lie over all lines
	row := func(a, b, pen int64, text string) {
		if pen == wide {
			y += 1_500
		}
		t := words{at: point{(x(a) + x(b)) / 2, y}, anchor: mid, size: smallSize, back: true, text: text}
		q.add(shape{lines: [][]point{{{x(a), bottom + 800}, {x(a), y + 800}}, {{x(b), bottom + 800}, {x(b), y + 800}}}, pen: thin, class: "dimension"})
		line := arrow(point{x(a), y}, point{x(b), y})
		q.add(line...)
		q.add(shape{lines: [][]point{{{x(a), y}, {x(b), y}}}, pen: pen})
		if t.bounds().width() > x(b)-x(a)-4_000 {
			t.anchor, t.at = left, point{x(b) + 1_500, y}
		}
		if pen == wide {
			t.at, t.anchor, t.back = point{x(a) + 1_500, y - 2_300}, left, false
		}
		over = append(over, t)
		q.place.taken = append(q.place.taken, box{point{x(a), y - 800}, point{x(b), y + 800}}.with(t.bounds()))
		y += 5_000
	}
	if w.Seams.NearUm > 0 {
		row(0, w.Seams.NearUm, thin, length(w.Seams.NearUm)+", closed end")
	}
	if inside {
		row(0, from, thin, length(from))
		row(max(from, w.Seams.NearUm), w.Seams.FarUm, wide, "both from here to the open end")
	}
	if w.PlaceUm > 0 {
		row(0, w.PlaceUm, thin, length(w.PlaceUm)+", cut across")
	}
	row(0, w.Seams.FarUm, thin, length(w.Seams.FarUm)+", open end")
	q.add(over...)
}

// choices says what each recovers.
func (w wedge) choices() []string {
	if w.PlaceUm == 0 {
		return nil
	}
	all, err := w.Seams.Choices(w.Cut, w.PlaceUm)
	if err != nil {
		return nil // the place leaves too little, which is marked
	}
	out := []string{"Lengths that keep their backing:"}
	for _, y := range all {
		s := fmt.Sprintf("%s: %s %s, %s %s", y.Name, name(w.First), length(y.FirstUm), name(w.Second), length(y.SecondUm))
		if y.ClosedFirstUm > 0 || y.ClosedSecUm > 0 {
			s += fmt.Sprintf("; at the closed end %s or %s", length(y.ClosedFirstUm), length(y.ClosedSecUm))
		}
		out = append(out, s+".")
	}
	return out
}

func degrees(mdeg int64) string { return number(measure.Length(mdeg)) + "°" }
