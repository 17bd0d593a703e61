package parcel_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

const (
	hundredth = 10_000 // a scale of 0.01 g
	seller    = "billycart"
	buyer     = "wet-wheel"
	rival     = "two-dops"
)

func aud(minor int64) *eventv1.Amount { return &eventv1.Amount{Currency: "AUD", Minor: minor} }

func weighed(ug int64) *eventv1.Weighing {
	return &eventv1.Weighing{MassUg: ug, DivisionUg: hundredth}
}

func ratios(r ...any) (out []*parcelv1.Ratio) {
	for i := 0; i < len(r); i += 2 {
		out = append(out, &parcelv1.Ratio{Party: r[i].(string), Weight: uint32(r[i+1].(int))})
	}
	return out
}

// rising is the agreement of the demo's parcel P1 at a price.
func rising(price int64) *parcelv1.Agreement {
	recoup := func(r *parcelv1.Recoup) *parcelv1.Tier { return &parcelv1.Tier{Form: &parcelv1.Tier_Recoup{Recoup: r}} }
	return &parcelv1.Agreement{
		Price: aud(price), ParcelLevy: &parcelv1.Levy{BasisPoints: 300, BorneBy: "miner"}, SaleLevy: &parcelv1.Levy{BasisPoints: 600},
		CostKinds: []string{"freight"},
		Tiers: []*parcelv1.Tier{
			recoup(&parcelv1.Recoup{Party: "coop", Target: &parcelv1.Recoup_Costs{Costs: &parcelv1.CostKinds{Kinds: []string{"freight"}}}}),
			recoup(&parcelv1.Recoup{Party: "cutter", Target: &parcelv1.Recoup_PriceMultiple{PriceMultiple: &parcelv1.Fraction{Numerator: 1, Denominator: 1}}}),
			recoup(&parcelv1.Recoup{Party: "cutter", Target: &parcelv1.Recoup_AmountMinor{AmountMinor: 63000}, Label: "14 h at 45.00"}),
			{Form: &parcelv1.Tier_Split{Split: &parcelv1.Split{Ratios: ratios("cutter", 2, "miner", 1), CeilingMinor: proto.Int64(75000)}}},
			{Form: &parcelv1.Tier_Split{Split: &parcelv1.Split{Ratios: ratios("cutter", 4, "miner", 3)}}},
		},
	}
}

// p1 is the demo's first parcel.
func p1() parcel.Listing {
	l := parcel.Listing{
		ID: "p1", Seller: seller, Label: "P1", Total: weighed(185_760_000),
		Treatment: eventv1.Treatment_TREATMENT_NONE_KNOWN, OpenAtAsking: true, Agreement: rising(190000),
	}
	for i, ug := range []int64{34_200_000, 30_850_000, 12_060_000, 8_950_000, 11_300_000, 88_400_000} {
		l.Pieces = append(l.Pieces, parcel.Piece{ID: fmt.Sprintf("p1-%d", i+1), Label: fmt.Sprint(i + 1), Weighing: weighed(ug), Count: 1})
	}
	return l
}

type history struct {
	t testing.TB
	parcel.State
	events []*parcelv1.Event
}

func (h *history) did(event *parcelv1.Event, err error) *history {
	h.t.Helper()
	if err != nil {
		h.t.Fatal(err)
	}
	h.events = append(h.events, event)
	h.State = parcel.Evolve(h.State, event)
	return h
}

func (h *history) all(events []*parcelv1.Event, err error) *history {
	h.t.Helper()
	if err != nil {
		h.t.Fatal(err)
	}
	for _, e := range events {
		h.did(e, nil)
	}
	return h
}

func (h *history) weigh(member string, count uint32, ug int64) *history {
	h.t.Helper()
	return h.all(h.Weigh(member, count, weighed(ug)))
}

func listed(t testing.TB) *history {
	t.Helper()
	return (&history{t: t}).did(parcel.State{}.List(p1()))
}

func bid(id, who string, price int64) parcel.Bid {
	return parcel.Bid{ID: id, Buyer: who, EndsAt: noon.Add(time.Hour), Agreement: &parcelv1.Agreement{Price: aud(price)}}
}

func agreed(t testing.TB) *history {
	t.Helper()
	h := listed(t)
	h.did(h.MakeOffer(bid("o1", rival, 155000), noon))
	h.did(h.MakeOffer(bid("o2", buyer, 160000), noon))
	return h.did(h.Accept(seller, "o2", noon))
}

