package guillotine_test

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/saw/guillotine"
)

type item struct {
	L, W, Value int64
	Max         *int64
}

func kinds(items []item, turns bool) []guillotine.Kind {
	var out []guillotine.Kind
	for _, it := range items {
		k := guillotine.Kind{Length: it.L, Width: it.W, Value: it.Value, Turns: turns}
		if it.Max != nil {
			k.Most = *it.Max
		}
		out = append(out, k)
	}
	return out
}

func unlimited(p guillotine.Problem) guillotine.Problem {
	p.Kinds = append([]guillotine.Kind(nil), p.Kinds...)
	for i := range p.Kinds {
		p.Kinds[i].Most = 0
	}
	return p
}

func readJSON(t testing.TB, file string, into any) {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatalf("%s: %v", file, err)
	}
}

// proved is the value of the best plan, proved by the search and read anew by Check.
func proved(t rapid.TB, p guillotine.Problem) int64 {
	t.Helper()
	r, err := guillotine.Solve(context.Background(), p, nil)
	if err != nil {
		t.Fatal(err)
	}
	if r.End != guillotine.Proved || r.Gap() != 0 {
		t.Fatalf("%s, the gap is %d", r.End, r.Gap())
	}
	value, err := p.Check(r.Plan)
	if err != nil {
		t.Fatal(err)
	}
	if value != r.Value {
		t.Fatalf("the plan is worth %d, the result says %d", value, r.Value)
	}
	return value
}

func TestPublishedOptima(t *testing.T) {
	var published []struct {
		Name    string
		Stock   struct{ L, W int64 }
		Kerf    int64
		Items   []item
		Optimum map[string]int64
		Source  string
	}
	readJSON(t, "testdata/instances.json", &published)
	own := slices.Clone(published)
	published = nil
	readJSON(t, "testdata/literature.json", &published)
	if published = append(published, own...); len(published) < 26 {
		t.Fatalf("only %d instances", len(published))
	}
	for _, c := range published {
		for what, want := range c.Optimum {
			p := guillotine.Problem{Length: c.Stock.L, Width: c.Stock.W, Kerf: c.Kerf, Kinds: kinds(c.Items, false)}
			switch what {
			case "unconstrained_fixed", "unconstrained_guillotine_fixed":
				p = unlimited(p)
			case "unconstrained_rotatable":
				p = unlimited(guillotine.Problem{Length: p.Length, Width: p.Width, Kerf: c.Kerf, Kinds: kinds(c.Items, true)})
			case "constrained_fixed", "constrained_guillotine_fixed":
			case "constrained_nonguillotine_fixed":
				continue // what can't be sawn; in all of these a sawn plan is worth as much
			default:
				t.Fatalf("%s: what is %q?", c.Name, what)
			}
			t.Run(fmt.Sprintf("%s %s", c.Name, what), func(t *testing.T) {
				if got := proved(t, p); got != want {
					t.Errorf("got %d, published %d (%s)", got, want, c.Source)
				}
			})
		}
	}
}

func TestKerf(t *testing.T) {
	var constructed struct {
		Cases []struct {
			L, W, Kerf, Optimum int64
			Items               []item
		}
	}
	readJSON(t, "testdata/kerf.json", &constructed)
	for _, c := range constructed.Cases {
		p := guillotine.Problem{Length: c.L, Width: c.W, Kerf: c.Kerf, Kinds: kinds(c.Items, false)}
		if got := proved(t, p); got != c.Optimum {
			t.Errorf("kerf %d: got %d, expected %d", c.Kerf, got, c.Optimum)
		}
	}
}
