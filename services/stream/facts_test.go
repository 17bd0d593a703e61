package stream_test

import (
	"strings"
	"testing"

	"seamshare.example/services/stream"
)

// TestFacts: every type of event is said in the trade's words, and how it is put right.
func TestFacts(t *testing.T) {
	types := map[string]bool{}
	for _, e := range stream.Events() {
		all := e.ProtoReflect().Descriptor().Oneofs().Get(0).Fields()
		for i := range all.Len() {
			name := strings.TrimPrefix(string(all.Get(i).Message().FullName()), "seamshare.event.")
			types[name] = true
			if f := stream.Facts[name]; f.Words == "" || f.PutRight == "" {
				t.Errorf("%s has no words, or nobody says how it is put right: add it to Facts", name)
			}
		}
	}
	for name := range stream.Facts {
		if !types[name] {
			t.Errorf("there is no event %s", name)
		}
	}
}
