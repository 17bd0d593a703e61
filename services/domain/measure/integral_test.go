package measure_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/measure/plane"
)

// edge is a shape's outline by what belongs to it, told otherwise than in the package:
// how far it reaches from its box's middle in a direction, by halving.
func edge(shape measure.Shape, l, w float64) func(t float64) float64 {
	a, b := l/2, w/2
	var in func(x, y float64) bool
	switch shape {
	case measure.Oval, measure.Round:
		in = func(x, y float64) bool { return x*x/(a*a)+y*y/(b*b) <= 1 }
	case measure.Rectangle:
		in = func(x, y float64) bool { return math.Abs(x) <= a && math.Abs(y) <= b }
	case measure.Triangle:
		in = func(x, y float64) bool { return x >= -a && math.Abs(y) <= b*(a-x)/l }
	case measure.Cushion:
		in = func(x, y float64) bool { return math.Pow(x/a, 4)+math.Pow(y/b, 4) <= 1 }
	case measure.Marquise:
		r := (a*a + b*b) / (2 * b)
		in = func(x, y float64) bool { return math.Hypot(x, math.Abs(y)+r-b) <= r }
	case measure.Pear:
		d := l - b
		slope := math.Asin(b / d) // half the tip's angle
		in = func(x, y float64) bool {
			fromTip := a - x // the cone up to where it touches the circle, or the circle
			return math.Hypot(x-(b-a), y) <= b || fromTip >= 0 && fromTip <= d*math.Cos(slope)*math.Cos(slope) && math.Abs(y) <= fromTip*math.Tan(slope)
		}
	}
	return func(t float64) float64 {
		s, c := math.Sincos(t)
		low, high := 0., l+w
		for range 60 {
			if mid := (low + high) / 2; in(mid*c, mid*s) {
				low = mid
			} else {
				high = mid
			}
		}
		return low
	}
}

var shapes = []struct {
	shape measure.Shape
	l, w  float64
}{
	{measure.Oval, 8, 6},
	{measure.Oval, 6, 9},
	{measure.Round, 7, 7},
	{measure.Rectangle, 10, 8},
	{measure.Triangle, 9, 7},
	{measure.Cushion, 8, 8},
	{measure.Cushion, 12, 8},
	{measure.Marquise, 12, 6},
	{measure.Pear, 15, 10},
	{measure.Pear, 7, 6},
}

// Volumes of each outline under each form, integrated in polar coordinates from heights
// that are told here by themselves.
func TestVolumesByIntegration(t *testing.T) {
	const wall, dome, bar = 1.5, 2.5, 1.75 // mm
	forms := map[measure.Form]func(rho, x, y, w float64) float64{
		measure.FlatTop:        func(_, _, _, _ float64) float64 { return 0 },
		measure.EllipticalDome: func(rho, _, _, _ float64) float64 { return dome * math.Sqrt(max(0, 1-rho*rho)) },
		measure.ParabolicDome:  func(rho, _, _, _ float64) float64 { return dome * (1 - rho*rho) },
		measure.ConicalTop:     func(rho, _, _, _ float64) float64 { return dome * (1 - rho) },
		measure.CapDome: func(rho, _, _, w float64) float64 {
			b := w / 2
			r := (b*b + dome*dome) / (2 * dome)
			return math.Sqrt(max(0, r*r-rho*rho*b*b)) - (r - dome)
		},
		measure.BarrelDome: func(_, _, y, w float64) float64 { return dome * math.Sqrt(max(0, 1-4*y*y/(w*w))) },
	}
	const directions, rings = 1_440, 400
	for _, c := range shapes {
		reach := edge(c.shape, c.l, c.w)
		for form, height := range forms {
			if form == measure.BarrelDome && c.shape != measure.Rectangle {
				continue
			}
			t.Run(fmt.Sprintf("%s %gx%g, %s", c.shape, c.l, c.w, form), func(t *testing.T) {
				s := measure.Stone{Outline: outline(t, c.shape, c.l, c.w), Form: form, Wall: um(wall), Dome: um(dome)}
				depth := wall + dome
				if form == measure.FlatTop {
					s.Dome, depth = 0, wall
				}
				thick := min(bar, depth/2)
				m, err := s.Model(measure.Boulder, measure.Layer{Thickness: um(thick), SG: 2_100}, solid(3_000))
				must(t, m, err)
				var whole, top, area float64
				for i := range directions {
					a := 2 * math.Pi * (float64(i) + 0.5) / directions
					far := reach(a)
					sin, cos := math.Sincos(a)
					for k := range rings {
						// Finer towards the edge, where domes are steep: r = far·(1 − u²).
						u := (float64(k) + 0.5) / rings
						rho := 1 - u*u
						cell := 2 * math.Pi / directions * far * rho * far * 2 * u / rings
						z := wall + height(rho, far*rho*cos, far*rho*sin, c.w)
						area += cell
						whole += cell * z
						top += cell * max(0, z-(depth-thick))
					}
				}
				close(t, "area", m.Face.SquareMillimetres(), area, 1e-4*area)
				close(t, "volume", m.Volume.CubicMillimetres(), whole, 2e-4*whole)
				close(t, "volume of the bar", m.Layers[0].Volume.CubicMillimetres(), top, 3e-4*whole)
			})
		}
	}
}

