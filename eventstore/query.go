package eventstore

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"
)

// Query is a consistent read at one position. Close it.
type Query struct {
	node     *Node
	snapshot Snapshot
	at       Checkpoint
	now      time.Time
}

// Query opens a read at a position of at least min; it waits for that until ctx
// ends (ErrAhead).
func (n *Node) Query(ctx context.Context, min Position) (*Query, error) {
	if err := n.await(ctx, min); err != nil {
		return nil, err
	}
	return n.read()
}

// Inspect opens a read of what the store holds, also while the node is in
// trouble: for those who look into it, not for answers to members.
func (n *Node) Inspect() (*Query, error) { return n.read() }

func (n *Node) read() (*Query, error) {
	q := &Query{node: n, snapshot: n.store.Snapshot()}
	row, err := q.snapshot.Get(checkpointKey)
	if err == nil && row != nil {
		q.at, err = decodeCheckpoint(row)
	}
	if err != nil {
		q.Close()
		return nil, err
	}
	if q.now = n.clock().UTC().Truncate(time.Microsecond); q.now.Before(q.at.DecidedAt) {
		q.now = q.at.DecidedAt
	}
	return q, nil
}

// Close ends the read.
func (q *Query) Close() { q.snapshot.Close() }

// Position is the last record this read sees.
func (q *Query) Position() Position { return q.at.Position }

// Checkpoint is where this read stands.
func (q *Query) Checkpoint() Checkpoint { return q.at }

// Now is the moment of the read: what has ended by now has ended in it.
func (q *Query) Now() time.Time { return q.now }

// View reads the serving rows of a view.
func (q *Query) View(name string) Reader {
	version := q.ViewVersion(name)
	if version == 0 {
		return noRows{name}
	}
	return prefixed{viewPrefix(name, version), q.snapshot}
}

// ViewVersion is the version of a view that this read sees; 0: none.
func (q *Query) ViewVersion(name string) uint32 {
	row, err := q.snapshot.Get(servingKey(name))
	if err != nil || row == nil {
		return 0
	}
	n, err := decodeNumbers(row, 1)
	if err != nil {
		return 0
	}
	return uint32(n[0])
}

// Views tells how far each view is.
func (q *Query) Views() ([]ViewStatus, error) { return viewStatuses(q.snapshot, q.at.Position) }

func (q *Query) load(stream Stream, evolve func(any, proto.Message) any) (any, uint64, error) {
	var f folded
	if known, ok := q.node.seen.Get(stream); ok {
		// It may be newer than this read: its last record must be here.
		row, err := q.snapshot.Get(streamKey(stream, known.version))
		if err != nil {
			return nil, 0, err
		}
		if row != nil {
			f = known
		}
	}
	from := f.version
	err := eachRecord(q.snapshot, q.node.codec, stream, from+1, func(r Record) error {
		f.version, f.state = r.Version, evolve(f.state, r.Event)
		return nil
	})
	if err != nil {
		q.node.noteDamage(err)
		return nil, 0, err
	}
	if f.version > from {
		q.node.seen.Add(stream, f)
	}
	return f.state, f.version, nil
}

// LoadAt folds a stream as it was at an earlier position.
func LoadAt[S any](q *Query, kind Kind[S], id string, at Position) (S, uint64, error) {
	state, version, err := Load(q, kind, id)
	if err != nil || version == 0 {
		return state, version, err
	}
	stream := kind.Stream(id)
	row, err := q.snapshot.Get(streamKey(stream, version))
	if err != nil {
		return state, 0, err
	}
	last, err := decodePlace(row)
	if err != nil || last.position <= at {
		return state, version, err
	}
	var then S
	version = 0
	err = eachRecord(q.snapshot, q.node.codec, stream, 1, func(r Record) error {
		if r.Position <= at {
			then, version = kind.Evolve(then, r.Event), r.Version
		}
		return nil
	})
	return then, version, err
}

// Records lists a stream's records in order, without who decided them and when.
func (q *Query) Records(stream Stream) (out []Record, err error) {
	err = eachRecord(q.snapshot, q.node.codec, stream, 1, func(r Record) error {
		out = append(out, r)
		return nil
	})
	return out, err
}

// RecordAt is the record at a position, with who decided it and when.
func (q *Query) RecordAt(p Position) (Record, error) {
	seq, c, err := q.commitOf(p)
	if err != nil {
		return Record{}, err
	}
	records, _, err := c.recordsOf(q.node.codec, seq)
	if err != nil {
		q.node.noteDamage(err)
		return Record{}, err
	}
	return records[p-records[0].Position], nil
}

// Leaf is the canonical bytes that the tree hashes for a position: what a
// stranger may be shown.
func (q *Query) Leaf(p Position) ([]byte, error) {
	_, c, err := q.commitOf(p)
	if err != nil {
		return nil, err
	}
	i := p - Position(c.FirstPosition)
	s, err := openRecord(c.Records[i])
	if err != nil {
		q.node.noteDamage(err)
		return nil, err
	}
	return appendLeaf(nil, p, &s.Record, c.authors()[i]), nil
}

func (q *Query) commitOf(p Position) (Sequence, *commit, error) {
	if p == 0 || p > q.at.Position {
		return 0, nil, fmt.Errorf("there is no record at position %d; the last is %d", p, q.at.Position)
	}
	seq, c, err := commitAt(q.snapshot, q.node.coop, p)
	if err == nil && c == nil {
		err = fmt.Errorf("%w: no commit holds position %d", ErrCorrupt, p)
	}
	if err != nil {
		q.node.noteDamage(err)
	}
	return seq, c, err
}

// Message is a commit's bytes as published.
func (q *Query) Message(seq Sequence) (Message, error) {
	data, err := readMessage(q.snapshot, seq)
	if err == nil && data == nil {
		err = fmt.Errorf("%w: %d", ErrNoMessage, seq)
	}
	return Message{Sequence: seq, Data: data}, err
}
