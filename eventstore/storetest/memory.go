package storetest

import (
	"bytes"
	"context"
	"sync"
	"time"

	"github.com/tidwall/btree"

	"seamshare.example/eventstore"
)

// MemoryStore is an eventstore.Store in memory. Snapshots are copies that share
// what has not changed.
type MemoryStore struct {
	mu   sync.Mutex
	rows *btree.Map[string, []byte]
	// fail makes the next writes fail: each value is one write, true: it is
	// kept all the same.
	fail   []bool
	writes int
}

// NewMemoryStore is an empty store.
func NewMemoryStore() *MemoryStore { return &MemoryStore{rows: &btree.Map[string, []byte]{}} }

// FailWrite makes the next write return an error, with or without keeping it.
func (s *MemoryStore) FailWrite(kept bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.fail = append(s.fail, kept)
}

// Write changes all rows at once.
func (s *MemoryStore) Write(changes []eventstore.Change) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.writes++
	var err error
	if len(s.fail) > 0 {
		kept := s.fail[0]
		s.fail = s.fail[1:]
		err = eventstore.ErrIO
		if !kept {
			return err
		}
	}
	next := s.rows.Copy()
	for _, c := range changes {
		if c.Value == nil {
			next.Delete(string(c.Key))
		} else {
			next.Set(string(c.Key), bytes.Clone(c.Value))
		}
	}
	s.rows = next
	return err
}

// Writes counts the calls of Write.
func (s *MemoryStore) Writes() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.writes
}

// Snapshot is the state of the last write.
func (s *MemoryStore) Snapshot() eventstore.Snapshot {
	s.mu.Lock()
	defer s.mu.Unlock()
	return memorySnapshot{s.rows.Copy()}
}

// Size counts nothing: it is memory.
func (s *MemoryStore) Size() int64 { return 0 }

// Close keeps the rows, so that a test can open a node on them again.
func (s *MemoryStore) Close() error { return nil }

type memorySnapshot struct{ rows *btree.Map[string, []byte] }

func (s memorySnapshot) Close() {}

func (s memorySnapshot) Get(key []byte) ([]byte, error) {
	v, ok := s.rows.Get(string(key))
	if !ok {
		return nil, nil
	}
	return v, nil
}

func (s memorySnapshot) Scan(prefix, start []byte, reverse bool, fn func(key, value []byte) bool) error {
	visit := func(key string, value []byte) bool {
		if bytes.HasPrefix([]byte(key), prefix) {
			return fn([]byte(key), value)
		}
		// In reverse, keys behind the prefix come first and are passed over.
		return reverse && key > string(prefix)
	}
	switch {
	case !reverse && start != nil && bytes.Compare(start, prefix) > 0:
		s.rows.Ascend(string(start), visit)
	case !reverse:
		s.rows.Ascend(string(prefix), visit)
	case start != nil:
		s.rows.Descend(string(start), visit)
	default:
		s.rows.Reverse(visit)
	}
	return nil
}

// MemoryLog is an eventstore.Log in memory that keeps the contract, with
// switches for what can go wrong on a network. Several nodes may share it.
type MemoryLog struct {
	mu       sync.Mutex
	created  time.Time
	messages [][]byte
	grown    chan struct{}
	shared   bool
	faults   []Fault
	late     []latePublish
	wrong    []string
	gone     bool
	tries    int
}

// Fault is what one publish does instead of working.
type Fault int

// The faults.
const (
	// LostButError: not stored, and the outcome is unknown.
	LostButError Fault = iota + 1
	// StoredButError: stored, and the outcome is unknown.
	StoredButError
	// Late: the outcome is unknown, and it is stored when Land is called, if
	// its place is still free.
	Late
	// NoSpace: refused for want of space.
	NoSpace
	// Refused: never stored, for its size or the log's settings.
	Refused
	// Broken: the device failed.
	Broken
)

type latePublish struct {
	expected eventstore.Sequence
	data     []byte
}

// NewMemoryLog is an empty log. shared: several nodes write to it.
func NewMemoryLog(shared bool) *MemoryLog {
	return &MemoryLog{created: time.Unix(1_700_000_000, 0).UTC(), grown: make(chan struct{}), shared: shared}
}

// Fail makes the next publishes go wrong, one each.
func (l *MemoryLog) Fail(faults ...Fault) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.faults = append(l.faults, faults...)
}

