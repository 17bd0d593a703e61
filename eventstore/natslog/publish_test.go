package natslog_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/natslog"
)

func TestPublish(t *testing.T) {
	t.Run("stored and read back byte for byte", func(t *testing.T) {
		l, _ := newLog(t)
		for n, data := range [][]byte{{}, {0}, bytes.Repeat([]byte{0xff, 0, '\r', '\n'}, 1<<18)} {
			if err := l.Publish(testContext(t), eventstore.Sequence(n), commitID(n), data); err != nil {
				t.Fatal(err)
			}
			m, err := l.Read(testContext(t), eventstore.Sequence(n+1))
			if err != nil {
				t.Fatal(err)
			}
			if m.Sequence != eventstore.Sequence(n+1) || !bytes.Equal(m.Data, data) {
				t.Fatalf("commit %d came back as %d with %d bytes, want %d", n+1, m.Sequence, len(m.Data), len(data))
			}
		}
		expectStatus(t, l, 3)
	})

	t.Run("conflict: another writer stands there", func(t *testing.T) {
		l, s := newLog(t)
		other := open(t, natslog.Config{Server: s})
		fill(t, l, 0, 1)
		if err := other.Publish(testContext(t), 0, commitID(2), commitData(2)); !errors.Is(err, eventstore.ErrConflict) {
			t.Fatalf("got %v, want a conflict", err)
		}
		expectStatus(t, l, 1)
	})

	t.Run("conflict: the expectation is past the end", func(t *testing.T) {
		l, _ := newLog(t)
		if err := l.Publish(testContext(t), 5, commitID(1), commitData(1)); !errors.Is(err, eventstore.ErrConflict) {
			t.Fatalf("got %v, want a conflict", err)
		}
		expectStatus(t, l, 0)
	})

	t.Run("repeated: at most one message stands there", func(t *testing.T) {
		l, _ := newLog(t)
		fill(t, l, 0, 1)
		for range 3 {
			err := l.Publish(testContext(t), 0, commitID(1), commitData(1))
			if err != nil && !errors.Is(err, eventstore.ErrConflict) {
				t.Fatalf("got %v, want nil or a conflict", err)
			}
		}
		expectStatus(t, l, 1)
		fill(t, l, 1, 2)
	})

	t.Run("refused: larger than the server takes", func(t *testing.T) {
		l, _ := newLog(t)
		if err := l.Publish(testContext(t), 0, commitID(1), make([]byte, 9<<20)); !errors.Is(err, eventstore.ErrRefused) {
			t.Fatalf("got %v, want ErrRefused", err)
		}
		fill(t, l, 0, 1)
	})

	t.Run("no space: nothing stored, and the log still reads", func(t *testing.T) {
		s := startWith(t, natslog.Options{StoreDir: t.TempDir(), MaxStore: 1 << 20})
		create(t, s)
		l := open(t, natslog.Config{Server: s})
		stored, data := 0, make([]byte, 100<<10)
		var err error
		for err == nil && stored < 100 {
			if err = l.Publish(testContext(t), eventstore.Sequence(stored), commitID(stored), data); err == nil {
				stored++
			}
		}
		if !errors.Is(err, eventstore.ErrNoSpace) || stored == 0 {
			t.Fatalf("got %v after %d messages, want ErrNoSpace", err, stored)
		}
		expectStatus(t, l, stored)
		if _, err := l.Read(testContext(t), eventstore.Sequence(stored)); err != nil {
			t.Fatal(err)
		}
	})

	t.Run("no log: the stream was taken away", func(t *testing.T) {
		l, s := newLog(t)
		if err := rawClient(t, s).DeleteStream(testContext(t), streamName); err != nil {
			t.Fatal(err)
		}
		if err := l.Publish(testContext(t), 0, commitID(1), commitData(1)); !errors.Is(err, eventstore.ErrNoLog) {
			t.Fatalf("publish: got %v, want ErrNoLog", err)
		}
		if _, err := l.Status(testContext(t)); !errors.Is(err, eventstore.ErrNoLog) {
			t.Fatalf("status: got %v, want ErrNoLog", err)
		}
		if _, err := l.Read(testContext(t), 1); !errors.Is(err, eventstore.ErrNoLog) {
			t.Fatalf("read: got %v, want ErrNoLog", err)
		}
		if _, err := l.Follow(testContext(t), 0); !errors.Is(err, eventstore.ErrNoLog) {
			t.Fatalf("follow: got %v, want ErrNoLog", err)
		}
	})
}

