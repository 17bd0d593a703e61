package lot_test

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	lotv1 "seamshare.example/proto/gen/seamshare/event/lot/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/services/domain/lot"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
)

const cutter = "two-dops"

func aud(minor int64) *eventv1.Amount { return &eventv1.Amount{Currency: "AUD", Minor: minor} }

func weighed(ug int64) *eventv1.Weighing { return &eventv1.Weighing{MassUg: ug, DivisionUg: 10_000} }

// chips is a lot of the demo's nine chips and one more.
func chips() *lotv1.Made_Public {
	return &lotv1.Made_Public{
		LotId: "l1", Label: "chips", ParcelId: "p3", CutterId: cutter, Weighing: weighed(24_600_000), Kind: eventv1.Kind_KIND_MATRIX,
		Treatment: eventv1.Treatment_TREATMENT_NONE_KNOWN,
		Sources: []*lotv1.Source{
			{PieceId: "p3-3", Part: "3", Count: 9, Weighing: weighed(22_600_000)},
			{PieceId: "p3-1", Part: "1B", Count: 1, Weighing: weighed(2_000_000)},
		},
	}
}

type history struct {
	t interface {
		Helper()
		Fatal(...any)
	}
	lot.State
	events []*lotv1.Event
}

func (h *history) did(e *lotv1.Event, err error) *history {
	h.t.Helper()
	if err != nil {
		h.t.Fatal(err)
	}
	h.events = append(h.events, e)
	h.State = lot.Evolve(h.State, e)
	return h
}

func made(t testing.TB) *history {
	t.Helper()
	return (&history{t: t}).did(lot.State{}.Make(chips(), &lotv1.Made_Private{}))
}

func byPiece(t testing.TB) *history {
	h := made(t)
	return h.did(h.PutOnSale(cutter, lotv1.Unit_UNIT_PIECE, aud(450), "AUD"))
}

func byCarat(t testing.TB) *history {
	h := made(t)
	return h.did(h.PutOnSale(cutter, lotv1.Unit_UNIT_CARAT, aud(333), "AUD"))
}

func take(s lot.State, order string, count uint32, ug int64) lot.Taking {
	return lot.Taking{Buyer: "fernhook", OrderID: order, Count: count, Weighing: weighed(ug), Unit: s.Unit, Price: s.Price}
}

func TestMake(t *testing.T) {
	t.Run("rule 2 refused: masses apart, nothing in it, nobody says what was done to it", func(t *testing.T) {
		f := chips()
		f.Weighing = weighed(24_615_001)
		_, err := lot.State{}.Make(f, &lotv1.Made_Private{})
		ruletest.Refused(t, err, rule.MassesDontAddUp, "weighing.mass_ug")
		f = chips()
		f.Sources, f.Treatment = nil, 0
		_, err = lot.State{}.Make(f, &lotv1.Made_Private{})
		ruletest.Refused(t, err, rule.CountInvalid, "sources")
		ruletest.Refused(t, err, rule.NotAnswered, "treatment")
	})
	t.Run("rule 1 refused: made twice", func(t *testing.T) {
		_, err := made(t).Make(chips(), &lotv1.Made_Private{})
		ruletest.Refused(t, err, rule.AlreadyThere, "")
	})
	t.Run("rule 2 OK: it counts what went into it", func(t *testing.T) {
		if h := made(t); h.Count != 10 || h.Stage != lot.InStock {
			t.Errorf("got %+v", h.State)
		}
	})
}

