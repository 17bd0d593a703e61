package guillotine_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"syscall"
	"testing"
	"time"

	"seamshare.example/services/domain/saw/guillotine"
)

// class is problems alike: twenty kinds on 70 × 40, from the very large to the very small.
type class struct {
	lo, hi, most int64   // sides, and at most how many of a kind
	spread       float64 // of value for area, each way
	kerf         int64
}

func (c class) String() string {
	return fmt.Sprintf("sides %d to %d, most %d, value ±%.0f%%, kerf %d", c.lo, c.hi, c.most, 100*c.spread, c.kerf)
}

func (c class) draw(seed uint64) guillotine.Problem {
	r := rand.New(rand.NewPCG(seed, uint64(c.lo*1_000+c.hi)))
	p := guillotine.Problem{Length: 70, Width: 40, Kerf: c.kerf}
	for range 20 {
		k := guillotine.Kind{Length: c.lo + r.Int64N(c.hi-c.lo+1), Width: c.lo + r.Int64N(c.hi-c.lo+1), Most: 1 + r.Int64N(c.most)}
		k.Value = max(1, int64(float64(k.Length*k.Width)*(1+c.spread*(r.Float64()*2-1))))
		p.Kinds = append(p.Kinds, k)
	}
	return p
}

func classes() []class {
	var out []class
	for _, size := range []class{{lo: 8, hi: 30, most: 4}, {lo: 5, hi: 15, most: 3}, {lo: 3, hi: 12, most: 4}, {lo: 2, hi: 8, most: 4}} {
		for _, size.spread = range []float64{0, 0.2, 0.5} {
			for size.kerf = range int64(3) {
				out = append(out, size)
			}
		}
	}
	return out
}

// One of each class for a moment: the plan can be cut and the bound holds, proved or not.
func TestEveryClassHasAPlan(t *testing.T) {
	for _, c := range classes() {
		p := c.draw(1)
		ctx, stop := context.WithTimeout(context.Background(), 100*time.Millisecond)
		r, err := guillotine.Solve(ctx, p, nil)
		stop()
		if err != nil {
			t.Fatal(err)
		}
		if value, err := p.Check(r.Plan); err != nil || value != r.Value || value > r.Bound {
			t.Errorf("%s: %d checked, result %d to %d; %v", c, value, r.Value, r.Bound, err)
		}
	}
}

// How many of five of each class are proved within a minute of processor time:
//
//	go test -run - -bench Classes -benchtime 1x -timeout 0 ./services/domain/saw/guillotine
func BenchmarkClasses(b *testing.B) {
	const each = 5
	for _, c := range classes() {
		b.Run(c.String(), func(b *testing.B) {
			for b.Loop() {
				proved, gap := 0, 0.0
				for seed := range uint64(each) {
					r := solveFor(b, time.Minute, c.draw(seed))
					if r.End == guillotine.Proved {
						proved++
					}
					gap = max(gap, 100*float64(r.Gap())/float64(r.Bound))
				}
				b.ReportMetric(float64(proved), fmt.Sprintf("proved/%d", each))
				b.ReportMetric(gap, "worst-gap-%")
			}
		})
	}
}

// solveFor stops it after so much processor time, whatever else the machine does.
func solveFor(b *testing.B, most time.Duration, p guillotine.Problem) guillotine.Result {
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	start := processor(b)
	go func() {
		for ctx.Err() == nil && processor(b)-start < most {
			time.Sleep(50 * time.Millisecond)
		}
		stop()
	}()
	r, err := guillotine.Solve(ctx, p, nil)
	if err != nil {
		b.Fatal(err)
	}
	return r
}

func processor(b *testing.B) time.Duration {
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		b.Error(err)
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}
