package plane_test

import (
	"errors"
	"slices"
	"testing"

	"seamshare.example/services/domain/measure/plane"
)

// drawn reads points from bytes, two a coordinate, so that corners fall together, lie in
// line and meet edges; unit spreads them.
func drawn(shape []byte, unit int64) []plane.Point {
	var all []plane.Point
	for i := 0; i+1 < len(shape); i += 2 {
		all = append(all, plane.Point{X: int64(int8(shape[i])) * unit, Y: int64(int8(shape[i+1])) * unit})
	}
	return all
}

var seeds = [][]byte{
	{0, 0, 9, 0, 9, 9, 0, 9},
	{0, 0, 2, 2, 2, 0, 0, 2},
	{0, 0, 9, 0, 9, 5, 6, 5, 6, 1, 3, 1, 3, 5, 0, 5},
	{0, 0, 4, 0, 4, 4, 2, 0, 0, 4},
	{0, 0, 9, 0, 9, 9},
}

func FuzzCheckRing(f *testing.F) {
	for _, s := range seeds {
		f.Add(s, int64(1))
		f.Add(s, int64(plane.MaxCoordinate/127))
	}
	f.Fuzz(func(t *testing.T, shape []byte, unit int64) {
		points := drawn(shape, unit)
		before := slices.Clone(points)
		r, err := plane.CheckRing(points)
		if !slices.Equal(points, before) {
			t.Fatal("the points were changed")
		}
		// Asked in the plainest way: do any two edges meet that shouldn't?
		if want := plain(points); (err == nil) != want {
			t.Fatalf("%v: %v, but simple is %v", points, err, want)
		}
		if err != nil {
			var wrong *plane.ShapeError
			if !errors.As(err, &wrong) || wrong.Problem == "" || wrong.Vertex > len(points) || wrong.Other > len(points) || wrong.Vertex < 0 || wrong.Other < 0 {
				t.Fatalf("refused with %+v", err)
			}
			return
		}
		if r.TwiceArea() <= 0 || r[0] != points[0] || len(r) != len(points) {
			t.Fatalf("%v became %v", points, r)
		}
		if !plane.Holds(r, r) {
			t.Fatalf("%v doesn't hold itself", r)
		}
		c := r.Centroid()
		if box := r.Box(); c.X < box.Min.X || c.X > box.Max.X || c.Y < box.Min.Y || c.Y > box.Max.Y {
			t.Fatalf("centroid %v", c)
		}
	})
}

// plain is whether the points make a ring, pair by pair and in terms of Nearer: two
// stretches meet if they are less than a nanometre apart and share a point.
func plain(points []plane.Point) bool {
	n := len(points)
	if n < 3 || n > plane.MaxVertices {
		return false
	}
	for _, p := range points {
		if p.X < -plane.MaxCoordinate || p.X > plane.MaxCoordinate || p.Y < -plane.MaxCoordinate || p.Y > plane.MaxCoordinate {
			return false
		}
	}
	side := func(a, b, c plane.Point) int64 {
		b, c = b.Minus(a), c.Minus(a)
		return b.X*c.Y - b.Y*c.X
	}
	on := func(a, b, p plane.Point) bool {
		return side(a, b, p) == 0 && min(a.X, b.X) <= p.X && p.X <= max(a.X, b.X) && min(a.Y, b.Y) <= p.Y && p.Y <= max(a.Y, b.Y)
	}
	for i := range points {
		for j := range points {
			a, b, c, d := points[i], points[(i+1)%n], points[j], points[(j+1)%n]
			switch {
			case i == j:
				if a == b {
					return false
				}
			case (i+1)%n == j:
				if on(a, b, d) || on(c, d, a) {
					return false
				}
			case (j+1)%n == i:
			case on(a, b, c) || on(a, b, d) || on(c, d, a) || on(c, d, b):
				return false
			case (side(a, b, c) > 0) != (side(a, b, d) > 0) && (side(c, d, a) > 0) != (side(c, d, b) > 0):
				return false
			}
		}
	}
	return true
}

func FuzzCut(f *testing.F) {
	for _, s := range seeds {
		f.Add(s, int64(plane.Millimetre), int64(0), int64(0), int64(9_000_000), int64(5_000_000), int64(600_000))
		f.Add(s, int64(1), int64(2), int64(0), int64(2), int64(5), int64(1))
	}
	f.Fuzz(func(t *testing.T, shape []byte, unit, ax, ay, bx, by, kerf int64) {
		r, err := plane.CheckRing(drawn(shape, unit))
		if err != nil {
			return
		}
		l, err := plane.CheckLine(plane.Point{X: ax, Y: ay}, plane.Point{X: bx, Y: by})
		if err != nil {
			return
		}
		left, right := plane.Cut(r, l, kerf)
		if kerf <= 0 {
			if off := area(left) + area(right) - r.TwiceArea(); off > slack(r) || off < -slack(r) {
				t.Fatalf("%d and %d of %d", area(left), area(right), r.TwiceArea())
			}
		}
		if area(left)+area(right) > r.TwiceArea()+slack(r) {
			t.Fatalf("%d and %d of %d", area(left), area(right), r.TwiceArea())
		}
		for _, part := range slices.Concat(left, right) {
			if len(part) < 3 || part.TwiceArea() <= 0 {
				t.Fatalf("part %v", part)
			}
			if box, whole := part.Box(), r.Box(); box.Min.X < whole.Min.X || box.Max.X > whole.Max.X || box.Min.Y < whole.Min.Y || box.Max.Y > whole.Max.Y {
				t.Fatalf("%v leaves %v", part, r)
			}
			// And again, as a plan does with what a cut left.
			a, b := plane.Cut(part, plane.Line{A: l.B, B: part[0]}, 0)
			if off := area(a) + area(b) - part.TwiceArea(); l.B != part[0] && (off > slack(part) || off < -slack(part)) {
				t.Fatalf("%d and %d of the part's %d", area(a), area(b), part.TwiceArea())
			}
		}
	})
}
