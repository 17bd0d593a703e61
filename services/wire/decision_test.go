package wire_test

import (
	"testing"

	"google.golang.org/genproto/googleapis/type/money"

	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/saw/risk"
	"seamshare.example/services/wire"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// TestDecision: figures worked by hand. With p = 0.7: 0.7 · 2400 + 0.3 · 300 = 1770 against a sure 1350; spread
// 2100 · √(0.7 · 0.3) = 962.34; as good where 300 + 2100 p = 1350, at p = 0.5; knowing is worth 0.7 · 2400 + 0.3 · 1350 − 1770 = 315.
func TestDecision(t *testing.T) {
	c := piece.Choice{
		ID: "d", Part: "1", Kind: piecev1.DecisionKind_DECISION_KIND_SEAMS, ChanceBp: 7_000, Currency: "AUD", Chosen: 1, Stage: piece.ChoiceOpen,
		Options: []*piecev1.DecisionOption{{Name: "one", IfHoldsMinor: 135_000, IfFailsMinor: 135_000}, {Name: "both", IfHoldsMinor: 240_000, IfFailsMinor: 30_000}, {Name: "neither"}},
	}
	got, err := wire.Decision(c)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []struct {
		expected, spread string
		nothing, as      int64
	}{{"1350.00 AUD", "0.00 AUD", 0, 5_000}, {"1770.00 AUD", "962.34 AUD", 0, -1}, {"0.00 AUD", "0.00 AUD", 10_000, -1}} {
		w := got.GetWorths()[i]
		as := int64(-1)
		if w.IndifferentBp != nil {
			as = w.GetIndifferentBp()
		}
		if e, s := said(w.GetExpected()), said(w.GetSpread()); e != want.expected || s != want.spread || w.GetNothingBp() != want.nothing || as != want.as {
			t.Errorf("option %d: got %s, %s, %d, %d, want %v", i, e, s, w.GetNothingBp(), as, want)
		}
	}
	if k := said(got.GetKnowing()); k != "315.00 AUD" || got.GetChosen() != 2 || got.GetState() != typev1.DecisionState_DECISION_STATE_OPEN {
		t.Errorf("knowing is worth %s, of %v", k, got)
	}
}

// TestDecisionRecord: after no tries Jeffreys' prior says one half; after 1 of 1 (1 + ½) / (1 + 1) = 0.75.
func TestDecisionRecord(t *testing.T) {
	for _, c := range []struct{ held, tried, mean int64 }{{0, 0, 5_000}, {1, 1, 7_500}, {3, 9, 3_500}} {
		got, _, err := wire.DecisionRecord(1, risk.Record{Held: c.held, Tried: c.tried}, 7_000)
		if err != nil || got.GetMeanBp() != c.mean || got.GetLowBp() >= c.mean || got.GetHighBp() <= c.mean {
			t.Errorf("%d of %d: got %v, %v", c.held, c.tried, got, err)
		}
	}
}

func said(m *money.Money) string {
	var broken rule.All
	a := wire.Amount(&broken, "amount", m)
	return wire.Text(a.GetCurrency(), a.GetMinor())
}
