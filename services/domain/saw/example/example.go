// Package example holds studies and plans of the demo's pieces: what the tests of cut plans reckon with, and what the
// demo's plan files are written from. All of it is invented. Outlines are drawn so that masses and sawn areas come out
// as the demo's; prices are the cutter's estimates.
package example

import "seamshare.example/services/domain/saw"

// Case is a study with plans for it.
type Case struct {
	Study saw.Study
	Plans []saw.Plan
}

// Demo are the cases that have plans, by the pieces' names.
func Demo() map[string]Case {
	return map[string]Case{
		"P1-1": {P1Piece1(), []saw.Plan{P1Piece1Plan()}},
		"P1-2": {P1Piece2(), []saw.Plan{P1Piece2Plan()}},
		"P1-3": {P1Piece3(), []saw.Plan{P1Piece3Both(), P1Piece3One()}},
		"P1-5": {P1Piece5(), []saw.Plan{P1Piece5Plan()}},
		// The same after it was faced.
		"P1-5 faced": {P1Piece5Faced(), []saw.Plan{P1Piece5Revised()}},
		"P3-1":       {P3Piece1(), []saw.Plan{P3Piece1Plan()}},
	}
}

// Densities that the demo reckons with, in thousandths.
const (
	opal          = 2_100
	ironstone     = 2_950
	denseRock     = 3_000
	boulderMatrix = 2_650
)

// Trim is the demo's blade.
func Trim() saw.Blade { return saw.Blade{Name: "trim", KerfUm: 600, ReachUm: 40_000} }

// Settings are the demo's: estimates before levy and work, as in the scenario.
func Settings() saw.Settings {
	return saw.Settings{
		CrackUm: 500, PotchUm: 300, BackingUm: 1_000, BevelUm: 400, BetweenUm: 1_000, GripUm: 4_000,
		Currency: "AUD",
	}
}

// Prices are estimates for what the demo's pieces give.
func Prices() saw.Prices {
	each := func(class string, minor int64) saw.Price {
		return saw.Price{Class: class, Per: saw.PerStone, Minor: minor}
	}
	return saw.Prices{Currency: "AUD", Markets: []saw.Market{
		{Name: "pairs", Prices: []saw.Price{each("top", 74_000)}},
		{Name: "singles", Prices: []saw.Price{
			{Class: "top", Per: saw.PerFaceMm2, FromUm: 12_000, ToUm: 16_000, Minor: 450},
			each("rolling flash", 115_000), each("flash", 64_000), each("small flash", 12_000), each("half a seam", 30_000), each("one seam", 135_000),
			{Class: "middle", Per: saw.PerFaceMm2, Minor: 247},
			{Class: "plain", Per: saw.PerFaceMm2, Minor: 50},
		}},
		{Name: "suites", Prices: []saw.Price{each("centre", 22_000), each("side", 15_000), each("small side", 11_000)}},
		{Name: "craft", Prices: []saw.Price{{Class: "off-cut", Per: saw.PerGram, Minor: 200}}},
	}}
}

// around are the corners of an outline that is symmetrical about y = middle: its widths at growing x.
func around(middle int64, widths ...[2]int64) []saw.Point {
	n := len(widths)
	out := make([]saw.Point, 2*n)
	for i, w := range widths {
		out[i] = saw.Point{X: w[0], Y: middle - w[1]/2}
		out[2*n-1-i] = saw.Point{X: w[0], Y: middle + w[1]/2}
	}
	return out
}

// upright is the line x = at, with growing x on its right.
func upright(at int64) saw.Line { return saw.Line{A: saw.Point{X: at}, B: saw.Point{X: at, Y: 1_000}} }

// level is the line y (or z) = at, with lower ones on its right.
func level(at int64) saw.Line { return saw.Line{A: saw.Point{Y: at}, B: saw.Point{X: 1_000, Y: at}} }

func mirrored(points []saw.Point, width int64) []saw.Point {
	out := make([]saw.Point, len(points))
	for i, p := range points {
		out[i] = saw.Point{X: width - p.X, Y: p.Y}
	}
	return out
}
