package main

import (
	"context"
	"fmt"
	"log/slog"
	"path/filepath"

	"seamshare.example/services/coop"
	"seamshare.example/services/personal"
)

// personalDir is where the keys of persons lie, in the node's folder. It is in no backup:
// a copy of it is made and kept apart, and may be put back at any time.
func personalDir(dir string) string { return filepath.Join(dir, "personal-keys") }

// openPersonal opens the keys of persons and repeats all erasures that the log tells
// of, since the folder may be a copy from before them. A node in trouble answers
// nobody, so there the keys stay shut.
//
// It does so too with each erasure that the node applies: another node may have recorded
// it, or this one for a caller who left before the key's end.
func (r *runningNode) openPersonal(ctx context.Context, dir string, logger *slog.Logger) (*personal.Keys, error) {
	node := r.node.Node
	if node.Trouble() != nil {
		return nil, nil
	}
	keys, err := personal.Open(personalDir(dir))
	if err != nil {
		return nil, err
	}
	at, err := coop.ReplayErasures(ctx, node, keys, 0)
	if err != nil {
		return nil, fmt.Errorf("couldn't repeat the erasures of the log: %w", err)
	}
	following, stop := context.WithCancel(context.Background())
	done := make(chan struct{})
	r.unfollow = func() { stop(); <-done }
	go func() {
		defer close(done)
		if err := coop.FollowErasures(following, node, keys, at); err != nil {
			logger.Error("keys of persons who were erased may still be here: restart the node to destroy them", "err", err)
		}
	}()
	return keys, nil
}

// personalKeysHelp is the operator's page. erased.txtar holds the node to it.
const personalKeysHelp = `Names, addresses, telephone numbers and bank details stand in the log sealed, each
person's under a key of their own. The keys are in the folder personal-keys of the
node that serves, one small file a person. Destroying that file erases the person
from the log, its backups and every other node at once.

So the keys are in no backup, and a backup alone can't open what is personal. Copy
the folder apart, to another place than the backups, encrypted, as often as persons
record facts; the node may serve meanwhile:

  cp -a NODE/personal-keys /another/place/

After restore, or on a new machine, put the copy back before you serve:

  cp -a /another/place/personal-keys NODE/

Before a node answers anybody it destroys again the keys of all whose erasure
stands in its log, so an old copy of the keys brings nobody back. A node without a
person's key says so, keeps no new facts of them under another key, and does all
else as before.

What no program can do: a backup from before an erasure, together with a copy of
the keys from before it, is the state before it, and opens. So after an erasure

  - destroy the older copies of personal-keys, and make a new one;
  - if you ever restore a backup that is older than an erasure, erase again: the
    receipts (seamshare personal receipt) say whom.

Overwritten blocks may stay on a disk: keep the node's folder on an encrypted one.
`
