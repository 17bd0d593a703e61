package stream

import (
	"google.golang.org/protobuf/proto"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/correction"
	"seamshare.example/services/domain/dispute"
	"seamshare.example/services/domain/payout"
	"seamshare.example/services/domain/stock"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	disputev1 "seamshare.example/proto/gen/seamshare/event/dispute/v1"
	payoutv1 "seamshare.example/proto/gen/seamshare/event/payout/v1"
	stockv1 "seamshare.example/proto/gen/seamshare/event/stock/v1"
)

// The desk's kinds of things. An exception's stream holds what was found out about it;
// custody's id is that of Custodian.
var (
	Payout     = kind("payout", payout.Evolve)
	Dispute    = kind("dispute", dispute.Evolve)
	Correction = kind("correction", correction.Evolve)
	Custody    = kind("custody", stock.EvolveCustody)
	Count      = kind("count", stock.EvolveCount)
	Exception  = kind("exception", stock.EvolveLooked)
)

// deskEvents are the messages of the desk's aggregates.
func deskEvents() []proto.Message {
	return []proto.Message{&payoutv1.Event{}, &disputev1.Event{}, &correctionv1.Event{}, &stockv1.Event{}}
}

// corrected is a kind whose streams hold corrections of it too.
func corrected[S any](k eventstore.Kind[S], correct func(S, *correctionv1.Event) S) eventstore.Kind[S] {
	own := k.Evolve
	k.Evolve = func(s S, event proto.Message) S {
		if e, ok := event.(*correctionv1.Event); ok {
			return correct(s, e)
		}
		return own(s, event)
	}
	return k
}
