package search

import (
	"math"
	"runtime"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/saw"
)

// A body grown by its stretch holds itself turned by the angle, or less; grown by what a shift takes, itself shifted.
func TestBodyHoldsItselfTurned(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		shape := rapid.SampledFrom([]saw.Shape{saw.Oval, saw.Round, saw.Pear, saw.Marquise, saw.Cushion, saw.Rectangle, saw.Triangle, saw.Freeform}).Draw(t, "shape")
		f := Form{Shape: shape, Length: rapid.Int64Range(11, 30).Draw(t, "length"), Width: 10}
		if shape == saw.Freeform {
			f.Ring = []saw.Point{{X: 0, Y: 3_000}, {X: 3_000, Y: 500}, {X: 8_000, Y: 0}, {X: 12_000, Y: 1_500}, {X: 10_500, Y: 4_000}, {X: 12_000, Y: 6_500}, {X: 7_000, Y: 8_000}, {X: 2_000, Y: 7_000}}
		}
		b, err := newBody(f, saw.Face)
		if err != nil {
			t.Fatal(err)
		}
		most := rapid.Float64Range(0, math.Pi/2).Draw(t, "most")
		angle := most * rapid.Float64Range(-1, 1).Draw(t, "share")
		sin, cos := math.Sincos(angle)
		far := rapid.Float64Range(0, 0.5).Draw(t, "far")
		way, across := math.Sincos(rapid.Float64Range(0, 7).Draw(t, "way"))
		shift := vec{far * across, far * way}
		size := func(p vec) float64 {
			if b.ellipse {
				return math.Hypot(p.x, p.y/b.beta) / b.inner
			}
			return b.gauge(p)
		}
		corners := b.corner
		if b.ellipse { // the ellipse itself
			corners = nil
			for i := range 64 {
				y, x := math.Sincos(2 * math.Pi * float64(i) / 64)
				corners = append(corners, vec{b.inner * x, b.inner * b.beta * y})
			}
		}
		for _, c := range corners {
			if got := size(c.turned([2]float64{sin, cos})); got > b.stretch(most)+1e-4 {
				t.Fatalf("a corner of %s turned by %v is at %v, beyond %v", shape, angle, got, b.stretch(most))
			}
			if got := size(c.plus(shift)); got > 1+far/b.ball+1e-4 {
				t.Fatalf("a corner of %s shifted by %v is at %v, beyond %v", shape, shift, got, 1+far/b.ball)
			}
		}
	})
}

// Of outlines that callers send nothing stays after their search.
func TestOutlinesAreNotKept(t *testing.T) {
	heap := func() int64 {
		var m runtime.MemStats
		runtime.GC()
		runtime.GC() // what the first one found to finalize
		runtime.ReadMemStats(&m)
		return int64(m.HeapAlloc)
	}
	ring := func(first int64) []saw.Point {
		r := make([]saw.Point, 2_000)
		for i := range r {
			y, x := math.Sincos(2 * math.Pi * float64(i) / float64(len(r)))
			r[i] = saw.Point{X: int64(100_000 * x), Y: int64(100_000 * y)}
		}
		r[0].X += first
		return r
	}
	one := func(i int64) {
		if _, err := newBody(Form{Shape: saw.Freeform, Ring: ring(i), Length: 1, Width: 1}, saw.Face); err != nil {
			t.Fatal(err)
		}
	}
	one(0)
	before := heap()
	for i := range int64(20) {
		one(i + 1)
	}
	// Twenty such rings take a megabyte at least, with their outlines.
	if more := heap() - before; more > 500_000 {
		t.Errorf("%d bytes more are kept", more)
	}
}
