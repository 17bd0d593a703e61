//go:build long

package faults_test

import (
	"fmt"
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
	file  string // only on this file of the data folder; empty: on any
	most  int    // n is at most this
	fatal bool   // the process must end with 74
}

// The disk fails once, somewhere: the process ends, or lives on and answers nothing
// wrong; the next start has every acknowledged command. A sync of the log that
// failed must end it, with the exit code that says so.
func TestDiskFailsOnce(t *testing.T) {
	block := filepath.Join("log", "jetstream", "$G", "streams", "seamshare-"+coopID, "msgs", "1.blk")
	binary, choices := must(binaries.quick())(t), newRand(t)
	c, node := newCoop(t, binary, 2, 2, 160)
	node.stop(t)
	l := newLoad(c)
	ended := map[int]int{}
	for point := range ioPoints {
		before := len(l.acked)
		one := []injection{
			{"fsync", block, 12, true},
			{"fsync,fdatasync,msync", "", 12, false},
			{"write,pwrite64", block, 12, false},
			{"fsync,fdatasync,msync,write,pwrite64", "", 60, false},
		}[point%4]
		if one.file == "" && choices.IntN(2) == 0 {
			one.file = []string{"store/MANIFEST", "signer/signer.state", block}[choices.IntN(3)]
		}
		at := 1 + choices.IntN(one.most)
		what := fmt.Sprintf("%s of %q, the %d. time", one.calls, one.file, at)
		with := []string{
			"strace", "-f", "-qq", "--seccomp-bpf", "-o", filepath.Join(filepath.Dir(c.dir), "strace"),
			"-e", "trace=" + one.calls, "-e", fmt.Sprintf("inject=%s:error=EIO:when=%d", one.calls, at),
		}
		if one.file != "" {
			with = append(with, "-P", filepath.Join(c.dir, one.file))
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
			case <-time.After(patience):
				killTraced(t, p)
				t.Fatalf("%s: neither an end nor answers\n%s", what, p.stderr)
			}
			l.end()
		}
		ended[p.code]++
		switch {
		case one.fatal && p.code != 74:
			t.Fatalf("%s: exit code %d, must be 74\n%s", what, p.code, p.stderr)
		case p.code == 0:
			t.Fatalf("%s: the process ended as if nothing had been\n%s", what, p.stderr)
		}
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
	t.Logf("%d commands acknowledged; exit codes and how often: %v", len(l.acked), ended)
	if ended[74] == 0 {
		t.Fatal("no failure was met: is strace at work?")
	}
}

// killTraced kills the process that strace runs; strace then ends as it did.
func killTraced(t testing.TB, p *process) {
	t.Helper()
	pid := strconv.Itoa(p.cmd.Process.Pid)
	for _, child := range strings.Fields(string(must(os.ReadFile("/proc/" + pid + "/task/" + pid + "/children"))(t))) {
		if err := syscall.Kill(must(strconv.Atoi(child))(t), syscall.SIGKILL); err != nil {
			t.Fatal(err)
		}
	}
	p.wait(t)
}
