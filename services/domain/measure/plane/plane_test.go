package plane_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/measure/plane"
)

// mm is a ring of corners in whole millimetres: x, y, x, y, ...
func mm(t testing.TB, xy ...int64) plane.Ring {
	t.Helper()
	r, err := plane.CheckRing(points(plane.Millimetre, xy...))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func points(unit int64, xy ...int64) []plane.Point {
	var all []plane.Point
	for i := 0; i < len(xy); i += 2 {
		all = append(all, plane.Point{X: xy[i] * unit, Y: xy[i+1] * unit})
	}
	return all
}

func line(xy ...int64) plane.Line {
	p := points(plane.Millimetre, xy...)
	return plane.Line{A: p[0], B: p[1]}
}

func TestCheckRing(t *testing.T) {
	t.Run("OK: clockwise comes out counter-clockwise, beginning alike", func(t *testing.T) {
		r, err := plane.CheckRing(points(1, 0, 0, 0, 4, 3, 4, 3, 0))
		if want := plane.Ring(points(1, 0, 0, 3, 0, 3, 4, 0, 4)); err != nil || !slices.Equal(r, want) || r.TwiceArea() != 24 {
			t.Errorf("%v, %v", r, err)
		}
	})
	t.Run("OK: the largest square", func(t *testing.T) {
		const m = plane.MaxCoordinate
		r, err := plane.CheckRing(points(1, -m, -m, m, -m, m, m, -m, m))
		if err != nil || r.TwiceArea() != 2e18 || r.SquareMicrometres() != 1e12 || r.Centroid() != (plane.Point{}) {
			t.Errorf("%v, %v", r, err)
		}
	})
	many := func(n int) []plane.Point {
		var all []plane.Point
		for i := range n {
			all = append(all, plane.Point{X: int64(i), Y: int64(i) * int64(i) % 100_000})
		}
		return all
	}
	for name, c := range map[string]struct {
		points        []plane.Point
		vertex, other int
		says          string
	}{
		"nothing":                {nil, 0, 0, "too few"},
		"two points":             {points(1, 0, 0, 1, 1), 2, 2, "2 points are too few"},
		"too many points":        {many(plane.MaxVertices + 1), plane.MaxVertices, plane.MaxVertices, "may have 2000"},
		"out of range":           {points(1, 0, 0, 1, 0, 0, plane.MaxCoordinate+1), 2, 2, "the point (0, 500.000001) mm is more than 500 mm from the origin"},
		"last repeats first":     {points(plane.Micrometre, 0, 0, 1, 0, 0, 1, 0, 0), 3, 0, "the point (0, 0) mm is there twice"},
		"repeated in the middle": {points(1, 0, 0, 9, 0, 5, 5, 9, 9, 5, 5, 0, 9), 4, 2, "is there twice"},
		"on a straight line":     {points(1, 0, 0, 1, 1, 3, 3, 2, 2), 0, 0, "straight line"},
		"a figure of eight": {
			points(plane.Millimetre, 0, 0, 2, 2, 2, 0, 0, 2), 0, 2,
			"the edge from (0, 0) mm to (2, 2) mm crosses the edge from (2, 0) mm to (0, 2) mm at (1, 1) mm",
		},
		"a corner that touches an edge": {points(plane.Millimetre, 0, 0, 4, 0, 4, 4, 2, 0, 0, 4), 0, 2, "touches the edge from (4, 4) mm to (2, 0) mm at (2, 0) mm"},
		"a corner on an upright edge":   {points(plane.Millimetre, 0, 0, 4, 0, 0, 2, 4, 4, 0, 4), 1, 4, "touches the edge from (0, 4) mm to (0, 0) mm at (0, 2) mm"},
		"an edge that turns back":       {points(1, 0, 0, 4, 0, 2, 0, 2, 5), 0, 1, "is turned back upon"},
		"a spike at the seam":           {points(1, 0, 0, 4, 0, 4, 4, 0, -4), 0, 2, "crosses"},
		"the last edge turns back":      {points(1, 1, 0, 3, 0, 3, 3, 2, 0), 0, 2, "touches"},
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			_, err := plane.CheckRing(c.points)
			var wrong *plane.ShapeError
			if !errors.As(err, &wrong) || wrong.Vertex != c.vertex || wrong.Other != c.other || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%+v", wrong)
			}
		})
	}
	t.Run("refused: wherever it begins and whichever way it runs", func(t *testing.T) {
		touching := points(1, 0, 0, 4, 0, 0, 2, 4, 4, 0, 4)
		for range touching {
			touching = append(touching[1:], touching[0])
			back := slices.Clone(touching)
			slices.Reverse(back)
			for _, p := range [][]plane.Point{touching, back} {
				if _, err := plane.CheckRing(p); err == nil {
					t.Errorf("%v", p)
				}
			}
		}
	})
	t.Run("refused: lines and paths that are none", func(t *testing.T) {
		p := plane.Point{X: 1, Y: 1}
		if _, err := plane.CheckLine(p, p); err == nil {
			t.Error("a line without length")
		}
		if _, err := plane.CheckPath([]plane.Point{p}); err == nil {
			t.Error("a path of one point")
		}
	})
}

