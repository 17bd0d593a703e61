package view

import (
	"slices"
	"strings"

	"seamshare.example/eventstore"
)

// Register lists all things of some kinds in the order in which they began.
//
//	kind, position of the first record → id
type Register struct{}

// Name implements eventstore.View.
func (Register) Name() string { return "register" }

// Version implements eventstore.View.
func (Register) Version() uint32 { return 1 }

// registered are the kinds that are listed.
var registered = []string{"person", "parcel", "piece", "stone", "lot", "order", "payout", "dispute", "correction", "count"}

// Apply implements eventstore.View.
func (Register) Apply(rows eventstore.Rows, rec eventstore.Record) error {
	kind, id, _ := strings.Cut(string(rec.Stream), "/")
	if rec.Version == 1 && slices.Contains(registered, kind) {
		rows.Set(key(kind, placeOf(rec.Position)), row{}.text(id))
	}
	return nil
}

// List gives the ids of the things of a kind, oldest first.
func (Register) List(r eventstore.Reader, kind, after string, limit int) (things []string, next string, err error) {
	next, err = page(r, table(kind), after, limit, func(_ string, value []byte) error {
		id, err := readText("register", kind, value)
		things = append(things, id)
		return err
	})
	return things, next, err
}

// All gives the ids of all things of a kind, oldest first.
func (v Register) All(r eventstore.Reader, kind string) (things []string, err error) {
	for after, more := "", true; more; more = after != "" {
		var some []string
		if some, after, err = v.List(r, kind, after, MaxPage); err != nil {
			return nil, err
		}
		things = append(things, some...)
	}
	return things, nil
}
