// Package ruletest holds what tests of the aggregates share.
package ruletest

import (
	"encoding/json"
	"testing"

	"seamshare.example/services/domain/rule"
)

// Refused fails unless err is a refusal that has this reason at this field, with the
// rule and what to do in words.
func Refused(t testing.TB, err error, reason rule.Reason, field string) {
	t.Helper()
	broken, ok := rule.Of(err)
	if !ok {
		t.Fatalf("not refused: got %v, want %s at %q", err, reason, field)
	}
	for _, b := range broken {
		if b.Reason == reason && b.Field == field {
			if b.Rule == "" {
				t.Errorf("the refusal %+v doesn't say which rule is broken", b)
			}
			return
		}
	}
	t.Fatalf("refused otherwise: %+v, want %s at %q", broken, reason, field)
}

// Unaliased fails where folding one event changes a state that somebody else holds:
// the one before, or another that grew from it. events are a history that begins with
// the zero state; every event is also folded onto every state of it.
func Unaliased[S, E any](t testing.TB, evolve func(S, E) S, events ...E) {
	t.Helper()
	var held []S
	var as []string
	hold := func(s S) { held, as = append(held, s), append(as, dump(t, s)) }
	var s S
	hold(s)
	for _, e := range events {
		for _, other := range events {
			hold(evolve(s, other))
		}
		s = evolve(s, e)
		hold(s)
	}
	for i, s := range held {
		if now := dump(t, s); now != as[i] {
			t.Fatalf("a held state changed under its holder:\nwas %s\nis  %s", as[i], now)
		}
	}
}

func dump(t testing.TB, s any) string {
	t.Helper()
	data, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}
