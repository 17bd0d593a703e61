package faults_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// One damage to the files of a stopped node: it must be refused, or have no effect
// at all. Never is anything answered otherwise than before.
func TestDamageIsNeverServed(t *testing.T) {
	choices := newRand(t)
	for _, stopped := range []struct {
		how    string
		killed bool
	}{{"stopped cleanly", false}, {"killed", true}} {
		t.Run(stopped.how, func(t *testing.T) {
			a := newAftermath(t, stopped.killed)
			var said ran
			if said = run(t, a.binary, "log", "--data", a.dir, "--json"); said.code != 0 {
				t.Fatalf("log ended with exit code %d\n%s", said.code, said.stderr)
			}
			a.reset(t)
			all := files(t, a.dir, "log", "store")
			refused := 0
			for i := range flipRounds / 2 {
				a.reset(t)
				what := flip(t, choices, a.dir, all[(i+choices.IntN(2))%len(all)])
				refused += a.refusesOrIsSame(t, what, said.stdout)
			}
			for _, file := range all {
				if !t.Failed() && choices.IntN(len(all)) < 2 {
					a.reset(t)
					refused += a.refusesOrIsSame(t, truncate(t, choices, a.dir, file), said.stdout)
				}
				if !t.Failed() && choices.IntN(len(all)) < 2 {
					a.reset(t)
					remove(t, filepath.Join(a.dir, file))
					refused += a.refusesOrIsSame(t, file+" deleted", said.stdout)
				}
			}
			for range 2 {
				a.reset(t)
				one, other := all[choices.IntN(len(all))], all[choices.IntN(len(all))]
				swap(t, filepath.Join(a.dir, one), filepath.Join(a.dir, other))
				refused += a.refusesOrIsSame(t, one+" and "+other+" swapped", said.stdout)
			}
			t.Logf("%d damages were refused by at least one command", refused)
		})
	}
}

// The last commit of the log is damaged where the log itself doesn't see it, and the
// store has no copy: nothing comes after it that would show the gap.
func TestDamagedLastCommit(t *testing.T) {
	a := newAftermath(t, false)
	block := filepath.Join(a.dir, "log", "jetstream", "$G", "streams", "seamshare-"+coopID, "msgs", "1.blk")
	size := must(os.Stat(block))(t).Size()
	for name, spoil := range map[string]func(){
		"refused: the store has it":      func() {},
		"refused: the store was deleted": func() { remove(t, storeDir(a.dir)) },
	} {
		t.Run(name, func(t *testing.T) {
			a.reset(t)
			data := must(os.ReadFile(block))(t)
			rewrite(t, block, size-40, []byte{data[size-40] ^ 4})
			spoil()
			if r := run(t, a.binary, "log", "--data", a.dir, "--json"); r.code != 6 {
				t.Fatalf("log ended with exit code %d\n%s", r.code, r.stderr)
			}
			if r := run(t, a.binary, "verify", "--data", a.dir, "--json"); r.code != 6 {
				t.Fatalf("verify ended with exit code %d\n%s", r.code, r.stderr)
			}
			s, p := launch(t, a.binary, a.dir, serveOptions{})
			if s == nil {
				t.Fatalf("serve ended with exit code %d\n%s", p.code, p.stderr)
			}
			if s.Trouble == "" {
				t.Fatal("the node sees no trouble")
			}
			s.stop(t)
		})
	}
}

// refusesOrIsSame holds serve, log and verify on a damaged folder to that. It
// gives 1 where any of them refused.
func (a *aftermath) refusesOrIsSame(t *testing.T, what, log string) (refused int) {
	t.Helper()
	bad := func(format string, args ...any) { t.Errorf(what+": "+format, args...) }
	copyTree(t, a.dir, a.dir+".damaged")
	again := func() { // each command starts from the same damage
		remove(t, a.dir)
		copyTree(t, a.dir+".damaged", a.dir)
	}
	defer remove(t, a.dir+".damaged")

	if s, p := launch(t, a.binary, a.dir, serveOptions{}); s == nil {
		refused = 1
		a.isRefusal(t, what, "serve", ran{p.code, p.stdout.String(), p.stderr.String()})
	} else {
		a.connect(t, s.GRPC)
		answers, err := a.coop.answers(t)
		switch {
		case s.Trouble != "" && err == nil:
			bad("a node in trouble answers: %s", s.Trouble)
		case s.Trouble == "" && err == nil && !slices.Equal(answers, a.answers):
			bad("the node answers otherwise than before")
		case err != nil && reasonOf(err) != "NODE_IN_TROUBLE":
			bad("the node answers with %v", err)
		}
		if err != nil {
			refused = 1
		}
		s.stop(t)
	}

	again()
	switch r := run(t, a.binary, "log", "--data", a.dir, "--json"); {
	case r.code != 0:
		refused = 1
		a.isRefusal(t, what, "log", r)
	case r.stdout != log:
		bad("log prints something else")
	}

	again()
	r := run(t, a.binary, "verify", "--data", a.dir, "--json")
	switch {
	case r.code != 0:
		refused = 1
		a.isRefusal(t, what, "verify", r)
	case !strings.Contains(r.stdout, a.verified.Root):
		bad("verify finds another root:\n%s", r.stdout)
	}
	return refused
}

// isRefusal: a command that ends says why, with the exit code of what can't be
// verified. Where the end of a table is damaged Badger panics in a goroutine of its
// own, which nobody can catch: that is a refusal too, if not a nice one.
func (a *aftermath) isRefusal(t *testing.T, what, command string, r ran) {
	t.Helper()
	if r.code == 2 && strings.Contains(r.stderr, "panic: ") && strings.Contains(r.stderr, "github.com/dgraph-io/badger/v4/table.") {
		return
	}
	if r.code != 6 || !strings.Contains(r.stderr, `"error"`) {
		t.Errorf("%s: %s ended with exit code %d\n%.3000s", what, command, r.code, r.stderr)
	}
}

// flip turns one bit of a file, among those that hold something: a store that was
// killed has files that are mostly holes.
func flip(t testing.TB, choices *rand.Rand, dir, file string) string {
	t.Helper()
	path := filepath.Join(dir, file)
	data := must(os.ReadFile(path))(t)
	used := len(data)
	for used > 0 && data[used-1] == 0 {
		used--
	}
	if used = max(used, min(len(data), 64)); used == 0 {
		return file + " is empty"
	}
	at, bit := choices.IntN(used), choices.IntN(8)
	rewrite(t, path, int64(at), []byte{data[at] ^ 1<<bit})
	return fmt.Sprintf("%s: bit %d of byte %d of %d flipped", file, bit, at, len(data))
}

func rewrite(t testing.TB, path string, at int64, data []byte) {
	t.Helper()
	f := must(os.OpenFile(path, os.O_WRONLY, 0))(t)
	defer f.Close()
	if _, err := f.WriteAt(data, at); err != nil {
		t.Fatal(err)
	}
}

func truncate(t testing.TB, choices *rand.Rand, dir, file string) string {
	t.Helper()
	path := filepath.Join(dir, file)
	size := must(os.Stat(path))(t).Size()
	to := choices.Int64N(size + 1)
	if err := os.Truncate(path, to); err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("%s: cut from %d to %d bytes", file, size, to)
}

func swap(t testing.TB, one, other string) {
	t.Helper()
	for _, move := range [][2]string{{one, one + ".swap"}, {other, one}, {one + ".swap", other}} {
		if err := os.Rename(move[0], move[1]); err != nil && one != other {
			t.Fatal(err)
		}
	}
}
