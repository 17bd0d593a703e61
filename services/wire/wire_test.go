package wire_test

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/wire"
)

// TestStages: what the domain reckons is shown by number, so the numbers agree.
func TestStages(t *testing.T) {
	for _, c := range []struct {
		shown interface{ String() string }
		want  string
	}{
		{typev1.ParcelState(parcel.Listed), "PARCEL_STATE_LISTED"},
		{typev1.ParcelState(parcel.UnderOffer), "PARCEL_STATE_UNDER_OFFER"},
		{typev1.ParcelState(parcel.Agreed), "PARCEL_STATE_AGREED"},
		{typev1.ParcelState(parcel.HandedOver), "PARCEL_STATE_HANDED_OVER"},
		{typev1.OfferState(parcel.Open), "OFFER_STATE_OPEN"},
		{typev1.OfferState(parcel.Accepted), "OFFER_STATE_ACCEPTED"},
		{typev1.OfferState(parcel.OfferClosed), "OFFER_STATE_CLOSED"},
		{typev1.OfferState(parcel.Ended), "OFFER_STATE_ENDED"},
		{typev1.StoneState(stone.InStock), "STONE_STATE_IN_STOCK"},
		{typev1.StoneState(stone.OnSale), "STONE_STATE_ON_SALE"},
		{typev1.StoneState(stone.Sold), "STONE_STATE_SOLD"},
		{typev1.Fate(piece.InWork), "FATE_IN_WORK"},
		{typev1.Fate(piece.Shelf), "FATE_SHELF"},
		{typev1.Fate(piece.Offcut), "FATE_OFFCUT"},
		{typev1.Fate(piece.Stone), "FATE_STONE"},
	} {
		if got := c.shown.String(); got != c.want {
			t.Errorf("%s is shown as %s", c.want, got)
		}
	}
}

func TestMoney(t *testing.T) {
	t.Run("OK: comes back as it went, in currencies of 0, 2 and 3 decimals", rapid.MakeCheck(func(t *rapid.T) {
		code := rapid.SampledFrom([]string{"AUD", "JPY", "KWD"}).Draw(t, "currency")
		minor := rapid.Int64Range(-1_000_000_000_000_000, 1_000_000_000_000_000).Draw(t, "minor")
		var broken rule.All
		got := wire.Amount(&broken, "price", wire.Money(code, minor))
		if got.GetMinor() != minor || got.GetCurrency() != code || len(broken) > 0 {
			t.Fatalf("%d %s came back as %v, %v", minor, code, got, broken)
		}
	}))
	t.Run("OK: none is none", func(t *testing.T) {
		var broken rule.All
		if wire.Amount(&broken, "price", nil) != nil || wire.MoneyOf(nil) != nil || len(broken) > 0 {
			t.Error("something came of nothing")
		}
	})
	for name, c := range map[string]struct {
		money  *money.Money
		reason rule.Reason
		field  string
	}{
		"an unknown currency":            {&money.Money{CurrencyCode: "XXQ", Units: 1}, rule.CurrencyUnknown, "price.currency_code"},
		"no currency":                    {&money.Money{Units: 1}, rule.CurrencyUnknown, "price.currency_code"},
		"small letters":                  {&money.Money{CurrencyCode: "aud", Units: 1}, rule.CurrencyUnknown, "price.currency_code"},
		"finer than a cent":              {&money.Money{CurrencyCode: "AUD", Nanos: 1_000_000}, rule.AmountInvalid, "price"},
		"a fraction of a yen":            {&money.Money{CurrencyCode: "JPY", Nanos: 500_000_000}, rule.AmountInvalid, "price"},
		"signs that differ":              {&money.Money{CurrencyCode: "AUD", Units: 1, Nanos: -10_000_000}, rule.AmountInvalid, "price"},
		"a whole unit in nanos":          {&money.Money{CurrencyCode: "AUD", Nanos: 1_000_000_000}, rule.AmountInvalid, "price"},
		"more than is kept":              {&money.Money{CurrencyCode: "AUD", Units: 10_000_000_000_001}, rule.AmountInvalid, "price"},
		"the largest and the least unit": {&money.Money{CurrencyCode: "AUD", Units: -1 << 63}, rule.AmountInvalid, "price"},
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			var broken rule.All
			if got := wire.Amount(&broken, "price", c.money); got != nil {
				t.Errorf("read as %v", got)
			}
			ruletest.Refused(t, broken.Err(), c.reason, c.field)
		})
	}
}

