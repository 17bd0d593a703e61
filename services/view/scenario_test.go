package view_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/view"
)

// The demo's three parcels; all figures are invented and were worked out by hand
// beside the demo's description.

func recoup(party string, minor int64) *parcelv1.Tier {
	return &parcelv1.Tier{Form: &parcelv1.Tier_Recoup{Recoup: &parcelv1.Recoup{Party: party, Target: &parcelv1.Recoup_AmountMinor{AmountMinor: minor}}}}
}

func split(ceiling int64, ratios ...*parcelv1.Ratio) *parcelv1.Tier {
	s := &parcelv1.Split{Ratios: ratios}
	if ceiling > 0 {
		s.CeilingMinor = &ceiling
	}
	return &parcelv1.Tier{Form: &parcelv1.Tier_Split{Split: s}}
}

func ratio(party string, weight uint32) *parcelv1.Ratio {
	return &parcelv1.Ratio{Party: party, Weight: weight}
}

func agreement(price int64, tiers ...*parcelv1.Tier) *parcelv1.Agreement {
	costs := &parcelv1.Tier{Form: &parcelv1.Tier_Recoup{Recoup: &parcelv1.Recoup{
		Party: "coop", Target: &parcelv1.Recoup_Costs{Costs: &parcelv1.CostKinds{Kinds: []string{"freight", "paper"}}},
	}}}
	return &parcelv1.Agreement{
		Price: aud(price), ParcelLevy: &parcelv1.Levy{BasisPoints: 300, BorneBy: "miner"}, SaleLevy: &parcelv1.Levy{BasisPoints: 600},
		CostKinds: []string{"freight", "paper"}, Tiers: append([]*parcelv1.Tier{costs}, tiers...),
	}
}

func risingShare() *parcelv1.Agreement {
	return agreement(160000, recoup("cutter", 160000), recoup("cutter", 63000),
		split(75000, ratio("cutter", 2), ratio("miner", 1)), split(0, ratio("cutter", 4), ratio("miner", 3)))
}

// threeParcels lists, deals and cuts the demo's parcels; nothing is sold yet.
func threeParcels(t *testing.T) *book {
	t.Helper()
	b := newBook(t)
	b.found(50_000)
	b.field("ashbarrel", "Ashbarrel Rise", "ironstone country")
	b.field("sparrowpan", "Sparrowpan Flat", "clay country")
	b.claim("claim4", "ashbarrel", "billycart", "Claim 4")
	b.claim("claim11", "ashbarrel", "billycart", "Claim 11")
	b.claim("claim2", "sparrowpan", "ninthshaft", "Claim 2")
	b.list("p1", "billycart", 190000,
		piece{"1", 34_200_000, "claim4", "ashbarrel"}, piece{"2", 30_850_000, "claim4", "ashbarrel"}, piece{"3", 12_060_000, "claim4", "ashbarrel"},
		piece{"4", 8_950_000, "claim4", "ashbarrel"}, piece{"5", 11_300_000, "claim4", "ashbarrel"}, piece{"6", 88_400_000, "claim11", "ashbarrel"})
	b.list("p2", "ninthshaft", 0,
		piece{"1", 6_900_000, "claim2", "sparrowpan"}, piece{"2", 6_300_000, "claim2", "sparrowpan"}, piece{"3", 5_450_000, "claim2", "sparrowpan"}, piece{"4", 20_100_000, "", ""})
	b.list("p3", "billycart", 38000,
		piece{"1", 39_700_000, "claim4", "ashbarrel"}, piece{"2", 14_100_000, "claim4", "ashbarrel"}, piece{"3", 22_600_000, "claim4", "ashbarrel"})
	b.deal("p1", "wetwheel", risingShare())
	b.deal("p2", "twodops", agreement(0, split(0, ratio("miner", 1), ratio("cutter", 1))))
	b.deal("p3", "twodops", agreement(38000, split(0, ratio("cutter", 1))))
	b.parcelEvent("p1", &parcelv1.Event{Event: &parcelv1.Event_HandedOver{HandedOver: &parcelv1.HandedOver{Public: &parcelv1.HandedOver_Public{ParcelId: "p1"}}}})
	b.bench("p1", "wetwheel")
	b.bench("p2", "twodops")
	b.bench("p3", "twodops")
	for n := 1; n <= 21; n++ {
		b.putOnSale(fmt.Sprintf("stone-%d", n), 10000)
	}
	return b
}

