package parcel_test

import (
	"fmt"
	"testing"
	"time"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
)

func TestTables(t *testing.T) {
	for _, table := range []interface{ Check() error }{
		parcel.Table, parcel.ViewingTable, parcel.OfferTable, parcel.CounterTable, parcel.DealTable, parcel.HandoverTable, parcel.AgreementTable,
	} {
		if err := table.Check(); err != nil {
			t.Error(err)
		}
	}
}

func TestDraft(t *testing.T) {
	drafted := func(t *testing.T) *history {
		return (&history{t: t}).did(parcel.State{}.SaveDraft(seller, "p1", &parcelv1.Draft{Label: "P1"}))
	}
	t.Run("rule 15 OK: saved, edited, listed", func(t *testing.T) {
		h := drafted(t)
		h.did(h.SaveDraft(seller, "p1", &parcelv1.Draft{Label: "P1, better"}))
		if h.Stage(noon) != parcel.Drafted || h.Draft.GetLabel() != "P1, better" || h.Shown() {
			t.Errorf("got %+v", h.State)
		}
		h.did(h.List(p1()))
		if h.Stage(noon) != parcel.Listed || h.Draft != nil || h.Label != "P1" {
			t.Errorf("got %+v", h.State)
		}
		_, err := h.SaveDraft(seller, "p1", &parcelv1.Draft{})
		ruletest.Refused(t, err, rule.NotADraft, "parcel_id")
		_, err = h.DiscardDraft(seller)
		ruletest.Refused(t, err, rule.NotADraft, "parcel_id")
	})
	t.Run("rule 15 refused: another's, which looks like none", func(t *testing.T) {
		h := drafted(t)
		_, err := h.SaveDraft(rival, "p1", &parcelv1.Draft{})
		ruletest.Refused(t, err, rule.NotFound, "parcel_id")
		l := p1()
		l.Seller = rival
		_, err = h.List(l)
		ruletest.Refused(t, err, rule.NotFound, "draft_id")
		_, err = h.MakeOffer(bid("o", buyer, 1), noon)
		ruletest.Refused(t, err, rule.NotFound, "parcel_id")
		_, err = h.AskViewing(parcel.Viewing{ID: "v", Viewer: buyer, At: noon.Add(time.Hour)}, noon)
		ruletest.Refused(t, err, rule.NotFound, "parcel_id")
	})
	t.Run("rule 15 refused: after it was discarded", func(t *testing.T) {
		h := drafted(t)
		h.did(h.DiscardDraft(seller))
		_, err := h.List(p1())
		ruletest.Refused(t, err, rule.NotADraft, "draft_id")
		_, err = h.DiscardDraft(seller)
		ruletest.Refused(t, err, rule.NotADraft, "parcel_id")
	})
}

func TestMarket(t *testing.T) {
	t.Run("rule 16 OK: repriced, and open offers stand as made", func(t *testing.T) {
		h := listed(t)
		h.did(h.MakeOffer(bid("o", buyer, 150000), noon))
		h.did(h.Reprice(seller, &parcelv1.Agreement{Price: aud(180000)}, false))
		if h.Asking.GetMinor() != 180000 || h.OpenAtAsking || len(h.Proposed.GetTiers()) != 5 || h.OfferStage(h.Offers[0], noon) != parcel.Open {
			t.Errorf("got %+v", h.State)
		}
	})
	t.Run("rule 16 refused: repriced by another, in another currency, after the deal", func(t *testing.T) {
		_, err := listed(t).Reprice(rival, rising(1), true)
		ruletest.Refused(t, err, rule.NotFound, "parcel_id")
		euro := rising(1)
		euro.Price.Currency = "EUR"
		_, err = listed(t).Reprice(seller, euro, true)
		ruletest.Refused(t, err, rule.CurrencyDiffers, "agreement.price.currency_code")
		_, err = agreed(t).Reprice(seller, rising(1), true)
		ruletest.Refused(t, err, rule.ParcelNotListed, "parcel_id")
	})
	t.Run("rules 16 and 17 OK: withdrawn closes offers and calls viewings off; listed again", func(t *testing.T) {
		h := listed(t)
		h.did(h.MakeOffer(bid("o", buyer, 150000), noon))
		h.did(h.AskViewing(parcel.Viewing{ID: "v", Viewer: buyer, At: noon.Add(time.Hour)}, noon))
		h.did(h.Withdraw(seller, "sold at the field"))
		if h.Stage(noon) != parcel.Withdrawn || h.OfferStage(h.Offers[0], noon) != parcel.OfferClosed || h.Viewings[0].Stage != parcel.ViewingCalledOff {
			t.Errorf("got %+v", h.State)
		}
		_, err := h.Take(buyer, noon)
		ruletest.Refused(t, err, rule.ParcelNotListed, "parcel_id")
		h.did(h.Relist(seller, nil, true, noon))
		_, err = h.Accept(seller, "o", noon)
		ruletest.Refused(t, err, rule.OfferNotOpen, "offer_id")
		h.did(h.Take(buyer, noon))
	})
	t.Run("rule 17 refused: listed again while it is listed", func(t *testing.T) {
		_, err := listed(t).Relist(seller, nil, true, noon)
		ruletest.Refused(t, err, rule.NotOffMarket, "parcel_id")
	})
}

