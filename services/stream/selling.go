package stream

import (
	"google.golang.org/protobuf/proto"

	"seamshare.example/services/domain/approval"
	"seamshare.example/services/domain/hold"
	"seamshare.example/services/domain/wanted"

	approvalv1 "seamshare.example/proto/gen/seamshare/event/approval/v1"
	holdv1 "seamshare.example/proto/gen/seamshare/event/hold/v1"
	wantedv1 "seamshare.example/proto/gen/seamshare/event/wanted/v1"
)

// The things between a cutter and a jeweller, beside stones and orders.
var (
	Hold     = kind("hold", hold.Evolve)
	Approval = kind("approval", approval.Evolve)
	Wanted   = kind("wanted", wanted.Evolve)
)

func sellingEvents() []proto.Message {
	return []proto.Message{&holdv1.Event{}, &approvalv1.Event{}, &wantedv1.Event{}}
}
