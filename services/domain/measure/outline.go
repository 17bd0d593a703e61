package measure

import (
	"fmt"
	"math"

	"seamshare.example/services/domain/measure/plane"
)

// Shape is how a stone's outline runs, seen from above.
type Shape uint8

// The shapes. Length runs along x and width along y; the middle of the box around the
// outline is the origin.
const (
	_         Shape = iota
	Oval            // an ellipse
	Round           // a circle; length and width are the same
	Pear            // a circle across the width, and the two lines that touch it from the tip at +x
	Marquise        // where two equal circles overlap, pointed at both ends of the length
	Cushion         // (2x/L)⁴ + (2y/W)⁴ ≤ 1
	Rectangle       // sharp corners
	Triangle        // two equal sides meet at +x; the third is the width, at −x
	Freeform        // a ring of its own, in its own frame
)

var shapeNames = [...]string{"no shape", "oval", "round", "pear", "marquise", "cushion", "rectangle", "triangle", "freeform"}

func (s Shape) String() string {
	if int(s) < len(shapeNames) {
		return shapeNames[s]
	}
	return fmt.Sprintf("shape %d", uint8(s))
}

// maxSide keeps stones within the plane's coordinates.
const maxSide Length = 500_000

// Outline is the outline of a stone, made by NewOutline or NewFreeform.
type Outline struct {
	shape         Shape
	length, width Length
	ring          plane.Ring // of a freeform
	// For what is inside by δ everywhere: area − perimeter·δ + corners·δ², up to deepest.
	// Corners is π for a smooth oval curve; a corner of angle θ counts cot(θ/2), an arc
	// half its turn (Steiner's formula for inner parallel curves).
	area, perimeter, corners float64 // µm², µm
	deepest                  float64 // µm
}

// NewOutline is one of the shapes but Freeform. The error is a *FieldError: a side that
// isn't between 1 µm and 500 mm, a round whose sides differ, a pear or marquise that isn't
// longer than wide.
func NewOutline(shape Shape, length, width Length) (Outline, error) {
	for i, side := range []Length{length, width} {
		if side < 1 || side > maxSide {
			return Outline{}, &FieldError{[]string{"length", "width"}[i], side.String(), fmt.Sprintf("a stone's side is above zero and at most %s", maxSide)}
		}
	}
	o := Outline{shape: shape, length: length, width: width}
	l, w := float64(length), float64(width)
	a, b := l/2, w/2
	switch shape {
	case Oval:
		o.area, o.perimeter, o.corners = math.Pi*a*b, ellipsePerimeter(a, b), math.Pi
		o.deepest = min(a*a/b, b*b/a) // the tightest curve
	case Round:
		if length != width {
			return Outline{}, &FieldError{"width", width.String(), fmt.Sprintf("a round is as wide as it is long, %s; give it as an oval otherwise", length)}
		}
		o.area, o.perimeter, o.corners, o.deepest = math.Pi*a*a, 2*math.Pi*a, math.Pi, a
	case Pear:
		if length <= width {
			return Outline{}, tooShort(shape, length, width)
		}
		d := l - b                    // from the circle's centre to the tip
		flank := math.Sqrt(d*d - b*b) // each straight side
		arc := math.Pi - math.Acos(b/d)
		o.area, o.perimeter, o.corners, o.deepest = b*flank+b*b*arc, 2*flank+2*b*arc, arc+flank/b, b
	case Marquise:
		if length <= width {
			return Outline{}, tooShort(shape, length, width)
		}
		r := (a*a + b*b) / w
		half := math.Asin(a / r) // of each arc's angle
		o.area, o.perimeter = 2*(r*r*half-a*(r-b)), 4*r*half
		o.corners, o.deepest = 2*half+2/math.Tan(half), b
	case Cushion:
		o.area = l * w * math.Gamma(1.25) * math.Gamma(1.25) / math.Gamma(1.5)
		o.perimeter, o.deepest = cushionPerimeter(a, b)
		o.corners = math.Pi
	case Rectangle:
		o.area, o.perimeter, o.corners, o.deepest = l*w, 2*(l+w), 4, min(a, b)
	case Triangle:
		flank := math.Hypot(l, b)
		tip, base := math.Atan2(b, l), math.Atan2(l, b) // half the tip's angle, and the base's
		o.area, o.perimeter = l*b, w+2*flank
		o.corners = 1/math.Tan(tip) + 2/math.Tan(base/2)
		o.deepest = 2 * o.area / o.perimeter
	default:
		return Outline{}, &FieldError{"shape", shape.String(), "give oval, round, pear, marquise, cushion, rectangle or triangle; a freeform is given by its corners"}
	}
	return o, nil
}

