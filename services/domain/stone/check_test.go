package stone_test

import (
	"testing"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
	"seamshare.example/services/domain/stone"
)

func TestCheck(t *testing.T) {
	t.Run("rule 12 refused: all that is wanting, at once", func(t *testing.T) {
		c := check("desk 1")
		c.BackFlat, c.WallEven, c.BevelClears, c.Candled, c.CornerRadiusUm, c.Photo = false, false, false, false, 499, nil
		_, err := finished(t).MakeCheck(c)
		for _, field := range []string{"back_flat", "wall_even", "bevel_clears", "candled", "corner_radius_um"} {
			ruletest.Refused(t, err, rule.CheckFailed, field)
		}
		ruletest.Refused(t, err, rule.FieldInvalid, "photo.sha256")
		ruletest.Refused(t, err, rule.FieldInvalid, "photo.light")
	})
	t.Run("rule 12 refused: another mass, another's stone, one on sale", func(t *testing.T) {
		c := check("desk 1")
		c.Weighing = &eventv1.Weighing{MassUg: 567_999, DivisionUg: 2_000}
		_, err := finished(t).MakeCheck(c)
		ruletest.Refused(t, err, rule.WeighingsDiffer, "weighing.mass_ug")
		c = check("desk 1")
		c.Cutter = "two-dops"
		_, err = finished(t).MakeCheck(c)
		ruletest.Refused(t, err, rule.NotFound, "stone_id")
		_, err = onSale(t).MakeCheck(check("desk 1"))
		ruletest.Refused(t, err, rule.StoneNotInStock, "stone_id")
	})
	t.Run("rule 12 refused: another size, each dimension that differs", func(t *testing.T) {
		c := check("desk 1")
		c.Size = &eventv1.Size{LengthUm: 14_101, WidthUm: 9_100, DepthUm: 2_199}
		_, err := finished(t).MakeCheck(c)
		for _, field := range []string{"size.length_um", "size.depth_um"} {
			ruletest.Refused(t, err, rule.SizesDiffer, field)
		}
		c.Size = &eventv1.Size{LengthUm: 14_100, WidthUm: 9_100, DepthUm: 2_200}
		h := finished(t)
		h.did(h.MakeCheck(c))
	})
	t.Run("rule 12 refused: a little more at each check", func(t *testing.T) {
		h := finished(t)
		c := check("desk 1")
		c.Weighing = &eventv1.Weighing{MassUg: 576_000, DivisionUg: 2_000}
		c.Size = &eventv1.Size{LengthUm: 14_100, WidthUm: 9_000, DepthUm: 2_300}
		h.did(h.MakeCheck(c))
		c.Weighing = &eventv1.Weighing{MassUg: 576_001, DivisionUg: 2_000}
		_, err := h.MakeCheck(c)
		ruletest.Refused(t, err, rule.WeighingsDiffer, "weighing.mass_ug")
		c.Weighing, c.Size = six().Weighing, &eventv1.Size{LengthUm: 14_101, WidthUm: 9_000, DepthUm: 2_300}
		_, err = h.MakeCheck(c)
		ruletest.Refused(t, err, rule.SizesDiffer, "size.length_um")
	})
	t.Run("rule 12: what it should measure is as counted, cut again or corrected, or as it came back otherwise", func(t *testing.T) {
		h := finished(t)
		h.did(h.Recount(stone.Counting{CountID: "c1", Person: "desk 4", Weighing: &eventv1.Weighing{MassUg: 582_000, DivisionUg: 2_000}}))
		c := check("desk 1")
		_, err := h.MakeCheck(c)
		ruletest.Refused(t, err, rule.WeighingsDiffer, "weighing.mass_ug")
		c.Weighing = &eventv1.Weighing{MassUg: 582_000, DivisionUg: 2_000}
		h.did(h.MakeCheck(c))

		h = finished(t)
		h.did(h.Recut(recutting()))
		c.Weighing, c.Size = recutting().Weighing, recutting().Size
		h.did(h.MakeCheck(c))

		right := &eventv1.Measured{Weighing: &eventv1.Weighing{MassUg: 652_000, DivisionUg: 2_000}, Size: &eventv1.Size{LengthUm: 15_000, WidthUm: 9_000, DepthUm: 2_300}}
		corrected := func(s stone.State) stone.State {
			to := correctionv1.Account_ACCOUNT_THERE
			if s.Recuts > 0 {
				to = correctionv1.Account_ACCOUNT_UNEXPLAINED
			}
			s = stone.EvolveCorrection(s, &correctionv1.Event{Event: &correctionv1.Event_MassCorrected{MassCorrected: &correctionv1.MassCorrected{
				Public: &correctionv1.MassCorrected_Public{Was: six().Weighing, Right: right.GetWeighing(), To: &correctionv1.Entry{Account: to}},
			}}})
			return stone.EvolveCorrection(s, &correctionv1.Event{Event: &correctionv1.Event_SizeCorrected{SizeCorrected: &correctionv1.SizeCorrected{
				Public: &correctionv1.SizeCorrected_Public{Was: six().Size, Right: right.GetSize(), MeasuredSince: s.Recuts > 0},
			}}})
		}
		c.Weighing, c.Size = right.GetWeighing(), right.GetSize()
		if _, err := corrected(finished(t).State).MakeCheck(c); err != nil {
			t.Error(err)
		}
		h = finished(t)
		h.did(h.Recut(recutting()))
		if got := corrected(h.State); got.Weighing.GetMassUg() != 540_000 || got.Size.GetLengthUm() != 13_000 {
			t.Errorf("how it was finished was corrected after it was cut again, and it measures %v", got.Measured())
		}

		h = sold(t)
		r := back()
		r.Measured = &eventv1.Measured{Weighing: &eventv1.Weighing{MassUg: 560_000, DivisionUg: 2_000}, Size: six().Size}
		h.did(h.Return(cutter, r))
		c.Weighing, c.Size = r.Measured.GetWeighing(), six().Size
		h.did(h.MakeCheck(c))

		h = sold(t)
		r.Measured = &eventv1.Measured{Weighing: &eventv1.Weighing{MassUg: 574_000, DivisionUg: 2_000}, Size: six().Size}
		h.did(h.Return(cutter, r))
		c.Weighing = &eventv1.Weighing{MassUg: 576_001, DivisionUg: 2_000}
		_, err = h.MakeCheck(c)
		ruletest.Refused(t, err, rule.WeighingsDiffer, "weighing.mass_ug")
	})
	t.Run("rule 12 refused: put on sale unchecked, or unconfirmed", func(t *testing.T) {
		h := finished(t)
		_, err := h.PutOnSale(cutter, aud(1), "AUD", noon)
		ruletest.Refused(t, err, rule.StoneNotChecked, "stone_id")
		h.did(h.MakeCheck(check("desk 1")))
		_, err = h.PutOnSale(cutter, aud(1), "AUD", noon)
		ruletest.Refused(t, err, rule.StoneNotChecked, "stone_id")
	})
	t.Run("rule 12 refused: confirmed by who checked, unchecked, twice", func(t *testing.T) {
		h := finished(t)
		_, err := h.ConfirmCheck("desk 2", cutter)
		ruletest.Refused(t, err, rule.StoneNotChecked, "stone_id")
		h.did(h.MakeCheck(check("desk 1")))
		_, err = h.ConfirmCheck("desk 1", cutter)
		ruletest.Refused(t, err, rule.SecondPersonNeeded, "stone_id")
		_, err = checked(t).ConfirmCheck("desk 3", cutter)
		ruletest.Refused(t, err, rule.AlreadyThere, "stone_id")
	})
	t.Run("rule 12: a stone that came back as it went needs no other check, one that didn't does", func(t *testing.T) {
		h := sold(t)
		if h.did(h.Return(cutter, back())); h.Standing() != stone.Stocked {
			t.Errorf("it is %s", h.Standing())
		}
		h = sold(t)
		r := back()
		r.Measured.Weighing = &eventv1.Weighing{MassUg: 560_000, DivisionUg: 2_000}
		if h.did(h.Return(cutter, r)); h.Standing() != stone.Unchecked {
			t.Errorf("it is %s", h.Standing())
		}
	})
}

