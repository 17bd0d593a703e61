package view_test

import (
	"testing"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/services/view"
)

func TestWordsOfOrigin(t *testing.T) {
	for _, c := range []struct {
		field string
		may   []string
		want  string
	}{
		{"f1", nil, "Piece A, 20.00 g"},
		{"", nil, "Piece A, 20.00 g; its field is not shown"},
		{"", []string{"f1", "f2", "f3"}, "Piece A, 20.00 g; it may be of any of 3 fields"},
		{"", []string{"", "f2"}, "Piece A, 20.00 g; it may be of any of 2 fields, one of them not shown"},
	} {
		got := view.Words(&piecev1.Event{Event: &piecev1.Event_Described{Described: &piecev1.Described{Public: &piecev1.Described_Public{
			Label: "A", Weighing: &eventv1.Weighing{MassUg: 20_000_000, DivisionUg: 10_000}, FieldId: c.field, MayBeOfFieldIds: c.may,
		}}}})
		if got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
}
