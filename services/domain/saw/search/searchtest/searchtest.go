// Package searchtest holds invented pieces of differing shape for the search's tests and its benchmark.
package searchtest

import (
	"math"

	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/search"
)

// The markets: one pays for calibrated stones, the other for large faces.
const (
	Settings = "settings trade"
	Fancy    = "one-off jewellery"
)

const mm = 1_000

// Pieces are twelve tasks: convex and concave pieces, with zones, cracks, seams, rock in the face, thin ones, a
// wedge and a rectangle.
func Pieces() []search.Task {
	return []search.Task{
		slab("even rectangle", box(30, 20), 6),
		slab("rounded boulder half", round(17, 12, 0.08, 5, 40), 9),
		slab("long splinter", points(0, 0, 18, -3, 40, -1, 46, 3, 38, 6, 15, 7), 7),
		slab("triangle", points(0, 0, 34, 0, 10, 24), 8),
		slab("kidney", points(0, 8, 4, 1, 14, -3, 26, 0, 32, 8, 30, 18, 24, 20, 22, 12, 16, 9, 10, 12, 9, 20, 3, 18), 8),
		slab("L-shaped", points(0, 0, 32, 0, 32, 10, 12, 10, 12, 28, 0, 28), 8),
		with(slab("two zones", round(20, 14, 0.05, 3, 30), 10),
			zone("bright zone", "top", points(-14, -7, -3, -8, -1, 4, -9, 7)), zone("quiet zone", "middle", points(2, -6, 14, -5, 15, 4, 3, 8))),
		with(slab("cracked across", points(0, 0, 28, 1, 30, 17, 1, 18), 9),
			crack("crack", points(13, 0.6, 14.5, 9, 13.5, 17.3))),
		with(slab("star of cracks", round(16, 16, 0.04, 6, 36), 8),
			crack("first crack", points(0, 0, 11, 6)), crack("second crack", points(0, 0, -10, 7)), crack("third crack", points(0, 0, 1, -13))),
		with(slab("rock in the face", round(18, 13, 0.1, 4, 32), 8),
			saw.Feature{Name: "rock", Kind: saw.Rock, View: saw.Face, Closed: true, Points: points(-2, -3, 4, -2, 3, 4, -3, 3)}),
		thin(),
		wedge(),
	}
}

// slab is a piece with an even bar of colour on rock.
func slab(name string, outline []saw.Point, thick int64) search.Task {
	t := task()
	t.Study = saw.Study{
		Name: name, SGMilli: 2_950, Outline: outline, ThicknessUm: thick * mm,
		Layers: []saw.Layer{{Name: "bar", Kind: saw.Colour, ThicknessUm: 1_300, SGMilli: 2_100, Class: "plain"}},
	}
	t.Study.MassUg = int64(area(outline) * float64(thick) * 2.8 * 1_000)
	t.Wants = wants("plain", "", "bar", 3_000, 1_100)
	return t
}

func with(t search.Task, features ...saw.Feature) search.Task {
	t.Study.Features = append(t.Study.Features, features...)
	for _, f := range features {
		if f.Kind == saw.Colour {
			t.Wants = append(t.Wants, wants(f.Class, f.Name, "bar", 3_000, 1_100)...)
		}
	}
	return t
}

// thin has so little depth that its stones are flat.
func thin() search.Task {
	t := slab("thin plate", points(0, 0, 22, -4, 36, 2, 34, 16, 20, 20, 4, 15), 3)
	t.Study.Layers[0].ThicknessUm = 600
	t.Wants = wants("plain", "", "bar", 2_400, 0)
	t.Settings.BevelUm = 300
	return t
}

