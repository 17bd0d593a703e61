package piece_test

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// rested is a moment after noon, 72 h of rest being set.
func rested(after time.Duration, why string) piece.When {
	return piece.When{Now: noon.Add(after), Rest: 72 * time.Hour, WhyEarly: why}
}

// unweighed is a step on a part that nobody weighed.
func unweighed(part string, step piecev1.Step, when piece.When) piece.Work {
	return piece.Work{Member: "wet-wheel", Part: part, Step: step, NotWeighed: true, When: when}
}

// shaped is part 1A, shaped at noon.
func shaped(t testing.TB) *history {
	h := sawn(t)
	return h.did(h.Work(unweighed("1A", piecev1.Step_STEP_SHAPE, rested(0, ""))))
}

func TestRest(t *testing.T) {
	stone := &eventv1.Weighing{MassUg: 374_000, DivisionUg: 2_000}
	finishAt := func(part string, when piece.When) piece.Finishing {
		return piece.Finishing{Member: "wet-wheel", Part: part, StoneID: "s8", Stone: stone, When: when}
	}
	t.Run("rule 12 refused: sanded, polished and finished before the time is over", func(t *testing.T) {
		h := shaped(t)
		for _, step := range []piecev1.Step{piecev1.Step_STEP_SAND, piecev1.Step_STEP_POLISH} {
			_, err := h.Work(unweighed("1A", step, rested(71*time.Hour+59*time.Minute, "")))
			ruletest.Refused(t, err, rule.NotRested, "why_early")
		}
		_, err := h.Finish(finishAt("1A", rested(41*time.Hour, "")))
		ruletest.Refused(t, err, rule.NotRested, "why_early")
	})
	t.Run("rule 12 OK: the demo's stone 8 after 41 h, with the reason", func(t *testing.T) {
		h := shaped(t)
		h.did(h.Finish(finishAt("1A", rested(41*time.Hour, "asked for by the carrier's day"))))
		e := h.events[len(h.events)-1].GetFinished()
		if e.GetPublic().GetRestedS() != 41*3600 || e.GetPrivate().GetWhyEarly() != "asked for by the carrier's day" || e.GetPublic().GetRestNotKnown() {
			t.Errorf("got %v", e)
		}
	})
	t.Run("rule 12 OK: after the time, a reason is not kept", func(t *testing.T) {
		h := shaped(t)
		h.did(h.Work(unweighed("1A", piecev1.Step_STEP_POLISH, rested(72*time.Hour, "no need of it"))))
		if e := h.events[len(h.events)-1].GetWorked(); e.GetPublic().GetRestedS() != 0 || e.GetPrivate().GetWhyEarly() != "" {
			t.Errorf("got %v", e)
		}
	})
	t.Run("rule 12 refused: finished without a recorded shaping", func(t *testing.T) {
		h := sawn(t)
		_, err := h.Finish(finishAt("1A", rested(0, "")))
		ruletest.Refused(t, err, rule.NotRested, "why_early")
		h.did(h.Finish(finishAt("1A", rested(0, "shaped by another"))))
		if !h.events[len(h.events)-1].GetFinished().GetPublic().GetRestNotKnown() {
			t.Error("the chain doesn't say that the rest isn't known")
		}
	})
	t.Run("rule 12 OK: what is cut of a shaped part has its rest, and shaping begins it anew", func(t *testing.T) {
		h := shaped(t)
		w := saw("1A", out("1C", 5_000_000), out("1D", 4_000_000))
		w.When = rested(72*time.Hour, "")
		h.did(h.Work(w))
		h.did(h.Work(unweighed("1C", piecev1.Step_STEP_POLISH, rested(72*time.Hour, ""))))
		h.did(h.Work(unweighed("1D", piecev1.Step_STEP_SHAPE, rested(73*time.Hour, ""))))
		_, err := h.Work(unweighed("1D", piecev1.Step_STEP_POLISH, rested(74*time.Hour, "")))
		ruletest.Refused(t, err, rule.NotRested, "why_early")
	})
	t.Run("rule 13 refused: a moment to come, and one before the last step", func(t *testing.T) {
		h := shaped(t)
		when := rested(time.Hour, "")
		when.Done = noon.Add(2 * time.Hour)
		_, err := h.Work(unweighed("1A", piecev1.Step_STEP_DOP, when))
		ruletest.Refused(t, err, rule.TimeInvalid, "done_at")
		when.Done = noon.Add(-time.Minute)
		_, err = h.Work(unweighed("1A", piecev1.Step_STEP_DOP, when))
		ruletest.Refused(t, err, rule.TimeInvalid, "done_at")
	})
	t.Run("rule 14: a step that parts is weighed, one that isn't has no masses and loses none", func(t *testing.T) {
		h := shaped(t)
		for _, step := range []piecev1.Step{piecev1.Step_STEP_SAW, piecev1.Step_STEP_SPLIT, piecev1.Step_STEP_SET_ASIDE} {
			_, err := h.Work(unweighed("1A", step, rested(0, "")))
			ruletest.Refused(t, err, rule.FieldInvalid, "not_weighed")
		}
		w := unweighed("1A", piecev1.Step_STEP_DOP, rested(0, ""))
		w.Out = []piece.Out{out("1A", 9_240_000)}
		_, err := h.Work(w)
		ruletest.Refused(t, err, rule.FieldInvalid, "not_weighed")
		if part, ok := h.Part("1A"); !ok || part.Weighing.GetMassUg() != 9_240_000 || len(h.Losses) != 1 {
			t.Errorf("got %+v", h.State)
		}
	})
}

