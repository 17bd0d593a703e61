package saw_test

import (
	"fmt"

	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/saw"
)

// A block with a bar of colour is sawn in two; an oval comes out of one half.
func ExampleEvaluate() {
	study := saw.Study{
		Name: "block", MassUg: 17_000_000, SGMilli: 2_950, ThicknessUm: 10_000,
		Outline: []saw.Point{{}, {X: 30_000}, {X: 30_000, Y: 20_000}, {Y: 20_000}},
		Layers:  []saw.Layer{{Name: "bar", Kind: saw.Colour, ThicknessUm: 1_500, SGMilli: 2_100}},
	}
	plan := saw.Plan{
		Blades:   []saw.Blade{{Name: "trim", KerfUm: 600, ReachUm: 25_000}},
		Settings: saw.Settings{BackingUm: 1_000, BevelUm: 400, Currency: "AUD"},
		Steps: []saw.Step{{Part: saw.Whole, Minutes: 10, Do: saw.Saw{
			Blade: "trim", View: saw.Face, Line: saw.Line{A: saw.Point{X: 18_000}, B: saw.Point{X: 18_000, Y: 20_000}}, Left: []string{"A"}, Right: []string{"B"},
		}}},
		Ends: []saw.End{
			{Part: "A", Kind: saw.Stones, Stones: []saw.Stone{{
				Name: "one", Shape: saw.Oval, LengthUm: 14_000, WidthUm: 10_000, DepthUm: 3_000, DomeUm: 1_400, View: saw.Face,
				At: saw.Point{X: 9_000, Y: 10_000}, TurnMdeg: 30_000, Bar: "bar", Class: "top", Market: "singles", ChanceBp: 9_000, Minutes: 80,
			}}},
			{Part: "B", Kind: saw.Shelf},
		},
	}
	prices := saw.Prices{Currency: "AUD", Markets: []saw.Market{{Name: "singles", Prices: []saw.Price{{Class: "top", Per: saw.PerFaceMm2, Minor: 300}}}}}
	r, err := saw.Evaluate(study, plan, prices)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, p := range r.Trunk.Parts {
		fmt.Println(p.Name, measure.Mass(p.MassUg).Grams(2))
	}
	for _, l := range r.Trunk.Losses {
		fmt.Println(l.Reason, measure.Mass(l.MassUg).Grams(2))
	}
	stone := r.Trunk.Ends[0].Stones[0]
	fmt.Println(stone.Name, stone.Fits, measure.Mass(stone.MassUg).Carats(), stone.PriceMinor)
	// Output:
	// piece 17.00 g
	// A 10.03 g
	// B 6.63 g
	// kerf 0.34 g
	// ground off 0.214653 g
	// trimmed away 9.09895 g
	// one true 3.58 ct 32986
}
