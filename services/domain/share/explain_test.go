package share_test

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/share"
)

func TestExplainReadsAsAMemberWould(t *testing.T) {
	a := risingShare()
	lines, err := share.Explain(a, totals(t, a, p1Costs, 148000, 42000, 9500, 115000, 12000, 26000, 4500, 3750))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, l := range lines {
		got = append(got, l.Text)
	}
	want := []string{
		"The parcel: 1600.00 AUD received of its price of 1600.00 AUD.",
		"The co-op keeps a levy on the parcel of 48.00 AUD (3 % of the price, rounded down; borne by the miner).",
		"The miner, who sold the parcel, has the rest: 1600.00 AUD − 48.00 AUD = 1552.00 AUD.",
		"Sales from the parcel: 3607.50 AUD received so far, returns taken off.",
		"The co-op keeps a levy on sales of 216.45 AUD (6 % of each sale, rounded down; off the top, before anyone shares).",
		"That leaves 3607.50 AUD − 216.45 AUD = 3391.05 AUD, which runs through the tiers in order.",
		"Tier 1 pays the co-op back the recorded costs (freight, paper): 38.50 AUD of 38.50 AUD, which is all of it.",
		"Tier 2 pays the cutter back the parcel's price of 1600.00 AUD: 1600.00 AUD of 1600.00 AUD, which is all of it.",
		"Tier 3 pays the cutter back an agreed amount: 630.00 AUD of 630.00 AUD, which is all of it.",
		"Tier 4 shares 750.00 AUD up to 750.00 AUD as miner 1 : cutter 2: the miner has 1 in 3, exactly 250.00 AUD.",
		"Tier 4 shares 750.00 AUD up to 750.00 AUD as miner 1 : cutter 2: the cutter has 2 in 3, exactly 500.00 AUD.",
		"Tier 5 shares 372.55 AUD as miner 3 : cutter 4: the miner has 3 in 7, 159.66 AUD (0.03 AUD for each of 5322 full rounds of 0.07 AUD, and 0.00 AUD of the last 0.01 AUD, given out one by one to whoever is due next).",
		"Tier 5 shares 372.55 AUD as miner 3 : cutter 4: the cutter has 4 in 7, 212.89 AUD (0.04 AUD for each of 5322 full rounds of 0.07 AUD, and 0.01 AUD of the last 0.01 AUD, given out one by one to whoever is due next).",
	}
	if !slices.Equal(got, want) {
		t.Errorf("it reads\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestExplainShowsWhatIsStillOpen(t *testing.T) {
	a := risingShare()
	lines, err := share.ExplainParty(a, totals(t, a, p1Costs, 148000), "cutter")
	if err != nil {
		t.Fatal(err)
	}
	if l := lines[0]; l.Tier != 2 || l.Amount != 135270 || l.Open != 24730 || !strings.Contains(l.Text, "247.30 AUD is still open") {
		t.Errorf("first line is %+v", l)
	}
	if l := lines[len(lines)-1]; l.Step != share.StepTotal || l.Text != "Together the cutter has 1352.70 AUD." {
		t.Errorf("last line is %+v", l)
	}
	if _, err := share.ExplainParty(a, share.Totals{}, "stranger"); !slices.Equal(fieldsOf(t, err), []string{"party"}) {
		t.Errorf("a stranger's share: %v", err)
	}
}

// The cutter bears the sale levy of 6 %; the miner's recoup comes first and would be
// full without it. Worked by hand: 1000 sold, levy 60, proceeds 940. The pour gives the
// miner 940 of 950 and the cutter nothing; without the levy it were 950 and 50 in the
// tier after. The cutter owes 10 and can't pay. At 2000 sold: levy 120, proceeds 1880;
// miner 950, cutter 930, and nothing is owed.
func TestBurdenStaysOpenUntilTheBearerCanPay(t *testing.T) {
	a := share.Agreement{
		Currency: "AUD", Parties: parties, SaleLevy: share.LevyRule{BasisPoints: 600, BorneBy: "cutter"},
		Tiers: []share.Tier{
			share.Recoup{To: "miner", Target: share.FixedAmount{Amount: 950}},
			share.Split{Ratios: []share.Ratio{{Party: "cutter", Weight: 1}}},
		},
	}
	first := share.Totals{Sales: sold(t, a, 1000)}
	s := entitlement(t, a, first)
	if want := (share.Burden{By: "cutter", To: "miner", Levy: share.SaleLevy, Owed: 10}); len(s.Burdens) != 1 || s.Burdens[0] != want {
		t.Errorf("burdens are %+v, want %+v", s.Burdens, want)
	}
	lines, err := share.Explain(a, first)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := lines[len(lines)-2].Text, "The cutter bears the levy on sales and makes good to the miner what it lost by it: 0.00 AUD of 0.10 AUD owed; 0.10 AUD stays open until the cutter's share covers it."; got != want {
		t.Errorf("it reads %q, want %q", got, want)
	}
	s = entitlement(t, a, share.Totals{Sales: sold(t, a, 1000, 1000)})
	wantParty(t, s, "miner", 0, 950)
	wantParty(t, s, "cutter", 0, 930)
	if len(s.Burdens) != 0 {
		t.Errorf("burdens are %+v, want none", s.Burdens)
	}
}

// Halves with the levy borne by the miner: 1000 sold, levy 60. The cutter has its 500
// of the full price, the miner 470 − 30.
func TestBorneByOneOfHalves(t *testing.T) {
	a := agreement(0, share.Split{Ratios: cutterMiner(1, 1)})
	a.SaleLevy.BorneBy = "miner"
	s := entitlement(t, a, share.Totals{Sales: sold(t, a, 1000)})
	miner, _ := s.Of("miner")
	cutter, _ := s.Of("cutter")
	if miner.Total() != 440 || cutter.Total() != 500 || miner.Poured != 470 || miner.Borne != 30 || cutter.MadeGood != 30 {
		t.Errorf("miner %+v, cutter %+v", miner, cutter)
	}
}

// Why pour and burden are two figures. The cutter, paid first, bears the levy of 6 %.
// At 500 sold the proceeds of 470 are all the cutter's and nobody else lost anything.
// At 1000 sold the pour gives the cutter 500 and the co-op 440 of its costs of 460;
// without the levy the co-op had 460 and the miner 40, so the cutter owes 20 and 40.
func TestAReceiptMayLowerTheBearersNetButNeverThePour(t *testing.T) {
	a := share.Agreement{
		Currency: "AUD", Parties: parties, SaleLevy: share.LevyRule{BasisPoints: 600, BorneBy: "cutter"},
		CostKinds: []string{"freight"},
		Tiers: []share.Tier{
			share.Recoup{To: "cutter", Target: share.FixedAmount{Amount: 500}},
			share.Recoup{To: share.CoOp, Target: share.RecordedCosts{Kinds: []string{"freight"}}},
			share.Split{Ratios: []share.Ratio{{Party: "miner", Weight: 1}}},
		},
	}
	freight := map[string]int64{"freight": 460}
	wantParty(t, entitlement(t, a, share.Totals{Sales: sold(t, a, 500), Costs: freight}), "cutter", 0, 470)
	s := entitlement(t, a, share.Totals{Sales: sold(t, a, 500, 500), Costs: freight})
	cutter, _ := s.Of("cutter")
	miner, _ := s.Of("miner")
	if cutter.Poured != 500 || cutter.Borne != 60 || cutter.Total() != 440 || miner.Total() != 40 || s.Costs != 460 || s.Levies != 60 {
		t.Errorf("cutter %+v, miner %+v, costs %d, levies %d", cutter, miner, s.Costs, s.Levies)
	}
}

func TestExplainAddsUpToTheShares(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := staircase(t)
		totals := at(t, a, costs(t, a), rapid.Int64Range(0, a.Price).Draw(t, "parcel paid"), sales(t))
		s := shares(t, a, totals)
		lines, err := share.Explain(a, totals)
		if err != nil {
			t.Fatal(err)
		}
		sums := map[string]int64{}
		for _, l := range lines {
			sums[l.Account] += l.Amount
			if l.Text == "" {
				t.Errorf("%+v says nothing", l)
			}
		}
		if sums[share.CoOp] != s.Levies+s.Costs {
			t.Errorf("the co-op's lines add up to %d, want %d", sums[share.CoOp], s.Levies+s.Costs)
		}
		for _, p := range s.Parties {
			own, err := share.ExplainParty(a, totals, p.Party)
			if err != nil {
				t.Fatal(err)
			}
			if total := own[len(own)-1].Amount; total != p.Total() || sums[p.Party] != total {
				t.Errorf("lines of %s add up to %d and %d, want %d", p.Party, total, sums[p.Party], p.Total())
			}
		}
	})
}
