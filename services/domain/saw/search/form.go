package search

import (
	"fmt"
	"math"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// Form is an outline to look for: a shape, and how its length stands to its width.
type Form struct {
	Shape saw.Shape
	Ring  []saw.Point // of a freeform, in its own frame, the length along x
	// Length and Width give the ratio; 12 and 9, or 12 000 and 9 000, are the same form. Both are above zero.
	Length, Width int64
}

// WidthUm is the width of a stone of this form and length, rounded up.
func (f Form) WidthUm(lengthUm int64) int64 {
	if f.Shape == saw.Round {
		return lengthUm
	}
	return (lengthUm*f.Width + f.Length - 1) / f.Length
}

// body is a form of half-length 1 about the origin as seen from the face, star-shaped about it.
type body struct {
	form   Form
	view   saw.View
	corner []vec
	order  []float64 // the corners' angles, rising
	// An ellipse has half-width beta, and is drawn as a polygon that holds the ellipse of half-length inner and
	// lies in that of outer.
	ellipse      bool
	beta         float64
	inner, outer float64
	// ball is the radius of a disk about the origin from all of which all of the body is seen, far the farthest corner.
	ball, far float64
	area      float64 // of the polygon
	period    float64 // a turn by which it comes to lie upon itself, in radians; 0: it is round
}

type vec struct{ x, y float64 }

func (a vec) minus(b vec) vec          { return vec{a.x - b.x, a.y - b.y} }
func (a vec) cross(b vec) float64      { return a.x*b.y - a.y*b.x }
func (a vec) dot(b vec) float64        { return a.x*b.x + a.y*b.y }
func (a vec) length() float64          { return math.Hypot(a.x, a.y) }
func (a vec) times(f float64) vec      { return vec{a.x * f, a.y * f} }
func at(p plane.Point) vec             { return vec{float64(p.X), float64(p.Y)} }
func (a vec) turned(sc [2]float64) vec { return vec{a.x*sc[1] - a.y*sc[0], a.x*sc[0] + a.y*sc[1]} }

// sheet is a piece larger than all stones. What package saw makes of a stone's outline is read off a plan for it, so that
// the search tries the very corners that the evaluation will. It is made anew for every outline: a model keeps the
// outlines that it was asked for, and what callers send isn't kept.
func sheet() (*saw.Model, error) {
	const far = saw.MaxLengthUm
	return saw.NewModel(saw.Study{
		Name: "sheet", MassUg: saw.MaxMassUg, SGMilli: 1_000, ThicknessUm: 10,
		Outline: []saw.Point{{X: -far, Y: -far}, {X: far, Y: -far}, {X: far, Y: far}, {X: -far, Y: far}},
	})
}

// outline is what package saw takes for the outline of an untilted stone, in the face view.
func outline(s saw.Stone) (plane.Ring, error) {
	m, err := sheet()
	if err != nil {
		return nil, err
	}
	s = saw.Stone{
		Name: "s", Shape: s.Shape, Ring: s.Ring, LengthUm: s.LengthUm, WidthUm: s.WidthUm, DepthUm: 1, View: s.View,
		At: s.At, TurnMdeg: s.TurnMdeg, ChanceBp: 10_000,
	}
	r, err := m.Evaluate(saw.Plan{Settings: saw.Settings{Currency: "AUD"}, Ends: []saw.End{{Part: saw.Whole, Kind: saw.Stones, Stones: []saw.Stone{s}}}}, saw.Prices{Currency: "AUD"})
	if err != nil {
		return nil, err
	}
	return r.Trunk.Ends[0].Stones[0].Outline, nil
}

// newBody refuses what has no ratio, isn't star-shaped about the middle of its box, or what package saw refuses.
func newBody(f Form, view saw.View) (*body, error) {
	if f.Length <= 0 || f.Width <= 0 {
		return nil, &saw.Invalid{Path: "form", Value: fmt.Sprintf("%d : %d", f.Length, f.Width), Rule: "length and width are above zero; only their ratio counts"}
	}
	if f.Shape == saw.Round {
		f.Length, f.Width = 1, 1
	}
	// As large as a stone may be: its rounding is the finest then.
	long := int64(saw.MaxLengthUm / 2)
	wide := int64(math.Round(float64(long) * float64(f.Width) / float64(f.Length)))
	if wide > long {
		long, wide = int64(math.Round(float64(long)*float64(f.Length)/float64(f.Width))), long
	}
	ring, err := outline(saw.Stone{Shape: f.Shape, Ring: f.Ring, LengthUm: long, WidthUm: wide, View: view})
	if err != nil {
		return nil, err
	}
	half := float64(long) * plane.Micrometre / 2
	b := &body{form: f, view: view, beta: float64(f.Width) / float64(f.Length), ball: math.Inf(1), area: float64(ring.TwiceArea()) / 2 / half / half}
	for _, p := range ring {
		b.corner = append(b.corner, at(p).times(1/half))
		b.far = max(b.far, b.corner[len(b.corner)-1].length())
	}
	b.round()
	if b.ellipse {
		b.ball = b.inner * min(1, b.beta)
		b.period = math.Pi
		if f.Length == f.Width {
			b.period = 0
		}
		return b, nil
	}
	n := len(b.corner)
	start := 0
	for i, p := range b.corner {
		q := b.corner[(i+1)%n]
		// The distance of the origin from the edge's line: what lies nearer sees the edge from inside. An edge so
		// short that rounding turns it doesn't count.
		if long := q.minus(p).length(); long > 1e-6 {
			b.ball = min(b.ball, p.cross(q)/long*(1-1e-6))
		}
		if math.Atan2(p.y, p.x) < math.Atan2(b.corner[start].y, b.corner[start].x) {
			start = i
		}
	}
	if b.ball <= 1e-3 {
		return nil, &saw.Invalid{Path: "form.ring", Value: string(f.Shape), Rule: "from the middle of its box all of its edge must be seen; draw it less hollow, or nearer to its middle"}
	}
	b.corner = append(b.corner[start:len(b.corner):len(b.corner)], b.corner[:start]...)
	for _, p := range b.corner {
		b.order = append(b.order, math.Atan2(p.y, p.x))
	}
	b.period = 2 * math.Pi
	if f.Shape == saw.Rectangle {
		if b.period = math.Pi; f.Length == f.Width {
			b.period = math.Pi / 2
		}
	}
	return b, nil
}

// round finds whether the corners are those of a polygon round an ellipse.
func (b *body) round() {
	low, high := math.Inf(1), 0.0
	for i, p := range b.corner {
		q := b.corner[(i+1)%len(b.corner)]
		p.y, q.y = p.y/b.beta, q.y/b.beta
		low, high = min(low, toOrigin(p, q)), max(high, p.length())
	}
	if b.inner, b.outer = 1, 1; (b.form.Shape == saw.Oval || b.form.Shape == saw.Round) && low > 1-1e-4 && high < 1.03 {
		b.ellipse, b.inner, b.outer = true, low*(1-1e-9), high*(1+1e-9)
	}
}

// sure is the share of a reach that surely goes: an ellipse's is that of the greatest it holds.
func (b *body) sure() float64 { return b.inner / b.outer }

// toOrigin is how far the stretch from p to q is from the origin.
func toOrigin(p, q vec) float64 {
	d := q.minus(p)
	t := -p.dot(d)
	switch whole := d.dot(d); {
	case t <= 0 || whole == 0:
		return p.length()
	case t >= whole:
		return q.length()
	default:
		return math.Abs(p.cross(d)) / math.Sqrt(whole)
	}
}

// gauge is how large the body, unturned, has to be to reach the point.
func (b *body) gauge(p vec) float64 {
	if p == (vec{}) {
		return 0
	}
	a := math.Atan2(p.y, p.x)
	low, high := 0, len(b.order) // the first corner beyond the angle
	for low < high {
		if mid := (low + high) / 2; b.order[mid] <= a {
			low = mid + 1
		} else {
			high = mid
		}
	}
	n := len(b.corner)
	v, w := b.corner[(low+n-1)%n], b.corner[low%n]
	return p.cross(w.minus(v)) / v.cross(w.minus(v))
}

// least is how large the body, unturned, has to be to touch the stretch from p to q.
func (b *body) least(p, q vec, most float64) float64 {
	if b.ellipse {
		p.y, q.y = p.y/b.beta, q.y/b.beta
		return toOrigin(p, q)
	}
	if toOrigin(p, q) >= most*b.far {
		return most
	}
	// Where they touch first there is a corner of one of them.
	least := min(b.gauge(p), b.gauge(q))
	d := q.minus(p)
	whole := p.cross(d)
	for _, v := range b.corner {
		// v·t = p + d·u with t > 0 and 0 ≤ u ≤ 1
		den := v.cross(d)
		if den == 0 {
			continue
		}
		if t := whole / den; t > 0 && t < least {
			if u := p.cross(v); u*den >= 0 && math.Abs(u) <= math.Abs(den) {
				least = t
			}
		}
	}
	return least
}

// stretch is how much larger the body turned by at most an angle may have to be to hold itself unturned.
func (b *body) stretch(angle float64) float64 {
	if angle == 0 || b.period == 0 {
		return 1
	}
	if b.ellipse {
		// The greatest singular value of D⁻¹ R D, D = diag(1, β), whose determinant is 1.
		angle = min(angle, math.Pi/2)
		sin, cos := math.Sincos(angle)
		square := 2*cos*cos + sin*sin*(b.beta*b.beta+1/b.beta/b.beta)
		return (math.Sqrt(square+2) + math.Sqrt(max(0, square-2))) / 2
	}
	// No point moves by more than far · 2 sin(angle/2), and a body that is seen from all of a ball holds, grown by
	// 1 + d/ball, all that is within d of it.
	return 1 + b.far*2*math.Sin(min(angle, math.Pi)/2)/b.ball
}
