package eventstore_test

import (
	"bytes"
	"os"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/merkle"
	"seamshare.example/eventstore/storetest"
)

// Of the golden files.
const (
	goldenRoot     = "GkBccL0PPQfuvKkq/WvhIJLnFd+XW6MWEGbObANnClU="
	goldenLeafHash = "+1YMSK4tuw1GnCgNP3w2hJ2XCJkwMyp/Nj+aJ6hCCbU="
)

// TestGolden holds the program to bytes that it wrote once: they must be read,
// and hashed, in the same way for ever. The files are never written again; a new
// format gets new ones.
//
//	commit-v1.bin   a message as published: two decisions, three records
//	record-v1.bin   the second of them
//	leaf-v1.bin     its leaf
func TestGolden(t *testing.T) {
	golden := func(name string) []byte {
		data, err := os.ReadFile("testdata/" + name)
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	commit := golden("commit-v1.bin")

	t.Run("OK: the commit says what it said", func(t *testing.T) {
		info, records, err := eventstore.ReadMessage(storetest.Codec(), storetest.Coop, eventstore.Message{Sequence: 1, Data: commit})
		if err != nil {
			t.Fatal(err)
		}
		at := time.Date(2026, 3, 4, 5, 6, 7, 89_000, time.UTC)
		if info.Node != "golden" || !info.DecidedAt.Equal(at) || len(info.Decisions) != 2 || len(records) != 3 ||
			info.Decisions[0] != (eventstore.DecisionInfo{RPC: "seamshare.test.v1/Take", RequestID: "golden-1", Records: 2}) {
			t.Fatalf("info %+v", info)
		}
		want := []eventstore.Record{
			{Position: 1, Stream: "stone/g1", Version: 1, Type: 401, Member: "ann", Person: "ann-desk", Event: storetest.Noted("g1", "first remark")},
			{Position: 2, Stream: "stone/g1", Version: 2, Type: 403, Member: "ann", Person: "ann-desk", EffectiveDate: "2026-03-03", Event: storetest.Sold("g1", "ann")},
			{Position: 3, Stream: "stone/g1", Version: 3, Type: 404, Member: "bob", Person: "bob-desk", Corrects: 2, Event: storetest.Returned("g1", "came back")},
		}
		for i, w := range want {
			got := records[i]
			if !proto.Equal(got.Event, w.Event) {
				t.Fatalf("record %d holds %v, want %v", i+1, got.Event, w.Event)
			}
			w.Event, w.DecidedAt, w.Sequence = got.Event, at, 1
			if got != w {
				t.Fatalf("record %d is %+v, want %+v", i+1, got, w)
			}
		}
	})

	t.Run("OK: the commit leads to the same leaves, root and outcomes", func(t *testing.T) {
		log := storetest.NewMemoryLog(true)
		log.Put(commit)
		n := openNode(t, config(log, storetest.NewMemoryStore()))
		q := query(t, n, 3)
		leaf, err := q.Leaf(2)
		if err != nil || !bytes.Equal(leaf, golden("leaf-v1.bin")) {
			t.Fatalf("leaf %x, %v", leaf, err)
		}
		if !bytes.Contains(commit, golden("record-v1.bin")) {
			t.Fatal("the record is not in the commit")
		}
		if root := n.Checkpoint().Root.String(); root != goldenRoot {
			t.Fatalf("root %s, want %s", root, goldenRoot)
		}
		if hash := merkle.LeafHash(leaf).String(); hash != goldenLeafHash {
			t.Fatalf("leaf hash %s, want %s", hash, goldenLeafHash)
		}
		position, event, err := storetest.Codec().OpenLeaf(leaf)
		if err != nil || position != 2 || !bytes.Contains(leaf, []byte("order-g1")) || bytes.Contains(leaf, []byte("ann")) {
			t.Fatalf("leaf of position %d: %v, %v", position, event, err)
		}
		if o := decide(t, n, request("ann", "golden-1"), nil); !o.Repeated || o.First != 1 || o.Last != 2 || len(o.IDs) != 1 || o.IDs[0] != "g1" {
			t.Fatalf("outcome %+v", o)
		}
	})
}
