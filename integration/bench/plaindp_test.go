package main

import (
	"context"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/saw/guillotine"
)

func TestPlainCutSaysTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		side := rapid.Int64Range(1, 40)
		p := guillotine.Problem{Length: side.Draw(t, "length"), Width: side.Draw(t, "width"), Kerf: rapid.Int64Range(0, 3).Draw(t, "kerf")}
		for range rapid.IntRange(1, 5).Draw(t, "kinds") {
			p.Kinds = append(p.Kinds, guillotine.Kind{
				Length: side.Draw(t, "kind's length"), Width: side.Draw(t, "kind's width"),
				Value: rapid.Int64Range(0, 500).Draw(t, "value"), Turns: rapid.Bool().Draw(t, "turns"),
			})
		}
		r, err := guillotine.Solve(context.Background(), p, nil)
		if err != nil {
			t.Fatal(err)
		}
		if plain := plainCut(p); plain != r.Value {
			t.Errorf("the search says %d, the plain programme %d", r.Value, plain)
		}
	})
}
