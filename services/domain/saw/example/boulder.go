package example

import "seamshare.example/services/domain/saw"

// P1Piece1 is half of a boulder split along a flat seam: a bright zone, pale around it, thick rock behind.
func P1Piece1() saw.Study {
	return saw.Study{
		Name: "P1-1", MassUg: 34_200_000, SGMilli: ironstone, ThicknessUm: 13_855,
		Outline: around(15_500, [2]int64{0, 6_000}, [2]int64{6_000, 20_000}, [2]int64{13_000, 31_000}, [2]int64{19_000, 26_888}, [2]int64{28_000, 26_888}, [2]int64{38_000, 5_000}, [2]int64{46_000, 2_098}),
		Layers:  []saw.Layer{{Name: "bar", Kind: saw.Colour, ThicknessUm: 1_300, SGMilli: opal, Class: "top", Grade: "green and blue, broad flash"}},
		Features: []saw.Feature{{
			Name: "bright zone", Kind: saw.Colour, View: saw.Face, Closed: true, DepthUm: 1_300, Class: "top",
			Points: around(15_500, [2]int64{4_000, 11_000}, [2]int64{30_000, 14_000}, [2]int64{38_000, 2_000}),
		}},
	}
}

// P1Piece1Plan gives the left stone of a pair and a freeform beside it.
func P1Piece1Plan() saw.Plan {
	return saw.Plan{
		Name: "a pair's left and a freeform", Part: "1", Blades: []saw.Blade{Trim()}, Settings: Settings(),
		Steps: []saw.Step{
			{Part: "1", Minutes: 15, Note: "along the seam", Do: saw.Saw{Blade: "trim", View: saw.Section, Line: level(-4_317), Left: []string{"1A"}, Right: []string{"1B"}}},
			{Part: "1A", Minutes: 10, Do: saw.Saw{Blade: "trim", View: saw.Face, Line: upright(20_672), Left: []string{"1C"}, Right: []string{"1D"}}},
			{Part: "1C", Minutes: 15, Do: saw.Trim{View: saw.Face, Keep: []saw.Kept{
				{Part: "1C'", Stone: "1", AllowUm: 1_250},
				{Part: "off-cut", Ring: []saw.Point{{X: 7_000, Y: 21_500}, {X: 20_372, Y: 21_500}, {X: 20_372, Y: 28_900}, {X: 13_000, Y: 31_000}, {X: 7_000, Y: 26_200}}},
			}}},
			{Part: "1D", Minutes: 15, Do: saw.Trim{View: saw.Face, Keep: []saw.Kept{{Part: "1D'", Stone: "3", AllowUm: 1_500}}}},
		},
		Ends: []saw.End{
			{Part: "1B", Kind: saw.Waste},
			{Part: "1C'", Kind: saw.Stones, Stones: []saw.Stone{{
				Name: "1", Shape: saw.Oval, LengthUm: 12_000, WidthUm: 9_000, DepthUm: 3_000, DomeUm: 1_200, View: saw.Face, At: saw.Point{X: 12_000, Y: 15_500},
				Zone: "bright zone", Bar: "bar", Class: "top", Market: "pairs", ChanceBp: 9_000, Minutes: 90,
			}}},
			{Part: "1D'", Kind: saw.Stones, Stones: []saw.Stone{{
				Name: "3", Shape: saw.Freeform, LengthUm: 15_000, WidthUm: 8_000, DepthUm: 2_800, DomeUm: 900, View: saw.Face, At: saw.Point{X: 29_200, Y: 15_500},
				Ring: []saw.Point{{X: 0, Y: 3_000}, {X: 3_000, Y: 500}, {X: 8_000, Y: 0}, {X: 12_000, Y: 1_500}, {X: 15_000, Y: 4_000}, {X: 12_000, Y: 6_500}, {X: 7_000, Y: 8_000}, {X: 2_000, Y: 7_000}},
				Zone: "bright zone", Bar: "bar", Class: "top", Market: "singles", ChanceBp: 9_000, Minutes: 80,
			}}},
			{Part: "off-cut", Kind: saw.OffCut, Class: "off-cut", Market: "craft"},
		},
	}
}

