package view

import (
	"fmt"
	"strings"

	approvalv1 "seamshare.example/proto/gen/seamshare/event/approval/v1"
	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/measure"
)

// StoneDiffers is a stone that doesn't measure as it did before it changed hands: it may
// be another one.
const StoneDiffers = "stone measures otherwise"

// changedHands notes stones that left, came or came back otherwise than they were
// measured before. It concerns who measured.
func (v Exceptions) changedHands(rows eventstore.Rows, rec eventstore.Record) {
	switch event := rec.Event.(type) {
	case *orderv1.Event:
		for _, m := range event.GetDispatched().GetPrivate().GetStones() {
			v.differs(rows, rec, m.GetStoneId(), whenSent+masses(m.GetMeasured().GetWeighing(), m.GetBefore().GetWeighing(), theBooks), m.GetMassDiffers(), m.GetSizeDiffers())
		}
		for _, m := range event.GetReceived().GetPrivate().GetStones() {
			v.differs(rows, rec, m.GetStoneId(), whenReceived+masses(m.GetMeasured().GetWeighing(), m.GetBefore().GetWeighing(), theSender), m.GetMassDiffers(), m.GetSizeDiffers())
		}
	case *approvalv1.Event:
		p := event.GetTakenBack().GetPrivate()
		v.differs(rows, rec, p.GetStoneId(), "as it came back from approval or consignment", p.GetMassDiffers(), p.GetSizeDiffers())
	case *stonev1.Event:
		p := event.GetReturned().GetPrivate()
		v.differs(rows, rec, event.GetReturned().GetPublic().GetStoneId(), "as it came back from its buyer", p.GetMassDiffers(), p.GetSizeDiffers())
	}
}

// When a stone of an order was measured, and by whose word it should have weighed what.
const (
	whenSent     = "as it was sent to its buyer"
	whenReceived = "as its buyer received it"
	theBooks     = "the books"
	theSender    = "its cutter, who sent it"
)

// masses are both sides' words.
func masses(now, before *eventv1.Weighing, whose string) string {
	if now == nil || before == nil {
		return ""
	}
	return fmt.Sprintf(", %s then and %s by %s", measure.Mass(now.GetMassUg()).GramsAndCarats(), measure.Mass(before.GetMassUg()).GramsAndCarats(), whose)
}

func stoneDiffersID(at eventstore.Position, stoneID string) string {
	return fmt.Sprintf("stone-%d-%s", at, stoneID)
}

func (v Exceptions) differs(rows eventstore.Rows, rec eventstore.Record, stoneID, when string, mass, size bool) {
	what := ""
	switch {
	case mass && size:
		what = "mass and size differ "
	case mass:
		what = "its mass differs "
	case size:
		what = "its size differs "
	default:
		return
	}
	v.open(rows, Exception{
		ID: stoneDiffersID(rec.Position, stoneID), Kind: StoneDiffers, Thing: "stone/" + stoneID, What: what + when + ": it may be another stone",
		Members: []string{rec.Member},
	})
}

