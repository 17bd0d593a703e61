package main

import (
	"context"
	"errors"
	"slices"
	"sync"
	"time"
)

// do is one command of one caller, from the call to the answer. Each caller has one
// command under way at a time.
type do func(ctx context.Context, caller int) error

// span is how long a run lasts: answers that come before warm is over aren't counted, nor
// are those after the window.
type span struct{ warm, window time.Duration }

// sample is what was counted in a window.
type sample struct {
	Commands  int     `json:"commands"`
	PerSecond float64 `json:"per_second"`
	P50us     int64   `json:"p50_us"`
	P99us     int64   `json:"p99_us"`
	// Done counts all commands that were answered, outside the window too.
	Done int `json:"done"`
}

// drive lets callers call, all at once and each again as soon as it has its answer,
// and counts. The first error ends it.
func drive(ctx context.Context, callers int, s span, call do) (sample, error) {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	type tally struct {
		done  int
		times []time.Duration
	}
	tallies := make([]tally, callers)
	begin := time.Now().Add(s.warm)
	end := begin.Add(s.window)
	var all sync.WaitGroup
	for i := range callers {
		all.Go(func() {
			t := &tallies[i]
			for {
				started := time.Now()
				if !started.Before(end) || ctx.Err() != nil {
					return
				}
				if err := call(ctx, i); err != nil {
					cancel(err)
					return
				}
				answered := time.Now()
				t.done++
				if !answered.Before(begin) && !answered.After(end) {
					t.times = append(t.times, answered.Sub(started))
				}
			}
		})
	}
	all.Wait()
	if err := context.Cause(ctx); err != nil {
		return sample{}, err
	}
	var out sample
	var times []time.Duration
	for _, t := range tallies {
		out.Done += t.done
		times = append(times, t.times...)
	}
	if len(times) == 0 {
		return out, errors.New("no command was answered within the window; make it longer")
	}
	slices.Sort(times)
	out.Commands = len(times)
	out.PerSecond = float64(out.Commands) / s.window.Seconds()
	out.P50us = quantile(times, 0.50).Microseconds()
	out.P99us = quantile(times, 0.99).Microseconds()
	return out, nil
}

// repeat lets callers call as long as more says so of a caller, who has done some.
func repeat(ctx context.Context, callers int, call do, more func(caller, done int) bool) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var all sync.WaitGroup
	for i := range callers {
		all.Go(func() {
			for done := 0; ctx.Err() == nil && more(i, done); done++ {
				if err := call(ctx, i); err != nil {
					cancel(err)
				}
			}
		})
	}
	all.Wait()
	return context.Cause(ctx)
}

// quantile of sorted values: the smallest that at least a part q of them don't exceed.
func quantile(sorted []time.Duration, q float64) time.Duration {
	at := int(q*float64(len(sorted))+0.999999) - 1
	return sorted[max(0, min(at, len(sorted)-1))]
}
