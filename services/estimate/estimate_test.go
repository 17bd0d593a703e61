package estimate_test

import (
	"strings"
	"testing"

	"buf.build/go/protovalidate"
	gmoney "google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/protobuf/reflect/protoreflect"
	"pgregory.net/rapid"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/estimate"
)

func aud(units int64) *gmoney.Money { return &gmoney.Money{CurrencyCode: "AUD", Units: units} }

// The API's words and package measure's are the same at each number.
func TestWordsAgree(t *testing.T) {
	word := func(e protoreflect.Enum, prefix string) string {
		name := string(e.Descriptor().Values().ByNumber(e.Number()).Name())
		return strings.ToLower(strings.TrimPrefix(name, prefix))
	}
	for n := range cutterv1.TopForm_name {
		if n == 0 {
			continue
		}
		// "elliptical dome" is said as "elliptical".
		if got, want := word(cutterv1.TopForm(n), "TOP_FORM_"), strings.TrimSuffix(measure.Form(n).String(), " dome"); got != want {
			t.Errorf("top %d is %q, and %q in package measure", n, got, want)
		}
	}
	for n := range typev1.Outline_name {
		if got, want := word(typev1.Outline(n), "OUTLINE_"), measure.Shape(n).String(); n != 0 && got != want {
			t.Errorf("outline %d is %q, and %q in package measure", n, got, want)
		}
	}
	for n := range typev1.Kind_name {
		if got, want := word(typev1.Kind(n), "KIND_"), measure.Kind(n).String(); n != 0 && got != want {
			t.Errorf("kind %d is %q, and %q in package measure", n, got, want)
		}
	}
	if len(piece.Shapes) != len(typev1.Outline_name) {
		t.Errorf("%d shapes, %d outlines", len(piece.Shapes), len(typev1.Outline_name))
	}
}

func stone(kind typev1.Kind, layers ...*cutterv1.StoneLayer) *cutterv1.EstimateStoneRequest {
	return &cutterv1.EstimateStoneRequest{
		Kind: kind, Outline: typev1.Outline_OUTLINE_OVAL, LengthUm: 12_000, WidthUm: 10_000, Top: cutterv1.TopForm_TOP_FORM_FLAT, WallUm: 4_000,
		BevelInUm: 500, BevelUpUm: 500, Layers: layers,
	}
}

// What stones weigh. An oval block of 12 × 10 × 4 mm has π/4·12·10·4 = 376.99 mm³ (a standard formula); its bevel takes
// about half of 0.5² over the perimeter.
func TestStone(t *testing.T) {
	a, err := estimate.Stone(stone(typev1.Kind_KIND_BOULDER, &cutterv1.StoneLayer{ThicknessUm: 1_000, SgMilli: 2_100}, &cutterv1.StoneLayer{SgMilli: 3_200}))
	if err != nil {
		t.Fatal(err)
	}
	if v := a.GetVolumeUm3(); v < 372_000_000_000 || v > 374_000_000_000 {
		t.Errorf("volume %d µm³", v)
	}
	if a.GetFaceUm2() != 94_247_780 || a.GetDepthUm() != 4_000 || a.GetQuick() != nil {
		t.Errorf("face %d µm², depth %d µm, quick %v", a.GetFaceUm2(), a.GetDepthUm(), a.GetQuick())
	}
	// The bar lies above the bevel: all of its 94.25 mm³ times 2.1 mg.
	if got := a.GetLayers()[0].GetMassUg(); got != 197_920 {
		t.Errorf("the bar weighs %d µg", got)
	}
	if a.GetLayers()[0].GetMassUg()+a.GetLayers()[1].GetMassUg() != a.GetMassUg() {
		t.Errorf("the layers don't add up to %d µg", a.GetMassUg())
	}
	solid, err := estimate.Stone(stone(typev1.Kind_KIND_SOLID, &cutterv1.StoneLayer{SgMilli: 2_100}))
	if err != nil || solid.GetQuick().GetLeastUg() >= solid.GetQuick().GetMassUg() || solid.GetQuick().GetMostUg() <= solid.GetQuick().GetMassUg() {
		t.Errorf("quick %v; %v", solid.GetQuick(), err)
	}
}

