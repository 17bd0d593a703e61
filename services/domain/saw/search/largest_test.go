package search_test

import (
	"context"
	"math"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/search"
)

func seeded(n uint64) *search.Dice { return search.Seeded(n) }

// region within one ring of corners in millimetres.
func region(corners ...float64) saw.Region {
	return saw.Region{Within: []saw.Within{{Ring: mm(corners...)}}}
}

func mm(corners ...float64) plane.Ring {
	r := make(plane.Ring, len(corners)/2)
	for i := range r {
		r[i] = plane.Point{X: int64(math.Round(corners[2*i] * plane.Millimetre)), Y: int64(math.Round(corners[2*i+1] * plane.Millimetre))}
	}
	return r
}

func regular(n int, radius float64) (out []float64) {
	for i := range n {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		out = append(out, radius*cos, radius*sin)
	}
	return out
}

// Known greatest inscribed figures. A round outline is drawn as a polygon round the true one, so it is found a
// little shorter, and the bound, which holds for the true one as well, lies just above.
func TestLargestKnown(t *testing.T) {
	oval := func(l, w int64) search.Form { return search.Form{Shape: saw.Oval, Length: l, Width: w} }
	for _, c := range []struct {
		name   string
		in     saw.Region
		form   search.Form
		want   float64 // length in millimetres
		source string
	}{
		{"circle in a 3-4-5 triangle", region(0, 0, 40, 0, 0, 30), oval(1, 1), 20, "incircle: r = (a + b − c)/2, Euclid IV.4"},
		{"circle in a regular hexagon", region(regular(6, 20)...), oval(1, 1), 2 * 20 * math.Sqrt(3) / 2, "derivation: the apothem"},
		{"oval in a long rectangle", region(0, 0, 50, 0, 50, 18, 0, 18), oval(4, 3), 24, "derivation: its width is the rectangle's"},
		// Half sides A, B; both touch where a² cos² + b² sin² = A² and a² sin² + b² cos² = B², so a² + b² = A² + B².
		{"slim oval in a rectangle, slanting", region(0, 0, 30, 0, 30, 20, 0, 20), oval(3, 1), 2 * math.Sqrt((15.*15+10*10)*9/10), "derivation: orthoptic circle, Monge"},
		{"square in a regular hexagon", region(regular(6, 10)...), search.Form{Shape: saw.Rectangle, Length: 1, Width: 1}, 10 * (3 - math.Sqrt(3)), "derivation: sides square to a diagonal, corners on four sides"},
		{"square in an equilateral triangle", region(0, 0, 20, 0, 10, 10*math.Sqrt(3)), search.Form{Shape: saw.Rectangle, Length: 1, Width: 1}, 20 * (2*math.Sqrt(3) - 3), "derivation: similar triangles"},
		{"equilateral triangle in a square", region(0, 0, 10, 0, 10, 10, 0, 10), search.Form{Shape: saw.Triangle, Length: 866_025_404, Width: 1_000_000_000}, 10 * (math.Sqrt(6) - math.Sqrt(2)) * math.Sqrt(3) / 2, "derivation: one corner in a corner, 15° off both sides: s = a / cos 15°"},
		{"rectangle in a rectangle", region(0, 0, 30, 0, 30, 20, 0, 20), search.Form{Shape: saw.Rectangle, Length: 3, Width: 2}, 30, "derivation: itself"},
		{"bar in a square", region(0, 0, 10, 0, 10, 10, 0, 10), search.Form{Shape: saw.Rectangle, Length: 4, Width: 1}, 10 * math.Sqrt(2) / 1.25, "derivation: along the diagonal, ends square: l + w = d"},
	} {
		t.Run(c.name, func(t *testing.T) {
			found, err := search.Largest(context.Background(), c.in, c.form, saw.Face, seeded(1), search.Effort{})
			if err != nil {
				t.Fatal(err)
			}
			if !c.in.Holds(found.Outline) {
				t.Error("the region doesn't hold it")
			}
			t.Logf("%s: wanted %.4f, found %.4f, bound %.4f, %d cells", c.source, c.want, float64(found.LengthUm)/1e3, float64(found.BoundUm)/1e3, found.Cells)
			if got := float64(found.LengthUm) / 1e3; got > c.want+0.001 || got < c.want*0.9975 {
				t.Errorf("found %.4f mm, known are %.4f mm (%s)", got, c.want, c.source)
			}
			if got := float64(found.BoundUm) / 1e3; got < c.want || got > c.want*1.01 {
				t.Errorf("bounded by %.4f mm, known are %.4f mm (%s)", got, c.want, c.source)
			}
		})
	}
}

