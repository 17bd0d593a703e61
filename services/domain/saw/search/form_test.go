package search

import (
	"math"
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
