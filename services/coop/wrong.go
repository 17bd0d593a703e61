package coop

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	lotv1 "seamshare.example/proto/gen/seamshare/event/lot/v1"
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/correction"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/query"
)

// wrong is a record that shall be corrected, and what of it is right so far: the record
// itself, or the newest correction of it.
type wrong struct {
	tx      *eventstore.Tx
	record  eventstore.Record
	id      string              // of the record's stream
	records []eventstore.Record // of that stream

	was     correction.Facts    // empty: the record holds no such fact
	newest  eventstore.Position // of the corrections of the fact; 0: there is none
	parcels []string            // whose money would move; none for masses and sizes
	saidBy  string              // the member whose word it is, of what a thing is said to be
	// fit refuses a right fact that the thing can't have, by the thing's own rules, and
	// gives what it changes.
	fit func(right correction.Facts) (apply, error)
}

// apply records what a correction changes, and gives what of it is unexplained mass now.
// person is who asked for it.
type apply func(c correction.State, person string) (unexplainedUg int64)

// recordAt is a record by its position, which a decision can't find: it never changes.
func (s *Server) recordAt(ctx context.Context, min, position uint64) (r eventstore.Record, err error) {
	_, err = query.At(ctx, s.node, min, func(q *eventstore.Query) error {
		if position < 1 || eventstore.Position(position) > q.Position() {
			return rule.Broken{Reason: rule.NothingToCorrect, Field: "corrects", Value: fmt.Sprint(position), Rule: "the log has no such position yet", Hint: "take the position from the thing's history"}
		}
		r, err = q.RecordAt(eventstore.Position(position))
		return err
	})
	return r, err
}

// findWrong takes the fact that right replaces out of the record. Where it holds none,
// was stays empty, which the correction's own rule refuses.
func findWrong(tx *eventstore.Tx, record eventstore.Record, right correction.Facts) (w wrong, err error) {
	_, id, _ := strings.Cut(string(record.Stream), "/")
	w = wrong{tx: tx, record: record, id: id}
	if w.records, err = tx.Records(record.Stream); err != nil {
		return w, err
	}
	switch event := record.Event.(type) {
	case *parcelv1.Event:
		err = w.ofParcel(event, right)
	case *orderv1.Event:
		err = w.ofOrder(event, right)
	case *piecev1.Event:
		err = w.ofPiece(event, right)
	case *stonev1.Event:
		err = w.ofStone(event, right)
	case *lotv1.Event:
		w.ofLot(right)
	}
	return w, err
}

// corrected are the corrections of the record so far.
func (w *wrong) corrected() (all []*correctionv1.Event) {
	for _, r := range w.records {
		if event, ok := r.Event.(*correctionv1.Event); ok && r.Corrects == w.record.Position {
			all = append(all, event)
		}
	}
	return all
}

// newestOf notes the newest correction of the record that is of the same fact.
func (w *wrong) newestOf(same func(*correctionv1.Event) bool) {
	for _, r := range w.records {
		if event, ok := r.Event.(*correctionv1.Event); ok && r.Corrects == w.record.Position && same(event) {
			w.newest = r.Position
		}
	}
}

// since tells whether an event that comes after the record is one of those.
func (w *wrong) since(is func(proto.Message) bool) bool {
	return slices.ContainsFunc(w.records, func(r eventstore.Record) bool { return r.Position > w.record.Position && is(r.Event) })
}

func (w *wrong) put(s eventstore.Stream, event *correctionv1.Event) {
	w.putBeside(s, w.record.Position, event)
}

// putBeside records a correction of a record that took the wrong one over.
func (w *wrong) putBeside(s eventstore.Stream, at eventstore.Position, event *correctionv1.Event) {
	options := []eventstore.RecordOption{eventstore.Correcting(at)}
	if day := w.record.EffectiveDate; day != "" {
		options = append(options, eventstore.EffectiveOn(day))
	}
	w.tx.Record(s, event, options...)
}

// puts is a correction that is one event beside the record, and moves no mass.
func (w *wrong) puts(event func(c correction.State, person string) *correctionv1.Event) apply {
	return func(c correction.State, person string) int64 {
		w.put(w.record.Stream, event(c, person))
		return 0
	}
}
