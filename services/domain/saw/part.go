package saw

import (
	"cmp"
	"slices"

	"seamshare.example/services/domain/measure/plane"
)

// part is a part while a plan is evaluated. It is a value: work makes new ones.
type part struct {
	name, from, step string
	face, section    plane.Ring // the solid, as the package comment has it
	layers           []layer    // what of it isn't of the study's own density
	sgMilli          int64      // the study's own

	ng int64 // by the model, in nanograms
	ug int64 // its share of the weighed mass

	sawn     []sawn  // saw cuts that it has a face of
	bounds   []bound // all that cut it off in the section
	trimmed  bool
	unplaced bool
}

// sawn is a cut that a part lies beside.
type sawn struct {
	view   View
	line   plane.Line // the part lies on its left
	side   plane.HalfPlane
	clear  int64 // half the kerf and the wander, in nanometres
	wander int64
	path   string
}

// bound is a straight line in the section that something cut along: the part lies on its left, half a kerf away.
type bound struct {
	line plane.Line
	half float64 // in nanometres
}

// within is what of a height at a place of the section the bound leaves.
func (b bound) within(z span, at int64) span {
	for _, s := range (frame{cos: 1}).bounds([]bound{b}) {
		if v := s.at(at); s.above {
			z.to = min(z.to, v>>1)
		} else {
			z.from = max(z.from, (v+1)>>1)
		}
	}
	return z
}

// cutOff is the part with one bound more.
func (p part) cutOff(l plane.Line, kerf int64) part {
	p.bounds = append(slices.Clip(p.bounds), bound{l, float64(kerf) / 2})
	return p
}

// tightened is how near to each other the ends of outline and section may be left: what rounding along the
// trace may move them, and more.
const tightened = 4

// tighten cuts from outline and section what the other doesn't reach, and parts what then hangs together no longer.
func (m *Model) tighten(p part) []part {
	out := make([]part, 0, 1)
	for todo := []part{p}; len(todo) > 0; {
		p, todo = todo[len(todo)-1], todo[:len(todo)-1]
		along, box := m.trace.span(p.face), p.section.Box()
		switch {
		case along.from < box.Min.X-tightened || along.to > box.Max.X+tightened:
			rings := []plane.Ring{p.face}
			if along.from < box.Min.X-tightened {
				rings = rightOf(m.trace.square(box.Min.X), rings)
			}
			if along.to > box.Max.X+tightened {
				l := m.trace.square(box.Max.X)
				rings = rightOf(plane.Line{A: l.B, B: l.A}, rings)
			}
			for _, r := range rings {
				q := p
				q.face = r
				todo = append(todo, q)
			}
		case box.Min.X < along.from-tightened || box.Max.X > along.to+tightened:
			// Upwards and downwards lines: what is kept lies on the right of the first, on the left of the second.
			pieces := []part{p}
			if box.Min.X < along.from-tightened {
				at := plane.Point{X: along.from}
				pieces = sectionRight(plane.Line{A: at, B: at.Plus(plane.Point{Y: plane.Millimetre})}, 0, pieces)
			}
			if box.Max.X > along.to+tightened {
				at := plane.Point{X: along.to}
				pieces = sectionRight(plane.Line{A: at, B: at.Minus(plane.Point{Y: plane.Millimetre})}, 0, pieces)
			}
			todo = append(todo, pieces...)
		default:
			out = append(out, p)
		}
	}
	return out
}

func rightOf(l plane.Line, rings []plane.Ring) (out []plane.Ring) {
	_, right := l.Band(0)
	for _, r := range rings {
		out = right.Clip(out, r)
	}
	return out
}

// sectionRight is what the parts keep on the right of a line in the section, with half of the kerf gone.
func sectionRight(l plane.Line, kerf int64, parts []part) (out []part) {
	_, right := l.Band(kerf)
	for _, p := range parts {
		out = append(out, p.clipSection(right)...)
	}
	return out
}

// clipSection is what of the part lies in a half-plane of the section.
func (p part) clipSection(side plane.HalfPlane) []part {
	rings := side.Clip(nil, p.section)
	out := make([]part, len(rings))
	for i, r := range rings {
		out[i] = p
		out[i].section = r
		out[i].layers = make([]layer, 0, len(p.layers))
	}
	if len(out) == 0 {
		return nil
	}
	for _, l := range p.layers {
		var bits []plane.Ring
		for _, r := range l.rings {
			bits = side.Clip(bits, r)
		}
		for i := range out {
			mine := bits
			if len(out) > 1 {
				mine = within(out[i].section, bits)
			}
			if len(mine) > 0 {
				l.rings = mine
				out[i].layers = append(out[i].layers, l)
			}
		}
	}
	return out
}

// within is which of the bits, none of which crosses the ring, lie inside it.
func within(r plane.Ring, bits []plane.Ring) (out []plane.Ring) {
	for _, b := range bits {
		if p, ok := inner(b); ok && r.Where(p) != plane.Outside {
			out = append(out, b)
		}
	}
	return out
}

// inner is a point well inside the ring: the middle of an ear that nothing else reaches into, best of all.
func inner(r plane.Ring) (plane.Point, bool) {
	for i := range r {
		a, b, c := r[i], r[(i+1)%len(r)], r[(i+2)%len(r)]
		p := plane.Point{X: (a.X + b.X + c.X) / 3, Y: (a.Y + b.Y + c.Y) / 3}
		if r.Where(p) == plane.Inside {
			return p, true
		}
	}
	return plane.Point{}, false
}

// clipFace is what of the part lies in a half-plane of the face view.
func (p part) clipFace(side plane.HalfPlane) []part {
	rings := side.Clip(nil, p.face)
	out := make([]part, len(rings))
	for i, r := range rings {
		out[i] = p
		out[i].face = r
	}
	return out
}

// cut is what a saw leaves of the part on either side of a line.
func (m *Model) cut(p part, view View, l plane.Line, kerf int64) (left, right []part) {
	a, b := l.Band(kerf)
	for _, s := range []struct {
		side plane.HalfPlane
		out  *[]part
	}{{a, &left}, {b, &right}} {
		pieces := p.clipFace
		if view == Section {
			pieces = p.clipSection
		}
		for _, q := range pieces(s.side) {
			*s.out = append(*s.out, m.tighten(q)...)
		}
		m.order(view, l, *s.out)
	}
	return left, right
}

// order sorts what a cut leaves on one side along the line.
func (m *Model) order(view View, l plane.Line, parts []part) {
	if len(parts) < 2 {
		return
	}
	slices.SortStableFunc(parts, func(p, q part) int { return cmp.Compare(l.Begins(p.in(view)), l.Begins(q.in(view))) })
}

// in is the part's outline in a view.
func (p part) in(v View) plane.Ring {
	if v == Section {
		return p.section
	}
	return p.face
}

func (p part) beside(c sawn) part {
	p.sawn = append(slices.Clip(p.sawn), c)
	return p
}

// heights is from where to where the part reaches in depth.
func (p part) heights() span {
	box := p.section.Box()
	return span{box.Min.Y, box.Max.Y}
}

// shown is the part for the result.
func (p part) shown() Part {
	out := Part{
		Name: p.name, From: p.from, Step: p.step, Face: p.face, Section: p.section,
		AreaUm2: p.face.SquareMicrometres(), MassUg: p.ug, Unplaced: p.unplaced,
	}
	for _, l := range p.layers {
		out.Layers = append(out.Layers, Layered{l.name, l.kind, l.rings})
	}
	return out
}