func TestMeasures(t *testing.T) {
	l := mm(t, 0, 0, 6, 0, 6, 2, 2, 2, 2, 5, 0, 5) // an L
	if got := l.SquareMillimetres(); got != 18 {
		t.Errorf("area %v", got)
	}
	if got := l.Perimeter(); got != 22*plane.Millimetre {
		t.Errorf("perimeter %v", got)
	}
	// Two rectangles: 6×2 about (3, 1) and 2×3 about (1, 3.5).
	if got, want := l.Centroid(), (plane.Point{X: 2_333_333, Y: 1_833_333}); got != want {
		t.Errorf("centroid %v, want %v", got, want)
	}
	if got, want := l.Box().Size(), plane.Micrometres(6_000, 5_000); got != want {
		t.Errorf("size %v", got)
	}
	if got := l.Across(line(0, 0, 0, 1)); got != 6*plane.Millimetre {
		t.Errorf("across %v", got)
	}
	// The hull is a pentagon; its narrowest strip lies along the slope from (6, 2) to
	// (2, 5): (0, 0) is |6·3 + 2·4| / 5 from it.
	if got := l.Width(); math.Abs(got-5*plane.Millimetre) > 1e-6 {
		t.Errorf("width %v", got)
	}
	if got := plane.Chord(l, line(0, 1, 1, 1)); got != 6*plane.Millimetre {
		t.Errorf("chord %v", got)
	}
	if got := plane.Chord(mm(t, 0, 0, 9, 0, 9, 5, 6, 5, 6, 1, 3, 1, 3, 5, 0, 5), line(9, 4, 0, 4)); got != 6*plane.Millimetre {
		t.Errorf("chord of two stretches %v", got)
	}
}