func recutting() stone.Recutting {
	return stone.Recutting{
		Cutter: cutter, Weighing: &eventv1.Weighing{MassUg: 540_000, DivisionUg: 2_000}, Size: &eventv1.Size{LengthUm: 13_000, WidthUm: 9_000, DepthUm: 2_300},
		Outline: stonev1.Outline_OUTLINE_OVAL, Why: "a chip at the girdle",
	}
}

func TestRecut(t *testing.T) {
	t.Run("rule 13 OK: the same stone with new facts, unchecked", func(t *testing.T) {
		h := checked(t)
		was := h.Facts
		h.did(h.Recut(recutting()))
		if h.Standing() != stone.Unchecked || h.Recuts != 1 || h.Facts.GetStoneId() != "s6" || h.Facts.GetOutline() != stonev1.Outline_OUTLINE_OVAL || h.Weighing.GetMassUg() != 540_000 {
			t.Errorf("got %+v", h.State)
		}
		if was.GetOutline() != stonev1.Outline_OUTLINE_FREEFORM {
			t.Error("the facts as finished were changed")
		}
	})
	t.Run("rule 13 refused: on sale, sold", func(t *testing.T) {
		for _, h := range []*history{onSale(t), sold(t)} {
			_, err := h.Recut(recutting())
			ruletest.Refused(t, err, rule.StoneNotInStock, "stone_id")
		}
	})
}

