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

const hundredth = 10_000

func weighed(ug int64) *eventv1.Weighing {
	return &eventv1.Weighing{MassUg: ug, DivisionUg: hundredth}
}

func out(name string, ug int64) piece.Out { return piece.Out{Name: name, Weighing: weighed(ug)} }

type history struct {
	t interface {
		Helper()
		Fatal(...any)
	}
	piece.State
	events []*piecev1.Event
}

func (h *history) did(e *piecev1.Event, err error) *history {
	h.t.Helper()
	if err != nil {
		h.t.Fatal(err)
	}
	h.events = append(h.events, e)
	h.State = piece.Evolve(h.State, e)
	return h
}

func facts() *piecev1.Described_Public {
	return &piecev1.Described_Public{
		PieceId: "p1-1", ParcelId: "p1", Label: "1", Weighing: weighed(34_200_000), Kind: eventv1.Kind_KIND_BOULDER, Count: 1,
		Size: &eventv1.Size{LengthUm: 46_000, WidthUm: 31_000, DepthUm: 14_000},
	}
}

func described(t testing.TB) *history {
	t.Helper()
	return (&history{t: t}).did(piece.State{}.Describe(facts(), &piecev1.Described_Private{}))
}

func saw(part string, outs ...piece.Out) piece.Work {
	return piece.Work{Member: "wet-wheel", Part: part, Step: piecev1.Step_STEP_SAW, Reason: piecev1.Reason_REASON_KERF, Out: outs}
}

func set(part string, step piecev1.Step, reason piecev1.Reason, outs ...piece.Out) piece.Work {
	return piece.Work{Member: "wet-wheel", Part: part, Step: step, Reason: reason, Out: outs}
}

// sawn is piece 1 of P1 after its first cut.
func sawn(t testing.TB) *history {
	h := described(t)
	return h.did(h.Work(saw("1", out("1A", 9_240_000), out("1B", 23_440_000))))
}

func TestDescribe(t *testing.T) {
	refused := func(name string, change func(*piecev1.Described_Public), reason rule.Reason, field string) {
		t.Run(name, func(t *testing.T) {
			f := facts()
			change(f)
			_, err := piece.State{}.Describe(f, &piecev1.Described_Private{})
			ruletest.Refused(t, err, reason, field)
		})
	}
	refused("rule 1 refused: a piece without size", func(f *piecev1.Described_Public) { f.Size = nil }, rule.SizeInvalid, "size")
	refused("rule 1 refused: a size of zero", func(f *piecev1.Described_Public) { f.Size.DepthUm = 0 }, rule.SizeInvalid, "size.depth_um")
	refused("rule 1 refused: no kind", func(f *piecev1.Described_Public) { f.Kind = 0 }, rule.NotAnswered, "kind")
	refused("rule 1 refused: a count of zero", func(f *piecev1.Described_Public) { f.Count = 0 }, rule.CountInvalid, "count")
	refused("rule 1 refused: a mass below zero", func(f *piecev1.Described_Public) { f.Weighing = weighed(-1) }, rule.MassInvalid, "weighing.mass_ug")
	t.Run("rule 1 refused: described twice", func(t *testing.T) {
		_, err := described(t).Describe(facts(), &piecev1.Described_Private{})
		ruletest.Refused(t, err, rule.AlreadyThere, "")
	})
	t.Run("rule 1 OK: a counted lot needs no size", func(t *testing.T) {
		f := facts()
		f.Size, f.Count = nil, 9
		if _, err := (piece.State{}).Describe(f, &piecev1.Described_Private{}); err != nil {
			t.Error(err)
		}
	})
}

