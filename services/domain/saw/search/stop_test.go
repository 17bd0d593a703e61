package search_test

import (
	"context"
	"math"
	"testing"

	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/search"
	"seamshare.example/services/domain/saw/search/searchtest"
)

// ending is a context that ends when it was asked so many times whether it has.
type ending struct {
	context.Context
	asked, most int
}

func (e *ending) Err() error {
	if e.asked++; e.asked > e.most {
		return context.Canceled
	}
	return nil
}

// busy is as much as one piece has in earnest: an outline of a thousand points, forty cracks of twenty each, and ten
// sizes of each of its forms.
func busy() search.Task {
	t := searchtest.Pieces()[1]
	at := func(r, turn float64) saw.Point {
		sin, cos := math.Sincos(turn)
		return saw.Point{X: int64(r * cos), Y: int64(r * sin)}
	}
	t.Study.Outline, t.Study.Features = nil, nil
	for i := range 1_000 {
		turn := 2 * math.Pi * float64(i) / 1_000
		t.Study.Outline = append(t.Study.Outline, at(60_000+3_000*math.Sin(40*turn), turn))
	}
	for i := range 40 {
		f := saw.Feature{Name: string(rune('A'+i/20)) + string(rune('a'+i%20)), Kind: saw.Crack, View: saw.Face}
		for k := range 20 {
			f.Points = append(f.Points, at(8_000+2_400*float64(k), 2*math.Pi*(float64(i)+0.2*float64(k%2))/40))
		}
		t.Study.Features = append(t.Study.Features, f)
	}
	t.Study.MassUg *= 10
	for i := range t.Wants {
		t.Wants[i].Sizes = t.Wants[i].Sizes[:min(10, len(t.Wants[i].Sizes))]
	}
	return t
}

// Whenever the context ends, what there is so far is on offer and feasible, the bound holds or isn't known, and hardly
// anything more is looked at.
func TestSuggestStops(t *testing.T) {
	for _, task := range []search.Task{busy(), searchtest.Pieces()[0], searchtest.Pieces()[6], searchtest.Pieces()[11]} {
		for _, most := range []int{0, 1, 10, 100, 1_000} {
			ctx := &ending{context.Background(), 0, most}
			s, err := search.Suggest(ctx, task, seeded(1), 1_000_000, nil)
			if err != nil {
				t.Fatal(err)
			}
			held(t, task, s)
			if !s.Stopped || ctx.asked > most+500 {
				t.Errorf("%s, after %d times: it is stopped: %v, and was asked %d times more", task.Study.Name, most, s.Stopped, ctx.asked-most)
			}
			if most == 0 && s.Bound != search.Unbounded {
				t.Errorf("the bound of a search that didn't begin is %d", s.Bound)
			}
		}
	}
}

// A search tells of itself from the beginning, before its first step too, and never stays long without.
func TestSuggestTellsWhileItGetsReady(t *testing.T) {
	ctx := &ending{context.Background(), 0, math.MaxInt}
	ready, last, most := 0, 0, 0
	s, err := search.Suggest(ctx, searchtest.Pieces()[6], seeded(1), 20, func(p search.Progress) {
		most, last = max(most, ctx.asked-last), ctx.asked
		if p.Step == 0 {
			ready++
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	if ready < 1_000 || most > 1 {
		t.Errorf("in %d steps it told %d times that it got ready, and was asked %d times in between", s.Steps, ready, most)
	}
}
