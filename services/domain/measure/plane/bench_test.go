package plane_test

import (
	"math"
	"testing"

	"seamshare.example/services/domain/measure/plane"
)

// wavy is an outline of n corners about the origin, in millimetres across, with so many
// waves; simple because its corners stand around the origin.
func wavy(n int, across, waves float64) plane.Ring {
	r := make(plane.Ring, n)
	for i := range r {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		radius := across / 2 * plane.Millimetre * (1 + 0.2*math.Sin(waves*2*math.Pi*float64(i)/float64(n)))
		r[i] = plane.Point{X: int64(radius * cos), Y: int64(radius * sin)}
	}
	return r
}

func BenchmarkCut(b *testing.B) {
	piece := wavy(200, 60, 7)
	for name, l := range map[string]plane.Line{
		"through the middle": line(-1, -30, 2, 30),
		"across waves":       line(26, -30, 26, 30),
		"a miss":             line(50, -30, 50, 30),
	} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				plane.Cut(piece, l, 600_000)
			}
		})
	}
}

// A plan of twenty cuts that leave forty stones to be found in their parts.
func BenchmarkPlan(b *testing.B) {
	piece := wavy(200, 60, 7)
	stone := wavy(64, 6, 0)
	b.ReportAllocs()
	for b.Loop() {
		parts := []plane.Ring{piece}
		for i := range int64(20) {
			l := line(-24+5*(i/2), -30, -24+5*(i/2), 30)
			if i%2 == 1 {
				l = line(30, -24+5*(i/2), -30, -24+5*(i/2))
			}
			left, right := l.Band(600_000)
			next := make([]plane.Ring, 0, len(parts)+8)
			for _, part := range parts {
				next = right.Clip(left.Clip(next, part), part)
			}
			parts = next
		}
		for i := range int64(40) {
			at := plane.Point{X: (-15 + 5*(i%7)) * plane.Millimetre, Y: (-15 + 5*(i/7)) * plane.Millimetre}
			inner := stone.Moved(at)
			for _, part := range parts {
				if plane.Holds(part, inner) {
					break
				}
			}
		}
	}
}

func BenchmarkHolds(b *testing.B) {
	piece := wavy(200, 60, 7)
	stone := wavy(64, 6, 0).Moved(plane.Point{X: 24 * plane.Millimetre})
	b.ReportAllocs()
	for b.Loop() {
		plane.Holds(piece, stone)
	}
}

func BenchmarkCheckRing(b *testing.B) {
	piece := wavy(2_000, 60, 7)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := plane.CheckRing(piece); err != nil {
			b.Fatal(err)
		}
	}
}