func TestWork(t *testing.T) {
	refused := func(name string, h *history, w piece.Work, reason rule.Reason, field string) {
		t.Run(name, func(t *testing.T) {
			_, err := h.Work(w)
			ruletest.Refused(t, err, reason, field)
		})
	}
	t.Run("OK: the demo's first cut", func(t *testing.T) {
		h := sawn(t)
		if h.Losses.Of(piecev1.Reason_REASON_KERF) != 1_520_000 || len(h.Parts) != 2 || h.Parts[0].Name != "1A" || h.Parts[0].Fate != piece.InWork {
			t.Errorf("got %+v", h.State)
		}
	})
	refused("rule 2 refused: no such part", sawn(t), saw("9", out("9A", 1)), rule.NotFound, "part")
	refused("rule 2 refused: a part that was cut up", sawn(t), saw("1", out("1C", 1)), rule.NotFound, "part")
	shelved := sawn(t)
	shelved.did(shelved.Place("wet-wheel", "1B", piece.Shelf, "another day"))
	refused("rule 2 refused: on the shelf", shelved, saw("1B", out("1E", 1)), rule.PartNotInWork, "part")
	t.Run("rule 2 OK: placed back in work first", func(t *testing.T) {
		h := shelved
		h.did(h.Place("wet-wheel", "1B", piece.InWork, "")).did(h.Work(saw("1B", out("1E", 23_000_000))))
	})
	f := facts()
	f.Count = 9
	lot := (&history{t: t}).did(piece.State{}.Describe(f, &piecev1.Described_Private{}))
	refused("rule 3 refused: a counted lot", lot, saw("1", out("1A", 1)), rule.CountedLot, "piece_id")
	t.Run("rule 3 OK: a counted lot is placed", func(t *testing.T) {
		if _, err := lot.Place("wet-wheel", "1", piece.Shelf, ""); err != nil {
			t.Error(err)
		}
	})
	t.Run("rule 4: weighed again, within both divisions and no more", func(t *testing.T) {
		h := sawn(t)
		w := saw("1A", out("1C", 5_020_000), out("1D", 4_050_000))
		w.MassIn = weighed(9_240_000 - 20_000)
		again := &history{t: t, State: h.State}
		again.did(h.Work(w))
		if b := again.Balance(); b.Unexplained != 20_000 || b.Loss != 1_520_000+150_000 {
			t.Errorf("got %+v", b)
		}
		w.MassIn = weighed(9_240_000 - 20_001)
		_, err := h.Work(w)
		ruletest.Refused(t, err, rule.WeighingsDiffer, "mass_in.mass_ug")
	})
	refused("rule 5 refused: more out than in", sawn(t), saw("1A", out("1C", 9_240_001)), rule.HeavierThanBefore, "parts_out")
	refused("refused: a mass of zero", sawn(t), saw("1A", out("1C", 0)), rule.MassInvalid, "parts_out[0].weighing.mass_ug")
	refused("rule 6 refused: loss without a reason", sawn(t), set("1A", piecev1.Step_STEP_TRIM, 0, out("1C", 5_000_000)), rule.LossNeedsReason, "reason")
	refused("rule 6 refused: kerf without a saw", sawn(t), set("1A", piecev1.Step_STEP_TRIM, piecev1.Reason_REASON_KERF, out("1C", 5_000_000)), rule.KerfWithoutSaw, "reason")
	refused("rule 6 refused: a split with kerf", sawn(t), set("1A", piecev1.Step_STEP_SPLIT, piecev1.Reason_REASON_KERF, out("1C", 5_000_000)), rule.KerfWithoutSaw, "reason")
	t.Run("rule 6 OK: no loss needs no reason", func(t *testing.T) {
		h := sawn(t)
		h.did(h.Work(set("1A", piecev1.Step_STEP_DOP, 0, out("1A", 9_240_000))))
	})
	refused("rule 7 refused: a name there is", sawn(t), saw("1A", out("1B", 1_000_000)), rule.NamedTwice, "parts_out[0].name")
	refused("rule 7 refused: a name there was", sawn(t), saw("1A", out("1", 1_000_000)), rule.NamedTwice, "parts_out[0].name")
	refused("rule 7 refused: a name twice in one step", sawn(t), saw("1A", out("1C", 1_000_000), out("1C", 1_000_000)), rule.NamedTwice, "parts_out[1].name")
	refused("rule 7 refused: no name", sawn(t), saw("1A", out("1 C", 1_000_000)), rule.FieldInvalid, "parts_out[0].name")
	t.Run("rule 7 OK: a part keeps its name, and so does one of the parts", func(t *testing.T) {
		h := sawn(t)
		h.did(h.Work(set("1A", piecev1.Step_STEP_TRIM, piecev1.Reason_REASON_WASTE, out("1A", 5_000_000), out("1A'", 1_000_000))))
		h.did(h.Work(set("1A", piecev1.Step_STEP_GRIND, piecev1.Reason_REASON_GROUND_OFF, out("1A", 4_000_000))))
	})
	refused("rule 8 refused: set aside and still there", sawn(t), set("1B", piecev1.Step_STEP_SET_ASIDE, piecev1.Reason_REASON_WASTE, out("1B", 1)), rule.SetAsideLeavesParts, "parts_out")
	t.Run("rule 8 OK: set aside, and broken at another step", func(t *testing.T) {
		h := sawn(t)
		h.did(h.Work(set("1B", piecev1.Step_STEP_SET_ASIDE, piecev1.Reason_REASON_WASTE)))
		h.did(h.Work(set("1A", piecev1.Step_STEP_GRIND, piecev1.Reason_REASON_CRACK_OPENED)))
		if b := h.Balance(); b.Loss != b.Described || len(h.Parts) != 0 {
			t.Errorf("got %+v", b)
		}
	})
}

