package tablestest

import (
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/search"
	"seamshare.example/services/wire"
)

// study is a drawing of the recipes' piece: a slab with a bar of colour on potch and rock.
func study() saw.Study {
	return saw.Study{
		Name: "as it came", MassUg: benchUg, SGMilli: 2_600, ThicknessUm: benchSize().GetDepthUm(),
		Outline: []saw.Point{{X: 0, Y: 0}, {X: 30_000, Y: 0}, {X: 30_000, Y: 26_000}, {X: 0, Y: 26_000}},
		Layers: []saw.Layer{
			{Name: "bar", Kind: saw.Colour, ThicknessUm: 3_000, SGMilli: 2_100, Class: "top", Grade: "green, then blue"},
			{Name: "potch", Kind: saw.Potch, ThicknessUm: 3_000, SGMilli: 2_100},
		},
		Features: []saw.Feature{{
			Name: "zone", Kind: saw.Colour, View: saw.Face, Closed: true, Class: "top", Grade: "bright", DepthUm: 3_000,
			Points: []saw.Point{{X: 1_000, Y: 1_000}, {X: 29_000, Y: 1_000}, {X: 29_000, Y: 25_000}, {X: 1_000, Y: 25_000}},
		}},
	}
}

// cutPlan saws it in two: one half gives a stone, of the other a window tells.
func cutPlan() saw.Plan {
	stone := func(name string, chance int64) saw.Stone {
		return saw.Stone{
			Name: name, Shape: saw.Oval, LengthUm: 10_000, WidthUm: 8_000, DepthUm: 4_000, DomeUm: 1_500, View: saw.Face, Zone: "zone", Bar: "bar", Class: "top",
			Market: "singles", ChanceBp: chance, Minutes: 60, At: saw.Point{X: 23_000, Y: 13_000},
		}
	}
	second := stone("b", 6_000)
	second.At = saw.Point{X: 7_000, Y: 7_000}
	return saw.Plan{
		Name: "two halves", Part: "1", Blades: []saw.Blade{{Name: "trim", KerfUm: 600, ReachUm: 40_000}},
		Settings: saw.Settings{PotchUm: 300, BackingUm: 500, BevelUm: 200, BetweenUm: 1_000, GripUm: 4_000, Currency: "AUD", HourMinor: 4_000, LevyBp: 600},
		Steps: []saw.Step{
			{Part: "1", Minutes: 10, Note: "slowly", Do: saw.Saw{Blade: "trim", View: saw.Face, Line: saw.Line{A: saw.Point{X: 15_000}, B: saw.Point{X: 15_000, Y: 26_000}}, Left: []string{"1L"}, Right: []string{"1R"}}},
			{Part: "1R", Minutes: 5, Do: saw.Grind{View: saw.Back, ThicknessUm: 4_000, What: saw.Rock}},
			{Part: "1R", Minutes: 10, Do: saw.Trim{View: saw.Face, Keep: []saw.Kept{{Part: "1S", Stone: "a", AllowUm: 500}}}},
			{Part: "1L", Minutes: 5, Do: saw.Split{View: saw.Face, Line: saw.Line{A: saw.Point{X: 0, Y: 14_000}, B: saw.Point{X: 15_000, Y: 14_000}}, Left: []string{"1U"}, Right: []string{"1D"}}},
			{Part: "1D", Minutes: 10, Note: "by day", Do: saw.Look{Kind: saw.Window, View: saw.Face, OffUm: 100, Outcomes: []saw.Outcome{
				{Name: "it holds", ChanceBp: 7_000, Ends: []saw.End{{Part: "1D", Kind: saw.Stones, Stones: []saw.Stone{second}}}},
				{
					Name: "it dips", ChanceBp: 3_000,
					Features: []saw.Feature{{Name: "dip", Kind: saw.Crack, View: saw.Face, Points: []saw.Point{{X: 2_000, Y: 2_000}, {X: 12_000, Y: 12_000}}, Grade: "open"}},
					Ends:     []saw.End{{Part: "1D", Kind: saw.Shelf}},
				},
			}}},
		},
		Ends: []saw.End{
			{Part: "1S", Kind: saw.Stones, Stones: []saw.Stone{stone("a", 9_000)}},
			{Part: "1U", Kind: saw.OffCut, Class: "off-cut", Market: "craft"},
		},
	}
}

func prices() saw.Prices {
	return saw.Prices{Currency: "AUD", Markets: []saw.Market{
		{Name: "singles", Prices: []saw.Price{{Class: "top", Per: saw.PerCarat, Minor: 9_000}}},
		{Name: "craft", Prices: []saw.Price{{Class: "off-cut", Per: saw.PerGram, Minor: 100}}},
	}}
}

// MeasuredDraft is a plan that is measured on the drawing of DrawnPiece.
func MeasuredDraft() *typev1.PlanDraft {
	return &typev1.PlanDraft{Label: "two halves", Reason: "the bar runs through", Cut: wire.CutPlan(cutPlan()), Prices: wire.PriceList(prices())}
}

// StudyDrawn asks to study a piece of the cutter's with a drawing.
func StudyDrawn(w *World) *cutterv1.StudyPieceRequest {
	return &cutterv1.StudyPieceRequest{PieceId: inWork(w).piece, Seen: "a bar", Drawing: wire.Drawing(study())}
}

// DrawnPiece is a piece of the cutter's that was studied with a drawing.
func DrawnPiece(w *World) string { return drawn(w).piece }

// Suggest asks for plans of ovals for a piece of the cutter's.
func Suggest(w *World) *cutterv1.SuggestPlansRequest {
	plan := cutPlan()
	want := search.Want{Pattern: plan.Ends[0].Stones[0], Sizes: []search.Size{{LengthUm: 10_000, WidthUm: 8_000}}}
	return &cutterv1.SuggestPlansRequest{
		PieceId: drawn(w).piece, Prices: wire.PriceList(prices()), Blade: wire.Blade(plan.Blades[0]), Settings: wire.Settings(plan.Settings),
		Wants: []*typev1.StoneWanted{wire.WantedStone(want)}, Changes: 400,
	}
}

func drawn(w *World) bench {
	b := inWork(w)
	req := StudyDrawn(w)
	req.RequestId, req.PieceId = command.NewID(), b.piece
	_, err := w.Cutter.Cutter().StudyPiece(w.Ctx(), req)
	w.Must(err)
	return b
}

// MeasuredPlan is a plan of the cutter's that is measured on a drawing.
func MeasuredPlan(w *World) (pieceID, planID string) {
	b, err := makeMeasured(w, drawn(w))
	w.Must(err)
	return b.piece, b.plan
}

func makeMeasured(w *World, b bench) (bench, error) {
	got, err := b.who.Cutter().MakePlan(w.Ctx(), &cutterv1.MakePlanRequest{RequestId: command.NewID(), PieceId: b.piece, Plan: MeasuredDraft()})
	if err == nil {
		b.plan = got.GetPlan().GetId()
	}
	return b, err
}