func TestRegrade(t *testing.T) {
	r := stone.Regrading{Cutter: cutter, Grade: &stonev1.Grade{Pattern: stonev1.Pattern_PATTERN_STRAW}, Class: "plain", Classes: []string{"top", "plain"}, Why: "in daylight"}
	t.Run("rule 14 OK: also on sale; its check stands", func(t *testing.T) {
		h := onSale(t)
		if h.did(h.Regrade(r)); h.Facts.GetGrade().GetPattern() != stonev1.Pattern_PATTERN_STRAW || h.Class != "plain" || !h.Check.Stands() {
			t.Errorf("got %+v", h.State)
		}
	})
	t.Run("rule 14 refused: sold, another class", func(t *testing.T) {
		_, err := sold(t).Regrade(r)
		ruletest.Refused(t, err, rule.StoneNotInStock, "stone_id")
		other := r
		other.Class = "best"
		_, err = finished(t).Regrade(other)
		ruletest.Refused(t, err, rule.FieldInvalid, "class")
	})
}

func TestInLot(t *testing.T) {
	t.Run("rule 16: no name in a lot, unchecked afterwards", func(t *testing.T) {
		h := checked(t)
		h.did(h.PutInLot(cutter, "l1"))
		_, err := h.PutOnSale(cutter, aud(1), "AUD", noon)
		ruletest.Refused(t, err, rule.StoneNotInStock, "stone_id")
		_, err = h.TakeFromLot("l2")
		ruletest.Refused(t, err, rule.StoneNotInStock, "stone_id")
		if h.did(h.TakeFromLot("l1")); h.Standing() != stone.Unchecked {
			t.Errorf("it is %s", h.Standing())
		}
	})
	t.Run("rule 15: counted where its cutter has it", func(t *testing.T) {
		h := onSale(t)
		c := stone.Counting{CountID: "c1", Person: "desk 4", Weighing: &eventv1.Weighing{MassUg: 570_000, DivisionUg: 2_000}}
		if h.did(h.Recount(c)); h.Weighing.GetMassUg() != 570_000 {
			t.Errorf("got %v", h.Weighing)
		}
		_, err := sold(t).Recount(c)
		ruletest.Refused(t, err, rule.StoneNotInStock, "stone_id")
	})
}

func TestUnaliasedBench(t *testing.T) {
	h := checked(t)
	h.did(h.Regrade(stone.Regrading{Cutter: cutter, Why: "x"})).did(h.Recut(recutting()))
	h.did(h.Recount(stone.Counting{Weighing: six().Weighing})).did(h.PutInLot(cutter, "l")).did(h.TakeFromLot("l"))
	ruletest.Unaliased(t, stone.Evolve, h.events...)
}