func TestMaxParts(t *testing.T) {
	names := func(step, n int) (outs []piece.Out) {
		for i := range n {
			outs = append(outs, out(fmt.Sprintf("%d.%d", step, i), 1_000))
		}
		return outs
	}
	h := described(t)
	t.Run("rule 11 refused: 51 parts of one step", func(t *testing.T) {
		_, err := h.Work(saw("1", names(0, 51)...))
		ruletest.Refused(t, err, rule.CountInvalid, "parts_out")
	})
	t.Run("rule 11 refused: the 501st part", func(t *testing.T) {
		part := "1"
		for step := range 9 {
			outs := names(step, 50)
			outs[0].Weighing = weighed(30_000_000 - int64(step)*1_000_000)
			h.did(h.Work(saw(part, outs...)))
			part = outs[0].Name
		}
		_, err := h.Work(saw(part, names(9, 50)...))
		ruletest.Refused(t, err, rule.TooManyParts, "parts_out")
		h.did(h.Work(saw(part, names(9, 49)...)))
	})
}

// finish is finishing a part where no rest is set.
func finish(member, part, stoneID string, stone *eventv1.Weighing) piece.Finishing {
	return piece.Finishing{Member: member, Part: part, StoneID: stoneID, Stone: stone}
}

func TestFinish(t *testing.T) {
	stone := &eventv1.Weighing{MassUg: 608_000, DivisionUg: 2_000}
	h := sawn(t)
	t.Run("rule 9 refused: heavier than its part", func(t *testing.T) {
		_, err := h.Finish(finish("wet-wheel", "1A", "s1", weighed(9_240_001)))
		ruletest.Refused(t, err, rule.HeavierThanBefore, "weighing.mass_ug")
	})
	t.Run("rules 2 and 3 refused: no part, a shelved part, a counted lot", func(t *testing.T) {
		_, err := h.Finish(finish("wet-wheel", "9", "s1", stone))
		ruletest.Refused(t, err, rule.NotFound, "part")
		s := &history{t: t, State: h.State}
		s.did(s.Place("wet-wheel", "1A", piece.Offcut, ""))
		_, err = s.Finish(finish("wet-wheel", "1A", "s1", stone))
		ruletest.Refused(t, err, rule.PartNotInWork, "part")
	})
	done := &history{t: t, State: h.State}
	done.did(h.Finish(finish("wet-wheel", "1A", "s1", stone)))
	t.Run("rule 9 OK: the difference was ground off", func(t *testing.T) {
		if b := done.Balance(); b.Finished != 608_000 || done.Losses.Of(piecev1.Reason_REASON_GROUND_OFF) != 9_240_000-608_000 {
			t.Errorf("got %+v", b)
		}
	})
	t.Run("rule 10 refused: a stone is worked, placed or finished", func(t *testing.T) {
		_, err := done.Work(saw("1A", out("1C", 1)))
		ruletest.Refused(t, err, rule.PartNotInWork, "part")
		_, err = done.Place("wet-wheel", "1A", piece.Shelf, "")
		ruletest.Refused(t, err, rule.PartNotInWork, "part")
		_, err = done.Finish(finish("wet-wheel", "1A", "s2", stone))
		ruletest.Refused(t, err, rule.PartNotInWork, "part")
	})
}

