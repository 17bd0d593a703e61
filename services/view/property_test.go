package view_test

import (
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"

	"seamshare.example/services/view"
)

func closes(t rapid.TB, y view.Yield) {
	t.Helper()
	var losses int64
	for _, l := range y.Losses {
		losses += l.MassUg
	}
	if sum := y.FinishedUg + y.OffcutUg + y.UncutUg + y.LossUg + y.UnexplainedUg; sum != y.BoughtUg || losses != y.LossUg {
		t.Fatalf("bought %d, but finished + off-cut + uncut + loss + unexplained = %d, and the losses are %d: %+v", y.BoughtUg, sum, losses, y)
	}
}

// part is a part as the model of the test knows it.
type part struct {
	name   string
	massUg int64
}

// Whatever is done at the bench, and however the scales disagree, the balance closes,
// and unexplained is exactly what they disagree by.
func TestYieldAlwaysCloses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBookRapid(t)
		b.found(50_000)
		b.list("p1", "billycart", 100, piece{"1", 50_000_000, "", ""}, piece{"2", 8_000_000, "", ""})
		parts := map[string][]part{"p1-1": {{"1", 50_000_000}}, "p1-2": {{"2", 8_000_000}}}
		var unexplained, finished int64
		stones := 0
		for n := range rapid.IntRange(1, 30).Draw(t, "steps") {
			id := rapid.SampledFrom([]string{"p1-1", "p1-2"}).Draw(t, "piece")
			if len(parts[id]) == 0 {
				continue
			}
			at := rapid.IntRange(0, len(parts[id])-1).Draw(t, "part")
			p := parts[id][at]
			if rapid.IntRange(0, 3).Draw(t, "what") == 0 {
				b.pieceEvent(id, placedPart(id, p.name, piecev1.Fate(rapid.IntRange(1, 3).Draw(t, "fate"))))
				closes(t, b.yieldOf("p1"))
				continue
			}
			// Weighed again it may be heavier or lighter.
			massIn := max(1, p.massUg+rapid.Int64Range(-20_000, 20_000).Draw(t, "weighed again"))
			unexplained += p.massUg - massIn
			parts[id] = slices.Delete(parts[id], at, at+1)
			if rapid.IntRange(0, 3).Draw(t, "finish") == 0 {
				massUg := rapid.Int64Range(1, massIn).Draw(t, "stone")
				finished += massUg
				stones++
				b.finish("p1", id, p.name, fmt.Sprintf("s%d", n), "wetwheel", massIn, massUg, 1)
				closes(t, b.yieldOf("p1"))
				continue
			}
			left := massIn
			var out []*piecev1.Part
			for i := range rapid.IntRange(0, 3).Draw(t, "out") {
				massUg := rapid.Int64Range(0, left).Draw(t, "mass")
				left -= massUg
				name := fmt.Sprintf("%d.%d", n, i)
				out = append(out, &piecev1.Part{Name: name, Weighing: grams(massUg), Fate: piecev1.Fate(rapid.IntRange(1, 3).Draw(t, "fate"))})
				parts[id] = append(parts[id], part{name, massUg})
			}
			b.pieceEvent(id, worked(id, p.name, piecev1.Step_STEP_SAW, massIn, piecev1.Reason(rapid.IntRange(1, 11).Draw(t, "reason")), left, out...))
			closes(t, b.yieldOf("p1"))
		}
		y := b.yieldOf("p1")
		if y.UnexplainedUg != unexplained || y.FinishedUg != finished || y.Stones != stones || y.BoughtUg != 58_000_000 {
			t.Fatalf("unexplained %d, finished %d in %d stones; got %+v", unexplained, finished, stones, y)
		}
	})
}

