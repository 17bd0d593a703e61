// Package merkle makes the log's history something a stranger can check: a
// tree of hashes over all records, signed checkpoints of it, and files that
// carry one stone's chain with the proof of each of its records.
//
// The tree is that of RFC 6962 section 2.1 with SHA-256. Tiles, checkpoints
// and proofs follow c2sp.org/tlog-tiles, c2sp.org/tlog-checkpoint and
// c2sp.org/tlog-proof@v1; signatures follow c2sp.org/signed-note with Ed25519.
//
// An index counts leaves from 0, as in those documents; the log's position of
// the same record is index + 1.
package merkle

import (
	"crypto/sha256"
	"errors"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// Hash is a SHA-256 hash: of a leaf, a node or a whole tree. Its String is
// base64.
type Hash = tlog.Hash

// MaxSize bounds a tree: a thousand records a second for 8 900 years. It keeps
// every computation on sizes clear of overflow.
const MaxSize = 1 << 48

// ErrProof: a proof does not show what it is said to show. Errors that wrap it
// say which proof.
var ErrProof = errors.New("the proof does not lead to the root")

// LeafHash hashes one leaf's bytes as RFC 6962 does.
func LeafHash(leaf []byte) Hash {
	// Nearly every leaf fits on the stack; tlog.RecordHash allocates each time.
	var buf [1024]byte
	if len(leaf) >= len(buf) {
		return tlog.RecordHash(leaf)
	}
	n := copy(buf[1:], leaf)
	return sha256.Sum256(buf[:1+n])
}

// VerifyInclusion checks that the leaf with this hash stands at index in the
// tree of the given size and root. Its error is ErrProof.
func VerifyInclusion(proof []Hash, index, size uint64, root, leaf Hash) error {
	if size > MaxSize || index >= size {
		return fmt.Errorf("leaf %d of a tree of size %d: an index must be below the size, and a size at most %d: %w",
			index, size, uint64(MaxSize), ErrProof)
	}
	if err := tlog.CheckRecord(proof, int64(size), root, int64(index), leaf); err != nil {
		return fmt.Errorf("leaf %d of the tree of size %d: %w", index, size, ErrProof)
	}
	return nil
}

// VerifyConsistency checks that the tree of size old is a prefix of the tree of
// the given size. Its error is ErrProof.
//
// old must be 1 or more. Every tree extends the empty one, so a proof from size
// 0 would say nothing; RFC 9162 section 2.1.4.2 by the letter would accept it
// with any root.
func VerifyConsistency(proof []Hash, old, size uint64, oldRoot, root Hash) error {
	if old < 1 || old > size || size > MaxSize {
		return fmt.Errorf("growth from size %d to %d: sizes must be 1 ≤ old ≤ new ≤ %d: %w",
			old, size, uint64(MaxSize), ErrProof)
	}
	if err := tlog.CheckTree(proof, int64(size), root, int64(old), oldRoot); err != nil {
		return fmt.Errorf("growth from size %d to %d: %w", old, size, ErrProof)
	}
	return nil
}
