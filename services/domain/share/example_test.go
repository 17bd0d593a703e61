package share_test

import (
	"fmt"

	"seamshare.example/services/domain/share"
)

// A miner and a cutter halve what is left after the levy and the freight.
func ExampleExplainParty() {
	halves := share.Agreement{
		Currency:  "AUD",
		Parties:   []share.Party{{ID: "m1", Role: "miner"}, {ID: "c1", Role: "cutter"}},
		SaleLevy:  share.LevyRule{BasisPoints: 600},
		CostKinds: []string{"freight"},
		Tiers: []share.Tier{
			share.Recoup{To: share.CoOp, Target: share.RecordedCosts{Kinds: []string{"freight"}}},
			share.Split{Ratios: []share.Ratio{{Party: "m1", Weight: 1}, {Party: "c1", Weight: 1}}},
		},
	}
	levy, err := halves.SaleLevy.OfPayment(82000, 82000)
	if err != nil {
		fmt.Println(err)
		return
	}
	lines, err := share.ExplainParty(halves, share.Totals{
		Sales: share.Received{Amount: 82000, Levies: levy},
		Costs: map[string]int64{"freight": 2245},
	}, "m1")
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, l := range lines {
		fmt.Println(l.Text)
	}
	// Output:
	// Tier 2 shares 748.35 AUD as miner 1 : cutter 1: the miner has 1 in 2, 374.18 AUD (0.01 AUD for each of 37417 full rounds of 0.02 AUD, and 0.01 AUD of the last 0.01 AUD, given out one by one to whoever is due next).
	// Together the miner has 374.18 AUD.
}
