package dispute_test

import (
	"testing"

	"seamshare.example/services/domain/dispute"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
)

type acts []string

func (a acts) ActsFor(member string) bool {
	for _, m := range a {
		if m == member {
			return true
		}
	}
	return false
}

func opening() dispute.Opening {
	return dispute.Opening{
		ID: "d1", Opener: "cutter", Person: "p1", About: "parcel/x", Against: "miner", Amount: &eventv1.Amount{Currency: "AUD", Minor: 100},
		Currency: "AUD", Earned: 100, Parties: []string{"miner", "cutter"}, Reason: "glued",
	}
}

func TestDispute(t *testing.T) {
	if err := dispute.Table.Check(); err != nil {
		t.Error(err)
	}
	e, err := dispute.State{}.Open(opening())
	if err != nil {
		t.Fatal(err)
	}
	d := dispute.Evolve(dispute.State{}, e)
	t.Run("rule 1 refused: a stranger, oneself, no party", func(t *testing.T) {
		o := opening()
		o.Opener = "stranger"
		_, err := dispute.State{}.Open(o)
		ruletest.Refused(t, err, rule.NotFound, "about")
		o = opening()
		o.Against = "cutter"
		_, err = dispute.State{}.Open(o)
		ruletest.Refused(t, err, rule.NotAParty, "against_member_id")
	})
	t.Run("rule 2 refused: more than was earned", func(t *testing.T) {
		o := opening()
		o.Earned = 99
		_, err := dispute.State{}.Open(o)
		ruletest.Refused(t, err, rule.AboveWhatIsTheirs, "amount")
	})
	t.Run("rule 3 refused: by one of its sides; OK by another, once", func(t *testing.T) {
		_, err := d.Resolve("p9", acts{"miner"}, "found", true)
		ruletest.Refused(t, err, rule.SecondPersonNeeded, "dispute_id")
		e, err := d.Resolve("p9", acts{}, "found", true)
		if err != nil {
			t.Fatal(err)
		}
		_, err = dispute.Evolve(d, e).Resolve("p9", acts{}, "found", true)
		ruletest.Refused(t, err, rule.DisputeOver, "dispute_id")
	})
	t.Run("rule 4 refused: another withdraws it", func(t *testing.T) {
		_, err := d.Withdraw("miner", "p2", "no")
		ruletest.Refused(t, err, rule.NotFound, "dispute_id")
	})
}
