// Package tablestest holds the services to the state tables of the domain. For each thing
// it has recipes: how a fresh thing comes into each state, how each command is called
// rightly, and how the state is read, all through gRPC. The driver tries every command
// in every state: what a row allows must succeed and lead where a row says, everything
// else must be refused and change nothing.
//
// A state or a command without a recipe fails, and so does a table of the domain of
// which nothing is here. An area's file has a list of Things:
//
//	type claim struct{ id string }
//
//	Thing[claim]{
//		Table: member.ClaimTable,
//		In: map[string][]Recipe[claim]{
//			stage.None: {{Make: func(*World) claim { return claim{"nothing"} }}},
//			"open":     {{Make: recordClaim}},
//			"closed":   {{Make: func(w *World) claim { c := recordClaim(w); _, err := closeClaim(w, c); w.Must(err); return c }}},
//		},
//		Do: map[string][]Call[claim]{
//			"MinerService/RecordClaim": {{Fresh: true, Do: …}},
//			"MinerService/CloseClaim":  {{Do: closeClaim}},
//		},
//		State: func(w *World, c claim) string { … },
//	}
package tablestest

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"seamshare.example/services/domain/stage"
)

// Time is the command of rows in which a moment passes.
const Time = "time"

// Thing is a table and its recipes. X is what they know of one such thing: ids, mostly.
type Thing[X any] struct {
	Table stage.Table
	// In has ways to bring a fresh thing into each state, each a whole life of its own.
	// Several where what a command leads to depends on that life. stage.None is there too:
	// what must stand before the thing exists, with an id that is nobody's.
	In map[string][]Recipe[X]
	// Do has valid calls of each command; several where its arguments decide what it leads to.
	Do map[string][]Call[X]
	// Apart are commands that are tried in the states that their calls name only, as in others
	// they are of no concern to the thing, with the reason.
	Apart map[string]string
	// State reads where a thing stands; stage.None where there is none.
	State func(*World, X) string
}

// Recipe brings a fresh thing into a state.
type Recipe[X any] struct {
	Name string // "paid before the handover"; empty where there is one
	Make func(*World) X
}

// Call is one valid call of a command by the one who may.
type Call[X any] struct {
	Name string // empty where there is one
	// In names the states in which the call is tried; none: all. For calls that are right
	// in some states only, where another call of the command stands for the rest.
	In []string
	// With names the recipes that it is tried after where the state is allowed; none: all.
	With []string
	// Fresh: it makes a new thing whatever else there is, so it is tried in stage.None only.
	Fresh bool
	// Do calls, and gives the thing as it is known afterwards.
	Do func(*World, X) (X, error)
}

// Trial is a Thing without its type.
type Trial interface {
	// About is the thing's table.
	About() stage.Table
	// Run tries it all.
	Run(t *testing.T)
	// Ready makes a thing on which the command may be done, and gives the call of it; nil
	// where the table hasn't the command.
	Ready(w *World, do string) func() error
	// Bring brings a fresh thing into a state by one of its recipes; choose gives a number
	// below the one it gets.
	Bring(w *World, state string, choose func(int) int)
}

// All are the trials of all areas.
func All() []Trial {
	return slices.Concat(minerTrials(), benchTrials(), jewellerTrials(), deskTrials())
}

// About is the thing's table.
func (x Thing[X]) About() stage.Table { return x.Table }

// Run tries every command in every state.
func (x Thing[X]) Run(t *testing.T) {
	if err := x.Table.Check(); err != nil {
		t.Fatal(err)
	}
	if gaps := x.gaps(); len(gaps) > 0 {
		t.Fatalf("%s isn't tried whole:\n%s", x.Table.Thing, strings.Join(gaps, "\n"))
	}
	traffic := &Traffic{}
	w := NewWorld(t, traffic.Dial())
	w.watch(traffic)
	for _, from := range append([]string{stage.None}, x.Table.States...) {
		t.Run("in "+named(from), func(t *testing.T) {
			for _, do := range x.commands() {
				t.Run(do, func(t *testing.T) { x.try(t, w, from, do) })
			}
		})
	}
}

// Ready makes a thing for which a command is allowed, and gives the call.
func (x Thing[X]) Ready(w *World, do string) func() error {
	for _, r := range x.Table.Rows {
		if r.Do != do {
			continue
		}
		for _, recipe := range x.In[r.From] {
			for _, call := range x.Do[do] {
				if call.Fresh && r.From != stage.None || len(call.In) > 0 && !slices.Contains(call.In, r.From) ||
					len(call.With) > 0 && !slices.Contains(call.With, recipe.Name) {
					continue
				}
				made := recipe.Make(w)
				x.State(w, made)
				return func() error {
					_, err := call.Do(w, made)
					return err
				}
			}
		}
	}
	return nil
}

// Bring brings a fresh thing into a state.
func (x Thing[X]) Bring(w *World, state string, choose func(int) int) {
	if ways := x.In[state]; len(ways) > 0 {
		x.State(w, ways[choose(len(ways))].Make(w))
	}
}

