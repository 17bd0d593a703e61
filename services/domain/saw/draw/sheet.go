package draw

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"

	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

//go:embed sheet.html
var sheetText string

var sheetTemplate = template.Must(template.New("sheet").Parse(sheetText))

// sheet is what the page shows, in words.
type sheet struct {
	Title, Study, Plan, Weighed string
	Minutes                     int64
	Looks                       bool
	Bar                         template.HTML
	Figures                     []template.HTML
	Unfit                       string
	Broken, Notices             []string
	Steps                       []sheetStep
	Parts                       []sheetPart
	Stones                      []sheetStone
}

type sheetStep struct {
	Outcome                         string // a line between steps
	Number, What, Note, View, Blade string
	Minutes                         int64
}

type sheetPart struct {
	Number, Name, Mass, Becomes string
	Loss                        bool
}

type sheetStone struct {
	Name, Part, Outline, Depth, Mass, Carats, Chance string
	Minutes                                          int64
}

// The most that a drawing may take of a page, in micrometres: A4 less the sheet's margins, and in height a little less.
const (
	pageWide = 184_000
	pageHigh = 262_000
)

// Sheet writes a page of HTML to print on A4 paper, black and white, and to take to the bench: the drawings to scale with a
// bar to check the printer by, the steps to tick off, the parts with masses to compare, the planned stones and
// the usual cautions. It refers to nothing outside itself but photos.
func Sheet(w io.Writer, study saw.Study, plan saw.Plan, result saw.Result, o Options) error {
	d, err := newDrawing(study, plan, result, o)
	if err != nil {
		return err
	}
	s := sheet{Title: "Cut sheet for " + plain(study.Name), Study: plain(study.Name), Plan: plain(plan.Name), Weighed: d.weighed()}
	s.Bar = controlBar()
	if err := d.figures(&s); err != nil {
		return err
	}
	for _, c := range d.courses {
		number := ""
		if c.number != "" {
			number = c.number + ": "
		}
		for _, f := range c.branch.Findings {
			if f.Notice {
				s.Notices = append(s.Notices, plain(number+f.Text))
			} else {
				s.Broken = append(s.Broken, plain(number+finding(f)))
			}
		}
	}
	d.course(&s, d.courses[0])
	s.Minutes, s.Looks = likeliestMinutes(result.Trunk), len(result.Trunk.Looks) > 0
	return sheetTemplate.Execute(w, s)
}

// likeliestMinutes adds up a branch with the likeliest outcome of each look, the first where two are as likely.
func likeliestMinutes(b saw.Branch) int64 {
	sum := b.Minutes
	for _, l := range b.Looks {
		best := 0
		for i, o := range l.Outcomes {
			if o.ChanceBp > l.Outcomes[best].ChanceBp {
				best = i
			}
		}
		sum += likeliestMinutes(l.Outcomes[best])
	}
	return sum
}

// controlBar is exactly 100 mm from end to end.
func controlBar() template.HTML {
	var b strings.Builder
	b.WriteString(`<svg xmlns="http://www.w3.org/2000/svg" width="106mm" height="9mm" viewBox="0 0 106 9" role="img" aria-label="a bar of 100 mm">` +
		`<rect id="control-bar" x="2" y="0" width="100" height="2" fill="#000"/>` +
		`<path d="`)
	for i := range 11 {
		fmt.Fprintf(&b, "M%d 2V4", 2+10*i)
	}
	b.WriteString(`" stroke="#000" stroke-width=".2"/><g font-size="3" font-family="sans-serif" text-anchor="middle"><text x="2.9" y="7.5">0</text><text x="52" y="7.5">50</text><text x="99" y="7.5">100 mm</text></g></svg>`)
	return template.HTML(b.String()) // all of it is ours
}

