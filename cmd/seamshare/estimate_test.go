package main

import (
	"context"
	"io"
	"strings"
	"testing"
	"time"

	gmoney "google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"seamshare.example/cmd/seamshare/internal/strictjson"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/coop/cooptest"
)

// TestEstimatesAgree: what the program reckons without a server is what the cutter's service answers, and both refuse the same.
func TestEstimatesAgree(t *testing.T) {
	house := cooptest.Open(t, time.Now)
	cutter := house.Join(t, "Wet Wheel Workshop", typev1.Role_ROLE_CUTTER)
	jeweller := house.Join(t, "Marrow & Pin Jewellers", typev1.Role_ROLE_JEWELLER)
	client := cutter.Cutter()
	aud := func(units int64) *gmoney.Money { return &gmoney.Money{CurrencyCode: "AUD", Units: units} }
	second, oval := int64(900), typev1.Outline_OUTLINE_OVAL
	weighed := func(ug, division int64) *typev1.Weighing { return &typev1.Weighing{MassUg: ug, DivisionUg: division} }
	call := func(req proto.Message) (proto.Message, error) {
		ctx := t.Context()
		switch r := req.(type) {
		case *cutterv1.EstimateStoneRequest:
			return client.EstimateStone(ctx, r)
		case *cutterv1.EstimateGravityRequest:
			return client.EstimateGravity(ctx, r)
		case *cutterv1.EstimateSlabsRequest:
			return client.EstimateSlabs(ctx, r)
		case *cutterv1.EstimateSeamsRequest:
			return client.EstimateSeams(ctx, r)
		case *cutterv1.EstimateChoiceRequest:
			return client.EstimateChoice(ctx, r)
		}
		return client.EstimateInclusion(ctx, req.(*cutterv1.EstimateInclusionRequest))
	}
	for _, c := range []struct {
		typed   string
		req     proto.Message
		refused string // what the program names as wrong
	}{
		{"stone --outline oval --length 12 --width 9 --depth 3 --dome 1 --top elliptical --bevel 0.5x0.4 --bevel-scaled --layer 2.1", &cutterv1.EstimateStoneRequest{
			Kind: typev1.Kind_KIND_SOLID, Outline: oval, LengthUm: 12_000, WidthUm: 9_000, Top: cutterv1.TopForm_TOP_FORM_ELLIPTICAL, DomeUm: 1_000, WallUm: 2_000,
			BevelInUm: 500, BevelUpUm: 400, BevelScaled: true, Layers: []*cutterv1.StoneLayer{{SgMilli: 2_100}},
		}, ""},
		{`stone --kind boulder --outline oval --length "0.5 in" --width 10 --depth 4 --top flat --layer "1, 2.1" --layer 3.2`, &cutterv1.EstimateStoneRequest{
			Kind: typev1.Kind_KIND_BOULDER, Outline: oval, LengthUm: 12_700, WidthUm: 10_000, Top: cutterv1.TopForm_TOP_FORM_FLAT, WallUm: 4_000,
			Layers: []*cutterv1.StoneLayer{{ThicknessUm: 1_000, SgMilli: 2_100}, {SgMilli: 3_200}},
		}, ""},
		{`stone --outline freeform --ring "0 0, 14 -1, 12 9, 2 8" --top undulating --heights "3 3 2.6, 9 5 3.1" --layer 2.1`, &cutterv1.EstimateStoneRequest{
			Kind: typev1.Kind_KIND_SOLID, Outline: typev1.Outline_OUTLINE_FREEFORM, Ring: []*typev1.Point{{}, {XUm: 14_000, YUm: -1_000}, {XUm: 12_000, YUm: 9_000}, {XUm: 2_000, YUm: 8_000}},
			Top:     cutterv1.TopForm_TOP_FORM_UNDULATING,
			Heights: []*cutterv1.FaceHeight{{At: &typev1.Point{XUm: 3_000, YUm: 3_000}, HeightUm: 2_600}, {At: &typev1.Point{XUm: 9_000, YUm: 5_000}, HeightUm: 3_100}},
			Layers:  []*cutterv1.StoneLayer{{SgMilli: 2_100}},
		}, ""},
		{"stone --kind matrix --outline oval --length 12 --width 10 --depth 4 --top flat --layer 2.7", &cutterv1.EstimateStoneRequest{
			Kind: typev1.Kind_KIND_MATRIX, Outline: oval, LengthUm: 12_000, WidthUm: 10_000, Top: cutterv1.TopForm_TOP_FORM_FLAT, WallUm: 4_000, Layers: []*cutterv1.StoneLayer{{SgMilli: 2_700}},
		}, "--layer"},
		{`choice --act "one = 1350 AUD"`, &cutterv1.EstimateChoiceRequest{
			Acts: []*cutterv1.ChoiceAct{{Name: "one", Values: []*gmoney.Money{aud(1_350)}}},
		}, "--state"},
		{`gravity --air "12.06 ct" --water "7.71 ct" --scale "0.01 ct" --sound --opal 2.1 --rock 3.2`, &cutterv1.EstimateGravityRequest{
			Air: weighed(2_412_000, 2_000), Water: weighed(1_542_000, 2_000), Sound: true, OpalSgMilli: 2_100, RockSgMilli: 3_200,
		}, ""},
		{`gravity --air "2.40 g" --water "1.26 g"`, &cutterv1.EstimateGravityRequest{Air: weighed(2_400_000, 10_000), Water: weighed(1_260_000, 10_000)}, "--sound"},
		{`slabs --thickness 22 --slab 4 --kerf 0.6 --face "440 mm2" --gravity 2.6 --lean 12.5`, &cutterv1.EstimateSlabsRequest{
			ThicknessUm: 22_000, SlabUm: 4_000, KerfUm: 600, FaceUm2: 440_000_000, SgMilli: 2_600, LeanMdeg: 12_500,
		}, ""},
		{`seams --angle 14 --backing 1.2 --second-backing 0.9 --kerf 0.6 --wander 0.1 --from 4 --to 38 --at 12.5 --cut parallel --one "1350 AUD" --holds "1910 AUD" --fails "420 AUD" --chance "70 %"`, &cutterv1.EstimateSeamsRequest{
			AngleMdeg: 14_000, BackingUm: 1_200, SecondBackingUm: &second, KerfUm: 600, WanderUm: 100, FromUm: 4_000, ToUm: 38_000, AtUm: 12_500, Cut: cutterv1.SeamCut_SEAM_CUT_PARALLEL,
			Wager: &cutterv1.Wager{One: aud(1_350), Holds: aud(1_910), Fails: aud(420), ChanceBp: 7_000},
		}, ""},
		{"seams --angle 14 --backing 1.2 --kerf 0.6 --from 4 --to 3", &cutterv1.EstimateSeamsRequest{
			AngleMdeg: 14_000, BackingUm: 1_200, KerfUm: 600, FromUm: 4_000, ToUm: 3_000, Cut: cutterv1.SeamCut_SEAM_CUT_BISECTOR,
		}, "--to"},
		{`choice --state "holds = 70 %" --state "fails = 30 %" --act "one = 1350 AUD or 1350 AUD" --act "both = 1910 AUD or -420 AUD" --look "40 AUD" --finding "clear = 90 % or 20 %" --finding "cloudy = 10 % or 80 %"`, &cutterv1.EstimateChoiceRequest{
			States: []*cutterv1.ChoiceState{{Name: "holds", ChanceBp: 7_000}, {Name: "fails", ChanceBp: 3_000}},
			Acts:   []*cutterv1.ChoiceAct{{Name: "one", Values: []*gmoney.Money{aud(1_350), aud(1_350)}}, {Name: "both", Values: []*gmoney.Money{aud(1_910), aud(-420)}}},
			Look:   &cutterv1.ChoiceLook{Cost: aud(40), Findings: []*cutterv1.LookFinding{{Name: "clear", GivenBp: []int64{9_000, 2_000}}, {Name: "cloudy", GivenBp: []int64{1_000, 8_000}}}},
		}, ""},
		{`choice --state "holds = 70 %" --act "one = 1350 AUD"`, &cutterv1.EstimateChoiceRequest{
			States: []*cutterv1.ChoiceState{{Name: "holds", ChanceBp: 7_000}}, Acts: []*cutterv1.ChoiceAct{{Name: "one", Values: []*gmoney.Money{aud(1_350)}}},
		}, "--state"},
		{`inclusion --mass "3.04 ct" --face "84.8 mm2" --take-off 0.3 --gravity 2.1 --kept "24 AUD" --cleared "42 AUD" --per face-mm2 --clears "70 %" --spoils "10 %" --spoilt "60 AUD" --cost "25 AUD"`, &cutterv1.EstimateInclusionRequest{
			MassUg: 608_000, ThicknessUm: 300, FaceUm2: 84_800_000, SgMilli: 2_100, Per: typev1.PricedBy_PRICED_BY_FACE_MM2, Kept: aud(24), Cleared: aud(42),
			ClearsBp: 7_000, SpoilsBp: 1_000, Spoilt: aud(60), Cost: aud(25),
		}, ""},
		{`inclusion --mass "0.2 ct" --face "84.8 mm2" --take-off 0.3 --gravity 2.1 --kept "24 AUD" --cleared "42 AUD" --clears "70 %" --spoils "40 %"`, &cutterv1.EstimateInclusionRequest{
			MassUg: 40_000, ThicknessUm: 300, FaceUm2: 84_800_000, SgMilli: 2_100, Per: typev1.PricedBy_PRICED_BY_CARAT, Kept: aud(24), Cleared: aud(42), ClearsBp: 7_000, SpoilsBp: 4_000,
		}, "--take-off"},
	} {
		t.Run(c.typed, func(t *testing.T) {
			var stdout, stderr strings.Builder
			code := run(t.Context(), append([]string{"estimate", "--json"}, shellWords(c.typed)...), strings.NewReader(""), &stdout, &stderr)
			answer, err := call(c.req)
			if c.refused != "" {
				served := fromStatus(err)
				if served == nil || code != int(exitUsage) || stdout.Len() != 0 {
					t.Fatalf("exit code %d, %s; the service: %v", code, stdout.String(), err)
				}
				if !strings.Contains(stderr.String(), `"field": "`+c.refused+`"`) || !strings.Contains(stderr.String(), served.Reason) || !strings.Contains(stderr.String(), served.Message) {
					t.Errorf("the program said %s, the service %s: %s", stderr.String(), served.Reason, served.Message)
				}
				return
			}
			if err != nil || code != 0 {
				t.Fatalf("exit code %d, %s; the service: %v", code, stderr.String(), err)
			}
			if want := string(strictjson.Format(estimateJSON(answer.ProtoReflect()))); stdout.String() != want {
				t.Errorf("the program reckons %s, the service %s", stdout.String(), want)
			}
		})
	}
	if _, err := jeweller.Cutter().EstimateSlabs(t.Context(), &cutterv1.EstimateSlabsRequest{ThicknessUm: 22_000, SlabUm: 4_000}); status.Code(err) != codes.PermissionDenied {
		t.Errorf("a jeweller's slabs: %v", err)
	}
	got, err := jeweller.Cutter().EstimateGravity(t.Context(), &cutterv1.EstimateGravityRequest{Air: weighed(2_400_000, 10_000), Water: weighed(1_260_000, 10_000), Sound: true})
	if err != nil || got.GetSgMilli() != 2_105 || got.GetCaution() == "" {
		t.Errorf("a jeweller's stone: %v; %v", got, err)
	}
}

