package saw

import (
	"errors"
	"fmt"
	"math"

	"seamshare.example/services/domain/measure"

	"seamshare.example/services/domain/measure/plane"
)

// Model is a study that was checked and made ready for plans. Many plans may be evaluated on it
// at once.
type Model struct {
	study    Study
	trace    trace
	whole    part
	drawn    []drawn            // features of face and back, and cracks and lines of the section
	tilts    map[string]float64 // of seams, in radians
	outlines outlines
}

// DrawnUg is what the piece would weigh as drawn, by its stated densities.
func (m *Model) DrawnUg() int64 { return m.whole.ng / 1_000 }

// ErrorBp is what a drawing is off by, in basis points of the weighed mass.
func ErrorBp(drawnUg, weighedUg int64) int64 {
	return rounded((drawnUg-weighedUg)*10_000, weighedUg)
}

// lookAgainBp is how far a drawing may be off before it is worth another look: a fifth. Host
// rock's specific gravity runs from about 2.7 to 4 (common practice, no source), which is
// a fifth either way of the middle; what is off by more was drawn or weighed wrong.
const lookAgainBp = 2_000

// LookAgain tells whether a drawing is off by more than densities explain.
func LookAgain(errorBp int64) bool { return max(errorBp, -errorBp) > lookAgainBp }

// trace places points of the face view along the section.
type trace struct {
	a, d   plane.Point // its first point, and the step to its second
	length float64
}

// along is s and t of a point: along the trace and across it, to the left. Rounding is to the nanometre, half away
// from zero, so that quarter turns and mirrors of piece and trace change nothing.
func (t trace) along(p plane.Point) plane.Point {
	v := p.Minus(t.a)
	if t.d.Y == 0 && t.d.X > 0 {
		return v
	}
	dot, cross := v.X*t.d.X+v.Y*t.d.Y, t.d.X*v.Y-t.d.Y*v.X
	return plane.Point{X: int64(math.Round(float64(dot) / t.length)), Y: int64(math.Round(float64(cross) / t.length))}
}

func (t trace) ring(r plane.Ring) plane.Ring {
	out := make(plane.Ring, len(r))
	for i, p := range r {
		out[i] = t.along(p)
	}
	return out
}

// span is from where to where a ring of the face view reaches along the trace.
func (t trace) span(r plane.Ring) span {
	s := span{math.MaxInt64, math.MinInt64}
	for _, p := range r {
		v := t.along(p).X
		s = span{min(s.from, v), max(s.to, v)}
	}
	return s
}

// square is the line across the trace at s, with growing s on its right.
func (t trace) square(s int64) plane.Line {
	f := float64(s) / t.length
	at := t.a.Plus(plane.Point{X: int64(math.Round(f * float64(t.d.X))), Y: int64(math.Round(f * float64(t.d.Y)))})
	return plane.Line{A: at, B: at.Plus(plane.Point{X: -t.d.Y, Y: t.d.X})}
}

type span struct{ from, to int64 }

// layer is a material that the section holds in places.
type layer struct {
	name    string
	kind    Kind
	sgMilli int64
	rings   []plane.Ring
}

// drawn is a feature as the fit looks at it.
type drawn struct {
	Feature
	ring   plane.Ring // in the face view or section, if closed
	path   plane.Path // else
	box    plane.Box  // round either
	within span       // its depths, z in nanometres
}

// NewModel checks a study. The error is an *Invalid.
func NewModel(study Study) (*Model, error) {
	m := &Model{study: study, tilts: map[string]float64{}}
	if err := study.check(); err != nil {
		return nil, err
	}
	face, err := ring("outline", study.Outline)
	if err != nil {
		return nil, err
	}
	m.trace = trace{plane.Point{}, plane.Point{X: plane.Millimetre}, plane.Millimetre}
	if study.Trace != (Line{}) {
		a, b := nm(study.Trace.A), nm(study.Trace.B)
		if _, err := plane.CheckLine(a, b); err != nil {
			return nil, shape("trace", "", err)
		}
		d := b.Minus(a)
		m.trace = trace{a, d, math.Hypot(float64(d.X), float64(d.Y))}
	}
	section, err := m.section(m.trace.span(face))
	if err != nil {
		return nil, err
	}
	m.whole = part{face: face, section: section, sgMilli: study.SGMilli}
	if err := m.layers(); err != nil {
		return nil, err
	}
	if m.drawn, err = m.draw("features", study.Features); err != nil {
		return nil, err
	}
	for i, u := range study.Underlays {
		if err := u.check(fmt.Sprintf("underlays[%d]", i)); err != nil {
			return nil, err
		}
	}
	parts := m.tighten(m.whole)
	if len(parts) != 1 {
		return nil, invalid("profile", "", "outline and section don't make one solid; draw the section along its trace, from the outline's one side to the other")
	}
	m.whole = parts[0]
	if m.weigh(&m.whole); m.whole.ng <= 0 {
		return nil, invalid("outline", "", "the piece as drawn has no mass; check the outline's size and the thickness")
	}
	return m, nil
}

