package guillotine_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"
	"time"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/saw/guillotine"
)

// drawn is a problem of twenty kinds, a few of each, on 40 × 70: sides lo to hi.
func drawn(seed uint64, lo, hi, most int64) guillotine.Problem {
	r := rand.New(rand.NewPCG(seed, 20))
	p := guillotine.Problem{Length: 70, Width: 40}
	for range 20 {
		k := guillotine.Kind{Length: lo + r.Int64N(hi-lo+1), Width: lo + r.Int64N(hi-lo+1), Most: 1 + r.Int64N(most)}
		k.Value = k.Length*k.Width*10 + r.Int64N(k.Length*k.Width*4)
		p.Kinds = append(p.Kinds, k)
	}
	return p
}

func TestTwentyKindsAreProved(t *testing.T) {
	for seed := range uint64(5) {
		proved(t, drawn(seed, 8, 30, 3))
	}
	proved(t, class{lo: 5, hi: 15, most: 3}.draw(1)) // all that is wanted fits, closely
	proved(t, class{lo: 5, hi: 15, most: 3}.draw(2))
	proved(t, class{lo: 3, hi: 12, most: 4, spread: 0.2}.draw(0))
}

// A stock that is itself the best piece, and yet something else may be worth more.
func TestTheStockIsAPiece(t *testing.T) {
	got := proved(t, guillotine.Problem{Length: 5, Width: 9, Kerf: 1, Kinds: []guillotine.Kind{
		{Length: 2, Width: 1, Value: 47, Most: 1},
		{Length: 5, Width: 4, Value: 206, Most: 1, Turns: true},
		{Length: 6, Width: 3, Value: 180, Most: 3},
		{Length: 4, Width: 3, Value: 166, Most: 1},
		{Length: 6, Width: 7, Value: 147, Most: 2},
		{Length: 6, Width: 7, Value: 420, Most: 1, Turns: true},
		{Length: 5, Width: 9, Value: 444, Most: 1},
	}})
	if got != 444 {
		t.Errorf("got %d", got)
	}
}

// On large stock, which has too many places to cut it anew as a whole.
func TestAllThatIsWantedFitsOnLargeStock(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	p := guillotine.Problem{Length: 1_000, Width: 1_000}
	all := int64(0)
	for range 10 {
		k := guillotine.Kind{Length: 40 + r.Int64N(200), Width: 40 + r.Int64N(200), Most: 2 + r.Int64N(3)}
		k.Value = k.Length * k.Width / 10
		all += k.Value * k.Most
		p.Kinds = append(p.Kinds, k)
	}
	if got := proved(t, p); got != all {
		t.Errorf("got %d of %d", got, all)
	}
}

// Stopped at any moment, there is a plan that can be cut and a bound that holds.
func TestStoppedAnywhere(t *testing.T) {
	p := drawn(1, 3, 10, 4)
	for _, after := range []int{0, 1, 2, 5, 20, 60, 150} {
		ctx, stop := context.WithCancel(context.Background())
		if after == 0 {
			stop()
		}
		told := 0
		last := guillotine.Progress{Bound: math.MaxInt64}
		r, err := guillotine.Solve(ctx, p, func(now guillotine.Progress) {
			if told++; told == after {
				stop()
			}
			if now.Value < last.Value || now.Bound > last.Bound || now.Value > now.Bound {
				t.Errorf("after %+v it told %+v", last, now)
			}
			last = now
		})
		stop()
		if err != nil {
			t.Fatal(err)
		}
		value, err := p.Check(r.Plan)
		if err != nil || value != r.Value || r.Bound < r.Value || (r.End == guillotine.Proved) != (r.Gap() == 0) {
			t.Errorf("stopped after %d: %d checked, result %d to %d, %s; %v", after, value, r.Value, r.Bound, r.End, err)
		}
		if after == 0 && r.End != guillotine.Stopped {
			t.Errorf("it ended as %q", r.End)
		}
	}
}

// ending is a context that ends when it is asked the so-many-th time, or is told to, and
// notes what was allocated until then.
type ending struct {
	context.Context
	left, more int // times it is asked until it ends, and after that
	allocated  uint64
}

func (e *ending) Err() error {
	switch {
	case e.left > 1:
		e.left--
		return nil
	case e.left == 1:
		e.end()
	default:
		e.more++
	}
	return context.Canceled
}

