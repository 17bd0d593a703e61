package eventstore_test

import (
	"context"
	"errors"
	"sync/atomic"
	"testing"
	"time"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/storetest"
)

// hookedLog lets a test stand between a node and the log.
type hookedLog struct {
	*storetest.MemoryLog
	hook atomic.Pointer[func(expected eventstore.Sequence, id eventstore.CommitID, data []byte) (handled bool, err error)]
}

func (l *hookedLog) set(hook func(eventstore.Sequence, eventstore.CommitID, []byte) (bool, error)) {
	l.hook.Store(&hook)
}

func (l *hookedLog) Publish(ctx context.Context, expected eventstore.Sequence, id eventstore.CommitID, data []byte) error {
	if hook := l.hook.Load(); hook != nil {
		if handled, err := (*hook)(expected, id, data); handled {
			return err
		}
	}
	return l.MemoryLog.Publish(ctx, expected, id, data)
}

// once makes a hook that works for the first publish only.
func once(fn func(eventstore.Sequence, eventstore.CommitID, []byte) error) func(eventstore.Sequence, eventstore.CommitID, []byte) (bool, error) {
	var done atomic.Bool
	return func(expected eventstore.Sequence, id eventstore.CommitID, data []byte) (bool, error) {
		if done.Swap(true) {
			return false, nil
		}
		return true, fn(expected, id, data)
	}
}

func messages(t testing.TB, log eventstore.Log) int {
	t.Helper()
	s, err := log.Status(testContext(t))
	if err != nil {
		t.Fatal(err)
	}
	return int(s.Last)
}