func TestOffersBothWays(t *testing.T) {
	countered := func(t *testing.T) *history {
		h := listed(t)
		h.did(h.MakeOffer(bid("o1", buyer, 145000), noon)).did(h.MakeOffer(bid("o2", rival, 155000), noon))
		return h.did(h.Counter(seller, "o1", bid("c1", "", 170000), noon))
	}
	t.Run("rule 19 OK: the buyer accepts the counter-offer, at its terms", func(t *testing.T) {
		h := countered(t)
		if h.OfferStage(h.Offers[0], noon) != parcel.Countered || h.Stage(noon) != parcel.UnderOffer {
			t.Errorf("got %+v", h.Offers)
		}
		h.did(h.AcceptCounter(buyer, "c1", noon))
		if h.Deal.Buyer != buyer || h.Deal.Agreement.GetPrice().GetMinor() != 170000 || h.OfferStage(h.Offers[1], noon) != parcel.OfferClosed {
			t.Errorf("got %+v", h.Deal)
		}
	})
	t.Run("rule 19 refused: the offer that was answered, another's, by the seller, one ended", func(t *testing.T) {
		h := countered(t)
		_, err := h.Accept(seller, "o1", noon)
		ruletest.Refused(t, err, rule.OfferNotOpen, "offer_id")
		_, err = h.AcceptCounter(rival, "c1", noon)
		ruletest.Refused(t, err, rule.NotFound, "offer_id")
		_, err = h.Accept(seller, "c1", noon)
		ruletest.Refused(t, err, rule.NotFound, "offer_id")
		_, err = h.AcceptCounter(buyer, "o1", noon)
		ruletest.Refused(t, err, rule.NotFound, "offer_id")
		_, err = h.AcceptCounter(buyer, "c1", noon.Add(time.Hour))
		ruletest.Refused(t, err, rule.OfferEnded, "offer_id")
		_, err = h.Counter(seller, "c1", bid("c2", "", 1), noon)
		ruletest.Refused(t, err, rule.NotFound, "offer_id")
	})
	t.Run("rule 18: taken back and declined by the right ones, once", func(t *testing.T) {
		for _, c := range []struct {
			name       string
			withdraw   bool
			who, offer string
			refusedAs  rule.Reason
			then       parcel.OfferStage
		}{
			{"a buyer takes theirs back", true, rival, "o2", "", parcel.OfferWithdrawn},
			{"the seller takes the counter-offer back", true, seller, "c1", "", parcel.OfferWithdrawn},
			{"the seller declines", false, seller, "o2", "", parcel.Declined},
			{"the buyer declines the counter-offer", false, buyer, "c1", "", parcel.Declined},
			{"the seller takes a buyer's back", true, seller, "o2", rule.NotFound, 0},
			{"a buyer takes another's back", true, buyer, "o2", rule.NotFound, 0},
			{"a buyer takes the counter-offer back", true, buyer, "c1", rule.NotFound, 0},
			{"a buyer declines their own", false, rival, "o2", rule.NotFound, 0},
			{"another declines the counter-offer", false, rival, "c1", rule.NotFound, 0},
			{"an answered one is declined", false, seller, "o1", rule.OfferNotOpen, 0},
		} {
			h := countered(t)
			try := func() (*parcelv1.Event, error) {
				if c.withdraw {
					return h.WithdrawOffer(c.who, c.offer, noon)
				}
				return h.DeclineOffer(c.who, c.offer, "too low", noon)
			}
			event, err := try()
			if c.refusedAs != "" {
				ruletest.Refused(t, err, c.refusedAs, "offer_id")
				continue
			}
			h.did(event, err)
			o, _ := h.Offer(c.offer)
			if got := h.OfferStage(o, noon); got != c.then {
				t.Errorf("%s: it is %v", c.name, got)
			}
			_, err = try()
			ruletest.Refused(t, err, rule.OfferNotOpen, "offer_id")
		}
	})
}

