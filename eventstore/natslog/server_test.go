package natslog_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/natslog"
)

func TestServer(t *testing.T) {
	t.Run("restarted: all is there", func(t *testing.T) {
		dir := t.TempDir()
		s := startServer(t, dir)
		create(t, s)
		l := open(t, natslog.Config{Server: s})
		fill(t, l, 0, 10)
		before := expectStatus(t, l, 10)
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
		s.Close()

		again := open(t, natslog.Config{Server: startServer(t, dir)})
		after := expectStatus(t, again, 10)
		if !before.Created.Equal(after.Created) || len(after.Wrong) != 0 {
			t.Fatalf("got %+v, had %+v", after, before)
		}
		expectNext(t, follow(t, again, 0), 0, 10)
		fill(t, again, 10, 11)
	})

	t.Run("without a listener: exclusive while one log is open", func(t *testing.T) {
		s := startWith(t, natslog.Options{StoreDir: t.TempDir()})
		if s.ClientURL() != "" {
			t.Fatalf("it can be reached at %q", s.ClientURL())
		}
		create(t, s)
		l := open(t, natslog.Config{Server: s})
		if !l.Exclusive() {
			t.Error("the only log isn't exclusive")
		}
		other := open(t, natslog.Config{Server: s})
		if l.Exclusive() || other.Exclusive() {
			t.Error("one of two logs is exclusive")
		}
		if err := other.Close(); err != nil {
			t.Fatal(err)
		}
		if !l.Exclusive() {
			t.Error("the log that remained isn't exclusive")
		}
	})

	t.Run("with a listener: not exclusive", func(t *testing.T) {
		l, s := newLog(t)
		if l.Exclusive() || open(t, natslog.Config{URL: s.ClientURL()}).Exclusive() {
			t.Error("a log that others can reach is exclusive")
		}
	})

	t.Run("refused: the directory is in use", func(t *testing.T) {
		dir := t.TempDir()
		s := startServer(t, dir)
		if _, err := natslog.StartServer(natslog.Options{StoreDir: dir}); !errors.Is(err, natslog.ErrInUse) {
			t.Fatalf("got %v, want ErrInUse", err)
		}
		s.Close()
		startServer(t, dir)
	})

	t.Run("refused: a directory that can't be made", func(t *testing.T) {
		file := filepath.Join(t.TempDir(), "file")
		if err := os.WriteFile(file, nil, 0o600); err != nil {
			t.Fatal(err)
		}
		var path *fs.PathError
		if _, err := natslog.StartServer(natslog.Options{StoreDir: filepath.Join(file, "store")}); !errors.As(err, &path) {
			t.Fatalf("got %v, want a path error", err)
		}
	})

	t.Run("refused: JetStream can't start", func(t *testing.T) {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, "jetstream"), nil, 0o600); err != nil {
			t.Fatal(err)
		}
		if s, err := natslog.StartServer(natslog.Options{StoreDir: dir, Logger: testLogger(t)}); err == nil {
			s.Close()
			t.Fatal("it started")
		}
	})

	for _, address := range []string{"0.0.0.0:0", "198.51.100.7:4222", "nonsense"} {
		t.Run("refused: listening on "+address, func(t *testing.T) {
			if s, err := natslog.StartServer(natslog.Options{StoreDir: t.TempDir(), Listen: address}); err == nil {
				s.Close()
				t.Fatal("it started")
			}
		})
	}

	t.Run("refused: no directory", func(t *testing.T) {
		if s, err := natslog.StartServer(natslog.Options{}); err == nil {
			s.Close()
			t.Fatal("it started")
		}
	})
}

// failingDiskEnv makes the test binary the child of TestFailingDisk.
const failingDiskEnv = "NATSLOG_TEST_FAILING_DISK"

// A server whose write failed doesn't answer the publish. It must be known as a
// storage failure all the same, and at once. The disk fails in a child, by a
// limit on the size of files: a write past it gets EFBIG.
func TestFailingDisk(t *testing.T) {
	dir := t.TempDir()
	cmd := exec.CommandContext(testContext(t), os.Args[0])
	cmd.Env = append(os.Environ(), failingDiskEnv+"="+dir)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v: %s", err, stderr.Bytes())
	}
	var acknowledged int
	if _, err := fmt.Sscanf(string(out), "acknowledged %d", &acknowledged); err != nil || acknowledged == 0 {
		t.Fatalf("the child wrote %q", out)
	}

	l := open(t, natslog.Config{Server: startServer(t, dir)})
	status, err := l.Status(testContext(t))
	if err != nil {
		t.Fatal(err)
	}
	// The commit that failed may be there or not; those acknowledged must.
	if got := int(status.Last); got != acknowledged && got != acknowledged+1 {
		t.Fatalf("%d commits were acknowledged, the log ends at %d", acknowledged, got)
	}
	f := follow(t, l, 0)
	for n := range acknowledged {
		m, err := f.Next(testContext(t))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(m.Data, bigCommit(n+1)) {
			t.Fatalf("commit %d came back changed", n+1)
		}
	}
}

func bigCommit(n int) []byte { return append(commitData(n), make([]byte, 64<<10)...) }

// runOnFailingDisk publishes until the disk fails, and reports how much was
// acknowledged before.
func runOnFailingDisk(dir string) (exitCode int) {
	const maxFile = 1 << 20
	fail := func(err error) int {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	s, err := natslog.StartServer(natslog.Options{StoreDir: dir})
	if err != nil {
		return fail(err)
	}
	cfg := natslog.Config{Server: s, Coop: coop}
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	if err := natslog.Create(ctx, cfg); err != nil {
		return fail(err)
	}
	l, err := natslog.Open(ctx, cfg)
	if err != nil {
		return fail(err)
	}
	signal.Ignore(syscall.SIGXFSZ)
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: maxFile, Max: maxFile}); err != nil {
		return fail(err)
	}
	acknowledged := 0
	for err == nil && acknowledged < 2*maxFile>>16 {
		if err = l.Publish(ctx, eventstore.Sequence(acknowledged), commitID(acknowledged), bigCommit(acknowledged+1)); err == nil {
			acknowledged++
		}
	}
	if !errors.Is(err, eventstore.ErrIO) {
		return fail(fmt.Errorf("got %w after %d commits, want ErrIO", err, acknowledged))
	}
	// ctx is shorter than Publish's own limit.
	if ctx.Err() != nil {
		return fail(errors.New("the failure was only noticed when the caller's time ended"))
	}
	if err := l.Publish(ctx, eventstore.Sequence(acknowledged), commitID(acknowledged), nil); !errors.Is(err, eventstore.ErrIO) {
		return fail(fmt.Errorf("got %w from a log that had failed, want ErrIO", err))
	}
	fmt.Printf("acknowledged %d\n", acknowledged)
	// As a node does: it leaves without a clean stop.
	return 0
}
