package share_test

import (
	"encoding/json"
	"fmt"
	"os"
	"slices"
	"testing"

	"seamshare.example/services/domain/share"
)

func readJSON(t *testing.T, file string, into any) {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatalf("%s: %v", file, err)
	}
}

func TestLargestRemainderAsPublished(t *testing.T) {
	var published struct {
		Cases []struct {
			Name                   string
			Seats                  int64
			Weights, Lower, Result []int64
		}
	}
	readJSON(t, "testdata/largest_remainder.json", &published)
	if len(published.Cases) < 6 {
		t.Fatalf("only %d cases", len(published.Cases))
	}
	for _, c := range published.Cases {
		t.Run(c.Name, func(t *testing.T) {
			got, err := share.LargestRemainder(c.Weights, c.Seats)
			if err != nil {
				t.Fatal(err)
			}
			if !slices.Equal(got, c.Result) {
				t.Errorf("got %v, published %v", got, c.Result)
			}
			for i, lower := range c.Lower {
				if got[i] != lower && got[i] != lower+1 {
					t.Errorf("party %d has %d, outside its quota of %d or %d", i, got[i], lower, lower+1)
				}
			}
		})
	}
}

// Salaries and interest are recoup tiers of a fixed amount, the rest is a split. An
// income too small for them would have the partners share a deficiency, which this
// model doesn't do: there the pour stops, and what is missing stays open.
func TestPartnershipIncomeAsPublished(t *testing.T) {
	var published struct {
		Cases []struct {
			Name                                string
			Salaries, Interest, Ratio, Expected []int64
			Income                              int64
		}
	}
	readJSON(t, "testdata/partnership.json", &published)
	fitting, short := 0, 0
	for _, c := range published.Cases {
		a := share.Agreement{Currency: "USD"}
		rest := share.Split{}
		var fixed int64
		for i := range c.Ratio {
			id := fmt.Sprintf("partner %d", i+1)
			a.Parties = append(a.Parties, share.Party{ID: id, Role: "partner"})
			rest.Ratios = append(rest.Ratios, share.Ratio{Party: id, Weight: c.Ratio[i]})
			for _, amount := range []int64{c.Salaries[i], c.Interest[i]} {
				a.Tiers = append(a.Tiers, share.Recoup{To: id, Target: share.FixedAmount{Amount: amount}})
				fixed += amount
			}
		}
		a.Tiers = append(a.Tiers, rest)
		at := share.Totals{Sales: share.Received{Amount: c.Income}}
		if fixed <= c.Income {
			fitting++
			t.Run(c.Name, func(t *testing.T) {
				s := entitlement(t, a, at)
				for i, p := range s.Parties {
					if p.Total() != c.Expected[i] {
						t.Errorf("partner %d has %d, published %d", i+1, p.Total(), c.Expected[i])
					}
				}
			})
			continue
		}
		short++
		t.Run(c.Name+": outside the model, what is missing stays open", func(t *testing.T) {
			var open, paid int64
			s := entitlement(t, a, at)
			for _, tier := range s.Tiers {
				open += tier.Open()
			}
			for _, p := range s.Parties {
				paid += p.Total()
			}
			if open != fixed-c.Income || paid != c.Income {
				t.Errorf("open %d and paid %d, want %d and %d", open, paid, fixed-c.Income, c.Income)
			}
		})
	}
	if fitting < 3 || short < 1 {
		t.Errorf("%d cases fit and %d don't; the file should have at least 3 and 1", fitting, short)
	}
}

// The two properties Balinski and Young (1975) prove of the quota method, on every
// ratio of three and four small weights: it is house monotone and satisfies quota.
func TestQuotaHasTheProvenProperties(t *testing.T) {
	check := func(weights ...int64) {
		var whole int64
		for _, w := range weights {
			whole += w
		}
		before := make([]int64, len(weights))
		for n := int64(1); n <= 2*whole+1; n++ {
			got, err := share.Quota(weights, n)
			if err != nil {
				t.Fatal(err)
			}
			var sum int64
			for i, w := range weights {
				sum += got[i]
				if got[i] < before[i] {
					t.Fatalf("%v: unit %d takes one back from party %d (%v after %v)", weights, n, i, got, before)
				}
				if lower, upper := n*w/whole, (n*w+whole-1)/whole; got[i] < lower || got[i] > upper {
					t.Fatalf("%v: after %d units party %d has %d, outside its quota of %d to %d", weights, n, i, got[i], lower, upper)
				}
			}
			if sum != n {
				t.Fatalf("%v: %d units given of %d", weights, sum, n)
			}
			before = got
		}
	}
	for a := int64(1); a <= 9; a++ {
		for b := int64(1); b <= 9; b++ {
			for c := int64(1); c <= 9; c++ {
				check(a, b, c)
				check(a, b, c, 1)
				check(a, b, c, 7)
			}
		}
	}
}

// The tie rule is this package's own: the first in the list comes first.
func TestLargestRemainderTies(t *testing.T) {
	for total, want := range [][]int64{{0, 0, 0, 0}, {1, 0, 0, 0}, {1, 1, 0, 0}, {1, 1, 0, 1}, {2, 1, 0, 1}} {
		got, err := share.LargestRemainder([]int64{1, 1, 0, 1}, int64(total))
		if err != nil || !slices.Equal(got, want) {
			t.Errorf("%d divided as %v (%v), want %v", total, got, err, want)
		}
	}
}

func TestThreeThreeOne(t *testing.T) {
	weights := []int64{3, 3, 1}
	t.Run("largest remainder on a running total takes a unit back", func(t *testing.T) {
		three, _ := share.LargestRemainder(weights, 3)
		four, _ := share.LargestRemainder(weights, 4)
		if !slices.Equal(three, []int64{1, 1, 1}) || !slices.Equal(four, []int64{2, 2, 0}) {
			t.Errorf("got %v and %v, want 1,1,1 and 2,2,0", three, four)
		}
	})
	t.Run("the quota method doesn't", func(t *testing.T) {
		want := [][]int64{{0, 0, 0}, {1, 0, 0}, {1, 1, 0}, {2, 1, 0}, {2, 2, 0}, {2, 2, 1}, {3, 2, 1}, {3, 3, 1}, {4, 3, 1}}
		for n, w := range want {
			got, err := share.Quota(weights, int64(n))
			if err != nil || !slices.Equal(got, w) {
				t.Errorf("after %d units %v (%v), want %v", n, got, err, w)
			}
		}
	})
}
