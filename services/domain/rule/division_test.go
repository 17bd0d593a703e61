package rule_test

import (
	"testing"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
)

func TestDivision(t *testing.T) {
	for name, c := range map[string]struct{ mass, division int64 }{
		"10 mg for a chip of 1 mg":    {1_000, 10_000},
		"10 mg for exactly a gram":    {1_000_000, 10_000},
		"a hundredth of 34.2 g":       {34_200_000, 342_000},
		"2 mg for a stone":            {608_000, 2_000},
		"100 g for a sack of 10 kg":   {10_000_000_000, 100_000_000},
		"a microgram for a microgram": {1, 1},
	} {
		t.Run("OK: "+name, func(t *testing.T) {
			var broken rule.All
			if broken.Weighing("total", &eventv1.Weighing{MassUg: c.mass, DivisionUg: c.division}); len(broken) > 0 {
				t.Error(broken.Err())
			}
		})
	}
	for name, c := range map[string]struct{ mass, division int64 }{
		"a hair above 10 mg for a chip":      {1_000, 10_001},
		"a hair above a hundredth of 34.2 g": {34_200_000, 342_001},
		"100 g for 34.2 g":                   {34_200_000, 100_000_000},
		"more than 100 g for a tonne":        {rule.MaxMassUg, 100_000_001},
		"none":                               {34_200_000, 0},
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			var broken rule.All
			broken.Weighing("total", &eventv1.Weighing{MassUg: c.mass, DivisionUg: c.division})
			ruletest.Refused(t, broken.Err(), rule.MassInvalid, "total.division_ug")
		})
	}
}
