package natslog_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/natslog"
)

func TestFollow(t *testing.T) {
	t.Run("what is there and what comes, in order, from any place", func(t *testing.T) {
		l, _ := newLog(t)
		fill(t, l, 0, 20)
		for _, after := range []int{0, 1, 19, 20} {
			f := follow(t, l, after)
			expectNext(t, f, after, 20)
			f.Close()
		}
		f := follow(t, l, 15)
		expectNext(t, f, 15, 20)
		fill(t, l, 20, 25)
		expectNext(t, f, 20, 25)
	})

	t.Run("more than it fetches at once, in messages and in bytes", func(t *testing.T) {
		l, s := newLog(t)
		js := rawClient(t, s)
		// Raw and many at once: what is followed matters here, not how it came.
		small, large := 9000, 30
		for n := 1; n <= small+large; n++ {
			data := commitData(n)
			if n > small {
				data = append(data, make([]byte, 1<<20)...)
			}
			msg := &nats.Msg{Subject: subject, Data: data, Header: nats.Header{digestName: {digestOf(data)}}}
			if _, err := js.PublishMsgAsync(msg); err != nil {
				t.Fatal(err)
			}
			if n%500 == 0 || n == small+large {
				<-js.PublishAsyncComplete()
			}
		}
		f, ctx := follow(t, l, 0), testContext(t)
		for n := 1; n <= small+large; n++ {
			m, err := f.Next(ctx)
			if err != nil {
				t.Fatal(err)
			}
			if m.Sequence != eventstore.Sequence(n) || !strings.HasPrefix(string(m.Data), string(commitData(n))) {
				t.Fatalf("got commit %d %.20q, want %d", m.Sequence, m.Data, n)
			}
		}
	})

	t.Run("ends with its context and goes on with the next", func(t *testing.T) {
		l, _ := newLog(t)
		f := follow(t, l, 0)
		for range 3 {
			ctx, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
			_, err := f.Next(ctx)
			cancel()
			if !errors.Is(err, context.DeadlineExceeded) {
				t.Fatalf("got %v, want the context's error", err)
			}
		}
		fill(t, l, 0, 1)
		expectNext(t, f, 0, 1)
	})

	t.Run("a waiting Next returns when the follower or the log is closed", func(t *testing.T) {
		l, s := newLog(t)
		for i := range 20 {
			node := open(t, natslog.Config{Server: s})
			f := follow(t, node, 0)
			result := make(chan error, 1)
			go func() {
				_, err := f.Next(context.Background())
				result <- err
			}()
			if i%2 == 0 {
				f.Close()
			} else if err := node.Close(); err != nil {
				t.Fatal(err)
			}
			if err := <-result; !errors.Is(err, natslog.ErrClosed) {
				t.Fatalf("got %v, want ErrClosed", err)
			}
		}
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
		if _, err := l.Follow(testContext(t), 0); !errors.Is(err, natslog.ErrClosed) {
			t.Fatalf("got %v, want ErrClosed", err)
		}
	})

	t.Run("leaves no consumer behind", func(t *testing.T) {
		l, s := newLog(t)
		f := follow(t, l, 0)
		f.Close()
		stream, err := rawClient(t, s).Stream(testContext(t), streamName)
		if err != nil {
			t.Fatal(err)
		}
		if n := stream.CachedInfo().State.Consumers; n != 0 {
			t.Fatalf("the stream has %d consumers, want none", n)
		}
	})
}

func TestFollowHeals(t *testing.T) {
	t.Run("over cut connections, with messages on the way", func(t *testing.T) {
		truth, s := newLog(t)
		p := newProxy(t, s.ClientURL())
		f := follow(t, open(t, natslog.Config{URL: p.url()}), 0)
		for round := range 5 {
			from := 20 * round
			fill(t, truth, from, from+10)
			expectNext(t, f, from, from+5)
			p.hold(toClient, true)
			fill(t, truth, from+10, from+20)
			p.cut()
			p.hold(toClient, false)
			expectNext(t, f, from+5, from+20)
		}
	})

	t.Run("over a restart of the server, which forgets the consumer", func(t *testing.T) {
		dir := t.TempDir()
		s := startServer(t, dir)
		create(t, s)
		p := newProxy(t, s.ClientURL())
		node := open(t, natslog.Config{URL: p.url()})
		f := follow(t, node, 0)
		fill(t, node, 0, 5)
		expectNext(t, f, 0, 3)

		s.Close()
		again := startServer(t, dir)
		p.aim(again.ClientURL())
		expectNext(t, f, 3, 5)
		settle(t, node, 6)
		expectNext(t, f, 5, 6)
	})

	t.Run("over messages that went to somebody else", func(t *testing.T) {
		l, s := newLog(t)
		f := follow(t, l, 0)
		fill(t, l, 0, 2)
		expectNext(t, f, 0, 2)
		js := rawClient(t, s)
		stream, err := js.Stream(testContext(t), streamName)
		if err != nil {
			t.Fatal(err)
		}
		// A second reader of the follower's consumer gets its turn among the first few
		// messages after the server has heard of it, which nobody is told.
		last, stolen := 2, 0
		for name := range stream.ConsumerNames(testContext(t)).Name() {
			consumer, err := js.Consumer(testContext(t), streamName, name)
			if err != nil {
				t.Fatal(err)
			}
			batch, err := consumer.Fetch(1, jetstream.FetchMaxWait(limit))
			if err != nil {
				t.Fatal(err)
			}
			for taken := false; !taken; last++ {
				fill(t, l, last, last+1)
				select {
				case _, ok := <-batch.Messages():
					if taken = true; ok {
						stolen++
					}
				case <-time.After(time.Millisecond):
				}
			}
		}
		if stolen == 0 {
			t.Fatal("nothing was stolen")
		}
		fill(t, l, last, last+5)
		expectNext(t, f, 2, last+5)
	})

	t.Run("over a consumer that was taken away", func(t *testing.T) {
		l, s := newLog(t)
		f := follow(t, l, 0)
		fill(t, l, 0, 2)
		expectNext(t, f, 0, 2)
		js := rawClient(t, s)
		stream, err := js.Stream(testContext(t), streamName)
		if err != nil {
			t.Fatal(err)
		}
		for name := range stream.ConsumerNames(testContext(t)).Name() {
			if err := js.DeleteConsumer(testContext(t), streamName, name); err != nil {
				t.Fatal(err)
			}
		}
		fill(t, l, 2, 4)
		expectNext(t, f, 2, 4)
	})
}

