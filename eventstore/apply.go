package eventstore

import (
	"bytes"
	"fmt"
	"time"

	"seamshare.example/eventstore/merkle"
)

// derive sets all rows but the views' that follow from a sealed commit. It is
// the one place for that, whether the commit was decided here or came from the
// log.
func (b *batch) derive(c *commit, seq Sequence, raw []streamAt) {
	for chunk := 0; chunk*chunkBytes < len(c.data); chunk++ {
		part := c.data[chunk*chunkBytes : min(len(c.data), (chunk+1)*chunkBytes)]
		b.rows.Set(messageKey(seq, chunk), part)
	}
	b.rows.Set(commitKey(Position(c.FirstPosition)), encodeNumbers(uint64(seq)))
	for i, at := range raw {
		p := place{Position(c.FirstPosition) + Position(i), seq, c.spans[i]}
		b.rows.Set(streamKey(at.stream, at.version), p.encode())
	}
	for i, d := range c.Decisions {
		if d.RequestId != "" {
			b.rows.Set(requestKey(d.Member, d.RequestId), encodeNumbers(uint64(seq), uint64(i)))
		}
	}
	b.rows.keep()
}

// streamAt is a record's place in its stream.
type streamAt struct {
	stream  Stream
	version uint64
}

// follow applies a commit that came from the log. Any error means that the log
// is not what it must be, or that this binary is too old for it: the node can't
// go on.
func (b *batch) follow(m Message) error {
	if m.Sequence != b.tip.Sequence+1 {
		return fmt.Errorf("%w: after commit %d came %d", ErrCorrupt, b.tip.Sequence, m.Sequence)
	}
	c, err := openCommit(m.Data, b.node.coop)
	if err != nil {
		return err
	}
	if Position(c.FirstPosition) != b.tip.Position+1 {
		return fmt.Errorf("%w: after position %d came %d", ErrCorrupt, b.tip.Position, c.FirstPosition)
	}
	if c.decidedAt().Before(b.tip.DecidedAt) {
		return fmt.Errorf("%w: commit was decided at %s, before the one before it", ErrCorrupt, c.decidedAt().Format(time.RFC3339Nano))
	}
	records, raw, err := c.recordsOf(b.node.codec, m.Sequence)
	if err != nil {
		return err
	}
	at := make([]streamAt, 0, len(records))
	authors := c.authors()
	for i, r := range records {
		head, err := b.head(r.Stream)
		if err != nil {
			return err
		}
		if r.Version != head+1 {
			return fmt.Errorf("%w: %s has %d records, and position %d says it is number %d", ErrCorrupt, r.Stream, head, r.Position, r.Version)
		}
		if err := b.applyViews(r); err != nil {
			return fmt.Errorf("couldn't apply position %d: %w", r.Position, err)
		}
		b.leaf = appendLeaf(b.leaf[:0], r.Position, &raw[i].Record, authors[i])
		b.leaves = append(b.leaves, merkle.LeafHash(b.leaf))
		b.fresh[r.Stream] = append(b.fresh[r.Stream], r)
		at = append(at, streamAt{r.Stream, r.Version})
	}
	b.derive(c, m.Sequence, at)
	b.tip.Sequence, b.tip.Position, b.tip.DecidedAt = m.Sequence, c.last(), c.decidedAt()
	return nil
}

// finish writes all that was collected and makes it the node's tip. After an
// error the batch is lost; where the log has it, the next start brings it back.
func (b *batch) finish() error {
	n := b.node
	tree, tiles := n.tip.Load().tree.With(b.leaves)
	for _, t := range tiles {
		b.rows.Set(tileKey(t.Level, t.Index), t.Data)
	}
	b.tip.Root = tree.Root()
	b.rows.Set(checkpointKey, b.tip.encode())
	hit("mid-apply")
	// A crash before or in this write leaves the store as it was, and the log
	// ahead of it: the next start applies what is missing. A crash after it
	// leaves both even; the callers don't know, and find out by their request
	// ids.
	if err := n.store.Write(b.rows.changes()); err != nil {
		return fmt.Errorf("%w: couldn't write commit %d: %w", ErrIO, b.tip.Sequence, err)
	}
	hit("after-apply")
	b.rows.settle()
	for stream, f := range b.states {
		if f.state != nil {
			n.states.Add(stream, f)
		}
	}
	for stream := range b.fresh {
		if b.states[stream].state == nil {
			n.states.Remove(stream)
		}
	}
	n.advance(b.tip, tree)
	return nil
}

// sameMessage compares the log's word for a commit with the store's.
func sameMessage(store Reader, m Message) error {
	have, err := readMessage(store, m.Sequence)
	if err != nil {
		return err
	}
	if !bytes.Equal(have, m.Data) {
		return fmt.Errorf("%w: log and store hold different bytes for commit %d", ErrCorrupt, m.Sequence)
	}
	return nil
}
