//go:build long

package faults_test

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// A disk fills up under load and empties again, five times: writes are refused
// before either store can hit the wall, reads go on, and nothing is lost. It mounts a
// file system of its own, so it needs root.
func TestDiskFillsAndEmpties(t *testing.T) {
	binary, choices, folder := must(binaries.plain())(t), newRand(t), newFolder(t)
	disk := filepath.Join(folder, "disk")
	if err := os.Mkdir(disk, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mount("seamshare-test", disk, "tmpfs", 0, "size=640m"); err != nil {
		t.Fatalf("couldn't mount a small disk, which needs root: %v", err)
	}
	t.Cleanup(func() {
		// Lazily: a kept folder is of use only while the machine runs, and nothing
		// may keep the disk's memory after that.
		if err := syscall.Unmount(disk, syscall.MNT_DETACH); err != nil {
			t.Errorf("couldn't unmount the disk: %v", err)
		}
	})
	c := foundCoop(t, binary, dataDir(disk))
	node := serve(t, binary, c.dir, serveOptions{})
	c.settle(t, node.GRPC, 2, 2)
	c.supply(t, 160)
	l := newLoad(c)
	filler := filepath.Join(disk, "filler")
	for round := range fullRounds {
		before := len(l.acked)
		done := l.after(200)
		l.begin()
		<-done
		fill(t, filler, freeMiB(t, disk)-128-choices.Int64N(60)) // below the 192 MiB that the node keeps
		refusedBefore := l.low.Load()
		for limit := time.Now().Add(patience); l.low.Load() < refusedBefore+300; time.Sleep(time.Millisecond) {
			if time.Now().After(limit) {
				t.Fatalf("round %d: the disk is full and writes go on", round)
			}
		}
		l.busy(t, 100)
		l.end()
		l.settle(t) // nothing is open while the node lives
		c.refusesWrites(t)
		c.weigh(t) // reads
		if free := freeMiB(t, disk); free < 64 {
			t.Fatalf("round %d: only %d MiB are left: the stores went on writing", round, free)
		}
		if round%2 == 1 { // a start on a full disk serves reads too
			node.stop(t)
			node = c.restart(t, binary, serveOptions{})
			c.refusesWrites(t)
			c.weigh(t)
		}
		if err := os.Remove(filler); err != nil {
			t.Fatal(err)
		}
		c.writes(t)
		l.settle(t)
		l.inspect(t, l.sample(choices, before, len(l.acked), 100))
	}
	node.stop(t)
	verify(t, binary, c.dir)
}

// fill makes a file of so many MiB.
func fill(t testing.TB, path string, mib int64) {
	t.Helper()
	f := must(os.Create(path))(t)
	defer f.Close()
	if err := syscall.Fallocate(int(f.Fd()), 0, 0, mib<<20); err != nil {
		t.Fatalf("couldn't fill the disk: %v", err)
	}
}

func freeMiB(t testing.TB, dir string) int64 {
	t.Helper()
	var s syscall.Statfs_t
	if err := syscall.Statfs(dir, &s); err != nil {
		t.Fatal(err)
	}
	return int64(s.Bavail) * s.Bsize >> 20
}