func plan(stones ...*piecev1.PlannedStone) *piecev1.Plan {
	return &piecev1.Plan{Label: "two on the open part", Stones: stones, Steps: []string{"saw at 12.5 mm"}, Minutes: 90, Reason: "expected 1 463"}
}

func planned(chance uint32) *piecev1.PlannedStone {
	return &piecev1.PlannedStone{
		Label: "a", Outline: stonev1.Outline_OUTLINE_OVAL, Size: &eventv1.Size{LengthUm: 10_000, WidthUm: 7_000, DepthUm: 2_800}, ChanceBp: chance,
		Worth: &eventv1.Amount{Currency: "AUD", Minor: 26_000},
	}
}

func TestPlans(t *testing.T) {
	h := described(t)
	t.Run("rule 15 refused: no chance, another currency, no reason", func(t *testing.T) {
		p := plan(planned(0))
		p.Stones[0].Worth.Currency, p.Reason = "EUR", ""
		_, err := h.MakePlan("wet-wheel", "p", p, nil, "AUD")
		ruletest.Refused(t, err, rule.FieldInvalid, "plan.stones[0].chance_bp")
		ruletest.Refused(t, err, rule.CurrencyDiffers, "plan.stones[0].worth.currency_code")
		ruletest.Refused(t, err, rule.FieldInvalid, "plan.reason")
	})
	h.did(h.MakePlan("wet-wheel", "bold", plan(planned(7_000)), nil, "AUD")).did(h.MakePlan("wet-wheel", "safe", plan(planned(10_000)), nil, "AUD"))
	t.Run("rule 15 OK: every revision is kept, also of a chosen plan", func(t *testing.T) {
		h := &history{t: t, State: h.State}
		h.did(h.ChoosePlan("wet-wheel", "bold", "it pays"))
		h.did(h.RevisePlan("wet-wheel", "bold", plan(planned(6_000), planned(6_000)), nil, "the bar dips", "AUD"))
		got, _ := h.Of("wet-wheel").Chosen()
		if got.ID != "bold" || len(got.Revisions) != 2 || got.Revisions[0].Plan.GetStones()[0].GetChanceBp() != 7_000 || got.Now().Why != "the bar dips" {
			t.Errorf("got %+v", got)
		}
		_, err := h.RevisePlan("wet-wheel", "bold", plan(), nil, "", "AUD")
		ruletest.Refused(t, err, rule.FieldInvalid, "why")
	})
	t.Run("rule 15 OK: one plan is chosen at a time, with a reason", func(t *testing.T) {
		h := &history{t: t, State: h.State}
		_, err := h.ChoosePlan("wet-wheel", "bold", "")
		ruletest.Refused(t, err, rule.FieldInvalid, "reason")
		h.did(h.ChoosePlan("wet-wheel", "bold", "it pays")).did(h.ChoosePlan("wet-wheel", "safe", "on second thoughts"))
		bold, _ := h.Of("wet-wheel").Plan("bold")
		if chosen, ok := h.Of("wet-wheel").Chosen(); !ok || chosen.ID != "safe" || bold.Stage != piece.PlanOpen {
			t.Errorf("got %+v and %+v", chosen, bold)
		}
		_, err = h.ChoosePlan("wet-wheel", "safe", "again")
		ruletest.Refused(t, err, rule.AlreadyThere, "plan_id")
	})
	t.Run("rule 15 refused: a dropped plan is chosen, revised, dropped", func(t *testing.T) {
		h := &history{t: t, State: h.State}
		h.did(h.DropPlan("wet-wheel", "bold", "too bold"))
		_, err := h.ChoosePlan("wet-wheel", "bold", "x")
		ruletest.Refused(t, err, rule.PlanIsDropped, "plan_id")
		_, err = h.RevisePlan("wet-wheel", "bold", plan(), nil, "x", "AUD")
		ruletest.Refused(t, err, rule.PlanIsDropped, "plan_id")
		_, err = h.DropPlan("wet-wheel", "none", "x")
		ruletest.Refused(t, err, rule.NotFound, "plan_id")
	})
}