// P1Piece2 is the other half, its face the mirror of the first's; rock shows at one corner.
func P1Piece2() saw.Study {
	const width = 44_000
	return saw.Study{
		Name: "P1-2", MassUg: 30_850_000, SGMilli: ironstone, ThicknessUm: 12_900,
		Outline: mirrored(around(15_000, [2]int64{0, 6_000}, [2]int64{6_000, 19_000}, [2]int64{12_000, 30_000}, [2]int64{18_000, 26_890}, [2]int64{27_000, 26_890}, [2]int64{37_000, 6_000}, [2]int64{44_000, 3_674}), width),
		Layers:  []saw.Layer{{Name: "bar", Kind: saw.Colour, ThicknessUm: 1_200, SGMilli: opal, Class: "top"}},
		Features: []saw.Feature{
			{
				Name: "bright zone", Kind: saw.Colour, View: saw.Face, Closed: true, DepthUm: 1_200, Class: "top",
				Points: mirrored(around(15_000, [2]int64{4_000, 11_000}, [2]int64{28_000, 13_000}, [2]int64{34_000, 4_000}), width),
			},
			{
				Name: "corner", Kind: saw.Rock, View: saw.Face, Closed: true, DepthUm: 1_200,
				Points: mirrored([]saw.Point{{X: 30_000, Y: 20_500}, {X: 33_000, Y: 20_500}, {X: 30_000, Y: 24_000}}, width),
			},
		},
	}
}

// P1Piece2Plan gives the right stone of the pair and a round.
func P1Piece2Plan() saw.Plan {
	return saw.Plan{
		Name: "a pair's right and a round", Part: "2", Blades: []saw.Blade{Trim()}, Settings: Settings(),
		Steps: []saw.Step{
			{Part: "2", Minutes: 15, Note: "along the seam", Do: saw.Saw{Blade: "trim", View: saw.Section, Line: level(-4_316), Left: []string{"2A"}, Right: []string{"2B"}}},
			{Part: "2A", Minutes: 10, Do: saw.Saw{Blade: "trim", View: saw.Face, Line: upright(44_000 - 19_487), Left: []string{"2D"}, Right: []string{"2C"}}},
			{Part: "2C", Minutes: 15, Do: saw.Trim{View: saw.Face, Keep: []saw.Kept{{Part: "2C'", Stone: "2", AllowUm: 1_200}}}},
			{Part: "2D", Minutes: 15, Do: saw.Trim{View: saw.Face, Keep: []saw.Kept{
				{Part: "2D'", Stone: "4", AllowUm: 1_200},
				{Part: "off-cut", Ring: []saw.Point{{X: 12_000, Y: 2_000}, {X: 24_000, Y: 2_000}, {X: 24_000, Y: 9_000}, {X: 12_000, Y: 9_000}}},
			}}},
		},
		Ends: []saw.End{
			{Part: "2B", Kind: saw.Waste},
			{Part: "2C'", Kind: saw.Stones, Stones: []saw.Stone{{
				Name: "2", Shape: saw.Oval, LengthUm: 12_000, WidthUm: 9_000, DepthUm: 3_000, DomeUm: 1_200, View: saw.Face, At: saw.Point{X: 44_000 - 12_000, Y: 15_000},
				Zone: "bright zone", Bar: "bar", Class: "top", Market: "pairs", ChanceBp: 9_000, Minutes: 90,
			}}},
			{Part: "2D'", Kind: saw.Stones, Stones: []saw.Stone{{
				Name: "4", Shape: saw.Round, LengthUm: 7_000, WidthUm: 7_000, DepthUm: 2_600, DomeUm: 1_200, View: saw.Face, At: saw.Point{X: 44_000 - 26_000, Y: 15_000},
				Zone: "bright zone", Bar: "bar", Class: "middle", Market: "singles", ChanceBp: 9_500, Minutes: 60,
			}}},
			{Part: "off-cut", Kind: saw.OffCut, Class: "off-cut", Market: "craft"},
		},
	}
}
