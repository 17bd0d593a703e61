package eventstore_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"testing"
	"time"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/merkle"
	"seamshare.example/eventstore/storetest"
)

func TestQuery(t *testing.T) {
	n := openNode(t, config(storetest.NewMemoryLog(true), storetest.NewMemoryStore()))
	var positions []eventstore.Position
	for i := range 6 {
		o := decide(t, n, request("ann", fmt.Sprint("take ", i)), storetest.Take(fmt.Sprint("ann", i), "s", fmt.Sprint("t", i)))
		positions = append(positions, o.First)
		decide(t, n, request("ann", fmt.Sprint("back ", i)), storetest.GiveBack(fmt.Sprint("ann", i), "s"))
	}
	old := query(t, n, 0)
	decide(t, n, request("bob", "take"), storetest.Take("bob", "s"))

	t.Run("OK: a read stays where it is", func(t *testing.T) {
		// Whoever reads first, the newer or the older, does not change the other.
		for _, q := range []*eventstore.Query{query(t, n, 0), old, query(t, n, 0), old} {
			want := ""
			if q.Position() > old.Position() {
				want = "bob"
			}
			if s, _, err := eventstore.Load(q, storetest.Stones, "s"); err != nil || s.Holder != want {
				t.Fatalf("at %d: %+v, %v", q.Position(), s, err)
			}
		}
	})
	t.Run("OK: a stone as it was", func(t *testing.T) {
		q := query(t, n, 0)
		for i, p := range positions {
			s, version, err := eventstore.LoadAt(q, storetest.Stones, "s", p)
			if err != nil || s.Holder != fmt.Sprint("ann", i) || version != uint64(2*i+1) {
				t.Fatalf("at %d: %+v, version %d, %v", p, s, version, err)
			}
			s, version, err = eventstore.LoadAt(q, storetest.Stones, "s", p-1)
			if err != nil || s.Holder != "" || version != uint64(2*i) {
				t.Fatalf("at %d: %+v, version %d, %v", p-1, s, version, err)
			}
		}
	})
	t.Run("OK: a stream's records", func(t *testing.T) {
		records, err := query(t, n, 0).Records("stone/s")
		if err != nil || len(records) != 13 {
			t.Fatalf("%d records, %v", len(records), err)
		}
	})
	t.Run("error: positions that are not there", func(t *testing.T) {
		for _, p := range []eventstore.Position{0, old.Position() + 1, 1 << 60} {
			if _, err := old.RecordAt(p); err == nil {
				t.Fatalf("position %d: no error", p)
			}
			if _, err := old.Leaf(p); err == nil {
				t.Fatalf("leaf %d: no error", p)
			}
		}
		if _, err := old.Message(1000); !errors.Is(err, eventstore.ErrNoMessage) {
			t.Fatal(err)
		}
	})
	t.Run("error: a position that does not come in time", func(t *testing.T) {
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Millisecond)
		defer cancel()
		if _, err := n.Query(ctx, 1000); !errors.Is(err, eventstore.ErrAhead) {
			t.Fatal(err)
		}
		req := request("bob", "ahead")
		req.MinPosition = 1000
		if _, err := n.Decide(ctx, req, storetest.Note("s", "x")); !errors.Is(err, eventstore.ErrAhead) {
			t.Fatal(err)
		}
	})
	t.Run("OK: a read waits for its position", func(t *testing.T) {
		got := make(chan error, 1)
		want := n.Checkpoint().Position + 1
		go func() {
			q, err := n.Query(testContext(t), want)
			if err == nil {
				q.Close()
			}
			got <- err
		}()
		decide(t, n, request("bob", "note"), storetest.Note("s", "x"))
		if err := <-got; err != nil {
			t.Fatal(err)
		}
	})
}

func TestSomeoneElseWritesToAnExclusiveLog(t *testing.T) {
	log := storetest.NewMemoryLog(false)
	n := openNode(t, config(log, storetest.NewMemoryStore()))
	other := openNode(t, config(log, storetest.NewMemoryStore()))
	decide(t, other, request("bob", "1"), storetest.Note("s", "1"))
	if _, err := n.Decide(testContext(t), request("ann", "1"), storetest.Note("s", "1")); err == nil {
		t.Fatal("answered OK")
	}
	expectTrouble(t, n)
}

