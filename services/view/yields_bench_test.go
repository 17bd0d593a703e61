package view_test

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	domain "seamshare.example/services/domain/piece"
)

// TestYieldFollowsThePiece plays random bench work that the rules let through: after
// each event the parcel's yield is the piece's own balance, and all mass is in it.
func TestYieldFollowsThePiece(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBookRapid(t)
		b.found(50_000)
		b.list("p1", "billycart", 100, piece{label: "1", massUg: 34_200_000})
		var s domain.State
		s = domain.Evolve(s, &piecev1.Event{Event: &piecev1.Event_Described{Described: &piecev1.Described{Public: &piecev1.Described_Public{
			PieceId: "p1-1", ParcelId: "p1", Label: "1", Weighing: grams(34_200_000), Count: 1,
		}}}})
		stones := 0
		for step := range rapid.IntRange(1, 30).Draw(t, "steps") {
			if len(s.Parts) == 0 {
				break
			}
			part := rapid.SampledFrom(s.Parts).Draw(t, "part")
			mass := part.Weighing.GetMassUg()
			less := func(what string) *eventv1.Weighing { return grams(rapid.Int64Range(1, max(1, mass)).Draw(t, what)) }
			var e *piecev1.Event
			var err error
			switch rapid.IntRange(0, 6).Draw(t, "what") {
			case 0:
				out := less("out")
				w := domain.Work{Part: part.Name, Step: piecev1.Step_STEP_SAW, Reason: piecev1.Reason_REASON_KERF, Out: []domain.Out{{Name: fmt.Sprint(step, "a"), Weighing: out}}}
				if rest := mass - out.GetMassUg() - 1; rest > 0 {
					w.Out = append(w.Out, domain.Out{Name: fmt.Sprint(step, "b"), Weighing: grams(rest), Fate: domain.Offcut})
				}
				e, err = s.Work(w)
			case 1:
				e, err = s.Place("m", part.Name, domain.Fate(rapid.IntRange(1, 3).Draw(t, "fate")), "")
			case 2:
				stones++
				e, err = s.Finish(domain.Finishing{Part: part.Name, StoneID: fmt.Sprint("s", stones), Stone: less("stone")})
			case 3:
				e, err = s.Recount(domain.Counting{Part: part.Name, Weighing: grams(rapid.Int64Range(1, 40_000_000).Draw(t, "counted"))})
			case 4:
				e, err = s.Recut(domain.Recutting{StoneID: part.StoneID, Stone: less("recut"), Reason: piecev1.Reason_REASON_CHIPPED_EDGE})
			case 5:
				e, err = s.MoveOn(domain.Move{Part: part.Name, LotID: "l", Weighing: grams(max(1, mass+rapid.Int64Range(-20_000, 20_000).Draw(t, "apart")))})
			case 6:
				e, err = s.TakeBack("m", part.Name)
			}
			if err != nil {
				continue // the rules don't let it through
			}
			s = domain.Evolve(s, e)
			b.pieceEvent("p1-1", e)
			y, is := b.yieldOf("p1"), s.Balance()
			got := domain.Balance{Described: y.BoughtUg, Finished: y.FinishedUg, Offcut: y.OffcutUg, Uncut: y.UncutUg, Loss: y.LossUg, Unexplained: y.UnexplainedUg, MovedOn: y.MovedOnUg}
			if got != is {
				t.Fatalf("after %v\nthe view has  %+v\nthe piece has %+v", e, got, is)
			}
			if sum := y.FinishedUg + y.OffcutUg + y.UncutUg + y.LossUg + y.UnexplainedUg + y.MovedOnUg; sum != y.BoughtUg {
				t.Fatalf("%d of %d is accounted for", sum, y.BoughtUg)
			}
		}
	})
}
