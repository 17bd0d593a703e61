package eventstore

import (
	"bytes"
	"testing"

	"google.golang.org/protobuf/proto"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
)

// TestLeafBinds: whatever is changed of a record or of who decided it, its leaf is
// another, so that a copy of the log with a forged author or day has another root.
func TestLeafBinds(t *testing.T) {
	record := &eventv1.Record{
		Stream: "parcel/p1", StreamVersion: 3, Type: 206, EffectiveDate: "2026-11-25", Corrects: 7,
		Public: []byte("public"), Private: []byte("private"), Salt: bytes.Repeat([]byte{9}, 32),
	}
	by := author{decidedAtUs: 1_700_000_000_000_000, member: "m", person: "p", rpc: "r", request: "q"}
	leaf := appendLeaf(nil, 8, record, by)
	if !bytes.Equal(leaf, appendLeaf(nil, 8, record, by)) {
		t.Fatal("the same record has two leaves")
	}
	for name, change := range map[string]func(*eventv1.Record, *author){
		"stream":             func(r *eventv1.Record, _ *author) { r.Stream = "parcel/p2" },
		"stream version":     func(r *eventv1.Record, _ *author) { r.StreamVersion++ },
		"type":               func(r *eventv1.Record, _ *author) { r.Type++ },
		"effective date":     func(r *eventv1.Record, _ *author) { r.EffectiveDate = "1999-01-01" },
		"corrected position": func(r *eventv1.Record, _ *author) { r.Corrects = 6 },
		"public part":        func(r *eventv1.Record, _ *author) { r.Public = []byte("Public") },
		"private part":       func(r *eventv1.Record, _ *author) { r.Private = []byte("Private") },
		"salt":               func(r *eventv1.Record, _ *author) { r.Salt[0]++ },
		"moment":             func(_ *eventv1.Record, a *author) { a.decidedAtUs++ },
		"member":             func(_ *eventv1.Record, a *author) { a.member = "n" },
		"person":             func(_ *eventv1.Record, a *author) { a.person = "o" },
		"rpc":                func(_ *eventv1.Record, a *author) { a.rpc = "s" },
		"request id":         func(_ *eventv1.Record, a *author) { a.request = "s" },
		"a letter moved from one name to the next": func(_ *eventv1.Record, a *author) { a.member, a.person = "mp", "" },
	} {
		t.Run("bound: "+name, func(t *testing.T) {
			r, a := proto.CloneOf(record), by
			change(r, &a)
			if bytes.Equal(leaf, appendLeaf(nil, 8, r, a)) {
				t.Fatal("the leaf is the same")
			}
		})
	}
}
