package stone_test

import (
	"testing"
	"time"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
	"seamshare.example/services/domain/stone"
)

const cutter, jeweller = "wet-wheel", "fernhook"

func aud(minor int64) *eventv1.Amount { return &eventv1.Amount{Currency: "AUD", Minor: minor} }

// six is the demo's stone 6, which comes back.
func six() *stonev1.Finished_Public {
	return &stonev1.Finished_Public{
		StoneId: "s6", Label: "6", PieceId: "p1-3", Part: "3D'", ParcelId: "p1", CutterId: cutter,
		Weighing: &eventv1.Weighing{MassUg: 572_000, DivisionUg: 2_000},
		Size:     &eventv1.Size{LengthUm: 14_000, WidthUm: 9_000, DepthUm: 2_300},
		Outline:  stonev1.Outline_OUTLINE_FREEFORM, Kind: eventv1.Kind_KIND_BOULDER, Treatment: eventv1.Treatment_TREATMENT_NONE_KNOWN,
		Hydrophane: stonev1.Hydrophane_HYDROPHANE_NO, Composite: stonev1.Composite_COMPOSITE_NONE,
		Grade: &stonev1.Grade{Pattern: stonev1.Pattern_PATTERN_FLASH, Colours: "green and violet"},
	}
}

type history struct {
	t testing.TB
	stone.State
	events []*stonev1.Event
}

func (h *history) did(e *stonev1.Event, err error) *history {
	h.t.Helper()
	if err != nil {
		h.t.Fatal(err)
	}
	h.events = append(h.events, e)
	h.State = stone.Evolve(h.State, e)
	return h
}

func finished(t testing.TB) *history {
	t.Helper()
	return (&history{t: t}).did(stone.State{}.Finish(six(), &stonev1.Finished_Private{}))
}

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

func taking(who string) stone.Taking {
	return stone.Taking{Jeweller: who, Together: []string{"s6"}, Now: noon}
}

// check is what a person says of stone 6, which has no corners.
func check(person string) stone.Checking {
	return stone.Checking{
		Cutter: cutter, Person: person, BackFlat: true, WallEven: true, BevelClears: true, Candled: true, MinCornerRadiusUm: 500,
		Weighing: six().Weighing, Size: six().Size,
		Photo: &eventv1.Photo{Sha256: make([]byte, 32), MediaType: "image/jpeg", Light: "daylight, overcast"},
	}
}

// checked is stone 6 with a final check that a second person confirmed.
func checked(t testing.TB) *history {
	t.Helper()
	h := finished(t)
	return h.did(h.MakeCheck(check("desk 1"))).did(h.ConfirmCheck("desk 2", cutter))
}

func onSale(t testing.TB) *history {
	t.Helper()
	h := checked(t)
	return h.did(h.PutOnSale(cutter, aud(64000), "AUD", noon))
}

func sold(t testing.TB) *history {
	t.Helper()
	h := onSale(t)
	return h.did(h.Sell(taking(jeweller), "order1", aud(64000), "items[0]"))
}

func back() stone.Return {
	return stone.Return{Measured: &eventv1.Measured{Weighing: six().Weighing, Size: six().Size}, Why: "the setting was changed"}
}

func TestFinish(t *testing.T) {
	t.Run("rule 1 refused: finished twice, no size, no mass, no label", func(t *testing.T) {
		_, err := finished(t).Finish(six(), &stonev1.Finished_Private{})
		ruletest.Refused(t, err, rule.AlreadyThere, "")
		bare := six()
		bare.Size, bare.Weighing, bare.Label = nil, nil, ""
		_, err = stone.State{}.Finish(bare, &stonev1.Finished_Private{})
		ruletest.Refused(t, err, rule.SizeInvalid, "size.length_um")
		ruletest.Refused(t, err, rule.MassInvalid, "weighing.mass_ug")
		ruletest.Refused(t, err, rule.FieldInvalid, "label")
	})
	t.Run("rule 2 refused: a question not answered", func(t *testing.T) {
		bare := six()
		bare.Outline, bare.Kind, bare.Treatment, bare.Hydrophane, bare.Composite = 0, 0, 0, 0, 99
		_, err := stone.State{}.Finish(bare, &stonev1.Finished_Private{})
		for _, field := range []string{"outline", "kind", "treatment", "hydrophane", "composite"} {
			ruletest.Refused(t, err, rule.NotAnswered, field)
		}
	})
	t.Run("refused: a grade in words nobody knows", func(t *testing.T) {
		wrong := six()
		wrong.Grade = &stonev1.Grade{BodyTone: 10, Pattern: 77}
		_, err := stone.State{}.Finish(wrong, &stonev1.Finished_Private{})
		ruletest.Refused(t, err, rule.FieldInvalid, "grade.body_tone")
		ruletest.Refused(t, err, rule.FieldInvalid, "grade.pattern")
	})
}