// TestEstimatesFitThePage: no line of any estimate is wider than a terminal of 80 columns.
func TestEstimatesFitThePage(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mm := rapid.SampledFrom([]string{"0", "0.001", "1.2", "12.345", "499.999"})
		money := rapid.SampledFrom([]string{"0 AUD", "1350 AUD", "99999999999.99 AUD"})
		typed := "seams --angle " + rapid.SampledFrom([]string{"0.5", "14", "89.999"}).Draw(t, "angle")
		for _, flag := range []string{"backing", "kerf", "from", "to", "at", "wander", "second-backing"} {
			typed += " --" + flag + " " + mm.Draw(t, flag)
		}
		for _, flag := range []string{"one", "holds", "fails"} {
			typed += " --" + flag + ` "` + money.Draw(t, flag) + `"`
		}
		var stdout strings.Builder
		run(context.Background(), append([]string{"estimate"}, shellWords(typed+` --chance "33.33 %"`)...), strings.NewReader(""), &stdout, io.Discard)
		for line := range strings.SplitSeq(stdout.String(), "\n") {
			if n := len([]rune(line)); n > 80 {
				t.Fatalf("%d columns: %s", n, line)
			}
		}
	})
}

// shellWords splits a line as a shell would.
func shellWords(line string) (words []string) {
	for i, part := range strings.Split(line, `"`) {
		if i%2 == 1 {
			words = append(words, part)
		} else {
			words = append(words, strings.Fields(part)...)
		}
	}
	return words
}