func TestNames(t *testing.T) {
	for name, change := range map[string]func(*eventstore.Config){
		"no co-op":          func(c *eventstore.Config) { c.Coop = "" },
		"an odd co-op":      func(c *eventstore.Config) { c.Coop = "Two Fields" },
		"an odd node":       func(c *eventstore.Config) { c.Name = "\xff" },
		"a view with a NUL": func(c *eventstore.Config) { c.Views = append(c.Views, oddView{}) },
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			cfg := config(storetest.NewMemoryLog(true), storetest.NewMemoryStore())
			cfg.Coop = storetest.Coop
			change(&cfg)
			if n, err := eventstore.Open(t.Context(), cfg); err == nil {
				n.Close()
				t.Fatal("it opened")
			}
		})
	}
}

type oddView struct{ storetest.Holdings }

func (oddView) Name() string { return "a\x00b" }

func TestSigning(t *testing.T) {
	newSigner := func(t *testing.T, files merkle.SignerFiles) *merkle.Signer {
		s, err := merkle.CreateSigner(files, "seamshare.example/two-fields")
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	signing := func(log eventstore.Log, store eventstore.Store, s *merkle.Signer) eventstore.Config {
		cfg := config(log, store)
		cfg.Signer = s
		return cfg
	}
	t.Run("OK: what was decided is signed", func(t *testing.T) {
		signer := newSigner(t, merkle.SignerFiles{Dir: t.TempDir()})
		n := openNode(t, signing(storetest.NewMemoryLog(true), storetest.NewMemoryStore(), signer))
		for i := range 2 {
			o := decide(t, n, request("ann", fmt.Sprint(i)), storetest.Note("s", "x"))
			signed, err := n.Signed(testContext(t), o.Last)
			if err != nil || signed.Size != uint64(o.Last) || signed.Root != n.Checkpoint().Root {
				t.Fatalf("signed %+v, %v", signed.Checkpoint, err)
			}
		}
	})
	t.Run("in trouble: the log is shorter than what was signed, or another", func(t *testing.T) {
		files := merkle.SignerFiles{Dir: t.TempDir()}
		signer := newSigner(t, files)
		log := storetest.NewMemoryLog(true)
		n := openNode(t, signing(log, storetest.NewMemoryStore(), signer))
		decide(t, n, request("ann", "1"), storetest.Note("s", "1"))
		o := decide(t, n, request("ann", "2"), storetest.Note("s", "2"))
		if _, err := n.Signed(testContext(t), o.Last); err != nil {
			t.Fatal(err)
		}
		n.Close()
		log.Damage(func(m [][]byte) [][]byte { return m[:1] })
		// Both stores went back: only the signer remembers.
		short := openNode(t, signing(log, storetest.NewMemoryStore(), signer))
		expectTrouble(t, short)
		short.Close()

		another := openNode(t, config(log, storetest.NewMemoryStore()))
		decide(t, another, request("ann", "2"), storetest.Note("s", "two"))
		another.Close()
		expectTrouble(t, openNode(t, signing(log, storetest.NewMemoryStore(), signer)))
	})
	t.Run("stops: the signer's disk", func(t *testing.T) {
		broken := false
		files := merkle.SignerFiles{Dir: t.TempDir(), Write: func(path string, data []byte) error {
			if broken {
				return errors.New("disk is gone")
			}
			return os.WriteFile(path, data, 0o600)
		}}
		signer := newSigner(t, files)
		broken = true
		cfg := signing(storetest.NewMemoryLog(true), storetest.NewMemoryStore(), signer)
		heard := make(fatal, 10)
		cfg.Fatal = func(err error) { heard <- err }
		n := openNode(t, cfg)
		_, _ = n.Decide(testContext(t), request("ann", "1"), storetest.Note("s", "1"))
		heard.expect(t)
		if _, err := n.Signed(testContext(t), 1); err == nil {
			t.Fatal("something was signed")
		}
	})
	t.Run("error: this node does not sign", func(t *testing.T) {
		n := openNode(t, config(storetest.NewMemoryLog(true), storetest.NewMemoryStore()))
		if _, err := n.Signed(testContext(t), 0); err == nil {
			t.Fatal("it did")
		}
	})
}