func TestDecisions(t *testing.T) {
	h := sawn(t)
	h.did(h.AwaitDecision("wet-wheel", "1B", "wants a window first"))
	t.Run("rule 16 refused: worked, placed or finished while it waits", func(t *testing.T) {
		_, err := h.Work(saw("1B", out("1E", 1)))
		ruletest.Refused(t, err, rule.PartNotInWork, "part")
		_, err = h.Place("wet-wheel", "1B", piece.Shelf, "")
		ruletest.Refused(t, err, rule.PartNotInWork, "part")
		_, err = h.Finish(finish("wet-wheel", "1B", "s", weighed(1)))
		ruletest.Refused(t, err, rule.PartNotInWork, "part")
	})
	t.Run("rule 16 refused: no reason, nothing to decide", func(t *testing.T) {
		_, err := h.AwaitDecision("wet-wheel", "1A", "")
		ruletest.Refused(t, err, rule.FieldInvalid, "reason")
		_, err = h.Decide("wet-wheel", "1A", "go on")
		ruletest.Refused(t, err, rule.NothingToDecide, "part")
	})
	t.Run("rule 16 OK: it goes on when it is decided", func(t *testing.T) {
		h := &history{t: t, State: h.State}
		h.did(h.Decide("wet-wheel", "1B", "rubbed a window: nothing")).did(h.Work(set("1B", piecev1.Step_STEP_SET_ASIDE, waste)))
	})
}

func TestCount(t *testing.T) {
	t.Run("rule 17 OK: the demo's part 2B is 30 mg lighter, which stays unexplained", func(t *testing.T) {
		h := sawn(t)
		h.did(h.Place("two-dops", "1B", piece.Shelf, ""))
		h.did(h.Recount(piece.Counting{CountID: "c1", Person: "desk 4", Part: "1B", Weighing: weighed(23_440_000 - 30_000)}))
		if b := h.Balance(); b.Unexplained != 30_000 || b.Described != b.Uncut+b.Loss+b.Unexplained {
			t.Errorf("got %+v", b)
		}
	})
	t.Run("rule 17 OK: a stone too; refused: what moved on", func(t *testing.T) {
		h := sawn(t)
		h.did(h.Finish(finish("two-dops", "1A", "s1", weighed(608_000)))).did(h.Recount(piece.Counting{Part: "1A", Weighing: weighed(606_000)}))
		if b := h.Balance(); b.Finished != 606_000 || b.Unexplained != 2_000 {
			t.Errorf("got %+v", b)
		}
		h.did(h.MoveOn(piece.Move{Part: "1B", LotID: "l"}))
		_, err := h.Recount(piece.Counting{Part: "1B", Weighing: weighed(1)})
		ruletest.Refused(t, err, rule.PartNotInWork, "part")
	})
}

