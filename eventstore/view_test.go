package eventstore_test

import (
	"context"
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/storetest"
)

// eventually tries until ok, or the test has hung.
func eventually(t *testing.T, what string, ok func() bool) {
	t.Helper()
	ctx := testContext(t)
	for !ok() {
		select {
		case <-ctx.Done():
			t.Fatalf("it never came to pass: %s", what)
		case <-time.After(time.Millisecond):
		}
	}
}

func withViews(log eventstore.Log, store eventstore.Store, views ...eventstore.View) eventstore.Config {
	cfg := config(log, store)
	cfg.Views = views
	return cfg
}

func v(version uint32) eventstore.View { return storetest.Holdings{V: version} }

// oldRows counts the rows of a version.
func oldRows(t *testing.T, store eventstore.Store, version uint32) (n int) {
	prefix := binary.BigEndian.AppendUint32([]byte("vholdings\x00"), version)
	for key := range dump(t, store) {
		if strings.HasPrefix(key, string(prefix)) {
			n++
		}
	}
	return n
}

// fill makes about so many records, quickly.
func fill(t testing.TB, n *eventstore.Node, records int) {
	t.Helper()
	var wg sync.WaitGroup
	const callers = 16
	for c := range callers {
		wg.Go(func() {
			for i := range records / callers / 10 {
				who := fmt.Sprint("member", c)
				var ids []string
				for j := range 10 {
					ids = append(ids, fmt.Sprintf("%d-%d-%d", c, i, j))
				}
				if _, err := n.Decide(context.Background(), request(who, fmt.Sprint("fill ", i)), storetest.Take(who, ids...)); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	wg.Wait()
}

func TestRaisedView(t *testing.T) {
	onBoth(t, true, func(t *testing.T, p place) {
		store := p.store()
		n := openNode(t, withViews(p.log(), store, v(1)))
		fill(t, n, buildRecords)
		held := count(t, n, 0, "member3")
		n.Close()

		n = openNode(t, withViews(p.log(), store, v(1), v(2)))
		during := 0
		for i := 0; query(t, n, 0).ViewVersion("holdings") != 2; i++ {
			// Decisions and queries go on, and see each other.
			var seen uint32
			o := decide(t, n, request("member3", fmt.Sprint("during ", i)), func(tx *eventstore.Tx) error {
				c, err := storetest.Count(tx.View("holdings"), "member3")
				if err != nil {
					return err
				}
				if c != held {
					return fmt.Errorf("a decision sees %d, not %d", c, held)
				}
				q, err := n.Query(context.Background(), 0)
				if err != nil {
					return err
				}
				seen = q.ViewVersion("holdings")
				q.Close()
				return storetest.Take("member3", fmt.Sprint("during-", i))(tx)
			})
			held++
			if got := count(t, n, o.Last, "member3"); got != held {
				t.Fatalf("a query sees %d, not %d", got, held)
			}
			if seen == 1 {
				during++
			}
		}
		if during == 0 {
			t.Fatal("the new version was there at once: this shows nothing")
		}
		if got := count(t, n, 0, "member3"); got != held {
			t.Fatalf("the new version says %d, not %d", got, held)
		}
		eventually(t, "the old rows are gone", func() bool { return oldRows(t, store, 1) == 0 })
		decide(t, n, request("member3", "after"), storetest.Take("member3", "after"))

		fresh := p.store()
		openNode(t, withViews(p.log(), fresh, v(2)))
		expectSameRows(t, dump(t, store), dump(t, fresh))
		n.Close()

		// The same program again has nothing to build.
		again := openNode(t, withViews(p.log(), store, v(1), v(2)))
		expectSameRows(t, dump(t, store), dump(t, fresh))
		statuses, err := query(t, again, 0).Views()
		if err != nil || len(statuses) != 1 || !statuses[0].Serving || statuses[0].Version != 2 {
			t.Fatalf("views %+v, %v", statuses, err)
		}
	})
}

// countedView counts the records it is applied to.
type countedView struct {
	eventstore.View
	mu   sync.Mutex
	seen map[eventstore.Position]int
}

func (c *countedView) Apply(rows eventstore.Rows, r eventstore.Record) error {
	c.mu.Lock()
	c.seen[r.Position]++
	c.mu.Unlock()
	return c.View.Apply(rows, r)
}

func TestBuildInterrupted(t *testing.T) {
	log, store := storetest.NewMemoryLog(true), storetest.NewMemoryStore()
	n := openNode(t, withViews(log, store, v(1)))
	fill(t, n, buildRecords)
	total := n.Checkpoint().Position
	n.Close()

	counted := &countedView{View: v(2), seen: map[eventstore.Position]int{}}
	starts := 0
	for done := false; !done; starts++ {
		n := openNode(t, withViews(log, store, v(1), counted))
		// Some commands later it is stopped, wherever the build is.
		for i := range 2 {
			o := decide(t, n, request("ann", fmt.Sprint(starts, "-", i)), storetest.Take("ann", fmt.Sprint("ann-", starts, "-", i)))
			total = o.Last
		}
		n.Close()
		for key := range dump(t, store) {
			done = done || strings.HasPrefix(key, "wholdings\x00") && key[len(key)-1] == 2 && dump(t, store)["wholdings"] == "\x02"
		}
	}
	if starts < 2 {
		t.Fatal("the build was never interrupted: this shows nothing")
	}
	openNode(t, withViews(log, store, v(1), counted))
	eventually(t, "the old rows are gone", func() bool { return oldRows(t, store, 1) == 0 })
	for p := range total {
		if counted.seen[p+1] != 1 {
			t.Fatalf("position %d was applied %d times", p+1, counted.seen[p+1])
		}
	}
	fresh := storetest.NewMemoryStore()
	openNode(t, withViews(log, fresh, v(2)))
	expectSameRows(t, dump(t, store), dump(t, fresh))
}

func TestOtherViews(t *testing.T) {
	prepare := func(t *testing.T, views ...eventstore.View) (*storetest.MemoryLog, *storetest.MemoryStore) {
		log, store := storetest.NewMemoryLog(true), storetest.NewMemoryStore()
		n := openNode(t, withViews(log, store, views...))
		fill(t, n, 1600)
		n.Close()
		return log, store
	}
	expectFresh := func(t *testing.T, log eventstore.Log, store eventstore.Store, views ...eventstore.View) {
		t.Helper()
		fresh := storetest.NewMemoryStore()
		openNode(t, withViews(log, fresh, views...))
		expectSameRows(t, dump(t, store), dump(t, fresh))
	}
	t.Run("OK: a new view is there when the node serves", func(t *testing.T) {
		log, store := prepare(t)
		n := openNode(t, withViews(log, store, v(1)))
		if got := count(t, n, 0, "member0"); got != 100 {
			t.Fatalf("it says %d", got)
		}
		expectFresh(t, log, store, v(1))
	})
	t.Run("OK: back to the version before", func(t *testing.T) {
		log, store := prepare(t, v(2))
		n := openNode(t, withViews(log, store, v(1)))
		if got := count(t, n, 0, "member0"); got != 100 || query(t, n, 0).ViewVersion("holdings") != 1 {
			t.Fatalf("it says %d", got)
		}
		decide(t, n, request("member0", "more"), storetest.Take("member0", "more"))
		eventually(t, "the rows of the later version are gone", func() bool { return oldRows(t, store, 2) == 0 })
		expectFresh(t, log, store, v(1))
		n.Close()
		// And forward again: nothing of the first time is left.
		n = openNode(t, withViews(log, store, v(2)))
		if got := count(t, n, 0, "member0"); got != 101 {
			t.Fatalf("it says %d", got)
		}
		eventually(t, "the rows of the version before are gone", func() bool { return oldRows(t, store, 1) == 0 })
		expectFresh(t, log, store, v(2))
	})
	t.Run("OK: a view that is no longer needed goes", func(t *testing.T) {
		log, store := prepare(t, v(1))
		openNode(t, withViews(log, store))
		eventually(t, "its rows are gone", func() bool { return oldRows(t, store, 1) == 0 })
		expectFresh(t, log, store)
	})
	t.Run("OK: rows left by a deletion that was cut short", func(t *testing.T) {
		for _, version := range []uint32{1, 2, 7} {
			log, store := prepare(t, v(1))
			if version != 1 {
				_ = store.Write([]eventstore.Change{{Key: binary.BigEndian.AppendUint32([]byte("vholdings\x00"), version), Value: []byte("stale")}})
			} else {
				// The entry went, and half of the rows.
				changes := []eventstore.Change{{Key: []byte("wholdings\x00\x00\x00\x00\x01")}, {Key: []byte("wholdings")}}
				for key := range dump(t, store) {
					if strings.HasPrefix(key, "vholdings") && len(changes) < 700 {
						changes = append(changes, eventstore.Change{Key: []byte(key)})
					}
				}
				_ = store.Write(changes)
			}
			serve := max(version, 1) % 7 // 7 is not known here
			if serve == 0 {
				serve = 1
			}
			openNode(t, withViews(log, store, v(serve)))
			for _, other := range []uint32{1, 2, 7} {
				if other != serve {
					eventually(t, "old rows are gone", func() bool { return oldRows(t, store, other) == 0 })
				}
			}
			expectFresh(t, log, store, v(serve))
		}
	})
	t.Run("refused: a version twice", func(t *testing.T) {
		cfg := withViews(storetest.NewMemoryLog(true), storetest.NewMemoryStore(), v(1), v(1))
		cfg.Coop = storetest.Coop
		if n, err := eventstore.Open(t.Context(), cfg); err == nil {
			n.Close()
			t.Fatal("it opened")
		}
	})
	t.Run("error: a view this node does not have", func(t *testing.T) {
		n := openNode(t, config(storetest.NewMemoryLog(true), storetest.NewMemoryStore()))
		if _, err := query(t, n, 0).View("nothing").Get([]byte("x")); err == nil {
			t.Fatal("it answered")
		}
	})
	t.Run("refused: a view that changes rows while it scans them", func(t *testing.T) {
		n := openNode(t, withViews(storetest.NewMemoryLog(true), storetest.NewMemoryStore(), scanner{}))
		decide(t, n, request("ann", "1"), storetest.Note("s", "x"))
		if _, err := n.Decide(testContext(t), request("ann", "2"), storetest.Note("s", "x")); err == nil {
			t.Fatal("it was taken")
		}
		if n.Trouble() != nil {
			t.Fatal(n.Trouble())
		}
	})
}

// scanner changes rows while it scans.
type scanner struct{}

func (scanner) Name() string    { return "scanner" }
func (scanner) Version() uint32 { return 1 }
func (scanner) Apply(rows eventstore.Rows, r eventstore.Record) error {
	keys := [][]byte{}
	err := rows.Scan(nil, nil, false, func(key, _ []byte) bool {
		rows.Delete(key)
		return true
	})
	rows.Set(slices.Concat(keys...), fmt.Append(nil, r.Position))
	return err
}