func TestYieldRefusesWhatDoesNotAddUp(t *testing.T) {
	for name, event := range map[string]*piecev1.Event{
		"a part that isn't there":      worked("p1-1", "1Z", piecev1.Step_STEP_SAW, 5, piecev1.Reason_REASON_KERF, 5),
		"more out than in":             worked("p1-1", "1", piecev1.Step_STEP_SAW, 5, piecev1.Reason_REASON_KERF, 0, &piecev1.Part{Name: "1A", Weighing: grams(6)}),
		"mass gone without a loss":     worked("p1-1", "1", piecev1.Step_STEP_SAW, 5, 0, 0),
		"two parts of one name":        worked("p1-1", "1", piecev1.Step_STEP_SAW, 5, 0, 0, &piecev1.Part{Name: "1A", Weighing: grams(2)}, &piecev1.Part{Name: "1A", Weighing: grams(3)}),
		"a piece that isn't there":     worked("p1-9", "1", piecev1.Step_STEP_SAW, 5, piecev1.Reason_REASON_KERF, 5),
		"a place for a part not there": placedPart("p1-1", "1Z", piecev1.Fate_FATE_SHELF),
		"a stone of a part not there":  finishedPart("p1-1", "1Z", "s1", 5, 3),
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			b := newBook(t)
			b.list("p1", "billycart", 100, piece{"1", 5, "", ""})
			if err := b.try("piece/p1-1", event); err == nil {
				t.Error("it was followed")
			}
		})
	}
}

// accountsClose holds that receipts = levies + costs + shares + what is to be paid back, and that the running
// balances are what the parcels' statements add up to.
func accountsClose(t rapid.TB, b *book, parcels []string) {
	t.Helper()
	v, r := view.Shares{}, b.rows["shares"]
	coop, members, err := v.Balances(r)
	if err != nil {
		t.Fatal(err)
	}
	var sum int64
	for _, c := range coop {
		sum += c.Receipts - c.Levies - c.Costs - c.Back
	}
	running := map[string]int64{}
	for _, m := range members {
		sum -= m.Minor
		running[m.Member+" as "+m.Party] = m.Minor
	}
	if sum != 0 {
		t.Fatalf("the accounts add up to %d, not 0: %+v %+v", sum, coop, members)
	}
	var received, levies, costs, back int64
	for _, id := range parcels {
		s, ok, err := v.Statement(r, id)
		if err != nil || !ok {
			t.Fatalf("statement of %s: %t, %v", id, ok, err)
		}
		received, levies, costs, back = received+s.Shares.Received+s.Back, levies+s.Shares.Levies, costs+s.Shares.Costs, back+s.Back
		for _, p := range s.Shares.Parties {
			running[s.Member(p.Party)+" as "+p.Role] -= p.Total()
		}
	}
	for who, minor := range running {
		if minor != 0 {
			t.Fatalf("the running balance of %s is %d off its statements", who, minor)
		}
	}
	if len(coop) == 1 && (coop[0].Receipts != received || coop[0].Levies != levies || coop[0].Costs != costs || coop[0].Back != back) {
		t.Fatalf("the co-op's account is %+v, its statements say %d, %d, %d, %d", coop[0], received, levies, costs, back)
	}
}

func drawAgreement(t *rapid.T, price int64) *parcelv1.Agreement {
	weight := func(name string) uint32 { return rapid.Uint32Range(1, 9).Draw(t, name) }
	var tiers []*parcelv1.Tier
	for i := range rapid.IntRange(0, 3).Draw(t, "tiers") {
		if rapid.Bool().Draw(t, "recoup") {
			tiers = append(tiers, recoup(rapid.SampledFrom([]string{"miner", "cutter"}).Draw(t, "party"), rapid.Int64Range(0, 5000).Draw(t, "target")))
		} else {
			tiers = append(tiers, split(rapid.Int64Range(1, 5000).Draw(t, "ceiling"), ratio("cutter", weight(fmt.Sprint("c", i))), ratio("miner", weight(fmt.Sprint("m", i)))))
		}
	}
	a := agreement(price, append(tiers, split(0, ratio("cutter", weight("cutter")), ratio("miner", weight("miner")), ratio("ninthshaft", weight("partner"))))...)
	a.SaleLevy = &parcelv1.Levy{BasisPoints: rapid.Uint32Range(0, 2000).Draw(t, "levy"), FloorMinor: rapid.Int64Range(0, 200).Draw(t, "floor")}
	a.SaleLevy.BorneBy = rapid.SampledFrom([]string{"", "miner", "cutter"}).Draw(t, "borne by")
	return a
}