// commands are all of the table, the passing of time too where it moves something.
func (x Thing[X]) commands() []string {
	all := x.Table.Commands()
	if slices.ContainsFunc(x.Table.Rows, func(r stage.Row) bool { return r.Do == Time }) {
		all = append(all, Time)
	}
	return all
}

// gaps are what has no recipe, and recipes of what isn't there.
func (x Thing[X]) gaps() (gaps []string) {
	states := append([]string{stage.None}, x.Table.States...)
	for _, s := range states {
		if len(x.In[s]) == 0 {
			gaps = append(gaps, fmt.Sprintf("no recipe brings one into state %q", s))
		}
	}
	for _, do := range x.commands() {
		if len(x.Do[do]) == 0 {
			gaps = append(gaps, fmt.Sprintf("no call of %s", do))
		}
	}
	for _, s := range slices.Sorted(maps.Keys(x.In)) {
		if !slices.Contains(states, s) {
			gaps = append(gaps, fmt.Sprintf("a recipe is for state %q, which isn't in the table", s))
		}
	}
	for _, do := range slices.Sorted(maps.Keys(x.Do)) {
		if !slices.Contains(x.commands(), do) {
			gaps = append(gaps, fmt.Sprintf("a call is of %s, which isn't in the table", do))
		}
	}
	for do, why := range x.Apart {
		if why == "" || !slices.Contains(x.commands(), do) {
			gaps = append(gaps, fmt.Sprintf("%s is said to be apart in some states, but not why, or it isn't in the table", do))
		}
	}
	if x.State == nil {
		gaps = append(gaps, "nothing reads its state")
	}
	return gaps
}

// try calls one command in one state, in all ways.
func (x Thing[X]) try(t *testing.T, w *World, from, do string) {
	outer := w.T
	defer func() { w.T = outer }()
	allowed := x.Table.Allows(from, do)
	reached := map[string]bool{}
	tried := false
	for _, recipe := range x.In[from] {
		for _, call := range x.Do[do] {
			if call.Fresh && from != stage.None || len(call.In) > 0 && !slices.Contains(call.In, from) ||
				allowed && len(call.With) > 0 && !slices.Contains(call.With, recipe.Name) {
				continue
			}
			tried = true
			t.Run(strings.TrimSpace(recipe.Name+" "+call.Name), func(t *testing.T) {
				w.T = t
				made := recipe.Make(w)
				if is := x.State(w, made); is != from {
					t.Fatalf("the recipe leads to state %s, not to %s", named(is), named(from))
				}
				if do == Time {
					x.wait(t, w, made, from, call, reached)
					return
				}
				before := w.Node.Checkpoint()
				after, err := call.Do(w, made)
				if !allowed {
					x.refused(t, w, made, from, err)
					if now := w.Node.Checkpoint(); now.Position != before.Position {
						t.Errorf("%d records were written all the same", now.Position-before.Position)
					}
					return
				}
				if err != nil {
					t.Fatalf("a row allows it, but: %v", err)
				}
				to := x.State(w, after)
				if !x.Table.Leads(from, do, to) {
					t.Fatalf("it leads to %s, which no row says", named(to))
				}
				reached[to] = true
			})
		}
	}
	makesNew := !slices.ContainsFunc(x.Do[do], func(c Call[X]) bool { return !c.Fresh })
	if !tried && (allowed || !makesNew && x.Apart[do] == "") {
		t.Fatalf("no call of it is tried here; a row allows it: %v", allowed)
	}
	if !allowed {
		return
	}
	for _, r := range x.Table.Rows {
		if r.From == from && r.Do == do && !reached[r.To] && !t.Failed() {
			t.Errorf("a row says that it leads to %s (%s), but no recipe gets there", named(r.To), r.If)
		}
	}
}

// wait lets a moment pass.
func (x Thing[X]) wait(t *testing.T, w *World, made X, from string, call Call[X], reached map[string]bool) {
	after, err := call.Do(w, made)
	if err != nil {
		t.Fatal(err)
	}
	to := x.State(w, after)
	if x.Table.Allows(from, Time) {
		if !x.Table.Leads(from, Time, to) {
			t.Fatalf("time leads to %s, which no row says", named(to))
		}
		reached[to] = true
	} else if to != from {
		t.Errorf("time leads to %s, and no row says so", named(to))
	}
}

// refused holds a refusal to its form: not now, or no such thing for you.
func (x Thing[X]) refused(t *testing.T, w *World, made X, from string, err error) {
	t.Helper()
	switch status.Code(err) {
	case codes.OK:
		t.Errorf("no row allows it, but it was done, and leads to %s", named(x.State(w, made)))
		return
	case codes.FailedPrecondition, codes.NotFound:
	default:
		t.Errorf("it was refused as %v, not for the thing's state: %v", status.Code(err), err)
	}
	if is := x.State(w, made); is != from {
		t.Errorf("it was refused, but the thing is now %s", named(is))
	}
}

func named(state string) string {
	if state == stage.None {
		return "nothing yet"
	}
	return state
}
