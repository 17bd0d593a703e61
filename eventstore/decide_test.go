package eventstore_test

import (
	"context"
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
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// atOnce holds the writer until all commands wait, so that they are decided as
// one batch, in order.
func atOnce(t *testing.T, n *eventstore.Node, commands ...func() error) []error {
	t.Helper()
	held, release := make(chan struct{}), make(chan struct{})
	go func() {
		_, _ = n.Decide(context.Background(), eventstore.Request{Member: "m"}, func(*eventstore.Tx) error {
			close(held)
			<-release
			return errors.New("only to hold the writer")
		})
	}()
	<-held
	errs := make([]error, len(commands))
	var wg sync.WaitGroup
	for i, c := range commands {
		started := n.Waiting()
		wg.Go(func() { errs[i] = c() })
		for n.Waiting() == started {
			time.Sleep(10 * time.Microsecond)
		}
	}
	close(release)
	wg.Wait()
	return errs
}

func TestDecide(t *testing.T) {
	onBoth(t, false, func(t *testing.T, p place) {
		n := openNode(t, config(p.log(), p.store()))

		t.Run("OK: a decision over several streams", func(t *testing.T) {
			o := decide(t, n, request("ann", "several"), storetest.Take("ann", "s1", "s2", "s3"))
			if o.Last-o.First != 2 || fmt.Sprint(o.IDs) != "[s1 s2 s3]" {
				t.Fatalf("outcome %+v", o)
			}
			if got := count(t, n, o.Last, "ann"); got != 3 {
				t.Fatalf("ann holds %d", got)
			}
			q := query(t, n, o.Last)
			r, err := q.RecordAt(o.First + 1)
			if err != nil || r.Stream != "stone/s2" || r.Version != 1 || r.Member != "ann" || r.Person != "ann-desk" || !r.DecidedAt.Equal(q.Checkpoint().DecidedAt) {
				t.Fatalf("record %+v, %v", r, err)
			}
		})

		t.Run("refused: one of several, so none", func(t *testing.T) {
			before := n.Checkpoint()
			_, err := n.Decide(testContext(t), request("bob", "one of several"), storetest.Take("bob", "s4", "s2", "s5"))
			if !errors.Is(err, storetest.ErrTaken) {
				t.Fatalf("got %v", err)
			}
			if n.Checkpoint() != before || count(t, n, 0, "bob") != 0 {
				t.Fatalf("a refusal moved the node from %v to %v", before, n.Checkpoint())
			}
			// Not even in memory.
			decide(t, n, request("bob", "the others"), storetest.Take("bob", "s4", "s5"))
		})

		t.Run("refused: the second of a batch sees what the first recorded", func(t *testing.T) {
			before := n.Checkpoint().Sequence
			var seen int
			var records []eventstore.Record
			errs := atOnce(t, n,
				func() error {
					_, err := n.Decide(testContext(t), request("cat", "first"), storetest.Take("cat", "b1", "b2"))
					return err
				},
				func() error {
					_, err := n.Decide(testContext(t), request("dan", "second"), storetest.Take("dan", "b2"))
					return err
				},
				func() error {
					_, err := n.Decide(testContext(t), request("cat", "third"), func(tx *eventstore.Tx) (err error) {
						if seen, err = storetest.Count(tx.View("holdings"), "cat"); err != nil {
							return err
						}
						if records, err = tx.Records("stone/b1"); err != nil {
							return err
						}
						return storetest.GiveBack("cat", "b1")(tx)
					})
					return err
				},
				func() error {
					_, err := n.Decide(testContext(t), request("dan", "fourth"), storetest.Take("dan", "b1"))
					return err
				},
			)
			if errs[0] != nil || !errors.Is(errs[1], storetest.ErrTaken) || errs[2] != nil || errs[3] != nil {
				t.Fatal(errs)
			}
			if seen != 2 {
				t.Fatalf("the third saw a view in which cat holds %d", seen)
			}
			if len(records) != 1 || records[0].Version != 1 || records[0].Person != "" {
				t.Fatalf("the third read %v", records)
			}
			if got := n.Checkpoint().Sequence - before; got != 1 {
				t.Fatalf("the batch became %d commits", got)
			}
			if count(t, n, 0, "cat") != 1 || count(t, n, 0, "dan") != 1 {
				t.Fatal("the views are not as decided")
			}
		})

		t.Run("refused: the view can't take it, and its rows stay as they were", func(t *testing.T) {
			errs := atOnce(t, n,
				func() error {
					_, err := n.Decide(testContext(t), request("eve", "good"), storetest.Take("eve", "p1"))
					return err
				},
				func() error {
					_, err := n.Decide(testContext(t), request("eve", "bad"), storetest.Take("eve", "p2", storetest.Poison))
					return err
				},
				func() error {
					_, err := n.Decide(testContext(t), request("fay", "good too"), storetest.Take("fay", "p2"))
					return err
				},
			)
			if errs[0] != nil || errs[1] == nil || !strings.Contains(errs[1].Error(), "can't take that stone") || errs[2] != nil {
				t.Fatal(errs)
			}
			if count(t, n, 0, "eve") != 1 || count(t, n, 0, "fay") != 1 {
				t.Fatal("the views are not as decided")
			}
		})

		t.Run("refused: a decision that panics", func(t *testing.T) {
			_, err := n.Decide(testContext(t), request("eve", "panic"), func(*eventstore.Tx) error { panic("a mistake") })
			if err == nil || !strings.Contains(err.Error(), "a mistake") {
				t.Fatalf("got %v", err)
			}
			decide(t, n, request("eve", "after the panic"), storetest.Note("p3", "fine"))
		})

		t.Run("OK: a decision that records nothing", func(t *testing.T) {
			before := n.Checkpoint()
			o := decide(t, n, request("eve", "nothing"), func(*eventstore.Tx) error { return nil })
			if o.First != 0 || o.Last != 0 || n.Checkpoint() != before {
				t.Fatalf("outcome %+v", o)
			}
		})

		t.Run("refused: an event with a field that is not known", func(t *testing.T) {
			event := storetest.Noted("p4", "x")
			event.GetFinished().GetPublic().ProtoReflect().SetUnknown([]byte{0xf8, 0x7f, 1})
			_, err := n.Decide(testContext(t), request("eve", "unknown field"), func(tx *eventstore.Tx) error {
				tx.Record("stone/p4", event)
				return nil
			})
			if err == nil || n.Trouble() != nil {
				t.Fatalf("got %v", err)
			}
		})

		for name, c := range map[string]struct {
			req eventstore.Request
			fn  func(*eventstore.Tx) error
		}{
			"request id is not UTF-8": {request("eve", "\xff"), storetest.Note("p5", "x")},
			"request id is too long":  {request("eve", strings.Repeat("x", 70_000)), storetest.Note("p5", "x")},
			"member with a NUL":       {request("e\x00ve", "nul"), storetest.Note("p5", "x")},
			"stream without an id":    {request("eve", "form 1"), func(tx *eventstore.Tx) error { tx.Record("stone/", storetest.Noted("", "x")); return nil }},
			"stream with odd letters": {request("eve", "form 2"), func(tx *eventstore.Tx) error { tx.Record("stone/A", storetest.Noted("", "x")); return nil }},
			"remark is not UTF-8":     {request("eve", "form 3"), storetest.Note("p5", "\xff")},
			"made id is not UTF-8":    {request("eve", "form 4"), func(tx *eventstore.Tx) error { tx.Made("\xff"); return storetest.Note("p5", "x")(tx) }},
			"event without a type":    {request("eve", "form 5"), func(tx *eventstore.Tx) error { tx.Record("stone/p5", &stonev1.Event{}); return nil }},
			"effective date is no date": {request("eve", "form 6"), func(tx *eventstore.Tx) error {
				tx.Record("stone/p5", storetest.Noted("p5", "x"), eventstore.EffectiveOn("2026-02-30"))
				return nil
			}},
		} {
			t.Run("refused: "+name, func(t *testing.T) {
				before := n.Checkpoint()
				if _, err := n.Decide(testContext(t), c.req, c.fn); err == nil || n.Trouble() != nil || n.Checkpoint() != before {
					t.Fatalf("got %v, trouble %v", err, n.Trouble())
				}
			})
		}
	})
}

func TestRefusalCostsNoWrite(t *testing.T) {
	log, store := storetest.NewMemoryLog(true), storetest.NewMemoryStore()
	n := openNode(t, config(log, store))
	decide(t, n, request("ann", "take"), storetest.Take("ann", "s"))
	publishes, writes := log.Publishes(), store.Writes()
	for i := range 20 {
		if _, err := n.Decide(testContext(t), request("bob", fmt.Sprint(i)), storetest.Take("bob", "s")); !errors.Is(err, storetest.ErrTaken) {
			t.Fatal(err)
		}
	}
	if log.Publishes() != publishes || store.Writes() != writes {
		t.Fatalf("20 refusals cost %d publishes and %d writes", log.Publishes()-publishes, store.Writes()-writes)
	}
}

func TestRace(t *testing.T) {
	const people, parcels = 8, 40
	race := func(t *testing.T, nodes ...*eventstore.Node) {
		var wins [parcels]atomic.Int32
		var held [people]atomic.Int32
		var wg sync.WaitGroup
		for person := range people {
			wg.Go(func() {
				n := nodes[person%len(nodes)]
				name := fmt.Sprint("person-", person)
				for _, parcel := range rand.Perm(parcels) {
					_, err := n.Decide(testContext(t), request(name, fmt.Sprint("take ", parcel)), storetest.Take(name, fmt.Sprint("parcel-", parcel)))
					switch {
					case err == nil:
						wins[parcel].Add(1)
						held[person].Add(1)
					case !errors.Is(err, storetest.ErrTaken):
						t.Errorf("%s and parcel %d: %v", name, parcel, err)
					}
				}
			})
		}
		wg.Wait()
		for parcel := range wins {
			if w := wins[parcel].Load(); w != 1 {
				t.Errorf("parcel %d was won %d times", parcel, w)
			}
		}
		for _, n := range nodes {
			for person := range held {
				if got := count(t, n, parcels, fmt.Sprint("person-", person)); got != int(held[person].Load()) {
					t.Errorf("person %d won %d and holds %d", person, held[person].Load(), got)
				}
			}
			if at := query(t, n, parcels).Position(); at != parcels {
				t.Errorf("there are %d records", at)
			}
		}
	}
	t.Run("OK: on one node", func(t *testing.T) {
		onBoth(t, false, func(t *testing.T, p place) { race(t, openNode(t, config(p.log(), p.store()))) })
	})
	t.Run("OK: on two nodes with one log", func(t *testing.T) {
		onBoth(t, true, func(t *testing.T, p place) {
			logs := []eventstore.Log{p.log(), p.log()}
			race(t, openNode(t, config(logs[0], p.store())), openNode(t, config(logs[1], p.store())))
		})
	})
}

// laggingLog brings its node nothing until somebody asks how long the log is.
type laggingLog struct {
	*storetest.MemoryLog
	lag   atomic.Bool
	asked chan struct{}
	once  sync.Once
}

func (l *laggingLog) Status(ctx context.Context) (eventstore.LogStatus, error) {
	if l.lag.Load() {
		l.once.Do(func() { close(l.asked) })
	}
	return l.MemoryLog.Status(ctx)
}

func (l *laggingLog) Follow(ctx context.Context, after eventstore.Sequence) (eventstore.Follower, error) {
	f, err := l.MemoryLog.Follow(ctx, after)
	return laggingFollower{f, l}, err
}

type laggingFollower struct {
	eventstore.Follower
	log *laggingLog
}

func (f laggingFollower) Next(ctx context.Context) (eventstore.Message, error) {
	m, err := f.Follower.Next(ctx)
	if f.log.lag.Load() {
		select {
		case <-f.log.asked:
		case <-ctx.Done():
		}
	}
	return m, err
}

func TestLaggingNode(t *testing.T) {
	log := storetest.NewMemoryLog(true)
	lagging := &laggingLog{MemoryLog: log, asked: make(chan struct{})}
	quick := openNode(t, config(log, storetest.NewMemoryStore()))
	slow := openNode(t, config(lagging, storetest.NewMemoryStore()))
	taken := decide(t, quick, request("ann", "take"), storetest.Take("ann", "s"))
	if stone(t, slow, taken.Last, "s").Holder != "ann" {
		t.Fatal("the node did not follow")
	}
	lagging.lag.Store(true)
	decide(t, quick, request("ann", "back"), storetest.GiveBack("ann", "s"))
	if stone(t, slow, 0, "s").Holder != "ann" {
		t.Fatal("the node does not lag")
	}
	t.Run("OK: a stone that came back is not refused", func(t *testing.T) {
		decide(t, slow, request("bob", "take"), storetest.Take("bob", "s"))
	})
	t.Run("refused: what the log's end refuses", func(t *testing.T) {
		if _, err := slow.Decide(testContext(t), request("cat", "take"), storetest.Take("cat", "s")); !errors.Is(err, storetest.ErrTaken) {
			t.Fatal(err)
		}
	})
}