func (e *ending) end() { e.left, e.allocated = 0, allocated() }

func allocated() uint64 {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.TotalAlloc
}

// Once it is stopped it begins on nothing more: no table of all parts' sizes is made, and the
// context is hardly asked again.
func TestStoppedAtOnce(t *testing.T) {
	p := class{lo: 5, hi: 15, most: 3}.draw(3)
	p.Length, p.Width = p.Length*4, p.Width*4
	for i := range p.Kinds {
		k := &p.Kinds[i]
		k.Length, k.Width = k.Length*4-int64(i%2), k.Width*4-int64(i%3)
	}
	const table = 8 * 150 * 75 // bytes, of fewer sizes than parts can have
	stopped := func(when string, ctx *ending, progress func(guillotine.Progress)) {
		r, err := guillotine.Solve(ctx, p, progress)
		if err != nil || r.End != guillotine.Stopped {
			t.Fatalf("%s it ended as %q; %v", when, r.End, err)
		}
		if after := allocated() - ctx.allocated; after > table || ctx.more > 6 {
			t.Errorf("stopped %s it allocated %d bytes more, and asked %d times", when, after, ctx.more)
		}
	}
	for left := 1; left < 2_000; left += 1 + left {
		stopped(fmt.Sprintf("when asked %d times", left), &ending{Context: context.Background(), left: left}, nil)
	}
	for _, passing := range []int{1, 30} {
		ctx := &ending{Context: context.Background(), left: math.MaxInt}
		told := 0
		stopped(fmt.Sprintf("when told %d times of a pass", passing), ctx, func(now guillotine.Progress) {
			if now.Kept == 0 || ctx.left == 0 {
				return
			}
			if told++; told == passing {
				ctx.end()
			}
		})
	}
}

// A hundred kinds are more than are told apart: it goes on with some of them.
func TestMoreKindsThanCountsHold(t *testing.T) {
	p := drawn(1, 8, 30, 3)
	for seed := range uint64(4) {
		p.Kinds = append(p.Kinds, drawn(2+seed, 5, 25, 7).Kinds...)
	}
	ctx, stop := context.WithTimeout(context.Background(), time.Second)
	defer stop()
	r, err := guillotine.Solve(ctx, p, nil)
	if err != nil {
		t.Fatal(err)
	}
	if value, err := p.Check(r.Plan); err != nil || value != r.Value || value == 0 || value > r.Bound {
		t.Errorf("%d checked, result %d to %d; %v", value, r.Value, r.Bound, err)
	}
}

func TestTheSameAgain(t *testing.T) {
	one, err := guillotine.Solve(context.Background(), drawn(2, 6, 20, 3), nil)
	if err != nil {
		t.Fatal(err)
	}
	two, err := guillotine.Solve(context.Background(), drawn(2, 6, 20, 3), nil)
	if err != nil {
		t.Fatal(err)
	}
	a, b := one.Plan.Pieces(), two.Plan.Pieces()
	if len(a) != len(b) {
		t.Fatalf("%d pieces, then %d", len(a), len(b))
	}
	for i := range a {
		if *a[i] != *b[i] {
			t.Errorf("piece %d is %+v, then %+v", i, *a[i], *b[i])
		}
	}
}

