package eventstore_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/storetest"
)

// TestLoad plays decisions that load and record in any order, some of them refused in the end, several in one commit: each
// sees what was decided before and what it has recorded so far, and a query sees what came of it.
func TestLoad(t *testing.T) {
	n := storetest.NewNode(t, storetest.Codec())
	errRefused := errors.New("refused")
	type seen struct {
		bytes   int
		version uint64
	}
	runs := 0
	rapid.Check(t, func(r *rapid.T) {
		runs++
		ids := make([]string, 3)
		for i := range ids {
			ids[i] = fmt.Sprintf("load-%d-%d", runs, i)
		}
		holds := func(l eventstore.Loader, id string, want seen) error {
			s, version, err := eventstore.Load(l, storetest.Stones, id)
			if got := (seen{s.Bytes, version}); err != nil || got != want {
				return fmt.Errorf("%s has %+v, %v; want %+v", id, got, err, want)
			}
			return nil
		}
		type step struct {
			id   string
			note int // bytes to note; 0: load
		}
		stand := map[string]seen{}
		var commands []func() error
		for i := range rapid.IntRange(1, 5).Draw(r, "decisions") {
			steps := rapid.SliceOfN(rapid.Custom(func(r *rapid.T) step {
				return step{rapid.SampledFrom(ids).Draw(r, "id"), rapid.IntRange(0, 2).Draw(r, "note")}
			}), 1, 6).Draw(r, "steps")
			refused := rapid.Bool().Draw(r, "refused")
			commands = append(commands, func() error {
				_, err := n.Decide(testContext(t), request("ann", fmt.Sprint("load ", runs, " ", i)), func(tx *eventstore.Tx) error {
					now := map[string]seen{}
					for _, id := range ids {
						now[id] = stand[id]
					}
					for _, s := range steps {
						if s.note == 0 {
							if err := holds(tx, s.id, now[s.id]); err != nil {
								return err
							}
							continue
						}
						tx.Record(storetest.Stones.Stream(s.id), storetest.Noted(s.id, strings.Repeat("x", s.note)))
						now[s.id] = seen{now[s.id].bytes + s.note, now[s.id].version + 1}
					}
					if refused {
						return errRefused
					}
					stand = now
					return nil
				})
				if errors.Is(err, errRefused) {
					return nil
				}
				return err
			})
		}
		if err := errors.Join(atOnce(t, n, commands...)...); err != nil {
			r.Fatal(err)
		}
		q, err := n.Query(testContext(t), 0)
		if err != nil {
			r.Fatal(err)
		}
		defer q.Close()
		for _, id := range ids {
			if err := holds(q, id, stand[id]); err != nil {
				r.Error(err)
			}
		}
		// The states that the node keeps are those of the last records.
		if _, err := n.Decide(testContext(t), request("ann", fmt.Sprint("look ", runs)), func(tx *eventstore.Tx) (err error) {
			for _, id := range ids {
				err = errors.Join(err, holds(tx, id, stand[id]))
			}
			return err
		}); err != nil {
			r.Error(err)
		}
	})
}
