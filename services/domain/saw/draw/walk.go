package draw

import (
	"fmt"
	"strconv"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// body is a part at some time.
type body struct {
	name          string
	face, section plane.Ring
	layers        []saw.Layered
	ug            int64
	under, over   bool // another part lies above it, below it: it isn't seen from the face, from the back
	trimmed       bool
	end           *saw.Ended
	plan          *saw.End // what the plan says of the end; nil where it says nothing
}

// in is the body's outline in a view.
func (b body) in(v saw.View) plane.Ring {
	switch v {
	case saw.Back:
		return b.face.Mirrored()
	case saw.Section:
		return b.section
	case saw.Face:
	}
	return b.face
}

func (b body) seen(v saw.View) bool {
	return v == saw.Section || v == saw.Face && !b.under || v == saw.Back && !b.over
}

// work is a step with what it is done on and what comes of it.
type work struct {
	saw.Step
	number string
	path   string
	before body
	after  []body
}

// course is one branch of a plan beside what came of it.
type course struct {
	branch saw.Branch
	number string // of the look and the outcome it follows; empty for the trunk
	path   string // of that look
	start  body
	work   []work
	ended  []body
	found  []saw.Feature // what its look and those before would show
}

// errMismatch is for a result that isn't the plan's.
func errMismatch(what string) error {
	return fmt.Errorf("the result isn't of this study and plan: %s; evaluate the plan again", what)
}

// courses are all branches, the trunk first, each before those below it.
func courses(study saw.Study, plan saw.Plan, result saw.Result) ([]course, error) {
	if result.Study != study.Name || result.Plan != plan.Name {
		return nil, errMismatch(fmt.Sprintf("it names study %q and plan %q", result.Study, result.Plan))
	}
	return follow(nil, course{branch: result.Trunk}, "", plan.Steps, plan.Ends, body{})
}

func follow(all []course, c course, at string, steps []saw.Step, ends []saw.End, from body) ([]course, error) {
	parts := c.branch.Parts
	if len(parts) == 0 {
		return nil, errMismatch("a branch has no part")
	}
	now := map[string]body{}
	made := map[string][]body{}
	for i, p := range parts {
		b := body{name: p.Name, face: p.Face, section: p.Section, layers: p.Layers, ug: p.MassUg}
		if i == 0 {
			b.under, b.over = from.under, from.over
			c.start = b
			now[b.name] = b
			continue
		}
		made[p.Step] = append(made[p.Step], b)
	}
	self, numbered := len(all), c.number
	all = append(all, course{})
	for i, s := range steps {
		w := work{Step: s, number: strconv.Itoa(i + 1), path: fmt.Sprintf("%ssteps[%d]", at, i)}
		if numbered != "" {
			w.number = numbered + "." + w.number
		}
		var ok bool
		if w.before, ok = now[s.Part]; !ok {
			return nil, errMismatch(fmt.Sprintf("%s works on part %q, which isn't there", w.path, s.Part))
		}
		delete(now, s.Part)
		w.after = made[w.path]
		switch do := s.Do.(type) {
		case saw.Saw:
			cover(w, do.View, do.Line)
		case saw.Split:
			cover(w, do.View, do.Line)
		case saw.Trim:
			for j := range w.after {
				w.after[j].under, w.after[j].over, w.after[j].trimmed = w.before.under, w.before.over, true
			}
		case saw.Grind:
			w.after = []body{ground(w.before, do.View, do.ThicknessUm, c.branch.Losses, w.path)}
		case saw.Look:
			b := w.before
			if do.OffUm > 0 {
				b = ground(b, do.View, do.OffUm, c.branch.Losses, w.path)
			}
			w.after = []body{b}
			var err error
			if all, err = outcomes(all, c, w, do, b); err != nil {
				return nil, err
			}
		}
		if _, look := s.Do.(saw.Look); !look {
			for _, b := range w.after {
				now[b.name] = b
			}
		}
		c.work = append(c.work, w)
	}
	for i := range c.branch.Ends {
		e := &c.branch.Ends[i]
		b, ok := now[e.Part]
		if !ok {
			return nil, errMismatch(fmt.Sprintf("%s ends part %q, which isn't there", e.Path, e.Part))
		}
		b.end = e
		if i < len(ends) {
			b.plan = &ends[i]
			if len(e.Stones) != len(ends[i].Stones) {
				return nil, errMismatch(fmt.Sprintf("%s has %d stones", e.Path, len(e.Stones)))
			}
		}
		c.ended = append(c.ended, b)
	}
	all[self] = c
	return all, nil
}

func outcomes(all []course, c course, w work, l saw.Look, b body) ([]course, error) {
	for _, looked := range c.branch.Looks {
		if looked.Path != w.path {
			continue
		}
		if len(looked.Outcomes) != len(l.Outcomes) {
			break
		}
		for j, o := range l.Outcomes {
			next := course{branch: looked.Outcomes[j], number: w.number + letter(j), path: w.path}
			next.found = append(append(next.found, c.found...), o.Features...)
			var err error
			if all, err = follow(all, next, fmt.Sprintf("%s.look.outcomes[%d].", w.path, j), o.Steps, o.Ends, b); err != nil {
				return nil, err
			}
		}
		return all, nil
	}
	return nil, errMismatch(fmt.Sprintf("it has no outcomes for %s", w.path))
}

// letter of an outcome; a look has at most ten.
func letter(i int) string { return string(rune('a' + i)) }

// cover says which parts of a cut in the section lie above which.
func cover(w work, v saw.View, l saw.Line) {
	for i := range w.after {
		b := &w.after[i]
		b.under, b.over = w.before.under, w.before.over
		dx, dy := l.B.X-l.A.X, l.B.Y-l.A.Y
		if v != saw.Section || dx == 0 {
			continue
		}
		at := b.section.Centroid()
		left := dx*(at.Y/plane.Micrometre-l.A.Y)-dy*(at.X/plane.Micrometre-l.A.X) > 0
		if left == (dx > 0) {
			b.over = true
		} else {
			b.under = true
		}
	}
}

// ground is what a part is when a thickness is taken off it.
func ground(b body, v saw.View, um int64, losses []saw.Loss, path string) body {
	box := b.section.Box()
	z := box.Max.Y - um*plane.Micrometre
	l := plane.Line{A: plane.Point{Y: z}, B: plane.Point{X: plane.Millimetre, Y: z}}
	if v == saw.Back {
		z = box.Min.Y + um*plane.Micrometre
		l = plane.Line{A: plane.Point{X: plane.Millimetre, Y: z}, B: plane.Point{Y: z}}
	}
	_, side := l.Band(0)
	if rings := side.Clip(nil, b.section); len(rings) == 1 {
		b.section = rings[0]
	}
	layers := b.layers
	b.layers = nil
	for _, layer := range layers {
		var rings []plane.Ring
		for _, r := range layer.Rings {
			rings = side.Clip(rings, r)
		}
		if layer.Rings = rings; len(rings) > 0 {
			b.layers = append(b.layers, layer)
		}
	}
	for _, loss := range losses {
		if loss.Path == path {
			b.ug -= loss.MassUg
		}
	}
	return b
}
