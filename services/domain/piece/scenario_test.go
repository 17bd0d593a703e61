package piece_test

import (
	"fmt"
	"testing"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/services/domain/piece"
)

const (
	kerf  = piecev1.Reason_REASON_KERF
	waste = piecev1.Reason_REASON_WASTE
	crack = piecev1.Reason_REASON_CRACK_OPENED
)

// bench is the work on the demo's first parcel, all invented; masses in milligrams.
// A part that ends in - is kept as an off-cut.
var bench = []struct {
	label string
	mg    int64
	steps []benchStep
}{
	{"1", 34_200, []benchStep{
		{"1", kerf, parts{{"1A", 9_240}, {"1B", 23_440}}},
		{"1B", waste, nil},
		{"1A", kerf, parts{{"1C", 5_020}, {"1D", 4_050}}},
		{"1C", waste, parts{{"1C'", 1_420}, {"1C-", 1_150}}},
		{"1C'", 0, parts{{"stone 1", 608}}},
		{"1D", waste, parts{{"1D'", 1_480}}},
		{"1D'", 0, parts{{"stone 3", 668}}},
	}},
	{"2", 30_850, []benchStep{
		{"2", kerf, parts{{"2A", 9_020}, {"2B", 20_360}}},
		{"2B", waste, nil},
		{"2A", kerf, parts{{"2C", 4_600}, {"2D", 4_250}}},
		{"2C", waste, parts{{"2C'", 1_400}}},
		{"2C'", 0, parts{{"stone 2", 616}}},
		{"2D", waste, parts{{"2D'", 740}, {"2D-", 960}}},
		{"2D'", 0, parts{{"stone 4", 238}}},
	}},
	{"3", 12_060, []benchStep{
		{"3", kerf, parts{{"3A", 1_600}, {"3B", 10_290}}},
		{"3B", kerf, parts{{"3C", 4_800}, {"3D", 4_700}}},
		{"3C", waste, parts{{"3C'", 1_980}, {"3C-", 620}}},
		{"3C'", 0, parts{{"stone 5", 928}}},
		{"3D", waste, parts{{"3D'", 1_400}}},
		{"3D'", 0, parts{{"stone 6", 572}}},
		{"3A", waste, parts{{"3A'", 520}}},
		{"3A'", 0, parts{{"stone 7", 140}}},
	}},
	{"4", 8_950, []benchStep{
		{"4", kerf, parts{{"4A", 4_600}, {"4B", 4_110}}},
		{"4A", waste, parts{{"4A'", 1_040}}},
		{"4A'", 0, parts{{"stone 8", 374}}},
		{"4B", waste, parts{{"4B'", 1_050}}},
		{"4B'", crack, nil},
	}},
	{"5", 11_300, []benchStep{
		{"5", kerf, parts{{"5A", 6_000}, {"5B", 5_070}}},
		{"5A", waste, parts{{"5A'", 1_450}}},
		{"5A'", 0, parts{{"stone 9", 662}}},
		{"5B", waste, parts{{"5B'", 980}}},
		{"5B'", 0, parts{{"stone 10", 420}}},
	}},
	{"6", 88_400, nil},
}

type benchStep struct {
	part   string
	reason piecev1.Reason // 0: finished
	out    parts
}

type parts []struct {
	name string
	mg   int64
}

func (s benchStep) play(h *history) {
	h.t.Helper()
	if s.reason == 0 {
		h.did(h.Finish(finish("wet-wheel", s.part, s.out[0].name, &eventv1.Weighing{MassUg: s.out[0].mg * 1_000, DivisionUg: 2_000})))
		return
	}
	step := map[piecev1.Reason]piecev1.Step{kerf: piecev1.Step_STEP_SAW, waste: piecev1.Step_STEP_TRIM, crack: piecev1.Step_STEP_GRIND}[s.reason]
	if s.reason == waste && s.out == nil {
		step = piecev1.Step_STEP_SET_ASIDE
	}
	w := set(s.part, step, s.reason)
	for _, p := range s.out {
		o := out(p.name, p.mg*1_000)
		if p.name[len(p.name)-1] == '-' {
			o.Fate = piece.Offcut
		}
		w.Out = append(w.Out, o)
	}
	h.did(h.Work(w))
}

// TestScenario: the rules let the demo's bench work through, and its masses come out as
// worked there by hand.
func TestScenario(t *testing.T) {
	var got piece.Balance
	lost := map[piecev1.Reason]int64{}
	for i, p := range bench {
		f := facts()
		f.PieceId, f.Label, f.Weighing = fmt.Sprint("p1-", i+1), p.label, weighed(p.mg*1_000)
		h := (&history{t: t}).did(piece.State{}.Describe(f, &piecev1.Described_Private{}))
		for _, s := range p.steps {
			s.play(h)
		}
		if p.label == "6" {
			h.did(h.Place("wet-wheel", "6", piece.Shelf, "wants a window first"))
		}
		b := h.Balance()
		got = piece.Balance{
			Described: got.Described + b.Described, Finished: got.Finished + b.Finished, Offcut: got.Offcut + b.Offcut,
			Uncut: got.Uncut + b.Uncut, Loss: got.Loss + b.Loss, Unexplained: got.Unexplained + b.Unexplained,
		}
		for _, l := range h.Losses {
			lost[l.Reason] += l.MassUg
		}
	}
	want := piece.Balance{Described: 185_760_000, Finished: 5_226_000, Offcut: 2_730_000, Uncut: 88_400_000, Loss: 89_404_000}
	if got != want {
		t.Errorf("got %+v, want %+v", got, want)
	}
	for reason, ug := range map[piecev1.Reason]int64{
		kerf: 4_760_000, piecev1.Reason_REASON_GROUND_OFF: 7_184_000, waste: 76_410_000, crack: 1_050_000,
	} {
		if lost[reason] != ug {
			t.Errorf("%v took %d µg, want %d", reason, lost[reason], ug)
		}
	}
}
