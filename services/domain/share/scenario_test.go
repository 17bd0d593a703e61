package share_test

import (
	"math/rand/v2"
	"testing"

	"seamshare.example/services/domain/share"
)

// The demo's three parcels. All of it is invented; the figures were worked out by
// hand beside the demo's description.

var (
	saleLevy   = share.LevyRule{BasisPoints: 600}
	parcelLevy = share.LevyRule{BasisPoints: 300, BorneBy: "miner"}
	parties    = []share.Party{{ID: "miner", Role: "miner"}, {ID: "cutter", Role: "cutter"}}
	costsFirst = share.Recoup{To: share.CoOp, Target: share.RecordedCosts{Kinds: []string{"freight", "paper"}}}
)

func agreement(price int64, tiers ...share.Tier) share.Agreement {
	return share.Agreement{
		Currency: "AUD", Parties: parties, Seller: "miner", Price: price,
		ParcelLevy: parcelLevy, SaleLevy: saleLevy,
		CostKinds: []string{"freight", "paper"},
		Tiers:     append([]share.Tier{costsFirst}, tiers...),
	}
}

func cutterMiner(cutter, miner int64) []share.Ratio {
	return []share.Ratio{{Party: "cutter", Weight: cutter}, {Party: "miner", Weight: miner}}
}

// risingShare is P1: outright with a rising share.
func risingShare() share.Agreement {
	return agreement(160000,
		share.Recoup{To: "cutter", Target: share.PriceMultiple{Num: 1, Den: 1}},
		share.Recoup{To: "cutter", Target: share.FixedAmount{Amount: 63000}},
		share.Split{Ratios: cutterMiner(2, 1), Ceiling: share.AtMost(75000)},
		share.Split{Ratios: cutterMiner(4, 3)},
	)
}

// sold adds up sales that were paid in full.
func sold(t *testing.T, a share.Agreement, prices ...int64) share.Received {
	t.Helper()
	var r share.Received
	for _, p := range prices {
		levy, err := a.SaleLevy.OfPayment(p, p)
		if err != nil {
			t.Fatal(err)
		}
		r.Amount += p
		r.Levies += levy
	}
	return r
}

func totals(t *testing.T, a share.Agreement, costs map[string]int64, prices ...int64) share.Totals {
	t.Helper()
	levy, err := a.ParcelLevy.OfPayment(a.Price, a.Price)
	if err != nil {
		t.Fatal(err)
	}
	return share.Totals{
		Parcel: share.Received{Amount: a.Price, Levies: levy},
		Sales:  sold(t, a, prices...),
		Costs:  costs,
	}
}

