package guillotine_test

import (
	"context"
	"math/rand/v2"
	"testing"

	"seamshare.example/services/domain/saw/guillotine"
)

func solveAll(b *testing.B, p guillotine.Problem) {
	b.ReportAllocs()
	for b.Loop() {
		r, err := guillotine.Solve(context.Background(), p, nil)
		if err != nil || r.End != guillotine.Proved {
			b.Fatal(r.End, err)
		}
	}
}

// A thousand by a thousand with kinds so small that a cut can be nearly everywhere.
func BenchmarkUnlimited1000(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	p := guillotine.Problem{Length: 1_000, Width: 1_000, Kerf: 3}
	for range 50 {
		k := guillotine.Kind{Length: 20 + r.Int64N(200), Width: 20 + r.Int64N(200), Turns: true}
		k.Value = k.Length * k.Width * (90 + r.Int64N(20))
		p.Kinds = append(p.Kinds, k)
	}
	solveAll(b, p)
}

func BenchmarkLimitedLarge(b *testing.B) { solveAll(b, drawn(1, 8, 30, 3)) }

func BenchmarkLimitedMixed(b *testing.B) { solveAll(b, drawn(1, 4, 30, 6)) }
