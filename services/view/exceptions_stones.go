package view

import (
	"fmt"

	approvalv1 "seamshare.example/proto/gen/seamshare/event/approval/v1"
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"

	"seamshare.example/eventstore"
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
			v.differs(rows, rec, m.GetStoneId(), "as it was sent to its buyer", m.GetMassDiffers(), m.GetSizeDiffers())
		}
		for _, m := range event.GetReceived().GetPrivate().GetStones() {
			v.differs(rows, rec, m.GetStoneId(), "as its buyer received it", m.GetMassDiffers(), m.GetSizeDiffers())
		}
	case *approvalv1.Event:
		p := event.GetTakenBack().GetPrivate()
		v.differs(rows, rec, p.GetStoneId(), "as it came back from approval or consignment", p.GetMassDiffers(), p.GetSizeDiffers())
	case *stonev1.Event:
		p := event.GetReturned().GetPrivate()
		v.differs(rows, rec, event.GetReturned().GetPublic().GetStoneId(), "as it came back from its buyer", p.GetMassDiffers(), p.GetSizeDiffers())
	}
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
		ID: fmt.Sprintf("stone-%d-%s", rec.Position, stoneID), Kind: StoneDiffers, Thing: "stone/" + stoneID, What: what + when + ": it may be another stone",
		Members: []string{rec.Member},
	})
}
