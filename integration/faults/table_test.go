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
	binary := must(binaries.quick())(t)
	c, node := newCoop(t, binary, 2, 2, 160)
	l := newLoad(c)
	done := l.after(300)
	l.begin()
	<-done
	l.end()
	l.settle(t)
	if err := l.grind(soon(t), c.bench[0]); err != nil { // the last commit is one step of one piece
		t.Fatal(err)
	}
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
		name, reason string
		spoil        func(t *testing.T)
	}{
		{"refused: the log is missing", "the log is missing", func(t *testing.T) { remove(t, logDir(a.dir)) }},
		{"refused: the log of another founding under the same name", "another log", func(t *testing.T) {
			remove(t, logDir(a.dir))
			copyTree(t, logDir(old.dir), logDir(a.dir))
		}},
		{"refused: a fresh log in its place", "another log", func(t *testing.T) {
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
			a.inTrouble(t, s, a.binary, a.verified.Records, c.reason)
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
		a.inTrouble(t, s, a.binary, now.Records, "the log ends at commit")
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
		a.inTrouble(t, s, a.binary, 0, "was signed")
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
		r := &eventv1.Record{}
		if err := proto.Unmarshal(c.Records[0], r); err != nil {
			return err
		}
		c.FirstPosition += uint64(len(c.Records))
		c.CommitId = []byte("another commit id"[:16])
		c.Decisions[0].RequestId = newID()
		r.StreamVersion++
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
	t.Run("OK: one more step on the piece", func(t *testing.T) { // so that each change below is what is wrong
		a.reset(t)
		a.publish(t, func(*eventv1.Commit, *eventv1.Record) {})
		serve(t, a.binary, a.dir, serveOptions{}).stop(t)
		if v := verify(t, a.binary, a.dir); v.Records != a.verified.Records+1 {
			t.Fatalf("%d records, must be one more than %d", v.Records, a.verified.Records)
		}
	})
	for _, c := range []struct {
		name, reason string
		change       func(*eventv1.Commit, *eventv1.Record)
	}{
		{"refused: an event of an unknown type", "type 9999 is not known", func(_ *eventv1.Commit, r *eventv1.Record) { r.Type = 9999 }},
		{"refused: an unknown field in an event", "has a field", func(_ *eventv1.Commit, r *eventv1.Record) { r.Public = append(r.Public, unknownField...) }},
		{"refused: an unknown field in a record", "envelope field", func(_ *eventv1.Commit, r *eventv1.Record) { r.ProtoReflect().SetUnknown(unknownField) }},
		{"refused: an unknown field in a commit", "with a field", func(c *eventv1.Commit, _ *eventv1.Record) { c.ProtoReflect().SetUnknown(unknownField) }},
		{"refused: a format of tomorrow", "format 2", func(c *eventv1.Commit, _ *eventv1.Record) { c.Format = 2 }},
		{"refused: a commit of another co-op", "three-ridges", func(c *eventv1.Commit, _ *eventv1.Record) { c.Coop = "three-ridges" }},
		{"refused: a gap in the positions", "after position", func(c *eventv1.Commit, _ *eventv1.Record) { c.FirstPosition++ }},
		{"refused: a gap in a stream", "says it is number", func(_ *eventv1.Commit, r *eventv1.Record) { r.StreamVersion++ }},
		{"refused: decided before its forerunner", "before the one before", func(c *eventv1.Commit, _ *eventv1.Record) { c.DecidedAtUs-- }},
		{"refused: a commit without records", "without", func(c *eventv1.Commit, _ *eventv1.Record) { c.Records = nil }},
	} {
		t.Run(c.name, func(t *testing.T) {
			a.reset(t)
			a.publish(t, c.change)
			s, p := launch(t, a.binary, a.dir, serveOptions{})
			if s == nil {
				t.Fatalf("serve ended with exit code %d\n%s", p.code, p.stderr)
			}
			a.inTrouble(t, s, a.binary, a.verified.Records, c.reason)
		})
	}
}

// unknownField is field 1023, one byte.
var unknownField = []byte{0xfa, 0x3f, 1, 'x'}

func remove(t testing.TB, path string) {
	t.Helper()
	if err := os.RemoveAll(path); err != nil {
		t.Fatal(err)
	}
}