func TestList(t *testing.T) {
	refused := func(name string, change func(*parcel.Listing), reason rule.Reason, field string) {
		t.Run(name, func(t *testing.T) {
			l := p1()
			change(&l)
			_, err := parcel.State{}.List(l)
			ruletest.Refused(t, err, reason, field)
		})
	}
	t.Run("rule 1 refused: listed twice", func(t *testing.T) {
		_, err := listed(t).List(p1())
		ruletest.Refused(t, err, rule.AlreadyThere, "")
	})
	refused("rule 1 refused: no pieces", func(l *parcel.Listing) { l.Pieces = nil }, rule.CountInvalid, "pieces")
	refused("rule 1 refused: a label twice", func(l *parcel.Listing) { l.Pieces[3].Label = "1" }, rule.NamedTwice, "pieces[3].label")
	refused("rule 1 refused: a label that names no part", func(l *parcel.Listing) { l.Pieces[0].Label = "big one" }, rule.FieldInvalid, "pieces[0].label")
	refused("refused: a mass below zero", func(l *parcel.Listing) { l.Pieces[2].Weighing = weighed(-5) }, rule.MassInvalid, "pieces[2].weighing.mass_ug")
	refused("refused: no total", func(l *parcel.Listing) { l.Total = nil }, rule.MassInvalid, "total.mass_ug")
	refused("rule 3 refused: treatment not answered", func(l *parcel.Listing) { l.Treatment = 0 }, rule.NotAnswered, "treatment")
	refused("rule 4 refused: an unknown currency", func(l *parcel.Listing) { l.Agreement.Price.Currency = "XXQ" }, rule.CurrencyUnknown, "agreement.price.currency_code")
	refused("rule 5 refused: no tier takes the rest", func(l *parcel.Listing) { l.Agreement.Tiers = l.Agreement.Tiers[:4] }, rule.AgreementInvalid, "agreement.tiers[3].split.ceiling")
	refused("rule 5 refused: the seller by id", func(l *parcel.Listing) {
		l.Agreement.Tiers[4].GetSplit().Ratios[1].Party = seller
	}, rule.AgreementInvalid, "agreement")
	refused("rule 5 refused: splits in different orders", func(l *parcel.Listing) {
		l.Agreement.Tiers[4].GetSplit().Ratios = ratios("miner", 3, "cutter", 4)
	}, rule.AgreementInvalid, "agreement.tiers[4].split.ratios[1].party")
	refused("rule 5 refused: no price", func(l *parcel.Listing) { l.Agreement.Price = nil }, rule.NotAnswered, "agreement.price")
	t.Run("refused: all that is wrong at once", func(t *testing.T) {
		l := p1()
		l.Treatment, l.Pieces[1].Label, l.Agreement.Tiers = 0, "1", nil
		_, err := parcel.State{}.List(l)
		ruletest.Refused(t, err, rule.NotAnswered, "treatment")
		ruletest.Refused(t, err, rule.NamedTwice, "pieces[1].label")
		ruletest.Refused(t, err, rule.AgreementInvalid, "agreement.tiers")
	})
}

func TestBalance(t *testing.T) {
	t.Run("rule 2 refused: the demo's typing error, with both sums and the tolerance", func(t *testing.T) {
		l := p1()
		l.Total = weighed(186_260_000)
		_, err := parcel.State{}.List(l)
		ruletest.Refused(t, err, rule.MassesDontAddUp, "total.mass_ug")
		for _, part := range []string{"186.26 g", "185.76 g", "0.50 g apart", "0.035 g"} {
			if !strings.Contains(err.Error(), part) {
				t.Errorf("%q doesn't say %q", err, part)
			}
		}
	})
	t.Run("rule 2: refused exactly beyond (n + 1) · d / 2", rapid.MakeCheck(func(t *rapid.T) {
		l := p1()
		l.Pieces = nil
		var sum int64
		d := int64(rapid.SampledFrom([]int{2_000, 10_000, 100_000}).Draw(t, "division"))
		n := rapid.IntRange(1, 20).Draw(t, "lines")
		for i := range n {
			ug := rapid.Int64Range(200*d, 1_000_000_000).Draw(t, "mass")
			sum += ug
			l.Pieces = append(l.Pieces, parcel.Piece{ID: fmt.Sprint(i), Label: fmt.Sprint(i), Count: 1, Weighing: &eventv1.Weighing{MassUg: ug, DivisionUg: d}})
		}
		allowed := int64(n+1) * d / 2
		apart := rapid.Int64Range(-allowed-3, allowed+3).Draw(t, "apart")
		apart = max(apart, 1-sum) // a total is a mass
		l.Total = &eventv1.Weighing{MassUg: sum + apart, DivisionUg: d}
		_, err := parcel.State{}.List(l)
		if within := max(apart, -apart) <= allowed; within != (err == nil) {
			t.Fatalf("%d lines at division %d, %d apart, %d allowed: %v", n, d, apart, allowed, err)
		}
	}))
}

