package piece_test

import (
	"fmt"
	"testing"

	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
	study "seamshare.example/services/domain/saw"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// fine is a drawing with so many corners, all of them needed.
func fine(t *testing.T, corners int) (study.Study, error) {
	t.Helper()
	s := study.Study{Name: "fine", MassUg: 1_000_000, SGMilli: 2_600, ThicknessUm: 5_000}
	// A comb: each tooth is four corners.
	teeth := corners / 4
	for i := range teeth {
		x := int64(i) * 200
		s.Outline = append(s.Outline, study.Point{X: x, Y: 0}, study.Point{X: x, Y: 9_000}, study.Point{X: x + 100, Y: 9_000}, study.Point{X: x + 100, Y: 0})
	}
	s.Outline = append(s.Outline, study.Point{X: int64(teeth)*200 + 1, Y: -1_000}, study.Point{X: 0, Y: -1_000})
	_, err := piece.Draw("drawing", s)
	return s, err
}

func TestWhatIsKept(t *testing.T) {
	t.Run("refused: a drawing that can't be, with its path in the request", func(t *testing.T) {
		s, err := fine(t, 40)
		if err != nil {
			t.Fatal(err)
		}
		s.Features = []study.Feature{{Name: "crack", Kind: study.Crack, View: study.Face, Points: []study.Point{{X: 1, Y: 1}, {X: 1, Y: 1}}}}
		_, err = piece.Draw("drawing", s)
		ruletest.Refused(t, err, rule.DrawingInvalid, "drawing.features[0].points[1]")
	})
	t.Run("refused: a plan larger than one may be, for its prices", func(t *testing.T) {
		s, err := fine(t, 40)
		if err != nil {
			t.Fatal(err)
		}
		drawn, err := piece.Draw("drawing", s)
		if err != nil {
			t.Fatal(err)
		}
		plan, prices := study.Plan{Name: "none", Settings: study.Settings{Currency: "AUD"}}, study.Prices{Currency: "AUD"}
		for i := range study.MaxMarkets {
			m := study.Market{Name: fmt.Sprint(i)}
			for range study.MaxPrices {
				m.Prices = append(m.Prices, study.Price{Class: "top of the top", Per: study.PerCarat, Minor: 1})
			}
			prices.Markets = append(prices.Markets, m)
		}
		_, err = drawn.Measure("s", "plan.cut", plan, "plan.prices", prices)
		ruletest.Refused(t, err, rule.DrawingInvalid, "plan.cut")
		prices.Markets = prices.Markets[:2]
		if _, err := drawn.Measure("s", "plan.cut", plan, "plan.prices", prices); err != nil {
			t.Error(err)
		}
	})
	t.Run("refused: more than a piece keeps in all", func(t *testing.T) {
		h := sawn(t)
		s, err := fine(t, 1_900)
		if err != nil {
			t.Fatal(err)
		}
		drawn, err := piece.Draw("drawing", s)
		if err != nil {
			t.Fatal(err)
		}
		kept := 0
		for i := range piece.MaxStudies {
			event, err := h.Study(piece.Study{ID: fmt.Sprint("s", i), Member: "m", Drawn: drawn, Seen: string(make([]rune, 0))})
			if err != nil {
				ruletest.Refused(t, err, rule.KeepsTooMuch, "")
				break
			}
			h.did(event, nil)
			kept++
		}
		// A corner takes 8 to 10 bytes.
		if least, most := piece.MaxKeptBytes/(1_900*12), piece.MaxKeptBytes/(1_900*6); kept < least || kept > most {
			t.Errorf("%d were kept, want %d to %d", kept, least, most)
		}
		if _, err := h.MakePlan("m", "p", &piecev1.Plan{Label: "x", Reason: "y"}, nil, "AUD"); err == nil {
			_, err = h.Study(piece.Study{ID: "s", Member: "m", Drawn: drawn})
			ruletest.Refused(t, err, rule.KeepsTooMuch, "")
		}
	})
}