func TestUnknownOutcome(t *testing.T) {
	for name, faults := range map[string][]storetest.Fault{
		"not stored, but an error":        {storetest.LostButError},
		"stored, but an error":            {storetest.StoredButError},
		"late":                            {storetest.Late},
		"again and again":                 {storetest.LostButError, storetest.Late, storetest.LostButError, storetest.StoredButError},
		"lost, then no space, then space": {storetest.LostButError, storetest.NoSpace, storetest.NoSpace},
		"stored, then no space":           {storetest.StoredButError, storetest.NoSpace},
	} {
		for _, shared := range []bool{false, true} {
			t.Run("OK: exactly once: "+name, func(t *testing.T) {
				log := storetest.NewMemoryLog(shared)
				n := openNode(t, config(log, storetest.NewMemoryStore()))
				decide(t, n, request("ann", "before"), storetest.Note("x", "x"))
				log.Fail(faults...)
				first := decide(t, n, request("ann", "take"), storetest.Take("ann", "s"))
				if log.Land() {
					t.Fatal("a late publish found its place free")
				}
				if first.Repeated || first.First != 2 || messages(t, log) != 2 {
					t.Fatalf("outcome %+v, %d messages", first, messages(t, log))
				}
				decide(t, n, request("bob", "after"), storetest.Note("y", "y"))
				if again := decide(t, n, request("ann", "take"), storetest.Take("ann", "s")); !again.Repeated || again.First != 2 {
					t.Fatalf("repeat gave %+v", again)
				}
			})
		}
	}

	t.Run("OK: it lands late, before the next try", func(t *testing.T) {
		log := &hookedLog{MemoryLog: storetest.NewMemoryLog(true)}
		n := openNode(t, config(log, storetest.NewMemoryStore()))
		log.set(once(func(expected eventstore.Sequence, id eventstore.CommitID, data []byte) error {
			log.Fail(storetest.Late)
			err := log.MemoryLog.Publish(t.Context(), expected, id, data)
			if !log.Land() {
				t.Error("its place was taken")
			}
			return err
		}))
		if o := decide(t, n, request("ann", "take"), storetest.Take("ann", "s")); o.First != 1 || messages(t, log) != 1 {
			t.Fatalf("outcome %+v, %d messages", o, messages(t, log))
		}
	})

	t.Run("OK: another node takes the place meanwhile, and it never lands", func(t *testing.T) {
		log := &hookedLog{MemoryLog: storetest.NewMemoryLog(true)}
		n := openNode(t, config(log, storetest.NewMemoryStore()))
		other := openNode(t, config(log.MemoryLog, storetest.NewMemoryStore()))
		log.set(once(func(expected eventstore.Sequence, id eventstore.CommitID, data []byte) error {
			log.Fail(storetest.Late)
			err := log.MemoryLog.Publish(t.Context(), expected, id, data)
			decide(t, other, request("bob", "take"), storetest.Take("bob", "s1"))
			if log.Land() {
				t.Error("its place was free")
			}
			return err
		}))
		o := decide(t, n, request("ann", "take"), storetest.Take("ann", "s2"))
		if o.First != 2 || messages(t, log) != 2 || count(t, n, 2, "ann") != 1 || count(t, n, 2, "bob") != 1 {
			t.Fatalf("outcome %+v, %d messages", o, messages(t, log))
		}
	})

	t.Run("refused: another node took the stone while the outcome was unknown", func(t *testing.T) {
		log := &hookedLog{MemoryLog: storetest.NewMemoryLog(true)}
		n := openNode(t, config(log, storetest.NewMemoryStore()))
		other := openNode(t, config(log.MemoryLog, storetest.NewMemoryStore()))
		log.set(once(func(eventstore.Sequence, eventstore.CommitID, []byte) error {
			decide(t, other, request("bob", "take"), storetest.Take("bob", "s"))
			return eventstore.ErrUnknown
		}))
		if _, err := n.Decide(testContext(t), request("ann", "take"), storetest.Take("ann", "s")); !errors.Is(err, storetest.ErrTaken) {
			t.Fatalf("got %v", err)
		}
	})

	t.Run("unknown: only when the caller's time ends; reads go on, and it happens once", func(t *testing.T) {
		log := &hookedLog{MemoryLog: storetest.NewMemoryLog(true)}
		n := openNode(t, config(log, storetest.NewMemoryStore()))
		decide(t, n, request("ann", "before"), storetest.Note("x", "x"))
		tried := make(chan struct{}, 1000)
		var mended atomic.Bool
		log.set(func(eventstore.Sequence, eventstore.CommitID, []byte) (bool, error) {
			if mended.Load() {
				return false, nil
			}
			tried <- struct{}{}
			return true, eventstore.ErrUnknown
		})
		ctx, cancel := context.WithCancel(context.Background())
		got := make(chan error, 1)
		go func() {
			_, err := n.Decide(ctx, request("ann", "take"), storetest.Take("ann", "s"))
			got <- err
		}()
		<-tried
		<-tried
		select {
		case err := <-got:
			t.Fatalf("answered %v while nobody knew", err)
		default:
		}
		if s := stone(t, n, 1, "s"); s.Holder != "" {
			t.Fatalf("a read shows %+v", s)
		}
		cancel()
		if err := <-got; !errors.Is(err, eventstore.ErrOutcomeUnknown) {
			t.Fatalf("got %v", err)
		}
		mended.Store(true)
		if o := decide(t, n, request("ann", "take"), storetest.Take("ann", "s")); !o.Repeated || o.First != 2 {
			t.Fatalf("repeat gave %+v", o)
		}
	})

	t.Run("unknown: the node stops while nobody knows; the next start does", func(t *testing.T) {
		log := &hookedLog{MemoryLog: storetest.NewMemoryLog(true)}
		store := storetest.NewMemoryStore()
		n := openNode(t, config(log, store))
		tried := make(chan struct{}, 1000)
		log.set(func(expected eventstore.Sequence, id eventstore.CommitID, data []byte) (bool, error) {
			_ = log.MemoryLog.Publish(t.Context(), expected, id, data)
			tried <- struct{}{}
			return true, eventstore.ErrUnknown
		})
		got := make(chan error, 1)
		go func() {
			_, err := n.Decide(context.Background(), request("ann", "take"), storetest.Take("ann", "s"))
			got <- err
		}()
		<-tried
		n.Close()
		if err := <-got; !errors.Is(err, eventstore.ErrOutcomeUnknown) {
			t.Fatalf("got %v", err)
		}
		n = openNode(t, config(log.MemoryLog, store))
		if o := decide(t, n, request("ann", "take"), storetest.Take("ann", "s")); !o.Repeated {
			t.Fatalf("repeat gave %+v", o)
		}
	})
}

// stoppedLog publishes only when its node is being stopped.
type stoppedLog struct {
	*storetest.MemoryLog
	under, stopping chan struct{}
}

func (l *stoppedLog) Publish(ctx context.Context, expected eventstore.Sequence, id eventstore.CommitID, data []byte) error {
	close(l.under)
	<-l.stopping
	return l.MemoryLog.Publish(ctx, expected, id, data)
}

func (l *stoppedLog) Follow(ctx context.Context, after eventstore.Sequence) (eventstore.Follower, error) {
	context.AfterFunc(ctx, func() { close(l.stopping) })
	return l.MemoryLog.Follow(ctx, after)
}

