package search_test

import (
	"context"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/saw/search"
	"seamshare.example/services/domain/saw/search/searchtest"
)

// No plan for a random piece passes its bound, whether made at random or searched for.
func TestBoundHolds(t *testing.T) {
	for seed := range uint64(20) {
		bounded(t, seed)
	}
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
