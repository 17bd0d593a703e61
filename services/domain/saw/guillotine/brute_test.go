package guillotine_test

import (
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/saw/guillotine"
)

// drawProblem draws one small enough for the slow ways below.
func drawProblem(t *rapid.T, side int64, limits bool) guillotine.Problem {
	p := guillotine.Problem{
		Length: rapid.Int64Range(1, side).Draw(t, "length"),
		Width:  rapid.Int64Range(1, side).Draw(t, "width"),
		Kerf:   rapid.Int64Range(0, 2).Draw(t, "kerf"),
	}
	for range rapid.IntRange(0, 4).Draw(t, "kinds") {
		k := guillotine.Kind{
			Length: rapid.Int64Range(1, side).Draw(t, "kind's length"),
			Width:  rapid.Int64Range(1, side).Draw(t, "kind's width"),
			Value:  rapid.Int64Range(0, 30).Draw(t, "value"),
			Turns:  rapid.Bool().Draw(t, "turns"),
		}
		if limits {
			k.Most = rapid.Int64Range(0, 2).Draw(t, "most")
		}
		p.Kinds = append(p.Kinds, k)
	}
	return p
}

// slow tries every cut at every whole unit, and every way to share out what is left of
// each kind between the two parts: plain recursion with the kerf as it is, no points, no
// bounds. left is changed and put back.
func slow(p guillotine.Problem, l, w int64, left []int64, memo map[string]int64) int64 {
	key := string(append(append([]byte{}, byte(l), byte(w)), bytesOf(left)...))
	if v, ok := memo[key]; ok {
		return v
	}
	var best int64
	for i, k := range p.Kinds {
		if left[i] != 0 && (k.Length <= l && k.Width <= w || k.Turns && k.Width <= l && k.Length <= w) {
			best = max(best, k.Value)
		}
	}
	share(left, make([]int64, len(left)), 0, func(one, two []int64) {
		for x := int64(1); x < l; x++ {
			sum := slow(p, x, w, one, memo)
			if l-x-p.Kerf > 0 {
				sum += slow(p, l-x-p.Kerf, w, two, memo)
			}
			best = max(best, sum)
		}
		for y := int64(1); y < w; y++ {
			sum := slow(p, l, y, one, memo)
			if w-y-p.Kerf > 0 {
				sum += slow(p, l, w-y-p.Kerf, two, memo)
			}
			best = max(best, sum)
		}
	})
	memo[key] = best
	return best
}

func bytesOf(n []int64) []byte {
	b := make([]byte, len(n))
	for i, x := range n {
		b[i] = byte(x)
	}
	return b
}

// share visits each way to share out; -1 is no limit, on both sides.
func share(left, one []int64, at int, visit func(one, two []int64)) {
	if at == len(left) {
		two := make([]int64, len(left))
		for i := range two {
			if two[i] = -1; left[i] >= 0 {
				two[i] = left[i] - one[i]
			}
		}
		visit(append([]int64{}, one...), two)
		return
	}
	if left[at] < 0 {
		one[at] = -1
		share(left, one, at+1, visit)
		return
	}
	for n := int64(0); n <= left[at]; n++ {
		one[at] = n
		share(left, one, at+1, visit)
	}
}

func limits(p guillotine.Problem) []int64 {
	left := make([]int64, len(p.Kinds))
	for i, k := range p.Kinds {
		if left[i] = k.Most; k.Most == 0 {
			left[i] = -1
		}
	}
	return left
}

func TestAsGoodAsEveryCutTried(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, 9, true)
		want := slow(p, p.Length, p.Width, limits(p), map[string]int64{})
		if got := proved(t, p); got != want {
			t.Errorf("got %d, every cut tried gives %d", got, want)
		}
	})
}

// Many small pieces of several kinds, few of each: most of them fit, and the limits decide.
func TestSmallKindsAsGoodAsEveryCutTried(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := guillotine.Problem{
			Length: rapid.Int64Range(5, 9).Draw(t, "length"),
			Width:  rapid.Int64Range(5, 7).Draw(t, "width"),
			Kerf:   rapid.Int64Range(0, 2).Draw(t, "kerf"),
		}
		shares := int64(1)
		for shares < 24 {
			k := guillotine.Kind{
				Length: rapid.Int64Range(1, 4).Draw(t, "kind's length"),
				Width:  rapid.Int64Range(1, 4).Draw(t, "kind's width"),
				Most:   rapid.Int64Range(1, 3).Draw(t, "most"),
				Turns:  rapid.Bool().Draw(t, "turns"),
			}
			k.Value = 10*k.Length*k.Width + rapid.Int64Range(0, 9).Draw(t, "more")
			shares *= k.Most + 1
			p.Kinds = append(p.Kinds, k)
		}
		want := slow(p, p.Length, p.Width, limits(p), map[string]int64{})
		if got := proved(t, p); got != want {
			t.Errorf("got %d, every cut tried gives %d", got, want)
		}
	})
}

// The stock is itself a kind, worth about as much as what else could be cut from it.
func TestStockThatIsAKindAsGoodAsEveryCutTried(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := guillotine.Problem{
			Length: rapid.Int64Range(4, 9).Draw(t, "length"),
			Width:  rapid.Int64Range(4, 9).Draw(t, "width"),
			Kerf:   rapid.Int64Range(0, 2).Draw(t, "kerf"),
		}
		for range rapid.IntRange(1, 4).Draw(t, "kinds") {
			k := guillotine.Kind{
				Length: rapid.Int64Range(1, p.Length).Draw(t, "kind's length"),
				Width:  rapid.Int64Range(1, p.Width).Draw(t, "kind's width"),
				Most:   rapid.Int64Range(1, 2).Draw(t, "most"),
				Turns:  rapid.Bool().Draw(t, "turns"),
			}
			k.Value = 10*k.Length*k.Width + rapid.Int64Range(0, 30).Draw(t, "more")
			p.Kinds = append(p.Kinds, k)
		}
		all := guillotine.Kind{Length: p.Length, Width: p.Width, Most: 1}
		if rapid.Bool().Draw(t, "turned") {
			all.Length, all.Width, all.Turns = all.Width, all.Length, true
		}
		all.Value = p.Length * p.Width * rapid.Int64Range(5, 11).Draw(t, "value for area")
		p.Kinds = append(p.Kinds, all)
		want := slow(p, p.Length, p.Width, limits(p), map[string]int64{})
		if got := proved(t, p); got != want {
			t.Errorf("got %d, every cut tried gives %d", got, want)
		}
	})
}

func TestAsGoodAsThePlainProgramme(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, 40, false)
		want := slow(p, p.Length, p.Width, limits(p), map[string]int64{})
		if got := proved(t, p); got != want {
			t.Errorf("got %d, the plain programme gives %d", got, want)
		}
	})
}

func TestMoreKerfIsNeverWorthMore(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, 30, true)
		less := proved(t, p)
		p.Kerf += rapid.Int64Range(1, 3).Draw(t, "more kerf")
		if more := proved(t, p); more > less {
			t.Errorf("%d with kerf %d, %d with less", more, p.Kerf, less)
		}
	})
}