// What a bevel takes, by the distance of points from the edge; as a freeform too, whose
// bevel the package itself integrates.
func TestBevelsByIntegration(t *testing.T) {
	const in, up, wall = 0.6, 0.5, 0.8
	for _, c := range shapes {
		t.Run(fmt.Sprintf("%s %gx%g", c.shape, c.l, c.w), func(t *testing.T) {
			reach := edge(c.shape, c.l, c.w)
			const n = 240
			var boundary [n][2]float64
			for i := range boundary {
				a := 2 * math.Pi * float64(i) / n
				sin, cos := math.Sincos(a)
				boundary[i] = [2]float64{reach(a) * cos, reach(a) * sin}
			}
			away := func(x, y float64) float64 {
				least := math.Inf(1)
				for i, p := range boundary {
					q := boundary[(i+1)%n]
					dx, dy := q[0]-p[0], q[1]-p[1]
					at := min(1, max(0, ((x-p[0])*dx+(y-p[1])*dy)/(dx*dx+dy*dy)))
					ex, ey := x-p[0]-at*dx, y-p[1]-at*dy
					least = min(least, ex*ex+ey*ey)
				}
				return math.Sqrt(least)
			}
			// Of the part in above what is left of the bar over the bevel.
			const barOver = 0.3
			var lost, lostAbove float64
			const step = 0.08
			for x := -c.l/2 + step/2; x < c.l/2; x += step {
				for y := -c.w/2 + step/2; y < c.w/2; y += step {
					if math.Hypot(x, y) > reach(math.Atan2(y, x)) {
						continue
					}
					if d := away(x, y); d < in {
						z := up * (1 - d/in)
						lost += step * step * z
						lostAbove += step * step * max(0, z-barOver)
					}
				}
			}
			s := measure.Stone{Outline: outline(t, c.shape, c.l, c.w), Form: measure.FlatTop, Wall: um(wall)}
			model := func() measure.Model {
				m, err := s.Model(measure.Solid, measure.Layer{Thickness: um(wall - barOver), SG: 2_100}, solid(2_000))
				return must(t, m, err)
			}
			without := model()
			s.Bevel = measure.Bevel{In: um(in), Up: um(up)}
			with := model()
			got := (without.Volume - with.Volume).CubicMillimetres()
			close(t, "bevel", got, lost, 0.02*lost)
			close(t, "bevel of the bar", (without.Layers[0].Volume - with.Layers[0].Volume).CubicMillimetres(), lostAbove, 0.05*lost)

			ring, _ := s.Outline.Around(180)
			free, err := measure.NewFreeform(ring)
			s.Outline = must(t, free, err)
			freely := model()
			if sharp := c.shape == measure.Rectangle || c.shape == measure.Triangle; sharp { // the same outline, so the error is known
				if off := float64(freely.Volume-with.Volume) / float64(with.Volume) * 1e6; math.Abs(off) > float64(freely.ErrorPPM) || freely.ErrorPPM == 0 {
					t.Errorf("a freeform's bevel is %v ppm off, said %d", off, freely.ErrorPPM)
				}
			}
			s.Bevel = measure.Bevel{}
			close(t, "bevel as a freeform", (model().Volume - freely.Volume).CubicMillimetres(), got, 0.002*got)
			if freely.ErrorPPM > 100 {
				t.Errorf("a freeform's bevel leaves %d ppm open", freely.ErrorPPM)
			}
		})
	}
}