func (b *book) yieldOf(parcel string) view.Yield {
	b.t.Helper()
	y, ok, err := view.Yields{}.Yield(b.rows["yields"], parcel)
	if err != nil || !ok {
		b.t.Fatalf("yield of %s: %t, %v", parcel, ok, err)
	}
	return y
}

func TestScenarioMassBalance(t *testing.T) {
	b := threeParcels(t)
	kerf, ground, waste, broken := piecev1.Reason_REASON_KERF, piecev1.Reason_REASON_GROUND_OFF, piecev1.Reason_REASON_WASTE, piecev1.Reason_REASON_CRACK_OPENED
	for parcel, want := range map[string]view.Yield{
		"p1": {
			BoughtUg: 185_760_000, FinishedUg: 5_226_000, OffcutUg: 2_730_000, UncutUg: 88_400_000, LossUg: 89_404_000, Stones: 10,
			Losses: []view.Loss{{kerf, 4_760_000}, {ground, 7_184_000}, {waste, 76_410_000}, {broken, 1_050_000}},
		},
		"p2": {
			BoughtUg: 38_750_000, FinishedUg: 5_256_000, OffcutUg: 2_990_000, UncutUg: 11_130_000, LossUg: 19_374_000, Stones: 7,
			Losses: []view.Loss{{kerf, 850_000}, {ground, 6_664_000}, {waste, 11_860_000}},
		},
		"p3": {
			BoughtUg: 76_400_000, FinishedUg: 3_848_000, OffcutUg: 1_200_000, UncutUg: 57_340_000, LossUg: 13_982_000, UnexplainedUg: 30_000, Stones: 4,
			Losses: []view.Loss{{kerf, 2_030_000}, {ground, 3_322_000}, {waste, 8_630_000}},
		},
	} {
		t.Run(parcel, func(t *testing.T) {
			if got := b.yieldOf(parcel); fmt.Sprint(got) != fmt.Sprint(want) {
				t.Errorf("got  %+v\nwant %+v", got, want)
			}
		})
	}
	if _, ok, err := (view.Yields{}).Yield(b.rows["yields"], "p4"); ok || err != nil {
		t.Errorf("a parcel that isn't there has a yield: %t, %v", ok, err)
	}
}

// sale is one of the demo's sales: what the stones of one order bring, stone by stone.
type sale struct {
	lines []line
}

func p1Sales() []sale {
	return []sale{
		{[]line{{"stone-1", "p1", 74000}, {"stone-2", "p1", 74000}}},
		{[]line{{"stone-3", "p1", 42000}}},
		{[]line{{"stone-4", "p1", 9500}}},
		{[]line{{"stone-5", "p1", 115000}}},
		{[]line{{"stone-6", "p1", 64000}}},
		{[]line{{"stone-7", "p1", 12000}}},
		{[]line{{"stone-8", "p1", 26000}}},
		{[]line{{"stone-9", "p1", 4500}}},
		{[]line{{"stone-10", "p1", 3750}}},
	}
}

func (b *book) sell(id, buyer string, s sale) {
	b.t.Helper()
	b.order(id, buyer, s.lines...)
	var sum int64
	for _, l := range s.lines {
		sum += l.price
	}
	b.orderEvent(id, orderPaid(id, sum))
}

// earned is a party's share of a parcel's sales, without the parcel's own price.
func (b *book) earned(parcel, party string) int64 {
	b.t.Helper()
	s, ok, err := view.Shares{}.Statement(b.rows["shares"], parcel)
	if err != nil || !ok {
		b.t.Fatalf("statement of %s: %t, %v", parcel, ok, err)
	}
	p, _ := s.Shares.Of(party)
	return p.Total() - p.Price
}

func TestScenarioSharesSaleBySale(t *testing.T) {
	b := threeParcels(t)
	b.parcelEvent("p1", parcelPaid("p1", aud(160000)))
	b.parcelEvent("p1", costRecorded("p1", "freight", aud(3850)))
	want := [][2]int64{
		{135270, 0}, {174750, 0}, {183680, 0}, {268853, 22927}, {303823, 48117}, {310269, 52951}, {324234, 63426}, {326651, 65239}, {328666, 66749},
	}
	for i, s := range p1Sales() {
		b.sell(fmt.Sprintf("order-%d", i+1), "marrow", s)
		if cutter, miner := b.earned("p1", "cutter"), b.earned("p1", "miner"); cutter != want[i][0] || miner != want[i][1] {
			t.Errorf("after sale %d cutter and miner have %d and %d, want %v", i+1, cutter, miner, want[i])
		}
	}
	b.orderEvent("order-5", orderReturned("order-5", "stone-6"))
	back := func(when string) {
		t.Helper()
		if cutter, miner := b.earned("p1", "cutter"), b.earned("p1", "miner"); cutter != 294289 || miner != 40966 {
			t.Errorf("after the %s cutter and miner have %d and %d, want 294289 and 40966", when, cutter, miner)
		}
	}
	back("return")
	b.orderEvent("order-5", refunded("order-5", "stone-6", 64000))
	back("refund")
}

