package parcel_test

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"

	"seamshare.example/services/domain/parcel"
)

// TestAnyHistory lets anyone try anything at any time: whatever is accepted, the rules
// hold of the state.
func TestAnyHistory(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var s parcel.State
		now := noon
		deals := 0
		did := func(events []*parcelv1.Event, err error) {
			if err != nil {
				return
			}
			for _, e := range events {
				if e.GetDealMade() != nil {
					deals++
				}
				s = parcel.Evolve(s, e)
			}
		}
		one := func(e *parcelv1.Event, err error) { did([]*parcelv1.Event{e}, err) }
		anyone := rapid.SampledFrom([]string{seller, buyer, rival, "nobody"})
		minor := rapid.Int64Range(-10, 250_000)
		offers := 0
		t.Repeat(map[string]func(*rapid.T){
			"": func(t *rapid.T) {
				stage := s.Stage(now)
				price := s.Deal.Agreement.GetPrice().GetMinor()
				switch {
				case deals > 1:
					t.Fatal("rule 8: two deals")
				case s.Deal.Made() && s.Deal.Buyer == seller:
					t.Fatal("rules 6 and 9: sold to its seller")
				case s.PaidMinor < 0 || s.PaidMinor > price:
					t.Fatalf("rule 12: %d paid of %d", s.PaidMinor, price)
				case s.HandedOver != (s.SellerWord.Given() && s.BuyerWord.Given()):
					t.Fatalf("rule 11: handed over %v with %+v and %+v", s.HandedOver, s.SellerWord, s.BuyerWord)
				case (stage == parcel.Agreed || stage == parcel.HandedOver) != s.Deal.Made():
					t.Fatalf("stage %v with deal %+v", stage, s.Deal)
				case s.WorkedBy(buyer) == nil && (!s.HandedOver || s.Deal.Buyer != buyer):
					t.Fatal("rule 14: worked by one who hasn't it")
				}
				for kind := range s.Costs {
					if kind != "freight" {
						t.Fatalf("rule 13: a cost of kind %q", kind)
					}
				}
				for _, o := range s.Offers {
					open := s.OfferStage(o, now) == parcel.Open
					if open != (!s.Deal.Made() && !o.Replaced && now.Before(o.EndsAt)) {
						t.Fatalf("rules 7 and 8: offer %+v is open: %v", o, open)
					}
				}
				if n := openOf(s, buyer, now); n > 1 || len(s.Offers) > 4*parcel.MaxOffersOfBuyer {
					t.Fatalf("rule 6: %d open offers of one buyer, %d in all of four", n, len(s.Offers))
				}
				if s.Deal.Made() {
					if _, err := parcel.Fix(s.Deal.Agreement); err != nil {
						t.Fatalf("rule 5: %v", err)
					}
				}
			},
			"list": func(t *rapid.T) {
				l := p1()
				l.OpenAtAsking = rapid.Bool().Draw(t, "open at asking")
				one(s.List(l))
			},
			"offer": func(t *rapid.T) {
				offers++
				b := bid(fmt.Sprint("o", offers), anyone.Draw(t, "buyer"), minor.Draw(t, "price"))
				b.EndsAt = now.Add(time.Duration(rapid.IntRange(-1, 3).Draw(t, "hours")) * time.Hour)
				one(s.MakeOffer(b, now))
			},
			"accept": func(t *rapid.T) {
				one(s.Accept(anyone.Draw(t, "who"), fmt.Sprint("o", rapid.IntRange(1, offers+1).Draw(t, "offer")), now))
			},
			"take": func(t *rapid.T) { one(s.Take(anyone.Draw(t, "buyer"))) },
			"weigh": func(t *rapid.T) {
				did(s.Weigh(anyone.Draw(t, "who"), rapid.Uint32Range(5, 7).Draw(t, "count"), weighed(rapid.Int64Range(0, 200_000_000).Draw(t, "mass"))))
			},
			"pay": func(t *rapid.T) { one(s.Pay(aud(minor.Draw(t, "amount")), "bank")) },
			"cost": func(t *rapid.T) {
				one(s.RecordCost(rapid.SampledFrom([]string{"freight", "paper"}).Draw(t, "kind"), aud(minor.Draw(t, "amount")), "carrier"))
			},
			"wait": func(t *rapid.T) { now = now.Add(time.Hour) },
		})
	})
}
