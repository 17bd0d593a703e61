package saw_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// motion is a turn, after a mirror in the y axis if there is one, of the face view.
type motion struct {
	mdeg   int64
	mirror bool
	// rational, if any, is the turn by which its two legs' quotient is the tangent: exact for multiples of its hypotenuse.
	rational [3]int64
	grid     int64 // instead: no turn, but each point to a multiple of so many micrometres
}

func (m motion) radians() float64 {
	if m.rational != [3]int64{} {
		return math.Atan2(float64(m.rational[1]), float64(m.rational[0]))
	}
	return float64(m.mdeg) * math.Pi / 180_000
}

func (m motion) point(p saw.Point) saw.Point {
	if m.mirror {
		p.X = -p.X
	}
	if m.grid > 0 {
		return saw.Point{X: p.X / m.grid * m.grid, Y: p.Y / m.grid * m.grid}
	}
	if cos, sin, whole := m.rational[0], m.rational[1], m.rational[2]; whole > 0 {
		return saw.Point{X: (p.X*cos - p.Y*sin) / whole, Y: (p.X*sin + p.Y*cos) / whole}
	}
	switch m.mdeg {
	case 0:
		return p
	case 90_000:
		return saw.Point{X: -p.Y, Y: p.X}
	case 180_000:
		return saw.Point{X: -p.X, Y: -p.Y}
	}
	sin, cos := math.Sincos(m.radians())
	x, y := float64(p.X), float64(p.Y)
	return saw.Point{X: int64(math.Round(x*cos - y*sin)), Y: int64(math.Round(x*sin + y*cos))}
}

// in moves a point of a view.
func (m motion) in(v saw.View, p saw.Point) saw.Point {
	switch v {
	case saw.Section:
		return p
	case saw.Back:
		p = m.point(saw.Point{X: -p.X, Y: p.Y})
		return saw.Point{X: -p.X, Y: p.Y}
	}
	return m.point(p)
}

func (m motion) points(v saw.View, points []saw.Point) []saw.Point {
	out := make([]saw.Point, len(points))
	for i, p := range points {
		out[i] = m.in(v, p)
	}
	return out
}

func (m motion) study(s saw.Study) saw.Study {
	s.Outline = m.points(saw.Face, s.Outline)
	s.Trace = saw.Line{A: m.point(s.Trace.A), B: m.point(s.Trace.B)}
	s.Features = m.features(s.Features)
	return s
}

func (m motion) features(features []saw.Feature) []saw.Feature {
	out := slices.Clone(features)
	for i := range out {
		out[i].Points = m.points(out[i].View, out[i].Points)
	}
	return out
}

// cut moves a cut. Mirrored, what was left of it is on its right.
func (m motion) cut(v saw.View, l *saw.Line, left, right *[]string) {
	*l = saw.Line{A: m.in(v, l.A), B: m.in(v, l.B)}
	if m.mirror && v != saw.Section {
		*left, *right = *right, *left
	}
}

func (m motion) plan(p saw.Plan) saw.Plan {
	p.Steps, p.Ends = m.steps(p.Steps), m.ends(p.Ends)
	return p
}

func (m motion) steps(steps []saw.Step) []saw.Step {
	out := slices.Clone(steps)
	for i, s := range out {
		switch do := s.Do.(type) {
		case saw.Saw:
			m.cut(do.View, &do.Line, &do.Left, &do.Right)
			out[i].Do = do
		case saw.Split:
			m.cut(do.View, &do.Line, &do.Left, &do.Right)
			out[i].Do = do
		case saw.Trim:
			do.Keep = slices.Clone(do.Keep)
			for j := range do.Keep {
				do.Keep[j].Ring = m.points(do.View, do.Keep[j].Ring)
			}
			out[i].Do = do
		case saw.Look:
			do.Outcomes = slices.Clone(do.Outcomes)
			for j, o := range do.Outcomes {
				o.Steps, o.Ends, o.Features = m.steps(o.Steps), m.ends(o.Ends), m.features(o.Features)
				do.Outcomes[j] = o
			}
			out[i].Do = do
		}
	}
	return out
}

func (m motion) ends(ends []saw.End) []saw.End {
	out := slices.Clone(ends)
	for i := range out {
		out[i].Stones = slices.Clone(out[i].Stones)
		for j := range out[i].Stones {
			s := &out[i].Stones[j]
			s.At = m.in(s.View, s.At)
			turned := s.TurnMdeg
			if m.mirror {
				// Mirrored, a stone that points right points left: its own outline turned over its length, and half round.
				turned = 180_000 - turned
				s.Ring = slices.Clone(s.Ring)
				for k := range s.Ring {
					s.Ring[k].Y = -s.Ring[k].Y
				}
			}
			if s.View == saw.Back {
				turned -= m.mdeg
			} else {
				turned += m.mdeg
			}
			s.TurnMdeg = (turned%360_000 + 360_000) % 360_000
		}
	}
	return out
}