// sold is agreed at a price, with the title moving at a moment.
func sold(t *testing.T, title parcelv1.Title, days uint32) *history {
	h := listed(t)
	b := bid("o", buyer, 0)
	b.Agreement = rising(160000)
	b.Agreement.Title, b.Agreement.PaymentDays = title, days
	return h.did(h.MakeOffer(b, noon)).did(h.Accept(seller, "o", noon))
}

func placed(t *testing.T) *history {
	h := listed(t)
	return h.did(h.MakeOffer(bid("o", buyer, 0), noon)).did(h.Accept(seller, "o", noon))
}

func TestTitle(t *testing.T) {
	both := func(h *history) *history { return h.weigh(seller, 6, 185_760_000).weigh(buyer, 6, 185_760_000) }
	t.Run("rule 21 OK: at the handover, when paid, never", func(t *testing.T) {
		h := both(sold(t, parcelv1.Title_TITLE_UNSPECIFIED, 0))
		if h.Owner != buyer || h.Custody() != buyer {
			t.Errorf("at the handover: title %s, custody %s", h.Owner, h.Custody())
		}
		h = both(sold(t, parcelv1.Title_TITLE_WHEN_PAID, 0))
		h.all(h.Pay(aud(100000), "bank"))
		if h.Owner != seller {
			t.Error("when paid: it moved with a part")
		}
		h.all(h.Pay(aud(60000), "bank"))
		if h.Owner != buyer {
			t.Error("when paid: it didn't move")
		}
		h = both(placed(t))
		if h.Owner != seller || h.Custody() != buyer || !h.Deal.DueAt.IsZero() || h.Deal.Agreement.GetTitle() != parcelv1.Title_TITLE_STAYS {
			t.Errorf("placed: %+v", h.State)
		}
	})
	t.Run("rule 21 refused: a price whose title stays, none whose title moves, a moment nobody knows, too late a day", func(t *testing.T) {
		for price, title := range map[int64]parcelv1.Title{1: parcelv1.Title_TITLE_STAYS, 0: parcelv1.Title_TITLE_WHEN_PAID, 2: 9} {
			l := p1()
			l.Agreement = rising(price)
			l.Agreement.Title = title
			_, err := parcel.State{}.List(l)
			ruletest.Refused(t, err, rule.AgreementInvalid, "agreement.title")
		}
		l := p1()
		l.Agreement.PaymentDays = 366
		_, err := parcel.State{}.List(l)
		ruletest.Refused(t, err, rule.AgreementInvalid, "agreement.payment_days")
	})
	t.Run("rule 10 OK: the due day is fixed with the deal", func(t *testing.T) {
		h := sold(t, parcelv1.Title_TITLE_UNSPECIFIED, 0)
		if want := noon.AddDate(0, 0, parcel.UsualPaymentDays); !h.Deal.DueAt.Equal(want) || h.Deal.Agreement.GetTitle() != parcelv1.Title_TITLE_AT_HANDOVER {
			t.Errorf("got %+v", h.Deal)
		}
	})
	t.Run("rule 14: overdue purchase money stops cutting, from its moment until it is paid", func(t *testing.T) {
		h := both(sold(t, parcelv1.Title_TITLE_UNSPECIFIED, 7))
		due := noon.AddDate(0, 0, 7)
		if err := h.WorkedBy(buyer, due.Add(-time.Microsecond)); err != nil {
			t.Error(err)
		}
		ruletest.Refused(t, h.WorkedBy(buyer, due), rule.PurchaseOverdue, "parcel_id")
		h.all(h.Pay(aud(160000), "bank"))
		if err := h.WorkedBy(buyer, due); err != nil {
			t.Error(err)
		}
	})
}

