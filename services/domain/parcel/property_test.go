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
		offers, viewings := 0, 0
		viewing := func(t *rapid.T) string { return fmt.Sprintf("v%04d", rapid.IntRange(1, viewings+1).Draw(t, "viewing")) }
		lastOff := "" // the last viewing asked for when the parcel last left the market
		did := func(events []*parcelv1.Event, err error) {
			if err != nil {
				return
			}
			for _, e := range events {
				if e.GetDealMade() != nil {
					deals++
				}
				switch e.GetEvent().(type) {
				case *parcelv1.Event_FellThrough:
					deals--
				case *parcelv1.Event_DealMade, *parcelv1.Event_Withdrawn:
					lastOff = fmt.Sprintf("v%04d", viewings)
				}
				s = parcel.Evolve(s, e)
			}
		}
		one := func(e *parcelv1.Event, err error) { did([]*parcelv1.Event{e}, err) }
		anyone := rapid.SampledFrom([]string{seller, buyer, rival, "nobody"})
		minor := rapid.Int64Range(-10, 250_000)
		// on goes one step of a usual life further, so that histories come far.
		on := func(t *rapid.T) {
			all := parcel.Word{Count: 6, Total: weighed(185_760_000)}
			switch s.Stage(now) {
			case 0, parcel.Drafted:
				one(s.List(p1()))
			case parcel.Listed, parcel.UnderOffer:
				if rapid.Bool().Draw(t, "shown first") {
					viewings++
					id := fmt.Sprintf("v%04d", viewings)
					one(s.AskViewing(parcel.Viewing{ID: id, Viewer: buyer, At: now.Add(time.Hour)}, now))
					one(s.AgreeViewing(seller, id, time.Time{}, true, "", now))
					one(s.StartViewing(seller, id, 6, weighed(185_760_000)))
				}
				one(s.Take(rapid.SampledFrom([]string{buyer, rival}).Draw(t, "buyer"), now))
			case parcel.Agreed:
				did(s.Handover(seller, all))
				did(s.Handover(s.Deal.Buyer, all))
			case parcel.HandedOver:
				did(s.Pay(aud(rapid.Int64Range(1, max(1, s.Deal.Agreement.GetPrice().GetMinor()-s.PaidMinor)).Draw(t, "amount")), "bank"))
				if rapid.Bool().Draw(t, "misdescribed") {
					did(s.CallOff(s.Deal.Buyer, parcelv1.FallReason_FALL_REASON_MISDESCRIBED, "why", false, now))
				}
			case parcel.ComingBack:
				did(s.GiveBack(s.Fallen.Buyer, all))
				did(s.GiveBack(seller, all))
			case parcel.Withdrawn, parcel.FallenThrough:
				one(s.Refund(aud(s.PaidMinor), "bank"))
				one(s.Relist(seller, nil, true, now))
			}
		}
		t.Repeat(map[string]func(*rapid.T){
			"": func(t *rapid.T) {
				stage := s.Stage(now)
				price := s.LastDeal().Agreement.GetPrice().GetMinor()
				switch {
				case deals > 1:
					t.Fatal("rule 8: two deals")
				case s.Deal.Made() && s.Deal.Buyer == seller:
					t.Fatal("rules 6 and 9: sold to its seller")
				case s.PaidMinor < 0 || s.PaidMinor > price:
					t.Fatalf("rule 12: %d paid of %d", s.PaidMinor, price)
				case !s.Fallen.Made() && s.HandedOver != (s.SellerWord.Given() && s.BuyerWord.Given()):
					t.Fatalf("rule 11: handed over %v with %+v and %+v", s.HandedOver, s.SellerWord, s.BuyerWord)
				case (stage == parcel.Agreed || stage == parcel.HandedOver || stage == parcel.Closed) != s.Deal.Made():
					t.Fatalf("stage %v with deal %+v", stage, s.Deal)
				case s.WorkedBy(buyer, now) == nil && (!s.HandedOver || s.Deal.Buyer != buyer || s.Overdue(now) || s.Done):
					t.Fatal("rule 14: worked by one who hasn't it, or hasn't paid it")
				case s.Deal.Made() && s.Fallen.Made():
					t.Fatal("rule 20: a deal that stands and one that fell through")
				case s.Fallen.Made() && s.Owner != seller:
					t.Fatalf("rule 21: %s has the title though the deal fell through", s.Owner)
				case stage == parcel.Listed && (s.PaidMinor != 0 || s.HandedOver):
					t.Fatalf("rule 17: listed with %d paid, handed over %v", s.PaidMinor, s.HandedOver)
				case s.Shown() && s.Owner != seller && s.Owner != s.Deal.Buyer:
					t.Fatalf("rule 21: the title is %s's", s.Owner)
				case s.Shown() && s.Owner == s.Deal.Buyer && !s.HandedOver && s.PaidMinor < price:
					t.Fatal("rule 21: title moved before handover and payment")
				}
				out := 0
				for _, v := range s.Viewings {
					if v.Stage == parcel.ViewingOut {
						out++
					}
					if (v.Stage == parcel.ViewingAsked || v.Stage == parcel.ViewingAgreed) && !s.OnMarket() && v.ID <= lastOff {
						t.Fatalf("rule 24: viewing %+v waits though the parcel left the market", v)
					}
				}
				if out > 1 || out > 0 && s.HandedOver {
					t.Fatalf("rule 24: %d viewers have the rough, handed over %v", out, s.HandedOver)
				}
				if s.Shown() && s.Count() != 6 {
					t.Fatalf("rule 22: %d stones of 6", s.Count())
				}
				for kind := range s.Costs {
					if kind != "freight" {
						t.Fatalf("rule 13: a cost of kind %q", kind)
					}
				}
				for _, o := range s.Offers {
					open := s.OfferStage(o, now) == parcel.Open
					if open && (s.Deal.Made() || !s.OnMarket() || !now.Before(o.EndsAt)) {
						t.Fatalf("rules 7 and 8: offer %+v is open: %v", o, open)
					}
				}
				if n := openOf(s, buyer, now); n > 1 || len(s.Offers) > 4*parcel.MaxOffersOfBuyer {
					t.Fatalf("rule 6: %d open offers of one buyer, %d in all of four", n, len(s.Offers))
				}
				if s.Deal.Made() {
					if _, err := parcel.Fix(s.Deal.Agreement, parcel.UsualPaymentDays); err != nil {
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
			"take":     func(t *rapid.T) { one(s.Take(anyone.Draw(t, "buyer"), now)) },
			"draft":    func(t *rapid.T) { one(s.SaveDraft(anyone.Draw(t, "who"), "p1", &parcelv1.Draft{})) },
			"discard":  func(t *rapid.T) { one(s.DiscardDraft("nobody")) },
			"withdraw": func(t *rapid.T) { one(s.Withdraw(anyone.Draw(t, "who"), "")) },
			"relist":   func(t *rapid.T) { one(s.Relist(anyone.Draw(t, "who"), nil, true, now)) },
			"reprice": func(t *rapid.T) {
				one(s.Reprice(anyone.Draw(t, "who"), &parcelv1.Agreement{Price: aud(minor.Draw(t, "price"))}, true))
			},
			"counter": func(t *rapid.T) {
				offers++
				b := bid(fmt.Sprint("o", offers), "", minor.Draw(t, "price"))
				b.EndsAt = now.Add(2 * time.Hour)
				one(s.Counter(anyone.Draw(t, "who"), fmt.Sprint("o", rapid.IntRange(1, offers).Draw(t, "offer")), b, now))
			},
			"accept counter": func(t *rapid.T) {
				one(s.AcceptCounter(anyone.Draw(t, "who"), fmt.Sprint("o", rapid.IntRange(1, offers+1).Draw(t, "offer")), now))
			},
			"take back": func(t *rapid.T) {
				one(s.WithdrawOffer(anyone.Draw(t, "who"), fmt.Sprint("o", rapid.IntRange(1, offers+1).Draw(t, "offer")), now))
			},
			"decline": func(t *rapid.T) {
				one(s.DeclineOffer(anyone.Draw(t, "who"), fmt.Sprint("o", rapid.IntRange(1, offers+1).Draw(t, "offer")), "", now))
			},
			"call off": func(t *rapid.T) {
				reason := rapid.SampledFrom([]parcelv1.FallReason{parcelv1.FallReason_FALL_REASON_UNPAID, parcelv1.FallReason_FALL_REASON_MISDESCRIBED}).Draw(t, "reason")
				did(s.CallOff(anyone.Draw(t, "who"), reason, "why", rapid.Bool().Draw(t, "cut"), now))
			},
			"give back": func(t *rapid.T) {
				did(s.GiveBack(anyone.Draw(t, "who"), parcel.Word{Count: rapid.Uint32Range(5, 7).Draw(t, "count"), Total: weighed(rapid.Int64Range(0, 200_000_000).Draw(t, "mass"))}))
			},
			"refund": func(t *rapid.T) { one(s.Refund(aud(minor.Draw(t, "amount")), "bank")) },
			"close":  func(t *rapid.T) { one(s.Close(anyone.Draw(t, "who"), parcel.Leftover{})) },
			"ask": func(t *rapid.T) {
				viewings++
				one(s.AskViewing(parcel.Viewing{ID: fmt.Sprintf("v%04d", viewings), Viewer: anyone.Draw(t, "who"), At: now.Add(time.Hour)}, now))
			},
			"agree": func(t *rapid.T) {
				one(s.AgreeViewing(anyone.Draw(t, "who"), viewing(t), now.Add(time.Hour), true, "", now))
			},
			"show": func(t *rapid.T) { one(s.StartViewing(anyone.Draw(t, "who"), viewing(t), 6, weighed(185_760_000))) },
			"end": func(t *rapid.T) {
				one(s.EndViewing(anyone.Draw(t, "who"), parcel.Viewing{ID: viewing(t), Back: parcel.Word{Count: 6, Total: weighed(185_760_000)}, Light: "lamp"}))
			},
			"on": on, "on again": on, "on once more": on, "and on": on,
			"wait a month": func(t *rapid.T) { now = now.AddDate(0, 0, 31) },
			"weigh": func(t *rapid.T) {
				did(s.Weigh(anyone.Draw(t, "who"), rapid.Uint32Range(5, 7).Draw(t, "count"), weighed(rapid.Int64Range(0, 200_000_000).Draw(t, "mass"))))
			},
			"pay": func(t *rapid.T) { did(s.Pay(aud(minor.Draw(t, "amount")), "bank")) },
			"cost": func(t *rapid.T) {
				one(s.RecordCost(rapid.SampledFrom([]string{"freight", "paper"}).Draw(t, "kind"), aud(minor.Draw(t, "amount")), "carrier"))
			},
			"wait": func(t *rapid.T) { now = now.Add(time.Hour) },
		})
	})
}
