// Package stream says which streams there are: for each kind of thing the name of its
// streams and how their records fold into its state.
package stream

import (
	"google.golang.org/protobuf/proto"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/lot"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/promise"
	"seamshare.example/services/domain/stone"

	lotv1 "seamshare.example/proto/gen/seamshare/event/lot/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	promisev1 "seamshare.example/proto/gen/seamshare/event/promise/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// The kinds of things. The id of a thing is the same in its stream, its events and
// the API.
var (
	Coop   = kind("coop", member.EvolveCoop)
	Field  = kind("field", member.EvolveField)
	Member = kind("member", member.EvolveMember)
	Person = kind("person", member.EvolvePerson)
	Claim  = kind("claim", member.EvolveClaim)
	Parcel = corrected(kind("parcel", parcel.Evolve), parcel.EvolveCorrection)
	Piece  = corrected(kind("piece", piece.Evolve), piece.EvolveCorrection)
	Stone  = corrected(kind("stone", stone.Evolve), stone.EvolveCorrection)
	Order  = corrected(kind("order", order.Evolve), order.EvolveCorrection)

	Lot     = corrected(kind("lot", lot.Evolve), lot.EvolveCorrection)
	Promise = kind("promise", promise.Evolve)
)

// Events are the messages of all aggregates, for eventstore.NewCodec.
func Events() []proto.Message {
	return append(append(deskEvents(), sellingEvents()...),
		&memberv1.Event{}, &parcelv1.Event{}, &piecev1.Event{}, &stonev1.Event{}, &orderv1.Event{},
		&lotv1.Event{}, &promisev1.Event{},
	)
}

func kind[S any, E proto.Message](name string, evolve func(S, E) S) eventstore.Kind[S] {
	return eventstore.Kind[S]{Name: name, Evolve: func(s S, event proto.Message) S {
		// The codec gives only events of Events, and only this aggregate's are
		// recorded in its streams.
		if e, ok := event.(E); ok {
			return evolve(s, e)
		}
		return s
	}}
}
