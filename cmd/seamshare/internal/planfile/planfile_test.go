package planfile_test

import (
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/cmd/seamshare/internal/planfile"
	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/search"
)

// example is what people are shown.
func example(t testing.TB) string {
	t.Helper()
	from := strings.Index(planfile.Help, "  {\n")
	to := strings.Index(planfile.Help, "\n  }\n")
	if from < 0 || to < from {
		t.Fatal("the help has no example")
	}
	return planfile.Help[from : to+5]
}

// The example of the help is read, and what it plans can be done.
func TestExampleOfTheHelp(t *testing.T) {
	f, err := planfile.Parse([]byte(example(t)))
	if err != nil {
		t.Fatal(err)
	}
	plan, ok := f.Plan("")
	if !ok || f.Study.MassUg != 16_200_000 || f.Study.SGMilli != 2950 || plan.Settings.HourMinor != 4500 || plan.Blades[0].KerfUm != 600 {
		t.Fatalf("read %+v", f)
	}
	result, err := saw.Evaluate(f.Study, plan, f.Prices)
	if err != nil {
		t.Fatal(err)
	}
	if result.Infeasible || result.Totals.Stones != 1 || result.Money.Expected <= 0 {
		t.Errorf("its plan comes to %+v, finding %+v", result.Totals, result.Trunk.Findings)
	}
}

func TestHelpFitsTheScreen(t *testing.T) {
	for _, line := range strings.Split(planfile.Help, "\n") {
		if n := len([]rune(line)); n > 80 {
			t.Errorf("%d letters: %s", n, line)
		}
	}
}

// What is written is read as the same.
func TestFormatAndParse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := files().Draw(t, "file")
		text := planfile.Format(f)
		again, err := planfile.Parse(text)
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		if !reflect.DeepEqual(f, again) {
			t.Fatalf("wrote\n%s\nof  %+v\nread %+v", text, f, again)
		}
	})
}

// Each refusal says where and why.
func TestParseRefuses(t *testing.T) {
	right := example(t)
	for name, c := range map[string]struct{ old, new, says string }{
		"no JSON":           {`"piece": {`, `"piece": `, "the file is not the JSON of a plan file"},
		"a member twice":    {`"sg": 2.95,`, `"sg": 2.95, "sg": 3,`, `"sg" is there twice`},
		"an unknown member": {`"sg": 2.95,`, `"sg": 2.95, "weight": 3,`, "piece.weight: is not known here; there are name, mass"},
		"a bare ounce":      {`"16.20 g"`, `"0.3 oz"`, "piece.mass: couldn't read"},
		"not a number":      {`[29, 18]`, `[29, "18"]`, `piece.outline[2][1]: "18" is not a number of mm`},
		"four decimals":     {`"thickness": 11,`, `"thickness": 11.0001,`, "piece.thickness: 11.0001 is not a number of mm"},
		"an exponent":       {`"thickness": 11,`, `"thickness": 1e1,`, "piece.thickness: 1e1 is not a number"},
		"a point of three":  {`[29, 18]`, `[29, 18, 0]`, "piece.outline[2]: a list is not a point"},
		"no outline":        {`"outline": [[0, 0], [29, 0], [29, 18], [0, 18]],`, ``, "piece.outline: is missing"},
		"a kind of its own": {`"kind": "crack"`, `"kind": "flaw"`, `piece.features[0].kind: "flaw" is not known here; write one of: colour, potch`},
		"a feature not drawn": {`,
                    "line": [[14, 0], [15, 18]]}`, `}`, `piece.features[0]: is not drawn`},
		"a feature drawn twice":   {`"line": [[14, 0], [15, 18]]}`, `"line": [[14, 0], [15, 18]], "area": []}`, `piece.features[0].line: doesn't go with "area"`},
		"two currencies":          {`"5.00 AUD"`, `"5.00 NZD"`, `rules.selling: "5.00 NZD" is in NZD, but amounts before it are in AUD`},
		"an amount below zero":    {`"45.00 AUD"`, `"-45.00 AUD"`, `rules.hour: "-45.00" is negative`},
		"a chance above all":      {`"90 %"`, `"190 %"`, `plans[0].ends[0].stones[0].chance: "190 %" is above 100 %`},
		"a cut of one point":      {`"line": [[14, -1], [15, 19]]`, `"line": [[14, -1]]`, "plans[0].steps[0].saw.line: must be two points"},
		"nothing to do":           {`"minutes": 20, "saw":`, `"minutes": 20, "sawn":`, "plans[0].steps[0]: says nothing to do"},
		"minutes in halves":       {`"minutes": 20`, `"minutes": 20.5`, "plans[0].steps[0].minutes: 20.5 is not a whole number"},
		"an end of its own":       {`"as": "shelf"`, `"as": "bin"`, `plans[0].ends[1].as: "bin" is not known here`},
		"a stone without a place": {`"at": [7, 9], `, ``, "plans[0].ends[0].stones[0].at: is missing"},
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			text := strings.Replace(right, c.old, c.new, 1)
			if text == right {
				t.Fatalf("the example has no %s", c.old)
			}
			_, err := planfile.Parse([]byte(text))
			var problems planfile.Problems
			if !errors.As(err, &problems) || !strings.Contains(err.Error(), c.says) {
				t.Errorf("said %v, want %q", err, c.says)
			}
		})
	}
}

