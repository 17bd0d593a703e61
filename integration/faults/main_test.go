// Package faults_test holds the program itself to what it promises when processes
// are killed, disks fail, files rot and networks stall: each test runs the built
// binary as a child and keeps what was acknowledged outside of it.
//
// A test that fails prints its seed and keeps its folder. SEAMSHARE_SEED=N runs
// the same choices again; what the scheduler and the disk do is not among them.
// Each checker has a test that shows it a fault and fails unless it is found.
package faults_test

import (
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

// binaries are built once for a run of the tests, each when first needed.
var binaries struct {
	dir    string
	plain  func() (string, error)
	quick  func() (string, error) // without the race detector, where a test is about files
	points func() (string, error) // dies at named places
	raised func() (string, error) // has a higher version of one view
}

func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "seamshare-bin-")
	if err != nil {
		fmt.Fprintln(os.Stderr, "couldn't make a folder for the binaries:", err)
		os.Exit(1)
	}
	binaries.dir = dir
	binaries.plain = sync.OnceValues(func() (string, error) { return build("seamshare", "", raceEnabled) })
	binaries.quick = sync.OnceValues(func() (string, error) {
		if !raceEnabled {
			return binaries.plain()
		}
		return build("seamshare-quick", "", false)
	})
	binaries.points = sync.OnceValues(func() (string, error) { return build("seamshare-points", "faultpoints", raceEnabled) })
	binaries.raised = sync.OnceValues(func() (string, error) { return build("seamshare-raised", "viewraised", false) })
	// go test keeps results while no file that a test has looked at has changed. It
	// can't know that the children are built from all of them.
	if err := lookAtSources(); err != nil {
		fmt.Fprintln(os.Stderr, "couldn't look at the sources:", err)
		os.Exit(1)
	}
	code := m.Run()
	_ = os.RemoveAll(dir) // what is left is in the system's folder for such
	os.Exit(code)
}

func build(name, tag string, race bool) (string, error) {
	out := filepath.Join(binaries.dir, name)
	args := []string{"build", "-o", out}
	if race {
		args = append(args, "-race")
	}
	if tag != "" {
		args = append(args, "-tags", tag)
	}
	if text, err := exec.Command("go", append(args, "seamshare.example/cmd/seamshare")...).CombinedOutput(); err != nil {
		return "", fmt.Errorf("couldn't build %s: %w\n%s", name, err, text)
	}
	return out, nil
}

// lookAtSources lists every folder of the module.
func lookAtSources() error {
	return filepath.WalkDir(filepath.Join("..", ".."), func(path string, d fs.DirEntry, err error) error {
		if err == nil && d.IsDir() && len(d.Name()) > 2 && strings.HasPrefix(d.Name(), ".") {
			return fs.SkipDir
		}
		return err
	})
}

func must[T any](v T, err error) func(testing.TB) T {
	return func(t testing.TB) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// newFolder makes a folder that is kept when the test fails.
func newFolder(t testing.TB) string {
	t.Helper()
	dir := must(os.MkdirTemp("", "seamshare-"))(t)
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("the folder is kept: %s", dir)
			return
		}
		if err := os.RemoveAll(dir); err != nil {
			t.Errorf("couldn't remove the folder: %v", err)
		}
	})
	return dir
}

// newRand gives a test's choices, and prints their seed when it fails.
func newRand(t testing.TB) *rand.Rand {
	t.Helper()
	seed := uint64(time.Now().UnixNano())
	if text := os.Getenv("SEAMSHARE_SEED"); text != "" {
		seed = must(strconv.ParseUint(text, 10, 64))(t)
	}
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("again with SEAMSHARE_SEED=%d", seed)
		}
	})
	return rand.New(rand.NewPCG(seed, 0))
}
