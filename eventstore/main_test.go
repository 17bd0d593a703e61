package eventstore_test

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/badgerstore"
	"seamshare.example/eventstore/natslog"
	"seamshare.example/eventstore/storetest"
)

// limit ends a test that hangs; nothing is expected to take so long.
const limit = time.Minute

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func testContext(t testing.TB) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	t.Cleanup(cancel)
	return ctx
}

func testLogger(t testing.TB) *slog.Logger {
	return slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelError}))
}

// startServer starts a server with an empty log.
func startServer(t testing.TB, dir, listen string) *natslog.Server {
	t.Helper()
	server, err := natslog.StartServer(natslog.Options{StoreDir: dir, Listen: listen, Logger: testLogger(t)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(server.Close)
	if err := natslog.Create(testContext(t), natslog.Config{Server: server, Coop: storetest.Coop}); err != nil && !errors.Is(err, natslog.ErrExists) {
		t.Fatal(err)
	}
	return server
}

func openLog(t testing.TB, cfg natslog.Config) *natslog.Log {
	t.Helper()
	cfg.Coop, cfg.Logger = storetest.Coop, testLogger(t)
	log, err := natslog.Open(testContext(t), cfg)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = log.Close() })
	return log
}

// openBadger opens a store that the test may close itself.
func openBadger(t testing.TB, o badgerstore.Options) eventstore.Store {
	t.Helper()
	store, _, err := badgerstore.Open(o)
	if err != nil {
		t.Fatal(err)
	}
	c := &closeOnce{Store: store}
	t.Cleanup(func() {
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	})
	return c
}

type closeOnce struct {
	eventstore.Store
	once sync.Once
	err  error
}

func (c *closeOnce) Close() error {
	c.once.Do(func() { c.err = c.Store.Close() })
	return c.err
}

// place is where nodes of one log run.
type place struct {
	log   func() eventstore.Log   // the one log, opened for a node
	store func() eventstore.Store // a new, empty store
}

// onBoth runs a test on the fakes and on NATS and Badger. shared: several nodes
// write to the log.
func onBoth(t *testing.T, shared bool, test func(t *testing.T, p place)) {
	t.Run("in memory", func(t *testing.T) {
		log := storetest.NewMemoryLog(shared)
		test(t, place{
			log:   func() eventstore.Log { return log },
			store: func() eventstore.Store { return storetest.NewMemoryStore() },
		})
	})
	t.Run("on NATS and Badger", func(t *testing.T) { test(t, realPlace(t, shared)) })
}

func realPlace(t testing.TB, shared bool) place {
	listen := ""
	if shared {
		listen = "127.0.0.1:0"
	}
	server := startServer(t, t.TempDir(), listen)
	dir, n := t.TempDir(), 0
	return place{
		log: func() eventstore.Log { return openLog(t, natslog.Config{Server: server}) },
		store: func() eventstore.Store {
			n++
			return openBadger(t, badgerstore.Options{Dir: filepath.Join(dir, fmt.Sprint("store", n))})
		},
	}
}

// config is that of a node with the ledger of storetest.
func config(log eventstore.Log, store eventstore.Store) eventstore.Config {
	return eventstore.Config{Log: log, Store: store, Codec: storetest.Codec(), Views: []eventstore.View{storetest.Holdings{V: 1}}}
}

func openNode(t testing.TB, cfg eventstore.Config) *eventstore.Node {
	t.Helper()
	if cfg.Logger == nil {
		cfg.Logger = slog.New(slog.DiscardHandler)
	}
	return storetest.OpenNode(t, cfg)
}

func request(member, id string) eventstore.Request {
	return eventstore.Request{ID: id, Member: member, Person: member + "-desk", RPC: "test", Fingerprint: sha256.Sum256([]byte(id))}
}

func decide(t testing.TB, n *eventstore.Node, req eventstore.Request, fn func(*eventstore.Tx) error) eventstore.Outcome {
	t.Helper()
	outcome, err := n.Decide(testContext(t), req, fn)
	if err != nil {
		t.Fatalf("request %s: %v", req.ID, err)
	}
	return outcome
}

func query(t testing.TB, n *eventstore.Node, min eventstore.Position) *eventstore.Query {
	t.Helper()
	q, err := n.Query(testContext(t), min)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(q.Close)
	return q
}

func stone(t testing.TB, n *eventstore.Node, min eventstore.Position, id string) storetest.Stone {
	t.Helper()
	q, err := n.Query(testContext(t), min)
	if err != nil {
		t.Fatal(err)
	}
	defer q.Close()
	s, _, err := eventstore.Load(q, storetest.Stones, id)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// count asks the view how many stones a holder has, by both of its indexes.
func count(t testing.TB, n *eventstore.Node, min eventstore.Position, holder string) int {
	t.Helper()
	q, err := n.Query(testContext(t), min)
	if err != nil {
		t.Fatal(err)
	}
	defer q.Close()
	c, err := storetest.Count(q.View("holdings"), holder)
	if err != nil {
		t.Fatal(err)
	}
	held, err := storetest.Held(q.View("holdings"), holder)
	if err != nil || len(held) != c {
		t.Fatalf("%s holds %d by one index and %q by the other (%v)", holder, c, held, err)
	}
	return c
}

// dump is all that a store holds.
func dump(t fataler, s eventstore.Store) map[string]string {
	t.Helper()
	r := s.Snapshot()
	defer r.Close()
	rows := map[string]string{}
	if err := r.Scan(nil, nil, false, func(key, value []byte) bool { rows[string(key)] = string(value); return true }); err != nil {
		t.Fatal(err)
	}
	return rows
}

func expectSameRows(t fataler, got, want map[string]string) {
	t.Helper()
	for key, value := range want {
		if have, ok := got[key]; !ok || have != value {
			t.Fatalf("row %q holds %.60q (there: %v), want %.60q", key, have, ok, value)
		}
	}
	for key := range got {
		if _, ok := want[key]; !ok {
			t.Fatalf("row %q should not be there", key)
		}
	}
}

func expectTrouble(t testing.TB, n *eventstore.Node) *eventstore.TroubleError {
	t.Helper()
	var trouble *eventstore.TroubleError
	_, err := n.Decide(testContext(t), request("m", "in trouble"), storetest.Note("x", "x"))
	if !errors.As(err, &trouble) {
		t.Fatalf("decide answered %v", err)
	}
	if _, err := n.Query(testContext(t), 0); !errors.As(err, &trouble) {
		t.Fatalf("query answered %v", err)
	}
	return trouble
}

// fataler is a test, or one case of a rapid check.
type fataler interface {
	Helper()
	Fatal(args ...any)
	Fatalf(format string, args ...any)
}
