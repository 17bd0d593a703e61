// Package stage holds the form of a state table: which states a thing can be in and who
// moves it from one to another by which command. The tables stand beside the rules
// that they describe; tests drive every pair of state and command through gRPC and
// hold the rules to the tables, and the pictures in DEVELOPERS.md are drawn from them.
package stage

import (
	"fmt"
	"slices"
	"strings"
)

// None is the state of a thing to which nothing has happened.
const None = ""

// Table is a thing's life.
type Table struct {
	Thing  string   // "parcel"
	States []string // in the order of a usual life, None left out
	Rows   []Row
}

// Row is one move. What isn't in a row is refused.
type Row struct {
	From string
	Do   string // the rpc, as "MinerService/PublishParcel", or "time" where a moment passes
	By   string // who, in words: "the seller", "a second person of the desk"
	To   string // the state after; From itself where the state stays
	// If says when, where the same command can lead to several states.
	If string
	// Needs is what must hold besides the state.
	Needs string
	// Moves says what goes with it: custody, title, money; empty: nothing.
	Moves string
}

// Allows tells whether a command may be done in a state.
func (t Table) Allows(from, do string) bool {
	return slices.ContainsFunc(t.Rows, func(r Row) bool { return r.From == from && r.Do == do })
}

// Leads tells whether a command may lead from one state to another.
func (t Table) Leads(from, do, to string) bool {
	return slices.ContainsFunc(t.Rows, func(r Row) bool { return r.From == from && r.Do == do && r.To == to })
}

// Commands lists the table's commands, "time" left out.
func (t Table) Commands() (out []string) {
	for _, r := range t.Rows {
		if r.Do != "time" && !slices.Contains(out, r.Do) {
			out = append(out, r.Do)
		}
	}
	return out
}

// Check finds mistakes in the table itself: unknown states, states that can't be
// reached, the same row twice.
func (t Table) Check() error {
	reached := map[string]bool{}
	for i, r := range t.Rows {
		for _, s := range []string{r.From, r.To} {
			if s != None && !slices.Contains(t.States, s) {
				return fmt.Errorf("table of %s, row %d: there is no state %q", t.Thing, i+1, s)
			}
		}
		if r.Do == "" || r.By == "" {
			return fmt.Errorf("table of %s, row %d: it says not what is done, or by whom", t.Thing, i+1)
		}
		if strings.ContainsAny(r.If, ":;#\n") {
			return fmt.Errorf("table of %s, row %d: a picture can't write %q", t.Thing, i+1, r.If)
		}
		// Whatever their Ifs: a test that saw one of two such rows couldn't tell that it wasn't the other.
		if slices.ContainsFunc(t.Rows[:i], func(o Row) bool { return o.From == r.From && o.Do == r.Do && o.To == r.To }) {
			return fmt.Errorf("table of %s, row %d: it stands twice", t.Thing, i+1)
		}
		reached[r.To] = true
	}
	for _, s := range t.States {
		if !reached[s] {
			return fmt.Errorf("table of %s: nothing leads to state %q", t.Thing, s)
		}
	}
	return nil
}

// Picture draws the table as a Mermaid state diagram. A state's name in it may have neither
// spaces nor hyphens.
func (t Table) Picture() string {
	name := func(s string) string {
		if s == None {
			return "[*]"
		}
		return strings.NewReplacer(" ", "_", "-", "_").Replace(s)
	}
	var b strings.Builder
	b.WriteString("stateDiagram-v2\n")
	for _, s := range t.States {
		if name(s) != s {
			fmt.Fprintf(&b, "    state %q as %s\n", s, name(s))
		}
	}
	for _, r := range t.Rows {
		do := r.Do[strings.IndexByte(r.Do, '/')+1:]
		if r.If != "" {
			do += " (" + r.If + ")"
		}
		fmt.Fprintf(&b, "    %s --> %s: %s\n", name(r.From), name(r.To), do)
	}
	return b.String()
}

// Markdown writes the table for a page.
func (t Table) Markdown() string {
	var b strings.Builder
	b.WriteString("| from | what | by | to | needs | what moves |\n|---|---|---|---|---|---|\n")
	for _, r := range t.Rows {
		do := r.Do[strings.IndexByte(r.Do, '/')+1:]
		if r.If != "" {
			do += ", " + r.If
		}
		from := r.From
		if from == None {
			from = "–"
		}
		fmt.Fprintf(&b, "| %s | %s | %s | %s | %s | %s |\n", from, do, r.By, r.To, r.Needs, r.Moves)
	}
	return b.String()
}
