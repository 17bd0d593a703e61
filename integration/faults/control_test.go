package faults_test

import (
	"bytes"
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/badgerstore"
)

// The negative controls: each checker is shown a fault that it must find.
func TestCheckersFindFaults(t *testing.T) {
	binary := must(binaries.plain())(t)
	c, node := newCoop(t, binary, 2, 2, 160)
	l := newLoad(c)
	done := l.after(300)
	l.begin()
	<-done
	l.end()
	l.settle(t)
	log := readLog(t, c.dir)
	l.inspect(t, l.acked[:20])
	at := slices.IndexFunc(log, func(d decision) bool { return d.request == l.acked[100].req.GetRequestId() })

	for name, spoil := range map[string]func(decisions) decisions{
		"an acknowledged command is missing": func(log decisions) decisions {
			log[at].request = "r-another"
			return log
		},
		"a decision is cut out":    func(log decisions) decisions { return slices.Delete(log, at, at+1) },
		"a command is there twice": func(log decisions) decisions { log[at+1].request = log[at].request; return log },
		"a command stands somewhere else": func(log decisions) decisions {
			log[at].request, log[at+1].request = log[at+1].request, log[at].request
			return log
		},
		"a command was another's":           func(log decisions) decisions { log[at].member = "m-another"; return log },
		"a sequence is left out":            func(log decisions) decisions { return renumber(log, at) },
		"a command is half there":           func(log decisions) decisions { return halve(log, l.acked) },
		"a position is there twice":         func(log decisions) decisions { log[at].first--; return log },
		"the last commands are not there":   func(log decisions) decisions { return log[:at] },
		"nothing is there but the founding": func(log decisions) decisions { return log[:1] },
	} {
		t.Run("found: "+name, func(t *testing.T) {
			if err := spoil(slices.Clone(log)).check(l.acked, nil); err == nil {
				t.Fatal("the checker sees nothing wrong")
			}
		})
	}
	t.Run("found: a refused command happened", func(t *testing.T) {
		if err := log.check(nil, l.acked[:1]); err == nil {
			t.Fatal("the checker sees nothing wrong")
		}
	})
	t.Run("found: a repeat is answered otherwise", func(t *testing.T) {
		i := slices.IndexFunc(l.acked, func(c command) bool { return c.method == cutterv1.CutterService_WorkPart_FullMethodName })
		one := l.acked[i]
		changed := proto.Clone(one.answer).(*cutterv1.WorkPartResponse)
		changed.Piece.Parts[0].Weighing.MassUg++
		one.answer = changed
		if err := repeat([]command{one}); err == nil {
			t.Fatal("the checker sees nothing wrong")
		}
	})
	t.Run("found: a parcel has two winners", func(t *testing.T) {
		i := slices.IndexFunc(l.acked, func(c command) bool { return c.method == cutterv1.CutterService_TakeParcel_FullMethodName })
		twice := &load{acked: append(slices.Clone(l.acked), l.acked[i])}
		if err := twice.oneWinner(); err == nil {
			t.Fatal("the checker sees nothing wrong")
		}
	})
	node.stop(t)
	verify(t, binary, c.dir)
	verifyFinds(t, binary, c.dir)
}

// renumber leaves out a sequence from some decision on.
func renumber(log decisions, at int) decisions {
	for i := range log[at:] {
		log[at+i].sequence += 2
	}
	return log
}

// halve takes a record away from a command that leaves several, and closes the gap.
func halve(log decisions, acked []command) decisions {
	several := map[string]bool{}
	for _, c := range acked {
		several[c.req.GetRequestId()] = c.records() > 1
	}
	at := slices.IndexFunc(log, func(d decision) bool { return several[d.request] })
	log[at-1].last++
	log[at].first++
	return log
}

// verifyFinds changes rows of a stopped node's store: verify must find each.
func verifyFinds(t *testing.T, binary, dir string) {
	for _, c := range []struct {
		name   string
		table  byte
		change func(key, value []byte) []eventstore.Change
	}{
		{"a value of a view is changed", 'v', func(key, value []byte) []eventstore.Change {
			return []eventstore.Change{{Key: key, Value: append(bytes.Clone(value), 1)}}
		}},
		{"a key of a view is gone", 'v', func(key, _ []byte) []eventstore.Change { return []eventstore.Change{{Key: key}} }},
		{"a view has a key too many", 'v', func(key, value []byte) []eventstore.Change {
			return []eventstore.Change{{Key: append(bytes.Clone(key), 'x'), Value: value}}
		}},
		{"a request id is gone", 'r', func(key, _ []byte) []eventstore.Change { return []eventstore.Change{{Key: key}} }},
		{"a byte of a message is changed", 'm', func(key, value []byte) []eventstore.Change {
			value = bytes.Clone(value)
			value[len(value)-1] ^= 1
			return []eventstore.Change{{Key: key, Value: value}}
		}},
	} {
		t.Run("found: "+c.name, func(t *testing.T) {
			var undo []eventstore.Change
			edit(t, dir, func(s *badgerstore.Store) []eventstore.Change {
				snapshot := s.Snapshot()
				defer snapshot.Close()
				var found []eventstore.Change
				err := snapshot.Scan([]byte{c.table}, nil, false, func(key, value []byte) bool {
					found = append(found, eventstore.Change{Key: key, Value: value})
					return len(found) < 3
				})
				if err != nil {
					t.Fatal(err)
				}
				row := found[len(found)-1]
				changes := c.change(row.Key, row.Value)
				undo = []eventstore.Change{row}
				if !bytes.Equal(changes[0].Key, row.Key) {
					undo = []eventstore.Change{{Key: changes[0].Key}}
				}
				return changes
			})
			if r := run(t, binary, "verify", "--data", dir, "--json"); r.code != 6 || r.failure(t).Reason != "DIFFERENCE" {
				t.Fatalf("verify ended with exit code %d\n%s%s", r.code, r.stdout, r.stderr)
			}
			edit(t, dir, func(*badgerstore.Store) []eventstore.Change { return undo })
			verify(t, binary, dir)
		})
	}
}

// edit changes rows of a stopped node's store, behind its back.
func edit(t testing.TB, dir string, change func(*badgerstore.Store) []eventstore.Change) {
	t.Helper()
	store, aside, err := badgerstore.Open(badgerstore.Options{Dir: storeDir(dir)})
	if err != nil || aside != nil {
		t.Fatalf("couldn't open the store: %v, %v", err, aside)
	}
	err = store.Write(change(store))
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	if err != nil {
		t.Fatal(err)
	}
}
