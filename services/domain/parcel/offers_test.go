package parcel_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
)

// openOf counts a buyer's open offers.
func openOf(s parcel.State, buyer string, now time.Time) (n int) {
	for _, o := range s.Offers {
		if o.Buyer == buyer && s.OfferStage(o, now) == parcel.Open {
			n++
		}
	}
	return n
}

func TestOffersAreBounded(t *testing.T) {
	t.Run("rule 6 OK: a buyer's new offer closes their open one, and nobody else's", func(t *testing.T) {
		h := listed(t)
		h.did(h.MakeOffer(bid("o1", buyer, 100), noon)).did(h.MakeOffer(bid("o2", rival, 100), noon)).did(h.MakeOffer(bid("o3", buyer, 200), noon))
		for i, want := range []parcel.OfferStage{parcel.OfferClosed, parcel.Open, parcel.Open} {
			if got := h.OfferStage(h.Offers[i], noon); got != want {
				t.Errorf("offer %d is in stage %v, want %v", i+1, got, want)
			}
		}
		_, err := h.Accept(seller, "o1", noon)
		ruletest.Refused(t, err, rule.OfferNotOpen, "offer_id")
		if _, err := h.Accept(seller, "o3", noon); err != nil {
			t.Errorf("the last one isn't accepted: %v", err)
		}
	})
	t.Run("rule 6 OK: one buyer's offers, open or ended, shut nobody else out", func(t *testing.T) {
		h := listed(t)
		for i := range parcel.MaxOffersOfBuyer {
			h.did(h.MakeOffer(bid(fmt.Sprint("o", i), buyer, 1), noon))
		}
		_, err := h.MakeOffer(bid("more", buyer, 100), noon)
		ruletest.Refused(t, err, rule.TooManyOffers, "parcel_id")
		h.did(h.MakeOffer(bid("r", rival, 100), noon))
	})
	t.Run("rule 6 refused: no room among the open ones, without a word on how many there are", func(t *testing.T) {
		h := listed(t)
		for i := range parcel.MaxOpenOffers {
			h.did(h.MakeOffer(bid(fmt.Sprint("o", i), fmt.Sprint("cutter", i), 100), noon))
		}
		_, err := h.MakeOffer(bid("more", buyer, 100), noon)
		ruletest.Refused(t, err, rule.TooManyOffers, "parcel_id")
		if strings.Contains(err.Error(), fmt.Sprint(parcel.MaxOpenOffers)) {
			t.Errorf("%q tells how many offers there are", err)
		}
		h.did(h.MakeOffer(bid("again", "cutter7", 120), noon)) // it closes their own
		later := noon.Add(2 * time.Hour)
		b := bid("later", buyer, 100)
		b.EndsAt = later.Add(time.Hour)
		h.did(h.MakeOffer(b, later)) // all others have ended
	})
	t.Run("rule 6 refused: more than the state keeps", func(t *testing.T) {
		h := listed(t)
		now := noon
		for i := range parcel.MaxOffers {
			if i%parcel.MaxOpenOffers == 0 {
				now = now.Add(2 * time.Hour)
			}
			b := bid(fmt.Sprint("o", i), fmt.Sprint("cutter", i), 100)
			b.EndsAt = now.Add(time.Hour)
			h.did(h.MakeOffer(b, now))
		}
		now = now.Add(2 * time.Hour)
		b := bid("more", buyer, 100)
		b.EndsAt = now.Add(time.Hour)
		_, err := h.MakeOffer(b, now)
		ruletest.Refused(t, err, rule.TooManyOffers, "parcel_id")
	})
}