// wedge has two seams that part from each other.
func wedge() search.Task {
	t := task()
	t.Study = saw.Study{
		Name: "wedge with two seams", MassUg: 20_000_000, SGMilli: 2_950,
		Outline: points(0, 0, 40, -2, 40, 20, 0, 18),
		Profile: points(0, 0, 40, 0, 40, -11, 0, -5),
		Features: []saw.Feature{
			{Name: "upper seam", Kind: saw.Seam, View: saw.Section, Points: points(0.2, -1, 39.8, -1), ThicknessUm: 1_000, SGMilli: 2_100, Class: "plain"},
			{Name: "lower seam", Kind: saw.Seam, View: saw.Section, Points: points(0.2, -3.4, 39.8, -9), ThicknessUm: 1_000, SGMilli: 2_100, Class: "plain"},
		},
	}
	upper, lower := wants("plain", "", "upper seam", 2_200, 0), wants("middle", "", "lower seam", 2_200, 0)
	for i := range lower {
		lower[i].Pattern.View = saw.Back
		lower[i].Pattern.Surface = saw.Clean
	}
	t.Wants = append(upper, lower...)
	return t
}

func task() search.Task {
	return search.Task{
		Prices: saw.Prices{Currency: "AUD", Markets: []saw.Market{
			{Name: Settings, Prices: append(bands("plain", 1), append(bands("middle", 2), bands("top", 4)...)...)},
			{Name: Fancy, Prices: []saw.Price{
				{Class: "plain", Per: saw.PerFaceMm2, FromUm: 18 * mm, Minor: 260},
				{Class: "plain", Per: saw.PerFaceMm2, FromUm: 9 * mm, Minor: 110},
				{Class: "plain", Per: saw.PerFaceMm2, Minor: 50},
				{Class: "middle", Per: saw.PerFaceMm2, FromUm: 14 * mm, Minor: 400},
				{Class: "middle", Per: saw.PerFaceMm2, Minor: 200},
				{Class: "top", Per: saw.PerFaceMm2, FromUm: 12 * mm, Minor: 900},
				{Class: "top", Per: saw.PerFaceMm2, Minor: 450},
			}},
		}},
		Blade: saw.Blade{Name: "trim", KerfUm: 600, ReachUm: 60_000, WanderUm: 50},
		Settings: saw.Settings{
			CrackUm: 500, PotchUm: 300, BackingUm: 800, BevelUm: 400, BetweenUm: 1_000, GripUm: 3_000,
			Currency: "AUD", HourMinor: 4_500, LevyBp: 600, SellingMinor: 150,
		},
		SawMinutes: 8,
	}
}

// bands pay by the stone, for sizes that fit a setting.
func bands(class string, times int64) (out []saw.Price) {
	for _, b := range [][3]int64{{5, 7, 6_500}, {7, 9, 12_500}, {9, 11, 21_000}, {11, 13, 27_000}, {13, 40, 30_000}} {
		out = append(out, saw.Price{Class: class, Per: saw.PerStone, FromUm: b[0] * mm, ToUm: b[1] * mm, Minor: b[2] * times})
	}
	return out
}

func wants(class, zone, bar string, depth, dome int64) []search.Want {
	pattern := saw.Stone{DepthUm: depth, DomeUm: dome, View: saw.Face, Zone: zone, Bar: bar, Class: class, ChanceBp: 9_000, Minutes: 60}
	make := func(shape saw.Shape, market string, length, width int64) search.Want {
		s := pattern
		s.Shape, s.Market, s.LengthUm, s.WidthUm = shape, market, length, width
		return search.Want{Pattern: s}
	}
	oval, round := make(saw.Oval, Settings, 4, 3), make(saw.Round, Settings, 1, 1)
	oval.Sizes, round.Sizes = search.Calibrated(saw.Oval), search.Calibrated(saw.Round)
	free, long := make(saw.Oval, Fancy, 4, 3), make(saw.Freeform, Fancy, 16, 9)
	long.Pattern.Ring = points(0, 3.5, 3, 0.8, 8, 0, 13, 1, 16, 4.5, 14, 8, 8, 9, 2.5, 8)
	free.FromUm, long.FromUm = 5*mm, 5*mm
	return []search.Want{oval, round, free, long}
}