func TestFallThrough(t *testing.T) {
	const unpaid, wrong = parcelv1.FallReason_FALL_REASON_UNPAID, parcelv1.FallReason_FALL_REASON_MISDESCRIBED
	late := noon.AddDate(0, 0, 31)
	t.Run("rule 20 OK: called off after the handover, given back, refunded, listed again, sold to another", func(t *testing.T) {
		h := sold(t, parcelv1.Title_TITLE_UNSPECIFIED, 0)
		h.weigh(seller, 6, 185_760_000).weigh(buyer, 6, 185_760_000)
		h.all(h.Pay(aud(50000), "bank")).did(h.RecordCost("freight", aud(100), "carrier"))
		h.all(h.CallOff(buyer, wrong, "treated", false, noon))
		if h.Stage(noon) != parcel.ComingBack || h.Owner != seller || h.Custody() != buyer {
			t.Fatalf("got %+v", h.State)
		}
		_, err := h.Relist(seller, nil, true, noon)
		ruletest.Refused(t, err, rule.NotOffMarket, "parcel_id")
		h.all(h.GiveBack(buyer, parcel.Word{Count: 6, Total: weighed(185_760_000)}))
		h.all(h.GiveBack(seller, parcel.Word{Count: 5, Total: weighed(185_000_000), Note: "a piece is missing"}))
		if want := (parcel.Difference{Ug: 760_000, Count: 1, Beyond: true}); h.Difference != want || h.Stage(noon) != parcel.FallenThrough || h.Custody() != seller {
			t.Fatalf("got %+v", h.State)
		}
		_, err = h.Relist(seller, nil, true, noon)
		ruletest.Refused(t, err, rule.NotRefunded, "parcel_id")
		_, err = h.Refund(aud(50001), "bank")
		ruletest.Refused(t, err, rule.AboveWhatIsOwed, "amount")
		h.did(h.Refund(aud(50000), "bank"))
		_, err = h.Refund(aud(1), "bank")
		ruletest.Refused(t, err, rule.NothingToRefund, "parcel_id")
		h.did(h.Relist(seller, nil, true, noon)).did(h.Take(rival, noon))
		if h.Deal.Buyer != rival || h.PaidMinor != 0 || len(h.Costs) != 0 || h.SellerWord.Given() {
			t.Errorf("got %+v", h.State)
		}
	})
	t.Run("rule 20 OK: unpaid before the handover", func(t *testing.T) {
		h := sold(t, parcelv1.Title_TITLE_UNSPECIFIED, 0)
		h.all(h.CallOff(seller, unpaid, "", false, late))
		if h.Stage(late) != parcel.FallenThrough {
			t.Errorf("got %v", h.Stage(late))
		}
		_, err := h.Weigh(buyer, 6, weighed(1))
		ruletest.Refused(t, err, rule.NoDeal, "parcel_id")
	})
	t.Run("rule 20 refused: too early, paid, placed, cut, by the wrong side, without a word", func(t *testing.T) {
		h := sold(t, parcelv1.Title_TITLE_UNSPECIFIED, 0)
		_, err := h.CallOff(seller, unpaid, "", false, noon)
		ruletest.Refused(t, err, rule.NotOverdue, "parcel_id")
		_, err = h.CallOff(seller, unpaid, "", true, late)
		ruletest.Refused(t, err, rule.AlreadyCut, "parcel_id")
		_, err = h.CallOff(buyer, wrong, "x", true, noon)
		ruletest.Refused(t, err, rule.AlreadyCut, "parcel_id")
		_, err = h.CallOff(seller, wrong, "x", false, noon)
		ruletest.Refused(t, err, rule.NotFound, "parcel_id")
		_, err = h.CallOff(buyer, unpaid, "", false, late)
		ruletest.Refused(t, err, rule.NotFound, "parcel_id")
		_, err = h.CallOff(buyer, wrong, "", false, noon)
		ruletest.Refused(t, err, rule.NotAnswered, "why")
		h.all(h.Pay(aud(160000), "bank"))
		_, err = h.CallOff(seller, unpaid, "", false, late)
		ruletest.Refused(t, err, rule.NotOverdue, "parcel_id")
		_, err = placed(t).CallOff(seller, unpaid, "", false, late)
		ruletest.Refused(t, err, rule.NotOverdue, "parcel_id")
		_, err = h.GiveBack(buyer, parcel.Word{Count: 6, Total: weighed(1)})
		ruletest.Refused(t, err, rule.NotComingBack, "parcel_id")
	})
}