// The largest oval of any ratio in a triangle is the Steiner inellipse, π / (3 √3) of its area (Steiner; Minda and
// Phelps 2008). Its ratio follows from the triangle; that no other ratio gives more is tried here.
func TestLargestOvalInTriangle(t *testing.T) {
	in := region(0, 0, 40, 0, 12, 24)
	want := math.Pi / (3 * math.Sqrt(3)) * 40 * 24 / 2
	best := 0.0
	for ratio := int64(1_000); ratio <= 2_200; ratio += 20 {
		effort := search.Effort{Cells: 1}
		if ratio == 1_700 {
			effort.Cells = 0
		}
		found, err := search.Largest(context.Background(), in, search.Form{Shape: saw.Oval, Length: ratio, Width: 1_000}, saw.Face, seeded(1), effort)
		if err != nil {
			t.Fatal(err)
		}
		best = max(best, math.Pi/4*float64(found.LengthUm)/1e3*float64(found.WidthUm)/1e3)
		if bound := math.Pi / 4 * float64(found.BoundUm) / 1e3 * float64(found.BoundUm) / float64(ratio); ratio == 1_700 && bound > want*1.01 {
			t.Errorf("ratio %d: bounded by %.2f mm², no oval has more than %.2f", ratio, bound, want)
		}
	}
	if best > want || best < want*0.994 {
		t.Errorf("found %.2f mm², Steiner's has %.2f", best, want)
	}
}

// A crack's end in the middle of a square, kept clear by m: the circle touches two sides, and r + m is the middle's
// distance from its own, (a − r) √2, a being half a side (derivation).
func TestLargestBesideCrack(t *testing.T) {
	in := region(0, 0, 20, 0, 20, 20, 0, 20)
	in.Avoid = []saw.Avoid{{Path: plane.Path{{X: 10e6, Y: 10e6}, {X: 10e6 + 1, Y: 10e6}}, Margin: 500_000, Kind: saw.Crack}}
	want := 2 * (10*math.Sqrt2 - 0.5) / (1 + math.Sqrt2)
	found, err := search.Largest(context.Background(), in, search.Form{Shape: saw.Round, Length: 1, Width: 1}, saw.Face, seeded(1), search.Effort{})
	if err != nil {
		t.Fatal(err)
	}
	if got := float64(found.LengthUm) / 1e3; got > want+0.001 || got < want*0.997 || !in.Holds(found.Outline) {
		t.Errorf("found %.4f mm, should be %.4f", got, want)
	}
	if got := float64(found.BoundUm) / 1e3; got < want || got > want*1.01 {
		t.Errorf("bounded by %.4f mm, should be %.4f", got, want)
	}
}

