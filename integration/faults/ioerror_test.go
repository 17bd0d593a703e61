//go:build long

package faults_test

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// injection is a system call that fails once, in the n-th call of some thread.
type injection struct {
	calls string
	files []string // only on these files of the data folder; none: on any
	most  int      // n is at most this
	fatal bool     // the process must end with 74
}

// The disk fails once, somewhere: the process ends, or lives on and answers nothing
// wrong; the next start has every acknowledged command. A sync of the log that
// failed must end it, with the exit code that says so.
func TestDiskFailsOnce(t *testing.T) {
	binary, choices := must(binaries.quick())(t), newRand(t)
	c, node := newCoop(t, binary, 2, 2, 160)
	node.stop(t)
	l := newLoad(c)
	mended := 0
	ended, met := map[int]int{}, map[int]int{}
	for point := range ioPoints {
		before := len(l.acked)
		blocks := openBlocks(t, c.dir)
		one := []injection{
			{"fsync", blocks, 3, true},
			{"fsync,fdatasync,msync", nil, 6, false},
			{"write,pwrite64", blocks, 3, true},
			{"write,pwrite64", nil, 12, false},
			{"fsync", []string{"signer"}, 1, false}, // the folder, after the signer's state got its name
			{"fsync", []string{"store"}, 2, false},
		}[point%6]
		at := 1 + choices.IntN(one.most)
		what := fmt.Sprintf("%s of %q, the %d. time", one.calls, one.files, at)
		trace := filepath.Join(filepath.Dir(c.dir), "strace")
		with := []string{
			"strace", "-f", "-qq", "--seccomp-bpf", "-o", trace,
			"-e", "trace=" + one.calls, "-e", fmt.Sprintf("inject=%s:error=EIO:when=%d", one.calls, at),
		}
		for _, file := range one.files {
			with = append(with, "-P", filepath.Join(c.dir, file))
		}
		s, p := launch(t, binary, c.dir, serveOptions{with: with})
		if s != nil {
			c.connect(t, s.GRPC)
			done := l.after(600)
			l.begin()
			if one.fatal {
				p.wait(t)
			}
			select {
			case <-p.done:
			case <-done: // it wasn't met, or lived on
				killTraced(t, p)
			case <-l.gone(): // connections failed, not the disk
				killTraced(t, p)
			case <-time.After(patience):
				killTraced(t, p)
				t.Fatalf("%s: neither an end nor answers\n%s", what, p.stderr)
			}
			l.end()
		}
		ended[p.code]++
		if strings.Contains(string(must(os.ReadFile(trace))(t)), "(INJECTED)") {
			met[point%6]++
		}
		switch {
		case one.fatal && p.code != 74:
			t.Fatalf("%s: exit code %d, must be 74\n%s", what, p.code, p.stderr)
		case p.code == 0:
			t.Fatalf("%s: the process ended as if nothing had been\n%s", what, p.stderr)
		}
		mended += c.mend(t, binary)
		node = c.restart(t, binary, serveOptions{})
		l.settle(t)
		func() {
			defer func() {
				if t.Failed() {
					t.Logf("after %s (exit code %d)\n%s", what, p.code, p.stderr)
				}
			}()
			l.inspect(t, l.sample(choices, before, len(l.acked), 50))
		}()
		node.stop(t)
	}
	verify(t, binary, c.dir)
	t.Logf("%d commands acknowledged; exit codes and how often: %v; failures met by kind: %v; stores rebuilt: %d", len(l.acked), ended, met, mended)
	if ended[74] == 0 {
		t.Fatal("no failure was met: is strace at work?")
	}
}

// openBlocks are the files of the log that the next commits go into: its newest block,
// and the one after it, since a block that is full is followed by another.
func openBlocks(t testing.TB, dir string) []string {
	t.Helper()
	folder := filepath.Join("log", "jetstream", "$G", "streams", "seamshare-"+coopID, "msgs")
	newest := 0
	for _, entry := range must(os.ReadDir(filepath.Join(dir, folder)))(t) {
		if number, ok := strings.CutSuffix(entry.Name(), ".blk"); ok {
			newest = max(newest, must(strconv.Atoi(number))(t))
		}
	}
	if newest == 0 {
		t.Fatalf("%s has no block", folder)
	}
	return []string{filepath.Join(folder, fmt.Sprintf("%d.blk", newest)), filepath.Join(folder, fmt.Sprintf("%d.blk", newest+1))}
}

// mend rebuilds a store that a failed write left damaged, as the refusal says. It
// gives 1 where that was needed.
func (c *coop) mend(t testing.TB, binary string) int {
	t.Helper()
	s, p := launch(t, binary, c.dir, serveOptions{})
	if s != nil {
		s.stop(t)
		return 0
	}
	if f := (ran{p.code, p.stdout.String(), p.stderr.String()}).failure(t); p.code != 6 || f.Reason != "STORE_DAMAGED" {
		t.Fatalf("serve ended with exit code %d\n%s", p.code, p.stderr)
	}
	runOK(t, nil, binary, "rebuild", "--data", c.dir)
	return 1
}

// killTraced kills the process that strace runs; strace then ends as it did.
func killTraced(t testing.TB, p *process) {
	t.Helper()
	pid := strconv.Itoa(p.cmd.Process.Pid)
	children, err := os.ReadFile("/proc/" + pid + "/task/" + pid + "/children")
	if err != nil && !errors.Is(err, fs.ErrNotExist) { // it may have ended
		t.Fatal(err)
	}
	for _, child := range strings.Fields(string(children)) {
		if err := syscall.Kill(must(strconv.Atoi(child))(t), syscall.SIGKILL); err != nil && !errors.Is(err, syscall.ESRCH) {
			t.Fatal(err)
		}
	}
	p.wait(t)
}
