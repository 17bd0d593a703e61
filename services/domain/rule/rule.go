// Package rule is how the domain says no: which rule a request breaks, where, and
// what to do about it. It knows nothing of transports; services map a Kind to
// their own codes in one place.
package rule

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// Kind tells what the caller can do about a refusal.
type Kind int

// The kinds, the one that decides for several violations first.
const (
	// Denied: the caller may not do this.
	Denied Kind = iota + 1
	// Missing: the thing does not exist, or does not for this caller.
	Missing
	// Changed: the thing is no longer as the caller saw it. Look again.
	Changed
	// Invalid: the request is wrong whatever has happened. Put it right.
	Invalid
	// State: the request would be right at another time. Something must happen first.
	State
	// Taken: there is such a thing already. Use that one.
	Taken
)

// Broken is one rule that a request breaks.
type Broken struct {
	Reason Reason
	Field  string // path in the request: "pieces[2].weighing.mass_ug"; empty where no single field is to blame
	Value  string // what stands there, as a person would write it
	Rule   string // what holds
	Hint   string // what to do
}

func (b Broken) Error() string {
	var text strings.Builder
	if b.Field != "" {
		text.WriteString(b.Field)
		if b.Value != "" {
			fmt.Fprintf(&text, " is %s", b.Value)
		}
		text.WriteString(": ")
	} else if b.Value != "" {
		fmt.Fprintf(&text, "%s: ", b.Value)
	}
	text.WriteString(b.Rule)
	if b.Hint != "" {
		text.WriteString("; ")
		text.WriteString(b.Hint)
	}
	return text.String()
}

// Kind is the kind of the rule's reason.
func (b Broken) Kind() Kind { return b.Reason.Kind() }

// All is every rule a request breaks at once, so that a person can put all of it
// right in one go. As an error it is never empty.
type All []Broken

// Add notes one more.
func (a *All) Add(b Broken) { *a = append(*a, b) }

// Merge notes what err holds, with fields below path, but nothing more of a field of
// which something is noted already. An error that is no refusal is given back.
func (a *All) Merge(path string, err error) error {
	if err == nil {
		return nil
	}
	found, ok := Of(err)
	if !ok {
		return err
	}
	before := *a
	for _, b := range found {
		b.Field = join(path, b.Field)
		if !before.noted(b.Field) {
			*a = append(*a, b)
		}
	}
	return nil
}

// noted reports whether something is noted of a field or of what lies below it.
func (a All) noted(field string) bool {
	return field != "" && slices.ContainsFunc(a, func(b Broken) bool {
		return b.Field == field || strings.HasPrefix(b.Field, field+".")
	})
}

func join(path, field string) string {
	if path == "" || field == "" {
		return path + field
	}
	return path + "." + field
}

// Err is nil, or the violations as an error.
func (a All) Err() error {
	if len(a) == 0 {
		return nil
	}
	return a
}

// maxLines keeps the text of a listing in which everything is wrong readable.
const maxLines = 8

func (a All) Error() string {
	lines := make([]string, 0, maxLines+1)
	for _, b := range a[:min(len(a), maxLines)] {
		lines = append(lines, b.Error())
	}
	if more := len(a) - maxLines; more > 0 {
		lines = append(lines, fmt.Sprintf("and %d more", more))
	}
	return strings.Join(lines, "; ")
}

// Unwrap lets errors.As find the first Broken.
func (a All) Unwrap() []error {
	all := make([]error, len(a))
	for i, b := range a {
		all[i] = b
	}
	return all
}

// Kind is the kind that decides: the first in the order of the constants.
func (a All) Kind() Kind {
	kind := Taken
	for _, b := range a {
		kind = min(kind, b.Kind())
	}
	return kind
}

// First is the violation that decides the Kind; its reason stands for all.
func (a All) First() Broken {
	for _, b := range a {
		if b.Kind() == a.Kind() {
			return b
		}
	}
	return Broken{}
}

// Of finds the refusal in an error, if it is one.
func Of(err error) (All, bool) {
	var all All
	if errors.As(err, &all) {
		return all, true
	}
	var one Broken
	if errors.As(err, &one) {
		return All{one}, true
	}
	return nil, false
}