func TestCut(t *testing.T) {
	square := []int64{0, 0, 10, 0, 10, 10, 0, 10}
	u := []int64{0, 0, 9, 0, 9, 5, 6, 5, 6, 1, 3, 1, 3, 5, 0, 5} // legs 3 wide, floor 1 high
	for name, c := range map[string]struct {
		ring        []int64
		line        plane.Line
		kerf        int64
		left, right []float64 // mm² of the parts
	}{
		"through the middle":                 {square, line(5, 0, 5, 1), 600_000, []float64{47}, []float64{47}},
		"beside it":                          {square, line(11, 0, 11, 1), 600_000, []float64{100}, nil},
		"its kerf takes an edge off":         {square, line(10, 0, 10, 1), 600_000, []float64{97}, nil},
		"a kerf wider than the piece":        {square, line(5, 0, 5, 1), 11_000_000, nil, nil},
		"along an edge without kerf":         {square, line(10, 0, 10, 1), 0, []float64{100}, nil},
		"through two corners":                {square, line(0, 0, 10, 10), 0, []float64{50}, []float64{50}},
		"through a corner":                   {square, line(0, 0, 10, 5), 0, []float64{75}, []float64{25}},
		"touching a corner":                  {square, line(-1, 1, 1, -1), 0, []float64{100}, nil},
		"both legs":                          {u, line(9, 3, 0, 3), 0, []float64{21}, []float64{6, 6}},
		"along the floor between the legs":   {u, line(0, 1, 9, 1), 0, []float64{12, 12}, []float64{9}},
		"the same from the other side":       {u, line(9, 1, 0, 1), 0, []float64{9}, []float64{12, 12}},
		"a kerf below the floor's top":       {u, line(0, 1, 9, 1), 200_000, []float64{11.7, 11.7}, []float64{8.1}},
		"along a leg's inner side":           {u, line(3, 0, 3, 1), 0, []float64{15}, []float64{18}},
		"a notch's tip on the line":          {[]int64{0, 0, 4, 0, 4, 4, 2, 2, 0, 4}, line(0, 2, 4, 2), 0, []float64{2, 2}, []float64{8}},
		"a notch's tip on the line, turned":  {[]int64{0, 0, 4, 0, 4, 4, 2, 2, 0, 4}, line(4, 2, 0, 2), 0, []float64{8}, []float64{2, 2}},
		"a tooth's tip on the line":          {[]int64{0, 0, 6, 0, 6, 4, 5, 4, 3, 2, 1, 4, 0, 4}, line(0, 2, 6, 2), 0, []float64{4, 4}, []float64{12}},
		"two tips touch the line from below": {[]int64{0, 0, 6, 0, 5, 2, 3, 1, 1, 2}, line(0, 2, 6, 2), 0, nil, []float64{8}},
	} {
		t.Run(name, func(t *testing.T) {
			left, right := plane.Cut(mm(t, c.ring...), c.line, c.kerf)
			for side, got := range map[string][]plane.Ring{"left": left, "right": right} {
				want := map[string][]float64{"left": c.left, "right": c.right}[side]
				var areas []float64
				for _, r := range got {
					areas = append(areas, r.SquareMillimetres())
					if _, err := plane.CheckRing(r); err != nil {
						t.Errorf("%s part %v: %v", side, r, err)
					}
				}
				slices.Sort(areas)
				if !slices.Equal(areas, want) {
					t.Errorf("%s has %v mm², want %v", side, areas, want)
				}
			}
		})
	}
	t.Run("the line as one edge of the kerf", func(t *testing.T) {
		a, b := line(5, 0, 5, 1).BandOnLeft(1_000_000)
		left, right := a.Clip(nil, mm(t, square...)), b.Clip(nil, mm(t, square...))
		if left[0].SquareMillimetres() != 40 || right[0].SquareMillimetres() != 50 {
			t.Errorf("%v %v", left, right)
		}
	})
	t.Run("a line without length leaves nothing", func(t *testing.T) {
		if left, right := plane.Cut(mm(t, square...), line(1, 1, 1, 1), 0); left != nil || right != nil {
			t.Errorf("%v %v", left, right)
		}
	})
}

func TestHolds(t *testing.T) {
	u := mm(t, 0, 0, 9, 0, 9, 5, 6, 5, 6, 1, 3, 1, 3, 5, 0, 5)
	for name, c := range map[string]struct {
		inner []int64
		want  bool
	}{
		"in a leg":                        {[]int64{1, 1, 2, 1, 2, 4, 1, 4}, true},
		"a leg itself":                    {[]int64{0, 0, 3, 0, 3, 5, 0, 5}, true},
		"the floor itself":                {[]int64{0, 0, 9, 0, 9, 1, 0, 1}, true},
		"the whole":                       {[]int64{0, 0, 9, 0, 9, 5, 6, 5, 6, 1, 3, 1, 3, 5, 0, 5}, true},
		"in the gap":                      {[]int64{4, 2, 5, 2, 5, 4, 4, 4}, false},
		"the gap itself":                  {[]int64{3, 1, 6, 1, 6, 5, 3, 5}, false},
		"across the gap, corners on legs": {[]int64{3, 1, 6, 1, 6, 3, 3, 3}, false},
		"from leg to leg":                 {[]int64{1, 2, 8, 2, 8, 4, 1, 4}, false},
		"the hull":                        {[]int64{0, 0, 9, 0, 9, 5, 0, 5}, false},
		"out over an edge":                {[]int64{1, 1, 2, 1, 2, 6, 1, 6}, false},
		"out from an edge":                {[]int64{0, 1, 2, 1, 2, 2, -1, 2}, false},
		"outside, sharing an edge":        {[]int64{0, 0, 0, -2, 9, -2, 9, 0}, false},
		"under the gap, touching corners": {[]int64{3, 1, 1, 0, 8, 0, 6, 1}, true},
		"over a reflex corner":            {[]int64{2, 0, 5, 0, 3, 2, 2, 2}, false},
		"along the reflex corner":         {[]int64{2, 0, 4, 0, 2, 2}, true},
		"from an edge's point into a gap": {[]int64{3, 3, 2, 2, 4, 2}, false},
	} {
		t.Run(name, func(t *testing.T) {
			if got := plane.Holds(u, mm(t, c.inner...)); got != c.want {
				t.Errorf("holds is %v", got)
			}
		})
	}
}