// refusal is the field that a refusal names; it must say the value or the rule, and what to do.
func refusal(t *testing.T, err error) string {
	t.Helper()
	broken, ok := rule.Of(err)
	if !ok {
		t.Fatalf("%v is no refusal", err)
	}
	for _, b := range broken {
		if b.Rule == "" || b.Hint == "" || b.Reason == "" {
			t.Errorf("%#v leaves something out", b)
		}
	}
	return broken[0].Field
}

// Every refusal names a field of the request.
func TestRefusals(t *testing.T) {
	one := &cutterv1.StoneLayer{SgMilli: 2_100}
	stones := map[string]func(r *cutterv1.EstimateStoneRequest){
		"layers":      func(r *cutterv1.EstimateStoneRequest) { r.Kind = typev1.Kind_KIND_MATRIX },
		"length_um":   func(r *cutterv1.EstimateStoneRequest) { r.LengthUm = 0 },
		"width_um":    func(r *cutterv1.EstimateStoneRequest) { r.Outline = typev1.Outline_OUTLINE_ROUND },
		"dome_um":     func(r *cutterv1.EstimateStoneRequest) { r.DomeUm = 1 },
		"wall_um":     func(r *cutterv1.EstimateStoneRequest) { r.Top = cutterv1.TopForm_TOP_FORM_UNDULATING },
		"bevel_up_um": func(r *cutterv1.EstimateStoneRequest) { r.BevelUpUm = 4_001 },
		"bevel_in_um": func(r *cutterv1.EstimateStoneRequest) { r.BevelInUm = 0 },
		"bevel_scaled": func(r *cutterv1.EstimateStoneRequest) {
			r.Outline, r.BevelScaled = typev1.Outline_OUTLINE_CUSHION, true
		},
		"heights":                func(r *cutterv1.EstimateStoneRequest) { r.WallUm = 0; r.Top = cutterv1.TopForm_TOP_FORM_UNDULATING },
		"ring":                   func(r *cutterv1.EstimateStoneRequest) { r.Ring = []*typev1.Point{{}} },
		"layers[0].thickness_um": func(r *cutterv1.EstimateStoneRequest) { r.Layers[0].ThicknessUm = 1 },
		"layers[0].sg_milli":     func(r *cutterv1.EstimateStoneRequest) { r.Layers[0].SgMilli = 1 },
		"top":                    func(r *cutterv1.EstimateStoneRequest) { r.Top, r.DomeUm = cutterv1.TopForm_TOP_FORM_BARREL, 1_000 },
	}
	for field, spoil := range stones {
		r := stone(typev1.Kind_KIND_SOLID, &cutterv1.StoneLayer{SgMilli: one.GetSgMilli()})
		spoil(r)
		_, err := estimate.Stone(r)
		if got := refusal(t, err); got != field {
			t.Errorf("%s: named %s (%v)", field, got, err)
		}
	}
	weighed := func(air, water int64, sound bool) error {
		_, err := estimate.Gravity(&cutterv1.EstimateGravityRequest{
			Air: &typev1.Weighing{MassUg: air, DivisionUg: 10_000}, Water: &typev1.Weighing{MassUg: water, DivisionUg: 10_000}, Sound: sound, OpalSgMilli: 2_100, RockSgMilli: 2_200,
		})
		return err
	}
	for want, err := range map[string]error{
		"sound": weighed(2_400_000, 1_260_000, false), "water.mass_ug": weighed(1_000_000, 1_000_000, true), "opal_sg_milli": weighed(2_400_000, 1_600_000, true),
	} {
		if got := refusal(t, err); got != want {
			t.Errorf("%s: named %s (%v)", want, got, err)
		}
	}
	seams := map[string]*cutterv1.EstimateSeamsRequest{
		"angle_mdeg":                {AngleMdeg: 90_000, ToUm: 38_000},
		"to_um":                     {AngleMdeg: 14_000, FromUm: 4_000, ToUm: 3_000},
		"at_um":                     {AngleMdeg: 14_000, FromUm: 4_000, ToUm: 38_000, AtUm: 39_000},
		"wager.fails":               {AngleMdeg: 14_000, ToUm: 38_000, Wager: &cutterv1.Wager{One: aud(1), Holds: aud(2), Fails: &gmoney.Money{CurrencyCode: "AUD", Nanos: 1}}},
		"wager.holds.currency_code": {AngleMdeg: 14_000, ToUm: 38_000, Wager: &cutterv1.Wager{One: aud(1), Holds: &gmoney.Money{CurrencyCode: "EUR", Units: 2}, Fails: aud(0)}},
	}
	for want, r := range seams {
		r.Cut = cutterv1.SeamCut_SEAM_CUT_BISECTOR
		_, err := estimate.Seams(r)
		if got := refusal(t, err); got != want {
			t.Errorf("%s: named %s (%v)", want, got, err)
		}
	}
	choice := func(change func(r *cutterv1.EstimateChoiceRequest)) error {
		r := &cutterv1.EstimateChoiceRequest{
			States: []*cutterv1.ChoiceState{{Name: "holds", ChanceBp: 7_000}, {Name: "fails", ChanceBp: 3_000}},
			Acts:   []*cutterv1.ChoiceAct{{Name: "one", Values: []*gmoney.Money{aud(1_350), aud(1_350)}}},
			Look:   &cutterv1.ChoiceLook{Cost: aud(40), Findings: []*cutterv1.LookFinding{{Name: "clear", GivenBp: []int64{10_000, 10_000}}}},
		}
		change(r)
		_, err := estimate.Choice(r)
		return err
	}
	for want, err := range map[string]error{
		"states":                      choice(func(r *cutterv1.EstimateChoiceRequest) { r.States[0].ChanceBp = 1 }),
		"states[1].chance_bp":         choice(func(r *cutterv1.EstimateChoiceRequest) { r.States[1].ChanceBp = -1 }),
		"acts[0].values":              choice(func(r *cutterv1.EstimateChoiceRequest) { r.Acts[0].Values = r.Acts[0].Values[:1] }),
		"look.cost":                   choice(func(r *cutterv1.EstimateChoiceRequest) { r.Look.Cost = aud(-1) }),
		"look.findings[0].given_bp":   choice(func(r *cutterv1.EstimateChoiceRequest) { r.Look.Findings[0].GivenBp = []int64{1} }),
		"look.findings, in states[1]": choice(func(r *cutterv1.EstimateChoiceRequest) { r.Look.Findings[0].GivenBp[1] = 1 }),
	} {
		if got := refusal(t, err); got != want {
			t.Errorf("%s: named %s (%v)", want, got, err)
		}
	}
}

