package wire_test

import (
	"reflect"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/example"
	"seamshare.example/services/domain/saw/search"
	"seamshare.example/services/wire"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// The generators draw what can be written, not only what makes sense.
var (
	length = rapid.Int64Range(0, saw.MaxLengthUm)
	name   = rapid.StringMatching(`[a-z0-9 ]{0,8}`)
	point  = rapid.Custom(func(t *rapid.T) saw.Point {
		at := rapid.Int64Range(-saw.MaxLengthUm, saw.MaxLengthUm)
		return saw.Point{X: at.Draw(t, "x"), Y: at.Draw(t, "y")}
	})
	line   = rapid.Custom(func(t *rapid.T) saw.Line { return saw.Line{A: point.Draw(t, "a"), B: point.Draw(t, "b")} })
	points = some(point)
	names  = some(name)
)

// some draws a list; none is nil.
func some[A any](one *rapid.Generator[A]) *rapid.Generator[[]A] {
	return rapid.Custom(func(t *rapid.T) []A {
		if list := rapid.SliceOfN(one, 0, 3).Draw(t, "list"); len(list) > 0 {
			return list
		}
		return nil
	})
}

func word[W ~string](t *rapid.T, words []W) W { return rapid.SampledFrom(words).Draw(t, "word") }

// What package saw knows, and none.
var (
	views    = []saw.View{"", saw.Face, saw.Back, saw.Section}
	kinds    = []saw.Kind{"", saw.Colour, saw.Potch, saw.Rock, saw.Crack, saw.Matrix, saw.Seam}
	looks    = []saw.LookKind{"", saw.Facing, saw.Window, saw.TrialCut}
	ends     = []saw.EndKind{"", saw.Stones, saw.OffCut, saw.Shelf, saw.Specimen, saw.Slice, saw.Waste}
	shapes   = []saw.Shape{"", saw.Oval, saw.Round, saw.Pear, saw.Marquise, saw.Cushion, saw.Rectangle, saw.Triangle, saw.Freeform}
	surfaces = []saw.Surface{saw.Clean, saw.RockInFace, saw.PotchInFace, saw.Hollow}
	pers     = []saw.Per{"", saw.PerFaceMm2, saw.PerCarat, saw.PerStone, saw.PerGram}
)

// TestWords: enums say what package saw says.
func TestWords(t *testing.T) {
	for want, got := range map[string]interface{ String() string }{
		"VIEW_FACE": typev1.View(piece.Views.Number(saw.Face)), "VIEW_BACK": typev1.View(piece.Views.Number(saw.Back)), "VIEW_SECTION": typev1.View(piece.Views.Number(saw.Section)),
		"FEATURE_KIND_COLOUR": typev1.FeatureKind(piece.Kinds.Number(saw.Colour)), "FEATURE_KIND_POTCH": typev1.FeatureKind(piece.Kinds.Number(saw.Potch)),
		"FEATURE_KIND_ROCK": typev1.FeatureKind(piece.Kinds.Number(saw.Rock)), "FEATURE_KIND_CRACK": typev1.FeatureKind(piece.Kinds.Number(saw.Crack)),
		"FEATURE_KIND_MATRIX": typev1.FeatureKind(piece.Kinds.Number(saw.Matrix)), "FEATURE_KIND_SEAM": typev1.FeatureKind(piece.Kinds.Number(saw.Seam)),
		"LOOK_KIND_FACE": typev1.LookKind(piece.Looks.Number(saw.Facing)), "LOOK_KIND_WINDOW": typev1.LookKind(piece.Looks.Number(saw.Window)),
		"LOOK_KIND_TRIAL_CUT": typev1.LookKind(piece.Looks.Number(saw.TrialCut)),
		"END_KIND_STONES":     typev1.EndKind(piece.Ends.Number(saw.Stones)), "END_KIND_OFF_CUT": typev1.EndKind(piece.Ends.Number(saw.OffCut)),
		"END_KIND_SHELF": typev1.EndKind(piece.Ends.Number(saw.Shelf)), "END_KIND_SPECIMEN": typev1.EndKind(piece.Ends.Number(saw.Specimen)),
		"END_KIND_SLICE": typev1.EndKind(piece.Ends.Number(saw.Slice)), "END_KIND_WASTE": typev1.EndKind(piece.Ends.Number(saw.Waste)),
		"OUTLINE_OVAL": typev1.Outline(piece.Shapes.Number(saw.Oval)), "OUTLINE_ROUND": typev1.Outline(piece.Shapes.Number(saw.Round)),
		"OUTLINE_PEAR": typev1.Outline(piece.Shapes.Number(saw.Pear)), "OUTLINE_MARQUISE": typev1.Outline(piece.Shapes.Number(saw.Marquise)),
		"OUTLINE_CUSHION": typev1.Outline(piece.Shapes.Number(saw.Cushion)), "OUTLINE_RECTANGLE": typev1.Outline(piece.Shapes.Number(saw.Rectangle)),
		"OUTLINE_TRIANGLE": typev1.Outline(piece.Shapes.Number(saw.Triangle)), "OUTLINE_FREEFORM": typev1.Outline(piece.Shapes.Number(saw.Freeform)),
		"SURFACE_CLEAN": typev1.Surface(piece.Surfaces.Number(saw.Clean)), "SURFACE_ROCK_IN_FACE": typev1.Surface(piece.Surfaces.Number(saw.RockInFace)),
		"SURFACE_POTCH_IN_FACE": typev1.Surface(piece.Surfaces.Number(saw.PotchInFace)), "SURFACE_HOLLOW": typev1.Surface(piece.Surfaces.Number(saw.Hollow)),
		"PRICED_BY_FACE_MM2": typev1.PricedBy(piece.Pers.Number(saw.PerFaceMm2)), "PRICED_BY_CARAT": typev1.PricedBy(piece.Pers.Number(saw.PerCarat)),
		"PRICED_BY_STONE": typev1.PricedBy(piece.Pers.Number(saw.PerStone)), "PRICED_BY_GRAM": typev1.PricedBy(piece.Pers.Number(saw.PerGram)),
	} {
		if got.String() != want {
			t.Errorf("%s is shown as %s", want, got)
		}
	}
}

var feature = rapid.Custom(func(t *rapid.T) saw.Feature {
	return saw.Feature{
		Name: name.Draw(t, "name"), Kind: word(t, kinds), View: word(t, views), Supposed: rapid.Bool().Draw(t, "supposed"), Points: points.Draw(t, "points"),
		Closed: rapid.Bool().Draw(t, "closed"), ThicknessUm: length.Draw(t, "thickness"), DepthUm: length.Draw(t, "depth"), SGMilli: length.Draw(t, "sg"),
		Class: name.Draw(t, "class"), Grade: name.Draw(t, "grade"),
	}
})

var study = rapid.Custom(func(t *rapid.T) saw.Study {
	pixel := rapid.Custom(func(t *rapid.T) saw.Pixel { return saw.Pixel{X: length.Draw(t, "x"), Y: length.Draw(t, "y")} })
	layer := rapid.Custom(func(t *rapid.T) saw.Layer {
		return saw.Layer{
			Name: name.Draw(t, "name"), Kind: word(t, kinds), ThicknessUm: length.Draw(t, "thickness"), SGMilli: length.Draw(t, "sg"), Class: name.Draw(t, "class"),
			Grade: name.Draw(t, "grade"), Supposed: rapid.Bool().Draw(t, "supposed"),
		}
	})
	underlay := rapid.Custom(func(t *rapid.T) saw.Underlay {
		u := saw.Underlay{
			View: word(t, views), PixelA: pixel.Draw(t, "a"), PixelB: pixel.Draw(t, "b"), DistanceUm: length.Draw(t, "distance"), At: point.Draw(t, "at"),
			TurnMdeg: rapid.Int64Range(-360_000, 360_000).Draw(t, "turn"),
		}
		copy(u.SHA256[:], rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(t, "sum"))
		return u
	})
	return saw.Study{
		Name: name.Draw(t, "name"), MassUg: length.Draw(t, "mass"), SGMilli: length.Draw(t, "sg"), Outline: points.Draw(t, "outline"), ThicknessUm: length.Draw(t, "thickness"),
		Layers: some(layer).Draw(t, "layers"), Profile: points.Draw(t, "profile"), Trace: line.Draw(t, "trace"), Features: some(feature).Draw(t, "features"),
		Underlays: some(underlay).Draw(t, "underlays"),
	}
})

var end = rapid.Custom(func(t *rapid.T) saw.End {
	return saw.End{Part: name.Draw(t, "part"), Kind: word(t, ends), Stones: some(planned).Draw(t, "stones"), Class: name.Draw(t, "class"), Market: name.Draw(t, "market")}
})

var planned = rapid.Custom(func(t *rapid.T) saw.Stone {
	return saw.Stone{
		Name: name.Draw(t, "name"), Shape: word(t, shapes), Ring: points.Draw(t, "ring"), LengthUm: length.Draw(t, "length"), WidthUm: length.Draw(t, "width"),
		DepthUm: length.Draw(t, "depth"), DomeUm: length.Draw(t, "dome"), SGMilli: length.Draw(t, "sg"), View: word(t, views), At: point.Draw(t, "at"),
		TurnMdeg: -length.Draw(t, "turn"), Zone: name.Draw(t, "zone"), Bar: name.Draw(t, "bar"), TiltMdeg: -length.Draw(t, "tilt"), Surface: word(t, surfaces),
		Class: name.Draw(t, "class"), Market: name.Draw(t, "market"), ChanceBp: length.Draw(t, "chance"), Minutes: length.Draw(t, "minutes"),
	}
})

// step draws one with looks nested so many times.
func step(nested int) *rapid.Generator[saw.Step] {
	return rapid.Custom(func(t *rapid.T) saw.Step {
		s := saw.Step{Part: name.Draw(t, "part"), Minutes: length.Draw(t, "minutes"), Note: name.Draw(t, "note")}
		switch rapid.IntRange(0, 3+min(nested, 1)).Draw(t, "work") {
		case 0:
			s.Do = saw.Saw{Blade: name.Draw(t, "blade"), View: word(t, views), Line: line.Draw(t, "line"), Left: names.Draw(t, "left"), Right: names.Draw(t, "right")}
		case 1:
			s.Do = saw.Split{View: word(t, views), Line: line.Draw(t, "line"), Left: names.Draw(t, "left"), Right: names.Draw(t, "right")}
		case 2:
			kept := rapid.Custom(func(t *rapid.T) saw.Kept {
				return saw.Kept{Part: name.Draw(t, "part"), Ring: points.Draw(t, "ring"), Stone: name.Draw(t, "stone"), AllowUm: length.Draw(t, "allow")}
			})
			s.Do = saw.Trim{View: word(t, views), Keep: some(kept).Draw(t, "keep")}
		case 3:
			s.Do = saw.Grind{View: word(t, views), ThicknessUm: length.Draw(t, "thickness"), What: word(t, kinds)}
		default:
			outcome := rapid.Custom(func(t *rapid.T) saw.Outcome {
				return saw.Outcome{
					Name: name.Draw(t, "name"), ChanceBp: length.Draw(t, "chance"), Features: some(feature).Draw(t, "features"),
					Steps: some(step(nested-1)).Draw(t, "steps"), Ends: some(end).Draw(t, "ends"),
				}
			})
			s.Do = saw.Look{Kind: word(t, looks), View: word(t, views), OffUm: length.Draw(t, "off"), Outcomes: some(outcome).Draw(t, "outcomes")}
		}
		return s
	})
}

var plan = rapid.Custom(func(t *rapid.T) saw.Plan {
	blade := rapid.Custom(func(t *rapid.T) saw.Blade {
		return saw.Blade{Name: name.Draw(t, "name"), KerfUm: length.Draw(t, "kerf"), ReachUm: length.Draw(t, "reach"), WanderUm: length.Draw(t, "wander")}
	})
	return saw.Plan{
		Name: name.Draw(t, "name"), Part: name.Draw(t, "part"), Blades: some(blade).Draw(t, "blades"), Steps: some(step(2)).Draw(t, "steps"), Ends: some(end).Draw(t, "ends"),
		Settings: saw.Settings{
			CrackUm: length.Draw(t, "crack"), PotchUm: length.Draw(t, "potch"), BackingUm: length.Draw(t, "backing"), BevelUm: length.Draw(t, "bevel"),
			BetweenUm: length.Draw(t, "between"), GripUm: length.Draw(t, "grip"), Currency: currency(t), HourMinor: length.Draw(t, "hour"), LevyBp: length.Draw(t, "levy"),
			SellingMinor: length.Draw(t, "selling"),
		},
	}
})

var prices = rapid.Custom(func(t *rapid.T) saw.Prices {
	price := rapid.Custom(func(t *rapid.T) saw.Price {
		return saw.Price{Class: name.Draw(t, "class"), Per: word(t, pers), FromUm: length.Draw(t, "from"), ToUm: length.Draw(t, "to"), Minor: rapid.Int64Range(0, 1e12).Draw(t, "minor")}
	})
	market := rapid.Custom(func(t *rapid.T) saw.Market {
		return saw.Market{Name: name.Draw(t, "name"), Prices: some(price).Draw(t, "prices")}
	})
	return saw.Prices{Currency: currency(t), Markets: some(market).Draw(t, "markets")}
})

func currency(t *rapid.T) string {
	return rapid.SampledFrom([]string{"AUD", "JPY", "KWD"}).Draw(t, "currency")
}

// same compares by value: no list is the same as none.
func same(t rapid.TB, what string, got, want any) {
	t.Helper()
	if !reflect.DeepEqual(got, want) {
		t.Fatalf("%s came back as\n%+v\nit was\n%+v", what, got, want)
	}
}

// sent is what comes out at the other end of a wire.
func sent[M proto.Message](t rapid.TB, m M, into M) M {
	data, err := proto.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	if err := proto.Unmarshal(data, into); err != nil {
		t.Fatal(err)
	}
	return into
}

// TestDrawn: drawings, cut plans and prices come back as they went, over the API and out of the log.
func TestDrawn(t *testing.T) {
	t.Run("OK: a drawing", rapid.MakeCheck(func(t *rapid.T) {
		want := study.Draw(t, "study")
		same(t, "shown", wire.ReadDrawing(sent(t, wire.Drawing(want), &typev1.Drawing{})), want)
		same(t, "stored", piece.Drawing(sent(t, piece.StoreDrawing(want), &piecev1.Drawing{})), want)
	}))
	t.Run("OK: a cut plan", rapid.MakeCheck(func(t *rapid.T) {
		want := plan.Draw(t, "plan")
		var broken rule.All
		same(t, "shown", wire.ReadCutPlan(&broken, "cut", sent(t, wire.CutPlan(want), &typev1.CutPlan{})), want)
		same(t, "noted", broken.Err(), nil)
		same(t, "stored", piece.Cut(sent(t, piece.StoreCut(want), &piecev1.CutPlan{})), want)
	}))
	t.Run("OK: prices", rapid.MakeCheck(func(t *rapid.T) {
		want := prices.Draw(t, "prices")
		var broken rule.All
		same(t, "shown", wire.ReadPriceList(&broken, "prices", sent(t, wire.PriceList(want), &typev1.PriceList{})), want)
		same(t, "noted", broken.Err(), nil)
		same(t, "stored", piece.Prices(sent(t, piece.StorePrices(want), &piecev1.PriceList{})), want)
	}))
	t.Run("OK: a stone wanted", rapid.MakeCheck(func(t *rapid.T) {
		pattern := planned.Draw(t, "pattern")
		pattern.Name, pattern.At, pattern.TurnMdeg = "", saw.Point{}, 0 // the search's to choose
		want := search.Want{
			Pattern: pattern, FromUm: length.Draw(t, "from"), ToUm: length.Draw(t, "to"), Together: rapid.IntRange(0, 3).Draw(t, "together"), StepUm: length.Draw(t, "step"),
			Sizes: some(rapid.Custom(func(t *rapid.T) search.Size {
				return search.Size{LengthUm: length.Draw(t, "l"), WidthUm: length.Draw(t, "w")}
			})).Draw(t, "sizes"),
		}
		var broken rule.All
		req := &cutterv1.SuggestPlansRequest{
			Prices: &typev1.PriceList{Currency: "AUD"}, Settings: &typev1.CutSettings{Currency: "AUD"},
			Wants: []*typev1.StoneWanted{sent(t, wire.WantedStone(want), &typev1.StoneWanted{})},
		}
		same(t, "wanted", wire.ReadTask(&broken, req).Wants[0], want)
	}))
	t.Run("refused: prices in another currency than the list's", func(t *testing.T) {
		list := wire.PriceList(example.Prices())
		list.Markets[1].Prices[2].Price.CurrencyCode = "USD"
		var broken rule.All
		wire.ReadPriceList(&broken, "prices", list)
		if len(broken) != 1 || broken[0].Reason != rule.CurrencyDiffers || broken[0].Field != "prices.markets[1].prices[2].price.currency_code" {
			t.Errorf("noted %v", broken)
		}
	})
}

// TestCutResult: what comes of the demo's plans comes back as it went.
func TestCutResult(t *testing.T) {
	for piece, c := range example.Demo() {
		for _, p := range c.Plans {
			t.Run("OK: "+piece+" "+p.Name, func(t *testing.T) {
				want, err := saw.Evaluate(c.Study, p, example.Prices())
				if err != nil {
					t.Fatal(err)
				}
				same(t, "result", wire.ReadCutResult(sent(t, wire.CutResult(want), &typev1.CutResult{})), want)
				bare := wire.CutResult(want)
				wire.WithoutOutlines(bare.GetTrunk())
				if strings.Contains(bare.String(), "corners_nm") {
					t.Error("an outline is left")
				}
			})
		}
	}
}
