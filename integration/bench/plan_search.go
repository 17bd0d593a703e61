package main

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"seamshare.example/services/domain/saw/guillotine"
	"seamshare.example/services/domain/saw/search"
)

type planGuillotine struct {
	Length  int64   `json:"length"`
	Width   int64   `json:"width"`
	Kerf    int64   `json:"kerf"`
	Kinds   int     `json:"kinds"`
	Value   int64   `json:"value"`
	ExactMs float64 `json:"exact_ms"` // of processor time
	PlainMs float64 `json:"plain_ms"`
}

// cutRectangles has both ways find the best cuts of some rectangles. They must say the same.
func cutRectangles(ctx context.Context, quick bool, say *progress) (out []planGuillotine, err error) {
	sides := [][2]int64{{60, 40}, {120, 80}, {240, 160}, {480, 320}}
	rounds, each := 3, 300*time.Millisecond
	if quick {
		sides, rounds, each = sides[:2], 1, 20*time.Millisecond
	}
	for i, side := range sides {
		say.say("rectangle of %d × %d", side[0], side[1])
		rng := rand.New(rand.NewPCG(uint64(i), 1))
		p := guillotine.Problem{Length: side[0], Width: side[1], Kerf: 2}
		for range 8 {
			k := guillotine.Kind{Length: side[0]/8 + rng.Int64N(side[0]/4), Width: side[1]/8 + rng.Int64N(side[1]/4), Turns: true}
			k.Value = k.Length * k.Width * (80 + rng.Int64N(40))
			p.Kinds = append(p.Kinds, k)
		}
		g := planGuillotine{Length: p.Length, Width: p.Width, Kerf: p.Kerf, Kinds: len(p.Kinds)}
		exact, err := perSecond(ctx, rounds, each, func() error {
			r, err := guillotine.Solve(ctx, p, nil)
			g.Value = r.Value
			return err
		})
		if err != nil {
			return nil, err
		}
		plain, err := perSecond(ctx, rounds, each, func() error {
			if v := plainCut(p); v != g.Value {
				return fmt.Errorf("the exact search says %d, the plain programme %d", g.Value, v)
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
		g.ExactMs, g.PlainMs = 1_000/exact, 1_000/plain
		out = append(out, g)
	}
	return out, nil
}

type planSearch struct {
	Seconds []float64   `json:"seconds"` // by the clock, on one processor
	Pieces  []planPiece `json:"pieces"`
	// MedianGap is the median over the pieces of what is missing to the bound, as a share of it, after each time.
	MedianGap []float64 `json:"median_gap"`
	Differ    int       `json:"differ"`
}

type planPiece struct {
	Piece          string  `json:"piece"`
	Bound          int64   `json:"bound_minor"`
	Best           []int64 `json:"best_minor"` // after each time
	TriedPerSecond float64 `json:"tried_per_second"`
	// MarketsDiffer: no plan is the best in both markets.
	MarketsDiffer bool         `json:"markets_differ"`
	Markets       []planMarket `json:"markets"`
}

// planMarket is the plan that is the best in a market.
type planMarket struct {
	Market string `json:"market"`
	Plan   string `json:"plan"`
	Minor  int64  `json:"minor"`
}

// searchPlans searches plans for pieces, for some times each, bound and preparation included.
func searchPlans(ctx context.Context, tasks []search.Task, seconds []float64, say *progress) (planSearch, error) {
	out := planSearch{Seconds: seconds}
	gaps := make([][]float64, len(out.Seconds))
	for i, task := range tasks {
		// The bound takes as long as it takes; what a search found in its time is set beside it.
		bound, err := search.Bound(ctx, task)
		if err != nil {
			return out, fmt.Errorf("%s: %w", task.Study.Name, err)
		}
		piece := planPiece{Piece: task.Study.Name, Bound: bound}
		for k, seconds := range out.Seconds {
			say.say("%s, %g s", piece.Piece, seconds)
			short, stop := context.WithTimeout(ctx, time.Duration(seconds*float64(time.Second)))
			begin := time.Now()
			s, err := search.Suggest(short, task, search.Seeded(uint64(i)), math.MaxInt, nil)
			stop()
			if err != nil {
				return out, fmt.Errorf("%s: %w", piece.Piece, err)
			}
			if err := ctx.Err(); err != nil {
				return out, err
			}
			piece.TriedPerSecond = float64(s.Steps) / time.Since(begin).Seconds()
			piece.Best = append(piece.Best, s.Best)
			gaps[k] = append(gaps[k], 1-float64(s.Best)/float64(bound))
			piece.note(s)
		}
		if piece.MarketsDiffer {
			out.Differ++
		}
		out.Pieces = append(out.Pieces, piece)
	}
	for _, g := range gaps {
		slices.Sort(g)
		out.MedianGap = append(out.MedianGap, median(g))
	}
	return out, nil
}

// note says which plan is the best in each market, and whether one is in all.
func (p *planPiece) note(s search.Suggestion) {
	p.Markets, p.MarketsDiffer = nil, true
	for _, o := range s.Offers {
		all := true
		for _, m := range o.Markets {
			if all = all && m.Best; m.Best {
				p.Markets = append(p.Markets, planMarket{m.Market, o.Kind.String(), m.Money.Expected})
			}
		}
		p.MarketsDiffer = p.MarketsDiffer && !all
	}
}
