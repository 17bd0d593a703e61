package draw

import (
	"fmt"
	"io"
	"strings"

	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// Study draws what was seen of a piece. The error is that of saw.NewModel, or about the options.
func Study(w io.Writer, study saw.Study, o Options) error {
	const any = "AUD" // nothing is priced
	result, err := saw.Evaluate(study, saw.Plan{Settings: saw.Settings{Currency: any}}, saw.Prices{Currency: any})
	if err != nil {
		return err
	}
	d, err := newDrawing(study, saw.Plan{}, result, o)
	if err != nil {
		return err
	}
	p := newPicture(fmt.Sprintf("Study of %s", study.Name), "", pictureRoom)
	seen, supposed := 0, 0
	for _, f := range study.Features {
		if f.Supposed {
			supposed++
		} else {
			seen++
		}
	}
	p.desc = fmt.Sprintf("%s from the face and in section, with %d features seen, %d only supposed and %d layers. It weighs %s.",
		study.Name, seen, supposed, len(study.Layers), d.mass(study.MassUg))
	p.text(0, titleSize, true, p.title)
	p.text(800, smallSize, false, d.weighed())
	c := d.courses[0]
	c.work, c.ended = nil, nil
	d.draw(p, c, style{labelled: true})
	p.finish(nil)
	return p.svg(w, d.o.ID, false)
}

// Plan draws a plan whole, with the steps and ends that don't hang on a look. The result is what saw.Evaluate gave for
// this study and plan; the error says where it isn't.
func Plan(w io.Writer, study saw.Study, plan saw.Plan, result saw.Result, o Options) error {
	d, err := newDrawing(study, plan, result, o)
	if err != nil {
		return err
	}
	return d.whole(pictureRoom, scales[0], false).svg(w, d.o.ID, false)
}

// Step draws the part that a step is done on and what comes of it. The path is the step's, as in parts and
// findings: "steps[2]", "steps[3].look.outcomes[0].steps[1]".
func Step(w io.Writer, study saw.Study, plan saw.Plan, result saw.Result, path string, o Options) error {
	d, err := newDrawing(study, plan, result, o)
	if err != nil {
		return err
	}
	for _, c := range d.courses {
		for _, s := range c.work {
			if s.path == path {
				return d.step(c, s).svg(w, d.o.ID, false)
			}
		}
	}
	return fmt.Errorf("the plan has no step %q: give the path of one, such as steps[0]", path)
}

// Outcomes draws what may come of a look side by side. The path is that of the look's step.
func Outcomes(w io.Writer, study saw.Study, plan saw.Plan, result saw.Result, path string, o Options) error {
	d, err := newDrawing(study, plan, result, o)
	if err != nil {
		return err
	}
	p := d.outcomes(path, pictureRoom, scales[0])
	if p == nil {
		return fmt.Errorf("the plan has no look %q: give the path of one, such as steps[0]", path)
	}
	return p.svg(w, d.o.ID, false)
}

// drawing is a study with a plan and what comes of it, being drawn.
type drawing struct {
	study   saw.Study
	plan    saw.Plan
	result  saw.Result
	courses []course
	o       Options
}

func newDrawing(study saw.Study, plan saw.Plan, result saw.Result, o Options) (*drawing, error) {
	o, err := o.checked(study)
	if err != nil {
		return nil, err
	}
	all, err := courses(study, plan, result)
	if err != nil {
		return nil, err
	}
	return &drawing{study, plan, result, all, o}, nil
}

func (d *drawing) mass(ug int64) string { return mass(ug, d.o.Division) }

// weighed says how the weighed mass and the drawing agree.
func (d *drawing) weighed() string {
	s := fmt.Sprintf("Weighed %s; as drawn, by the stated densities, %s (%s", d.mass(d.result.MassUg), d.mass(d.result.ModelUg), percent(max(d.result.ErrorBp, -d.result.ErrorBp)))
	switch {
	case d.result.ErrorBp > 0:
		return s + " more)."
	case d.result.ErrorBp < 0:
		return s + " less)."
	}
	return s + " apart)."
}

const estimates = "All sizes, masses and parts of a plan are estimates."

// whole is the picture of the trunk, no larger than a scale. On a page that says the rest it has no title, and the
// piece at its own size stands beside it where there is room.
func (d *drawing) whole(room int64, most Scale, page bool) *picture {
	c := d.courses[0]
	at := d.scale(c, room).atMost(most)
	stones := 0
	for _, e := range c.branch.Ends {
		stones += len(e.Stones)
	}
	p := newPicture(fmt.Sprintf("%s: %s", d.study.Name, d.plan.Name), "", room)
	p.scale = at
	p.desc = fmt.Sprintf("A cut plan for %s, from the face and in section: %d steps, %d planned stones, %d looks to decide after. %s",
		d.study.Name, len(c.work), stones, len(c.branch.Looks), estimates)
	s := style{beside: true, first: 1}
	if page {
		s.heading = at.String()
	} else {
		p.text(0, titleSize, true, p.title)
		p.text(800, smallSize, false, d.weighed()+" "+estimates)
	}
	columns := d.column(p, c, room, s)
	if page && at != Full {
		full := d.full(p)
		main, own := bounds(columns[0]), bounds(full[0])
		if main.width()+5_000+own.width() <= room && own.height() <= max(main.height(), 120_000) {
			columns, p.hasFull = append(columns, full...), true
		}
	}
	p.flow(columns)
	notes := findings(c.branch.Findings)
	for _, w := range c.work {
		if _, ok := w.Do.(saw.Look); ok {
			notes = append(notes, fmt.Sprintf("Step %s is a look: what comes after it is drawn by outcome.", w.number))
		}
	}
	p.finish(notes)
	return p
}

// full is the trunk at its own size.
func (d *drawing) full(p *picture) [][]mark {
	at := p.scale
	p.scale = Full
	columns := d.column(p, d.courses[0], 0, style{plain: true, beside: true, heading: "1:1, to lay the piece on"})
	p.scale = at
	return columns
}

func (d *drawing) outcomes(path string, room int64, most Scale) *picture {
	var of []course
	for _, c := range d.courses {
		if c.path == path && c.number != "" {
			of = append(of, c)
		}
	}
	if len(of) == 0 {
		return nil
	}
	number := strings.TrimRight(of[0].number, "abcdefghij")
	p := newPicture(fmt.Sprintf("%s: %s, after look %s", d.study.Name, d.plan.Name, number), "", room)
	var names []string
	for _, c := range of {
		names = append(names, fmt.Sprintf("%s (%s)", c.branch.Name, percent(c.branch.ChanceBp)))
	}
	p.desc = fmt.Sprintf("What may come of look %s at part %s, side by side: %s. %s", number, of[0].start.name, strings.Join(names, ", "), estimates)
	p.text(0, titleSize, true, p.title)
	p.text(800, smallSize, false, "Chances are the cutter's estimates. "+estimates)
	across := int64(min(len(of), 2))
	const gap = 5_000
	each := (room - gap*(across-1)) / across
	p.scale = most
	for _, c := range of {
		p.scale = p.scale.atMost(d.scale(c, each))
	}
	var columns [][]mark
	var notes []string
	first := 1
	for _, c := range of {
		heading := fmt.Sprintf("%s  %s, %s", c.number, short(c.branch.Name, 20), percent(c.branch.ChanceBp))
		columns = append(columns, d.column(p, c, each, style{heading: heading, first: first})...)
		f := findingsFrom(c.branch.Findings, first)
		first += warnings(c.branch.Findings)
		notes = append(notes, f...)
	}
	p.flow(columns)
	p.finish(notes)
	return p
}

// warnings is how many findings break a rule.
func warnings(list []saw.Finding) (n int) {
	for _, f := range list {
		if !f.Notice {
			n++
		}
	}
	return n
}

func findings(list []saw.Finding) []string { return findingsFrom(list, 1) }

// findingsFrom tells of findings, those that break a rule by their number in the drawing.
func findingsFrom(list []saw.Finding, n int) (out []string) {
	for _, f := range list {
		if f.Notice {
			out = append(out, "Note: "+f.Text+".")
			continue
		}
		if n <= mostMarks {
			out = append(out, fmt.Sprintf("Mark %d: %s", n, finding(f)))
		}
		n++
	}
	if n > mostMarks+1 {
		out = append(out, fmt.Sprintf("%d more have a cross without a number.", n-1-mostMarks))
	}
	return out
}

func finding(f saw.Finding) string {
	s := fmt.Sprintf("part %s", f.Part)
	if f.Stone != "" {
		s = fmt.Sprintf("stone %s", f.Stone)
	}
	s += fmt.Sprintf(", not %s", f.Rule)
	if f.ByUm > 0 {
		s += " by " + length(f.ByUm)
	}
	if f.Supposed {
		s += fmt.Sprintf(" (%s is only supposed)", f.Against)
	}
	return s + ": " + f.Text + "."
}

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
func (d *drawing) scale(c course, room int64) Scale {
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
			p.cut(before, do.Line, d.blade(do.Blade).KerfUm, false, w.number)
		}
	case saw.Split:
		if do.View == p.view {
			p.cut(before, do.Line, 0, true, w.number)
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

// says is what a step does, in words.
func (d *drawing) says(w work) string {
	switch do := w.Do.(type) {
	case saw.Saw:
		return fmt.Sprintf("saw part %s, blade %s, kerf %s", w.Part, do.Blade, length(d.blade(do.Blade).KerfUm))
	case saw.Split:
		return fmt.Sprintf("split part %s", w.Part)
	case saw.Trim:
		return fmt.Sprintf("trim part %s", w.Part)
	case saw.Grind:
		return fmt.Sprintf("grind %s of %s off the %s of part %s", length(do.ThicknessUm), do.What, do.View, w.Part)
	case saw.Look:
		s := fmt.Sprintf("look at part %s: %s", w.Part, do.Kind)
		if do.OffUm > 0 {
			s += fmt.Sprintf(", %s off the %s", length(do.OffUm), do.View)
		}
		return s
	}
	return ""
}

// step is the picture of a step.
func (d *drawing) step(c course, w work) *picture {
	p := newPicture(fmt.Sprintf("%s, step %s: %s", d.study.Name, w.number, d.says(w)), "", pictureRoom)
	var masses []string
	for _, b := range w.after {
		masses = append(masses, fmt.Sprintf("%s %s", b.name, d.mass(b.ug)))
	}
	p.desc = fmt.Sprintf("Part %s, %s, before step %s of plan %s, and what comes of it: %s. %s", w.Part, d.mass(w.before.ug), w.number, d.plan.Name, strings.Join(masses, ", "), estimates)
	p.text(0, titleSize, true, p.title)
	lost := measure.Mass(0)
	for _, l := range c.branch.Losses {
		if l.Path == w.path {
			lost += measure.Mass(l.MassUg)
		}
	}
	p.text(800, smallSize, false, fmt.Sprintf("Loss %s. %s", d.mass(int64(lost)), estimates))
	if w.Note != "" {
		p.text(500, smallSize, false, w.Note)
	}
	v := viewOf(w.Step)
	size := w.before.in(v).Box().Size()
	p.scale = fitting(size.X, size.Y, p.room-12_000, 70_000)
	room := p.room
	if p.scale.um(size.X) < 38_000 {
		room = p.room/2 - 2_500
	}
	var list []saw.Finding
	for _, f := range c.branch.Findings {
		if f.Path == w.path {
			list = append(list, f)
		}
	}
	var columns [][]mark
	for i, caption := range []string{"before", "after"} {
		q := newPane(v, d.caption(v)+", "+caption, p.scale, &p.used, room, w.before.in(v))
		now := []body{w.before}
		if i == 1 {
			now = w.after
		}
		if i == 0 {
			q.photos(d.study, d.o.Photo)
		}
		for _, b := range now {
			q.insides(d, b, c.found, false)
			q.outline(b.in(v), wide, solid, "part", "part "+b.name)
		}
		if i == 0 {
			q.sizes(w.before.in(v))
			q.work(d, w)
			for j, f := range list {
				if !f.Notice && f.View == v {
					q.warned = append(q.warned, warned{q.at(nm(f.At)), j + 1})
				}
			}
		}
		var within []body
		for _, b := range c.ended {
			if c.descends(b.name, w.Part) {
				within = append(within, b)
			}
		}
		q.stones(within)
		for _, b := range now {
			q.part(b, d.mass(b.ug))
		}
		columns = append(columns, titled(q.caption, q.finish()))
	}
	p.flow(columns)
	p.finish(findings(list))
	return p
}

// descends is whether a part comes from another one, or is it.
func (c course) descends(name, from string) bool {
	for range c.branch.Parts {
		if name == from {
			return true
		}
		next := ""
		for _, p := range c.branch.Parts {
			if p.Name == name {
				next = p.From
			}
		}
		name = next
	}
	return name == from
}
