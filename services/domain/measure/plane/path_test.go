package plane_test

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/measure/plane"
)

// By hand: a path in and out of a half-plane, along its edge, and one that touches it.
func TestClipPath(t *testing.T) {
	left, _ := line(0, 0, 0, 10).Band(0) // x ≤ 0
	for name, c := range map[string]struct {
		path plane.Path
		want []plane.Path
	}{
		"inside":  {points(plane.Millimetre, -3, 0, -1, 2), []plane.Path{points(plane.Millimetre, -3, 0, -1, 2)}},
		"outside": {points(plane.Millimetre, 3, 0, 1, 2), nil},
		"through": {points(plane.Millimetre, -2, 0, 2, 4, -2, 8), []plane.Path{points(plane.Millimetre, -2, 0, 0, 2), points(plane.Millimetre, 0, 6, -2, 8)}},
		"in":      {points(plane.Millimetre, 4, 0, -4, 0, -4, 1), []plane.Path{points(plane.Millimetre, 0, 0, -4, 0, -4, 1)}},
		"along":   {points(plane.Millimetre, 0, 0, 0, 4), []plane.Path{points(plane.Millimetre, 0, 0, 0, 4)}},
	} {
		if got := left.ClipPath(nil, c.path); !slices.EqualFunc(got, c.want, slices.Equal[plane.Path]) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}

// What a cut leaves of a path on both sides is the path without what lies in the kerf, and reaches as far from the line as
// the kerf says.
func TestPathsAndKerfAreTheWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := simple(t)
		l := sawLine(t, r)
		kerf := rapid.Int64Range(1, 2*plane.Millimetre).Draw(t, "kerf") // without one, what runs along the line is on both sides
		a, b := l.Band(kerf)
		d := l.B.Minus(l.A)
		long := math.Hypot(float64(d.X), float64(d.Y))
		sum := 0.0
		for sign, paths := range map[float64][]plane.Path{1: a.ClipPath(nil, r.Closed()), -1: b.ClipPath(nil, r.Closed())} {
			for _, p := range paths {
				sum += p.Length()
				for _, q := range p {
					v := q.Minus(l.A)
					if away := sign * (float64(d.X)*float64(v.Y) - float64(d.Y)*float64(v.X)) / long; away < float64(kerf)/2-2 {
						t.Fatalf("%v is %.1f nm from the line, kerf %d", q, away, kerf)
					}
				}
			}
		}
		// What the kerf takes, stretch by stretch.
		path := r.Closed()
		taken := 0.0
		for i := 1; i < len(path); i++ {
			side := func(p plane.Point) float64 {
				v := p.Minus(l.A)
				return (float64(d.X)*float64(v.Y) - float64(d.Y)*float64(v.X)) / long
			}
			from, to := side(path[i-1]), side(path[i])
			low, high := min(from, to), max(from, to)
			in := max(0, min(high, float64(kerf)/2)-max(low, -float64(kerf)/2))
			if high > low {
				taken += in / (high - low) * plane.Path{path[i-1], path[i]}.Length()
			} else if math.Abs(low) < float64(kerf)/2 {
				taken += plane.Path{path[i-1], path[i]}.Length()
			}
		}
		if whole := path.Length(); math.Abs(sum+taken-whole) > 4*float64(len(path)) {
			t.Fatalf("%.1f nm are left and %.1f taken of %.1f", sum, taken, whole)
		}
	})
}
