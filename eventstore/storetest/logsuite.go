package storetest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"seamshare.example/eventstore"
)

// limit ends a test that hangs.
const limit = time.Minute

func testContext(t testing.TB) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	t.Cleanup(cancel)
	return ctx
}

// TestLog holds an implementation to the contract of eventstore.Log. create
// makes an empty log and returns what opens it, any number of times at once.
func TestLog(t *testing.T, create func(t *testing.T) (open func() eventstore.Log)) {
	data := func(n int) []byte { return fmt.Appendf(nil, "commit %d", n) }
	id := func(n int) eventstore.CommitID { return eventstore.CommitID{byte(n >> 8), byte(n)} }
	fill := func(t *testing.T, l eventstore.Log, from, to int) {
		t.Helper()
		for n := from + 1; n <= to; n++ {
			if err := l.Publish(testContext(t), eventstore.Sequence(n-1), id(n), data(n)); err != nil {
				t.Fatal(err)
			}
		}
	}
	expectStatus := func(t *testing.T, l eventstore.Log, last int) eventstore.LogStatus {
		t.Helper()
		s, err := l.Status(testContext(t))
		if err != nil {
			t.Fatal(err)
		}
		if s.Last != eventstore.Sequence(last) || s.Messages != uint64(last) || len(s.Wrong) > 0 || s.Created.IsZero() ||
			s.First > 1 || last > 0 && s.First != 1 {
			t.Fatalf("status %+v, want %d messages from 1", s, last)
		}
		return s
	}

	t.Run("OK: what is published is there, whole and in order", func(t *testing.T) {
		l := create(t)()
		expectStatus(t, l, 0)
		fill(t, l, 0, 20)
		expectStatus(t, l, 20)
		for n := 1; n <= 20; n++ {
			m, err := l.Read(testContext(t), eventstore.Sequence(n))
			if err != nil || m.Sequence != eventstore.Sequence(n) || !bytes.Equal(m.Data, data(n)) {
				t.Fatalf("read %+v, %v", m, err)
			}
		}
	})

	t.Run("OK: the largest commit is stored whole", func(t *testing.T) {
		l := create(t)()
		big := bytes.Repeat([]byte{0, 1, 2, 0xff}, eventstore.MaxCommitBytes/4)
		if err := l.Publish(testContext(t), 0, id(1), big); err != nil {
			t.Fatal(err)
		}
		if m, err := l.Read(testContext(t), 1); err != nil || !bytes.Equal(m.Data, big) {
			t.Fatalf("read %d bytes, %v", len(m.Data), err)
		}
	})

	t.Run("OK: the caller's slice is its own again", func(t *testing.T) {
		l := create(t)()
		mine := data(1)
		if err := l.Publish(testContext(t), 0, id(1), mine); err != nil {
			t.Fatal(err)
		}
		clear(mine)
		if m, err := l.Read(testContext(t), 1); err != nil || !bytes.Equal(m.Data, data(1)) {
			t.Fatalf("read %q, %v", m.Data, err)
		}
	})

	t.Run("refused: any expectation but the last sequence", func(t *testing.T) {
		l := create(t)()
		for _, expected := range []eventstore.Sequence{1, 7} {
			if err := l.Publish(testContext(t), expected, id(90), data(90)); !errors.Is(err, eventstore.ErrConflict) {
				t.Fatalf("expected %d in an empty log: %v", expected, err)
			}
		}
		fill(t, l, 0, 3)
		for _, expected := range []eventstore.Sequence{0, 2, 4, 100} {
			if err := l.Publish(testContext(t), expected, id(91), data(91)); !errors.Is(err, eventstore.ErrConflict) {
				t.Fatalf("expected %d of 3: %v", expected, err)
			}
		}
		expectStatus(t, l, 3)
	})

	t.Run("OK: a repeated publish leaves one message", func(t *testing.T) {
		l := create(t)()
		fill(t, l, 0, 2)
		for range 3 {
			if err := l.Publish(testContext(t), 1, id(2), data(2)); err != nil && !errors.Is(err, eventstore.ErrConflict) {
				t.Fatal(err)
			}
		}
		expectStatus(t, l, 2)
	})

	t.Run("OK: of publishers that race for a place exactly one gets it", func(t *testing.T) {
		open := create(t)
		logs := []eventstore.Log{open(), open(), open()}
		for seq := range eventstore.Sequence(20) {
			var wg sync.WaitGroup
			won := make([]bool, len(logs))
			for i, l := range logs {
				wg.Go(func() {
					err := l.Publish(testContext(t), seq, eventstore.CommitID{byte(seq), byte(i), 1}, fmt.Appendf(nil, "%d by %d", seq, i))
					if won[i] = err == nil; err != nil && !errors.Is(err, eventstore.ErrConflict) {
						t.Errorf("publish: %v", err)
					}
				})
			}
			wg.Wait()
			m, err := logs[0].Read(testContext(t), seq+1)
			if err != nil {
				t.Fatal(err)
			}
			for i, w := range won {
				if w != (string(m.Data) == fmt.Sprintf("%d by %d", seq, i)) {
					t.Fatalf("publisher %d won: %v, and %q stands there", i, w, m.Data)
				}
			}
		}
	})

	t.Run("unknown: a publish whose context has ended", func(t *testing.T) {
		l := create(t)()
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		err := l.Publish(ctx, 0, id(1), data(1))
		if !errors.Is(err, eventstore.ErrUnknown) {
			t.Fatalf("got %v", err)
		}
		// The same bytes again settle it.
		if err := l.Publish(testContext(t), 0, id(1), data(1)); err != nil && !errors.Is(err, eventstore.ErrConflict) {
			t.Fatal(err)
		}
		expectStatus(t, l, 1)
	})

	t.Run("no message: where none is", func(t *testing.T) {
		l := create(t)()
		fill(t, l, 0, 2)
		for _, seq := range []eventstore.Sequence{3, 4, 1000} {
			if m, err := l.Read(testContext(t), seq); !errors.Is(err, eventstore.ErrNoMessage) {
				t.Fatalf("message %d: %q, %v", seq, m.Data, err)
			}
		}
	})

	t.Run("OK: a follower gets what is there and what comes", func(t *testing.T) {
		open := create(t)
		l, other := open(), open()
		fill(t, l, 0, 5)
		for _, after := range []int{0, 3, 5} {
			f, err := l.Follow(testContext(t), eventstore.Sequence(after))
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			for n := after + 1; n <= 5; n++ {
				expectNext(t, f, n, data(n))
			}
			// It waits, and a wait that ended loses nothing.
			ctx, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
			if m, err := f.Next(ctx); err == nil || !errors.Is(ctx.Err(), context.DeadlineExceeded) {
				t.Fatalf("got %q, %v", m.Data, err)
			}
			cancel()
		}
		f, err := l.Follow(testContext(t), 4)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		fill(t, other, 5, 30)
		for n := 5; n <= 30; n++ {
			expectNext(t, f, n, data(n))
		}
	})

	t.Run("OK: messages stay when the log is closed", func(t *testing.T) {
		open := create(t)
		l := open()
		created := expectStatus(t, l, 0).Created
		fill(t, l, 0, 3)
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
		l = open()
		if again := expectStatus(t, l, 3).Created; !again.Equal(created) {
			t.Fatalf("created at %s, then at %s", created, again)
		}
	})
}

func expectNext(t *testing.T, f eventstore.Follower, n int, data []byte) {
	t.Helper()
	m, err := f.Next(testContext(t))
	if err != nil {
		t.Fatal(err)
	}
	if m.Sequence != eventstore.Sequence(n) || !bytes.Equal(m.Data, data) {
		t.Fatalf("got commit %d %q, want %d", m.Sequence, m.Data, n)
	}
}
