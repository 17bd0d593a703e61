package view

import (
	"strings"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/eventstore"
)

// Stones is where stones are found; who bought one, and all else of it, its stream
// tells.
//
//	facts, stone id              → what a stock filter asks for, from when it is finished
//	sale, outline, stone id      → price, set and hold, while it is on sale
//	cutter, member id, stone id
type Stones struct{}

// Name implements eventstore.View.
func (Stones) Name() string { return "stones" }

// Version implements eventstore.View.
func (Stones) Version() uint32 { return 1 }

// Apply implements eventstore.View.
func (v Stones) Apply(rows eventstore.Rows, rec eventstore.Record) error {
	if event, ok := rec.Event.(*correctionv1.Event); ok {
		return v.correct(rows, rec, event)
	}
	event, ok := rec.Event.(*stonev1.Event)
	if !ok {
		return nil
	}
	if e := event.GetFinished(); e != nil {
		p := e.GetPublic()
		rows.Set(key("facts", p.GetStoneId()), factsOf(p).row())
		rows.Set(key("cutter", p.GetCutterId(), p.GetStoneId()), present)
		return nil
	}
	return v.change(rows, event)
}

// correct puts what is right of a stone where a filter finds it: its mass or size as long
// as it goes back to the record that was wrong, and what it is said to be.
func (v Stones) correct(rows eventstore.Rows, rec eventstore.Record, event *correctionv1.Event) error {
	id, is := strings.CutPrefix(string(rec.Stream), "stone/")
	mass, size := event.GetMassCorrected().GetPublic(), event.GetSizeCorrected().GetPublic()
	switch {
	case is && mass.GetTo().GetAccount() == correctionv1.Account_ACCOUNT_THERE:
		return v.remeasure(rows, event, id, func(f facts) facts { return f.measured(mass.GetRight(), nil) })
	case is && size != nil && !size.GetMeasuredSince():
		return v.remeasure(rows, event, id, func(f facts) facts {
			return f.measured(&eventv1.Weighing{MassUg: f.massUg}, size.GetRight())
		})
	case is && event.GetStoneCorrected() != nil:
		return v.remeasure(rows, event, id, func(f facts) facts { return f.said(event.GetStoneCorrected().GetPublic().GetRight()) })
	case is && event.GetPieceCorrected() != nil:
		p := event.GetPieceCorrected().GetPublic()
		return v.remeasure(rows, event, id, func(f facts) facts {
			if f.kind == p.GetWas().GetKind() {
				f.kind = p.GetRight().GetKind()
			}
			return f
		})
	}
	return nil
}

// ByCutter gives the ids of the stones a cutter finished, oldest first.
func (Stones) ByCutter(r eventstore.Reader, memberID, after string, limit int) (stones []string, next string, err error) {
	return ids(r, table("cutter", memberID), after, limit)
}
