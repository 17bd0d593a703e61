package piece_test

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
)

func TestWeighedAgain(t *testing.T) {
	dop := func(ug int64) piece.Work {
		w := set("1A", piecev1.Step_STEP_DOP, piecev1.Reason_REASON_GROUND_OFF, out("1A", ug))
		w.MassIn = weighed(ug)
		return w
	}
	t.Run("rule 4 refused: on a scale so coarse that it excuses anything", func(t *testing.T) {
		w := dop(130_000_000)
		w.MassIn.DivisionUg = 100_000_000
		_, err := sawn(t).Work(w)
		ruletest.Refused(t, err, rule.MassInvalid, "mass_in.division_ug")
	})
	t.Run("rule 4 refused: small differences never add up", func(t *testing.T) {
		h := sawn(t)
		h.did(h.Work(dop(9_240_000 + 20_000)))
		_, err := h.Work(dop(9_240_000 + 20_001))
		ruletest.Refused(t, err, rule.WeighingsDiffer, "mass_in.mass_ug")
	})
	t.Run("rule 4 refused: nor where a little is taken off each time", func(t *testing.T) {
		h := sawn(t)
		w := dop(9_240_000 + 20_000)
		w.Out[0].Weighing = weighed(9_240_000 + 15_000)
		h.did(h.Work(w))
		_, err := h.Work(dop(9_240_000 + 15_001))
		ruletest.Refused(t, err, rule.WeighingsDiffer, "mass_in.mass_ug")
	})
	t.Run("rule 4 OK: without weighing again it always goes on", func(t *testing.T) {
		h := sawn(t)
		h.did(h.Work(dop(9_240_000 + 20_000)))
		w := dop(9_240_000 + 20_000)
		w.MassIn = nil
		h.did(h.Work(w)).did(h.Work(w))
	})
	t.Run("rule 4 OK: back to what it should weigh", func(t *testing.T) {
		h := sawn(t)
		h.did(h.Work(dop(9_240_000 + 20_000))).did(h.Work(dop(9_240_000 - 20_000)))
		if b := h.Balance(); b.Unexplained != 20_000 {
			t.Errorf("got %+v", b)
		}
	})
}

// TestNoMassFromNowhere plays bench work on scales of any kind, with weighings as far
// apart as they may be and further: what there is of the piece, and what was lost, never
// come to more than it was described with, nor to less, beyond what the scales allow.
// A part that is worked in one piece counts once, however often it was weighed.
func TestNoMassFromNowhere(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := (&history{t: t}).did(piece.State{}.Describe(facts(), &piecev1.Described_Private{}))
		settled, allowed := int64(0), map[string]int64{} // by part, as long as it stays in one
		division := rapid.SampledFrom([]int64{1, 2_000, 10_000, 100_000, 1_000_000, 100_000_000})
		t.Repeat(map[string]func(*rapid.T){
			"": func(t *rapid.T) {
				b, most := h.Balance(), settled
				for _, ug := range allowed {
					most += ug
				}
				if apart := b.Finished + b.Offcut + b.Uncut + b.Loss - b.Described; apart > most || apart < -most {
					t.Fatalf("%+v: %d µg from nowhere, the scales allow %d", b, apart, most)
				}
			},
			"work": func(t *rapid.T) {
				if len(h.Parts) == 0 {
					return // nothing is left
				}
				part := rapid.SampledFrom(h.Parts).Draw(t, "part")
				w := set(part.Name, piecev1.Step_STEP_GRIND, piecev1.Reason_REASON_GROUND_OFF)
				left := part.Weighing.GetMassUg()
				tolerance := int64(0)
				if rapid.IntRange(0, 3).Draw(t, "weighed again") > 0 {
					d := division.Draw(t, "division")
					tolerance = part.Due.GetDivisionUg() + d
					left = part.Due.GetMassUg() + rapid.SampledFrom([]int64{-tolerance - 1, -tolerance, -1, 1, tolerance, tolerance + 1}).Draw(t, "apart")
					w.MassIn = &eventv1.Weighing{MassUg: left, DivisionUg: d}
				}
				parts := rapid.IntRange(0, 3).Draw(t, "parts")
				for i := range parts {
					o := out(fmt.Sprintf("%d.%d", len(h.events), i), left/int64(parts))
					if o.Weighing.DivisionUg = division.Draw(t, "division"); parts == 1 && rapid.Bool().Draw(t, "keeps the name") {
						o.Name = part.Name
					}
					o.Weighing.MassUg -= rapid.Int64Range(0, 2).Draw(t, "loss")
					w.Out = append(w.Out, o)
				}
				e, err := h.Work(w)
				if err != nil {
					return
				}
				h.did(e, nil)
				used := max(allowed[part.Name], tolerance)
				delete(allowed, part.Name)
				if len(w.Out) == 1 {
					allowed[w.Out[0].Name] = used
				} else {
					settled += used
				}
			},
			"finish": func(t *rapid.T) {
				if len(h.Parts) == 0 {
					return // nothing is left
				}
				part := rapid.SampledFrom(h.Parts).Draw(t, "part")
				stone := &eventv1.Weighing{MassUg: part.Weighing.GetMassUg() + rapid.Int64Range(-3, 3).Draw(t, "apart"), DivisionUg: division.Draw(t, "division")}
				if e, err := h.Finish(finish("m", part.Name, fmt.Sprint("s", len(h.events)), stone)); err == nil {
					h.did(e, nil)
				}
			},
		})
	})
}
