package view

import (
	"fmt"
	"slices"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// fateMovedOn is where a part stands that went into a new parcel or a lot. It is no
// stored fate: the event says it.
const fateMovedOn = piecev1.Fate(6)

// benchPieceOf is the piece of an event that changes a balance beside the steps; empty
// for one that doesn't.
func benchPieceOf(event *piecev1.Event) string {
	switch e := event.Event.(type) {
	case *piecev1.Event_Counted:
		return e.Counted.GetPublic().GetPieceId()
	case *piecev1.Event_Recut:
		return e.Recut.GetPublic().GetPieceId()
	case *piecev1.Event_MovedOn:
		return e.MovedOn.GetPublic().GetPieceId()
	case *piecev1.Event_TakenBack:
		return e.TakenBack.GetPublic().GetPieceId()
	case *piecev1.Event_Opened:
		return e.Opened.GetPublic().GetPieceId()
	}
	return ""
}

// applyBench changes the balance by one such event, or says what is wrong with it.
func (b *pieceBalance) applyBench(event *piecev1.Event) (problem string) {
	switch e := event.Event.(type) {
	case *piecev1.Event_Counted:
		p := e.Counted.GetPublic()
		was, now := p.GetWas().GetMassUg(), p.GetWeighing().GetMassUg()
		b.unexplained += was - now
		if at := b.find(p.GetPart()); at >= 0 {
			b.parts[at].massUg = now
		} else { // the stone that it became
			b.finished += now - was
		}
	case *piecev1.Event_Recut:
		p := e.Recut.GetPublic()
		if out := p.GetStone().GetMassUg() + p.GetLossUg(); out != p.GetMassIn().GetMassUg() {
			return fmt.Sprintf("%d µg went in, %d came out", p.GetMassIn().GetMassUg(), out)
		}
		b.finished -= p.GetLossUg()
		b.lose(p.GetReason(), p.GetLossUg())
	case *piecev1.Event_MovedOn:
		p := e.MovedOn.GetPublic()
		at := b.find(p.GetPart())
		if at < 0 {
			return fmt.Sprintf("there is no part %q", p.GetPart())
		}
		b.unexplained += b.parts[at].massUg - p.GetWeighing().GetMassUg()
		b.parts[at].massUg, b.parts[at].fate = p.GetWeighing().GetMassUg(), fateMovedOn
	case *piecev1.Event_TakenBack:
		return b.place(e.TakenBack.GetPublic().GetPart(), e.TakenBack.GetPublic().GetFate())
	case *piecev1.Event_Opened:
		p := e.Opened.GetPublic()
		if len(b.parts) != 1 {
			return "it isn't one group"
		}
		left := p.GetLeft().GetMassUg()
		b.unexplained += b.parts[0].massUg - p.GetTakenUg() - left
		b.opened += p.GetTakenUg()
		if b.parts[0].massUg = left; p.GetLeftCount() == 0 {
			b.parts = slices.Delete(b.parts, 0, 1)
		}
	}
	return ""
}

func (b *pieceBalance) place(part string, fate piecev1.Fate) (problem string) {
	at := b.find(part)
	if at < 0 {
		return fmt.Sprintf("there is no part %q", part)
	}
	b.parts[at].fate = fate
	return ""
}