func TestRecut(t *testing.T) {
	h := sawn(t)
	h.did(h.Finish(finish("two-dops", "1A", "s1", weighed(608_000))))
	t.Run("rule 18 refused: heavier, no reason, no such stone", func(t *testing.T) {
		_, err := h.Recut(piece.Recutting{StoneID: "s1", Stone: weighed(608_001)})
		ruletest.Refused(t, err, rule.HeavierThanBefore, "weighing.mass_ug")
		_, err = h.Recut(piece.Recutting{StoneID: "s1", Stone: weighed(600_000)})
		ruletest.Refused(t, err, rule.LossNeedsReason, "reason")
		_, err = h.Recut(piece.Recutting{StoneID: "s2", Stone: weighed(600_000)})
		ruletest.Refused(t, err, rule.NotFound, "stone_id")
	})
	t.Run("rule 18 OK: its loss is the piece's", func(t *testing.T) {
		h := &history{t: t, State: h.State}
		h.did(h.Recut(piece.Recutting{StoneID: "s1", Stone: weighed(570_000), Reason: piecev1.Reason_REASON_CHIPPED_EDGE}))
		if b := h.Balance(); b.Finished != 570_000 || h.Losses.Of(piecev1.Reason_REASON_CHIPPED_EDGE) != 38_000 {
			t.Errorf("got %+v", b)
		}
	})
}

func TestMixUp(t *testing.T) {
	h := sawn(t)
	may, err := h.Mixable("1A")
	if err != nil {
		t.Fatal(err)
	}
	own := may[0]
	other := &piecev1.Candidate{PieceId: "p2", Label: "2", Part: "2A"}
	t.Run("rule 19 refused: alone, without itself, without a word", func(t *testing.T) {
		for _, wrong := range [][]*piecev1.Candidate{{own}, {other, {PieceId: "p3", Part: "3"}}} {
			_, err := h.MixUp("m", "x", "1A", wrong, "the trays fell")
			ruletest.Refused(t, err, rule.CountInvalid, "parts")
		}
		_, err := h.MixUp("m", "x", "1A", []*piecev1.Candidate{own, other}, "")
		ruletest.Refused(t, err, rule.FieldInvalid, "note")
	})
	t.Run("rule 19 refused: one part, or too many", func(t *testing.T) {
		for _, n := range []int{1, piece.MaxMixed + 1} {
			_, err := piece.Between(make([][]*piecev1.Candidate, n))
			ruletest.Refused(t, err, rule.CountInvalid, "parts")
		}
	})
	t.Run("rule 19 OK: a second mix-up carries on the first", func(t *testing.T) {
		h := sawn(t)
		h.did(h.MixUp("m", "x", "1A", []*piecev1.Candidate{own, other}, "the trays fell"))
		may, _ := h.Mixable("1A")
		third := &piecev1.Candidate{PieceId: "p3", Label: "3", Part: "3"}
		between, err := piece.Between([][]*piecev1.Candidate{{third}, may})
		if err != nil || len(between) != 3 {
			t.Fatalf("got %v, %v", between, err)
		}
		_, err = h.MixUp("m", "y", "1A", []*piecev1.Candidate{third, own}, "again")
		ruletest.Refused(t, err, rule.CountInvalid, "parts")
		if h.did(h.MixUp("m", "y", "1A", between, "again")); len(h.Parts[0].Mixed) != 3 {
			t.Errorf("it may be %v", h.Parts[0].Mixed)
		}
	})
	t.Run("rule 19 OK: all that is cut of it stays marked", func(t *testing.T) {
		h.did(h.MixUp("m", "x", "1A", []*piecev1.Candidate{own, other}, "the trays fell"))
		h.did(h.Work(saw("1A", out("1C", 5_000_000))))
		h.did(h.Finish(finish("m", "1C", "s1", weighed(600_000))))
		for _, part := range h.Parts {
			if marked := len(part.Mixed) == 2; marked != (part.Name == "1C") {
				t.Errorf("part %s is marked %t", part.Name, marked)
			}
		}
	})
}

