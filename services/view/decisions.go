package view

import (
	"strconv"

	"seamshare.example/eventstore"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// Decisions is the co-op's record of each kind of decision at the bench: counts, nobody named.
//
//	record, kind → how often it was tried and how often it held
type Decisions struct{}

// Name implements eventstore.View.
func (Decisions) Name() string { return "decisions" }

// Version implements eventstore.View.
func (Decisions) Version() uint32 { return 1 }

// Apply implements eventstore.View.
func (v Decisions) Apply(rows eventstore.Rows, rec eventstore.Record) error {
	event, _ := rec.Event.(*piecev1.Event)
	out := event.GetOutcomeRecorded().GetPrivate()
	if out == nil {
		return nil
	}
	tried, held, err := v.Record(rows, out.GetKind())
	if err != nil {
		return err
	}
	if out.HeldBefore == nil {
		tried++
	} else if out.GetHeldBefore() { // said anew
		held--
	}
	if out.GetHeld() {
		held++
	}
	rows.Set(kindKey(out.GetKind()), recordRow(tried, held))
	return nil
}

// Record is how often a kind was tried and how often it held.
func (Decisions) Record(r eventstore.Reader, kind piecev1.DecisionKind) (tried, held int64, err error) {
	value, err := r.Get(kindKey(kind))
	if value == nil || err != nil {
		return 0, 0, err
	}
	return readRecord(value)
}

func recordRow(tried, held int64) row { return row{}.int(tried).int(held) }

func readRecord(value []byte) (tried, held int64, err error) {
	f := read(value)
	tried, held = f.int(), f.int()
	return tried, held, f.done("decisions", "record")
}

func kindKey(kind piecev1.DecisionKind) []byte {
	return key("record", strconv.Itoa(int(kind)))
}