// TestMassesClose plays random bench work: whatever is accepted, the piece's masses
// close, and nothing anybody holds changes.
func TestMassesClose(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := (&history{t: t}).did(piece.State{}.Describe(facts(), &piecev1.Described_Private{}))
		stones := 0
		t.Repeat(map[string]func(*rapid.T){
			"": func(t *rapid.T) {
				b := h.Balance()
				if sum := b.Finished + b.Offcut + b.Uncut + b.Loss + b.Unexplained + b.MovedOn; sum != b.Described {
					t.Fatalf("%+v is %d apart", b, b.Described-sum)
				}
			},
			"work": func(t *rapid.T) {
				if len(h.Parts) == 0 {
					return // nothing is left
				}
				part := rapid.SampledFrom(h.Parts).Draw(t, "part")
				w := set(part.Name, piecev1.Step(rapid.Int32Range(1, 13).Draw(t, "step")), piecev1.Reason(rapid.Int32Range(0, 11).Draw(t, "reason")))
				in := part.Weighing.GetMassUg()
				if rapid.Bool().Draw(t, "weighed again") {
					in += rapid.Int64Range(-25_000, 25_000).Draw(t, "apart")
					w.MassIn = weighed(in)
				}
				for i := range rapid.IntRange(0, 3).Draw(t, "parts") {
					ug := rapid.Int64Range(1, max(1, in)).Draw(t, "mass")
					w.Out = append(w.Out, piece.Out{
						Name: fmt.Sprintf("%d.%d", len(h.events), i), Weighing: weighed(ug), Fate: piece.Fate(rapid.IntRange(0, 3).Draw(t, "fate")),
					})
					if in -= ug; rapid.Bool().Draw(t, "keeps the name") {
						w.Out[i].Name = part.Name
					}
				}
				if e, err := h.Work(w); err == nil {
					h.did(e, nil)
				}
			},
			"count": func(t *rapid.T) {
				if len(h.Parts) == 0 {
					return // nothing is left
				}
				part := rapid.SampledFrom(h.Parts).Draw(t, "part")
				ug := rapid.Int64Range(1, 34_200_000).Draw(t, "mass")
				if e, err := h.Recount(piece.Counting{CountID: "c", Person: "keeper", Part: part.Name, Weighing: weighed(ug)}); err == nil {
					h.did(e, nil)
				}
			},
			"cut again": func(t *rapid.T) {
				r := piece.Recutting{
					StoneID: fmt.Sprint("s", rapid.IntRange(0, stones+1).Draw(t, "stone")), Stone: weighed(rapid.Int64Range(1, 34_200_000).Draw(t, "mass")),
					Reason: piecev1.Reason(rapid.Int32Range(0, 11).Draw(t, "reason")),
				}
				if e, err := h.Recut(r); err == nil {
					h.did(e, nil)
				}
			},
			"move on and back": func(t *rapid.T) {
				if len(h.Parts) == 0 {
					return // nothing is left
				}
				part := rapid.SampledFrom(h.Parts).Draw(t, "part")
				m := piece.Move{Part: part.Name, LotID: "l1"}
				if rapid.Bool().Draw(t, "weighed again") {
					m.Weighing = weighed(max(1, part.Weighing.GetMassUg()+rapid.Int64Range(-25_000, 25_000).Draw(t, "apart")))
				}
				if e, err := h.MoveOn(m); err == nil {
					h.did(e, nil)
				} else if e, err := h.TakeBack("m", part.Name); err == nil {
					h.did(e, nil)
				}
			},
			"wait and decide": func(t *rapid.T) {
				if len(h.Parts) == 0 {
					return // nothing is left
				}
				part := rapid.SampledFrom(h.Parts).Draw(t, "part")
				if e, err := h.AwaitDecision("m", part.Name, "wants a window first"); err == nil {
					h.did(e, nil)
				} else if e, err := h.Decide("m", part.Name, "rubbed one"); err == nil {
					h.did(e, nil)
				}
			},
			"place": func(t *rapid.T) {
				if len(h.Parts) == 0 {
					return // nothing is left
				}
				part := rapid.SampledFrom(h.Parts).Draw(t, "part")
				if e, err := h.Place("m", part.Name, piece.Fate(rapid.IntRange(1, 3).Draw(t, "fate")), ""); err == nil {
					h.did(e, nil)
				}
			},
			"finish": func(t *rapid.T) {
				if len(h.Parts) == 0 {
					return // nothing is left
				}
				part := rapid.SampledFrom(h.Parts).Draw(t, "part")
				stones++
				if e, err := h.Finish(finish("m", part.Name, fmt.Sprint("s", stones), weighed(rapid.Int64Range(1, 34_200_000).Draw(t, "mass")))); err == nil {
					h.did(e, nil)
				}
			},
		})
	})
}

func TestUnaliased(t *testing.T) {
	h := sawn(t)
	h.did(h.Work(saw("1A", out("1C", 5_000_000), out("1D", 4_000_000))))
	h.did(h.Place("m", "1B", piece.Shelf, "")).did(h.Place("m", "1B", piece.InWork, ""))
	for i, part := range []string{"1D", "1E0", "1E1", "1E2"} { // so that the list of used-up names has room at its end
		h.did(h.Work(set(part, piecev1.Step_STEP_TRIM, piecev1.Reason_REASON_WASTE, out(fmt.Sprint("1E", i), 3_000_000-int64(i)))))
	}
	h.did(h.Finish(finish("m", "1C", "s1", weighed(600_000)))).did(h.Work(set("1B", piecev1.Step_STEP_SET_ASIDE, piecev1.Reason_REASON_WASTE)))
	ruletest.Unaliased(t, piece.Evolve, h.events...)
}