// In random regions with an obstacle: what is found is held, the same seed finds the same, and no stone that was put
// down at random and is held is longer than the bound.
func TestLargestHoldsAndBounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 12).Draw(t, "corners")
		var corners []float64
		for i := range n {
			r := rapid.Float64Range(4, 15).Draw(t, "radius")
			sin, cos := math.Sincos(2 * math.Pi * (float64(i) + rapid.Float64Range(0.1, 0.6).Draw(t, "turn")) / float64(n))
			corners = append(corners, r*cos, r*sin)
		}
		in := region(corners...)
		if in.Within[0].Ring.TwiceArea() <= 0 {
			return // it turns the wrong way
		}
		if rapid.Bool().Draw(t, "crack") {
			y := rapid.Int64Range(-5e6, 5e6).Draw(t, "y")
			in.Avoid = []saw.Avoid{{Path: plane.Path{{X: -9e6, Y: y}, {X: 2e6, Y: y + 1e6}}, Margin: rapid.Int64Range(0, 800_000).Draw(t, "margin"), Kind: saw.Crack}}
		}
		if rapid.Bool().Draw(t, "cut") {
			x := rapid.Int64Range(-3e6, 3e6).Draw(t, "x")
			in.Beside = []saw.Beside{{Line: plane.Line{A: plane.Point{X: x, Y: 5}, B: plane.Point{X: x + 4e5, Y: 1e6}}, Clear: 300_000}}
		}
		shape := rapid.SampledFrom([]saw.Shape{saw.Oval, saw.Round, saw.Rectangle, saw.Triangle, saw.Freeform}).Draw(t, "shape")
		form := search.Form{Shape: shape, Length: rapid.Int64Range(10, 25).Draw(t, "length"), Width: 10}
		if shape == saw.Freeform {
			form.Ring = []saw.Point{{X: 0, Y: 3_000}, {X: 3_000, Y: 500}, {X: 8_000, Y: 0}, {X: 12_000, Y: 1_500}, {X: 10_500, Y: 4_000}, {X: 12_000, Y: 6_500}, {X: 7_000, Y: 8_000}, {X: 2_000, Y: 7_000}}
		}
		view := rapid.SampledFrom([]saw.View{saw.Face, saw.Back}).Draw(t, "view")
		effort := search.Effort{Starts: 4, Cells: 1_000}
		found, err := search.Largest(context.Background(), in, form, view, seeded(3), effort)
		if err != nil {
			t.Fatal(err)
		}
		again, _ := search.Largest(context.Background(), in, form, view, seeded(3), effort)
		if again.LengthUm != found.LengthUm || again.At != found.At || again.TurnMdeg != found.TurnMdeg || again.BoundUm != found.BoundUm {
			t.Fatalf("the same seed found %+v and %+v", found, again)
		}
		if found.LengthUm > 0 && !in.Holds(found.Outline) {
			t.Fatalf("the region doesn't hold what was found, %+v", found)
		}
		rng := seeded(7)
		for range 30 {
			length := found.LengthUm/2 + int64(rng.IntN(int(found.BoundUm)))
			s := saw.Stone{
				Shape: form.Shape, Ring: form.Ring, LengthUm: length, WidthUm: form.WidthUm(length), View: view,
				At: saw.Point{X: int64(rng.IntN(int(20_000))) - 10_000, Y: int64(rng.IntN(int(20_000))) - 10_000}, TurnMdeg: int64(rng.IntN(int(360_000))),
			}
			if found.LengthUm > 0 { // and near the best, where it is close
				s.At = saw.Point{X: found.At.X + int64(rng.IntN(int(200))) - 100, Y: found.At.Y + int64(rng.IntN(int(200))) - 100}
				s.TurnMdeg = (found.TurnMdeg + int64(rng.IntN(int(2_000))) - 1_000) % 360_000
			}
			if s.LengthUm > found.BoundUm && s.WidthUm >= 100 && in.Holds(outlineOf(t, s)) {
				t.Fatalf("%+v is held, and longer than the bound %d", s, found.BoundUm)
			}
		}
	})
}

// outlineOf is what the evaluation of a plan takes for a stone's outline.
func outlineOf(t rapid.TB, s saw.Stone) plane.Ring {
	const far = saw.MaxLengthUm
	s = saw.Stone{Name: "s", Shape: s.Shape, Ring: s.Ring, LengthUm: s.LengthUm, WidthUm: s.WidthUm, DepthUm: 1, View: s.View, At: s.At, TurnMdeg: s.TurnMdeg, ChanceBp: 10_000}
	r, err := saw.Evaluate(
		saw.Study{Name: "sheet", MassUg: saw.MaxMassUg, SGMilli: 1_000, ThicknessUm: 10, Outline: []saw.Point{{X: -far, Y: -far}, {X: far, Y: -far}, {X: far, Y: far}, {X: -far, Y: far}}},
		saw.Plan{Settings: saw.Settings{Currency: "AUD"}, Ends: []saw.End{{Part: saw.Whole, Kind: saw.Stones, Stones: []saw.Stone{s}}}}, saw.Prices{Currency: "AUD"},
	)
	if err != nil {
		t.Fatal(err)
	}
	return r.Trunk.Ends[0].Stones[0].Outline
}