func tooShort(shape Shape, length, width Length) error {
	return &FieldError{"length", length.String(), fmt.Sprintf("a %s is longer than wide, %s; give the longer side as its length, or another shape", shape, width)}
}

// NewFreeform is an outline of its own, a ring in its own frame. The ring must come from
// plane.CheckRing.
func NewFreeform(ring plane.Ring) (Outline, error) {
	if len(ring) < 3 || ring.TwiceArea() <= 0 {
		return Outline{}, &FieldError{"outline", fmt.Sprintf("%d points", len(ring)), "a freeform needs a checked ring with an area"}
	}
	size := ring.Box().Size()
	return Outline{
		shape: Freeform, ring: ring,
		length: Length((size.X + 500) / plane.Micrometre), width: Length((size.Y + 500) / plane.Micrometre),
		area: float64(ring.TwiceArea()) / 2e6, perimeter: ring.Perimeter() / plane.Micrometre,
	}, nil
}

// Shape of the outline.
func (o Outline) Shape() Shape { return o.shape }

// Sides are length and width; of a freeform those of the upright box around it.
func (o Outline) Sides() (length, width Length) { return o.length, o.width }

// FaceArea is what is seen from above, rounded to the µm². Exact formulas.
func (o Outline) FaceArea() Area { return Area(math.Round(o.area)) }

// Perimeter of the outline, rounded to the micrometre.
func (o Outline) Perimeter() Length { return Length(math.Round(o.perimeter)) }

// Around is a ring of about n corners that holds the whole outline, also after one
// Turned, so that where the ring fits the stone fits; and by how much, in nm, it reaches past
// the outline at most. A
// rectangle, triangle or freeform is answered itself and reaches past nowhere; for curves n
// is at least 8 and at most plane.MaxVertices, and the excess falls with its square.
func (o Outline) Around(n int) (plane.Ring, int64) {
	l, w := int64(o.length)*plane.Micrometre, int64(o.width)*plane.Micrometre
	switch o.shape {
	case Freeform:
		return o.ring, 0
	case Rectangle: // halves of whole micrometres are whole nanometres
		return plane.Ring{{X: -l / 2, Y: -w / 2}, {X: l / 2, Y: -w / 2}, {X: l / 2, Y: w / 2}, {X: -l / 2, Y: w / 2}}, 0
	case Triangle:
		return plane.Ring{{X: -l / 2, Y: -w / 2}, {X: l / 2}, {X: -l / 2, Y: w / 2}}, 0
	}
	n = min(max(n, 8), plane.MaxVertices)
	// Lines that touch the outline, turned evenly and pushed out by 2 nm, so that rounding
	// their crossings to the nanometre, by 0.71 nm here and once more when turned, leaves none
	// inside.
	const push = 2
	ring := make(plane.Ring, 0, n)
	var past float64
	step := 2 * math.Pi / float64(n)
	for i := range n {
		t := step * float64(i)
		h0, h1 := o.support(t)+push, o.support(t+step)+push
		// Where the lines with normals t and t + step cross.
		s0, c0 := math.Sincos(t)
		s1, c1 := math.Sincos(t + step)
		det := math.Sin(step)
		x, y := (h0*s1-h1*s0)/det, (h1*c0-h0*c1)/det
		p := plane.Point{X: int64(math.Round(x)), Y: int64(math.Round(y))}
		if len(ring) == 0 || ring[len(ring)-1] != p && ring[0] != p {
			ring = append(ring, p)
		}
		// The corner's distance from a convex outline is the most of p·normal − support,
		// which has one peak between the two normals.
		low, high := t, t+step
		far := func(t float64) float64 {
			s, c := math.Sincos(t)
			return float64(p.X)*c + float64(p.Y)*s - o.support(t)
		}
		for range 40 {
			third := (high - low) / 3
			if far(low+third) < far(high-third) {
				low += third
			} else {
				high -= third
			}
		}
		past = max(past, far((low+high)/2))
	}
	return ring, int64(math.Ceil(past + 1))
}