func TestClose(t *testing.T) {
	done := func(t *testing.T) *history {
		h := sold(t, parcelv1.Title_TITLE_UNSPECIFIED, 0)
		return h.weigh(seller, 6, 185_760_000).weigh(buyer, 6, 185_760_000)
	}
	t.Run("rule 23 OK: then no more is cut, and it can't fall through", func(t *testing.T) {
		h := done(t)
		h.all(h.Pay(aud(160000), "bank")).did(h.Close(buyer, parcel.Leftover{}))
		if h.Stage(noon) != parcel.Closed {
			t.Errorf("got %v", h.Stage(noon))
		}
		ruletest.Refused(t, h.WorkedBy(buyer, noon), rule.ParcelClosed, "parcel_id")
		_, err := h.CallOff(buyer, parcelv1.FallReason_FALL_REASON_MISDESCRIBED, "x", false, noon)
		ruletest.Refused(t, err, rule.ParcelClosed, "parcel_id")
		_, err = h.Close(buyer, parcel.Leftover{})
		ruletest.Refused(t, err, rule.ParcelClosed, "parcel_id")
	})
	t.Run("rule 23 refused: unpaid, in work, unsold, by the seller, before the handover", func(t *testing.T) {
		h := done(t)
		_, err := h.Close(buyer, parcel.Leftover{})
		ruletest.Refused(t, err, rule.NotAccountedFor, "parcel_id")
		h.all(h.Pay(aud(160000), "bank"))
		for _, left := range []parcel.Leftover{{InWork: []string{"1A"}}, {Unsold: []string{"1"}}, {Unpaid: []string{"1"}}} {
			_, err := h.Close(buyer, left)
			ruletest.Refused(t, err, rule.NotAccountedFor, "parcel_id")
		}
		_, err = h.Close(seller, parcel.Leftover{})
		ruletest.Refused(t, err, rule.NotFound, "parcel_id")
		_, err = agreed(t).Close(buyer, parcel.Leftover{})
		ruletest.Refused(t, err, rule.NotHandedOver, "parcel_id")
	})
}