func TestPutOnSale(t *testing.T) {
	t.Run("rule 3 refused: by another, who can't tell it from none; while sold", func(t *testing.T) {
		_, others := finished(t).PutOnSale("two-dops", aud(1), "AUD", noon)
		_, none := stone.State{}.PutOnSale("two-dops", aud(1), "AUD", noon)
		ruletest.Refused(t, others, rule.NotFound, "stone_id")
		if others.Error() != none.Error() {
			t.Errorf("%q is not %q", others, none)
		}
		_, err := sold(t).PutOnSale(cutter, aud(1), "AUD", noon)
		ruletest.Refused(t, err, rule.StoneSold, "stone_id")
	})
	t.Run("rule 3 OK: a new price", func(t *testing.T) {
		h := onSale(t)
		if h.did(h.PutOnSale(cutter, aud(60000), "AUD", noon)); h.Price.GetMinor() != 60000 {
			t.Errorf("got %v", h.Price)
		}
	})
	t.Run("rule 4 refused: nothing, less than nothing, another currency", func(t *testing.T) {
		h := checked(t)
		for _, p := range []*eventv1.Amount{aud(0), aud(-1), nil} {
			_, err := h.PutOnSale(cutter, p, "AUD", noon)
			ruletest.Refused(t, err, rule.AmountInvalid, "price")
		}
		_, err := h.PutOnSale(cutter, &eventv1.Amount{Currency: "EUR", Minor: 5}, "AUD", noon)
		ruletest.Refused(t, err, rule.CurrencyDiffers, "price.currency_code")
	})
}

func TestSell(t *testing.T) {
	t.Run("rule 5 refused: in stock looks like none; sold before; at another price", func(t *testing.T) {
		_, inStock := finished(t).Sell(taking(jeweller), "o", aud(64000), "items[3]")
		_, none := stone.State{}.Sell(taking(jeweller), "o", aud(64000), "items[3]")
		ruletest.Refused(t, inStock, rule.NotFound, "items[3].stone_id")
		if inStock.Error() != none.Error() {
			t.Errorf("%q is not %q", inStock, none)
		}
		_, err := sold(t).Sell(taking("marrow"), "o2", aud(64000), "items[0]")
		ruletest.Refused(t, err, rule.StoneNotForSale, "items[0].stone_id")
		h := onSale(t)
		for _, seen := range []*eventv1.Amount{aud(63999), {Currency: "EUR", Minor: 64000}} {
			_, err = h.Sell(taking(jeweller), "o", seen, "items[0]")
			ruletest.Refused(t, err, rule.PriceMoved, "items[0].price")
		}
	})
}

func TestReturn(t *testing.T) {
	t.Run("rule 6 refused: not sold, another's, not measured", func(t *testing.T) {
		_, err := onSale(t).Return(cutter, back())
		ruletest.Refused(t, err, rule.StoneNotSold, "stone_id")
		_, err = sold(t).Return("two-dops", back())
		ruletest.Refused(t, err, rule.NotFound, "stone_id")
		_, err = sold(t).Return(cutter, stone.Return{})
		ruletest.Refused(t, err, rule.MassInvalid, "weighing.mass_ug")
		ruletest.Refused(t, err, rule.FieldInvalid, "why")
	})
	t.Run("rule 6 OK: in stock, measured again, and sold once more", func(t *testing.T) {
		h := sold(t)
		r := back()
		r.Measured.Weighing = &eventv1.Weighing{MassUg: 570_000, DivisionUg: 2_000}
		h.did(h.Return(cutter, r))
		if h.Stage != stone.InStock || h.Buyer != "" || h.OrderID != "" || h.Weighing.GetMassUg() != 570_000 {
			t.Fatalf("got %+v", h.State)
		}
		h.did(h.PutOnSale(cutter, aud(64000), "AUD", noon)).did(h.Sell(taking("marrow"), "order2", aud(64000), "items[0]"))
	})
}

func TestUnaliased(t *testing.T) {
	h := sold(t)
	h.did(h.Return(cutter, back()))
	ruletest.Unaliased(t, stone.Evolve, h.events...)
}
