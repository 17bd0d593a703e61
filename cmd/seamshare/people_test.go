package main

import (
	"testing"
	"time"

	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

// TestLocalTime: Brisbane is ten hours ahead of UTC all year, and Vienna two in summer (IANA time zone database).
func TestLocalTime(t *testing.T) {
	for zone, want := range map[string]string{
		"Australia/Brisbane": "2031-07-04 20:00 Australia/Brisbane", "Europe/Vienna": "2031-07-04 12:00 Europe/Vienna", "UTC": "2031-07-04 10:00 UTC",
	} {
		at, err := time.LoadLocation(zone)
		if err != nil {
			t.Fatal(err)
		}
		if got := localTime("2031-07-04T10:00:00Z", at); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
		if got := localTime("soon", at); got != "soon" {
			t.Errorf("no time became %q", got)
		}
	}
}

// TestWhatIsRewritten: members, fields and moments are told by the messages' descriptors.
func TestWhatIsRewritten(t *testing.T) {
	offer := (&typev1.Offer{}).ProtoReflect().Descriptor().Fields()
	for name, want := range map[string][2]bool{"buyer_id": {true, false}, "ends_at": {false, true}, "id": {}, "parcel_id": {}, "why": {}} {
		f := offer.ByTextName(name)
		if isMember(f) != want[0] || isMoment(f) != want[1] {
			t.Errorf("%s is a member's %v, a moment %v", name, isMember(f), isMoment(f))
		}
	}
	if f := (&typev1.Piece{}).ProtoReflect().Descriptor().Fields().ByTextName("field_id"); !isField(f) {
		t.Error("a piece's field isn't one")
	}
}
