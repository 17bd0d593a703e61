package example

import "seamshare.example/services/domain/saw"

// P1Piece5 has a thin bar that dips, and patches of bare rock in its face.
func P1Piece5() saw.Study {
	return saw.Study{
		Name: "P1-5", MassUg: 11_300_000, SGMilli: ironstone, ThicknessUm: 9_000,
		Outline: around(12_000, [2]int64{0, 1_200}, [2]int64{7_000, 24_000}, [2]int64{14_000, 14_450}, [2]int64{21_000, 14_450}, [2]int64{28_000, 9_600}, [2]int64{33_000, 800}),
		Layers:  []saw.Layer{{Name: "bar", Kind: saw.Colour, ThicknessUm: 600, SGMilli: opal, Class: "middle", Supposed: true}},
		Features: []saw.Feature{{
			Name: "patch", Kind: saw.Rock, View: saw.Face, Closed: true, DepthUm: 600,
			Points: []saw.Point{{X: 5_000, Y: 19_000}, {X: 8_500, Y: 18_800}, {X: 7_500, Y: 21_500}},
		}},
	}
}

// P1Piece5Plan faces the piece first. Flat, it gives one freeform; where the bar dips, two small stones with rock in
// the face.
func P1Piece5Plan() saw.Plan {
	return saw.Plan{
		Name: "face it, then decide", Part: "5", Blades: []saw.Blade{Trim()}, Settings: Settings(),
		Steps: []saw.Step{{Part: "5", Minutes: 20, Do: saw.Look{Kind: saw.Facing, View: saw.Face, OffUm: 20, Outcomes: []saw.Outcome{
			{
				Name: "flat", ChanceBp: 5_500,
				Ends: []saw.End{{Part: "5", Kind: saw.Stones, Stones: []saw.Stone{{
					Name: "one", Shape: saw.Freeform, LengthUm: 20_000, WidthUm: 12_000, DepthUm: 2_600, DomeUm: 300, View: saw.Face, At: saw.Point{X: 15_500, Y: 12_000},
					Ring: []saw.Point{{X: 0, Y: 6_000}, {X: 4_000, Y: 500}, {X: 12_000, Y: 0}, {X: 20_000, Y: 4_000}, {X: 20_000, Y: 8_500}, {X: 11_000, Y: 12_000}, {X: 3_000, Y: 11_500}},
					Bar:  "bar", Class: "middle", Market: "singles", ChanceBp: 8_500, Minutes: 90,
				}}}},
			},
			{
				Name: "dips", ChanceBp: 4_500,
				Features: []saw.Feature{bare(true)},
				Steps:    twoSteps(),
				Ends:     twoEnds(),
			},
		}}}},
	}
}

// bare is where the bar dips below the face.
func bare(supposed bool) saw.Feature {
	return saw.Feature{
		Name: "bare", Kind: saw.Rock, View: saw.Face, Closed: true, Supposed: supposed,
		Points: []saw.Point{{X: 13_000, Y: 8_000}, {X: 18_000, Y: 7_000}, {X: 19_000, Y: 14_000}, {X: 14_000, Y: 15_000}},
	}
}

func twoSteps() []saw.Step {
	return []saw.Step{
		{Part: "5", Minutes: 10, Do: saw.Saw{Blade: "trim", View: saw.Face, Line: upright(14_850), Left: []string{"5A"}, Right: []string{"5B"}}},
		{Part: "5A", Minutes: 10, Do: saw.Trim{View: saw.Face, Keep: []saw.Kept{{Part: "5A'", Stone: "9", AllowUm: 300}}}},
		{Part: "5B", Minutes: 10, Do: saw.Trim{View: saw.Face, Keep: []saw.Kept{{Part: "5B'", Stone: "10", AllowUm: 300}}}},
	}
}

func twoEnds() []saw.End {
	rocky := func(name string, at saw.Point, length, width, depth int64) saw.Stone {
		return saw.Stone{
			Name: name, Shape: saw.Freeform, LengthUm: length, WidthUm: width, DepthUm: depth, Ring: ring6, View: saw.Face, At: at,
			Bar: "bar", Surface: saw.RockInFace, Class: "plain", Market: "singles", ChanceBp: 9_000, Minutes: 50,
		}
	}
	return []saw.End{
		{Part: "5A'", Kind: saw.Stones, Stones: []saw.Stone{rocky("9", saw.Point{X: 7_600, Y: 12_000}, 13_000, 9_000, 2_600)}},
		{Part: "5B'", Kind: saw.Stones, Stones: []saw.Stone{rocky("10", saw.Point{X: 20_700, Y: 12_000}, 10_000, 8_000, 2_400)}},
	}
}

// P1Piece5Faced is the piece after the look: the bar dips, and rock shows in the middle of its face.
func P1Piece5Faced() saw.Study {
	s := P1Piece5()
	s.Features = append(s.Features, bare(false))
	return s
}

// P1Piece5Revised is the plan after the look.
func P1Piece5Revised() saw.Plan {
	return saw.Plan{Name: "two small stones with rock in the face", Part: "5", Blades: []saw.Blade{Trim()}, Settings: Settings(), Steps: twoSteps(), Ends: twoEnds()}
}
