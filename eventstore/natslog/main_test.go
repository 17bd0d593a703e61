package natslog_test

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"go.uber.org/goleak"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/natslog"
)

const (
	coop = "opal-ridge"
	// What the package calls things on the server: written out, since streams
	// that exist must be found for ever.
	streamName = "seamshare-opal-ridge"
	subject    = "seamshare.opal-ridge.log"
	digestName = "Seamshare-SHA-256"
	// limit ends a test that hangs; nothing is expected to take so long.
	limit = time.Minute
)

func TestMain(m *testing.M) {
	if dir := os.Getenv(failingDiskEnv); dir != "" {
		os.Exit(runOnFailingDisk(dir))
	}
	goleak.VerifyTestMain(m)
}

func testContext(t testing.TB) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	t.Cleanup(cancel)
	return ctx
}

func testLogger(t testing.TB) *slog.Logger {
	return slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelWarn}))
}

// startServer starts a server that raw NATS clients can reach too.
func startServer(t testing.TB, dir string) *natslog.Server {
	t.Helper()
	return startWith(t, natslog.Options{StoreDir: dir, Listen: "127.0.0.1:0", Logger: testLogger(t)})
}

func startWith(t testing.TB, o natslog.Options) *natslog.Server {
	t.Helper()
	s, err := natslog.StartServer(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Close)
	return s
}

func create(t testing.TB, s *natslog.Server) {
	t.Helper()
	if err := natslog.Create(testContext(t), natslog.Config{Server: s, Coop: coop}); err != nil {
		t.Fatal(err)
	}
}

func open(t testing.TB, cfg natslog.Config) *natslog.Log {
	t.Helper()
	cfg.Coop, cfg.Logger = coop, testLogger(t)
	l, err := natslog.Open(testContext(t), cfg)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = l.Close() })
	return l
}

// newLog is a log on a server of its own.
func newLog(t testing.TB) (*natslog.Log, *natslog.Server) {
	t.Helper()
	s := startServer(t, t.TempDir())
	create(t, s)
	return open(t, natslog.Config{Server: s}), s
}

// rawClient is what an operator, or somebody who shouldn't, can do to the stream.
func rawClient(t testing.TB, s *natslog.Server) jetstream.JetStream {
	t.Helper()
	conn, err := nats.Connect(s.ClientURL())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(conn.Close)
	js, err := jetstream.New(conn)
	if err != nil {
		t.Fatal(err)
	}
	return js
}

// commitID and commitData are those of test commit n.
func commitID(n int) (id eventstore.CommitID) {
	binary.BigEndian.PutUint64(id[:], uint64(n))
	return id
}

func commitData(n int) []byte { return fmt.Appendf(nil, "commit %d", n) }

func digestOf(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// fill publishes test commits from+1 to to.
func fill(t testing.TB, l *natslog.Log, from, to int) {
	t.Helper()
	for n := from + 1; n <= to; n++ {
		if err := l.Publish(testContext(t), eventstore.Sequence(n-1), commitID(n), commitData(n)); err != nil {
			t.Fatal(err)
		}
	}
}

// settle publishes test commit n as a writer does: again and again until the log
// says whose message stands there. It must be the one published.
func settle(t testing.TB, l *natslog.Log, n int) {
	t.Helper()
	ctx := testContext(t)
	err := eventstore.ErrUnknown
	for errors.Is(err, eventstore.ErrUnknown) && ctx.Err() == nil {
		err = l.Publish(ctx, eventstore.Sequence(n-1), commitID(n), commitData(n))
	}
	if err != nil && !errors.Is(err, eventstore.ErrConflict) {
		t.Fatal(err)
	}
	m, err := l.Read(ctx, eventstore.Sequence(n))
	if err != nil || string(m.Data) != string(commitData(n)) {
		t.Fatalf("read %q, %v", m.Data, err)
	}
}

// expectNext asserts that the follower delivers test commits from+1 to to.
func expectNext(t testing.TB, f eventstore.Follower, from, to int) {
	t.Helper()
	ctx := testContext(t)
	for n := from + 1; n <= to; n++ {
		m, err := f.Next(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if m.Sequence != eventstore.Sequence(n) || string(m.Data) != string(commitData(n)) {
			t.Fatalf("got commit %d %q, want %d %q", m.Sequence, m.Data, n, commitData(n))
		}
	}
}

func follow(t testing.TB, l *natslog.Log, after int) eventstore.Follower {
	t.Helper()
	f, err := l.Follow(testContext(t), eventstore.Sequence(after))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(f.Close)
	return f
}

func expectStatus(t testing.TB, l *natslog.Log, last int) eventstore.LogStatus {
	t.Helper()
	status, err := l.Status(testContext(t))
	if err != nil {
		t.Fatal(err)
	}
	if status.Last != eventstore.Sequence(last) || status.Messages != uint64(last) {
		t.Fatalf("the log has %d messages and ends at %d, want %d", status.Messages, status.Last, last)
	}
	return status
}
