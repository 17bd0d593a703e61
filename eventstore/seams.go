package eventstore

import (
	"context"
	"errors"
	"time"
)

// Sequence counts commits in the log, from 1 without gaps. It is the number the
// log itself gives a message.
type Sequence uint64

// Position counts records over all commits, from 1 without gaps. The Merkle
// tree's size is the last position.
type Position uint64

// Errors of the two seams. Implementations wrap them; callers use errors.Is.
var (
	// ErrConflict: another writer stands at the expected place. Nothing was
	// stored by this call.
	ErrConflict = errors.New("another commit was written first")
	// ErrUnknown: the log did not say whether it stored the message. It may
	// still land later.
	ErrUnknown = errors.New("outcome of the publish is unknown")
	// ErrNoSpace: the log has no room for the message. Nothing was stored.
	ErrNoSpace = errors.New("there is no space left for the log")
	// ErrRefused: the log will not store this message, now or later, because of
	// its size or of the log's settings. Nothing was stored.
	ErrRefused = errors.New("the log refuses the message")
	// ErrNoMessage: the log has no message at that sequence.
	ErrNoMessage = errors.New("no message at this sequence")
	// ErrNoLog: there is no log where one was expected.
	ErrNoLog = errors.New("the log does not exist")
	// ErrCorrupt: bytes came back that are not what was written.
	ErrCorrupt = errors.New("stored bytes are damaged")
	// ErrIO: the storage device failed. A failed sync can't be retried, so the
	// process must stop and check at its next start.
	ErrIO = errors.New("storage failed")
)

// Message is one commit as the log holds it.
type Message struct {
	Sequence Sequence
	Data     []byte // the published bytes, never a re-marshal
}

// LogStatus is what the log says of itself, from its leader.
type LogStatus struct {
	Created  time.Time
	First    Sequence // 1 once a message is there; 0 or 1 in an empty log
	Last     Sequence // 0 in an empty log
	Messages uint64
	Bytes    uint64
	// Wrong names each setting that is not as the log needs it ("discard is
	// old"); empty when all are right.
	Wrong []string
}

// Log is the one ordered, durable list of commits. All methods may be called
// from any goroutine; Publish is called by one at a time.
//
// An OK from Publish means that the bytes are synced to disk (one node) or by a
// majority (several). Nothing in the log is ever deleted or changed.
type Log interface {
	// Publish stores data as sequence expected+1, if expected is the last
	// sequence. It returns nil, or an error that is ErrConflict, ErrNoSpace or
	// ErrRefused (nothing stored), ErrUnknown (may or may not be stored, now or
	// later), ErrIO, or ErrNoLog. Repeating a publish with the same expected is
	// safe: at most one message ever stands at expected+1. id travels with the
	// message.
	Publish(ctx context.Context, expected Sequence, id CommitID, data []byte) error
	// Status asks the leader.
	Status(ctx context.Context) (LogStatus, error)
	// Read returns the message at seq; ErrNoMessage when there is none,
	// ErrCorrupt when its bytes do not match the digest stored with it.
	Read(ctx context.Context, seq Sequence) (Message, error)
	// Follow delivers every message after the given sequence in order, those
	// that are there and those that come. The follower heals itself over lost
	// connections; it never skips: a gap shows as an error.
	Follow(ctx context.Context, after Sequence) (Follower, error)
	// Exclusive reports that no other process or node can write to this log.
	Exclusive() bool
	// Close releases the log. Published messages stay.
	Close() error
}

// Follower delivers messages in order. One goroutine uses it.
type Follower interface {
	// Next waits for the next message until ctx ends.
	Next(ctx context.Context) (Message, error)
	Close()
}

// Store is the seam to the local key-value store that holds a copy of every message and
// all that is derived from the log. It can always be rebuilt from the log.
type Store interface {
	// Snapshot is a consistent view of the last Write. Close it.
	Snapshot() Snapshot
	// Write applies all changes at once or none. One caller at a time. A
	// process that dies in Write leaves all of it or nothing of it; a machine
	// that dies may lose the last writes, in order or not (see NeedsRebuild).
	Write(changes []Change) error
	// Size is the store's size on disk in bytes, roughly.
	Size() int64
	// Close flushes and releases the store.
	Close() error
}

// Change sets Key to Value, or deletes Key where Value is nil. The store keeps
// both slices until Write returns.
type Change struct {
	Key, Value []byte
}

// Snapshot reads one consistent state; usable from any goroutine until Close.
type Snapshot interface {
	Reader
	Close()
}

// Reader is the narrow read side that views and decisions see.
type Reader interface {
	// Get returns the value at key, or nil where there is none. The caller may
	// keep but not change it.
	Get(key []byte) ([]byte, error)
	// Scan calls fn for each key that begins with prefix, from the first key ≥
	// start (or, in reverse, the last key ≤ start), in key order (or reverse),
	// until fn returns false. start may be nil: the whole prefix. Keys and
	// values may be kept, not changed. A nil fn value is never passed.
	Scan(prefix, start []byte, reverse bool, fn func(key, value []byte) bool) error
}

// CommitID tells one commit from any other: 16 random bytes.
type CommitID [16]byte
