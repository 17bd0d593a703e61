package guillotine_test

import (
	"context"
	"math/rand/v2"
	"testing"
	"time"

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

// How long it takes to end once it is stopped in the midst of a pass, on stock that has
// hundreds of thousands of sizes of parts.
func BenchmarkStopped(b *testing.B) {
	r := rand.New(rand.NewPCG(4, 4))
	p := guillotine.Problem{Length: 1_000, Width: 1_000}
	for range 10 {
		k := guillotine.Kind{Length: 40 + r.Int64N(230), Width: 40 + r.Int64N(230), Most: 2 + r.Int64N(3)}
		k.Value = k.Length * k.Width / 10
		p.Kinds = append(p.Kinds, k)
	}
	var took time.Duration
	for b.Loop() {
		ctx, stop := context.WithCancel(context.Background())
		var end time.Time
		result, err := guillotine.Solve(ctx, p, func(now guillotine.Progress) {
			if now.Kept > 0 && end.IsZero() {
				end = time.Now()
				stop()
			}
		})
		stop()
		if err != nil || result.End != guillotine.Stopped {
			b.Fatal(result.End, err)
		}
		took += time.Since(end)
	}
	b.ReportMetric(float64(took.Microseconds())/1_000/float64(b.N), "ms-to-stop")
}