func TestViewing(t *testing.T) {
	asked := func(t *testing.T) *history {
		h := listed(t)
		return h.did(h.AskViewing(parcel.Viewing{ID: "v", Viewer: buyer, At: noon.Add(time.Hour), Rub: true, Asked: "by daylight"}, noon))
	}
	out := func(t *testing.T) *history {
		h := asked(t)
		h.did(h.AgreeViewing(seller, "v", time.Time{}, true, "at the shed", noon))
		return h.did(h.StartViewing(seller, "v", 6, weighed(185_760_000)))
	}
	back := parcel.Viewing{ID: "v", Back: parcel.Word{Count: 6, Total: weighed(185_700_000)}, Light: "north window", Candled: true, Rubbed: true, Note: "a spot on 1"}
	t.Run("rule 24 OK: out and back, with what differs", func(t *testing.T) {
		h := out(t)
		if h.Custody() != buyer || !h.Viewings[0].At.Equal(noon.Add(time.Hour)) {
			t.Errorf("got %+v", h.Viewings[0])
		}
		h.did(h.EndViewing(seller, back))
		v := h.Viewings[0]
		if h.Custody() != seller || v.Stage != parcel.ViewingEnded || v.Difference != (parcel.Difference{Ug: 60_000, Beyond: true}) || !v.Candled || v.Light != "north window" {
			t.Errorf("got %+v", v)
		}
	})
	t.Run("rule 24 refused: by the wrong one, at the wrong time", func(t *testing.T) {
		h := asked(t)
		_, err := h.AgreeViewing(rival, "v", time.Time{}, true, "", noon)
		ruletest.Refused(t, err, rule.NotFound, "viewing_id")
		_, err = h.AgreeViewing(buyer, "v", time.Time{}, true, "", noon)
		ruletest.Refused(t, err, rule.NotFound, "viewing_id")
		_, err = h.CallOffViewing(rival, "v", "")
		ruletest.Refused(t, err, rule.NotFound, "viewing_id")
		_, err = h.StartViewing(seller, "v", 6, weighed(1))
		ruletest.Refused(t, err, rule.ViewingNotThere, "viewing_id")
		_, err = h.AgreeViewing(seller, "v", noon, true, "", noon)
		ruletest.Refused(t, err, rule.TimeInvalid, "at")
		_, err = h.AskViewing(parcel.Viewing{ID: "w", Viewer: seller, At: noon.Add(time.Hour)}, noon)
		ruletest.Refused(t, err, rule.OwnParcel, "parcel_id")
		h.did(h.CallOffViewing(buyer, "v", "rain"))
		_, err = h.AgreeViewing(seller, "v", time.Time{}, true, "", noon)
		ruletest.Refused(t, err, rule.ViewingNotThere, "viewing_id")
	})
	t.Run("rule 24 refused: a second viewer, and the handover, while the rough is out", func(t *testing.T) {
		h := out(t)
		h.did(h.AskViewing(parcel.Viewing{ID: "w", Viewer: rival, At: noon.Add(time.Hour)}, noon)).did(h.AgreeViewing(seller, "w", time.Time{}, false, "", noon))
		_, err := h.StartViewing(seller, "w", 6, weighed(1))
		ruletest.Refused(t, err, rule.RoughIsOut, "parcel_id")
		h.did(h.Take(rival, noon))
		_, err = h.Weigh(seller, 6, weighed(185_760_000))
		ruletest.Refused(t, err, rule.RoughIsOut, "parcel_id")
		h.did(h.EndViewing(seller, back)).weigh(seller, 6, 185_760_000)
	})
	ask := func(h *history, who, id string) error {
		e, err := h.AskViewing(parcel.Viewing{ID: id, Viewer: who, At: noon.Add(time.Hour)}, noon)
		if err == nil {
			h.did(e, nil)
		}
		return err
	}
	t.Run("rule 24 refused: one buyer's sixth to come, and their 21st; the next buyer is asked in", func(t *testing.T) {
		h := listed(t)
		for i := range parcel.MaxViewingsOfOne {
			if i >= parcel.MaxOpenViewings {
				ruletest.Refused(t, ask(h, rival, "more"), rule.TooManyViewings, "parcel_id")
				h.did(h.CallOffViewing(rival, fmt.Sprint(i-parcel.MaxOpenViewings), "rain"))
			}
			if err := ask(h, rival, fmt.Sprint(i)); err != nil {
				t.Fatal(err)
			}
		}
		h.did(h.CallOffViewing(rival, fmt.Sprint(parcel.MaxViewingsOfOne-1), "rain"))
		ruletest.Refused(t, ask(h, rival, "more"), rule.TooManyViewings, "parcel_id")
		if err := ask(h, buyer, "mine"); err != nil {
			t.Error(err)
		}
	})
	t.Run("rule 24 refused: the 101st to come, whoever asks; those that are over don't count", func(t *testing.T) {
		h := listed(t)
		for i := range parcel.MaxViewings {
			if err := ask(h, fmt.Sprint("buyer", i/parcel.MaxOpenViewings), fmt.Sprint(i)); err != nil {
				t.Fatal(err)
			}
		}
		ruletest.Refused(t, ask(h, buyer, "more"), rule.TooManyViewings, "parcel_id")
		h.did(h.CallOffViewing("buyer0", "0", "rain"))
		if err := ask(h, buyer, "more"); err != nil {
			t.Error(err)
		}
	})
	t.Run("rule 25 refused: one buyer's 51st note; the next buyer's is kept", func(t *testing.T) {
		h := listed(t)
		for range parcel.MaxNotesOfOne {
			h.did(h.AddNote(parcel.Note{By: rival, Text: "x"}))
		}
		_, err := h.AddNote(parcel.Note{By: rival, Text: "x"})
		ruletest.Refused(t, err, rule.TooManyNotes, "parcel_id")
		h.did(h.AddNote(parcel.Note{By: buyer, Text: "mine"}))
	})
	t.Run("rule 25: notes are kept on what one can see", func(t *testing.T) {
		h := listed(t)
		h.did(h.AddNote(parcel.Note{By: buyer, PieceID: "p1-3", Text: "colour on both faces"}))
		_, err := h.AddNote(parcel.Note{By: buyer, PieceID: "p2-1", Text: "x"})
		ruletest.Refused(t, err, rule.NotFound, "piece_id")
		_, err = h.AddNote(parcel.Note{By: seller, Text: "x"})
		ruletest.Refused(t, err, rule.NotFound, "parcel_id")
		h.did(h.Take(rival, noon))
		_, err = h.AddNote(parcel.Note{By: buyer, Text: "x"})
		ruletest.Refused(t, err, rule.NotFound, "parcel_id")
	})
}

