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
	rapid.Check(t, func(rt *rapid.T) {
		seed := rapid.Uint64().Draw(rt, "seed")
		task := searchtest.Random(seeded(seed))
		bound, err := search.Bound(task)
		if err != nil {
			rt.Skip("no piece: ", err)
		}
		c := search.NewChance(t, task, seeded(seed+1))
		c.Never(rt, bound, 60)
		s, err := search.Suggest(context.Background(), task, seeded(seed), 60, nil)
		if err != nil {
			rt.Fatal(err)
		}
		held(rt, task, s)
	})
}