func TestOffer(t *testing.T) {
	t.Run("rule 6 refused: by the seller, for a parcel that isn't there or is sold", func(t *testing.T) {
		h := listed(t)
		_, err := h.MakeOffer(bid("o", seller, 1), noon)
		ruletest.Refused(t, err, rule.OwnParcel, "parcel_id")
		_, err = parcel.State{}.MakeOffer(bid("o", buyer, 1), noon)
		ruletest.Refused(t, err, rule.NotFound, "parcel_id")
		_, err = agreed(t).MakeOffer(bid("o", rival, 1), noon)
		ruletest.Refused(t, err, rule.ParcelNotListed, "parcel_id")
	})
	t.Run("rule 4 refused: another currency", func(t *testing.T) {
		b := bid("o", buyer, 100)
		b.Agreement.Price.Currency = "EUR"
		_, err := listed(t).MakeOffer(b, noon)
		ruletest.Refused(t, err, rule.CurrencyDiffers, "agreement.price.currency_code")
	})
	t.Run("OK: without tiers it is as the seller proposes, at its own price", func(t *testing.T) {
		h := listed(t)
		h.did(h.MakeOffer(bid("o", buyer, 145000), noon))
		if got := h.Offers[0].Agreement; got.GetPrice().GetMinor() != 145000 || len(got.GetTiers()) != 5 {
			t.Errorf("got %v", got)
		}
		if h.Proposed.GetPrice().GetMinor() != 190000 {
			t.Error("the seller's proposal changed")
		}
	})
	t.Run("refused: without tiers but with a levy of its own", func(t *testing.T) {
		b := bid("o", buyer, 145000)
		b.Agreement.SaleLevy = &parcelv1.Levy{}
		_, err := listed(t).MakeOffer(b, noon)
		ruletest.Refused(t, err, rule.AgreementInvalid, "agreement.tiers")
	})
	t.Run("rule 7: it ends at its moment, in decisions and in what is shown alike", func(t *testing.T) {
		h := listed(t)
		_, err := h.MakeOffer(bid("o", buyer, 100), noon.Add(time.Hour))
		ruletest.Refused(t, err, rule.TimeInvalid, "ends_at")
		h.did(h.MakeOffer(bid("o", buyer, 100), noon))
		last := noon.Add(time.Hour - time.Microsecond)
		if h.Stage(last) != parcel.UnderOffer || h.OfferStage(h.Offers[0], last) != parcel.Open {
			t.Error("it ended before its moment")
		}
		if _, err := h.Accept(seller, "o", last); err != nil {
			t.Errorf("not accepted in its last moment: %v", err)
		}
		end := noon.Add(time.Hour)
		if h.Stage(end) != parcel.Listed || h.OfferStage(h.Offers[0], end) != parcel.Ended {
			t.Error("it didn't end at its moment")
		}
		_, err = h.Accept(seller, "o", end)
		ruletest.Refused(t, err, rule.OfferEnded, "offer_id")
	})
}

func TestAccept(t *testing.T) {
	t.Run("rule 8 refused: by another, who can't tell it from none", func(t *testing.T) {
		h := listed(t)
		h.did(h.MakeOffer(bid("o", buyer, 100), noon))
		_, others := h.Accept("ninth-shaft", "o", noon)
		_, none := parcel.State{}.Accept("ninth-shaft", "o", noon)
		ruletest.Refused(t, others, rule.NotFound, "parcel_id")
		if others.Error() != none.Error() {
			t.Errorf("%q is not %q", others, none)
		}
	})
	t.Run("rule 8 refused: no such offer, or a second deal", func(t *testing.T) {
		h := agreed(t)
		_, err := h.Accept(seller, "o9", noon)
		ruletest.Refused(t, err, rule.NotFound, "offer_id")
		_, err = h.Accept(seller, "o1", noon)
		ruletest.Refused(t, err, rule.ParcelNotListed, "parcel_id")
	})
	t.Run("rule 8 OK: all others are closed", func(t *testing.T) {
		h := agreed(t)
		if h.Stage(noon) != parcel.Agreed || h.OfferStage(h.Offers[0], noon) != parcel.OfferClosed || h.OfferStage(h.Offers[1], noon) != parcel.Accepted {
			t.Errorf("got %v, %v, %v", h.Stage(noon), h.OfferStage(h.Offers[0], noon), h.OfferStage(h.Offers[1], noon))
		}
	})
	t.Run("rule 10 OK: multiples of the price are amounts, rounded up", func(t *testing.T) {
		a := rising(100001)
		a.Tiers[1].GetRecoup().Target = &parcelv1.Recoup_PriceMultiple{PriceMultiple: &parcelv1.Fraction{Numerator: 1, Denominator: 2}}
		h := listed(t)
		b := bid("o", buyer, 0)
		b.Agreement = a
		h.did(h.MakeOffer(b, noon)).did(h.Accept(seller, "o", noon))
		if got := h.Deal.Agreement.Tiers[1].GetRecoup().GetAmountMinor(); got != 50001 {
			t.Errorf("got %d", got)
		}
		if a.Tiers[1].GetRecoup().GetPriceMultiple() == nil {
			t.Error("the offer's own agreement changed")
		}
	})
}

