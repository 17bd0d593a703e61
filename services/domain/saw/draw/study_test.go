package draw_test

import (
	"crypto/sha256"

	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/draw"
)

var photograph = sha256.Sum256([]byte("a photo"))

// a grey picture of two by one pixels.
const pixels = "data:image/png;base64,iVBORw0KGgoAAAANSUhEUgAAAAIAAAABCAAAAADRSSBWAAAAC0lEQVR4nGNoaAAAAYQBASkUbh8AAAAASUVORK5CYII="

func photos(sum [32]byte) (draw.Photo, bool) {
	return draw.Photo{Href: pixels, Width: 2_000, Height: 1_000}, sum == photograph
}

// everything is an invented piece with all that can be drawn: each kind of feature, seen and supposed, each view, an
// oblique trace, a photo, and a plan with each kind of step, looks within looks and stones that don't fit.
func everything() (saw.Study, saw.Plan, saw.Prices) {
	p := func(xy ...int64) (out []saw.Point) {
		for i := 0; i < len(xy); i += 2 {
			out = append(out, saw.Point{X: xy[i] * 100, Y: xy[i+1] * 100})
		}
		return out
	}
	study := saw.Study{
		Name: "all <things> & \"more\"", MassUg: 21_000_000, SGMilli: 2_900,
		Outline: p(0, 0, 400, 0, 420, 120, 380, 260, 200, 280, 20, 250, -10, 100),
		Profile: p(-100, -40, 500, 0, 500, -110, -100, -120),
		Trace:   saw.Line{A: saw.Point{X: 0, Y: 10_000}, B: saw.Point{X: 40_000, Y: 14_000}},
		Features: []saw.Feature{
			{Name: "bar", Kind: saw.Colour, View: saw.Section, Closed: true, Points: p(-90, -45, 490, -5, 490, -25, -90, -65), SGMilli: 2_100, Class: "top"},
			{Name: "grey", Kind: saw.Potch, View: saw.Section, Closed: true, Points: p(-90, -66, 490, -26, 490, -40, -90, -80), SGMilli: 2_150, Supposed: true},
			{Name: "deep seam", Kind: saw.Seam, View: saw.Section, Points: p(0, -95, 200, -90, 400, -80), ThicknessUm: 800, SGMilli: 2_100, Class: "plain"},
			{Name: "zone", Kind: saw.Colour, View: saw.Face, Closed: true, Points: p(30, 40, 360, 30, 370, 200, 40, 220), DepthUm: 5_000, Class: "top"},
			{Name: "streak", Kind: saw.Potch, View: saw.Face, Closed: true, Points: p(180, 120, 220, 115, 225, 150, 185, 155), DepthUm: 3_000},
			{Name: "corner", Kind: saw.Rock, View: saw.Face, Closed: true, Points: p(330, 5, 395, 5, 400, 40), DepthUm: 3_000},
			{Name: "edge of the rock", Kind: saw.Rock, View: saw.Face, Points: p(5, 30, 100, 15, 300, 20), DepthUm: 2_000},
			{Name: "band", Kind: saw.Matrix, View: saw.Back, Closed: true, Points: p(-350, 50, -200, 40, -210, 100, -340, 110), DepthUm: 3_000, Supposed: true},
			{Name: "old crack", Kind: saw.Crack, View: saw.Face, Points: p(290, 10, 300, 120, 285, 260)},
			{Name: "thin crack", Kind: saw.Crack, View: saw.Section, Points: p(330, -15, 340, -60, 338, -100), Supposed: true},
		},
		Underlays: []saw.Underlay{{
			View: saw.Face, SHA256: photograph, PixelA: saw.Pixel{X: 200, Y: 800}, PixelB: saw.Pixel{X: 1_700, Y: 700},
			DistanceUm: 40_000, At: saw.Point{X: 1_000, Y: 1_000}, TurnMdeg: 5_000,
		}},
	}
	stone := saw.Stone{Shape: saw.Oval, LengthUm: 9_000, WidthUm: 6_000, DepthUm: 2_500, DomeUm: 800, View: saw.Face, Class: "top", Market: "any", ChanceBp: 8_000, Minutes: 60}
	at := func(name string, x, y, turn int64) saw.Stone {
		s := stone
		s.Name, s.At, s.TurnMdeg = name, saw.Point{X: x, Y: y}, turn
		return s
	}
	round := at("<b>back</b>", -10_000, 17_000, 0)
	round.Shape, round.LengthUm, round.WidthUm, round.View = saw.Round, 7_000, 7_000, saw.Back
	plan := saw.Plan{
		Name: "a bit of <everything>", Part: "W", Blades: []saw.Blade{{Name: "thin & sharp", KerfUm: 450, ReachUm: 30_000, WanderUm: 100}},
		Settings: saw.Settings{CrackUm: 500, PotchUm: 300, BetweenUm: 1_000, GripUm: 3_000, Currency: "AUD"},
		Steps: []saw.Step{
			{Part: "W", Minutes: 5, Do: saw.Grind{View: saw.Face, ThicknessUm: 400, What: saw.Rock}},
			{Part: "W", Minutes: 8, Do: saw.Split{View: saw.Section, Line: saw.Line{A: saw.Point{X: 0, Y: -9_000}, B: saw.Point{X: 40_000, Y: -7_000}}, Left: []string{"top"}, Right: []string{"under"}}},
			{Part: "top", Minutes: 9, Note: "slowly", Do: saw.Saw{Blade: "thin & sharp", View: saw.Face, Line: saw.Line{A: saw.Point{X: 28_000}, B: saw.Point{X: 22_000, Y: 28_000}}, Left: []string{"L"}, Right: []string{"R"}}},
			{Part: "under", Minutes: 9, Do: saw.Saw{Blade: "thin & sharp", View: saw.Back, Line: saw.Line{A: saw.Point{X: -21_000}, B: saw.Point{X: -20_000, Y: 28_000}}, Left: []string{"u1"}, Right: []string{"u2"}}},
			{Part: "L", Minutes: 12, Do: saw.Trim{View: saw.Face, Keep: []saw.Kept{{Part: "L1", Stone: "clear", AllowUm: 800}, {Part: "L2", Ring: p(20, 170, 160, 170, 160, 230, 30, 230)}}}},
			{Part: "R", Minutes: 10, Do: saw.Look{Kind: saw.Window, View: saw.Back, OffUm: 300, Outcomes: []saw.Outcome{
				{Name: "holds", ChanceBp: 6_500, Steps: []saw.Step{{Part: "R", Minutes: 3, Do: saw.Look{Kind: saw.Facing, Outcomes: []saw.Outcome{
					{Name: "clean", ChanceBp: 9_000, Ends: []saw.End{{Part: "R", Kind: saw.Stones, Stones: []saw.Stone{at("on the crack", 30_000, 15_000, 60_000)}}}},
					{Name: "sand & grit", ChanceBp: 1_000, Ends: []saw.End{{Part: "R", Kind: saw.Specimen}}},
				}}}}},
				{Name: "a crack opens", ChanceBp: 3_500, Features: []saw.Feature{{Name: "new crack", Kind: saw.Crack, View: saw.Face, Points: p(320, 60, 350, 200)}}, Ends: []saw.End{{Part: "R", Kind: saw.Waste}}},
			}}},
		},
		Ends: []saw.End{
			{Part: "L1", Kind: saw.Stones, Stones: []saw.Stone{at("clear", 10_000, 9_000, 20_000)}},
			{Part: "L2", Kind: saw.Stones, Stones: []saw.Stone{at("too near", 9_000, 19_000, 0), at("beyond", 16_000, 20_000, 45_000)}},
			{Part: "u1", Kind: saw.Stones, Stones: []saw.Stone{round}},
			{Part: "u2", Kind: saw.Waste},
		},
	}
	prices := saw.Prices{Currency: "AUD", Markets: []saw.Market{{Name: "any", Prices: []saw.Price{{Class: "top", Per: saw.PerStone, Minor: 10_000}}}}}
	return study, plan, prices
}