// Faces through any spots, held against a sum over a grid that asks for the height at each
// point: in the triangle that has it, or at the nearest point of the hull.
func TestUndulatingByIntegration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const l, w = 10, 8
		box, err := measure.NewOutline(measure.Rectangle, um(l), um(w))
		if err != nil {
			t.Fatal(err)
		}
		points := rapid.SliceOfNDistinct(rapid.Custom(func(t *rapid.T) plane.Point {
			return plane.Micrometres(1_000*rapid.Int64Range(-6, 6).Draw(t, "x"), 1_000*rapid.Int64Range(-5, 5).Draw(t, "y"))
		}), 1, 9, rapid.ID[plane.Point]).Draw(t, "points")
		s := measure.Stone{Outline: box, Form: measure.Undulating}
		for _, p := range points {
			s.Spots = append(s.Spots, measure.Spot{At: p, Height: measure.Length(rapid.Int64Range(1_000, 4_000).Draw(t, "height"))})
		}
		mesh := plane.Triangulate(points)
		at := func(i int) (x, y, h float64) {
			return float64(points[i].X) / 1e6, float64(points[i].Y) / 1e6, float64(s.Spots[i].Height) / 1_000
		}
		height := func(x, y float64) float64 {
			for _, c := range mesh.Triangles {
				x0, y0, h0 := at(c[0])
				x1, y1, h1 := at(c[1])
				x2, y2, h2 := at(c[2])
				det := (y1-y2)*(x0-x2) + (x2-x1)*(y0-y2)
				a := ((y1-y2)*(x-x2) + (x2-x1)*(y-y2)) / det
				b := ((y2-y0)*(x-x2) + (x0-x2)*(y-y2)) / det
				if a >= -1e-9 && b >= -1e-9 && a+b <= 1+1e-9 {
					return a*h0 + b*h1 + (1-a-b)*h2
				}
			}
			near, found := math.Inf(1), 0.
			for i, u := range mesh.Hull {
				x0, y0, h0 := at(u)
				x1, y1, h1 := at(mesh.Hull[(i+1)%len(mesh.Hull)])
				part := 0.
				if length := (x1-x0)*(x1-x0) + (y1-y0)*(y1-y0); length > 0 {
					part = min(1, max(0, ((x-x0)*(x1-x0)+(y-y0)*(y1-y0))/length))
				}
				if len(mesh.Triangles) == 0 && i == len(mesh.Hull)-1 && i > 0 {
					continue // a line doesn't close
				}
				if d := math.Hypot(x-x0-part*(x1-x0), y-y0-part*(y1-y0)); d < near {
					near, found = d, h0+part*(h1-h0)
				}
			}
			return found
		}
		const n = 100
		var sum float64
		for i := range n {
			for k := range n {
				sum += height(l*((float64(i)+0.5)/n-0.5), w*((float64(k)+0.5)/n-0.5)) * l * w / n / n
			}
		}
		m, err := s.Model(measure.Solid, solid(2_100))
		if err != nil || math.Abs(m.Volume.CubicMillimetres()-sum) > 2e-3*sum || m.ErrorPPM > 5 {
			t.Fatalf("%+v, %v; by the grid %v", m, err, sum)
		}
	})
}

// The ring around an outline holds it, and reaches past it no further than it says.
func TestAroundHoldsTheOutline(t *testing.T) {
	for _, c := range shapes {
		o := outline(t, c.shape, c.l, c.w)
		reach := edge(c.shape, c.l, c.w)
		last := int64(math.MaxInt64)
		for _, n := range []int{8, 32, 64, 200, 600} {
			ring, past := o.Around(n)
			t.Run(fmt.Sprintf("%s %gx%g, %d corners", c.shape, c.l, c.w, n), func(t *testing.T) {
				if _, err := plane.CheckRing(ring); err != nil {
					t.Fatal(err)
				}
				if ring.TwiceArea() < 2e6*int64(o.FaceArea())-2e6 {
					t.Errorf("area %v of %v", ring.SquareMillimetres(), o.FaceArea().SquareMillimetres())
				}
				const steps = 3_000
				dense := make(plane.Ring, steps)
				turned := ring.Turned(1)
				for i := range dense {
					a := 2 * math.Pi * float64(i) / steps
					s, cos := math.Sincos(a)
					r := reach(a) * plane.Millimetre
					dense[i] = plane.Point{X: int64(math.Round(r * cos)), Y: int64(math.Round(r * s))}
					inner := plane.Point{X: int64((r - 2) * cos), Y: int64((r - 2) * s)} // not rounded out
					if ring.Where(inner) == plane.Outside {
						t.Fatalf("%v of the outline is outside", inner)
					}
					s, cos = math.Sincos(a + 1)
					inner = plane.Point{X: int64((r - 2) * cos), Y: int64((r - 2) * s)}
					if turned.Where(inner) == plane.Outside {
						t.Fatalf("%v of the turned outline is outside", inner)
					}
				}
				if n > 200 || c.shape == measure.Rectangle || c.shape == measure.Triangle {
					return // the corners of sharp ones are missing from dense
				}
				var most float64
				for _, p := range ring {
					most = max(most, plane.Distance(dense, plane.Path{p}))
				}
				if most > float64(past)+100 || most < float64(past)-3_000 {
					t.Errorf("reaches %v nm past the outline, said %d", most, past)
				}
				if past > last || past < 0 {
					t.Errorf("past %d with more corners, %d with fewer", past, last)
				}
				if c.shape == measure.Oval && n == 64 && past > 20_000 {
					t.Errorf("64 corners are %d nm past", past)
				}
			})
			last = past
		}
	}
}