func TestTake(t *testing.T) {
	t.Run("rule 9 OK: at the asking price, with offers open", func(t *testing.T) {
		h := listed(t)
		h.did(h.MakeOffer(bid("o", rival, 100), noon)).did(h.Take(buyer, noon))
		if h.Deal.Buyer != buyer || h.Deal.OfferID != "" || h.Deal.Agreement.GetPrice().GetMinor() != 190000 {
			t.Errorf("got %+v", h.Deal)
		}
	})
	t.Run("rule 9 refused: where the seller wants offers, by the seller, twice", func(t *testing.T) {
		l := p1()
		l.OpenAtAsking = false
		h := (&history{t: t}).did(parcel.State{}.List(l))
		_, err := h.Take(buyer, noon)
		ruletest.Refused(t, err, rule.NotAtAsking, "parcel_id")
		h = listed(t)
		_, err = h.Take(seller, noon)
		ruletest.Refused(t, err, rule.OwnParcel, "parcel_id")
		h.did(h.Take(buyer, noon))
		_, err = h.Take(rival, noon)
		ruletest.Refused(t, err, rule.ParcelNotListed, "parcel_id")
	})
}

func TestHandover(t *testing.T) {
	t.Run("rule 11 refused: before the deal, by a stranger, after both words", func(t *testing.T) {
		_, err := listed(t).Weigh(seller, 6, weighed(1))
		ruletest.Refused(t, err, rule.NoDeal, "parcel_id")
		h := agreed(t)
		_, err = h.Weigh(rival, 6, weighed(1))
		ruletest.Refused(t, err, rule.NotFound, "parcel_id")
		h.weigh(seller, 6, 185_760_000).weigh(buyer, 6, 185_750_000)
		_, err = h.Weigh(buyer, 6, weighed(185_760_000))
		ruletest.Refused(t, err, rule.AlreadyThere, "parcel_id")
	})
	t.Run("rule 11 OK: another count or mass stands as an exception, with both sides' word", func(t *testing.T) {
		for name, c := range map[string]struct {
			sellerCount, buyerCount uint32
			sellerUg, buyerUg       int64
			want                    parcel.Difference
		}{
			"as listed":                        {6, 6, 185_760_000, 185_760_000, parcel.Difference{}},
			"a division apart":                 {6, 6, 185_760_000, 185_750_000, parcel.Difference{Ug: 10_000}},
			"two divisions apart":              {6, 6, 185_740_000, 185_740_000, parcel.Difference{Ug: 20_000, Beyond: true}},
			"one counts less":                  {6, 5, 185_760_000, 185_760_000, parcel.Difference{Count: 1, Beyond: true}},
			"the seller says more, not listed": {6, 6, 185_780_000, 185_760_000, parcel.Difference{Beyond: true}},
		} {
			h := agreed(t)
			h.all(h.Handover(seller, parcel.Word{Count: c.sellerCount, Total: weighed(c.sellerUg), Note: "on my scale"}))
			h.weigh(buyer, c.buyerCount, c.buyerUg)
			if h.Difference != c.want || !h.HandedOver || h.SellerWord.Note != "on my scale" {
				t.Errorf("%s: got %+v, %+v", name, h.Difference, h.SellerWord)
			}
		}
	})
	t.Run("rule 11 OK: custody moves with the second word, whoever's it is; the difference stands", func(t *testing.T) {
		for _, order := range [][]string{{seller, buyer}, {buyer, seller}} {
			h := agreed(t)
			h.weigh(order[0], 6, 185_000_000)
			if h.HandedOver {
				t.Fatal("custody moved with one word")
			}
			h.weigh(order[0], 6, 185_700_000) // weighed again: the later word stands
			h.weigh(order[1], 6, 185_700_000)
			if !h.HandedOver || h.Stage(noon) != parcel.HandedOver || h.Difference.Ug != 60_000 {
				t.Errorf("got %v, difference %+v", h.HandedOver, h.Difference)
			}
		}
	})
	t.Run("rule 14: only the buyer works it, once custody has moved", func(t *testing.T) {
		h := agreed(t)
		ruletest.Refused(t, h.WorkedBy(buyer, noon), rule.NotHandedOver, "parcel_id")
		h.weigh(seller, 6, 185_760_000).weigh(buyer, 6, 185_760_000)
		if err := h.WorkedBy(buyer, noon); err != nil {
			t.Error(err)
		}
		ruletest.Refused(t, h.WorkedBy(seller, noon), rule.NotFound, "parcel_id")
	})
}