// tradeOn makes orders of stones from two parcels under drawn agreements.
func tradeOn(t *rapid.T, b *book) (agreements map[string]*parcelv1.Agreement, orders map[string][]line) {
	agreements = map[string]*parcelv1.Agreement{}
	for _, id := range []string{"p1", "p2"} {
		agreements[id] = drawAgreement(t, 3000)
		b.list(id, "billycart", 3000, piece{"1", 5, "", ""})
		b.deal(id, "wetwheel", agreements[id])
	}
	orders = map[string][]line{}
	for n := range rapid.IntRange(1, 4).Draw(t, "orders") {
		id := fmt.Sprintf("o%d", n)
		for i := range rapid.IntRange(1, 4).Draw(t, "lines") {
			orders[id] = append(orders[id], line{
				fmt.Sprintf("%s-s%d", id, i), rapid.SampledFrom([]string{"p1", "p2"}).Draw(t, "parcel"), rapid.Int64Range(1, 5000).Draw(t, "price"),
			})
		}
		b.orderEvent(id, placed(id, "marrow", orders[id]...))
	}
	return agreements, orders
}

// Purchase money, costs, part payments, returns and refunds in any order: at every
// position the accounts add up to zero.
func TestAccountsAddUpToZeroAtEveryPosition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBookRapid(t)
		_, orders := tradeOn(t, b)
		paid := map[string]int64{} // by parcel
		type state struct {
			paid int64
			back bool
		}
		lines := map[string]*state{}
		for range rapid.IntRange(1, 25).Draw(t, "events") {
			parcel := rapid.SampledFrom([]string{"p1", "p2"}).Draw(t, "parcel")
			id := fmt.Sprintf("o%d", rapid.IntRange(0, len(orders)-1).Draw(t, "order"))
			l := orders[id][rapid.IntRange(0, len(orders[id])-1).Draw(t, "line")]
			for _, l := range orders[id] {
				if lines[l.stone] == nil {
					lines[l.stone] = &state{}
				}
			}
			switch rapid.IntRange(0, 4).Draw(t, "event") {
			case 0:
				if part := rapid.Int64Range(0, 3000-paid[parcel]).Draw(t, "part"); part > 0 {
					paid[parcel] += part
					b.parcelEvent(parcel, parcelPaid(parcel, aud(part)))
				}
			case 1:
				b.parcelEvent(parcel, costRecorded(parcel, rapid.SampledFrom([]string{"freight", "paper"}).Draw(t, "kind"), aud(rapid.Int64Range(1, 900).Draw(t, "cost"))))
			case 2:
				var open int64
				for _, l := range orders[id] {
					if s := lines[l.stone]; !s.back {
						open += l.price - s.paid
					}
				}
				if open == 0 {
					continue
				}
				part := rapid.Int64Range(1, open).Draw(t, "part")
				b.orderEvent(id, orderPaid(id, part))
				for _, l := range orders[id] {
					if s := lines[l.stone]; !s.back {
						covered := min(part, l.price-s.paid)
						s.paid, part = s.paid+covered, part-covered
					}
				}
			case 3:
				if !lines[l.stone].back {
					lines[l.stone].back = true
					b.orderEvent(id, orderReturned(id, l.stone))
				}
			case 4:
				if s := lines[l.stone]; s.back && s.paid > 0 {
					b.orderEvent(id, refunded(id, l.stone, s.paid))
					s.paid = 0
				}
			}
			accountsClose(t, b, []string{"p1", "p2"})
		}
		coop, _, err := view.Shares{}.Balances(b.rows["shares"])
		if err != nil {
			t.Fatal(err)
		}
		want := paid["p1"] + paid["p2"]
		for _, s := range lines {
			want += s.paid
		}
		if len(coop) == 1 && coop[0].Receipts != want || len(coop) == 0 && want != 0 {
			t.Fatalf("received %d, the account says %+v", want, coop)
		}
	})
}