func TestSell(t *testing.T) {
	t.Run("rule 3 refused: another's, no price, another currency", func(t *testing.T) {
		h := made(t)
		_, err := h.PutOnSale("wet-wheel", lotv1.Unit_UNIT_PIECE, aud(1), "AUD")
		ruletest.Refused(t, err, rule.NotFound, "lot_id")
		_, err = h.PutOnSale(cutter, 0, aud(0), "AUD")
		ruletest.Refused(t, err, rule.NotAnswered, "unit")
		ruletest.Refused(t, err, rule.AmountInvalid, "price")
		_, err = h.PutOnSale(cutter, lotv1.Unit_UNIT_PIECE, aud(1), "EUR")
		ruletest.Refused(t, err, rule.CurrencyDiffers, "price.currency_code")
	})
	t.Run("rule 4 OK: by the piece as counted", func(t *testing.T) {
		h := byPiece(t)
		h.did(h.Sell(take(h.State, "o1", 3, 7_000_000), "lots[0]"))
		if p := h.events[len(h.events)-1].GetPortionSold().GetPrivate().GetPrice(); p.GetMinor() != 1350 || h.Count != 7 || h.Weighing.GetMassUg() != 17_600_000 {
			t.Errorf("got %v, %+v", p, h.State)
		}
	})
	t.Run("rule 4 OK: by the carat as weighed, rounded down", func(t *testing.T) {
		h := byCarat(t)
		h.did(h.Sell(take(h.State, "o1", 3, 7_010_000), "lots[0]")) // 35.05 ct at 3.33
		if p := h.events[len(h.events)-1].GetPortionSold().GetPrivate().GetPrice(); p.GetMinor() != 11671 {
			t.Errorf("got %v", p)
		}
	})
	t.Run("rule 4 refused: in stock looks like none; more than there is; all but the mass; another price", func(t *testing.T) {
		stocked := made(t)
		_, err := stocked.Sell(take(stocked.State, "o1", 1, 1_000_000), "lots[0]")
		ruletest.Refused(t, err, rule.NotFound, "lots[0].lot_id")
		h := byPiece(t)
		_, err = h.Sell(take(h.State, "o1", 11, 1_000_000), "lots[0]")
		ruletest.Refused(t, err, rule.NotSoMany, "lots[0].count")
		_, err = h.Sell(take(h.State, "o1", 9, 24_600_000), "lots[0]")
		ruletest.Refused(t, err, rule.NotSoMany, "lots[0].weighing.mass_ug")
		_, err = h.Sell(take(h.State, "o1", 10, 20_000_000), "lots[0]")
		ruletest.Refused(t, err, rule.NotSoMany, "lots[0].weighing.mass_ug")
		wrong := take(h.State, "o1", 1, 1_000_000)
		wrong.Price = aud(449)
		_, err = h.Sell(wrong, "lots[0]")
		ruletest.Refused(t, err, rule.PriceMoved, "lots[0].price")
	})
	t.Run("rule 4: a piece of the portion and of what stays weighs half to double the mean", func(t *testing.T) {
		h := byCarat(t) // 10 of 24.6 g
		for _, c := range []struct {
			count uint32
			ug    int64
			ok    bool
		}{
			{9, 200, false}, // all but one for next to nothing
			{5, 6_150_000, true},
			{5, 6_149_999, false},
			{2, 9_840_000, true},
			{2, 9_840_001, false},
			{9, 19_680_000, true},
			{9, 19_679_999, false},
			{9, 23_370_001, false},
			{9, 22_140_000, true}, // and the last piece
		} {
			w := take(h.State, "o1", c.count, c.ug)
			w.Weighing.DivisionUg = 100
			_, err := h.Sell(w, "lots[0]")
			if !c.ok {
				ruletest.Refused(t, err, rule.MassUnlikely, "lots[0].weighing.mass_ug")
			} else if err != nil {
				t.Errorf("%d of %d µg: %v", c.count, c.ug, err)
			}
		}
	})
	t.Run("rule 4: the heaviest lot there can be is sold without overflow", func(t *testing.T) {
		f := chips()
		f.Sources = []*lotv1.Source{{PieceId: "p", Part: "1", Count: 4_000_000_000, Weighing: weighed(rule.MaxMassUg)}}
		f.Weighing = weighed(rule.MaxMassUg)
		h := (&history{t: t}).did(lot.State{}.Make(f, &lotv1.Made_Private{}))
		h.did(h.PutOnSale(cutter, lotv1.Unit_UNIT_PIECE, aud(1), "AUD"))
		_, err := h.Sell(take(h.State, "o1", 3_999_999_999, rule.MaxMassUg/4), "lots[0]")
		ruletest.Refused(t, err, rule.MassUnlikely, "lots[0].weighing.mass_ug")
		whole := take(h.State, "o1", 3_999_999_999, 1)
		whole.Weighing = nil
		h.did(h.Sell(whole, "lots[0]"))
	})
	t.Run("rule 4: by the piece the mass may be left out, and is the mean's; by the carat not", func(t *testing.T) {
		h := byPiece(t)
		w := take(h.State, "o1", 3, 1)
		w.Weighing = nil
		h.did(h.Sell(w, "lots[0]"))
		if h.Portions[0].MassUg != 7_380_000 || h.Weighing.GetMassUg() != 17_220_000 {
			t.Errorf("got %+v", h.State)
		}
		w = take(h.State, "o2", 7, 1)
		w.Weighing = nil
		if h.did(h.Sell(w, "lots[0]")); h.Stage != lot.SoldOut || h.UnexplainedUg != 0 {
			t.Errorf("got %+v", h.State)
		}
		h = byCarat(t)
		w = take(h.State, "o1", 3, 1)
		w.Weighing = nil
		_, err := h.Sell(w, "lots[0]")
		ruletest.Refused(t, err, rule.MassInvalid, "lots[0].weighing.mass_ug")
	})
	t.Run("rule 4 refused: a portion that comes to nothing", func(t *testing.T) {
		f := chips()
		f.Sources, f.Weighing = []*lotv1.Source{{PieceId: "p", Part: "1", Count: 10, Weighing: weighed(1_900_000)}}, weighed(1_900_000)
		h := (&history{t: t}).did(lot.State{}.Make(f, &lotv1.Made_Private{}))
		h.did(h.PutOnSale(cutter, lotv1.Unit_UNIT_CARAT, aud(1), "AUD"))
		_, err := h.Sell(take(h.State, "o1", 1, 190_000), "lots[0]")
		ruletest.Refused(t, err, rule.AmountInvalid, "lots[0].weighing.mass_ug")
	})
	t.Run("rules 4 and 6: the last piece takes all; then nothing is sold, priced or unmade", func(t *testing.T) {
		h := byPiece(t)
		h.did(h.Sell(take(h.State, "o1", 10, 24_590_000), "lots[0]"))
		if h.Stage != lot.SoldOut || h.UnexplainedUg != 10_000 {
			t.Errorf("got %+v", h.State)
		}
		_, err := h.PutOnSale(cutter, lotv1.Unit_UNIT_PIECE, aud(1), "AUD")
		ruletest.Refused(t, err, rule.LotNotForSale, "lot_id")
		_, err = h.Unmake(cutter, "x", nil)
		ruletest.Refused(t, err, rule.LotBegun, "lot_id")
	})
	t.Run("rule 5: what comes back is no more than its order took", func(t *testing.T) {
		h := byPiece(t)
		h.did(h.Sell(take(h.State, "o1", 10, 24_600_000), "lots[0]"))
		_, err := h.Return(cutter, "o1", 11, weighed(1_000_000), "x")
		ruletest.Refused(t, err, rule.NotSoMany, "count")
		_, err = h.Return(cutter, "o2", 1, weighed(1_000_000), "x")
		ruletest.Refused(t, err, rule.NotFound, "order_id")
		if h.did(h.Return(cutter, "o1", 4, weighed(9_000_000), "too pale")); h.Stage != lot.InStock || h.Count != 4 {
			t.Errorf("got %+v", h.State)
		}
	})
	t.Run("rule 6: unmade while nothing is sold, and then no more", func(t *testing.T) {
		h := byPiece(t)
		h.did(h.Unmake(cutter, "sorted anew", nil))
		_, err := h.PutOnSale(cutter, lotv1.Unit_UNIT_PIECE, aud(1), "AUD")
		ruletest.Refused(t, err, rule.LotUnmade, "lot_id")
	})
	t.Run("rule 6: what goes back weighs what the lot weighs by now", func(t *testing.T) {
		h := byPiece(t)
		h.did(h.Sell(take(h.State, "o1", 9, 22_600_000), "lots[0]"))
		h.did(h.Return(cutter, "o1", 9, weighed(20_000_000), "too pale"))
		src := func(piece, part string, count uint32, ug int64) *lotv1.Source {
			return &lotv1.Source{PieceId: piece, Part: part, Count: count, Weighing: weighed(ug)}
		}
		for _, c := range []struct {
			reason rule.Reason
			field  string
			again  []*lotv1.Source
		}{
			{rule.MassesDontAddUp, "weighed", nil},
			{rule.MassesDontAddUp, "weighed", []*lotv1.Source{src("p3-3", "3", 9, 20_015_001)}},
			{rule.NotFound, "weighed[0]", []*lotv1.Source{src("p3-9", "3", 9, 20_000_000)}},
			{rule.NotFound, "weighed[0]", []*lotv1.Source{{StoneId: "s1", Count: 1, Weighing: weighed(1)}}},
			{rule.NamedTwice, "weighed[1]", []*lotv1.Source{src("p3-3", "3", 9, 20_000_000), src("p3-3", "3", 9, 20_000_000)}},
			{rule.CountDiffers, "weighed[0].count", []*lotv1.Source{src("p3-3", "3", 8, 20_000_000)}},
			{rule.MassInvalid, "weighed[0].weighing.mass_ug", []*lotv1.Source{src("p3-3", "3", 9, 0)}},
		} {
			_, err := h.Unmake(cutter, "sorted anew", c.again)
			ruletest.Refused(t, err, c.reason, c.field)
		}
		h.did(h.Unmake(cutter, "sorted anew", []*lotv1.Source{src("p3-3", "3", 9, 20_015_000)}))
	})
	t.Run("rule 6 refused: the count differs", func(t *testing.T) {
		h := made(t)
		h.did(h.Recount(lot.Counting{Count: 9, Weighing: h.Weighing}))
		_, err := h.Unmake(cutter, "sorted anew", nil)
		ruletest.Refused(t, err, rule.CountDiffers, "lot_id")
	})
}

