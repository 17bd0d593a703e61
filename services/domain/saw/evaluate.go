package saw

import (
	"fmt"
	"maps"
	"slices"

	"seamshare.example/services/domain/measure/plane"
)

// Evaluate says what comes of a plan. A plan that breaks rules is evaluated all the same: the result says
// which, where and by how much. What makes no sense is an *Invalid.
func Evaluate(study Study, plan Plan, prices Prices) (Result, error) {
	m, err := NewModel(study)
	if err != nil {
		return Result{}, err
	}
	return m.Evaluate(plan, prices)
}

// Evaluate is the same for a study that was checked.
func (m *Model) Evaluate(plan Plan, prices Prices) (Result, error) {
	ev := &evaluation{Model: m, plan: plan, prices: prices}
	return ev.evaluate()
}

func (ev *evaluation) evaluate() (Result, error) {
	m, plan := ev.Model, ev.plan
	if err := plan.check(ev.prices); err != nil {
		return Result{}, err
	}
	whole := m.whole
	if whole.name = plan.Part; whole.name == "" {
		whole.name = Whole
	}
	whole.ug = m.study.MassUg
	first := newWay(whole, m.drawn)
	trunk := Branch{ChanceBp: 10_000, InUg: whole.ug}
	if err := ev.walk(first, &trunk, "", plan.Steps, plan.Ends); err != nil {
		return Result{}, err
	}
	r := Result{
		Study: m.study.Name, Plan: plan.Name,
		MassUg: whole.ug, ModelUg: m.DrawnUg(), ErrorBp: ErrorBp(m.DrawnUg(), whole.ug),
		Trunk: trunk, Infeasible: ev.infeasible, HourMinor: plan.Settings.HourMinor, Totals: totals(trunk),
	}
	ev.value(&r)
	return r, nil
}

// evaluation is one plan under evaluation.
type evaluation struct {
	*Model
	plan       Plan
	prices     Prices
	infeasible bool
	scratch    scratch
	query      *Query // a region that is asked for
	region     *Region
}

// way is what is known on the way through steps, down to a leaf of the looks.
type way struct {
	now   map[string]part   // current parts
	order []string          // their names as they came
	gone  map[string]string // names of parts used up, and the step that did it
	stone map[string]string // names of planned stones, and their paths
	drawn []drawn           // the study's features, and what the looks so far showed
}

func newWay(p part, drawn []drawn) *way {
	return &way{map[string]part{p.name: p}, []string{p.name}, map[string]string{}, map[string]string{}, drawn}
}

// below is the way of an outcome for the part that was looked at.
func (w *way) below(p part) *way {
	next := newWay(p, slices.Clip(w.drawn))
	next.gone, next.stone = maps.Clone(w.gone), maps.Clone(w.stone)
	for name := range w.now {
		if name != p.name {
			next.gone[name] = "another part's way; a look's outcome goes on with the part that was looked at"
		}
	}
	return next
}

// take is the current part of that name, which is current no more.
func (w *way) take(path, name, by string) (part, error) {
	p, ok := w.now[name]
	if !ok {
		if used, ok := w.gone[name]; ok {
			return p, invalid(path, quoted(name), "the part was used up by %s", used)
		}
		return p, invalid(path, quoted(name), "there is no such part here; current parts are %q", w.order)
	}
	delete(w.now, name)
	w.order = slices.DeleteFunc(w.order, func(n string) bool { return n == name })
	w.gone[name] = by
	return p, nil
}

// add makes a part current.
func (w *way) add(path string, p part) error {
	if _, ok := w.now[p.name]; ok {
		return invalid(path, quoted(p.name), "another part has this name; give each its own")
	}
	if by, ok := w.gone[p.name]; ok {
		return invalid(path, quoted(p.name), "a part had this name that was used up by %s; give each its own", by)
	}
	w.now[p.name] = p
	w.order = append(w.order, p.name)
	return nil
}

// put gives back a part that a step left less of.
func (w *way) put(p part) {
	delete(w.gone, p.name)
	w.now[p.name] = p
	w.order = append(w.order, p.name)
}

// walk goes through the steps and ends of a branch.
func (ev *evaluation) walk(w *way, b *Branch, at string, steps []Step, ends []End) error {
	for _, name := range w.order {
		p := w.now[name].shown()
		p.From, p.Step = "", ""
		b.Parts = append(b.Parts, p)
	}
	for i, s := range steps {
		path := fmt.Sprintf("%ssteps[%d]", at, i)
		b.Minutes += s.Minutes
		p, err := w.take(path+".part", s.Part, path)
		if err != nil {
			return err
		}
		switch do := s.Do.(type) {
		case Saw:
			err = ev.saw(w, b, p, path, do)
		case Split:
			err = ev.part(w, b, p, cutting{path: path, at: path + ".split", view: do.View, line: do.Line, left: do.Left, right: do.Right})
		case Trim:
			err = ev.trim(w, b, p, path, do, ends)
		case Grind:
			p, err = ev.grind(b, p, path, path+".grind.thickness_um", do)
			w.put(p)
		case Look:
			err = ev.look(w, b, p, path, do)
		}
		if err != nil {
			return err
		}
	}
	for i, e := range ends {
		path := fmt.Sprintf("%sends[%d]", at, i)
		p, err := w.take(path+".part", e.Part, path)
		if err != nil {
			return err
		}
		if err := ev.end(w, b, p, path, e); err != nil {
			return err
		}
	}
	for _, name := range slices.Clone(w.order) {
		p, err := w.take("ends", name, "ends")
		if err != nil {
			return err
		}
		kind := Shelf
		if p.unplaced {
			kind = Waste
		}
		ev.find(b, Finding{Rule: AllEnded, Path: at + "ends", Part: name, View: Face, At: um(p.face.Centroid()), Notice: true, Text: fmt.Sprintf("no end is planned for part %s; it is taken as %s", name, kind)})
		if err := ev.end(w, b, p, at+"ends", End{Part: name, Kind: kind}); err != nil {
			return err
		}
	}
	return nil
}

