// Package storetest holds what tests of nodes, logs and stores share: fakes
// that keep the contract and can be made to fail, a small ledger of its own to
// decide about, and the suites that every implementation must pass.
package storetest

import (
	"context"
	"log/slog"
	"testing"

	"seamshare.example/eventstore"
)

// Coop is the co-op that the tests' logs belong to.
const Coop = "two-fields"

// NewNode opens a node on a memory log and store of its own, with the events
// and views given, and closes it when the test ends.
func NewNode(t testing.TB, codec eventstore.Codec, views ...eventstore.View) *eventstore.Node {
	t.Helper()
	return OpenNode(t, eventstore.Config{Log: NewMemoryLog(false), Store: NewMemoryStore(), Codec: codec, Views: views})
}

// OpenNode opens a node as configured and closes it when the test ends.
func OpenNode(t testing.TB, cfg eventstore.Config) *eventstore.Node {
	t.Helper()
	if cfg.Coop == "" {
		cfg.Coop = Coop
	}
	if cfg.Name == "" {
		cfg.Name = "test"
	}
	if cfg.Logger == nil {
		cfg.Logger = slog.New(slog.NewTextHandler(t.Output(), nil))
	}
	n, err := eventstore.Open(context.Background(), cfg)
	if err != nil {
		t.Fatalf("couldn't open node: %v", err)
	}
	t.Cleanup(n.Close)
	return n
}