// What Check must see, each done to a plan that is right.
func TestCheckSeesWhatIsWrong(t *testing.T) {
	p := guillotine.Problem{Length: 20, Width: 15, Kerf: 1, Kinds: []guillotine.Kind{
		{Length: 6, Width: 4, Value: 24, Most: 3}, {Length: 8, Width: 6, Value: 52, Most: 2}, {Length: 7, Width: 5, Value: 36},
	}}
	for name, spoil := range map[string]func(*guillotine.Part){
		"another stock":        func(q *guillotine.Part) { q.Length++ },
		"no kerf":              func(q *guillotine.Part) { q.Cut.Kerf = 0 },
		"a cut moved":          func(q *guillotine.Part) { q.Cut.At++ },
		"a part moved":         func(q *guillotine.Part) { q.Cut.Second.X++; q.Cut.Second.Y++ },
		"a part lost":          func(q *guillotine.Part) { q.Cut.Second = nil },
		"another kind":         func(q *guillotine.Part) { k := q.Pieces()[0]; k.Kind = (k.Kind + 1) % 3 },
		"no such kind":         func(q *guillotine.Part) { q.Pieces()[0].Kind = 3 },
		"turned":               func(q *guillotine.Part) { q.Pieces()[0].Turned = true },
		"waste called a piece": func(q *guillotine.Part) { q.Kind = 0 },
		"nothing cut off": func(q *guillotine.Part) {
			piece := q.Pieces()[0]
			same := *piece
			piece.Kind, piece.Turned, piece.Cut = -1, false, &guillotine.Cut{At: piece.Length, First: &same}
		},
	} {
		r, err := guillotine.Solve(context.Background(), p, nil)
		if err != nil {
			t.Fatal(err)
		}
		spoil(r.Plan)
		if _, err := p.Check(r.Plan); err == nil {
			t.Errorf("%s: Check saw nothing", name)
		}
	}
	r, err := guillotine.Solve(context.Background(), p, nil)
	if err != nil {
		t.Fatal(err)
	}
	fewer := p
	fewer.Kinds = append([]guillotine.Kind(nil), p.Kinds...)
	for i := range fewer.Kinds {
		fewer.Kinds[i].Most = 1
	}
	if _, err := fewer.Check(r.Plan); err == nil {
		t.Error("Check saw no limit broken")
	}
}

func TestRefused(t *testing.T) {
	good := guillotine.Problem{Length: 20, Width: 15, Kinds: []guillotine.Kind{{Length: 6, Width: 4, Value: 24}}}
	for field, spoil := range map[string]func(*guillotine.Problem){
		"length":          func(p *guillotine.Problem) { p.Length = 0 },
		"width":           func(p *guillotine.Problem) { p.Width = guillotine.MaxSide + 1 },
		"kerf":            func(p *guillotine.Problem) { p.Kerf = -1 },
		"kinds[0].length": func(p *guillotine.Problem) { p.Kinds[0].Length = 0 },
		"kinds[0].width":  func(p *guillotine.Problem) { p.Kinds[0].Width = -3 },
		"kinds[0].most":   func(p *guillotine.Problem) { p.Kinds[0].Most = -1 },
		"kinds[0].value":  func(p *guillotine.Problem) { p.Kinds[0].Value = 100_000_000_000_000 }, // times 12.5
	} {
		p := good
		p.Kinds = append([]guillotine.Kind(nil), good.Kinds...)
		spoil(&p)
		_, err := guillotine.Solve(context.Background(), p, nil)
		all, ok := rule.Of(err)
		if !ok || len(all) != 1 || all[0].Field != field || all[0].Value == "" || all[0].Rule == "" || all[0].Hint == "" {
			t.Errorf("%s: got %v", field, err)
		}
	}
	// So many places that no table holds them.
	fine := guillotine.Problem{Length: 46_000, Width: 31_000, Kinds: []guillotine.Kind{{Length: 101, Width: 103, Value: 1}, {Length: 97, Width: 107, Value: 1}}}
	if _, err := guillotine.Solve(context.Background(), fine, nil); err == nil {
		t.Error("too many places were taken")
	}
}

// Nothing overflows where all that fits is worth nearly the most there can be.
func TestLargeValues(t *testing.T) {
	const times = 150_000_000_000 // · a value of 30 · 14 × 14 places is below 10¹⁵
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, 12, true)
		small := proved(t, p)
		for i := range p.Kinds {
			p.Kinds[i].Value *= times
		}
		if large := proved(t, p); large != small*times {
			t.Errorf("%d, and %d with values %d times as large", small, large, int64(times))
		}
	})
}

// A slab of 46 × 31 mm, stones for three markets, a kerf of 0.6 mm: in tenths of a
// millimetre.
func ExampleSolve() {
	p := guillotine.Problem{
		Length: 460, Width: 310, Kerf: 6,
		Kinds: []guillotine.Kind{
			{Length: 140, Width: 100, Value: 48_000, Most: 2, Turns: true},
			{Length: 120, Width: 90, Value: 31_000, Most: 4, Turns: true},
			{Length: 70, Width: 50, Value: 9_500, Turns: true},
		},
	}
	r, err := guillotine.Solve(context.Background(), p, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	value, err := p.Check(r.Plan)
	fmt.Println(r.End, value, err, len(r.Plan.Pieces()))
	// Output: no plan is worth more 353000 <nil> 20
}