func TestScenarioTotals(t *testing.T) {
	b := threeParcels(t)
	b.parcelEvent("p1", costRecorded("p1", "freight", aud(3850)))
	b.parcelEvent("p2", costRecorded("p2", "freight", aud(2245)))
	b.parcelEvent("p2", costRecorded("p2", "paper", aud(14000)))
	b.parcelEvent("p1", parcelPaid("p1", aud(160000)))
	b.parcelEvent("p3", parcelPaid("p3", aud(38000)))
	for i, s := range p1Sales() {
		b.sell(fmt.Sprintf("order-%d", i+1), "marrow", s)
	}
	for n, price := range map[int]int64{11: 82000, 12: 16500, 13: 135000, 14: 34000, 15: 6000, 16: 4000, 17: 2500} {
		b.sell(fmt.Sprintf("order-p2-%d", n), "fernhook", sale{[]line{{fmt.Sprintf("stone-%d", n), "p2", price}}})
	}
	b.sell("order-p3-suite", "marrow", sale{[]line{{"stone-18", "p3", 22000}, {"stone-19", "p3", 15000}, {"stone-20", "p3", 11000}}})
	b.sell("order-p3-21", "fernhook", sale{[]line{{"stone-21", "p3", 24000}}})
	b.orderEvent("order-5", orderReturned("order-5", "stone-6"))
	b.orderEvent("order-5", refunded("order-5", "stone-6", 64000))

	coop, members, err := view.Shares{}.Balances(b.rows["shares"])
	if err != nil {
		t.Fatal(err)
	}
	if want := []view.CoOpAccount{{Currency: "AUD", Receipts: 910750, Levies: 48705, Costs: 20095}}; !slices.Equal(coop, want) {
		t.Errorf("the co-op has %+v, want %+v", coop, want)
	}
	want := []view.Balance{
		{"billycart", "miner", "AUD", 233026},
		{"ninthshaft", "miner", "AUD", 123478},
		{"twodops", "cutter", "AUD", 191157},
		{"wetwheel", "cutter", "AUD", 294289},
	}
	if !slices.Equal(members, want) {
		t.Errorf("members have %+v, want %+v", members, want)
	}
	t.Run("reckoned anew from the records they are the same", func(t *testing.T) {
		if parcels, err := view.Recompute(b); err != nil || parcels != 3 {
			t.Errorf("%d parcels, %v", parcels, err)
		}
	})
	for name, key := range map[string]string{
		"a member's balance":    "balance\x00AUD\x00billycart\x00miner",
		"the co-op's account":   "coop\x00AUD",
		"what a parcel brought": "totals\x00p2",
	} {
		t.Run("reckoned anew they tell of a change in "+name, func(t *testing.T) {
			r := b.rows["shares"]
			value, err := r.Get([]byte(key))
			if err != nil || len(value) == 0 {
				t.Fatalf("no row at %q: %v", key, err)
			}
			changed := slices.Clone(value)
			changed[0] ^= 2
			r.Set([]byte(key), changed)
			defer r.Set([]byte(key), value)
			if _, err := view.Recompute(b); err == nil {
				t.Error("nothing was found")
			}
		})
	}
	t.Run("reckoned anew they tell of two balances that changed places", func(t *testing.T) {
		r := b.rows["shares"]
		miner, cutter := []byte("balance\x00AUD\x00billycart\x00miner"), []byte("balance\x00AUD\x00wetwheel\x00cutter")
		first, err := r.Get(miner)
		if err != nil {
			t.Fatal(err)
		}
		second, err := r.Get(cutter)
		if err != nil || slices.Equal(first, second) {
			t.Fatalf("%x and %x, %v", first, second, err)
		}
		r.Set(miner, second)
		r.Set(cutter, first)
		if _, err := view.Recompute(b); err == nil {
			t.Error("nothing was found")
		}
	})
}

