package piece_test

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/services/domain/piece"
)

// TestStatesAreShared folds events onto any of the states there are, also two onto one, as goroutines do that hold them:
// each state stays as it was.
func TestStatesAreShared(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		first := (&history{t: t}).did(piece.State{}.Describe(facts(), &piecev1.Described_Private{})).State
		states, as := []piece.State{first}, []string{fmt.Sprintf("%+v", first)}
		for range rapid.IntRange(1, 60).Draw(t, "events") {
			s := rapid.SampledFrom(states).Draw(t, "state")
			name := "1"
			if len(s.Parts) > 0 {
				name = rapid.SampledFrom(s.Parts).Draw(t, "part").Name
			}
			next := anything(t, s, name)
			states, as = append(states, next), append(as, fmt.Sprintf("%+v", next))
		}
		for i, s := range states {
			if is := fmt.Sprintf("%+v", s); is != as[i] {
				t.Fatalf("state %d was\n%s\nand is\n%s", i, as[i], is)
			}
		}
	})
}

// anything folds some event onto a state.
func anything(t *rapid.T, s piece.State, part string) piece.State {
	member := rapid.SampledFrom([]string{"ann", "bob", "cat", "dan", "eve"}).Draw(t, "member")
	reason := piecev1.Reason(rapid.Int32Range(1, 4).Draw(t, "reason"))
	ug := rapid.Int64Range(1, 1000).Draw(t, "ug")
	e := &piecev1.Event{}
	switch rapid.IntRange(0, 9).Draw(t, "what") {
	case 0:
		out := []*piecev1.Part{{Name: part, Weighing: weighed(ug), Fate: piecev1.Fate_FATE_IN_WORK}}
		for i := range rapid.IntRange(0, 2).Draw(t, "parts") {
			out = append(out, &piecev1.Part{Name: fmt.Sprint(part, i), Weighing: weighed(ug), Fate: piecev1.Fate_FATE_SHELF})
		}
		e.Event = &piecev1.Event_Worked{Worked: &piecev1.Worked{
			Public:  &piecev1.Worked_Public{Part: part, MassIn: weighed(ug), PartsOut: out[rapid.IntRange(0, 1).Draw(t, "keeps its name"):], LossUg: ug, Reason: reason},
			Private: &piecev1.Worked_Private{MemberId: member, Tray: rapid.SampledFrom([]string{"", "t1", "t2"}).Draw(t, "tray"), Minutes: uint32(ug % 3)},
		}}
	case 1:
		e.Event = &piecev1.Event_Studied{Studied: &piecev1.Studied{Public: &piecev1.Studied_Public{}, Private: &piecev1.Studied_Private{MemberId: member, Note: fmt.Sprint(ug)}}}
	case 2:
		e.Event = &piecev1.Event_Planned{Planned: &piecev1.Planned{
			Public:  &piecev1.Planned_Public{},
			Private: &piecev1.Planned_Private{MemberId: member, PlanId: rapid.SampledFrom([]string{"p1", "p2"}).Draw(t, "plan"), Plan: &piecev1.Plan{Label: fmt.Sprint(ug)}},
		}}
	case 3:
		e.Event = &piecev1.Event_DecisionAwaited{DecisionAwaited: &piecev1.DecisionAwaited{
			Public: &piecev1.DecisionAwaited_Public{Part: part}, Private: &piecev1.DecisionAwaited_Private{MemberId: member, Reason: fmt.Sprint(ug)},
		}}
	case 4:
		e.Event = &piecev1.Event_Decided{Decided: &piecev1.Decided{Public: &piecev1.Decided_Public{Part: part}, Private: &piecev1.Decided_Private{MemberId: member}}}
	case 5:
		e.Event = &piecev1.Event_Graded{Graded: &piecev1.Graded{
			Public: &piecev1.Graded_Public{Part: part}, Private: &piecev1.Graded_Private{MemberId: member, Class: fmt.Sprint(ug)},
		}}
	case 6:
		e.Event = &piecev1.Event_DecisionRecorded{DecisionRecorded: &piecev1.DecisionRecorded{
			Public:  &piecev1.DecisionRecorded_Public{Part: part},
			Private: &piecev1.DecisionRecorded_Private{MemberId: member, DecisionId: fmt.Sprint("d", ug%3), Chosen: 1},
		}}
	case 7:
		e.Event = &piecev1.Event_OutcomeRecorded{OutcomeRecorded: &piecev1.OutcomeRecorded{
			Public:  &piecev1.OutcomeRecorded_Public{},
			Private: &piecev1.OutcomeRecorded_Private{MemberId: member, DecisionId: fmt.Sprint("d", ug%3), Held: true},
		}}
	case 8:
		e.Event = &piecev1.Event_Recut{Recut: &piecev1.Recut{
			Public:  &piecev1.Recut_Public{Part: part, Stone: weighed(ug), LossUg: ug, Reason: reason},
			Private: &piecev1.Recut_Private{MemberId: member, Minutes: uint32(ug)},
		}}
	case 9:
		return piece.EvolveCorrection(s, &correctionv1.Event{Event: &correctionv1.Event_MassCorrected{MassCorrected: &correctionv1.MassCorrected{
			Public: &correctionv1.MassCorrected_Public{
				Part: part, Was: weighed(ug), Right: &eventv1.Weighing{MassUg: ug + 1},
				From: &correctionv1.Entry{Account: correctionv1.Account_ACCOUNT_LOST, Reason: reason},
				To:   &correctionv1.Entry{Account: correctionv1.Account_ACCOUNT_THERE},
			},
		}}})
	}
	return piece.Evolve(s, e)
}