// mustEvaluate is for plans that were evaluated before they were moved.
func mustEvaluate(t *rapid.T, s saw.Study, p saw.Plan) saw.Result {
	r, err := saw.Evaluate(s, p, market)
	if err != nil {
		t.Fatalf("moved: %v", err)
	}
	return r
}

// alike compares two branches: masses within the tolerance, and where it is zero, all that is a number.
func alike(t *rapid.T, a, b saw.Branch, tolerance int64) {
	if tolerance > 0 { // a stone that just fits may just not, and its part be lost for another reason
		ended := func(l saw.Loss) bool { return !strings.HasPrefix(l.Path, "steps") }
		a.Losses, b.Losses = slices.DeleteFunc(slices.Clone(a.Losses), ended), slices.DeleteFunc(slices.Clone(b.Losses), ended)
	}
	if len(a.Parts) != len(b.Parts) || len(a.Losses) != len(b.Losses) || len(a.Ends) != len(b.Ends) || len(a.Looks) != len(b.Looks) {
		t.Fatalf("%q: other parts, losses or ends", a.Path)
	}
	byName := func(p, q saw.Part) int { return strings.Compare(p.Name+p.Step, q.Name+q.Step) }
	slices.SortFunc(a.Parts, byName)
	slices.SortFunc(b.Parts, byName)
	byPath := func(p, q saw.Ended) int { return strings.Compare(p.Path+p.Part, q.Path+q.Part) }
	slices.SortFunc(a.Ends, byPath)
	slices.SortFunc(b.Ends, byPath)
	byStep := func(p, q saw.Loss) int {
		return strings.Compare(p.Path+p.Part+string(p.Reason), q.Path+q.Part+string(q.Reason))
	}
	slices.SortFunc(a.Losses, byStep)
	slices.SortFunc(b.Losses, byStep)
	near := func(what string, x, y int64) {
		if d := x - y; d > tolerance || -d > tolerance {
			t.Fatalf("%q: %s is %d and %d", a.Path, what, x, y)
		}
	}
	for i := range a.Parts {
		near("mass of part "+a.Parts[i].Name, a.Parts[i].MassUg, b.Parts[i].MassUg)
	}
	for i := range a.Losses {
		near("loss of part "+a.Losses[i].Part, a.Losses[i].MassUg, b.Losses[i].MassUg)
	}
	if tolerance == 0 && len(a.Findings) != len(b.Findings) {
		t.Fatalf("%q: %d and %d findings:\n%+v\n%+v", a.Path, len(a.Findings), len(b.Findings), a.Findings, b.Findings)
	}
	for i, e := range a.Ends {
		near("mass of end "+e.Part, e.MassUg, b.Ends[i].MassUg)
		if tolerance > 0 {
			continue
		}
		for j, s := range e.Stones {
			o := b.Ends[i].Stones[j]
			if s.Fits != o.Fits || s.MassUg != o.MassUg || s.PriceMinor != o.PriceMinor || s.ColourUm != o.ColourUm || s.BackingUm != o.BackingUm {
				t.Fatalf("stone %s:\n%+v\n%+v", s.Name, s, o)
			}
		}
	}
	for i := range a.Looks {
		for j := range a.Looks[i].Outcomes {
			alike(t, a.Looks[i].Outcomes[j], b.Looks[i].Outcomes[j], tolerance)
		}
	}
}

func TestQuarterTurnsAndMirrorsChangeNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		study := drawStudy(t)
		// A trim's corners on a part's edge are rounded edge by edge, so in another order another way, to a nanometre.
		plan := drawPlan(t, study, without{trims: true})
		r := mustEvaluate(t, study, plan)
		m := motion{mdeg: rapid.SampledFrom([]int64{0, 90_000, 180_000}).Draw(t, "turn"), mirror: rapid.Bool().Draw(t, "mirror")}
		alike(t, r.Trunk, mustEvaluate(t, m.study(study), m.plan(plan)).Trunk, 0)
	})
}

// largest is by how much a drawn piece is made larger, at most, to weigh 200 g and more.
const largest = 5