func TestNearer(t *testing.T) {
	square := mm(t, 0, 0, 10, 0, 10, 10, 0, 10)
	for name, c := range map[string]struct {
		path []int64
		far  float64 // mm
	}{
		"beside an edge":           {[]int64{13, 2, 13, 8}, 3},
		"beside a corner":          {[]int64{13, 14, 20, 20}, 5},
		"a slope past a corner":    {[]int64{10, 12, 12, 10}, math.Sqrt2},
		"inside, touching nothing": {[]int64{4, 4, 5, 5}, 0},
		"across":                   {[]int64{-5, 5, 15, 5}, 0},
		"touching a corner":        {[]int64{9, 11, 11, 9}, 0},
		"a point":                  {[]int64{10, 14}, 4},
	} {
		t.Run(name, func(t *testing.T) {
			p := plane.Path(points(plane.Millimetre, c.path...))
			if got := plane.Distance(square, p) / plane.Millimetre; math.Abs(got-c.far) > 1e-12 {
				t.Errorf("%v mm, want %v", got, c.far)
			}
			exact := int64(math.Floor(c.far * plane.Millimetre)) // √2 mm is a little more
			if plane.Nearer(square, p, exact) || !plane.Nearer(square, p, exact+1) {
				t.Errorf("nearer than %d: %v, than a nanometre more: %v", exact, plane.Nearer(square, p, exact), plane.Nearer(square, p, exact+1))
			}
		})
	}
	t.Run("one ring in the other", func(t *testing.T) {
		inner := mm(t, 4, 4, 6, 4, 6, 6, 4, 6)
		if !plane.RingsNearer(inner, square, 1) || !plane.RingsNearer(square, inner, 1) || plane.RingsDistance(inner, square) != 0 {
			t.Error("apart")
		}
	})
	t.Run("a ring from its container's edge", func(t *testing.T) {
		inner := mm(t, 4, 4, 6, 4, 6, 7, 4, 7)
		if got := plane.Distance(inner, square.Closed()); got != 3*plane.Millimetre {
			t.Errorf("%v", got)
		}
	})
}

func TestOverlay(t *testing.T) {
	square, hole := mm(t, 0, 0, 10, 0, 10, 10, 0, 10), mm(t, 4, 4, 6, 4, 6, 6, 4, 6)
	for name, c := range map[string]struct {
		faces func() ([]plane.Face, error)
		want  int64 // mm²
		n     int
	}{
		"a hole":         {func() ([]plane.Face, error) { return plane.Difference([]plane.Ring{square}, []plane.Ring{hole}) }, 96, 1},
		"what is shared": {func() ([]plane.Face, error) { return plane.Intersection([]plane.Ring{square}, []plane.Ring{hole}) }, 4, 1},
		"both":           {func() ([]plane.Face, error) { return plane.Union(square, hole, mm(t, 10, 0, 12, 0, 12, 5, 10, 5)) }, 110, 1},
		"a touch": {func() ([]plane.Face, error) {
			return plane.Intersection([]plane.Ring{square}, []plane.Ring{mm(t, 10, 0, 12, 0, 12, 5, 10, 5)})
		}, 0, 0},
		"nothing": {func() ([]plane.Face, error) { return plane.Union() }, 0, 0},
	} {
		t.Run(name, func(t *testing.T) {
			faces, err := c.faces()
			if err != nil || len(faces) != c.n || plane.TwiceArea(faces) != 2*c.want*plane.Millimetre*plane.Millimetre {
				t.Errorf("%v, %v", faces, err)
			}
		})
	}
}

