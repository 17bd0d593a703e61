package share_test

import (
	"errors"
	"math"
	"slices"
	"testing"

	"seamshare.example/services/domain/share"
)

func fieldsOf(t *testing.T, err error) []string {
	t.Helper()
	var v share.Violations
	if !errors.As(err, &v) {
		t.Fatalf("%v is not a list of violations", err)
	}
	var fields []string
	for _, one := range v {
		if one.Problem == "" {
			t.Errorf("%s has no explanation", one.Field)
		}
		fields = append(fields, one.Field)
	}
	return fields
}

func TestValidateNamesEveryViolation(t *testing.T) {
	a := share.Agreement{
		Currency:   "aud",
		Parties:    []share.Party{{ID: "m", Role: "miner"}, {ID: "m", Role: "cutter"}, {ID: "", Role: ""}, {ID: share.CoOp, Role: "co-op"}},
		Price:      share.MaxAmount + 1,
		Seller:     "nobody",
		ParcelLevy: share.LevyRule{BasisPoints: 10_001, Floor: -1},
		SaleLevy:   share.LevyRule{Floor: 500, Cap: share.AtMost(400), BorneBy: "x"},
		CostKinds:  []string{"freight", "freight", "paper", ""},
		Tiers: []share.Tier{
			share.Recoup{To: "x", Target: share.FixedAmount{Amount: -1}},
			share.Recoup{To: "m", Target: share.RecordedCosts{Kinds: []string{"hope"}}},
			share.Recoup{To: "m", Target: share.PriceMultiple{Num: 1}},
			share.Recoup{To: "m"},
			share.Split{Ceiling: share.AtMost(5)},
			share.Split{Ratios: []share.Ratio{{Party: "m", Weight: 1}}},
			share.Split{Ratios: []share.Ratio{{Party: "m", Weight: 0}, {Party: "y", Weight: 1}, {Party: "m", Weight: 1}, {Party: share.CoOp, Weight: 1}}, Ceiling: share.AtMost(0)},
			share.Split{Ratios: []share.Ratio{{Party: "m", Weight: 10_001}, {Party: share.CoOp + "x", Weight: 1}}, Ceiling: share.Limit{Amount: 3}},
			nil,
			share.Recoup{To: share.CoOp, Target: share.RecordedCosts{Kinds: []string{"freight"}}},
		},
	}
	got := fieldsOf(t, a.Validate())
	for _, want := range []string{
		"currency", "parties[1].id", "parties[2].id", "parties[2].role", "parties[3].id", "price", "seller",
		"parcel_levy.basis_points", "parcel_levy.floor", "sale_levy.cap", "sale_levy.borne_by",
		"cost_kinds[1]", "cost_kinds[2]", "cost_kinds[3]",
		"tiers[0].to", "tiers[0].target.amount", "tiers[1].target.kinds[0]", "tiers[2].target", "tiers[3].target",
		"tiers[4].ratios", "tiers[5].ceiling", "tiers[6].ratios[0].weight", "tiers[6].ratios[1].party",
		"tiers[6].ratios[2].party", "tiers[6].ratios[3].party", "tiers[6].ceiling", "tiers[7].ceiling", "tiers[8]", "tiers[9]",
	} {
		if !slices.Contains(got, want) {
			t.Errorf("nothing is said of %s", want)
		}
	}
}