// larger is a study so many times as large, that weighs what its model does.
func larger(s saw.Study, times int64) saw.Study {
	points := func(points []saw.Point) []saw.Point {
		out := make([]saw.Point, len(points))
		for i, p := range points {
			out[i] = saw.Point{X: p.X * times, Y: p.Y * times}
		}
		return out
	}
	s.Outline, s.Profile, s.ThicknessUm = points(s.Outline), points(s.Profile), s.ThicknessUm*times
	s.Trace.A, s.Trace.B = points([]saw.Point{s.Trace.A})[0], points([]saw.Point{s.Trace.B})[0]
	s.Features, s.Layers = slices.Clone(s.Features), slices.Clone(s.Layers)
	for i := range s.Features {
		s.Features[i].Points = points(s.Features[i].Points)
		s.Features[i].ThicknessUm *= times
	}
	for i := range s.Layers {
		s.Layers[i].ThicknessUm *= times
	}
	return weighed(s)
}

// A turn changes no length by more than 2 µm and no mass by more than 1 mg. The arithmetic changes far less, on pieces
// of some hundred grams too: seen by turns that leave every point that is given on a whole micrometre.
func TestTurnsChangeNextToNothing(t *testing.T) {
	heaviest := int64(0)
	rapid.Check(t, func(t *rapid.T) {
		m := motion{rational: rapid.SampledFrom([][3]int64{{4, 3, 5}, {3, 4, 5}, {12, 5, 13}, {15, 8, 17}, {7, 24, 25}, {20, 21, 29}}).Draw(t, "turn")}
		m.mdeg = int64(math.Round(m.radians() * 180_000 / math.Pi)) // of stones, which have masses of their own
		on := motion{grid: m.rational[2]}
		study := larger(on.study(drawStudy(t)), rapid.Int64Range(1, largest).Draw(t, "times"))
		plan := on.plan(drawPlan(t, study, without{looks: true}))
		r, err := saw.Evaluate(study, plan, market)
		if err != nil {
			return // a cut that is moved by some micrometres misses
		}
		heaviest = max(heaviest, study.MassUg)
		turnedAlike(t, m, study, plan, r, mg/10, 100)
	})
	if heaviest < 200_000_000 {
		t.Errorf("the heaviest piece weighs %d µg", heaviest)
	}
}

// Any other turn rounds each point of outline, trace and cuts to the micrometre of the API. So faces are up to a micrometre
// from where they were, and a part weighs otherwise by so much of its surface: below 1 mg on a piece of 6 g, and on heavier
// ones of the same shapes more as their surface is.
func TestTurnsRoundedToMicrometres(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		study := drawStudy(t)
		study.MassUg = min(study.MassUg, 6_000_000)
		tolerance := int64(mg)
		if times := rapid.Int64Range(1, largest).Draw(t, "times"); times > 1 {
			study = larger(study, times)
			tolerance = int64(mg * math.Pow(max(1, float64(study.MassUg)/6_000_000), 2./3))
		}
		plan := drawPlan(t, study, without{looks: true})
		r := mustEvaluate(t, study, plan)
		turnedAlike(t, motion{mdeg: rapid.Int64Range(1, 89_999).Draw(t, "turn")}, study, plan, r, tolerance, 2_000)
	})
}

const mg = 1_000 // µg

// turnedAlike turns a piece and its plan: no mass changes by more than so many µg, and no edge moves by more than so many nm.
func turnedAlike(t *rapid.T, m motion, study saw.Study, plan saw.Plan, r saw.Result, tolerance int64, reach float64) {
	moved, err := saw.Evaluate(m.study(study), m.plan(plan), market)
	if err != nil {
		return // a part that just was is no more: rounding, at an edge
	}
	if len(r.Trunk.Parts) != len(moved.Trunk.Parts) {
		return // the same
	}
	alike(t, r.Trunk, moved.Trunk, tolerance)
	for i, p := range r.Trunk.Parts {
		face := p.Face.Turned(m.radians())
		other := moved.Trunk.Parts[i].Face
		if far := max(farthest(face, other), farthest(other, face)); far > reach {
			t.Fatalf("an edge of part %s moves by %.0f nm", p.Name, far)
		}
	}
}

// farthest is how far an edge of one ring is from the other's boundary, at most. A sharp corner moves farther than its
// edges do, by one over the sine of half its angle.
func farthest(a, b plane.Ring) float64 {
	far := 0.0
	for i, p := range a {
		before, after := a[(i+len(a)-1)%len(a)], a[(i+1)%len(a)]
		angle := math.Atan2(float64(before.Y-p.Y), float64(before.X-p.X)) - math.Atan2(float64(after.Y-p.Y), float64(after.X-p.X))
		sharp := math.Abs(math.Sin(angle / 2))
		least := math.Inf(1)
		for i, q := range b {
			d, _ := toStretch(q, b[(i+1)%len(b)], p).Float64()
			least = min(least, math.Sqrt(d))
		}
		far = max(far, least*sharp)
	}
	return far
}
