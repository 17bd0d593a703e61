package eventstore

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"iter"

	"github.com/hashicorp/golang-lru/v2/simplelru"

	"seamshare.example/eventstore/merkle"
)

// Difference is the first place where a store is not what its log says. Each is
// damage on disk or a mistake in this program.
type Difference struct {
	What     string // in words: "key of view parcels version 1"
	Key      string // quoted, where it is about a row
	Sequence Sequence
	Position Position
}

func (d *Difference) Error() string {
	s := d.What
	if d.Key != "" {
		s += " " + d.Key
	}
	if d.Sequence > 0 {
		s += fmt.Sprintf(" (sequence %d, position %d)", d.Sequence, d.Position)
	}
	return s
}

// Verify replays the log from its first commit into scratch, an empty store,
// and compares: the message bytes of log and store, every row of every table,
// every key of every serving view, the tree's root, and the root that was signed
// last. It returns where the store stands, and a *Difference for the first thing
// that isn't equal. The node may go on meanwhile; what it commits after the
// start is not looked at.
func (n *Node) Verify(ctx context.Context, scratch Store, progress func(done, total Sequence)) (Checkpoint, error) {
	snapshot := n.store.Snapshot()
	defer snapshot.Close()
	row, err := snapshot.Get(checkpointKey)
	if err != nil || row == nil {
		return Checkpoint{Coop: n.coop}, err
	}
	cp, err := decodeCheckpoint(row)
	if err != nil {
		return cp, err
	}
	statuses, err := viewStatuses(snapshot, cp.Position)
	if err != nil {
		return cp, err
	}
	again, err := n.replay(ctx, scratch, snapshot, cp, statuses, progress)
	if err != nil {
		return cp, err
	}
	if n.signer != nil {
		if err := again.checkSigned(); err != nil {
			return cp, &Difference{What: err.Error()}
		}
	}
	fresh := scratch.Snapshot()
	defer fresh.Close()
	tables := []table{
		{"checkpoint", []byte{tableCheckpoint}},
		{"commit", []byte{tableCommit}},
		{"message", []byte{tableMessage}},
		{"request", []byte{tableRequest}},
		{"stream index", []byte{tableStream}},
		{"tile", []byte{tableTile}},
	}
	for _, s := range statuses {
		if s.Serving {
			tables = append(tables, table{fmt.Sprintf("key of view %s version %d", s.Name, s.Version), viewPrefix(s.Name, s.Version)})
		}
	}
	for _, t := range tables {
		if err := t.compare(ctx, snapshot, fresh); err != nil {
			return cp, err
		}
	}
	return cp, nil
}

// replay applies the log up to cp into scratch, comparing each message with the
// store's copy on the way.
func (n *Node) replay(ctx context.Context, scratch Store, store Reader, cp Checkpoint, serving []ViewStatus, progress func(done, total Sequence)) (*Node, error) {
	again := &Node{
		coop: n.coop, name: n.name, log: n.log, store: scratch, codec: n.codec, signer: n.signer, clock: n.clock, logger: n.logger,
	}
	again.tip.Store(&tip{
		Checkpoint: Checkpoint{Coop: n.coop, LogCreated: cp.LogCreated}, tree: merkle.New(tiles{scratch}),
		changed: changed{make(chan struct{})},
	})
	var err error
	if again.states, err = simplelru.NewLRU[Stream, folded](cachedStates, nil); err != nil {
		return nil, err
	}
	if again.rowCache, err = simplelru.NewLRU[string, []byte](cachedRows, nil); err != nil {
		return nil, err
	}
	var views []View
	for _, v := range n.allViews {
		for _, s := range serving {
			if s.Serving && s.Name == v.Name() && s.Version == v.Version() {
				views = append(views, v)
			}
		}
	}
	if err := again.openViews(views); err != nil {
		return nil, err
	}
	follow, cancel := context.WithCancel(ctx)
	defer cancel()
	follower, err := n.log.Follow(follow, 0)
	if err != nil {
		return nil, fmt.Errorf("couldn't follow the log: %w", err)
	}
	defer follower.Close()
	for again.tip.Load().Sequence < cp.Sequence {
		if err := again.replayWrite(ctx, follower, store, cp.Sequence); err != nil {
			return nil, err
		}
		if progress != nil {
			progress(again.tip.Load().Sequence, cp.Sequence)
		}
	}
	return again, nil
}

// replayWrite applies the next commits in one write.
func (n *Node) replayWrite(ctx context.Context, follower Follower, store Reader, end Sequence) error {
	b := n.newBatch()
	defer b.close()
	for b.tip.Sequence < end && b.rows.bytes < followBytes && len(b.leaves) < followRecords {
		m, err := follower.Next(ctx)
		if err != nil {
			if ctx.Err() != nil || errors.Is(err, ErrIO) {
				return err
			}
			return &Difference{What: "the log can't be read: " + err.Error(), Sequence: b.tip.Sequence + 1, Position: b.tip.Position + 1}
		}
		if err := sameMessage(store, m); err != nil {
			return &Difference{What: err.Error(), Sequence: m.Sequence, Position: b.tip.Position + 1}
		}
		if err := b.follow(m); err != nil {
			return &Difference{What: err.Error(), Sequence: m.Sequence, Position: b.tip.Position + 1}
		}
	}
	return b.finish()
}

// table is a range of keys.
type table struct {
	name   string
	prefix []byte
}

type keyValue struct{ key, value []byte }

// rows iterates over a table; an error ends it and is left in err.
func (t table) rows(r Reader, err *error) iter.Seq[keyValue] {
	return func(yield func(keyValue) bool) {
		*err = r.Scan(t.prefix, nil, false, func(key, value []byte) bool { return yield(keyValue{key, value}) })
	}
}

// compare finds the first row in which store and replay differ.
func (t table) compare(ctx context.Context, store, replay Reader) error {
	var storeErr, replayErr error
	nextHave, stopHave := iter.Pull(t.rows(store, &storeErr))
	defer stopHave()
	nextWant, stopWant := iter.Pull(t.rows(replay, &replayErr))
	defer stopWant()
	for {
		have, okHave := nextHave()
		want, okWant := nextWant()
		if err := errors.Join(storeErr, replayErr, ctx.Err()); err != nil {
			return err
		}
		order := bytes.Compare(have.key, want.key)
		switch {
		case !okHave && !okWant:
			return nil
		case !okHave || okWant && order > 0:
			return &Difference{What: t.name + " is missing in the store:", Key: fmt.Sprintf("%q", want.key[len(t.prefix):])}
		case !okWant || order < 0:
			return &Difference{What: t.name + " stands in the store without a record:", Key: fmt.Sprintf("%q", have.key[len(t.prefix):])}
		case !bytes.Equal(have.value, want.value):
			return &Difference{What: t.name + " differs from a replay:", Key: fmt.Sprintf("%q", have.key[len(t.prefix):])}
		}
	}
}
