package eventstore_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/storetest"
)

// notes decides to record so many remarks of so many bytes.
func notes(count, size int) func(*eventstore.Tx) error {
	return func(tx *eventstore.Tx) error {
		for i := range count {
			id := fmt.Sprint("n", i)
			tx.Record(storetest.Stones.Stream(id), storetest.Noted(id, strings.Repeat("x", size)))
		}
		return nil
	}
}

func TestDecisionLimits(t *testing.T) {
	n := openNode(t, config(storetest.NewMemoryLog(false), storetest.NewMemoryStore()))
	for name, fn := range map[string]func(*eventstore.Tx) error{
		"one record too many": notes(eventstore.MaxDecisionRecords+1, 1),
		"too many bytes":      notes(4, eventstore.MaxDecisionBytes/4),
		"too many ids": func(tx *eventstore.Tx) error {
			for range eventstore.MaxDecisionBytes / 32 {
				tx.Made(strings.Repeat("x", 32))
			}
			return notes(1, 1)(tx)
		},
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			if _, err := n.Decide(testContext(t), request("ann", name), fn); !errors.Is(err, eventstore.ErrTooBig) || n.Trouble() != nil {
				t.Fatalf("got %v, trouble %v", err, n.Trouble())
			}
		})
	}
	t.Run("OK: as many records as are allowed", func(t *testing.T) {
		decide(t, n, request("ann", "most records"), notes(eventstore.MaxDecisionRecords, 100))
	})
	t.Run("OK: nearly as many bytes as are allowed", func(t *testing.T) {
		decide(t, n, request("ann", "most bytes"), notes(1, eventstore.MaxDecisionBytes-1000))
	})
}

func TestCommitLimits(t *testing.T) {
	onBoth(t, true, func(t *testing.T, p place) {
		log := p.log()
		n := openNode(t, config(log, p.store()))
		seed := rand.Uint64()
		t.Logf("seed %d", seed)
		random := rand.New(rand.NewPCG(seed, 0))
		type job struct{ records, size int }
		jobs := make(chan job, bigDecisions)
		for range bigDecisions {
			records := 1 + random.IntN(eventstore.MaxDecisionRecords)
			jobs <- job{records, random.IntN(eventstore.MaxDecisionBytes/records - 150)}
		}
		close(jobs)
		var made atomic.Int64
		var wg sync.WaitGroup
		for range 32 {
			wg.Go(func() {
				for j := range jobs {
					o, err := n.Decide(testContext(t), request("ann", fmt.Sprint(made.Load(), j)), notes(j.records, j.size))
					if err != nil {
						t.Errorf("%d records of %d bytes: %v", j.records, j.size, err)
						continue
					}
					made.Add(int64(o.Last-o.First) + 1)
				}
			})
		}
		wg.Wait()
		if n.Checkpoint().Position < eventstore.Position(made.Load()) {
			t.Fatalf("%d records were made, the node is at %d", made.Load(), n.Checkpoint().Position)
		}
		fullest := 0
		for seq := range n.Checkpoint().Sequence {
			m, err := log.Read(testContext(t), seq+1)
			if err != nil {
				t.Fatal(err)
			}
			_, records, err := eventstore.ReadMessage(storetest.Codec(), storetest.Coop, m)
			if err != nil || len(m.Data) > eventstore.MaxCommitBytes || len(records) > eventstore.MaxCommitRecords {
				t.Fatalf("commit %d has %d bytes and %d records (%v)", seq+1, len(m.Data), len(records), err)
			}
			fullest = max(fullest, len(m.Data))
		}
		if fullest < eventstore.MaxCommitBytes/2 {
			t.Fatalf("the fullest commit has %d bytes: this shows nothing", fullest)
		}
		// What was taken can be applied, in bulk, by others.
		again := openNode(t, config(p.log(), p.store()))
		if again.Checkpoint() != n.Checkpoint() {
			t.Fatalf("a replay leads to %+v, not %+v", again.Checkpoint(), n.Checkpoint())
		}
	})
}

func TestViewLimits(t *testing.T) {
	onBoth(t, true, func(t *testing.T, p place) {
		store := p.store()
		fat := storetest.Holdings{V: 1, Fill: 900 << 10}
		n := openNode(t, withViews(p.log(), store, fat))
		t.Run("refused: a decision that changes too much of the views", func(t *testing.T) {
			before := dump(t, store)
			if _, err := n.Decide(testContext(t), request("ann", "fat"), notes(5, 1)); !errors.Is(err, eventstore.ErrTooBig) {
				t.Fatalf("got %v", err)
			}
			expectSameRows(t, dump(t, store), before)
		})
		t.Run("OK: what together is too much becomes several commits", func(t *testing.T) {
			var commands []func() error
			for i := range 12 {
				commands = append(commands, func() error {
					_, err := n.Decide(testContext(t), request("ann", fmt.Sprint("fat ", i)), notes(2, 1))
					return err
				})
			}
			if err := errors.Join(atOnce(t, n, commands...)...); err != nil {
				t.Fatal(err)
			}
			if seq := n.Checkpoint().Sequence; seq < 6 {
				t.Fatalf("it became %d commits", seq)
			}
			rebuilt := p.store()
			openNode(t, withViews(p.log(), rebuilt, fat))
			expectSameRows(t, dump(t, rebuilt), dump(t, store))
		})
	})
	t.Run("refused: a row that no store takes", func(t *testing.T) {
		n := openNode(t, withViews(storetest.NewMemoryLog(true), storetest.NewMemoryStore(), longRow{}))
		if _, err := n.Decide(testContext(t), request("ann", "long"), storetest.Note("s", "x")); !errors.Is(err, eventstore.ErrTooBig) || n.Trouble() != nil {
			t.Fatalf("got %v", err)
		}
	})
}

