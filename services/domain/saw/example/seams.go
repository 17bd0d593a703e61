package example

import "seamshare.example/services/domain/saw"

// P1Piece3 has two seams that meet at 14°, colour on both outer faces and rock between. The closed end lies 4 mm from
// where they would meet, which is x = 0, the open end 38 mm. A seam's inner side is 7° from the line between them.
func P1Piece3() saw.Study {
	const between = -5_774 // z of the line between the seams
	return saw.Study{
		Name: "P1-3", MassUg: 12_060_000, SGMilli: denseRock,
		Outline: around(11_000, [2]int64{0, 2_600}, [2]int64{4_000, 9_000}, [2]int64{8_000, 16_000}, [2]int64{12_500, 19_864}, [2]int64{16_000, 16_400}, [2]int64{24_000, 15_400}, [2]int64{33_000, 22_000}, [2]int64{38_000, 12_400}),
		Profile: []saw.Point{
			{X: 0, Y: between - 1_200},
			{X: 4_000, Y: between - 1_599},
			{X: 38_000, Y: 2 * between},
			{X: 38_000, Y: 0},
			{X: 4_000, Y: between + 1_599},
			{X: 0, Y: between + 1_200},
		},
		Features: []saw.Feature{
			seam("upper seam", saw.Point{X: 4_000, Y: between + 1_045}, saw.Point{X: 38_000, Y: between + 5_220}),
			seam("lower seam", saw.Point{X: 4_000, Y: between - 1_045}, saw.Point{X: 38_000, Y: between - 5_220}),
		},
	}
}

func seam(name string, from, to saw.Point) saw.Feature {
	return saw.Feature{Name: name, Kind: saw.Seam, View: saw.Section, Points: []saw.Point{from, to}, ThicknessUm: 1_100, SGMilli: opal, Class: "top", Grade: "orange and green, rolling flash"}
}

// apart is a piece with both seams, cut where both stones can be had from: 12.5 mm.
func apart(then ...saw.Outcome) saw.Plan {
	return saw.Plan{
		Part: "3", Blades: []saw.Blade{Trim()}, Settings: Settings(),
		Steps: []saw.Step{
			{Part: "3", Minutes: 10, Do: saw.Saw{Blade: "trim", View: saw.Face, Line: upright(12_500), Left: []string{"3A"}, Right: []string{"3B"}}},
			{Part: "3B", Minutes: 5, Do: saw.Look{Kind: saw.TrialCut, Outcomes: then}},
			trim("3A", "3A'", "7", 600),
		},
		Ends: []saw.End{
			{Part: "3A'", Kind: saw.Stones, Stones: []saw.Stone{{
				Name: "7", Shape: saw.Oval, LengthUm: 7_000, WidthUm: 5_000, DepthUm: 2_200, DomeUm: 900, View: saw.Face, At: saw.Point{X: 8_200, Y: 11_000},
				Bar: "upper seam", Class: "small flash", Market: "singles", ChanceBp: 10_000, Minutes: 60,
			}}},
		},
	}
}

// ring5 is the freeform of stone 5, ring6 that of stone 6.
var (
	ring5 = []saw.Point{{X: 0, Y: 4_000}, {X: 4_000, Y: 500}, {X: 10_000, Y: 0}, {X: 17_000, Y: 1_000}, {X: 19_000, Y: 5_500}, {X: 15_500, Y: 10_500}, {X: 6_000, Y: 11_000}, {X: 1_000, Y: 8_000}}
	ring6 = []saw.Point{{X: 0, Y: 5_000}, {X: 2_500, Y: 500}, {X: 9_000, Y: 0}, {X: 14_000, Y: 3_500}, {X: 11_500, Y: 8_500}, {X: 3_000, Y: 9_000}}
)

// P1Piece3Both has a stone of each seam on the open part, if the rock between them holds.
func P1Piece3Both() saw.Plan {
	p := apart(
		saw.Outcome{
			Name: "holds", ChanceBp: 7_000,
			Steps: []saw.Step{
				{Part: "3B", Minutes: 20, Note: "between the seams", Do: saw.Saw{Blade: "trim", View: saw.Section, Line: level(-5_774), Left: []string{"3C"}, Right: []string{"3D"}}},
				trim("3C", "3C'", "5", 400), trim("3D", "3D'", "6", 400),
			},
			Ends: []saw.End{
				{Part: "3C'", Kind: saw.Stones, Stones: []saw.Stone{{
					Name: "5", Shape: saw.Freeform, LengthUm: 19_000, WidthUm: 11_000, DepthUm: 2_300, Ring: ring5, View: saw.Face, At: saw.Point{X: 25_000, Y: 11_000},
					Bar: "upper seam", Class: "rolling flash", Market: "singles", ChanceBp: 10_000, Minutes: 100,
				}}},
				{Part: "3D'", Kind: saw.Stones, Stones: []saw.Stone{{
					Name: "6", Shape: saw.Freeform, LengthUm: 14_000, WidthUm: 9_000, DepthUm: 2_300, Ring: ring6, View: saw.Back, At: saw.Point{X: -26_000, Y: 11_000},
					Bar: "lower seam", Class: "flash", Market: "singles", ChanceBp: 10_000, Minutes: 90,
				}}},
			},
		},
		saw.Outcome{
			Name: "breaks", ChanceBp: 3_000,
			Ends: []saw.End{{Part: "3B", Kind: saw.Stones, Stones: []saw.Stone{{
				Name: "half", Shape: saw.Oval, LengthUm: 10_000, WidthUm: 8_000, DepthUm: 2_300, View: saw.Face, At: saw.Point{X: 28_000, Y: 11_000},
				Bar: "upper seam", Class: "half a seam", Market: "singles", ChanceBp: 10_000, Minutes: 60,
			}}}},
		},
	)
	p.Name = "both seams on the open part"
	return p
}

// P1Piece3One keeps to the upper seam, with all of the rock as its backing.
func P1Piece3One() saw.Plan {
	return saw.Plan{
		Name: "the upper seam only", Part: "3", Blades: []saw.Blade{Trim()}, Settings: Settings(),
		Ends: []saw.End{{Part: "3", Kind: saw.Stones, Stones: []saw.Stone{{
			Name: "5", Shape: saw.Freeform, LengthUm: 24_000, WidthUm: 12_000, DepthUm: 2_600, Ring: ring5, View: saw.Face, At: saw.Point{X: 23_000, Y: 11_000},
			Bar: "upper seam", Class: "one seam", Market: "singles", ChanceBp: 10_000, Minutes: 110,
		}}}},
	}
}