// corrected ends an exception that follows from a wrong mass where the right one doesn't
// differ, and gives the others their right words. One that was closed stays closed.
func (v Exceptions) corrected(rows eventstore.Rows, rec eventstore.Record, event *correctionv1.Event) error {
	if e := event.GetPieceCorrected(); e != nil {
		return v.comesFrom(rows, string(rec.Stream), e.GetPublic().GetRight())
	}
	mass := event.GetMassCorrected()
	for _, d := range mass.GetPrivate().GetDifferences() {
		if id := mass.GetPublic().GetPieceId(); id != "" && string(rec.Stream) != "piece/"+id {
			break // the same with the stone or the parcel
		}
		if err := v.differsNow(rows, rec, mass.GetPublic(), d); err != nil {
			return err
		}
	}
	p := event.GetSentMassCorrected().GetPrivate()
	switch {
	case p == nil:
		return nil
	case p.GetHandover() != nil:
		return v.differsNow(rows, rec, nil, p.GetHandover())
	case p.GetViewingId()+p.GetStoneId() == "":
		return nil // the other side hasn't weighed
	}
	wrong, id := rec, handoverID(rec.Corrects)
	wrong.Position = rec.Corrects // which the exception is named after
	if p.GetViewingId() == "" {
		id = stoneDiffersID(rec.Corrects, p.GetStoneId())
	}
	old, ok, err := v.Find(rows, id)
	if err != nil {
		return err
	}
	if ok {
		rows.Delete(key("open", id))
		wrong.Member = old.Members[0]
	}
	if closed, err := v.WasClosed(rows, id); err != nil || closed {
		return err
	}
	if p.GetViewingId() == "" {
		when := whenSent + masses(p.GetRight(), p.GetBefore(), theBooks)
		if p.GetArrived() {
			when = whenReceived + masses(p.GetRight(), p.GetBefore(), theSender)
		}
		v.differs(rows, wrong, p.GetStoneId(), when, p.GetMassDiffers(), p.GetSizeDiffers())
		return nil
	}
	who := goesOut
	if p.GetArrived() {
		who = comesBack
	}
	return v.handover(rows, rec.Corrects, strings.TrimPrefix(string(rec.Stream), "parcel/"), who,
		p.GetBefore().GetMassUg()-p.GetRight().GetMassUg(), p.GetCountDifference(), p.GetMassDiffers() || p.GetCountDifference() != 0)
}

// differsNow opens the exception of a handover, a viewing or a stock count anew, as it
// differs now, or ends it.
func (v Exceptions) differsNow(rows eventstore.Rows, rec eventstore.Record, c *correctionv1.MassCorrected_Public, d *correctionv1.Difference) error {
	at, thing := eventstore.Position(d.GetRecord()), string(rec.Stream)
	parcelID, ofParcel := strings.CutPrefix(thing, "parcel/")
	id := countID(at)
	if ofParcel {
		id = handoverID(at)
	}
	_, open, err := v.Find(rows, id)
	if err != nil {
		return err
	}
	closed, err := v.WasClosed(rows, id)
	if err != nil || closed {
		return err
	}
	if open {
		rows.Delete(key("open", id))
	}
	switch {
	case ofParcel && d.GetViewing():
		return v.handover(rows, at, parcelID, goesOut, d.GetMissingUg(), d.GetCountDifference(), d.GetBeyondTolerance())
	case ofParcel && d.GetBack():
		return v.handover(rows, at, parcelID, tookBack, d.GetMissingUg(), d.GetCountDifference(), d.GetBeyondTolerance())
	case ofParcel:
		return v.handover(rows, at, parcelID, tookOver, d.GetMissingUg(), d.GetCountDifference(), d.GetBeyondTolerance())
	}
	what := "the lot"
	if c.GetPart() != "" {
		what = "part " + c.GetPart()
	}
	return v.counted(rows, at, thing, what, d.GetMissingUg(), d.GetCountDifference(), d.GetExpectedCount())
}

// comesFrom notes whether the field of a piece or a stone is shown now: a stone's chain is
// full, or ends at the piece.
func (v Exceptions) comesFrom(rows eventstore.Rows, thing string, right *correctionv1.PieceSaid) error {
	value, err := rows.Get(key("of", thing))
	if err != nil {
		return err
	}
	of, err := readPartOf(value)
	if err != nil {
		return err
	}
	of.shown = fieldShown(right.GetFieldId(), right.GetMayBeOfFieldIds())
	rows.Set(key("of", thing), of.row())
	stoneID, is := strings.CutPrefix(thing, "stone/")
	if !is {
		return nil
	}
	if of.shown {
		rows.Delete(key("open", chainID(stoneID)))
		return nil
	}
	if closed, err := v.WasClosed(rows, chainID(stoneID)); err != nil || closed {
		return err
	}
	p, err := v.parties(rows, of.parcelID)
	if err != nil {
		return err
	}
	v.notFull(rows, stoneID, p.members())
	return nil
}

func chainID(stoneID string) string { return "chain-" + stoneID }

// notFull notes a stone whose chain doesn't reach a field.
func (v Exceptions) notFull(rows eventstore.Rows, stoneID string, members []string) {
	v.open(rows, Exception{ID: chainID(stoneID), Kind: ChainNotFull, Thing: "stone/" + stoneID, What: "its chain ends at the piece: the field was not shown", Members: members})
}