// longRow writes a key that is too long.
type longRow struct{}

func (longRow) Name() string    { return "long" }
func (longRow) Version() uint32 { return 1 }
func (longRow) Apply(rows eventstore.Rows, _ eventstore.Record) error {
	rows.Set(make([]byte, 70_000), nil)
	return nil
}

func TestBusy(t *testing.T) {
	n := openNode(t, config(storetest.NewMemoryLog(false), storetest.NewMemoryStore()))
	held, release := make(chan struct{}), make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		_, _ = n.Decide(testContext(t), request("ann", "hold"), func(*eventstore.Tx) error { close(held); <-release; return nil })
	})
	<-held
	const queue = 8192
	var failed atomic.Int32
	for i := range queue {
		wg.Go(func() {
			if _, err := n.Decide(testContext(t), request("ann", fmt.Sprint(i)), storetest.Note("s", "x")); err != nil {
				failed.Add(1)
			}
		})
	}
	for n.Waiting() < queue {
		time.Sleep(time.Millisecond)
	}
	_, err := n.Decide(testContext(t), request("ann", "one more"), storetest.Note("s", "x"))
	close(release)
	wg.Wait()
	if !errors.Is(err, eventstore.ErrBusy) || failed.Load() != 0 {
		t.Fatalf("one more got %v; %d of the others failed", err, failed.Load())
	}
	if at := n.Checkpoint().Position; at != queue {
		t.Fatalf("%d records were made", at)
	}
	decide(t, n, request("ann", "one more"), storetest.Note("s", "x"))
}

func TestLowDisk(t *testing.T) {
	var free atomic.Uint64
	free.Store(1000)
	cfg := config(storetest.NewMemoryLog(false), storetest.NewMemoryStore())
	cfg.Free, cfg.MinFree = func() (uint64, error) { return free.Load(), nil }, 500
	n := openNode(t, cfg)
	o := decide(t, n, request("ann", "1"), storetest.Take("ann", "s"))
	free.Store(499)
	if _, err := n.Decide(testContext(t), request("ann", "2"), storetest.GiveBack("ann", "s")); !errors.Is(err, eventstore.ErrLowDisk) {
		t.Fatalf("got %v", err)
	}
	if stone(t, n, o.Last, "s").Holder != "ann" || n.Trouble() != nil {
		t.Fatal("reads don't go on")
	}
	free.Store(500)
	decide(t, n, request("ann", "2"), storetest.GiveBack("ann", "s"))
}

func TestTime(t *testing.T) {
	var now atomic.Int64
	clock := func() time.Time { return time.Unix(0, now.Load()) }
	log, store := storetest.NewMemoryLog(true), storetest.NewMemoryStore()
	cfg := config(log, store)
	cfg.Clock = clock
	n := openNode(t, cfg)
	start := time.Date(2026, 3, 4, 5, 6, 7, 8_999, time.UTC)
	var last time.Time
	at := func(step time.Duration) time.Time {
		now.Store(start.Add(step).UnixNano())
		var seen time.Time
		o := decide(t, n, request("ann", fmt.Sprint(step, last)), func(tx *eventstore.Tx) error { seen = tx.Now(); return storetest.Note("s", "x")(tx) })
		q := query(t, n, o.Last)
		if r, err := q.RecordAt(o.Last); err != nil || !r.DecidedAt.Equal(seen) || q.Now().Before(seen) {
			t.Fatalf("decided at %s, the record says %s, the query %s (%v)", seen, r.DecidedAt, q.Now(), err)
		}
		if seen.Before(last) || seen.Location() != time.UTC || seen.Nanosecond()%1000 != 0 {
			t.Fatalf("after %s came %s", last, seen)
		}
		last = seen
		return seen
	}
	if got := at(0); !got.Equal(start.Truncate(time.Microsecond)) {
		t.Fatalf("got %s", got)
	}
	before := at(time.Hour)
	if got := at(-time.Hour); !got.Equal(before) {
		t.Fatalf("the clock went back, and Now from %s to %s", before, got)
	}
	n.Close()
	n = openNode(t, cfg)
	if got := at(-2 * time.Hour); !got.Equal(before) {
		t.Fatalf("after a restart Now went from %s to %s", before, got)
	}
	other := config(log, storetest.NewMemoryStore())
	other.Clock = clock
	n = openNode(t, other)
	if got := at(-3 * time.Hour); !got.Equal(before) {
		t.Fatalf("on another node Now went from %s to %s", before, got)
	}

	var times [3]time.Time
	var commands []func() error
	for i := range times {
		commands = append(commands, func() error {
			_, err := n.Decide(testContext(t), request("ann", fmt.Sprint("batch ", i)), func(tx *eventstore.Tx) error {
				times[i] = tx.Now()
				now.Add(int64(time.Hour))
				return storetest.Note("s", "x")(tx)
			})
			return err
		})
	}
	now.Store(start.Add(10 * time.Hour).UnixNano())
	if err := errors.Join(atOnce(t, n, commands...)...); err != nil || times[0] != times[1] || times[1] != times[2] {
		t.Fatalf("one commit, decided at %v (%v)", times, err)
	}
}