// Our own scenario's two seams, its numbers by its own formulas, and the wager's by hand: 0.7·1910 + 0.3·420, √0.21·1490,
// (1350 − 420)/(1910 − 420), 0.7·1910 + 0.3·1350 − 1463.
func TestSeams(t *testing.T) {
	a, err := estimate.Seams(&cutterv1.EstimateSeamsRequest{
		AngleMdeg: 14_000, FromUm: 4_000, ToUm: 38_000, BackingUm: 1_200, KerfUm: 600, Cut: cutterv1.SeamCut_SEAM_CUT_BISECTOR, AtUm: 12_500,
		Wager: &cutterv1.Wager{One: aud(1_350), Holds: aud(1_910), Fails: aud(420), ChanceBp: 7_000},
	})
	if err != nil {
		t.Fatal(err)
	}
	if a.GetBothFromUm() != 12_290 || a.GetFirstLeftUm() != 1_226 || a.GetSecondLeftUm() != 1_226 || !a.GetBothAt() || len(a.GetChoices()) != 4 {
		t.Errorf("%v", a)
	}
	w := a.GetWorth()
	if both := w.GetActs()[1]; both.GetExpected().GetUnits() != 1_463 || both.GetSpread().GetUnits() != 682 || both.GetSpread().GetNanos() != 800_000_000 || w.GetBestLabel() != "both" {
		t.Errorf("%v", w)
	}
	if w.GetActs()[0].GetIndifferentBp() != 6_242 || w.GetKnowing().GetUnits() != 279 {
		t.Errorf("%v", w)
	}
}

