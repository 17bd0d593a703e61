package eventstore_test

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/badgerstore"
	"seamshare.example/eventstore/natslog"
	"seamshare.example/eventstore/storetest"
)

// history lets a node decide this and that.
func history(t testing.TB, n *eventstore.Node, rounds int) {
	t.Helper()
	for i := range rounds {
		who := fmt.Sprint("member", i%7)
		decide(t, n, request(who, fmt.Sprint("take ", i)), storetest.Take(who, fmt.Sprint("s", i), fmt.Sprint("t", i)))
		decide(t, n, request(who, fmt.Sprint("note ", i)), storetest.Note(fmt.Sprint("s", i%3), fmt.Sprint("remark ", i)))
		if i%2 == 0 {
			decide(t, n, request(who, fmt.Sprint("back ", i)), storetest.GiveBack(who, fmt.Sprint("t", i)))
		}
	}
}

func TestRebuild(t *testing.T) {
	t.Run("OK: a store that was deleted", func(t *testing.T) {
		onBoth(t, true, func(t *testing.T, p place) {
			store := p.store()
			n := openNode(t, config(p.log(), store))
			history(t, n, 150) // more than one full tile
			rebuilt := p.store()
			cfg := config(p.log(), rebuilt)
			var done, total eventstore.Sequence
			cfg.Progress = func(d, t eventstore.Sequence) { done, total = d, t }
			again := openNode(t, cfg)
			if again.Checkpoint() != n.Checkpoint() {
				t.Fatalf("rebuilt to %+v, it was %+v", again.Checkpoint(), n.Checkpoint())
			}
			if total != n.Checkpoint().Sequence || done != total {
				t.Fatalf("progress ended with %d of %d", done, total)
			}
			expectSameRows(t, dump(t, rebuilt), dump(t, store))
		})
	})

	// A crashed process is a copy of its directory, taken while it runs.
	server := startServer(t, t.TempDir(), "127.0.0.1:0")
	boot := func(id string) func() (string, error) { return func() (string, error) { return id, nil } }
	dir := filepath.Join(t.TempDir(), "store")
	store := openBadger(t, badgerstore.Options{Dir: dir, BootID: boot("monday")})
	n := openNode(t, config(openLog(t, natslog.Config{Server: server}), store))
	history(t, n, 120)
	want := dump(t, store)
	reopen := func(t *testing.T, id string) (*badgerstore.Store, *badgerstore.Aside) {
		copied := filepath.Join(t.TempDir(), "store")
		copyDir(t, dir, copied)
		s, aside, err := badgerstore.Open(badgerstore.Options{Dir: copied, BootID: boot(id)})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() {
			if err := s.Close(); err != nil {
				t.Error(err)
			}
		})
		return s, aside
	}

	t.Run("OK: a store whose process was killed goes on", func(t *testing.T) {
		s, aside := reopen(t, "monday")
		if aside != nil {
			t.Fatalf("it was set aside: %+v", aside)
		}
		expectSameRows(t, dump(t, s), want)
		again := openNode(t, config(openLog(t, natslog.Config{Server: server}), s))
		if again.Checkpoint() != n.Checkpoint() {
			t.Fatalf("at %+v, it was %+v", again.Checkpoint(), n.Checkpoint())
		}
	})

	t.Run("OK: a store under which the machine went down is set aside and built anew", func(t *testing.T) {
		s, aside := reopen(t, "tuesday")
		if aside == nil {
			t.Fatal("it was trusted")
		}
		if _, err := os.Stat(filepath.Join(aside.Dir, "MANIFEST")); err != nil {
			t.Fatalf("it is not where %+v says: %v", aside, err)
		}
		if rows := dump(t, s); len(rows) != 0 {
			t.Fatalf("the new store holds %d rows", len(rows))
		}
		again := openNode(t, config(openLog(t, natslog.Config{Server: server}), s))
		if again.Checkpoint() != n.Checkpoint() {
			t.Fatalf("rebuilt to %+v, it was %+v", again.Checkpoint(), n.Checkpoint())
		}
		expectSameRows(t, dump(t, s), want)
	})

	t.Run("refused: a store that is open", func(t *testing.T) {
		if s, _, err := badgerstore.Open(badgerstore.Options{Dir: dir, BootID: boot("monday")}); !errors.Is(err, badgerstore.ErrInUse) {
			t.Fatalf("got %v, %v", s, err)
		}
	})

	t.Run("OK: a store that was closed is trusted after a new start of the machine", func(t *testing.T) {
		n.Close()
		if err := store.Close(); err != nil {
			t.Fatal(err)
		}
		s, aside := reopen(t, "wednesday")
		if aside != nil {
			t.Fatalf("it was set aside: %+v", aside)
		}
		expectSameRows(t, dump(t, s), want)
	})
}

func copyDir(t *testing.T, from, to string) {
	t.Helper()
	if err := os.MkdirAll(to, 0o700); err != nil {
		t.Fatal(err)
	}
	files, err := os.ReadDir(from)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		copyFile(t, filepath.Join(from, f.Name()), filepath.Join(to, f.Name()))
	}
}

func copyFile(t *testing.T, from, to string) {
	t.Helper()
	in, err := os.Open(from)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	out, err := os.Create(to)
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	if _, err := io.Copy(out, in); err != nil {
		t.Fatal(err)
	}
}