// Two nodes race for each sequence: one wins it, the other hears of a conflict,
// and the log holds what the winner published.
func TestRace(t *testing.T) {
	const sequences = 150
	l, s := newLog(t)
	nodes := []*natslog.Log{l, open(t, natslog.Config{URL: s.ClientURL()})}
	for seq := range sequences {
		var (
			wg   sync.WaitGroup
			errs [2]error
		)
		for i, node := range nodes {
			wg.Go(func() {
				errs[i] = node.Publish(testContext(t), eventstore.Sequence(seq), commitID(2*seq+i), fmt.Appendf(nil, "node %d", i))
			})
		}
		wg.Wait()
		winner := 0
		if errs[0] != nil {
			winner = 1
		}
		if errs[winner] != nil || !errors.Is(errs[1-winner], eventstore.ErrConflict) {
			t.Fatalf("sequence %d: got %v and %v, want one nil and one conflict", seq+1, errs[0], errs[1])
		}
		m, err := l.Read(testContext(t), eventstore.Sequence(seq+1))
		if err != nil {
			t.Fatal(err)
		}
		if want := fmt.Sprintf("node %d", winner); string(m.Data) != want {
			t.Fatalf("sequence %d holds %q, but %q was acknowledged", seq+1, m.Data, want)
		}
	}
	expectStatus(t, l, sequences)
}

func TestUnknownOutcome(t *testing.T) {
	// behindProxy is a node whose connection can be played with, and one beside
	// the server that sees the truth.
	behindProxy := func(t *testing.T) (node, truth *natslog.Log, p *proxy) {
		truth, s := newLog(t)
		p = newProxy(t, s.ClientURL())
		return open(t, natslog.Config{URL: p.url()}), truth, p
	}
	// impatient ends soon: the outcome of what it bounds is wanted, not its success.
	impatient := func(t *testing.T) context.Context {
		ctx, cancel := context.WithTimeout(context.Background(), 200*time.Millisecond)
		t.Cleanup(cancel)
		return ctx
	}
	t.Run("not stored yet, lands late", func(t *testing.T) {
		node, truth, p := behindProxy(t)
		late := follow(t, truth, 0)
		p.hold(toServer, true)
		if err := node.Publish(impatient(t), 0, commitID(1), commitData(1)); !errors.Is(err, eventstore.ErrUnknown) {
			t.Fatalf("got %v, want ErrUnknown", err)
		}
		expectStatus(t, truth, 0)
		p.hold(toServer, false)
		expectNext(t, late, 0, 1)
		settle(t, node, 1)
		expectStatus(t, truth, 1)
	})

	t.Run("lands late, after another writer: nothing stored", func(t *testing.T) {
		node, truth, p := behindProxy(t)
		p.hold(toServer, true)
		if err := node.Publish(impatient(t), 0, commitID(7), []byte("too late")); !errors.Is(err, eventstore.ErrUnknown) {
			t.Fatalf("got %v, want ErrUnknown", err)
		}
		fill(t, truth, 0, 2)
		p.hold(toServer, false)
		// Its connection keeps order: an answer to this means that the late
		// publish has reached the server.
		expectStatus(t, node, 2)
		expectNext(t, follow(t, node, 0), 0, 2)
	})

	t.Run("stored, but the answer is held", func(t *testing.T) {
		node, truth, p := behindProxy(t)
		p.hold(toClient, true)
		if err := node.Publish(impatient(t), 0, commitID(1), commitData(1)); !errors.Is(err, eventstore.ErrUnknown) {
			t.Fatalf("got %v, want ErrUnknown", err)
		}
		expectNext(t, follow(t, truth, 0), 0, 1)
		p.cut()
		p.hold(toClient, false)
		settle(t, node, 1)
		expectStatus(t, truth, 1)
	})

	t.Run("stored, but the connection is lost: known at once", func(t *testing.T) {
		node, truth, p := behindProxy(t)
		late := follow(t, truth, 0)
		p.hold(toClient, true)
		// Shorter than Publish's own limit, which must not be what ends it.
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		result := make(chan error, 1)
		go func() { result <- node.Publish(ctx, 0, commitID(1), commitData(1)) }()
		expectNext(t, late, 0, 1)
		p.cut()
		p.hold(toClient, false)
		err := <-result
		if !errors.Is(err, eventstore.ErrUnknown) || errors.Is(err, context.DeadlineExceeded) {
			t.Fatalf("got %v, want ErrUnknown by the lost connection", err)
		}
		settle(t, node, 1)
		expectStatus(t, truth, 1)
	})

	t.Run("published while the connection is down: stored when it is back", func(t *testing.T) {
		node, truth, p := behindProxy(t)
		p.down(true)
		result := make(chan error, 1)
		go func() { result <- node.Publish(context.Background(), 0, commitID(1), commitData(1)) }()
		expectStatus(t, truth, 0)
		p.down(false)
		if err := <-result; err != nil && !errors.Is(err, eventstore.ErrUnknown) {
			t.Fatalf("got %v, want nil or ErrUnknown", err)
		}
		settle(t, node, 1)
		expectStatus(t, truth, 1)
	})

	t.Run("the caller's context ends", func(t *testing.T) {
		l, _ := newLog(t)
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		err := l.Publish(ctx, 0, commitID(1), commitData(1))
		if !errors.Is(err, eventstore.ErrUnknown) || !errors.Is(err, context.Canceled) {
			t.Fatalf("got %v, want ErrUnknown by cancellation", err)
		}
	})
}
