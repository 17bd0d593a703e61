package eventstore

import (
	"context"
	"errors"
	"fmt"
	"time"

	"seamshare.example/eventstore/merkle"
)

// signEvery is how often a checkpoint is signed at most.
const signEvery = time.Second

// sign signs the tip, off the writer's path. The signer has written what it
// signs to disk before the signature can be seen.
func (n *Node) sign(ctx context.Context) {
	for {
		at := n.tip.Load()
		if n.Trouble() == nil && uint64(at.Position) > n.signer.Last().Size {
			hit("while-signing")
			if _, err := n.signer.SignTree(at.tree); err != nil {
				if errors.Is(err, merkle.ErrStopped) {
					err = fmt.Errorf("%w: %w", ErrIO, err)
				}
				n.fail(n.asTrouble("the records can't be signed", at.Checkpoint, err))
				return
			}
			old := n.signed.Swap(&changed{make(chan struct{})})
			close(old.c)
			if pause(ctx, signEvery) != nil {
				return
			}
			continue
		}
		select {
		case <-at.c:
		case <-ctx.Done():
			return
		}
	}
}

// Signer signs for this node; nil where another node signs.
func (n *Node) Signer() *merkle.Signer { return n.signer }

// Signed waits for a signed checkpoint that covers a position.
func (n *Node) Signed(ctx context.Context, p Position) (merkle.SignedCheckpoint, error) {
	if n.signer == nil {
		return merkle.SignedCheckpoint{}, ErrNoSigner
	}
	for {
		renewed := n.signed.Load()
		if last := n.signer.Last(); last.Size >= uint64(p) {
			return last, nil
		}
		if t := n.Trouble(); t != nil {
			return merkle.SignedCheckpoint{}, t
		}
		select {
		case <-renewed.c:
		case <-n.halted:
		case <-ctx.Done():
			return merkle.SignedCheckpoint{}, fmt.Errorf("no checkpoint for position %d was signed in time: %w", p, ctx.Err())
		}
	}
}

// scrubPause is between two commits that the scrub compares.
const scrubPause = 20 * time.Millisecond

// scrub compares every commit in the log with the copy in the store, slowly and
// for ever, so that damage on disk is found while the other copy is good.
func (n *Node) scrub(ctx context.Context) {
	for seq := Sequence(1); ; seq++ {
		if seq > n.tip.Load().Sequence {
			seq = 1
			if pause(ctx, time.Minute) != nil {
				return
			}
		}
		if pause(ctx, scrubPause) != nil || n.Trouble() != nil {
			return
		}
		if err := n.compare(ctx, seq); err != nil && (errors.Is(err, ErrCorrupt) || errors.Is(err, ErrNoMessage)) {
			cp := n.tip.Load().Checkpoint
			cp.Sequence = seq
			n.fail(n.asTrouble("damage was found on disk", cp, err))
			return
		}
	}
}

func (n *Node) compare(ctx context.Context, seq Sequence) error {
	m, err := n.log.Read(ctx, seq)
	if err != nil {
		return err
	}
	snapshot := n.store.Snapshot()
	defer snapshot.Close()
	return sameMessage(snapshot, m)
}
