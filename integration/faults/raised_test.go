package faults_test

import (
	"encoding/binary"
	"testing"
	"time"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"

	"seamshare.example/eventstore/badgerstore"
)

// A program with a higher version of a view starts on old data: the old version
// answers while the new one is built beside it, then the new one does, and the old
// rows go. Going back to the old program works too.
func TestViewIsRaised(t *testing.T) {
	old, raised := must(binaries.plain())(t), must(binaries.raised())(t)
	c, node := newCoop(t, old, 2, 2, 160)
	l := newLoad(c)
	done := l.after(1500)
	l.begin()
	<-done
	l.end()
	l.settle(t)
	before := must(c.answers(t))(t)
	node.stop(t)

	node = c.restart(t, raised, serveOptions{})
	whileBuilding := 0
	for limit := time.Now().Add(patience); ; {
		now := must(c.answers(t))(t)
		for i := range before {
			if now[i] != before[i] {
				t.Fatalf("answer %d is another while the view is built", i)
			}
		}
		serving := c.servingVersion(t, "parcels")
		if serving == 2 {
			break
		}
		if serving != 1 {
			t.Fatalf("version %d of the view answers", serving)
		}
		whileBuilding++
		if time.Now().After(limit) {
			t.Fatal("the new version isn't built")
		}
	}
	if whileBuilding == 0 {
		t.Fatal("nothing was asked while the view was built")
	}
	t.Run("OK: what comes after the switch is in the new version", func(t *testing.T) {
		for i := range c.miners {
			if err := l.publish(soon(t), i, make(chan string, 1)); err != nil {
				t.Fatal(err)
			}
		}
		l.inspect(t, l.acked[len(l.acked)-2:])
	})
	now := must(c.answers(t))(t)
	// The old rows go in small steps between commands: a clean stop may come first.
	node.stop(t)
	verify(t, raised, c.dir)
	c.waitForRows(t, raised, 1, 2)

	node = c.restart(t, old, serveOptions{})
	if v := c.servingVersion(t, "parcels"); v != 1 {
		t.Fatalf("the old program answers from version %d", v)
	}
	back := must(c.answers(t))(t)
	for i := range now {
		if now[i] != back[i] {
			t.Fatalf("answer %d is another after going back", i)
		}
	}
	node.stop(t)
	verify(t, old, c.dir)
	c.waitForRows(t, old, 2, 1)
}

func (c *coop) servingVersion(t testing.TB, view string) uint32 {
	t.Helper()
	status := must(coopv1.NewNodeServiceClient(c.auditor.conn).GetStatus(soon(t), &coopv1.GetStatusRequest{}))(t)
	for _, v := range status.GetViews() {
		if v.GetName() == view && v.GetServing() {
			return v.GetVersion()
		}
	}
	return 0
}

// waitForRows waits until a version's rows are gone and another's are there, letting
// the node run in between.
func (c *coop) waitForRows(t testing.TB, program string, gone, there uint32) {
	t.Helper()
	for limit := time.Now().Add(patience); c.rows(t, gone) > 0; {
		if time.Now().After(limit) {
			t.Fatalf("%d rows of version %d are left", c.rows(t, gone), gone)
		}
		s := c.restart(t, program, serveOptions{})
		must(c.answers(t))(t)
		s.stop(t)
	}
	if c.rows(t, there) == 0 {
		t.Fatalf("version %d has no rows", there)
	}
}

// rows counts the rows of a version of the parcels' view in a stopped node's store.
func (c *coop) rows(t testing.TB, version uint32) (count int) {
	t.Helper()
	store, _, err := badgerstore.Open(badgerstore.Options{Dir: storeDir(c.dir)})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	snapshot := store.Snapshot()
	defer snapshot.Close()
	prefix := binary.BigEndian.AppendUint32([]byte("vparcels\x00"), version)
	err = snapshot.Scan(prefix, nil, false, func(_, _ []byte) bool {
		count++
		return true
	})
	if err != nil {
		t.Fatal(err)
	}
	return count
}