func balances(t rapid.TB, b *book) string {
	t.Helper()
	coop, members, err := view.Shares{}.Balances(b.rows["shares"])
	if err != nil {
		t.Fatal(err)
	}
	members = slices.DeleteFunc(members, func(m view.Balance) bool { return m.Minor == 0 })
	return fmt.Sprint(coop, members)
}

// givenOut is balances without what is to be paid back.
func givenOut(t rapid.TB, b *book) string {
	t.Helper()
	coop, members, err := view.Shares{}.Balances(b.rows["shares"])
	if err != nil {
		t.Fatal(err)
	}
	for i := range coop {
		coop[i].Receipts, coop[i].Back = coop[i].Receipts-coop[i].Back, 0
	}
	members = slices.DeleteFunc(members, func(m view.Balance) bool { return m.Minor == 0 })
	return fmt.Sprint(coop, members)
}

// The same payments in another order leave the same balances.
func TestTheOrderOfSalesChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		one := newBookRapid(t)
		agreements, orders := tradeOn(t, one)
		other := newBookRapid(t)
		for id, a := range agreements {
			other.list(id, "billycart", 3000, piece{"1", 5, "", ""})
			other.deal(id, "wetwheel", a)
		}
		type money struct {
			id    string
			event *orderv1.Event
		}
		var payments []money
		for n := range len(orders) {
			id := fmt.Sprintf("o%d", n)
			other.orderEvent(id, placed(id, "marrow", orders[id]...))
			var sum int64
			for _, l := range orders[id] {
				sum += l.price
			}
			first := rapid.Int64Range(0, sum).Draw(t, "first part")
			for _, part := range []int64{first, sum - first} {
				if part > 0 {
					payments = append(payments, money{id, orderPaid(id, part)})
				}
			}
		}
		for _, p := range payments {
			one.orderEvent(p.id, p.event)
		}
		for _, p := range rapid.Permutation(payments).Draw(t, "another order") {
			other.orderEvent(p.id, p.event)
		}
		if a, b := balances(t, one), balances(t, other); a != b {
			t.Fatalf("one order leaves\n%s\nanother\n%s", a, b)
		}
	})
}

// Everything of one order that goes back leaves what is given out as if it had never
// been sold, at the moment of the return; the refund then only lowers what is to be paid
// back, down to nothing.
func TestAFullReturnRestores(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBookRapid(t)
		_, orders := tradeOn(t, b)
		for n := 1; n < len(orders); n++ {
			id := fmt.Sprintf("o%d", n)
			b.orderEvent(id, orderPaid(id, orders[id][0].price))
		}
		b.parcelEvent("p1", costRecorded("p1", "freight", aud(500)))
		before := balances(t, b)
		var sum int64
		for _, l := range orders["o0"] {
			sum += l.price
		}
		b.orderEvent("o0", orderPaid("o0", sum))
		for _, l := range orders["o0"] {
			b.orderEvent("o0", orderReturned("o0", l.stone))
		}
		if len(orders) == 1 { // only the zero account is new
			before = "[{AUD 0 0 0 0}] []"
		}
		if after := givenOut(t, b); after != before {
			t.Fatalf("before\n%s\nafter the return\n%s", before, after)
		}
		for _, l := range orders["o0"] {
			b.orderEvent("o0", refunded("o0", l.stone, l.price))
			if after := givenOut(t, b); after != before {
				t.Fatalf("before\n%s\nafter a refund\n%s", before, after)
			}
		}
		if after := balances(t, b); after != before {
			t.Fatalf("before\n%s\nafter all refunds\n%s", before, after)
		}
	})
}