func TestStopping(t *testing.T) {
	t.Run("OK: a commit under way is answered", func(t *testing.T) {
		log := &stoppedLog{storetest.NewMemoryLog(true), make(chan struct{}), make(chan struct{})}
		n := openNode(t, config(log, storetest.NewMemoryStore()))
		got := make(chan error, 1)
		go func() {
			_, err := n.Decide(context.Background(), request("ann", "take"), storetest.Take("ann", "s"))
			got <- err
		}()
		<-log.under
		n.Close()
		if err := <-got; err != nil {
			t.Fatalf("got %v", err)
		}
	})
	t.Run("refused: whoever waits or comes later", func(t *testing.T) {
		n := openNode(t, config(storetest.NewMemoryLog(false), storetest.NewMemoryStore()))
		waiting := make(chan error, 1)
		go func() {
			_, err := n.Query(context.Background(), 100)
			waiting <- err
		}()
		n.Close()
		if err := <-waiting; !errors.Is(err, eventstore.ErrClosed) {
			t.Fatalf("the waiting read got %v", err)
		}
		if _, err := n.Decide(context.Background(), request("ann", "late"), storetest.Note("x", "x")); !errors.Is(err, eventstore.ErrClosed) {
			t.Fatalf("the late command got %v", err)
		}
	})
}

func TestNoSpace(t *testing.T) {
	log := storetest.NewMemoryLog(false)
	n := openNode(t, config(log, storetest.NewMemoryStore()))
	decide(t, n, request("ann", "before"), storetest.Note("x", "x"))
	log.Fail(storetest.NoSpace)
	if _, err := n.Decide(testContext(t), request("ann", "take"), storetest.Take("ann", "s")); !errors.Is(err, eventstore.ErrLowDisk) {
		t.Fatalf("got %v", err)
	}
	if n.Trouble() != nil || messages(t, log) != 1 || stone(t, n, 0, "s").Holder != "" {
		t.Fatalf("trouble %v, %d messages", n.Trouble(), messages(t, log))
	}
	if o := decide(t, n, request("ann", "take"), storetest.Take("ann", "s")); o.Repeated {
		t.Fatal("it was stored")
	}
}

func TestRefusedByTheLog(t *testing.T) {
	log := storetest.NewMemoryLog(false)
	n := openNode(t, config(log, storetest.NewMemoryStore()))
	log.Fail(storetest.Refused)
	_, err := n.Decide(testContext(t), request("ann", "take"), storetest.Take("ann", "s"))
	var trouble *eventstore.TroubleError
	if !errors.As(err, &trouble) || !errors.Is(err, eventstore.ErrRefused) || messages(t, log) != 0 {
		t.Fatalf("got %v", err)
	}
	expectTrouble(t, n)
}

// fatal gathers what Config.Fatal hears.
type fatal chan error

func (f fatal) expect(t *testing.T) {
	t.Helper()
	select {
	case err := <-f:
		if !errors.Is(err, eventstore.ErrIO) {
			t.Fatalf("fatal heard %v", err)
		}
	case <-time.After(limit):
		t.Fatal("fatal heard nothing")
	}
	if len(f) > 0 {
		t.Fatal("fatal was called twice")
	}
}

func TestStorageFails(t *testing.T) {
	for _, c := range []struct {
		name   string
		fail   func(*storetest.MemoryLog, *storetest.MemoryStore)
		stored bool // it counts after the next start
	}{
		{"the log's disk", func(l *storetest.MemoryLog, _ *storetest.MemoryStore) { l.Fail(storetest.Broken) }, false},
		{"the log's disk, after it kept the commit", func(l *storetest.MemoryLog, _ *storetest.MemoryStore) {
			l.Fail(storetest.StoredButError, storetest.Broken)
		}, true},
		{"the store's disk", func(_ *storetest.MemoryLog, s *storetest.MemoryStore) { s.FailWrite(false) }, true},
		{"the store's disk, after it kept the rows", func(_ *storetest.MemoryLog, s *storetest.MemoryStore) { s.FailWrite(true) }, true},
	} {
		t.Run("stops: "+c.name, func(t *testing.T) {
			log, store, heard := storetest.NewMemoryLog(false), storetest.NewMemoryStore(), make(fatal, 10)
			cfg := config(log, store)
			cfg.Fatal = func(err error) { heard <- err }
			n := openNode(t, cfg)
			decide(t, n, request("ann", "before"), storetest.Take("ann", "s0"))
			c.fail(log, store)
			if _, err := n.Decide(testContext(t), request("ann", "take"), storetest.Take("ann", "s")); !errors.Is(err, eventstore.ErrOutcomeUnknown) {
				t.Fatalf("got %v", err)
			}
			heard.expect(t)
			expectTrouble(t, n)
			n.Close()

			n = openNode(t, config(log, store))
			o := decide(t, n, request("ann", "take"), storetest.Take("ann", "s"))
			if o.Repeated != c.stored || count(t, n, 0, "ann") != 2 {
				t.Fatalf("outcome %+v", o)
			}
			rebuilt := storetest.NewMemoryStore()
			again := openNode(t, config(log, rebuilt))
			if again.Checkpoint() != n.Checkpoint() {
				t.Fatalf("a replay leads to %+v, the store is at %+v", again.Checkpoint(), n.Checkpoint())
			}
			expectSameRows(t, dump(t, store), dump(t, rebuilt))
		})
	}
}