// support is how far, in nm, the outline reaches from the origin in a direction.
func (o Outline) support(t float64) float64 {
	s, c := math.Sincos(t)
	a, b := float64(o.length)*plane.Micrometre/2, float64(o.width)*plane.Micrometre/2
	switch o.shape {
	case Oval, Round:
		return math.Hypot(a*c, b*s)
	case Pear: // the circle's centre is at x = b − a
		return max((b-a)*c+b, a*c)
	case Marquise:
		r := (a*a + b*b) / (2 * b)
		if math.Abs(c)*r >= a { // within a tip
			return a * math.Abs(c)
		}
		return r - (r-b)*math.Abs(s)
	default: // Cushion: the norm dual to the fourth is that of 4/3
		return math.Pow(math.Pow(a*math.Abs(c), 4./3)+math.Pow(b*math.Abs(s), 4./3), 0.75)
	}
}

// ellipsePerimeter by the arithmetic-geometric mean (Gauss; e.g. NIST DLMF 19.8).
func ellipsePerimeter(a, b float64) float64 {
	x, y := max(a, b), min(a, b)
	sum, power := x*x-(x*x-y*y)/2, 0.5
	for x-y > 1e-15*x {
		c := (x - y) / 2
		x, y = (x+y)/2, math.Sqrt(x*y)
		power *= 2
		sum -= power * c * c
	}
	return 2 * math.Pi * sum / x
}

// cushionPerimeter is the length of a cushion's outline and the radius of its tightest
// curve. The length is the integral of the support over all directions (Cauchy), by
// Simpson's rule on a quarter whose ends, where the curve is flat, are stretched; good to 10⁻⁹.
func cushionPerimeter(a, b float64) (perimeter, tightest float64) {
	const n = 2_000
	tightest = math.Inf(1)
	var sum float64
	for i := range n + 1 {
		u := float64(i) / n
		// t = π/2 · (3u² − 2u³)
		t, dt := math.Pi/2*u*u*(3-2*u), math.Pi/2*6*u*(1-u)
		s, c := math.Sincos(t)
		h := math.Pow(math.Pow(a*c, 4./3)+math.Pow(b*s, 4./3), 0.75)
		weight := 2.
		switch {
		case i == 0 || i == n:
			weight = 1
		case i%2 == 1:
			weight = 4
		}
		sum += weight * h * dt
		if i > 0 && i < n {
			// Radius of curvature of F = x⁴/a⁴ + y⁴/b⁴ = 1 at x = a√c, y = b√s.
			x, y := math.Sqrt(c), math.Sqrt(s)
			fx, fy := x*x*x/a, y*y*y/b
			fxx, fyy := 3*x*x/(a*a), 3*y*y/(b*b)
			tightest = min(tightest, math.Pow(fx*fx+fy*fy, 1.5)/(fxx*fy*fy+fyy*fx*fx))
		}
	}
	return 4 * sum / (3 * n), tightest * 0.999
}
