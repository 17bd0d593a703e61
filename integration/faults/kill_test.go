package faults_test

import (
	"fmt"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// verifyEvery is how many kills pass between two replays from zero.
const verifyEvery = 5

// watchedRounds is how many kills the program meets that was built with the race
// detector, where the tests are; it is too slow for more.
const watchedRounds = 10

// The real binary is killed again and again under mixed load, with at least 200
// commands in flight. After each restart every acknowledged command must be there
// once, as it was acknowledged; none half; and now and then every key of every
// view must be what a replay from zero gives.
func TestKillUnderLoad(t *testing.T) {
	binary, choices := must(binaries.plain())(t), newRand(t)
	c, node := newCoop(t, binary, 4, 4, 160)
	l := newLoad(c)
	for round := range killRounds {
		before := len(l.acked)
		done := l.after(1 + choices.IntN(1500))
		l.begin()
		select {
		case <-done:
		case <-time.After(patience):
			t.Fatalf("round %d: too few commands are acknowledged: %d\n%s", round, len(l.acked)-before, node.stderr)
		}
		l.busy(t, 200)
		node.kill(t)
		l.end()
		if round+1 == watchedRounds {
			binary = must(binaries.quick())(t)
		}
		if round%verifyEvery == verifyEvery-1 {
			verify(t, must(binaries.quick())(t), c.dir)
		}
		node = c.restart(t, binary, serveOptions{})
		l.settle(t)
		l.inspect(t, append(l.sample(choices, before, len(l.acked), 100), l.sample(choices, 0, before, 50)...))
	}
	t.Logf("%d kills, %d commands acknowledged, %d refused, %d repeats refused", killRounds, len(l.acked), l.refused.Load(), len(l.settled))
	node.stop(t)
	v := verify(t, binary, c.dir)
	node = c.restart(t, binary, serveOptions{})
	log := readLog(t, c.dir)
	if last := log[len(log)-1]; last.last != v.Records || last.sequence != v.Commits {
		t.Fatalf("the log ends at position %d of commit %d, verify counted %d and %d", last.last, last.sequence, v.Records, v.Commits)
	}
	node.stop(t)
}

// The process dies at each named point, at a pass through it that the seed chooses.
func TestKillAtPoints(t *testing.T) {
	for _, point := range []string{"after-decide", "before-publish", "after-publish", "mid-apply", "after-apply", "while-signing", "while-backing-up"} {
		t.Run("OK: killed "+point, func(t *testing.T) {
			binary, deadly, choices := must(binaries.plain())(t), must(binaries.points())(t), newRand(t)
			c, node := newCoop(t, binary, 2, 2, 160)
			node.stop(t)
			l := newLoad(c)
			for range pointRounds {
				before := len(l.acked)
				passes := 20
				if point == "while-signing" {
					passes = 3 // once a second
				}
				env := fmt.Sprintf("SEAMSHARE_FAULTPOINT=%s:%d", point, 1+choices.IntN(passes))
				out := filepath.Join(filepath.Dir(c.dir), "backup")
				var p *process
				if node, p = launch(t, deadly, c.dir, serveOptions{env: env}); node != nil {
					c.connect(t, node.GRPC)
					l.begin()
					l.busy(t, 200)
				}
				if point == "while-backing-up" {
					if r := run(t, binary, "backup", "--data", c.dir, "--out", out, "--json"); r.code == 0 {
						t.Fatalf("the node died in the backup, and it says it is whole: %s", r.stdout)
					}
				}
				if node != nil {
					l.untilDead(t, p)
					l.end()
				}
				p.wait(t) // it may have died before it was ready
				if p.signal != syscall.SIGKILL {
					t.Fatalf("it ended by signal %d with exit code %d\n%s", p.signal, p.code, p.stderr)
				}
				if left, _ := filepath.Glob(out + "*"); len(left) > 0 {
					t.Fatalf("half a backup is left: %v", left)
				}
				node = c.restart(t, binary, serveOptions{})
				l.settle(t)
				l.inspect(t, l.sample(choices, before, len(l.acked), 100))
				node.stop(t)
			}
			verify(t, binary, c.dir)
		})
	}
}

// untilDead waits for a node's end under load. One that lives on while no caller gets
// an answer is stuck: its goroutines tell where.
func (l *load) untilDead(t testing.TB, p *process) {
	t.Helper()
	select {
	case <-p.done:
		return
	case <-l.gone():
	}
	select {
	case <-p.done:
	case <-time.After(10 * time.Second):
		l.end()
		why := l.unknown[len(l.unknown)-1].why
		_ = p.cmd.Process.Signal(syscall.SIGQUIT)
		p.wait(t)
		t.Fatalf("the node is stuck: its callers got %v\n%s", why, p.stderr)
	}
}
