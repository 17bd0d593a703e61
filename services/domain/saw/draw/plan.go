package draw

import (
	"fmt"
	"io"
	"strings"

	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/saw"
)

// Study draws what was seen of a piece. The error is that of saw.NewModel, or about the options.
func Study(w io.Writer, study saw.Study, o Options) error {
	const unpriced = "AUD" // nothing is sold, but a plan has a currency
	result, err := saw.Evaluate(study, saw.Plan{Settings: saw.Settings{Currency: unpriced}}, saw.Prices{Currency: unpriced})
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

// whole is the picture of the trunk, no larger than a scale. On a page that says the rest it has no title.
func (d *drawing) whole(room int64, most ratio, page bool) *picture {
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
	p.flow(d.column(p, c, room, s))
	notes := findings(c.branch.Findings)
	for _, w := range c.work {
		if _, ok := w.Do.(saw.Look); ok {
			notes = append(notes, fmt.Sprintf("Step %s is a look: what comes after it is drawn by outcome.", w.number))
		}
	}
	p.finish(notes)
	return p
}

// full is the trunk at its own size, with the steps' numbers round it.
func (d *drawing) full() *picture {
	const numbers = 16_000
	p := newPicture(d.study.Name+" at its own size", fmt.Sprintf("The cuts of %s at 1:1, to lay the piece on. %s", d.plan.Name, estimates), pageRoom)
	p.scale = ownSize
	c := d.courses[0]
	room := ownSize.um(c.start.in(saw.Face).Box().Size().X) + numbers
	p.flow(d.column(p, c, room, style{plain: true, beside: true, heading: "1:1, to lay the piece on"}))
	return p
}

func (d *drawing) outcomes(path string, room int64, most ratio) *picture {
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

// says is what a step does, in words.
func (d *drawing) says(w work) string {
	switch do := w.Do.(type) {
	case saw.Saw:
		return fmt.Sprintf("saw part %s, blade %s, kerf %s", w.Part, do.Blade, length(d.blade(do.Blade).KerfUm))
	case saw.Split:
		return fmt.Sprintf("split part %s", w.Part)
	case saw.Trim:
		return fmt.Sprintf("trim part %s %s", w.Part, trimmedTo(do))
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

// trimmedTo is what a trim leaves: so much round which stone, or what was drawn.
func trimmedTo(t saw.Trim) string {
	to := func(k saw.Kept) string {
		switch {
		case k.Stone == "":
			return "the drawn line"
		case k.AllowUm == 0:
			return "the outline of stone " + k.Stone
		}
		return length(k.AllowUm) + " round stone " + k.Stone
	}
	if len(t.Keep) == 1 {
		return "to " + to(t.Keep[0])
	}
	each := make([]string, len(t.Keep))
	for i, k := range t.Keep {
		each[i] = fmt.Sprintf("%s (%s)", k.Part, to(k))
	}
	last := len(each) - 1
	return "into " + strings.Join(each[:last], ", ") + " and " + each[last]
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
			if i == 0 {
				q.trimmed(w, nil)
			}
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