func TestValidate(t *testing.T) {
	last := share.Split{Ratios: cutterMiner(1, 1)}
	for name, c := range map[string]struct {
		change func(*share.Agreement)
		field  string // empty where the agreement is sound
	}{
		"OK": {func(*share.Agreement) {}, ""},
		"OK: large ratios that reduce": {func(a *share.Agreement) {
			a.Tiers = []share.Tier{costsFirst, share.Split{Ratios: cutterMiner(4e12, 3e12)}}
		}, ""},
		"refused: no tier":         {func(a *share.Agreement) { a.Tiers = nil }, "tiers"},
		"refused: no party":        {func(a *share.Agreement) { a.Parties = nil }, "parties"},
		"refused: price to nobody": {func(a *share.Agreement) { a.Seller = "" }, "seller"},
		"refused: ceiling on the last tier": {func(a *share.Agreement) {
			a.Tiers = []share.Tier{costsFirst, share.Split{Ratios: last.Ratios, Ceiling: share.AtMost(5)}}
		}, "tiers[1].ceiling"},
		"refused: ratios that don't reduce": {func(a *share.Agreement) {
			a.Tiers = []share.Tier{costsFirst, share.Split{Ratios: cutterMiner(10_000, 1)}}
		}, "tiers[1].ratios"},
		"refused: ceiling raised too high": {func(a *share.Agreement) {
			a.Tiers = []share.Tier{costsFirst, share.Split{Ratios: cutterMiner(2, 1), Ceiling: share.AtMost(share.MaxAmount)}, last}
		}, "tiers[1].ceiling"},
		"refused: cost recouped twice":   {func(a *share.Agreement) { a.Tiers = []share.Tier{costsFirst, costsFirst, last} }, "cost_kinds[0]"},
		"refused: cap given but not set": {func(a *share.Agreement) { a.SaleLevy.Cap.Amount = 7 }, "sale_levy.cap"},
		"refused: multiple beyond the limit": {func(a *share.Agreement) {
			a.Tiers = []share.Tier{costsFirst, share.Recoup{To: "cutter", Target: share.PriceMultiple{Num: share.MaxAmount, Den: 1}}, last}
		}, "tiers[1].target"},
		"refused: multiple between int64 and 64 bits": {func(a *share.Agreement) {
			a.Tiers = []share.Tier{costsFirst, share.Recoup{To: "cutter", Target: share.PriceMultiple{Num: 7e13, Den: 1}}, last}
		}, "tiers[1].target"},
		"refused: cost kind nobody recoups": {func(a *share.Agreement) { a.CostKinds = append(a.CostKinds[:2:2], "fuel") }, "cost_kinds[2]"},
	} {
		t.Run(name, func(t *testing.T) {
			a := risingShare()
			c.change(&a)
			err := a.Validate()
			if c.field == "" {
				if err != nil {
					t.Error(err)
				}
				return
			}
			if got := fieldsOf(t, err); !slices.Contains(got, c.field) {
				t.Errorf("refused %v, want %s", got, c.field)
			}
			if _, err := share.Entitlement(a, share.Totals{}); err == nil {
				t.Error("shares were computed from it")
			}
		})
	}
}

func TestTotalsAreChecked(t *testing.T) {
	for name, c := range map[string]struct {
		totals share.Totals
		field  string
	}{
		"refused: negative receipts":           {share.Totals{Sales: share.Received{Amount: -1}}, "totals.sales.amount"},
		"refused: levies above the receipts":   {share.Totals{Sales: share.Received{Amount: 1, Levies: 2}}, "totals.sales.levies"},
		"refused: receipts beyond the limit":   {share.Totals{Sales: share.Received{Amount: share.MaxAmount + 1}}, "totals.sales.amount"},
		"refused: receipts at int64's end":     {share.Totals{Sales: share.Received{Amount: math.MaxInt64}}, "totals.sales.amount"},
		"refused: both together too much":      {share.Totals{Sales: share.Received{Amount: share.MaxAmount}, Parcel: share.Received{Amount: 1}}, "totals (parcel and sales together)"},
		"refused: parcel paid above its price": {share.Totals{Parcel: share.Received{Amount: 160001}}, "totals.parcel.amount"},
		"refused: unknown kind of cost":        {share.Totals{Costs: map[string]int64{"fuel": 1}}, `totals.costs["fuel"]`},
		"refused: negative cost":               {share.Totals{Costs: map[string]int64{"freight": -1}}, `totals.costs["freight"]`},
		"refused: costs together too much":     {share.Totals{Costs: map[string]int64{"freight": share.MaxAmount, "paper": share.MaxAmount}}, "totals.costs"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := share.Entitlement(risingShare(), c.totals)
			if got := fieldsOf(t, err); !slices.Contains(got, c.field) {
				t.Errorf("refused %v, want %s", got, c.field)
			}
		})
	}
	t.Run("OK: the largest amounts", func(t *testing.T) {
		s := entitlement(t, risingShare(), share.Totals{Sales: share.Received{Amount: share.MaxAmount}, Costs: map[string]int64{"freight": share.MaxAmount}})
		if s.Costs != share.MaxAmount {
			t.Errorf("costs are %d", s.Costs)
		}
	})
}