func TestMoney(t *testing.T) {
	t.Run("rule 12: paid in parts, never above the price", func(t *testing.T) {
		h := agreed(t)
		h.all(h.Pay(aud(100000), "bank 1"))
		_, err := h.Pay(aud(60001), "bank 2")
		ruletest.Refused(t, err, rule.AboveWhatIsOwed, "amount")
		h.all(h.Pay(aud(60000), "bank 2"))
		_, err = h.Pay(aud(1), "bank 3")
		ruletest.Refused(t, err, rule.AboveWhatIsOwed, "amount")
	})
	t.Run("refused: nothing, less than nothing, another currency, no reference, no deal", func(t *testing.T) {
		h := agreed(t)
		for _, minor := range []int64{0, -1} {
			_, err := h.Pay(aud(minor), "bank")
			ruletest.Refused(t, err, rule.AmountInvalid, "amount")
		}
		_, err := h.Pay(&eventv1.Amount{Currency: "EUR", Minor: 1}, "bank")
		ruletest.Refused(t, err, rule.CurrencyDiffers, "amount.currency_code")
		_, err = h.Pay(aud(1), "")
		ruletest.Refused(t, err, rule.FieldInvalid, "reference")
		_, err = listed(t).Pay(aud(1), "bank")
		ruletest.Refused(t, err, rule.NoDeal, "parcel_id")
	})
	t.Run("rule 13: costs of the agreement's kinds, added up by kind", func(t *testing.T) {
		h := agreed(t)
		h.did(h.RecordCost("freight", aud(3850), "carrier")).did(h.RecordCost("freight", aud(50), "carrier"))
		if h.Costs["freight"] != 3900 {
			t.Errorf("got %v", h.Costs)
		}
		_, err := h.RecordCost("paper", aud(1), "desk")
		ruletest.Refused(t, err, rule.CostNotAgreed, "kind")
		_, err = h.RecordCost("freight", aud(1_000_000_000_000_000), "desk")
		ruletest.Refused(t, err, rule.AmountInvalid, "amount")
	})
}

func TestUnaliased(t *testing.T) {
	h := listed(t)
	for i := range 5 { // so that a slice has room at its end
		h.did(h.MakeOffer(bid(fmt.Sprint("o", i), buyer, 100), noon))
	}
	h.did(h.Accept(seller, "o4", noon))
	h.weigh(seller, 6, 185_760_000).weigh(buyer, 6, 185_760_000)
	h.all(h.Pay(aud(5), "a")).did(h.RecordCost("freight", aud(1), "b")).did(h.RecordCost("freight", aud(2), "c"))
	ruletest.Unaliased(t, parcel.Evolve, h.events...)
}

func TestTerms(t *testing.T) {
	t.Run("OK: the splits' order breaks ties, whoever recoups before", func(t *testing.T) {
		a := rising(100)
		for _, tier := range a.Tiers[3:] {
			tier.GetSplit().Ratios = ratios("miner", 1, "cutter", 1)
		}
		if got := parcel.Terms(a).Parties; got[0].ID != "miner" || got[1].ID != "cutter" {
			t.Errorf("got %v", got)
		}
		if err := parcel.Terms(a).Validate(); err != nil {
			t.Error(err)
		}
	})
	t.Run("OK: a partner stands with its id", func(t *testing.T) {
		a := rising(100)
		a.Tiers[4].GetSplit().Ratios = ratios("cutter", 4, "miner", 3, "ninth-shaft", 1)
		if got := parcel.Others(a); len(got) != 1 || got[0] != "ninth-shaft" {
			t.Errorf("got %v", got)
		}
	})
}
