package stream_test

import (
	"testing"

	"seamshare.example/eventstore"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/stream"
)

func TestKinds(t *testing.T) {
	t.Run("OK: the codec takes all events, each type once", func(t *testing.T) {
		eventstore.NewCodec(stream.Events()...) // panics where not
	})
	t.Run("OK: folds its own events", func(t *testing.T) {
		event := &parcelv1.Event{Event: &parcelv1.Event_Listed{Listed: &parcelv1.Listed{Public: &parcelv1.Listed_Public{ParcelId: "p"}}}}
		if got := stream.Parcel.Evolve(parcel.State{}, event); got.ID != "p" {
			t.Errorf("got %+v", got)
		}
		if got := stream.Parcel.Evolve(parcel.State{}, &stonev1.Event{}); got.ID != "" {
			t.Errorf("folded another's event: %+v", got)
		}
	})
	t.Run("OK: names its streams", func(t *testing.T) {
		if got := stream.Stone.Stream("01k"); got != "stone/01k" {
			t.Errorf("got %q", got)
		}
	})
}
