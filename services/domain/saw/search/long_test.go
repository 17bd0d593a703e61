//go:build long && !race

package search_test

import (
	"context"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/saw/search"
	"seamshare.example/services/domain/saw/search/searchtest"
)

// As TestSuggestBeatsChance, TestBoundHolds and TestBoundHoldsForAnyList, for random pieces.
func TestSuggestBeatsChanceLong(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64().Draw(t, "seed")
		task := searchtest.Random(seeded(seed))
		s, err := search.Suggest(context.Background(), task, seeded(seed), 800, nil)
		if err != nil {
			t.Fatal(err)
		}
		held(t, task, s)
		search.NewChance(t, task, seeded(seed+1)).Never(t, s.Best, 10_000)
	})
}

func TestBoundHoldsLong(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) { bounded(t, rapid.Uint64().Draw(t, "seed")) })
}

func TestBoundHoldsForAnyListLong(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) { listed(t, rapid.Uint64().Draw(t, "seed")) })
}