func TestMoveOn(t *testing.T) {
	t.Run("rule 20 OK: into a lot and back to where it stood", func(t *testing.T) {
		h := sawn(t)
		h.did(h.Place("m", "1B", piece.Offcut, "")).did(h.MoveOn(piece.Move{Member: "m", Part: "1B", LotID: "l1", Weighing: weighed(23_430_000)}))
		if b := h.Balance(); b.MovedOn != 23_430_000 || b.Unexplained != 10_000 || b.Offcut != 0 {
			t.Errorf("got %+v", b)
		}
		h.did(h.TakeBack("m", "1B"))
		if part, _ := h.Part("1B"); part.Fate != piece.Offcut || part.LotID != "" {
			t.Errorf("got %+v", part)
		}
	})
	t.Run("rules 4 and 20 refused: otherwise weighed, a stone, twice, back from nowhere", func(t *testing.T) {
		h := sawn(t)
		_, err := h.MoveOn(piece.Move{Part: "1B", LotID: "l1", Weighing: weighed(23_000_000)})
		ruletest.Refused(t, err, rule.WeighingsDiffer, "weighing.mass_ug")
		_, err = h.TakeBack("m", "1B")
		ruletest.Refused(t, err, rule.AlreadyThere, "part")
		h.did(h.Finish(finish("m", "1A", "s1", weighed(600_000)))).did(h.MoveOn(piece.Move{Part: "1B", LotID: "l1"}))
		for _, part := range []string{"1A", "1B"} {
			_, err = h.MoveOn(piece.Move{Part: part, LotID: "l1"})
			ruletest.Refused(t, err, rule.PartNotInWork, "part")
		}
	})
}

func TestOpen(t *testing.T) {
	f := facts()
	f.Count, f.Size, f.Label, f.Weighing = 9, nil, "3", weighed(22_600_000)
	group := (&history{t: t}).did(piece.State{}.Describe(f, &piecev1.Described_Private{}))
	t.Run("rule 22 OK: counts and masses balance", func(t *testing.T) {
		h := &history{t: t, State: group.State}
		h.did(h.Open(piece.Opening{Member: "m", Taken: []*eventv1.Weighing{weighed(3_000_000)}, Count: 1, Left: weighed(19_610_000)}))
		if b := h.Balance(); h.Count != 8 || b.MovedOn != 3_000_000 || b.Unexplained != -10_000 || b.Uncut != 19_610_000 {
			t.Errorf("got %+v", b)
		}
		all := make([]*eventv1.Weighing, 8)
		for i := range all {
			all[i] = weighed(2_450_000)
		}
		h.did(h.Open(piece.Opening{Member: "m", Taken: all, Count: 8}))
		if b := h.Balance(); h.Count != 0 || len(h.Parts) != 0 || b.MovedOn+b.Unexplained != b.Described {
			t.Errorf("got %+v", b)
		}
	})
	t.Run("rule 22 refused: too many, a wrong rest, masses apart, one piece", func(t *testing.T) {
		h := &history{t: t, State: group.State}
		one := []*eventv1.Weighing{weighed(3_000_000)}
		for _, o := range []piece.Opening{{Taken: one, Count: 10}, {Taken: one, Count: 9, Left: weighed(1)}, {Taken: one, Count: 1}} {
			_, err := h.Open(o)
			ruletest.Refused(t, err, rule.CountInvalid, "pieces")
		}
		_, err := h.Open(piece.Opening{Taken: one, Count: 1, Left: weighed(19_615_001)})
		ruletest.Refused(t, err, rule.MassesDontAddUp, "left")
		_, err = described(t).Open(piece.Opening{Taken: one, Count: 1})
		ruletest.Refused(t, err, rule.CountInvalid, "piece_id")
	})
}