func TestOpenLine(t *testing.T) {
	chips := func(t *testing.T) *history {
		l := p1()
		l.Pieces = append(l.Pieces, parcel.Piece{ID: "chips", Label: "c", Weighing: weighed(22_600_000), Count: 9})
		l.Total = weighed(208_360_000)
		return (&history{t: t}).did(parcel.State{}.List(l))
	}
	out := func(left *eventv1.Weighing, labels ...string) parcel.Opening {
		o := parcel.Opening{PieceID: "chips", Left: left, Taken: []string{"1", "2", "3", "4", "5", "6", "c"}}
		for _, l := range labels {
			o.Pieces = append(o.Pieces, parcel.Piece{ID: "piece-" + l, Label: l, Weighing: weighed(2_500_000), Count: 1})
		}
		return o
	}
	t.Run("rule 22 OK: some, then the rest; the count stays", func(t *testing.T) {
		h := chips(t)
		h.did(h.OpenLine(seller, out(weighed(17_600_000), "c1", "c2"), noon))
		if h.Count() != 15 || len(h.Lines) != 9 || h.Lines[6].Count != 7 || h.Lines[7].PieceID != "piece-c1" || h.BoughtUg() != 208_360_000 {
			t.Errorf("got %+v", h.Lines)
		}
		h.did(h.OpenLine(seller, out(nil, "d1", "d2", "d3", "d4", "d5", "d6", "d7"), noon))
		if h.Count() != 15 || h.Lines[6].Count != 0 {
			t.Errorf("got %+v", h.Lines)
		}
		_, err := h.OpenLine(seller, out(nil, "e"), noon)
		ruletest.Refused(t, err, rule.NotAGroup, "piece_id")
	})
	t.Run("rule 22 refused: a piece, too many, a label that is there, something left of nothing, nothing left of something", func(t *testing.T) {
		h := chips(t)
		o := out(nil, "e")
		o.PieceID = "p1-1"
		_, err := h.OpenLine(seller, o, noon)
		ruletest.Refused(t, err, rule.NotAGroup, "piece_id")
		o.PieceID = "p2-1"
		_, err = h.OpenLine(seller, o, noon)
		ruletest.Refused(t, err, rule.NotFound, "piece_id")
		_, err = h.OpenLine(seller, out(nil, "a", "b", "d", "e", "f", "g", "h", "i", "j", "k"), noon)
		ruletest.Refused(t, err, rule.CountInvalid, "pieces")
		_, err = h.OpenLine(seller, out(weighed(1), "4"), noon)
		ruletest.Refused(t, err, rule.NamedTwice, "pieces[0].label")
		_, err = h.OpenLine(seller, out(weighed(1), "a", "b", "d", "e", "f", "g", "h", "i", "j"), noon)
		ruletest.Refused(t, err, rule.CountInvalid, "left")
		_, err = h.OpenLine(seller, out(nil, "a"), noon)
		ruletest.Refused(t, err, rule.MassInvalid, "left.mass_ug")
	})
	t.Run("rule 22 refused: by who hasn't the rough", func(t *testing.T) {
		h := chips(t)
		_, err := h.OpenLine(buyer, out(weighed(1), "a"), noon)
		ruletest.Refused(t, err, rule.NotFound, "parcel_id")
		h.did(h.Take(buyer, noon))
		_, err = h.OpenLine(seller, out(weighed(1), "a"), noon)
		ruletest.Refused(t, err, rule.NotInHand, "parcel_id")
		_, err = h.OpenLine(buyer, out(weighed(1), "a"), noon)
		ruletest.Refused(t, err, rule.NotHandedOver, "parcel_id")
		h.weigh(seller, 15, 208_360_000).weigh(buyer, 15, 208_360_000)
		h.did(h.OpenLine(buyer, out(weighed(20_100_000), "a"), noon))
		_, err = h.OpenLine(seller, out(weighed(1), "b"), noon)
		ruletest.Refused(t, err, rule.NotInHand, "parcel_id")
	})
}

