package wanted_test

import (
	"testing"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	wantedv1 "seamshare.example/proto/gen/seamshare/event/wanted/v1"

	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
	"seamshare.example/services/domain/wanted"
)

func TestWanted(t *testing.T) {
	wish := &wantedv1.Wish{Outline: stonev1.Outline_OUTLINE_OVAL, MinLengthUm: 9_000, MaxLengthUm: 12_000}
	posted, err := wanted.State{}.Post("w", "marrow", wish, false)
	if err != nil {
		t.Fatal(err)
	}
	n := wanted.Evolve(wanted.State{}, posted)
	t.Run("rules 1 and 2 refused: says nothing, bounds the wrong way round, a budget of nothing", func(t *testing.T) {
		_, err := wanted.State{}.Post("w", "marrow", &wantedv1.Wish{Stones: 2}, false)
		ruletest.Refused(t, err, rule.NotAnswered, "wish")
		_, err = wanted.State{}.Post("w", "marrow", &wantedv1.Wish{MinLengthUm: 2, MaxLengthUm: 1, MinBodyTone: 5, MaxBodyTone: 10, Budget: &eventv1.Amount{Currency: "AUD"}}, false)
		ruletest.Refused(t, err, rule.FieldInvalid, "wish.max_length_um")
		ruletest.Refused(t, err, rule.FieldInvalid, "wish.max_body_tone")
		ruletest.Refused(t, err, rule.AmountInvalid, "wish.budget")
	})
	t.Run("rule 3 refused: another's reads like none; taken down before", func(t *testing.T) {
		_, others := n.Close("fernhook")
		_, none := wanted.State{}.Close("fernhook")
		if ruletest.Refused(t, others, rule.NotFound, "wanted_id"); others.Error() != none.Error() {
			t.Errorf("%q is not %q", others, none)
		}
		closed, err := n.Close("marrow")
		if err != nil {
			t.Fatal(err)
		}
		changed, err := n.Change("marrow", wish, true)
		if err != nil {
			t.Fatal(err)
		}
		_, err = wanted.Evolve(n, closed).Change("marrow", wish, true)
		ruletest.Refused(t, err, rule.WantedIsClosed, "wanted_id")
		ruletest.Unaliased(t, wanted.Evolve, posted, changed, closed)
	})
}
