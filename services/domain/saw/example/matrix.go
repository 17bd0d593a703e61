package example

import "seamshare.example/services/domain/saw"

// P3Piece1 is even matrix: one slab of it gives a graduated suite of three, the rest goes back to the shelf.
func P3Piece1() saw.Study {
	return saw.Study{
		Name: "P3-1", MassUg: 39_700_000, SGMilli: boulderMatrix, ThicknessUm: 18_006,
		Outline: around(16_500, [2]int64{0, 5_000}, [2]int64{6_000, 21_200}, [2]int64{9_000, 33_000}, [2]int64{12_000, 26_400}, [2]int64{24_000, 26_400}, [2]int64{30_000, 17_000}, [2]int64{38_000, 8_200}, [2]int64{45_000, 1_900}),
	}
}

// P3Piece1Plan gives the suite.
func P3Piece1Plan() saw.Plan {
	oval := func(name, class string, length, width, depth int64, at saw.Point, turn int64) saw.Stone {
		return saw.Stone{
			Name: name, Shape: saw.Oval, LengthUm: length, WidthUm: width, DepthUm: depth, DomeUm: 1_600, View: saw.Face, At: at, TurnMdeg: turn,
			Class: class, Market: "suites", ChanceBp: 9_500, Minutes: 60,
		}
	}
	return saw.Plan{
		Name: "a suite of one slab", Part: "1", Blades: []saw.Blade{Trim()}, Settings: Settings(),
		Steps: []saw.Step{
			{Part: "1", Minutes: 20, Note: "along the layers", Do: saw.Saw{Blade: "trim", View: saw.Section, Line: level(-5_298), Left: []string{"1A"}, Right: []string{"1B"}}},
			{Part: "1A", Minutes: 10, Do: saw.Saw{Blade: "trim", View: saw.Face, Line: upright(20_300), Left: []string{"1C"}, Right: []string{"1D"}}},
			{Part: "1C", Minutes: 10, Do: saw.Saw{Blade: "trim", View: saw.Face, Line: level(16_000), Left: []string{"1E"}, Right: []string{"1F"}}},
			trim("1E", "1E'", "18", 600), trim("1F", "1F'", "19", 600), trim("1D", "1D'", "20", 600),
		},
		Ends: []saw.End{
			{Part: "1B", Kind: saw.Shelf},
			{Part: "1E'", Kind: saw.Stones, Stones: []saw.Stone{oval("18", "centre", 14_000, 10_000, 3_600, saw.Point{X: 12_000, Y: 22_500}, 0)}},
			{Part: "1F'", Kind: saw.Stones, Stones: []saw.Stone{oval("19", "side", 12_000, 9_000, 3_400, saw.Point{X: 12_500, Y: 9_800}, 0)}},
			{Part: "1D'", Kind: saw.Stones, Stones: []saw.Stone{oval("20", "small side", 10_000, 8_000, 3_200, saw.Point{X: 27_000, Y: 16_500}, 0)}},
		},
	}
}

// trim trims a part to a stone.
func trim(from, to, stone string, allowUm int64) saw.Step {
	return saw.Step{Part: from, Minutes: 15, Do: saw.Trim{View: saw.Face, Keep: []saw.Kept{{Part: to, Stone: stone, AllowUm: allowUm}}}}
}