// TestMassesClose: whatever is sold, comes back or is counted, mass as made = left +
// sold + unexplained.
func TestMassesClose(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := (&history{t: t}).did(lot.State{}.Make(chips(), &lotv1.Made_Private{}))
		orders := 0
		t.Repeat(map[string]func(*rapid.T){
			"": func(t *rapid.T) {
				sum := h.Weighing.GetMassUg() + h.UnexplainedUg
				for _, p := range h.Portions {
					sum += p.MassUg
				}
				if made := h.Facts.GetWeighing().GetMassUg(); sum != made {
					t.Fatalf("%d of %d", sum, made)
				}
			},
			"price": func(t *rapid.T) {
				unit := lotv1.Unit(rapid.Int32Range(1, 2).Draw(t, "unit"))
				if e, err := h.PutOnSale(cutter, unit, aud(rapid.Int64Range(1, 1000).Draw(t, "price")), "AUD"); err == nil {
					h.did(e, nil)
				}
			},
			"sell": func(t *rapid.T) {
				orders++
				w := take(h.State, fmt.Sprint("o", orders), rapid.Uint32Range(1, 10).Draw(t, "count"), rapid.Int64Range(1, 24_600_000).Draw(t, "mass"))
				if rapid.Bool().Draw(t, "all") {
					w.Count, w.Weighing = h.Count, weighed(max(1, h.Weighing.GetMassUg()))
				}
				if e, err := h.Sell(w, "lots[0]"); err == nil {
					h.did(e, nil)
				}
			},
			"return": func(t *rapid.T) {
				order := fmt.Sprint("o", rapid.IntRange(1, orders+1).Draw(t, "order"))
				if e, err := h.Return(cutter, order, rapid.Uint32Range(1, 10).Draw(t, "count"), weighed(rapid.Int64Range(1, 24_600_000).Draw(t, "mass")), "x"); err == nil {
					h.did(e, nil)
				}
			},
			"count": func(t *rapid.T) {
				c := lot.Counting{Count: rapid.Uint32Range(1, 10).Draw(t, "count"), Weighing: weighed(rapid.Int64Range(1, 30_000_000).Draw(t, "mass"))}
				if e, err := h.Recount(c); err == nil {
					h.did(e, nil)
				}
			},
		})
	})
}

func TestUnaliased(t *testing.T) {
	h := byPiece(t)
	h.did(h.Sell(take(h.State, "o1", 2, 5_000_000), "l")).did(h.Sell(take(h.State, "o2", 2, 5_000_000), "l")).did(h.Return(cutter, "o1", 1, weighed(2_000_000), "x"))
	h.did(h.TakeOffSale(cutter, "x")).did(h.Recount(lot.Counting{Count: 6, Weighing: weighed(16_000_000)}))
	ruletest.Unaliased(t, lot.Evolve, h.events...)
}

func TestTable(t *testing.T) {
	if err := lot.Table.Check(); err != nil {
		t.Error(err)
	}
}