// Whatever is read is written so that it is read again, and evaluated without a crash.
func FuzzParse(f *testing.F) {
	f.Add([]byte(example(f)))
	f.Add([]byte(`{"piece":{"name":"p","mass":"1 g","sg":2.1,"outline":[[0,0],[9,0],[0,9]],"section":{"along":[[0,0],[9,0]],"outline":[[0,0],[9,0],[9,-4],[0,-4]]}},"plans":[{"name":"a","steps":[{"part":"piece","look":{"how":"window","outcomes":[{"name":"x","chance":"50 %"},{"name":"y","chance":"50 %"}]}}]}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		file, err := planfile.Parse(data)
		if err != nil {
			var problems planfile.Problems
			if !errors.As(err, &problems) || len(problems) == 0 {
				t.Fatalf("refused with %v", err)
			}
			return
		}
		again, err := planfile.Parse(planfile.Format(file))
		if err != nil || !reflect.DeepEqual(file, again) && fmt.Sprintf("%+v", file) != fmt.Sprintf("%+v", again) {
			t.Fatalf("read %+v, then %+v, %v", file, again, err)
		}
		for _, plan := range file.Plans {
			result, err := saw.Evaluate(file.Study, plan, file.Prices)
			var wrong *saw.Invalid
			if err != nil && !errors.As(err, &wrong) {
				t.Fatalf("evaluated with %v", err)
			}
			if err == nil && result.MassUg != file.Study.MassUg {
				t.Fatalf("of %d µg came %d", file.Study.MassUg, result.MassUg)
			}
		}
	})
}

func files() *rapid.Generator[planfile.File] {
	text := rapid.StringMatching(`[a-zé"<&] ?[a-z0-9]{0,6}`)
	some := rapid.Int64Range(1, 400_000)
	any0 := rapid.Int64Range(-400_000, 400_000)
	pt := rapid.Custom(func(t *rapid.T) saw.Point { return saw.Point{X: any0.Draw(t, "x"), Y: any0.Draw(t, "y")} })
	ring := rapid.SliceOfN(pt, 3, 5)
	ln := rapid.Custom(func(t *rapid.T) saw.Line { return saw.Line{A: pt.Draw(t, "a"), B: pt.Draw(t, "b")} })
	view := rapid.SampledFrom([]saw.View{saw.Face, saw.Back, saw.Section})
	kind := rapid.SampledFrom([]saw.Kind{saw.Colour, saw.Potch, saw.Rock, saw.Crack, saw.Matrix, saw.Seam})
	bp := rapid.Int64Range(0, 10_000)
	feature := rapid.Custom(func(t *rapid.T) saw.Feature {
		return saw.Feature{
			Name: text.Draw(t, "name"), Kind: kind.Draw(t, "kind"), View: view.Draw(t, "view"), Supposed: rapid.Bool().Draw(t, "supposed"),
			Points: ring.Draw(t, "points"), Closed: rapid.Bool().Draw(t, "closed"), ThicknessUm: some.Draw(t, "thickness"),
			DepthUm: some.Draw(t, "depth"), SGMilli: some.Draw(t, "sg"), Class: text.Draw(t, "class"), Grade: text.Draw(t, "grade"),
		}
	})
	stone := rapid.Custom(func(t *rapid.T) saw.Stone {
		return saw.Stone{
			Name: text.Draw(t, "name"), Shape: rapid.SampledFrom([]saw.Shape{saw.Oval, saw.Round, saw.Freeform}).Draw(t, "shape"), Ring: ring.Draw(t, "ring"),
			LengthUm: some.Draw(t, "l"), WidthUm: some.Draw(t, "w"), DepthUm: some.Draw(t, "d"), DomeUm: some.Draw(t, "dome"), SGMilli: some.Draw(t, "sg"),
			View: view.Draw(t, "view"), At: pt.Draw(t, "at"), TurnMdeg: any0.Draw(t, "turn"), Zone: text.Draw(t, "zone"), Bar: text.Draw(t, "bar"),
			TiltMdeg: any0.Draw(t, "tilt"), Surface: rapid.SampledFrom([]saw.Surface{saw.Clean, saw.RockInFace, saw.Hollow}).Draw(t, "surface"),
			Class: text.Draw(t, "class"), Market: text.Draw(t, "market"), ChanceBp: bp.Draw(t, "chance"), Minutes: rapid.Int64Range(0, 900).Draw(t, "minutes"),
		}
	})
	end := rapid.Custom(func(t *rapid.T) saw.End {
		return saw.End{
			Part: text.Draw(t, "part"), Kind: rapid.SampledFrom([]saw.EndKind{saw.Stones, saw.OffCut, saw.Waste}).Draw(t, "kind"),
			Stones: rapid.SliceOfN(stone, 1, 2).Draw(t, "stones"), Class: text.Draw(t, "class"), Market: text.Draw(t, "market"),
		}
	})
	names := rapid.SliceOfN(text, 1, 2)
	step := rapid.Custom(func(t *rapid.T) saw.Step {
		return saw.Step{
			Part: text.Draw(t, "part"), Minutes: rapid.Int64Range(0, 900).Draw(t, "minutes"), Note: text.Draw(t, "note"),
			Do: rapid.OneOf(
				rapid.Custom(func(t *rapid.T) saw.Work {
					return saw.Saw{Blade: text.Draw(t, "blade"), View: view.Draw(t, "view"), Line: ln.Draw(t, "line"), Left: names.Draw(t, "left"), Right: names.Draw(t, "right")}
				}),
				rapid.Custom(func(t *rapid.T) saw.Work {
					return saw.Split{View: view.Draw(t, "view"), Line: ln.Draw(t, "line"), Left: names.Draw(t, "left"), Right: names.Draw(t, "right")}
				}),
				rapid.Custom(func(t *rapid.T) saw.Work {
					return saw.Trim{View: view.Draw(t, "view"), Keep: []saw.Kept{{Part: text.Draw(t, "part"), Ring: ring.Draw(t, "ring")}, {Part: text.Draw(t, "part"), Stone: text.Draw(t, "stone"), AllowUm: some.Draw(t, "allow")}}}
				}),
				rapid.Custom(func(t *rapid.T) saw.Work {
					return saw.Grind{View: view.Draw(t, "view"), ThicknessUm: some.Draw(t, "thickness"), What: kind.Draw(t, "what")}
				}),
				rapid.Custom(func(t *rapid.T) saw.Work {
					return saw.Look{Kind: saw.Window, View: view.Draw(t, "view"), OffUm: some.Draw(t, "off"), Outcomes: []saw.Outcome{
						{Name: text.Draw(t, "name"), ChanceBp: bp.Draw(t, "chance"), Features: rapid.SliceOfN(feature, 1, 2).Draw(t, "features"), Ends: rapid.SliceOfN(end, 1, 2).Draw(t, "ends")},
					}}
				}),
			).Draw(t, "do"),
		}
	})
	return rapid.Custom(func(t *rapid.T) planfile.File {
		f := planfile.File{
			Study: saw.Study{
				Name: text.Draw(t, "name"), MassUg: some.Draw(t, "mass"), SGMilli: some.Draw(t, "sg"), Outline: ring.Draw(t, "outline"),
				ThicknessUm: some.Draw(t, "thickness"), Profile: ring.Draw(t, "profile"), Trace: ln.Draw(t, "trace"),
				Layers:    []saw.Layer{{Name: text.Draw(t, "layer"), Kind: kind.Draw(t, "kind"), ThicknessUm: some.Draw(t, "thickness"), SGMilli: some.Draw(t, "sg"), Class: text.Draw(t, "class")}},
				Features:  rapid.SliceOfN(feature, 1, 3).Draw(t, "features"),
				Underlays: []saw.Underlay{{View: view.Draw(t, "view"), SHA256: [32]byte{1, 2}, PixelA: saw.Pixel{X: 3, Y: 4}, PixelB: saw.Pixel{X: 5, Y: 6}, DistanceUm: some.Draw(t, "apart"), At: pt.Draw(t, "at"), TurnMdeg: any0.Draw(t, "turn")}},
			},
			Prices:   saw.Prices{Currency: "AUD", Markets: []saw.Market{{Name: text.Draw(t, "market"), Prices: []saw.Price{{Class: text.Draw(t, "class"), Per: saw.PerFaceMm2, FromUm: some.Draw(t, "from"), ToUm: some.Draw(t, "to"), Minor: some.Draw(t, "minor")}}}}},
			Blades:   []saw.Blade{{Name: text.Draw(t, "blade"), KerfUm: some.Draw(t, "kerf"), ReachUm: some.Draw(t, "reach"), WanderUm: some.Draw(t, "wander")}},
			Settings: saw.Settings{CrackUm: some.Draw(t, "crack"), GripUm: some.Draw(t, "grip"), Currency: "AUD", HourMinor: some.Draw(t, "hour"), LevyBp: bp.Draw(t, "levy"), SellingMinor: some.Draw(t, "selling")},
		}
		patterned := func() saw.Stone {
			p := stone.Draw(t, "pattern")
			p.Name, p.At, p.TurnMdeg = "", saw.Point{}, 0
			return p
		}
		sized := search.Want{Pattern: patterned(), Sizes: []search.Size{{LengthUm: some.Draw(t, "l"), WidthUm: some.Draw(t, "w")}}, Together: 2, StepUm: some.Draw(t, "step")}
		sized.Pattern.LengthUm, sized.Pattern.WidthUm = 0, 0
		f.Wants = []search.Want{{Pattern: patterned(), FromUm: some.Draw(t, "from"), ToUm: some.Draw(t, "to")}, sized}
		f.SawMinutes = rapid.Int64Range(0, 100).Draw(t, "saw minutes")
		for i, steps := range [][]saw.Step{rapid.SliceOfN(step, 1, 3).Draw(t, "steps"), nil} {
			f.Plans = append(f.Plans, saw.Plan{Name: fmt.Sprintf("plan %d", i), Part: text.Draw(t, "part"), Blades: f.Blades, Settings: f.Settings, Steps: steps, Ends: rapid.SliceOfN(end, 1, 2).Draw(t, "ends")})
		}
		return f
	})
}
