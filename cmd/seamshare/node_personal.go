package main

import (
	"context"
	"fmt"
	"path/filepath"

	"seamshare.example/eventstore"
	"seamshare.example/services/coop"
	"seamshare.example/services/personal"
)

// personalDir is where the keys of persons lie, in the node's folder. It is in no backup:
// a copy of it is made and kept apart, and may be put back at any time.
func personalDir(dir string) string { return filepath.Join(dir, "personal-keys") }

// openPersonal opens the keys of persons and repeats all erasures that the log tells
// of, since the folder may be a copy from before them. A node in trouble answers
// nobody, so there the keys stay shut.
func openPersonal(ctx context.Context, dir string, node *eventstore.Node) (*personal.Keys, error) {
	if node.Trouble() != nil {
		return nil, nil
	}
	keys, err := personal.Open(personalDir(dir))
	if err != nil {
		return nil, err
	}
	erased, err := coop.Erased(ctx, node)
	if err != nil {
		return nil, fmt.Errorf("couldn't learn who was erased: %w", err)
	}
	return keys, keys.Replay(erased)
}