func (ev *evaluation) find(b *Branch, f Finding) {
	b.Findings = append(b.Findings, f)
	ev.infeasible = ev.infeasible || !f.Notice
}

// um is a place in whole micrometres.
func um(p plane.Point) Point {
	return Point{rounded(p.X, plane.Micrometre), rounded(p.Y, plane.Micrometre)}
}

// look takes off what the look costs and goes down each outcome.
func (ev *evaluation) look(w *way, b *Branch, p part, path string, l Look) error {
	if l.OffUm > 0 {
		var err error
		if p, err = ev.grind(b, p, path, path+".look.off_um", Grind{View: l.View, ThicknessUm: l.OffUm}); err != nil {
			return err
		}
	}
	looked := Looked{Part: p.name, Path: path, MassUg: p.ug}
	for i, o := range l.Outcomes {
		at := fmt.Sprintf("%s.look.outcomes[%d]", path, i)
		next := w.below(p)
		delete(next.gone, p.name)
		found, err := ev.found(at, o)
		if err != nil {
			return err
		}
		next.drawn = append(next.drawn, found...)
		out := Branch{Path: p.name + ": " + o.Name, Name: o.Name, ChanceBp: o.ChanceBp, InUg: p.ug}
		if b.Path != "" {
			out.Path = b.Path + " / " + out.Path
		}
		if err := ev.walk(next, &out, at+".", o.Steps, o.Ends); err != nil {
			return err
		}
		looked.Outcomes = append(looked.Outcomes, out)
	}
	b.Looks = append(b.Looks, looked)
	return nil
}

// found are the features that an outcome would show.
func (ev *evaluation) found(path string, o Outcome) ([]drawn, error) {
	names := map[string]string{}
	for i, f := range ev.study.Features {
		names[f.Name] = fmt.Sprintf("the study's features[%d]", i)
	}
	for i, l := range ev.study.Layers {
		names[l.Name] = fmt.Sprintf("the study's layers[%d]", i)
	}
	for i, f := range o.Features {
		at := fmt.Sprintf("%s.features[%d]", path, i)
		if err := f.check(at, names); err != nil {
			return nil, err
		}
		if f.View == Section && f.Kind != Crack {
			return nil, invalid(at+".view", quoted(f.View), "a look's outcome shows cracks in the section, no other layers; make another study for those")
		}
	}
	return ev.draw(path+".features", o.Features)
}

// grind takes a thickness off a part.
func (ev *evaluation) grind(b *Branch, p part, path, at string, g Grind) (part, error) {
	z, off := p.heights(), g.ThicknessUm*plane.Micrometre
	if off >= z.to-z.from {
		return p, invalid(at, g.ThicknessUm, "part %s is only %v thick; nothing would be left", p.name, millimetres(z.to-z.from))
	}
	l := plane.Line{A: plane.Point{Y: z.to - off}, B: plane.Point{X: plane.Millimetre, Y: z.to - off}}
	if g.View == Back {
		l = plane.Line{A: plane.Point{X: plane.Millimetre, Y: z.from + off}, B: plane.Point{Y: z.from + off}}
	}
	_, side := l.Band(0)
	var left []part
	for _, q := range p.clipSection(side) {
		left = append(left, ev.tighten(q)...)
	}
	if len(left) != 1 {
		return p, invalid(at, g.ThicknessUm, "part %s would fall into %d; grind less, or saw it first", p.name, len(left))
	}
	ev.weigh(&left[0])
	lost := ev.share(p, left, true)
	b.Losses = append(b.Losses, Loss{Reason: GroundOff, What: g.What, Part: p.name, Path: path, MassUg: lost})
	left[0].step = path
	return left[0].cutOff(plane.Line{A: l.B, B: l.A}, 0), nil
}

// end is what becomes of a part.
func (ev *evaluation) end(w *way, b *Branch, p part, path string, e End) error {
	out := Ended{Part: p.name, Kind: e.Kind, Path: path, MassUg: p.ug, KeptUg: p.ug, Market: e.Market}
	switch e.Kind {
	case Waste:
		out.KeptUg = 0
		b.Losses = append(b.Losses, Loss{Reason: ThrownAway, Part: p.name, Path: path, MassUg: p.ug})
	case Stones:
		if err := ev.stones(w, b, p, &out, e); err != nil {
			return err
		}
	default:
		if e.Class == "" {
			break
		}
		box := p.face.Box().Size()
		price, ok := ev.prices.find(e.Market, e.Class, max(box.X, box.Y)/plane.Micrometre)
		if !ok {
			ev.noPrice(b, p, path, "", e.Market, e.Class)
			break
		}
		out.Minor = price.of(p.ug, p.face.SquareMicrometres())
		out.NetMinor = ev.net(out.Minor)
	}
	b.Ends = append(b.Ends, out)
	return ev.answer(w, b, p, out)
}

func (ev *evaluation) noPrice(b *Branch, p part, path, stone, market, class string) {
	ev.find(b, Finding{
		Rule: HasPrice, Path: path, Part: p.name, Stone: stone, View: Face, At: um(p.face.Centroid()), Notice: true,
		Text: fmt.Sprintf("market %q has no price for class %q of this size; it counts as nothing", market, class),
	})
}
