// Package stock holds the safe: who holds what where, what was found when it was
// counted, and what was found out about exceptions.
//
// Deciding functions return what happened or a refusal (package rule); Evolve functions
// assign and never refuse. All of it is pure.
package stock

import (
	"fmt"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/rule"

	stockv1 "seamshare.example/proto/gen/seamshare/event/stock/v1"
)

// Custody is who holds a thing, and where. Rules:
//
//  1. A thing that is there is held by a member who stands, at a place with a name.
type Custody struct {
	Thing  string // a stream
	Holder string // a member
	Place  string
}

// Move says who holds the thing now, and where (rule 1).
func (c Custody) Move(thing, holder, place, person string) (*stockv1.Event, error) {
	var broken rule.All
	broken.Text("place", place, 80)
	if c.Holder == holder && c.Place == place {
		broken.Add(rule.Broken{Reason: rule.AlreadyThere, Field: "place", Value: place, Rule: "it is there already", Hint: "nothing needs to be done"})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &stockv1.Event{Event: &stockv1.Event_Moved{Moved: &stockv1.Moved{
		Public: &stockv1.Moved_Public{}, Private: &stockv1.Moved_Private{Thing: thing, HolderId: holder, Place: place, MovedBy: person},
	}}}, nil
}

// EvolveCustody folds one event.
func EvolveCustody(c Custody, e *stockv1.Event) Custody {
	if m := e.GetMoved().GetPrivate(); m != nil {
		c = Custody{Thing: m.GetThing(), Holder: m.GetHolderId(), Place: m.GetPlace()}
	}
	return c
}

// Count is a count at a place. Rules:
//
//  1. A count is recorded once, with at least one thing that should be there or was found.
//  2. Each thing is counted once, of a piece each part; the caller, who knows the parts, holds to it.
type Count struct {
	ID    string
	Place string
	Found []Found
	// Strange are things that belong elsewhere.
	Strange []string
}

// Found is a thing that should be there.
type Found struct {
	Thing      string
	There      bool
	Weighing   *eventv1.Weighing // nil where it wasn't weighed
	ExpectedUg int64             // what it should weigh; 0 where that isn't known
	// How many there are of a counted lot, and should be; 0 where it is none.
	Count, ExpectedCount uint32
}

// Differs tells whether it isn't as the books say.
func (f Found) Differs() bool { return f.DifferenceUg() != 0 || f.Count != f.ExpectedCount }

// DifferenceUg is what the scale says above the books; zero where it wasn't weighed.
func (f Found) DifferenceUg() int64 {
	if f.Weighing == nil || f.ExpectedUg == 0 {
		return 0
	}
	return f.Weighing.GetMassUg() - f.ExpectedUg
}

// MaxFound is how many things one count may hold.
const MaxFound = 1000

// Take records the count (rule 1).
func (c Count) Take(id, place, person, note string, found []Found, strange []string) (*stockv1.Event, error) {
	if c.ID != "" {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: c.ID, Rule: "a count is recorded once", Hint: "look it up under this id"}
	}
	var broken rule.All
	broken.Text("place", place, 80)
	if note != "" {
		broken.Text("note", note, 200)
	}
	if n := len(found) + len(strange); n < 1 || n > MaxFound {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "found", Value: fmt.Sprint(n), Rule: fmt.Sprintf("a count is of 1 to %d things", MaxFound), Hint: "count a smaller place"})
	}
	counted := &stockv1.Counted_Private{Place: place, CountedBy: person, Note: note, Strange: strange}
	for i, f := range found {
		if f.Weighing != nil {
			broken.Weighing(fmt.Sprintf("found[%d].weighing", i), f.Weighing)
		}
		counted.Found = append(counted.Found, &stockv1.Found{
			Thing: f.Thing, There: f.There, Weighing: f.Weighing, ExpectedUg: f.ExpectedUg, Count: f.Count, ExpectedCount: f.ExpectedCount,
		})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &stockv1.Event{Event: &stockv1.Event_Counted{Counted: &stockv1.Counted{Public: &stockv1.Counted_Public{CountId: id}, Private: counted}}}, nil
}

// EvolveCount folds one event.
func EvolveCount(c Count, e *stockv1.Event) Count {
	if p := e.GetCounted(); p != nil {
		c = Count{ID: p.GetPublic().GetCountId(), Place: p.GetPrivate().GetPlace(), Strange: p.GetPrivate().GetStrange()}
		for _, f := range p.GetPrivate().GetFound() {
			c.Found = append(c.Found, Found{f.GetThing(), f.GetThere(), f.GetWeighing(), f.GetExpectedUg(), f.GetCount(), f.GetExpectedCount()})
		}
	}
	return c
}

// Looked is what was found out about an exception. Rules:
//
//  1. An exception is closed once, with a note.
type Looked struct {
	Closed bool
	Note   string
	By     string
}

// Close says what was found out (rule 1).
func (l Looked) Close(id, person, note string) (*stockv1.Event, error) {
	if l.Closed {
		return nil, rule.Broken{Reason: rule.AlreadyClosed, Field: "exception_id", Value: id, Rule: "the exception was looked into before", Hint: "read its note"}
	}
	var broken rule.All
	broken.Text("note", note, 500)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &stockv1.Event{Event: &stockv1.Event_ExceptionClosed{ExceptionClosed: &stockv1.ExceptionClosed{
		Public: &stockv1.ExceptionClosed_Public{}, Private: &stockv1.ExceptionClosed_Private{ExceptionId: id, ClosedBy: person, Note: note},
	}}}, nil
}

// EvolveLooked folds one event.
func EvolveLooked(l Looked, e *stockv1.Event) Looked {
	if p := e.GetExceptionClosed().GetPrivate(); p != nil {
		l = Looked{true, p.GetNote(), p.GetClosedBy()}
	}
	return l
}
