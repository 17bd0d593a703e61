package search_test

import (
	"context"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/search"
	"seamshare.example/services/domain/saw/search/searchtest"
)

// No plan for a random piece passes its bound, whether made at random or searched for.
func TestBoundHolds(t *testing.T) {
	for seed := range uint64(20) {
		bounded(t, seed)
	}
	bounded(t, 0x68b1a) // its stones are worth less than a cut, and the first takes none
}

func bounded(t rapid.TB, seed uint64) {
	task := searchtest.Random(seeded(seed))
	s, err := search.Suggest(context.Background(), task, seeded(seed), 40, nil)
	if err != nil {
		t.Fatal(err)
	}
	held(t, task, s)
	search.NewChance(t, task, seeded(seed+1)).Never(t, s.Bound, 60)
}

// What is left over is paid for by its own length: a piece of 15 mm goes by the band for short ones, which pays the most.
func TestBoundHoldsForWhatIsLeftOver(t *testing.T) {
	task := searchtest.Pieces()[0]
	task.Study.Outline = []saw.Point{{}, {X: 15_000}, {X: 15_000, Y: 15_000}, {Y: 15_000}}
	task.Study.ThicknessUm, task.Study.MassUg = 10_000, 5_000_000
	task.Rest = saw.End{Kind: saw.OffCut, Class: "chips", Market: searchtest.Fancy}
	task.Prices.Markets[1].Prices = append(task.Prices.Markets[1].Prices,
		saw.Price{Class: "chips", Per: saw.PerGram, ToUm: 20_000, Minor: 100_000},
		saw.Price{Class: "chips", Per: saw.PerGram, FromUm: 20_000, Minor: 10})
	s, err := search.Suggest(context.Background(), task, seeded(1), 40, nil)
	if err != nil {
		t.Fatal(err)
	}
	held(t, task, s)
	if want := int64(5*94_000 - 150); s.Best < want { // 5 g of chips, less levy and selling
		t.Errorf("the best is %d, left as it is the piece brings %d", s.Best, want)
	}
}