func TestWholeLifeUnaliased(t *testing.T) {
	h := (&history{t: t}).did(parcel.State{}.SaveDraft(seller, "p1", &parcelv1.Draft{Label: "P1"}))
	l := p1()
	l.Pieces[5].Count = 3
	h.did(h.List(l))
	h.did(h.OpenLine(seller, parcel.Opening{PieceID: "p1-6", Left: weighed(80_000_000), Pieces: []parcel.Piece{{ID: "x", Label: "x", Weighing: weighed(8_400_000), Count: 1}}}, noon))
	for i := range 5 {
		h.did(h.MakeOffer(bid(fmt.Sprint("o", i), fmt.Sprint("cutter", i), 100), noon))
		h.did(h.AskViewing(parcel.Viewing{ID: fmt.Sprint("v", i), Viewer: buyer, At: noon.Add(time.Hour)}, noon))
		h.did(h.AddNote(parcel.Note{By: buyer, Text: "x"}))
	}
	h.did(h.Counter(seller, "o1", bid("c1", "", 120), noon)).did(h.WithdrawOffer("cutter2", "o2", noon)).did(h.DeclineOffer(seller, "o3", "no", noon))
	h.did(h.AgreeViewing(seller, "v1", time.Time{}, true, "", noon)).did(h.StartViewing(seller, "v1", 6, weighed(1)))
	h.did(h.EndViewing(seller, parcel.Viewing{ID: "v1", Back: parcel.Word{Count: 6, Total: weighed(1)}, Light: "lamp"}))
	h.did(h.CallOffViewing(buyer, "v2", "")).did(h.Reprice(seller, &parcelv1.Agreement{Price: aud(100)}, true))
	h.did(h.Withdraw(seller, "")).did(h.Relist(seller, nil, true, noon)).did(h.Take(buyer, noon))
	h.weigh(seller, 8, 185_760_000).weigh(buyer, 8, 185_760_000).all(h.Pay(aud(50), "a"))
	h.all(h.CallOff(buyer, parcelv1.FallReason_FALL_REASON_MISDESCRIBED, "x", false, noon))
	h.all(h.GiveBack(buyer, parcel.Word{Count: 8, Total: weighed(1)})).all(h.GiveBack(seller, parcel.Word{Count: 8, Total: weighed(1)}))
	h.did(h.Refund(aud(50), "b")).did(h.Relist(seller, nil, true, noon)).did(h.Take(rival, noon))
	ruletest.Unaliased(t, parcel.Evolve, h.events...)
}
