package eventstore_test

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/storetest"
)

func TestRepeat(t *testing.T) {
	never := func(t *testing.T) func(*eventstore.Tx) error {
		return func(*eventstore.Tx) error { t.Error("decided again"); return errors.New("decided again") }
	}
	expect := func(t *testing.T, got, first eventstore.Outcome) {
		t.Helper()
		if !got.Repeated || got.First != first.First || got.Last != first.Last || fmt.Sprint(got.IDs) != fmt.Sprint(first.IDs) {
			t.Fatalf("repeat gave %+v, the first time was %+v", got, first)
		}
	}
	onBoth(t, true, func(t *testing.T, p place) {
		store := p.store()
		n := openNode(t, config(p.log(), store))
		decide(t, n, request("ann", "before"), storetest.Note("other", "so that positions don't begin at 1"))
		take := request("ann", "take")
		first := decide(t, n, take, storetest.Take("ann", "s1", "s2"))

		t.Run("OK: the first outcome, whatever happened since", func(t *testing.T) {
			decide(t, n, request("ann", "back"), storetest.GiveBack("ann", "s1"))
			decide(t, n, request("bob", "take"), storetest.Take("bob", "s1")) // the same id of another member
			expect(t, decide(t, n, take, never(t)), first)
		})

		t.Run("OK: the first outcome from another node", func(t *testing.T) {
			other := openNode(t, config(p.log(), p.store()))
			expect(t, decide(t, other, take, never(t)), first)
		})

		t.Run("refused: the same id for something else", func(t *testing.T) {
			again := take
			again.Fingerprint[7]++
			if _, err := n.Decide(testContext(t), again, never(t)); !errors.Is(err, eventstore.ErrRequestReused) {
				t.Fatalf("got %v", err)
			}
		})

		t.Run("OK: a refused command is decided anew", func(t *testing.T) {
			req := request("cat", "later")
			if _, err := n.Decide(testContext(t), req, storetest.Take("cat", "s2")); !errors.Is(err, storetest.ErrTaken) {
				t.Fatalf("got %v", err)
			}
			decide(t, n, request("ann", "back 2"), storetest.GiveBack("ann", "s2"))
			if o := decide(t, n, req, storetest.Take("cat", "s2")); o.Repeated {
				t.Fatal("nothing was there to repeat")
			}
		})

		t.Run("OK: twice within one batch", func(t *testing.T) {
			req := request("dan", "twice")
			before := n.Checkpoint().Position
			var one, two, three eventstore.Outcome
			errs := atOnce(t, n,
				func() error {
					_, err := n.Decide(testContext(t), request("dan", "ahead"), storetest.Note("d0", "x"))
					return err
				},
				func() (err error) { one, err = n.Decide(testContext(t), req, storetest.Take("dan", "d1")); return err },
				func() (err error) { two, err = n.Decide(testContext(t), req, never(t)); return err },
				func() (err error) {
					other := req
					other.Fingerprint[0]++
					three, err = n.Decide(testContext(t), other, never(t))
					return err
				},
			)
			if errs[1] != nil || errs[2] != nil || !errors.Is(errs[3], eventstore.ErrRequestReused) {
				t.Fatal(errs, three)
			}
			expect(t, two, one)
			if after := n.Checkpoint().Position; after != before+2 {
				t.Fatalf("%d records were made", after-before)
			}
			expect(t, decide(t, n, req, never(t)), one)
		})

		t.Run("OK: after a restart", func(t *testing.T) {
			n.Close()
			n = openNode(t, config(p.log(), store))
			expect(t, decide(t, n, take, never(t)), first)
		})

		t.Run("OK: on a node that was rebuilt", func(t *testing.T) {
			rebuilt := openNode(t, config(p.log(), p.store()))
			expect(t, decide(t, rebuilt, take, never(t)), first)
		})
	})

	t.Run("OK: when the caller left before the answer", func(t *testing.T) {
		log := storetest.NewMemoryLog(true)
		n := openNode(t, config(log, storetest.NewMemoryStore()))
		ctx, leave := context.WithCancel(context.Background())
		req := request("ann", "left")
		entered, release := make(chan struct{}), make(chan struct{})
		got := make(chan error, 1)
		go func() {
			_, err := n.Decide(ctx, req, func(tx *eventstore.Tx) error {
				close(entered)
				<-release
				return storetest.Take("ann", "s")(tx)
			})
			got <- err
		}()
		<-entered
		leave()
		if err := <-got; !errors.Is(err, eventstore.ErrOutcomeUnknown) {
			t.Fatalf("got %v", err)
		}
		close(release)
		if o := decide(t, n, req, never(t)); !o.Repeated || o.First != 1 {
			t.Fatalf("outcome %+v", o)
		}
	})

	t.Run("OK: a caller that left while it waited did nothing", func(t *testing.T) {
		n := openNode(t, config(storetest.NewMemoryLog(true), storetest.NewMemoryStore()))
		ctx, leave := context.WithCancel(context.Background())
		gone := make(chan struct{})
		errs := atOnce(t, n,
			func() error {
				defer close(gone)
				_, err := n.Decide(ctx, request("ann", "gone"), never(t))
				return err
			},
			func() error {
				leave()
				<-gone
				_, err := n.Decide(testContext(t), request("bob", "stays"), storetest.Take("bob", "s"))
				return err
			},
		)
		if !errors.Is(errs[0], context.Canceled) || errs[1] != nil {
			t.Fatal(errs)
		}
	})
}