func TestStudyAndJudge(t *testing.T) {
	h := sawn(t)
	t.Run("refused: a study of nothing, a photo without a name or a light", func(t *testing.T) {
		_, err := h.Study(piece.Study{ID: "s", Member: "m"})
		ruletest.Refused(t, err, rule.FieldInvalid, "note")
		_, err = h.Study(piece.Study{ID: "s", Member: "m", Photos: []*eventv1.Photo{{MediaType: "text/html"}}})
		for _, field := range []string{"photos[0].sha256", "photos[0].media_type", "photos[0].light"} {
			ruletest.Refused(t, err, rule.FieldInvalid, field)
		}
	})
	t.Run("rule 21: every option valued both ways, in one currency, with a chance and a reason", func(t *testing.T) {
		aud := func(minor int64) *eventv1.Amount { return &eventv1.Amount{Currency: "AUD", Minor: minor} }
		c := piece.Choosing{
			Member: "m", ID: "d", Part: "1A", Kind: piecev1.DecisionKind_DECISION_KIND_INCLUSION, About: "a sand spot", ChanceBp: 10_001, Chosen: 3,
			Options: []piece.Offered{{"keep it", aud(34_000), aud(34_000)}, {"grind it away", aud(40_000), &eventv1.Amount{Currency: "USD"}}},
		}
		_, err := h.Choose(c, "AUD")
		for _, field := range []string{"reason", "chance_bp", "chosen"} {
			ruletest.Refused(t, err, rule.FieldInvalid, field)
		}
		ruletest.Refused(t, err, rule.CurrencyDiffers, "options[1].if_fails.currency_code")
		c.Options = append(c.Options, c.Options[0])
		_, err = h.Choose(c, "AUD")
		ruletest.Refused(t, err, rule.CountInvalid, "options")
		c.Options, c.ChanceBp, c.Reason, c.Chosen = c.Options[:2], 8_000, "the bar is thick there", 2
		c.Options[1].IfFails = aud(0)
		h.did(h.Choose(c, "AUD"))
		h.did(h.ComeOut("m", "d", true, "it went with 0.4 mm"))
		_, err = h.ComeOut("m", "d", false, "")
		ruletest.Refused(t, err, rule.AlreadyThere, "note")
		c.ID, c.Chosen = "sure", 1
		h.did(h.Choose(c, "AUD"))
		_, err = h.ComeOut("m", "sure", true, "")
		ruletest.Refused(t, err, rule.NothingToDecide, "decision_id")
		_, err = h.ComeOut("m", "nothing", true, "")
		ruletest.Refused(t, err, rule.NotFound, "decision_id")
	})
	t.Run("a class is one of the co-op's words; refused: another, a part that became a stone", func(t *testing.T) {
		x := piece.Expectation{Member: "m", Part: "1A", Class: "top", Classes: []string{"top", "plain"}, Why: "the bar runs through"}
		h.did(h.Regrade(x))
		x.Class = "best"
		_, err := h.Regrade(x)
		ruletest.Refused(t, err, rule.FieldInvalid, "class")
		h.did(h.Finish(finish("m", "1A", "s1", weighed(600_000))))
		x.Class = "plain"
		_, err = h.Regrade(x)
		ruletest.Refused(t, err, rule.PartNotInWork, "part")
	})
	t.Run("a second look goes over parts that are there", func(t *testing.T) {
		h.did(h.LookAgain("m", []string{"1A", "1B"}, ""))
		_, err := h.LookAgain("m", []string{"1B", "9"}, "")
		ruletest.Refused(t, err, rule.NotFound, "parts[1]")
	})
}

// TestUnaliasedBench: folding what the bench does changes no state that somebody holds.
func TestUnaliasedBench(t *testing.T) {
	h := shaped(t)
	for _, other := range []string{"2", "3"} {
		own, _ := h.Mixable("1A")
		between, _ := piece.Between([][]*piecev1.Candidate{own, {{PieceId: "p" + other, Part: other}}})
		h.did(h.MixUp("m", "mix "+other, "1A", between, "fell"))
	}
	h.did(h.MakePlan("m", "a", plan(), nil, "AUD")).did(h.MakePlan("m", "b", plan(), nil, "AUD")).did(h.ChoosePlan("m", "a", "r")).did(h.ChoosePlan("m", "b", "r"))
	h.did(h.RevisePlan("m", "a", plan(), nil, "w", "AUD")).did(h.RevisePlan("m", "a", plan(), nil, "w", "AUD")).did(h.DropPlan("m", "a", "r"))
	h.did(h.Study(piece.Study{ID: "s", Member: "m", Note: "n"})).did(h.Study(piece.Study{ID: "s2", Member: "m", Note: "n"}))
	h.did(h.AwaitDecision("m", "1B", "r")).did(h.Decide("m", "1B", "d")).did(h.MoveOn(piece.Move{Part: "1B", LotID: "l"})).did(h.TakeBack("m", "1B"))
	h.did(h.Recount(piece.Counting{Part: "1B", Weighing: weighed(1)}))
	f := finish("m", "1A", "s1", weighed(600_000))
	f.When = rested(72*time.Hour, "")
	h.did(h.Finish(f))
	h.did(h.Recut(piece.Recutting{StoneID: "s1", Stone: weighed(500_000), Reason: piecev1.Reason_REASON_GROUND_OFF}))
	ruletest.Unaliased(t, func(o opened, e *piecev1.Event) opened { return opened{piece.Evolve(o.State, e)} }, h.events...)
}

