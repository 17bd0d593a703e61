package faults_test

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/natslog"
)

// aftermath is a co-op whose node was stopped after some work.
type aftermath struct {
	*coop
	binary   string
	answers  []string // what the node said before it stopped
	verified verified
}

// newAftermath works for a while and stops the node: cleanly, or with kill -9.
func newAftermath(t testing.TB, killed bool) *aftermath {
	t.Helper()
	binary := must(binaries.plain())(t)
	c, node := newCoop(t, binary, 2, 2, 160)
	l := newLoad(c)
	done := l.after(300)
	l.begin()
	<-done
	l.end()
	l.settle(t)
	a := &aftermath{coop: c, binary: binary, answers: must(c.answers(t))(t)}
	if killed {
		node.kill(t)
	} else {
		node.stop(t)
	}
	copyTree(t, c.dir, c.dir+".kept")
	a.verified = verify(t, binary, c.dir)
	a.reset(t)
	return a
}

// reset brings the folder back to where the node stopped.
func (a *aftermath) reset(t testing.TB) {
	t.Helper()
	if err := os.RemoveAll(a.dir); err != nil {
		t.Fatal(err)
	}
	copyTree(t, a.dir+".kept", a.dir)
}

// same holds a node that serves to what was said before.
func (a *aftermath) same(t testing.TB, s *served) {
	t.Helper()
	a.connect(t, s.GRPC)
	if now := must(a.coop.answers(t))(t); !slices.Equal(now, a.answers) {
		t.Fatal("the node answers otherwise than before")
	}
	s.stop(t)
	if v := verify(t, a.binary, a.dir); v != a.verified {
		t.Fatalf("verify counts %+v, before it was %+v", v, a.verified)
	}
}