// simple draws a ring between two chains of heights over the same abscissas: concave,
// with edges along each other and the axes, on a grid so coarse that lines meet corners.
func simple(t *rapid.T) plane.Ring {
	unit := rapid.SampledFrom([]int64{plane.Micrometre, plane.Millimetre, 10 * plane.Millimetre}).Draw(t, "unit")
	n := rapid.IntRange(2, 12).Draw(t, "columns")
	var xs, lows, highs []int64
	x := rapid.Int64Range(-10, 10).Draw(t, "x")
	for range n {
		xs = append(xs, x)
		x += rapid.Int64Range(1, 3).Draw(t, "step")
		low := rapid.Int64Range(-8, 8).Draw(t, "low")
		lows, highs = append(lows, low), append(highs, low+rapid.Int64Range(1, 10).Draw(t, "height"))
	}
	// Straight edges between columns don't cross where low < high at both ends.
	var all []plane.Point
	for i := range n {
		all = append(all, plane.Point{X: xs[i] * unit, Y: lows[i] * unit})
	}
	for i := n - 1; i >= 0; i-- {
		all = append(all, plane.Point{X: xs[i] * unit, Y: highs[i] * unit})
	}
	r, err := plane.CheckRing(all)
	if err != nil {
		t.Fatal(err)
	}
	return r.QuarterTurned(rapid.IntRange(0, 3).Draw(t, "quarters"))
}

func sawLine(t *rapid.T, r plane.Ring) plane.Line {
	pick := func(name string) plane.Point {
		if rapid.Bool().Draw(t, name+" is a corner") {
			return r[rapid.IntRange(0, len(r)-1).Draw(t, name)]
		}
		box := r.Box()
		return plane.Point{X: rapid.Int64Range(box.Min.X, box.Max.X).Draw(t, name+" x"), Y: rapid.Int64Range(box.Min.Y, box.Max.Y).Draw(t, name+" y")}
	}
	l := plane.Line{A: pick("a"), B: pick("b")}
	if l.A == l.B {
		l.B.X++
	}
	return l
}

func area(rings []plane.Ring) int64 {
	var sum int64
	for _, r := range rings {
		sum += r.TwiceArea()
	}
	return sum
}

// slack is what rounding corners to the nanometre may change of twice the ring's area:
// each made corner moves by at most 0.71 nm, and sweeps its edges.
func slack(r plane.Ring) int64 { return int64(8*r.Perimeter()) + 8 }

func TestPartsAndKerfAreTheWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := simple(t)
		l := sawLine(t, r)
		kerf := rapid.OneOf(rapid.Just(int64(0)), rapid.Int64Range(0, r.Box().Size().X)).Draw(t, "kerf")
		left, right := plane.Cut(r, l, kerf)
		a, b := l.Band(kerf)
		var band []plane.Ring
		for _, part := range a.Other().Clip(nil, r) {
			band = b.Other().Clip(band, part)
		}
		whole := r.TwiceArea()
		if off := area(left) + area(right) + area(band) - whole; off > 2*slack(r) || off < -2*slack(r) {
			t.Fatalf("left %d, right %d, kerf %d make %d instead of %d", area(left), area(right), area(band), area(left)+area(right)+area(band), whole)
		}
		for _, part := range slices.Concat(left, right) {
			if part.TwiceArea() <= 0 {
				t.Fatalf("part %v has no area", part)
			}
			for _, p := range part {
				if plane.Distance(r, plane.Path{p}) > 1 {
					t.Fatalf("%v of a part is outside", p)
				}
			}
		}
		more, _ := plane.Cut(r, l, kerf+rapid.Int64Range(0, plane.Millimetre).Draw(t, "more"))
		if area(more) > area(left)+slack(r) {
			t.Fatalf("with more kerf the left grows from %d to %d", area(left), area(more))
		}
	})
}

// Parts of pieces as large as people's, cut where people can say, are simple, so that they
// can be drawn, stored and checked again.
func TestPartsAreSimple(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := simple(t)
		if r.Box().Size().X < plane.Millimetre {
			r = scaled(r, 1_000)
		}
		l := sawLine(t, r)
		micrometre := func(p plane.Point) plane.Point {
			return plane.Micrometres(p.X/plane.Micrometre, p.Y/plane.Micrometre)
		}
		left, right := plane.Cut(r, plane.Line{A: micrometre(l.A), B: micrometre(l.B)}, plane.Micrometre*rapid.Int64Range(0, 1_000).Draw(t, "kerf"))
		for _, part := range slices.Concat(left, right) {
			if _, err := plane.CheckRing(part); err != nil {
				t.Fatalf("part %v: %v", part, err)
			}
		}
	})
}