func TestAgreement(t *testing.T) {
	stored := &parcelv1.Agreement{
		Price:      &eventv1.Amount{Currency: "AUD", Minor: 160000},
		ParcelLevy: &parcelv1.Levy{BasisPoints: 300, BorneBy: "miner", FloorMinor: 5, CapMinor: proto.Int64(0)},
		SaleLevy:   &parcelv1.Levy{BasisPoints: 600},
		CostKinds:  []string{"freight"},
		Tiers: []*parcelv1.Tier{
			{Form: &parcelv1.Tier_Recoup{Recoup: &parcelv1.Recoup{Party: "coop", Target: &parcelv1.Recoup_Costs{Costs: &parcelv1.CostKinds{Kinds: []string{"freight"}}}}}},
			{Form: &parcelv1.Tier_Recoup{Recoup: &parcelv1.Recoup{Party: "cutter", Target: &parcelv1.Recoup_PriceMultiple{PriceMultiple: &parcelv1.Fraction{Numerator: 3, Denominator: 2}}}}},
			{Form: &parcelv1.Tier_Recoup{Recoup: &parcelv1.Recoup{Party: "cutter", Label: "14 h", Target: &parcelv1.Recoup_AmountMinor{AmountMinor: 63000}}}},
			{Form: &parcelv1.Tier_Split{Split: &parcelv1.Split{Ratios: []*parcelv1.Ratio{{Party: "cutter", Weight: 2}, {Party: "miner", Weight: 1}}, CeilingMinor: proto.Int64(75000)}}},
			{Form: &parcelv1.Tier_Split{Split: &parcelv1.Split{Ratios: []*parcelv1.Ratio{{Party: "cutter", Weight: 1}}}}},
		},
	}
	t.Run("OK: comes back as it went", func(t *testing.T) {
		var broken rule.All
		if got := wire.ReadAgreement(&broken, "agreement", wire.Agreement(stored)); !proto.Equal(got, stored) || len(broken) > 0 {
			t.Errorf("got %v, %v", got, broken)
		}
	})
	t.Run("refused: money of another currency inside, with its path", func(t *testing.T) {
		shown := wire.Agreement(stored)
		shown.ParcelLevy.Floor.CurrencyCode = "EUR"
		shown.Tiers[2].GetRecoup().GetAmount().CurrencyCode = "EUR"
		shown.Tiers[3].GetSplit().Ceiling.CurrencyCode = "XXQ"
		var broken rule.All
		wire.ReadAgreement(&broken, "agreement", shown)
		ruletest.Refused(t, broken.Err(), rule.CurrencyDiffers, "agreement.parcel_levy.floor.currency_code")
		ruletest.Refused(t, broken.Err(), rule.CurrencyDiffers, "agreement.tiers[2].recoup.amount.currency_code")
		ruletest.Refused(t, broken.Err(), rule.CurrencyUnknown, "agreement.tiers[3].split.ceiling.currency_code")
	})
}

func TestEtag(t *testing.T) {
	now := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	s := parcel.State{ID: "p", Seller: "m", Asking: &eventv1.Amount{Currency: "AUD", Minor: 1}}
	offered := s
	offered.Offers = []parcel.Offer{{ID: "o", Buyer: "rival", EndsAt: now.Add(time.Hour), Agreement: &parcelv1.Agreement{}}}
	t.Run("OK: an offer changes it for the seller and not for a rival", func(t *testing.T) {
		if wire.Parcel(s, 1, "m", now).GetEtag() == wire.Parcel(offered, 2, "m", now).GetEtag() {
			t.Error("the seller can't tell that an offer came")
		}
		if wire.Parcel(s, 1, "c", now).GetEtag() != wire.Parcel(offered, 2, "c", now).GetEtag() {
			t.Error("a rival can tell that an offer came")
		}
		if shown := wire.Parcel(offered, 2, "c", now).String(); strings.Contains(shown, "UNDER_OFFER") || strings.Contains(shown, "seller") {
			t.Errorf("a rival sees %s", shown)
		}
	})
	shown := func() *typev1.Parcel { return wire.Parcel(s, 1, "m", now) }
	t.Run("OK: none accepts any state", func(t *testing.T) {
		if err := wire.Unchanged("", shown); err != nil {
			t.Error(err)
		}
	})
	t.Run("refused: another", func(t *testing.T) {
		ruletest.Refused(t, wire.Unchanged(shown().GetEtag()+"x", shown), rule.EtagDiffers, "etag")
		if err := wire.Unchanged(shown().GetEtag(), shown); err != nil {
			t.Error(err)
		}
	})
}

func TestCarat(t *testing.T) {
	for ug, want := range map[int64]string{608_000: "3.04", 607_999: "3.03", 1_999: "0.00", 140_000: "0.70"} {
		if got := wire.Carat(ug); got != want {
			t.Errorf("%d µg is %s ct, want %s", ug, got, want)
		}
	}
}