func TestFollowRefuses(t *testing.T) {
	publishRaw := func(t *testing.T, js jetstream.JetStream, data []byte, header nats.Header) {
		t.Helper()
		if _, err := js.PublishMsg(testContext(t), &nats.Msg{Subject: subject, Data: data, Header: header}); err != nil {
			t.Fatal(err)
		}
	}
	expectCorrupt := func(t *testing.T, f eventstore.Follower, mentions ...string) {
		t.Helper()
		for range 2 { // it stays so
			_, err := f.Next(testContext(t))
			if !errors.Is(err, eventstore.ErrCorrupt) {
				t.Fatalf("got %v, want ErrCorrupt", err)
			}
			for _, word := range mentions {
				if !strings.Contains(err.Error(), word) {
					t.Fatalf("the error doesn't mention %q: %v", word, err)
				}
			}
		}
	}

	for name, header := range map[string]nats.Header{
		"a message with another digest":      {digestName: {digestOf([]byte("something else"))}},
		"a message with half a digest":       {digestName: {digestOf(commitData(2))[:32]}},
		"a message with a digest of letters": {digestName: {strings.Repeat("z", 64)}},
		"a message without a digest":         nil,
	} {
		t.Run(name, func(t *testing.T) {
			l, s := newLog(t)
			fill(t, l, 0, 1)
			publishRaw(t, rawClient(t, s), commitData(2), header)
			fill(t, l, 2, 3)
			f := follow(t, l, 0)
			expectNext(t, f, 0, 1)
			expectCorrupt(t, f, "message 2")
			if _, err := l.Read(testContext(t), 2); !errors.Is(err, eventstore.ErrCorrupt) {
				t.Fatalf("read: got %v, want ErrCorrupt", err)
			}
			if _, err := l.Read(testContext(t), 3); err != nil {
				t.Fatal(err)
			}
		})
	}

	// holed is a log made by somebody who allowed deletes.
	holed := func(t *testing.T, messages int, deleted ...uint64) (*natslog.Log, jetstream.JetStream) {
		t.Helper()
		s := startServer(t, t.TempDir())
		js := rawClient(t, s)
		stream, err := js.CreateStream(testContext(t), jetstream.StreamConfig{Name: streamName, Subjects: []string{subject}})
		if err != nil {
			t.Fatal(err)
		}
		l := open(t, natslog.Config{Server: s})
		fill(t, l, 0, messages)
		for _, seq := range deleted {
			if err := stream.DeleteMsg(testContext(t), seq); err != nil {
				t.Fatal(err)
			}
		}
		return l, js
	}

	t.Run("a gap, naming both sequences", func(t *testing.T) {
		l, _ := holed(t, 5, 3)
		f := follow(t, l, 0)
		expectNext(t, f, 0, 2)
		expectCorrupt(t, f, "commit 2 is followed by 4")
		if _, err := l.Read(testContext(t), 3); !errors.Is(err, eventstore.ErrNoMessage) {
			t.Fatalf("read: got %v, want ErrNoMessage", err)
		}
	})

	t.Run("a gap at the start", func(t *testing.T) {
		l, _ := holed(t, 5, 1)
		if _, err := l.Follow(testContext(t), 0); !errors.Is(err, eventstore.ErrCorrupt) ||
			!strings.Contains(err.Error(), "commit 0 is followed by 2") {
			t.Fatalf("got %v, want ErrCorrupt that names 0 and 2", err)
		}
		expectNext(t, follow(t, l, 1), 1, 5)
	})

	t.Run("a log that ends before what was delivered", func(t *testing.T) {
		l, _ := newLog(t)
		fill(t, l, 0, 2)
		if _, err := l.Follow(testContext(t), 3); !errors.Is(err, eventstore.ErrCorrupt) {
			t.Fatalf("got %v, want ErrCorrupt", err)
		}
	})

	t.Run("a log that was made anew under the same name", func(t *testing.T) {
		l, js := holed(t, 2)
		f := follow(t, l, 0)
		expectNext(t, f, 0, 2)
		if err := js.DeleteStream(testContext(t), streamName); err != nil {
			t.Fatal(err)
		}
		if _, err := js.CreateStream(testContext(t), jetstream.StreamConfig{Name: streamName, Subjects: []string{subject}}); err != nil {
			t.Fatal(err)
		}
		for n := 1; n <= 3; n++ {
			data := fmt.Appendf(nil, "another commit %d", n)
			publishRaw(t, js, data, nats.Header{digestName: {digestOf(data)}})
		}
		expectCorrupt(t, f, "was made at")
	})
}