// Land lets a late publish arrive. It tells whether its place was still free.
func (l *MemoryLog) Land() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.late) == 0 {
		return false
	}
	p := l.late[0]
	l.late = l.late[1:]
	return l.append(p.expected, p.data)
}

func (l *MemoryLog) append(expected eventstore.Sequence, data []byte) bool {
	if int(expected) != len(l.messages) {
		return false
	}
	l.messages = append(l.messages, bytes.Clone(data))
	close(l.grown)
	l.grown = make(chan struct{})
	return true
}

// Misconfigure makes Status report a wrong setting.
func (l *MemoryLog) Misconfigure(what string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.wrong = append(l.wrong, what)
}

// Damage changes the stored messages behind everybody's back.
func (l *MemoryLog) Damage(change func(messages [][]byte) [][]byte) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.messages = change(l.messages)
}

// Publish stores data, or does what the next fault says.
func (l *MemoryLog) Publish(ctx context.Context, expected eventstore.Sequence, _ eventstore.CommitID, data []byte) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.tries++
	if ctx.Err() != nil {
		return eventstore.ErrUnknown
	}
	if l.gone {
		return eventstore.ErrNoLog
	}
	if len(l.faults) > 0 {
		fault := l.faults[0]
		l.faults = l.faults[1:]
		switch fault {
		case StoredButError:
			l.append(expected, data)
			return eventstore.ErrUnknown
		case Late:
			l.late = append(l.late, latePublish{expected, bytes.Clone(data)})
			return eventstore.ErrUnknown
		case NoSpace:
			return eventstore.ErrNoSpace
		case Refused:
			return eventstore.ErrRefused
		case Broken:
			return eventstore.ErrIO
		default:
			return eventstore.ErrUnknown
		}
	}
	if !l.append(expected, data) {
		return eventstore.ErrConflict
	}
	return nil
}

// Publishes counts the calls of Publish.
func (l *MemoryLog) Publishes() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.tries
}

// Lose makes the log go away, or come back.
func (l *MemoryLog) Lose(gone bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.gone = gone
}

// Recreate gives the log another time of creation.
func (l *MemoryLog) Recreate(at time.Time) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.created = at
}

// Put appends bytes that no node wrote.
func (l *MemoryLog) Put(data []byte) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.append(eventstore.Sequence(len(l.messages)), data)
}

// Status is always known here.
func (l *MemoryLog) Status(context.Context) (eventstore.LogStatus, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.gone {
		return eventstore.LogStatus{}, eventstore.ErrNoLog
	}
	s := eventstore.LogStatus{Created: l.created, Last: eventstore.Sequence(len(l.messages)), Messages: uint64(len(l.messages)), Wrong: l.wrong}
	if len(l.messages) > 0 {
		s.First = 1
	}
	return s, nil
}

// Read returns a message.
func (l *MemoryLog) Read(_ context.Context, seq eventstore.Sequence) (eventstore.Message, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if seq == 0 || int(seq) > len(l.messages) {
		return eventstore.Message{}, eventstore.ErrNoMessage
	}
	return eventstore.Message{Sequence: seq, Data: l.messages[seq-1]}, nil
}

// Follow delivers messages as they come.
func (l *MemoryLog) Follow(_ context.Context, after eventstore.Sequence) (eventstore.Follower, error) {
	return &memoryFollower{l, after}, nil
}

// Exclusive is what NewMemoryLog was told.
func (l *MemoryLog) Exclusive() bool { return !l.shared }

// Close keeps the messages.
func (l *MemoryLog) Close() error { return nil }

type memoryFollower struct {
	log  *MemoryLog
	last eventstore.Sequence
}

func (f *memoryFollower) Close() {}

func (f *memoryFollower) Next(ctx context.Context) (eventstore.Message, error) {
	for {
		f.log.mu.Lock()
		grown := f.log.grown
		if int(f.last) < len(f.log.messages) {
			f.last++
			m := eventstore.Message{Sequence: f.last, Data: f.log.messages[f.last-1]}
			f.log.mu.Unlock()
			return m, nil
		}
		f.log.mu.Unlock()
		select {
		case <-grown:
		case <-ctx.Done():
			return eventstore.Message{}, ctx.Err()
		}
	}
}