// section is the drawn section, or the rectangle of the thickness.
func (m *Model) section(along span) (plane.Ring, error) {
	if len(m.study.Profile) > 0 {
		section, err := ring("profile", m.study.Profile)
		if err != nil {
			return nil, err
		}
		if top := section.Box().Max.Y; top != 0 {
			return nil, invalid("profile", top/plane.Micrometre, "the highest point of a section has z = 0, and all else lies below; move it up or down")
		}
		return section, nil
	}
	return rectangle(along, span{-m.study.ThicknessUm * plane.Micrometre, 0}), nil
}

func rectangle(s, z span) plane.Ring {
	return plane.Ring{{X: s.from, Y: z.from}, {X: s.to, Y: z.from}, {X: s.to, Y: z.to}, {X: s.from, Y: z.to}}
}

// layers finds which materials lie where in the section.
func (m *Model) layers() error {
	whole := &m.whole
	z, box := int64(0), whole.section.Box()
	for _, l := range m.study.Layers {
		below := z - l.ThicknessUm*plane.Micrometre
		whole.layers = append(whole.layers, layer{l.Name, l.Kind, l.SGMilli, []plane.Ring{rectangle(span{box.Min.X, box.Max.X}, span{below, z})}})
		z = below
	}
	for i, f := range m.study.Features {
		if f.View != Section || !f.Closed && f.Kind != Seam {
			continue
		}
		path := fmt.Sprintf("features[%d]", i)
		var outline plane.Ring
		var err error
		if f.Kind == Seam {
			if outline, err = m.seam(path, f); err != nil {
				return err
			}
		} else if outline, err = ring(path+".points", f.Points); err != nil {
			return err
		}
		// Later ones count: what they cover is taken from the earlier.
		for j := range whole.layers {
			if whole.layers[j].rings, err = less(whole.layers[j].rings, outline); err != nil {
				return invalid(path, f.Name, "it couldn't be laid over %s: %v; draw it with fewer points", whole.layers[j].name, err)
			}
		}
		rings, err := plane.Intersection([]plane.Ring{whole.section}, []plane.Ring{outline})
		if err != nil {
			return invalid(path, f.Name, "it couldn't be laid into the section: %v; draw it with fewer points", err)
		}
		sg := f.SGMilli
		if sg == 0 {
			sg = m.study.SGMilli
		}
		l := layer{name: f.Name, kind: f.Kind, sgMilli: sg}
		for _, face := range rings {
			l.rings = append(l.rings, face.Outer)
		}
		whole.layers = append(whole.layers, l)
	}
	return nil
}

// less is what of the rings lies outside the outline.
func less(rings []plane.Ring, outline plane.Ring) ([]plane.Ring, error) {
	apart := true
	for _, r := range rings {
		a, b := r.Box(), outline.Box()
		apart = apart && (a.Max.X <= b.Min.X || b.Max.X <= a.Min.X || a.Max.Y <= b.Min.Y || b.Max.Y <= a.Min.Y)
	}
	if apart {
		return rings, nil
	}
	faces, err := plane.Difference(rings, []plane.Ring{outline})
	if err != nil {
		return nil, err
	}
	var out []plane.Ring
	for _, f := range faces {
		if len(f.Holes) == 0 {
			out = append(out, f.Outer)
			continue
		}
		// A ring has no hole: part it through the hole's middle.
		at := f.Holes[0].Centroid()
		for _, side := range halves(plane.Line{A: at, B: at.Plus(plane.Point{Y: plane.Millimetre})}, f.Outer) {
			rest := []plane.Ring{side}
			for _, hole := range f.Holes {
				if rest, err = less(rest, hole); err != nil {
					return nil, err
				}
			}
			out = append(out, rest...)
		}
	}
	return out, nil
}

func halves(l plane.Line, r plane.Ring) []plane.Ring {
	left, right := plane.Cut(r, l, 0)
	return append(left, right...)
}

// seam is the outline of a seam: its middle line with half the thickness on either side, its ends square, its bends
// mitred.
func (m *Model) seam(path string, f Feature) (plane.Ring, error) {
	points := make([]plane.Point, len(f.Points))
	for i, p := range f.Points {
		points[i] = nm(p)
	}
	line, err := plane.CheckPath(points)
	if err != nil {
		return nil, shape(path+".points", "", err)
	}
	half := float64(f.ThicknessUm) * plane.Micrometre / 2
	n := len(line)
	out := make([]plane.Point, 2*n)
	for i, p := range line {
		before, after := line[max(i, 1)-1], line[max(i, 1)]
		ax, ay := normal(before, after)
		bx, by := ax, ay
		if i > 0 && i < n-1 {
			bx, by = normal(line[i], line[i+1])
		}
		// The mitre: along the sum of both normals, so long that each side keeps its distance.
		k := half / (1 + float64(ax*bx) + float64(ay*by))
		if math.IsInf(k, 0) || k > 5*half {
			return nil, invalid(fmt.Sprintf("%s.points[%d]", path, i), p, "a seam doesn't turn back so sharply; draw two seams")
		}
		v := plane.Point{X: int64(math.Round(k * (ax + bx))), Y: int64(math.Round(k * (ay + by)))}
		out[i], out[2*n-1-i] = p.Minus(v), p.Plus(v)
	}
	outline, err := plane.CheckRing(out)
	if err != nil {
		return nil, invalid(path+".points", f.Name, "a seam as thick as %v would run into itself there: %v", measure.Length(f.ThicknessUm), err)
	}
	first, last := line[0], line[n-1]
	d := last.Minus(first)
	if d.X < 0 {
		d = first.Minus(last)
	}
	m.tilts[f.Name] = math.Atan2(float64(d.Y), float64(d.X))
	return outline, nil
}

