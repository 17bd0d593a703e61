package saw

import (
	"math"
	"slices"

	"seamshare.example/services/domain/measure/plane"
)

// corners is how many corners the outline of a round thing has.
const corners = 64

// outline is the stone's outline about the origin, its length along x, never inside the true one.
func outline(s Stone) plane.Ring {
	l, w := s.LengthUm*plane.Micrometre, s.WidthUm*plane.Micrometre
	a, b := float64(l)/2, float64(w)/2
	switch s.Shape {
	case Rectangle:
		return plane.Ring{{X: -l / 2, Y: -w / 2}, {X: l / 2, Y: -w / 2}, {X: l / 2, Y: w / 2}, {X: -l / 2, Y: w / 2}}
	case Triangle:
		return plane.Ring{{X: -l / 2, Y: -w / 2}, {X: l / 2, Y: 0}, {X: -l / 2, Y: w / 2}}
	case Freeform:
		r, err := ring("", s.Ring)
		if err != nil {
			return nil
		}
		box := r.Box()
		size := box.Size()
		out := make(plane.Ring, len(r))
		for i, p := range r {
			x := (float64(p.X-box.Min.X)/float64(size.X) - 0.5) * float64(l)
			y := (float64(p.Y-box.Min.Y)/float64(size.Y) - 0.5) * float64(w)
			out[i] = plane.Point{X: int64(math.Round(x)), Y: int64(math.Round(y))}
		}
		return out
	}
	out := make(plane.Ring, corners)
	for i, c := range circle {
		out[i] = plane.Point{X: int64(math.Round(a * c.x)), Y: int64(math.Round(b * c.y))}
	}
	return out
}

// circle is a polygon round the unit circle.
var circle = func() (out [corners]struct{ x, y float64 }) {
	const step = 2 * math.Pi / corners
	for i := range out {
		sin, cos := math.Sincos((float64(i) + 0.5) * step)
		out[i].x, out[i].y = cos/math.Cos(step/2), sin/math.Cos(step/2)
	}
	return out
}()

func sorted(at []int64, s span) []int64 {
	at = slices.DeleteFunc(at, func(v int64) bool { return v < s.from || v > s.to })
	slices.Sort(at)
	return slices.Compact(at)
}