// figures draws the plan with its words, the same to lay the piece on, and what comes of looks.
func (d *drawing) figures(s *sheet) error {
	add := func(p *picture) error {
		var b bytes.Buffer
		if err := p.svg(&b, fmt.Sprintf("%s-%d", d.o.ID, len(s.Figures)+1), true); err != nil {
			return err
		}
		s.Figures = append(s.Figures, template.HTML(b.String())) // svg escapes all that it was given
		return nil
	}
	p := largest(func(most ratio) *picture { return d.whole(pageRoom, most, true) })
	if err := add(p); err != nil {
		return err
	}
	if p.scale != ownSize {
		if full := d.full(); full.fitsPage() {
			if err := add(full); err != nil {
				return err
			}
		} else {
			s.Unfit = fmt.Sprintf("The piece is too large for this paper at 1:1; it is drawn at %s.", p.scale)
		}
	}
	for _, c := range d.courses {
		for _, w := range c.work {
			if _, ok := w.Do.(saw.Look); ok {
				if err := add(largest(func(most ratio) *picture { return d.outcomes(w.path, pageRoom, most) })); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// largest is the picture at the largest scale at which all of it, labels too, fits a page: a browser shrinks a page that
// something is too wide for, and then nothing is to scale.
func largest(draw func(most ratio) *picture) (p *picture) {
	for _, most := range scales {
		if p != nil && p.scale.atMost(most) == p.scale {
			continue
		}
		if p = draw(most); p.fitsPage() {
			break
		}
	}
	return p
}

func (p *picture) fitsPage() bool {
	b := bounds(p.marks).grown(margin)
	return b.width() <= pageWide && b.height() <= pageHigh
}

// course puts a branch's steps, parts and stones on the sheet, and those of its looks where they come.
func (d *drawing) course(s *sheet, c course) {
	s.part(d, c, c.start, "–")
	for i, w := range c.work {
		if i > 0 {
			if _, look := c.work[i-1].Do.(saw.Look); look {
				s.Steps = append(s.Steps, sheetStep{Outcome: fmt.Sprintf("then, whatever look %s shows", c.work[i-1].number)})
			}
		}
		step := sheetStep{Number: w.number, What: plain(d.says(w)), Note: plain(w.Note), View: string(viewOf(w.Step)), Minutes: w.Minutes, Blade: "–"}
		switch do := w.Do.(type) {
		case saw.Saw:
			step.What = plain(fmt.Sprintf("saw part %s %s: left %s, right %s", w.Part, where(w, do.View, do.Line), strings.Join(do.Left, ", "), strings.Join(do.Right, ", ")))
			step.Blade = plain(do.Blade) + ", " + length(d.blade(do.Blade).KerfUm)
		case saw.Grind:
			step.View = string(do.View)
		case saw.Look:
			step.View = "–"
			if do.OffUm > 0 {
				step.View = string(do.View)
			}
		case saw.Split:
			step.What = plain(fmt.Sprintf("split part %s %s: left %s, right %s", w.Part, where(w, do.View, do.Line), strings.Join(do.Left, ", "), strings.Join(do.Right, ", ")))
		case saw.Trim:
		}
		s.Steps = append(s.Steps, step)
		_, look := w.Do.(saw.Look)
		if !look {
			for _, b := range w.after {
				s.part(d, c, b, w.number)
			}
		}
		for _, l := range c.branch.Losses {
			if l.Path == w.path {
				why := string(l.Reason)
				if l.What != "" {
					why += ", " + string(l.What)
				}
				s.Parts = append(s.Parts, sheetPart{Number: w.number, Name: "loss", Mass: d.mass(l.MassUg), Becomes: why, Loss: true})
			}
		}
		if !look {
			continue
		}
		for _, next := range d.courses {
			if next.path == w.path {
				s.Steps = append(s.Steps, sheetStep{Outcome: fmt.Sprintf("%s  if the look shows “%s” (chance %s)", next.number, plain(next.branch.Name), percent(next.branch.ChanceBp))})
				d.course(s, next)
			}
		}
	}
	for _, b := range c.ended {
		if b.plan == nil {
			continue
		}
		for i, st := range b.plan.Stones {
			s.stone(b, st, b.end.Stones[i])
		}
	}
}

// where is from where to where a cut runs through its part, in millimetres from the left and lower edges of the part's box as
// drawn: what one marks on the stone.
func where(w work, v saw.View, l saw.Line) string {
	r := w.before.in(v)
	box := r.Box()
	a, b := plane.Micrometres(l.A.X, l.A.Y), plane.Micrometres(l.B.X, l.B.Y)
	d := b.Minus(a)
	length := math.Hypot(float64(d.X), float64(d.Y))
	first, last := math.Inf(1), math.Inf(-1)
	side := func(p plane.Point) float64 {
		return (float64(d.X)*float64(p.Y-a.Y) - float64(d.Y)*float64(p.X-a.X)) / length
	}
	along := func(p plane.Point) float64 {
		return (float64(d.X)*float64(p.X-a.X) + float64(d.Y)*float64(p.Y-a.Y)) / length
	}
	p := r[len(r)-1]
	for _, q := range r {
		if h, k := side(p), side(q); (h > 0) != (k > 0) {
			t := along(p) + (along(q)-along(p))*h/(h-k)
			first, last = min(first, t), max(last, t)
		}
		p = q
	}
	if first > last {
		return "along its edge"
	}
	place := func(t float64) string {
		x, y := float64(a.X)+t*float64(d.X)/length-float64(box.Min.X), float64(a.Y)+t*float64(d.Y)/length-float64(box.Min.Y)
		tenth := func(nm float64) string { return length1(int64(math.Round(nm / plane.Micrometre))) }
		return fmt.Sprintf("(%s, %s)", tenth(x), tenth(y))
	}
	return fmt.Sprintf("from %s to %s", place(first), place(last))
}

// length1 is a length in millimetres to the tenth, as it is marked on a stone.
func length1(um int64) string {
	return strings.TrimSuffix(measure.Length((um+50)/100*100).String(), " mm")
}

func (s *sheet) part(d *drawing, c course, b body, number string) {
	p := sheetPart{Number: number, Name: plain(b.name), Mass: d.mass(b.ug), Becomes: "worked on"}
	if c.number != "" && number == "–" {
		p.Number = c.number
	}
	for _, e := range c.ended {
		if e.name != b.name {
			continue
		}
		p.Becomes = string(e.end.Kind)
		if e.end.Kind == saw.Stones {
			p.Becomes = "stone"
			var names []string
			for _, st := range e.end.Stones {
				names = append(names, plain(st.Name))
			}
			if len(names) > 1 {
				p.Becomes = "stones"
			}
			p.Becomes += " " + strings.Join(names, ", ")
		}
	}
	s.Parts = append(s.Parts, p)
}

func (s *sheet) stone(b body, st saw.Stone, planned saw.Planned) {
	out := sheetStone{Name: plain(st.Name), Part: plain(b.name), Outline: size(st), Depth: mm(st.DepthUm), Chance: percent(st.ChanceBp), Minutes: st.Minutes}
	if planned.Fits {
		const stoneDivision = 1_000 // a milligram: finer than the carats beside it
		out.Mass, out.Carats = mass(planned.MassUg, stoneDivision), strings.TrimSuffix(measure.Mass(planned.MassUg).Carats(), " ct")
	} else {
		out.Mass, out.Carats = "doesn't fit", "–"
	}
	s.Stones = append(s.Stones, out)
}