func entitlement(t *testing.T, a share.Agreement, at share.Totals) share.Shares {
	t.Helper()
	s, err := share.Entitlement(a, at)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func wantParty(t *testing.T, s share.Shares, party string, price, poured int64) {
	t.Helper()
	got, ok := s.Of(party)
	if !ok {
		t.Fatalf("%s has no share", party)
	}
	want := share.PartyShare{Party: party, Role: party, Price: price, Poured: poured}
	if got != want {
		t.Errorf("share of %s is %+v, want %+v", party, got, want)
	}
}

var p1Costs = map[string]int64{"freight": 3850}

func TestScenarioRisingShareSaleBySale(t *testing.T) {
	a := risingShare()
	// Each row is cumulative: gross, levy, the four tiers after the costs, cutter, miner.
	rows := []struct {
		after       string
		price       int64
		gross, levy int64
		tiers       [4]int64
		cutter      int64
		miner       int64
	}{
		{"1+2", 148000, 148000, 8880, [4]int64{135270, 0, 0, 0}, 135270, 0},
		{"3", 42000, 190000, 11400, [4]int64{160000, 14750, 0, 0}, 174750, 0},
		{"4", 9500, 199500, 11970, [4]int64{160000, 23680, 0, 0}, 183680, 0},
		{"5", 115000, 314500, 18870, [4]int64{160000, 63000, 68780, 0}, 268853, 22927},
		{"6", 64000, 378500, 22710, [4]int64{160000, 63000, 75000, 53940}, 303823, 48117},
		{"7", 12000, 390500, 23430, [4]int64{160000, 63000, 75000, 65220}, 310269, 52951},
		{"8", 26000, 416500, 24990, [4]int64{160000, 63000, 75000, 89660}, 324234, 63426},
		{"9", 4500, 421000, 25260, [4]int64{160000, 63000, 75000, 93890}, 326651, 65239},
		{"10", 3750, 424750, 25485, [4]int64{160000, 63000, 75000, 97415}, 328666, 66749},
		{"return of 6", -64000, 360750, 21645, [4]int64{160000, 63000, 75000, 37255}, 294289, 40966},
	}
	var prices []int64
	posted := map[string]int64{}
	var before share.Shares
	for _, row := range rows {
		t.Run("after "+row.after, func(t *testing.T) {
			if row.price > 0 {
				prices = append(prices, row.price)
			} else {
				prices = append(prices[:4:4], prices[5:]...) // stone 6 is the fifth sale
			}
			at := totals(t, a, p1Costs, prices...)
			if at.Sales != (share.Received{Amount: row.gross, Levies: row.levy}) {
				t.Fatalf("sales are %+v, want %d and a levy of %d", at.Sales, row.gross, row.levy)
			}
			s := entitlement(t, a, at)
			for i, want := range row.tiers {
				if got := s.Tiers[i+1].Took; got != want {
					t.Errorf("tier %d took %d, want %d", i+1, got, want)
				}
			}
			wantParty(t, s, "cutter", 0, row.cutter)
			wantParty(t, s, "miner", 155200, row.miner)
			posts, err := share.Post(before, s)
			if err != nil {
				t.Fatal(err)
			}
			for _, p := range posts {
				posted[p.Class.String()+p.Account] += p.Amount
			}
			before = s
		})
	}
	want := map[string]int64{"levyco-op": 4800 + 21645, "costco-op": 3850, "sharecutter": 294289, "shareminer": 155200 + 40966}
	for account, amount := range want {
		if posted[account] != amount {
			t.Errorf("postings to %s add up to %d, want %d", account, posted[account], amount)
		}
	}
	rand.New(rand.NewPCG(1, 2)).Shuffle(len(prices), func(i, j int) { prices[i], prices[j] = prices[j], prices[i] })
	s := entitlement(t, a, totals(t, a, p1Costs, prices...))
	wantParty(t, s, "cutter", 0, 294289)
	wantParty(t, s, "miner", 155200, 40966)
}

func TestScenarioReturnTakesOutWhatTheSaleBrought(t *testing.T) {
	a := risingShare()
	kept := []int64{148000, 42000, 9500, 115000, 12000, 26000, 4500, 3750}
	without := entitlement(t, a, totals(t, a, p1Costs, kept...))
	with := entitlement(t, a, totals(t, a, p1Costs, append(kept, 64000)...))
	posts, err := share.Post(with, without)
	if err != nil {
		t.Fatal(err)
	}
	want := []share.Posting{
		{Class: share.ClassLevy, Account: share.CoOp, Amount: -3840},
		{Class: share.ClassShare, Account: "miner", Amount: -25783},
		{Class: share.ClassShare, Account: "cutter", Amount: -34377},
	}
	if len(posts) != len(want) {
		t.Fatalf("posted %+v, want %+v", posts, want)
	}
	for i := range want {
		if posts[i] != want[i] {
			t.Errorf("posting %d is %+v, want %+v", i, posts[i], want[i])
		}
	}
}

func TestScenarioHalves(t *testing.T) {
	a := agreement(0, share.Split{Ratios: cutterMiner(1, 1)})
	at := totals(t, a, map[string]int64{"freight": 2245, "paper": 14000}, 82000, 16500, 135000, 34000, 6000, 4000, 2500)
	if at.Sales != (share.Received{Amount: 280000, Levies: 16800}) {
		t.Fatalf("sales are %+v", at.Sales)
	}
	s := entitlement(t, a, at)
	if s.Costs != 16245 {
		t.Errorf("costs are %d, want 16245", s.Costs)
	}
	wantParty(t, s, "miner", 0, 123478) // named first in the agreement, so the odd cent
	wantParty(t, s, "cutter", 0, 123477)
}

func TestScenarioOutright(t *testing.T) {
	a := agreement(38000, share.Split{Ratios: []share.Ratio{{Party: "cutter", Weight: 1}}})
	at := totals(t, a, nil, 48000, 24000)
	s := entitlement(t, a, at)
	if s.Levies != 1140+4320 {
		t.Errorf("levies are %d, want %d", s.Levies, 1140+4320)
	}
	wantParty(t, s, "cutter", 0, 67680)
	wantParty(t, s, "miner", 36860, 0)
}

// The demo's closing sum: shares + levies + costs = receipts over all three parcels.
func TestScenarioConserves(t *testing.T) {
	halves := agreement(0, share.Split{Ratios: cutterMiner(1, 1)})
	outright := agreement(38000, share.Split{Ratios: cutterMiner(1, 0)[:1]})
	var received, levies, costs, shares int64
	for _, s := range []share.Shares{
		entitlement(t, risingShare(), totals(t, risingShare(), p1Costs, 148000, 42000, 9500, 115000, 12000, 26000, 4500, 3750)),
		entitlement(t, halves, totals(t, halves, map[string]int64{"freight": 2245, "paper": 14000}, 82000, 16500, 135000, 34000, 6000, 4000, 2500)),
		entitlement(t, outright, totals(t, outright, nil, 48000, 24000)),
	} {
		received += s.Received
		levies += s.Levies
		costs += s.Costs
		for _, p := range s.Parties {
			shares += p.Total()
		}
	}
	if received != 910750 || levies != 48705 || costs != 20095 || shares != 841950 {
		t.Errorf("received %d, levies %d, costs %d, shares %d; want 910750, 48705, 20095, 841950", received, levies, costs, shares)
	}
}