func zone(name, class string, at []saw.Point) saw.Feature {
	return saw.Feature{Name: name, Kind: saw.Colour, View: saw.Face, Closed: true, Class: class, Points: at}
}

func crack(name string, at []saw.Point) saw.Feature {
	return saw.Feature{Name: name, Kind: saw.Crack, View: saw.Face, Points: at}
}

func points(at ...float64) []saw.Point {
	out := make([]saw.Point, len(at)/2)
	for i := range out {
		out[i] = saw.Point{X: int64(math.Round(at[2*i] * mm)), Y: int64(math.Round(at[2*i+1] * mm))}
	}
	return out
}

func box(l, w float64) []saw.Point { return points(0, 0, l, 0, l, w, 0, w) }

// round is an oval outline with so many waves.
func round(a, b, wave, waves float64, n int) []saw.Point {
	at := make([]float64, 0, 2*n)
	for i := range n {
		turn := 2 * math.Pi * float64(i) / float64(n)
		sin, cos := math.Sincos(turn)
		f := 1 + wave*math.Sin(waves*turn)
		at = append(at, a*cos*f, b*sin*f)
	}
	return points(at...)
}

func area(r []saw.Point) float64 {
	sum := 0.0
	for i, p := range r {
		q := r[(i+1)%len(r)]
		sum += float64(p.X)*float64(q.Y) - float64(q.X)*float64(p.Y)
	}
	return math.Abs(sum) / 2 / mm / mm
}

// Random is a piece of random shape with a random zone, crack and rock, and some of the wants.
func Random(rng *search.Dice) search.Task {
	for {
		// What is drawn may stick out of a slim piece.
		t := random(rng)
		if _, err := saw.NewModel(t.Study); err == nil {
			return t
		}
	}
}

func random(rng *search.Dice) search.Task {
	n := 3 + rng.IntN(12)
	at := make([]float64, 0, 2*n)
	size, hollow := 6+14*rng.Float64(), rng.Float64()*0.6
	for i := range n {
		sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.4*rng.Float64()) / float64(n))
		r := size * (1 - hollow*rng.Float64())
		at = append(at, r*cos*1.3, r*sin)
	}
	t := slab("random", points(at...), 5+int64N(rng, 6))
	var features []saw.Feature
	small := func(x, y, r float64, n int) []saw.Point {
		at := make([]float64, 0, 2*n)
		for i := range n {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			at = append(at, x+r*cos, y+r*sin)
		}
		return points(at...)
	}
	// Within the greatest circle about the middle that the outline surely holds.
	inner := size * (1 - hollow) * 0.4
	if rng.IntN(2) == 0 {
		features = append(features, zone("zone", []string{"middle", "top"}[rng.IntN(2)], small(rng.Float64(), 0, inner*0.8, 3+rng.IntN(6))))
	}
	if rng.IntN(2) == 0 {
		features = append(features, crack("crack", points(-inner*rng.Float64(), -0.5, inner*rng.Float64(), inner*0.5)))
	}
	if rng.IntN(3) == 0 {
		features = append(features, saw.Feature{Name: "rock", Kind: saw.Rock, View: saw.Face, Closed: true, Points: small(0, -inner*0.4, inner*0.3, 4)})
	}
	t = with(t, features...)
	for len(t.Wants) > 1 && rng.IntN(3) > 0 {
		i := rng.IntN(len(t.Wants))
		t.Wants = append(t.Wants[:i:i], t.Wants[i+1:]...)
	}
	t.Settings.SellingMinor, t.SawMinutes = int64N(rng, 400), int64N(rng, 15)
	t.Settings.HourMinor = int64N(rng, 7_000)
	t.Blade.KerfUm, t.Blade.WanderUm = 300+int64N(rng, 600), int64N(rng, 100)
	t.Settings.CrackUm, t.Settings.PotchUm = int64N(rng, 900), int64N(rng, 900)
	return t
}

func int64N(rng *search.Dice, n int64) int64 { return int64(rng.IntN(int(n))) }