func TestAmountsThatNoComputationTakes(t *testing.T) {
	rule := share.LevyRule{BasisPoints: 600}
	calls := map[string]func() error{
		"levy on a negative price":       func() error { _, err := rule.Due(-1); return err },
		"levy on too high a price":       func() error { _, err := rule.Due(share.MaxAmount + 1); return err },
		"levy of more than the price":    func() error { _, err := rule.OfPayment(10, 11); return err },
		"levy of a negative payment":     func() error { _, err := rule.OfPayment(10, -1); return err },
		"quota of negative units":        func() error { _, err := share.Quota([]int64{1}, -1); return err },
		"quota of a negative weight":     func() error { _, err := share.Quota([]int64{1, -1}, 1); return err },
		"quota of no weights":            func() error { _, err := share.Quota(nil, 1); return err },
		"quota of ratios too fine":       func() error { _, err := share.Quota([]int64{10_000, 1}, 1); return err },
		"remainder of nothing but zeros": func() error { _, err := share.LargestRemainder([]int64{0, 0}, 1); return err },
		"remainder of too large a total": func() error { _, err := share.LargestRemainder([]int64{1}, math.MaxInt64); return err },
		"remainder of weights too large": func() error { _, err := share.LargestRemainder([]int64{share.MaxAmount, 1}, 1); return err },
		"remainder of a negative weight": func() error { _, err := share.LargestRemainder([]int64{2, -1}, 1); return err },
		"remainder of a negative total":  func() error { _, err := share.LargestRemainder([]int64{2}, -1); return err },
	}
	for name, call := range calls {
		t.Run("refused: "+name, func(t *testing.T) {
			var wrong *share.AmountError
			if err := call(); !errors.As(err, &wrong) || wrong.Field == "" || wrong.Rule == "" {
				t.Errorf("got %v", err)
			}
		})
	}
	t.Run("refused: a rule that isn't one", func(t *testing.T) {
		_, err := share.LevyRule{BasisPoints: -1}.Due(5)
		if got := fieldsOf(t, err); !slices.Equal(got, []string{"levy.basis_points"}) {
			t.Errorf("refused %v", got)
		}
	})
}

func TestLevyRule(t *testing.T) {
	for name, c := range map[string]struct {
		rule      share.LevyRule
		price     int64
		paid, due int64
	}{
		"rounded down":                 {share.LevyRule{BasisPoints: 600}, 1049, 1049, 62},
		"the floor":                    {share.LevyRule{BasisPoints: 600, Floor: 500}, 1000, 1000, 500},
		"never more than the price":    {share.LevyRule{BasisPoints: 600, Floor: 500}, 300, 300, 300},
		"the cap":                      {share.LevyRule{BasisPoints: 600, Cap: share.AtMost(1000)}, 1_000_000, 1_000_000, 1000},
		"a cap of nothing":             {share.LevyRule{BasisPoints: 600, Cap: share.AtMost(0)}, 1000, 1000, 0},
		"no cap at the largest amount": {share.LevyRule{BasisPoints: 10_000}, share.MaxAmount, share.MaxAmount, share.MaxAmount},
		"of half a payment":            {share.LevyRule{BasisPoints: 600}, 1049, 524, 30},
		"of a gift":                    {share.LevyRule{BasisPoints: 600, Floor: 500}, 0, 0, 0},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := c.rule.OfPayment(c.price, c.paid)
			if err != nil || got != c.due {
				t.Errorf("levy is %d (%v), want %d", got, err, c.due)
			}
		})
	}
}

func TestPostRefusesTwoAgreements(t *testing.T) {
	one := entitlement(t, risingShare(), share.Totals{})
	other := risingShare()
	other.Parties = []share.Party{parties[1], parties[0]}
	for name, after := range map[string]share.Shares{
		"other order of parties": entitlement(t, other, share.Totals{}),
		"no parties":             {Currency: "AUD"},
		"other currency":         {Currency: "NZD", Parties: one.Parties},
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			if _, err := share.Post(one, after); err == nil {
				t.Error("posted")
			}
		})
	}
}