func scaled(r plane.Ring, by int64) plane.Ring {
	s := make(plane.Ring, len(r))
	for i, p := range r {
		s[i] = plane.Point{X: p.X * by, Y: p.Y * by}
	}
	return s
}

func TestMirrorsAndQuarterTurnsAreExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := simple(t)
		l := sawLine(t, r)
		kerf := rapid.Int64Range(0, plane.Millimetre).Draw(t, "kerf")
		left, right := plane.Cut(r, l, kerf)
		turn := func(p plane.Point) plane.Point { return plane.Ring{p}.QuarterTurned(1)[0] }
		mirror := func(p plane.Point) plane.Point { return plane.Point{X: -p.X, Y: p.Y} }

		q := r.QuarterTurned(1)
		if q.TwiceArea() != r.TwiceArea() || q.Centroid() != turn(r.Centroid()) || q.QuarterTurned(3)[0] != r[0] {
			t.Fatal("turned otherwise")
		}
		same(t, "turned left", q, left, right, func(r plane.Ring) plane.Ring { return r.QuarterTurned(1) },
			plane.Line{A: turn(l.A), B: turn(l.B)}, kerf)
		m := r.Mirrored()
		if m.TwiceArea() != r.TwiceArea() || m.Centroid() != mirror(r.Centroid()) || !slices.Equal(m.Mirrored(), r) {
			t.Fatal("mirrored otherwise")
		}
		same(t, "mirrored", m, right, left, plane.Ring.Mirrored, plane.Line{A: mirror(l.A), B: mirror(l.B)}, kerf)
	})
}

// same holds that cutting the moved ring gives the moved parts, wherever they begin.
func same(t *rapid.T, what string, r plane.Ring, left, right []plane.Ring, move func(plane.Ring) plane.Ring, l plane.Line, kerf int64) {
	gotLeft, gotRight := plane.Cut(r, l, kerf)
	for _, c := range [][2][]plane.Ring{{gotLeft, left}, {gotRight, right}} {
		var want []plane.Ring
		for _, part := range c[1] {
			want = append(want, begin(move(part)))
		}
		var got []plane.Ring
		for _, part := range c[0] {
			got = append(got, begin(part))
		}
		order := func(a, b plane.Ring) int {
			return slices.CompareFunc(a, b, func(p, q plane.Point) int {
				switch {
				case p.X != q.X:
					return int(max(-1, min(1, p.X-q.X)))
				default:
					return int(max(-1, min(1, p.Y-q.Y)))
				}
			})
		}
		slices.SortFunc(want, order)
		slices.SortFunc(got, order)
		if !slices.EqualFunc(got, want, func(a, b plane.Ring) bool { return slices.Equal(a, b) }) {
			t.Fatalf("%s: %v, want %v", what, got, want)
		}
	}
}

// begin turns the list until the leftmost, lowest point is first.
func begin(r plane.Ring) plane.Ring {
	first := 0
	for i, p := range r {
		if p.X < r[first].X || p.X == r[first].X && p.Y < r[first].Y {
			first = i
		}
	}
	return append(slices.Clone(r[first:]), r[:first]...)
}

func TestTurnedKeepsLengths(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := simple(t)
		angle := rapid.Float64Range(-10, 10).Draw(t, "angle")
		turned := r.Turned(angle)
		for i := range r {
			j := (i + 1) % len(r)
			before := plane.Path{r[i], r[j]}.Length()
			if after := (plane.Path{turned[i], turned[j]}).Length(); math.Abs(after-before) > 1.5 {
				t.Fatalf("an edge of %v nm is %v", before, after)
			}
		}
		quarters := rapid.IntRange(-5, 5).Draw(t, "quarters")
		if !slices.Equal(r.Turned(float64(quarters)*math.Pi/2), r.QuarterTurned(quarters)) {
			t.Fatalf("%d quarter turns differ", quarters)
		}
	})
}

