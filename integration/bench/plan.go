package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"seamshare.example/services/domain/saw/search/searchtest"
)

// planReport is all that -plans found: the one document of -json.
type planReport struct {
	Machine machine `json:"machine"`
	// Evaluate is a plan of 20 cuts and 40 stones for a piece of 200 corners.
	Evaluate planEvaluate `json:"evaluate"`
	// Guillotine is the exact search beside the plain dynamic programme.
	Guillotine []planGuillotine `json:"guillotine"`
	Search     planSearch       `json:"search"`
}

// measurePlans measures evaluation, the exact search and the irregular one. Quick: small numbers.
func measurePlans(ctx context.Context, quick bool, dir string, say *progress) (*planReport, error) {
	defer say.end()
	r := &planReport{Machine: thisMachine(dir)}
	var err error
	say.say("evaluating plans")
	if r.Evaluate, err = evaluatePlans(ctx, quick); err != nil {
		return nil, err
	}
	if r.Guillotine, err = cutRectangles(ctx, quick, say); err != nil {
		return nil, err
	}
	seconds := []float64{1, 5, 30}
	if quick {
		seconds = []float64{0.1, 0.5}
	}
	r.Search, err = searchPlans(ctx, searchtest.Pieces(), seconds, say)
	return r, err
}

// perSecond is how often something can be done in a second of one processor, by the time that this process took:
// the wall clock says little beside others on the machine. The median of some rounds, each so long.
func perSecond(ctx context.Context, rounds int, each time.Duration, do func() error) (float64, error) {
	var rates []float64
	for range rounds {
		begin, n := processorTime(), 0
		for processorTime()-begin < each {
			if err := ctx.Err(); err != nil {
				return 0, err
			}
			if err := do(); err != nil {
				return 0, err
			}
			n++
		}
		rates = append(rates, float64(n)/(processorTime()-begin).Seconds())
	}
	slices.Sort(rates)
	return median(rates), nil
}

// print writes the report as a person reads it.
func (r *planReport) print(w io.Writer) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	line := func(cells ...any) {
		text := make([]string, len(cells))
		for i, c := range cells {
			text[i] = fmt.Sprint(c)
		}
		fmt.Fprintln(t, strings.Join(text, "\t")+"\t")
	}
	m := r.Machine
	fmt.Fprintf(t, "%s, %d CPUs, %s\n", m.Processor, m.CPUs, m.Go)
	if m.busy() {
		fmt.Fprintf(t, "The machine was busy with something else (load %s); rates are by processor time, the search's times by the clock.\n", m.LoadAtStart)
	}
	e := r.Evaluate
	fmt.Fprintf(t, "\nA plan of %d cuts and %d stones, a piece of %d corners, for a second of one processor:\n\n", e.Cuts, e.Stones, e.Corners)
	line("what", "plans/s", "of the overlay's")
	line("evaluated: cuts, masses, fits, money", count(e.PerSecond), fmt.Sprintf("%.1f×", e.PerSecond/e.OverlayPerSecond))
	line("only cut across the face and held, by polygon overlay", count(e.OverlayPerSecond), "1.0×")
	fmt.Fprint(t, "\nRectangles, the exact search beside the plain dynamic programme (the same value):\n\n")
	line("stock", "kinds", "kerf", "value", "exact ms", "plain ms", "times as fast")
	for _, g := range r.Guillotine {
		line(fmt.Sprintf("%d × %d", g.Length, g.Width), g.Kinds, g.Kerf, count(float64(g.Value)), fmt.Sprintf("%.2f", g.ExactMs), fmt.Sprintf("%.2f", g.PlainMs), fmt.Sprintf("%.0f", g.PlainMs/g.ExactMs))
	}
	fmt.Fprint(t, "\nIrregular pieces: the best plan's worth as a share of the proved bound, after so long:\n\n")
	head := []any{"piece", "bound"}
	for _, s := range r.Search.Seconds {
		head = append(head, fmt.Sprintf("%g s", s))
	}
	line(append(head, "tried/s", "markets choose")...)
	for _, p := range r.Search.Pieces {
		cells := []any{p.Piece, count(float64(p.Bound))}
		for _, b := range p.Best {
			cells = append(cells, fmt.Sprintf("%.1f %%", 100*float64(b)/float64(p.Bound)))
		}
		choose := "the same"
		if p.MarketsDiffer {
			choose = "differently"
		}
		line(append(cells, count(p.TriedPerSecond), choose)...)
	}
	cells := []any{"median gap", ""}
	for _, g := range r.Search.MedianGap {
		cells = append(cells, fmt.Sprintf("%.1f %%", 100*g))
	}
	line(append(cells, "", fmt.Sprintf("%d of %d differ", r.Search.Differ, len(r.Search.Pieces)))...)
	return t.Flush()
}