// A look is worth from nothing to what knowing is, before its cost; and the chances of its findings add up.
func TestLook(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		chance := rapid.Int64Range(0, 10_000)
		amount := rapid.Int64Range(-5_000, 5_000)
		p, a, b := chance.Draw(t, "p"), chance.Draw(t, "a"), chance.Draw(t, "b")
		values := func(name string) []*gmoney.Money {
			return []*gmoney.Money{aud(amount.Draw(t, name+"1")), aud(amount.Draw(t, name+"2"))}
		}
		r := &cutterv1.EstimateChoiceRequest{
			States: []*cutterv1.ChoiceState{{Name: "holds", ChanceBp: p}, {Name: "fails", ChanceBp: 10_000 - p}},
			Acts:   []*cutterv1.ChoiceAct{{Name: "one", Values: values("one")}, {Name: "both", Values: values("both")}},
			Look:   &cutterv1.ChoiceLook{Findings: []*cutterv1.LookFinding{{Name: "clear", GivenBp: []int64{a, b}}, {Name: "cloudy", GivenBp: []int64{10_000 - a, 10_000 - b}}}},
		}
		if err := protovalidate.Validate(r); err != nil {
			t.Fatal(err)
		}
		out, err := estimate.Choice(r)
		if err != nil {
			t.Fatal(err)
		}
		cents := func(m *gmoney.Money) int64 { return m.GetUnits()*100 + int64(m.GetNanos()/10_000_000) }
		if gross, knowing := cents(out.GetLook().GetGross()), cents(out.GetWorth().GetKnowing()); gross < 0 || gross > knowing {
			t.Fatalf("the look is worth %d cents, knowing %d", gross, knowing)
		}
		if sum := out.GetLook().GetFindings()[0].GetChanceBp() + out.GetLook().GetFindings()[1].GetChanceBp(); sum < 9_999 || sum > 10_001 {
			t.Fatalf("the findings' chances add up to %d", sum)
		}
	})
}

// 3.04 ct less 0.3 mm of 84.8 mm² at 2.1, which is 53.424 mg: what is left is priced.
func TestInclusion(t *testing.T) {
	r := &cutterv1.EstimateInclusionRequest{
		MassUg: 608_000, ThicknessUm: 300, FaceUm2: 84_800_000, SgMilli: 2_100, Per: typev1.PricedBy_PRICED_BY_CARAT, Kept: aud(240), Cleared: aud(420),
		ClearsBp: 7_000, SpoilsBp: 1_000, Spoilt: aud(60), Cost: aud(25),
	}
	a, err := estimate.Inclusion(r)
	if err != nil {
		t.Fatal(err)
	}
	// (608 − 53.424) mg / 200 · 420 − 25 = 1139.61
	if cleared := a.GetOutcomes()[0]; a.GetLossUg() != 53_424 || a.GetLeftUg() != 554_576 || cleared.GetGround().GetUnits() != 1_139 || cleared.GetGround().GetNanos() != 610_000_000 {
		t.Errorf("%v", a)
	}
	r.Per, r.Kept, r.Cleared = typev1.PricedBy_PRICED_BY_FACE_MM2, aud(10), aud(10)
	if a, err = estimate.Inclusion(r); err != nil || a.GetOutcomes()[0].GetKept().GetUnits() != 848 || a.GetOutcomes()[0].GetGround().GetUnits() != 823 {
		t.Errorf("by the face: %v; %v", a, err)
	}
	r.MassUg = 1_000
	if _, err = estimate.Inclusion(r); refusal(t, err) != "thickness_um" {
		t.Error(err)
	}
}

// Slabs: 22 mm in slabs of 4 with a kerf of 0.6 is 4·4 + 4·0.6 + 3.6, by hand.
func TestSlabs(t *testing.T) {
	a, err := estimate.Slabs(&cutterv1.EstimateSlabsRequest{ThicknessUm: 22_000, SlabUm: 4_000, KerfUm: 600, FaceUm2: 440_000_000, SgMilli: 2_600})
	if err != nil || a.GetSlabs() != 4 || a.GetCuts() != 4 || a.GetOffcutUm() != 3_600 || a.GetKerfUm() != 2_400 || a.GetKerfLossUg() != 2_745_600 {
		t.Errorf("%v; %v", a, err)
	}
	// A cut that leans by 60° goes through twice as much.
	leaning, err := estimate.Slabs(&cutterv1.EstimateSlabsRequest{ThicknessUm: 22_000, SlabUm: 4_000, KerfUm: 600, FaceUm2: 440_000_000, SgMilli: 2_600, LeanMdeg: 60_000})
	if err != nil || leaning.GetKerfLossUg() != 2*2_745_600 {
		t.Errorf("%v; %v", leaning, err)
	}
	_, err = estimate.Slabs(&cutterv1.EstimateSlabsRequest{ThicknessUm: 22_000, SlabUm: 4_000, KerfUm: 600, FaceUm2: 1})
	if refusal(t, err) != "sg_milli" {
		t.Error(err)
	}
}