// normal is the unit vector to the left of the way from a to b.
func normal(a, b plane.Point) (x, y float64) {
	d := b.Minus(a)
	l := math.Hypot(float64(d.X), float64(d.Y))
	return -float64(d.Y) / l, float64(d.X) / l
}

// draw makes features ready for the fit: those of face and back, and lines of the section.
func (m *Model) draw(path string, features []Feature) ([]drawn, error) {
	var out []drawn
	for i, f := range features {
		at := fmt.Sprintf("%s[%d]", path, i)
		d := drawn{Feature: f, within: span{math.MinInt64, math.MaxInt64}}
		points := make([]plane.Point, len(f.Points))
		container, where := m.whole.face, "the piece's outline"
		for j, p := range f.Points {
			points[j] = nm(p)
			if f.View == Back {
				points[j].X = -points[j].X
			}
		}
		if f.View == Section {
			container, where = m.whole.section, "the section"
		}
		var err error
		if f.Closed {
			d.ring, err = plane.CheckRing(points)
		} else {
			d.path, err = plane.CheckPath(points)
		}
		if err != nil {
			return nil, shape(at+".points", f.Name, err)
		}
		for j, p := range points {
			if container.Where(p) == plane.Outside && f.Kind != Seam {
				return nil, invalid(fmt.Sprintf("%s.points[%d]", at, j), f.Points[j], "%s lies within %s; move the point inside", f.Name, where)
			}
		}
		if d.ring != nil && !plane.Holds(container, d.ring) {
			return nil, invalid(at+".points", f.Name, "an edge of it leaves %s; draw it inside", where)
		}
		d.box = plane.Path(points).Box()
		if f.DepthUm > 0 {
			d.within = m.reach(f, m.trace.span(points))
		}
		if f.View == Section && (f.Closed || f.Kind == Seam) {
			continue // a layer
		}
		out = append(out, d)
	}
	return out, nil
}

// reach is from where to where a feature of face or back goes that lies over a stretch of the section: from its side
// of the piece as deep as it is below the lowest place of that side over the stretch, so rather too deep.
func (m *Model) reach(f Feature, s span) span {
	low, high := int64(math.MaxInt64), int64(math.MinInt64)
	// A nanometre more either way, so that a crack square to the section has a stretch too.
	new(scratch).over([]plane.Ring{m.whole.section}, span{s.from - 1, s.to + 1}, nil, func(_, _ int64, l, h [2]int64, ok bool) {
		if ok {
			low, high = min(low, h[0]>>1, h[1]>>1), max(high, (l[0]+1)>>1, (l[1]+1)>>1)
		}
	})
	depth := f.DepthUm * plane.Micrometre
	if low == math.MaxInt64 {
		return span{math.MinInt64, math.MaxInt64} // no section there to count from
	}
	if f.View == Back {
		return span{math.MinInt64, high + depth}
	}
	return span{low - depth, math.MaxInt64}
}

// Reach is from where to where in the section, in nanometres, a feature of the study's face or back goes; all through
// where no depth is drawn or there is no feature of that name.
func (m *Model) Reach(feature string) (from, to int64) {
	for _, d := range m.drawn {
		if d.Name == feature && d.View != Section {
			return d.within.from, d.within.to
		}
	}
	return math.MinInt64, math.MaxInt64
}

func nm(p Point) plane.Point { return plane.Micrometres(p.X, p.Y) }

func ring(path string, points []Point) (plane.Ring, error) {
	at := make([]plane.Point, len(points))
	for i, p := range points {
		at[i] = nm(p)
	}
	r, err := plane.CheckRing(at)
	if err != nil {
		return nil, shape(path, "", err)
	}
	return r, nil
}

// shape names the point that a shape's error is about.
func shape(path, value string, err error) *Invalid {
	if e := (*plane.ShapeError)(nil); errors.As(err, &e) {
		return &Invalid{Path: fmt.Sprintf("%s[%d]", path, e.Vertex), Value: value, Rule: e.Problem}
	}
	return &Invalid{Path: path, Value: value, Rule: err.Error()}
}