// opened is a state that is compared with what members keep of it.
type opened struct{ piece.State }

// MarshalJSON implements json.Marshaler.
func (o opened) MarshalJSON() ([]byte, error) {
	all := []any{o.State}
	for _, member := range []string{"m", "wet-wheel"} {
		all = append(all, o.Of(member))
		for _, part := range o.Parts {
			all = append(all, part.Of(member))
		}
	}
	return json.Marshal(all)
}

func TestPapers(t *testing.T) {
	h := sawn(t)
	aud := &eventv1.Amount{Currency: "AUD", Minor: 1}
	choosing := func(member, id string) piece.Choosing {
		return piece.Choosing{
			Member: member, ID: id, Part: "1A", Kind: piecev1.DecisionKind_DECISION_KIND_SEAMS, About: "two seams", ChanceBp: 5_000, Chosen: 2, Reason: "r",
			Options: []piece.Offered{{"one", aud, aud}, {"both", aud, &eventv1.Amount{Currency: "AUD", Minor: 2}}},
		}
	}
	keep := func(member string) {
		h.did(h.Study(piece.Study{ID: "study of " + member, Member: member, Note: "n"}))
		h.did(h.MakePlan(member, "plan of "+member, plan(), nil, "AUD")).did(h.ChoosePlan(member, "plan of "+member, "r"))
		h.did(h.Choose(choosing(member, "choice of "+member), "AUD"))
		h.did(h.Regrade(piece.Expectation{Member: member, Part: "1A", Why: "seen by " + member}))
		w := unweighed("1A", piecev1.Step_STEP_DOP, rested(0, ""))
		w.Member, w.Tray, w.Minutes = member, "tray of "+member, 7
		h.did(h.Work(w)).did(h.AwaitDecision(member, "1A", "wait of "+member))
	}
	keep("first")
	t.Run("rule 23: a member who kept nothing has nothing, whatever others kept", func(t *testing.T) {
		own, part := h.Of("second"), h.Parts[0]
		if len(own.Studies)+len(own.Plans)+len(own.Choices) > 0 || own.Minutes > 0 || part.Of("second") != (piece.Noted{}) || part.Fate != piece.Waiting {
			t.Errorf("got %+v and %+v", own, part)
		}
	})
	t.Run("rule 23 refused: another's plan and decision, which look as if they weren't there", func(t *testing.T) {
		_, err := h.RevisePlan("second", "plan of first", plan(), nil, "w", "AUD")
		ruletest.Refused(t, err, rule.NotFound, "plan_id")
		_, err = h.ChoosePlan("second", "plan of first", "r")
		ruletest.Refused(t, err, rule.NotFound, "plan_id")
		_, err = h.DropPlan("second", "plan of first", "r")
		ruletest.Refused(t, err, rule.NotFound, "plan_id")
		_, err = h.ComeOut("second", "choice of first", true, "")
		ruletest.Refused(t, err, rule.NotFound, "decision_id")
	})
	h.did(h.Decide("second", "1A", "go on"))
	keep("second")
	t.Run("rule 23 OK: each has their own, and chooses one plan at a time", func(t *testing.T) {
		for _, member := range []string{"first", "second"} {
			own, noted := h.Of(member), h.Parts[0].Of(member)
			chosen, _ := own.Chosen()
			if len(own.Studies) != 1 || len(own.Plans) != 1 || len(own.Choices) != 1 || own.Minutes != 7 || chosen.ID != "plan of "+member ||
				noted.Tray != "tray of "+member || noted.Grade.GetWhy() != "seen by "+member {
				t.Errorf("%s has %+v and %+v", member, own, noted)
			}
		}
	})
	t.Run("rule 23: how many plans there may be counts for each", func(t *testing.T) {
		h := &history{t: t, State: h.State}
		for i := range piece.MaxPlans - 1 {
			h.did(h.MakePlan("first", fmt.Sprint(i), plan(), nil, "AUD"))
		}
		_, err := h.MakePlan("first", "more", plan(), nil, "AUD")
		ruletest.Refused(t, err, rule.TooManyPlans, "")
		h.did(h.MakePlan("second", "second", plan(), nil, "AUD"))
	})
}