// Of a deal that fell through nobody has a share from that moment on, whatever was paid;
// what is to be paid back is what was, as it was corrected, less what was paid back.
func TestADealThatFellThroughIsNobodysShare(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBookRapid(t)
		b.list("p1", "billycart", 3000, piece{"1", 5, "", ""})
		b.deal("p1", "wetwheel", drawAgreement(t, 3000))
		paid := rapid.Int64Range(0, 3000).Draw(t, "paid")
		if paid > 0 {
			b.parcelEvent("p1", parcelPaid("p1", aud(paid)))
		}
		b.parcelEvent("p1", costRecorded("p1", "freight", aud(500)))
		b.parcelEvent("p1", &parcelv1.Event{Event: &parcelv1.Event_FellThrough{FellThrough: &parcelv1.FellThrough{
			Public: &parcelv1.FellThrough_Public{ParcelId: "p1"}, Private: &parcelv1.FellThrough_Private{BuyerId: "wetwheel", ToRefund: aud(paid)},
		}}})
		for range rapid.IntRange(0, 5).Draw(t, "events") {
			if rapid.Bool().Draw(t, "corrected") {
				right := rapid.Int64Range(0, 3000).Draw(t, "right")
				b.record("parcel/p1", receiptCorrected(paid, right))
				paid = right
			} else if paid > 0 {
				part := rapid.Int64Range(1, paid).Draw(t, "refund")
				paid -= part
				b.parcelEvent("p1", &parcelv1.Event{Event: &parcelv1.Event_PurchaseRefunded{PurchaseRefunded: &parcelv1.PurchaseRefunded{
					Public: &parcelv1.PurchaseRefunded_Public{ParcelId: "p1"}, Private: &parcelv1.PurchaseRefunded_Private{Amount: aud(part), Reference: "bank"},
				}}})
			}
		}
		accountsClose(t, b, []string{"p1"})
		if got, want := balances(t, b), fmt.Sprintf("[{AUD %d 0 0 %d}] []", paid, paid); got != want {
			t.Fatalf("the balances are %s, want %s", got, want)
		}
		if _, err := view.Recompute(b); err != nil {
			t.Fatal(err)
		}
	})
}

func receiptCorrected(was, right int64) *correctionv1.Event {
	return &correctionv1.Event{Event: &correctionv1.Event_ReceiptCorrected{ReceiptCorrected: &correctionv1.ReceiptCorrected{
		Public: &correctionv1.ReceiptCorrected_Public{}, Private: &correctionv1.ReceiptCorrected_Private{Was: aud(was), Right: aud(right)},
	}}}
}

func TestSharesRefuseMoneyThatBelongsNowhere(t *testing.T) {
	for name, play := range map[string]func(b *book) error{
		"a cost before the deal":          func(b *book) error { return b.try("parcel/p2", costRecorded("p2", "freight", aud(5))) },
		"a cost the agreement won't have": func(b *book) error { return b.try("parcel/p1", costRecorded("p1", "wages", aud(5))) },
		"more than the parcel's price":    func(b *book) error { return b.try("parcel/p1", parcelPaid("p1", aud(160001))) },
		"another currency": func(b *book) error {
			amount := aud(5)
			amount.Currency = "NZD"
			return b.try("parcel/p1", parcelPaid("p1", amount))
		},
		"more than the order's price":   func(b *book) error { return b.try("order/o1", orderPaid("o1", 101)) },
		"an order that isn't there":     func(b *book) error { return b.try("order/o2", orderPaid("o2", 1)) },
		"a refund of what was not paid": func(b *book) error { return b.try("order/o1", refunded("o1", "s1", 5)) },
		"a refund of a stone not in it": func(b *book) error { return b.try("order/o1", refunded("o1", "s2", 5)) },
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			b := newBook(t)
			b.list("p1", "billycart", 160000, piece{"1", 5, "", ""})
			b.list("p2", "billycart", 100, piece{"1", 5, "", ""})
			b.deal("p1", "wetwheel", risingShare())
			b.orderEvent("o1", placed("o1", "marrow", line{"s1", "p1", 100}))
			if err := play(b); err == nil {
				t.Error("it was followed")
			}
		})
	}
}
