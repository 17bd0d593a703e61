package tablestest

import (
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/stage"
)

// decide chooses one of two options, the first sure.
func decide(chosen uint32) func(*World, bench) (bench, error) {
	return func(w *World, b bench) (bench, error) {
		got, err := b.who.Cutter().RecordDecision(w.Ctx(), &cutterv1.RecordDecisionRequest{
			RequestId: command.NewID(), PieceId: b.piece, Part: b.part, Kind: typev1.DecisionKind_DECISION_KIND_SEAMS, About: "two seams at an angle", ChanceBp: 7_000,
			Options: []*typev1.DecisionOption{
				{Name: "the first seam only", IfHolds: cooptest.AUD(135_000), IfFails: cooptest.AUD(135_000)},
				{Name: "both seams", IfHolds: cooptest.AUD(240_000), IfFails: cooptest.AUD(30_000)},
			},
			Chosen: chosen, Reason: "the angle opens outward",
		})
		if err == nil {
			b.choice = got.GetDecision().GetId()
		}
		return b, err
	}
}

func comeOut(held bool) func(*World, bench) error {
	return func(w *World, b bench) error {
		_, err := b.who.Cutter().RecordOutcome(w.Ctx(), &cutterv1.RecordOutcomeRequest{RequestId: command.NewID(), PieceId: b.piece, DecisionId: b.choice, Held: held, Note: "by the first cut"})
		return err
	}
}

// DecidedPiece is a piece of the cutter's about which something was decided.
func DecidedPiece(w *World) string { return after(inWork, decide(2))(w).piece }

// choiceTrial tries a decision between options.
func choiceTrial() Trial {
	open := after(inWork, decide(2))
	return Thing[bench]{
		Table: piece.ChoiceTable,
		In: map[string][]Recipe[bench]{
			stage.None: {{Make: inWork}},
			"open":     {{Make: open}},
			"held":     {{Make: after(open, said(comeOut(true)))}},
			"failed":   {{Make: after(open, said(comeOut(false)))}},
			"sure":     {{Make: after(inWork, decide(1))}},
		},
		Do: map[string][]Call[bench]{
			"CutterService/RecordDecision": {{Name: "bold", Fresh: true, Do: decide(2)}, {Name: "sure", Fresh: true, Do: decide(1)}},
			"CutterService/RecordOutcome":  {{Name: "it held", Do: said(comeOut(true))}, {Name: "it didn't", Do: said(comeOut(false))}},
		},
		State: func(w *World, b bench) string {
			got, err := b.who.Cutter().ListDecisions(w.Ctx(), &cutterv1.ListDecisionsRequest{PieceId: b.piece})
			w.Must(err)
			for _, d := range got.GetDecisions() {
				if d.GetId() == b.choice {
					return map[typev1.DecisionState]string{
						typev1.DecisionState_DECISION_STATE_OPEN: "open", typev1.DecisionState_DECISION_STATE_HELD: "held",
						typev1.DecisionState_DECISION_STATE_FAILED: "failed", typev1.DecisionState_DECISION_STATE_SURE: "sure",
					}[d.GetState()]
				}
			}
			return stage.None
		},
	}
}