// The store is only a copy: where it is gone, or can't be trusted, it is built anew
// from the log without anyone's help.
func TestStoreIsBuiltAnew(t *testing.T) {
	a := newAftermath(t, true)
	t.Run("OK: the store was deleted", func(t *testing.T) {
		remove(t, storeDir(a.dir))
		a.same(t, serve(t, a.binary, a.dir, serveOptions{}))
	})
	a.reset(t)
	t.Run("OK: the machine went down while the store was open", func(t *testing.T) {
		marker := filepath.Join(storeDir(a.dir), "open-since-boot")
		if _, err := os.Stat(marker); err != nil {
			t.Fatalf("a killed node left no marker: %v", err)
		}
		if err := os.WriteFile(marker, []byte("00000000-0000-0000-0000-000000000000\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		s := serve(t, a.binary, a.dir, serveOptions{})
		if aside := must(filepath.Glob(storeDir(a.dir) + ".aside-*"))(t); len(aside) != 1 {
			t.Fatalf("the old store isn't set aside: %v", aside)
		}
		if !strings.Contains(s.stderr.String(), "built anew") {
			t.Fatalf("nothing is said of it:\n%s", s.stderr)
		}
		a.same(t, s)
	})
	a.reset(t)
	t.Run("OK: a killed process leaves a store that goes on", func(t *testing.T) {
		s := serve(t, a.binary, a.dir, serveOptions{})
		if aside := must(filepath.Glob(storeDir(a.dir) + ".aside-*"))(t); len(aside) != 0 {
			t.Fatalf("the store was set aside: %v", aside)
		}
		a.same(t, s)
	})
	a.reset(t)
	t.Run("OK: rebuild", func(t *testing.T) {
		var v verified
		runOK(t, &v, a.binary, "rebuild", "--data", a.dir)
		if v != a.verified {
			t.Fatalf("rebuild counts %+v, before it was %+v", v, a.verified)
		}
		a.same(t, serve(t, a.binary, a.dir, serveOptions{}))
	})
}

// A log that is not what the store has seen is refused, and nothing is answered.
func TestLogIsRefused(t *testing.T) {
	a := newAftermath(t, false)
	old := foundCoop(t, a.binary, dataDir(newFolder(t)))
	for _, c := range []struct {
		name  string
		spoil func(t *testing.T)
	}{
		{"refused: the log is missing", func(t *testing.T) { remove(t, logDir(a.dir)) }},
		{"refused: another co-op's birth, the same name", func(t *testing.T) {
			remove(t, logDir(a.dir))
			copyTree(t, logDir(old.dir), logDir(a.dir))
		}},
		{"refused: a fresh log in its place", func(t *testing.T) {
			remove(t, logDir(a.dir))
			a.withLog(t, func(ctx context.Context, cfg natslog.Config) error { return natslog.Create(ctx, cfg) })
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			a.reset(t)
			c.spoil(t)
			s, p := launch(t, a.binary, a.dir, serveOptions{})
			if s == nil {
				t.Fatalf("serve ended with exit code %d\n%s", p.code, p.stderr)
			}
			a.inTrouble(t, s, a.binary, a.verified.Records)
		})
	}
	t.Run("refused: an older copy of the log", func(t *testing.T) {
		a.reset(t)
		copyTree(t, logDir(a.dir), a.dir+".old-log")
		s := a.restart(t, a.binary, serveOptions{})
		l := newLoad(a.coop)
		done := l.after(50)
		l.begin()
		<-done
		l.end()
		s.stop(t)
		now := verify(t, a.binary, a.dir)
		remove(t, logDir(a.dir))
		copyTree(t, a.dir+".old-log", logDir(a.dir))
		s, p := launch(t, a.binary, a.dir, serveOptions{})
		if s == nil {
			t.Fatalf("serve ended with exit code %d\n%s", p.code, p.stderr)
		}
		a.inTrouble(t, s, a.binary, now.Records)
	})
	t.Run("refused: the log and the store are gone, the signer is there", func(t *testing.T) {
		a.reset(t)
		remove(t, logDir(a.dir))
		remove(t, storeDir(a.dir))
		if r := run(t, a.binary, "serve", "--data", a.dir, "--listen", "127.0.0.1:0", "--http", "127.0.0.1:0", "--json"); r.code != 6 || r.failure(t).Reason != "LOG_MISSING" {
			t.Fatalf("serve ended with exit code %d\n%s", r.code, r.stderr)
		}
	})
	t.Run("refused: both are as they were long ago, the signer knows better", func(t *testing.T) {
		a.reset(t)
		remove(t, logDir(a.dir))
		remove(t, storeDir(a.dir))
		a.withLog(t, func(ctx context.Context, cfg natslog.Config) error { return natslog.Create(ctx, cfg) })
		s, p := launch(t, a.binary, a.dir, serveOptions{})
		if s == nil {
			t.Fatalf("serve ended with exit code %d\n%s", p.code, p.stderr)
		}
		a.inTrouble(t, s, a.binary, 0)
	})
}

// withLog does something to a stopped node's log.
func (a *aftermath) withLog(t testing.TB, do func(context.Context, natslog.Config) error) {
	t.Helper()
	server := must(natslog.StartServer(natslog.Options{StoreDir: logDir(a.dir)}))(t)
	defer server.Close()
	if err := do(soon(t), natslog.Config{Server: server, Coop: coopID}); err != nil {
		t.Fatal(err)
	}
}

// publish puts a commit at the end of a stopped node's log.
func (a *aftermath) publish(t testing.TB, change func(*eventv1.Commit, *eventv1.Record)) {
	t.Helper()
	a.withLog(t, func(ctx context.Context, cfg natslog.Config) error {
		log, err := natslog.Open(ctx, cfg)
		if err != nil {
			return err
		}
		defer log.Close()
		status, err := log.Status(ctx)
		if err != nil {
			return err
		}
		m, err := log.Read(ctx, status.Last)
		if err != nil {
			return err
		}
		var c eventv1.Commit
		if err := proto.Unmarshal(m.Data, &c); err != nil {
			return err
		}
		c.FirstPosition += uint64(len(c.Records))
		c.CommitId = []byte("another commit id"[:16])
		c.Decisions = c.Decisions[:1]
		c.Decisions[0].RequestId, c.Decisions[0].RecordCount = newID(), 1
		r := &eventv1.Record{Stream: "claim/" + strings.ToLower(coopID), StreamVersion: 1, Type: 1, Salt: make([]byte, 32)}
		change(&c, r)
		raw, err := proto.Marshal(r)
		if err != nil {
			return err
		}
		if c.Records != nil {
			c.Records = [][]byte{raw}
		}
		data, err := proto.Marshal(&c)
		if err != nil {
			return err
		}
		return log.Publish(ctx, status.Last, eventstore.CommitID(c.CommitId), data)
	})
}

// What the log holds and this program can't follow stops the node before it.
func TestUnreadableCommitStopsTheNode(t *testing.T) {
	a := newAftermath(t, false)
	for name, change := range map[string]func(*eventv1.Commit, *eventv1.Record){
		"refused: an event of an unknown type": func(_ *eventv1.Commit, r *eventv1.Record) { r.Type = 9999 },
		"refused: an unknown field in an event": func(_ *eventv1.Commit, r *eventv1.Record) {
			r.Type, r.Public = 120, []byte{0xfa, 0x3f, 1, 'x'} // field 1023
		},
		"refused: an unknown field in the envelope": func(c *eventv1.Commit, r *eventv1.Record) {
			c.ProtoReflect().SetUnknown([]byte{0xfa, 0x3f, 1, 'x'})
		},
		"refused: a format of tomorrow":          func(c *eventv1.Commit, _ *eventv1.Record) { c.Format = 2 },
		"refused: a commit of another co-op":     func(c *eventv1.Commit, _ *eventv1.Record) { c.Coop = "three-ridges" },
		"refused: a gap in the positions":        func(c *eventv1.Commit, _ *eventv1.Record) { c.FirstPosition++ },
		"refused: a gap in a stream":             func(_ *eventv1.Commit, r *eventv1.Record) { r.StreamVersion = 7 },
		"refused: decided before its forerunner": func(c *eventv1.Commit, _ *eventv1.Record) { c.DecidedAtUs-- },
		"refused: a commit without records":      func(c *eventv1.Commit, _ *eventv1.Record) { c.Records = nil },
	} {
		t.Run(name, func(t *testing.T) {
			a.reset(t)
			a.publish(t, change)
			s, p := launch(t, a.binary, a.dir, serveOptions{})
			if s == nil {
				t.Fatalf("serve ended with exit code %d\n%s", p.code, p.stderr)
			}
			a.inTrouble(t, s, a.binary, a.verified.Records)
		})
	}
}

func remove(t testing.TB, path string) {
	t.Helper()
	if err := os.RemoveAll(path); err != nil {
		t.Fatal(err)
	}
}