// TestRecomputeTrustsNoRow: rows of the books that agree with each other, but not with
// the records, are found.
func TestRecomputeTrustsNoRow(t *testing.T) {
	for name, tell := range map[string]func(b *book){
		"money that no record has":       func(b *book) { b.apart(parcelPaid("p1", aud(100))) },
		"a cost that no record has":      func(b *book) { b.apart(costRecorded("p1", "freight", aud(100))) },
		"money that no record has in p3": func(b *book) { b.apart(parcelPaid("p3", aud(1))) },
	} {
		t.Run(name, func(t *testing.T) {
			b := threeParcels(t)
			if _, err := view.Recompute(b); err != nil {
				t.Fatal(err)
			}
			tell(b)
			if _, err := view.Recompute(b); err == nil {
				t.Error("nothing was found")
			}
		})
	}
}

// apart lets the books follow an event that no stream holds.
func (b *book) apart(event *parcelv1.Event) {
	b.t.Helper()
	rec := eventstore.Record{Position: b.position + 1, Stream: "parcel/p", Version: 1, Event: event}
	if err := (view.Shares{}).Apply(b.rows["shares"], rec); err != nil {
		b.t.Fatal(err)
	}
}

func (b *book) chain(stone string) []view.Link {
	b.t.Helper()
	links, err := view.Chain(b, stone)
	if err != nil {
		b.t.Fatal(err)
	}
	return links
}

func TestScenarioChain(t *testing.T) {
	b := threeParcels(t)
	b.order("order-1", "marrow", line{"stone-1", "p1", 74000}, line{"stone-2", "p1", 74000})
	t.Run("leads from the field to the order", func(t *testing.T) {
		var got []string
		for _, l := range b.chain("stone-1") {
			got = append(got, fmt.Sprintf("%s: %s", l.About, l.What))
			if at := b.records[l.About]; !slices.ContainsFunc(at, func(r eventstore.Record) bool { return r.Position == l.Position }) {
				t.Errorf("position %d is not in %s", l.Position, l.About)
			}
		}
		want := []string{
			"field/ashbarrel: The field: Ashbarrel Rise, ironstone country",
			"parcel/p1: Parcel P1 listed: 6 lines, 185.76 g together, by the seller's own word",
			"piece/p1-1: Piece 1, 34.20 g",
			"parcel/p1: Parcel handed over, counted and weighed by both sides",
			"piece/p1-1: Part 1, 34.20 g, was sawn: 1A 9.24 g, 1B 23.44 g",
			"piece/p1-1: Part 1A, 9.24 g, was sawn: 1C 5.02 g, 1D 4.05 g",
			"piece/p1-1: Part 1C, 5.02 g, was trimmed: 1C' 1.42 g, 1C-off 1.15 g",
			"piece/p1-1: Part 1C', 1.42 g, was ground and polished to the stone; 0.812 g ground off",
			"stone/stone-1: Finished from part 1C': stone stone-1, oval, 3.04 ct, 12 × 9 × 3 mm",
			"order/order-1: Ordered",
			"stone/stone-1: Sold",
		}
		if !slices.Equal(got, want) {
			t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
	})
	t.Run("says that a field is not shown", func(t *testing.T) {
		links := b.chain("stone-16")
		if links[0].About != "parcel/p2" || links[1].What != "Piece 4, 20.10 g; its field is not shown" {
			t.Errorf("got %+v", links[:2])
		}
	})
	t.Run("holds a return", func(t *testing.T) {
		b.stoneEvent("stone-1", &stonev1.Event{Event: &stonev1.Event_Returned{Returned: &stonev1.Returned{Public: &stonev1.Returned_Public{
			StoneId: "stone-1", OrderId: "order-1", Weighing: &eventv1.Weighing{MassUg: 606_000, DivisionUg: 2_000}, Size: &eventv1.Size{LengthUm: 12_000, WidthUm: 9_000, DepthUm: 2_950},
		}}}})
		links := b.chain("stone-1")
		if got := links[len(links)-1].What; got != "Came back and was measured again: 3.03 ct, 12 × 9 × 2.95 mm" {
			t.Errorf("got %q", got)
		}
	})
	t.Run("refused: no such stone", func(t *testing.T) {
		if _, err := view.Chain(b, "stone-99"); err != view.ErrNoStone {
			t.Errorf("got %v", err)
		}
	})
}