// What is shared and what isn't are the whole, for pieces and for what cuts leave of them.
func TestOverlayBalances(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, s := simple(t), simple(t)
		a, _ := plane.Cut(r, sawLine(t, r), rapid.Int64Range(0, 1_000).Draw(t, "kerf"))
		b := []plane.Ring{s}
		shared, err := plane.Intersection(a, b)
		only, err2 := plane.Difference(a, b)
		all, err3 := plane.Union(append(b, a...)...)
		if err := errors.Join(err, err2, err3); err != nil {
			for _, part := range a {
				if _, touches := plane.CheckRing(part); touches != nil {
					return // closed to a touch by rounding
				}
			}
			t.Fatal(err)
		}
		off := plane.TwiceArea(shared) + plane.TwiceArea(only) - area(a)
		if more := 2 * (slack(r) + slack(s)); off > more || off < -more {
			t.Fatalf("%d shared and %d not are not %d", plane.TwiceArea(shared), plane.TwiceArea(only), area(a))
		}
		off = plane.TwiceArea(all) - plane.TwiceArea(only) - s.TwiceArea()
		if more := 2 * (slack(r) + slack(s)); off > more || off < -more {
			t.Fatalf("together %d, not %d and %d", plane.TwiceArea(all), plane.TwiceArea(only), s.TwiceArea())
		}
	})
}

// What Holds says of a part and its piece, and of a ring and what is cut off it.
func TestHoldsItsParts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := simple(t)
		if !plane.Holds(r, r) {
			t.Fatal("it doesn't hold itself")
		}
		s := simple(t)
		shared, err := plane.Intersection([]plane.Ring{r}, []plane.Ring{s})
		if err != nil {
			t.Fatal(err)
		}
		missing := s.TwiceArea() - plane.TwiceArea(shared)
		if holds := plane.Holds(r, s); holds && missing > slack(s) || !holds && missing <= 0 {
			t.Fatalf("holds is %v, %d of %d lies outside", holds, missing, s.TwiceArea())
		}
	})
}

// Delaunay: the triangles fill the hull, and no point lies inside the circle of one; told
// by the circle's centre here.
func TestTriangulate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unit := rapid.SampledFrom([]int64{1, plane.Millimetre, plane.MaxCoordinate / 12}).Draw(t, "unit")
		all := rapid.SliceOfNDistinct(rapid.Custom(func(t *rapid.T) plane.Point {
			return plane.Point{X: unit * rapid.Int64Range(-12, 12).Draw(t, "x"), Y: unit * rapid.Int64Range(-12, 12).Draw(t, "y")}
		}), 1, 40, rapid.ID[plane.Point]).Draw(t, "points")
		m := plane.Triangulate(all)
		var hull plane.Ring
		for _, i := range m.Hull {
			hull = append(hull, all[i])
		}
		var sum int64
		for _, c := range m.Triangles {
			a, b, d := all[c[0]], all[c[1]], all[c[2]]
			twice := plane.Ring{a, b, d}.TwiceArea()
			if twice <= 0 {
				t.Fatalf("triangle %v", c)
			}
			sum += twice
			// The centre from a, by Cramer's rule.
			x1, y1, x2, y2 := float64(b.X-a.X), float64(b.Y-a.Y), float64(d.X-a.X), float64(d.Y-a.Y)
			s1, s2 := (x1*x1+y1*y1)/2, (x2*x2+y2*y2)/2
			cx, cy := (s1*y2-s2*y1)/float64(twice), (x1*s2-x2*s1)/float64(twice)
			radius := math.Hypot(cx, cy)
			for _, p := range all {
				if math.Hypot(float64(p.X-a.X)-cx, float64(p.Y-a.Y)-cy) < radius*(1-1e-9) {
					t.Fatalf("%v lies in the circle of %v, %v, %v", p, a, b, d)
				}
			}
		}
		if sum != hull.TwiceArea() {
			t.Fatalf("triangles have %d, the hull %d", sum, hull.TwiceArea())
		}
		if len(m.Triangles) == 0 {
			if len(m.Hull) != len(all) {
				t.Fatalf("on a line are %d of %d", len(m.Hull), len(all))
			}
			return
		}
		for _, p := range all {
			if hull.Where(p) == plane.Outside {
				t.Fatalf("%v is outside the hull", p)
			}
		}
	})
}
