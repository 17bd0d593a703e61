package eventstore_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/storetest"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
)

func TestLogAndStoreDisagree(t *testing.T) {
	for name, damage := range map[string]func(*storetest.MemoryLog, *storetest.MemoryStore){
		"the log lacks its last commit": func(l *storetest.MemoryLog, _ *storetest.MemoryStore) {
			l.Damage(func(m [][]byte) [][]byte { return m[:len(m)-1] })
		},
		"the log is empty": func(l *storetest.MemoryLog, _ *storetest.MemoryStore) {
			l.Damage(func([][]byte) [][]byte { return nil })
		},
		"the log has other bytes at the checkpoint": func(l *storetest.MemoryLog, _ *storetest.MemoryStore) {
			l.Damage(func(m [][]byte) [][]byte {
				m[len(m)-1] = bytes.Clone(m[len(m)-1])
				m[len(m)-1][len(m[len(m)-1])-1] ^= 1
				return m
			})
		},
		"the log was made anew": func(l *storetest.MemoryLog, _ *storetest.MemoryStore) { l.Recreate(time.Unix(1_800_000_000, 0)) },
		"the log is missing":    func(l *storetest.MemoryLog, _ *storetest.MemoryStore) { l.Lose(true) },
		"the log has a wrong setting": func(l *storetest.MemoryLog, _ *storetest.MemoryStore) {
			l.Misconfigure("discard is old")
		},
		"the store lacks a commit": func(_ *storetest.MemoryLog, s *storetest.MemoryStore) {
			_ = s.Write([]eventstore.Change{{Key: []byte("p\x00\x00\x00\x00\x00\x00\x00\x02")}})
		},
		"the store's record is damaged": func(_ *storetest.MemoryLog, s *storetest.MemoryStore) {
			key := []byte("m\x00\x00\x00\x00\x00\x00\x00\x02\x00\x00")
			r := s.Snapshot()
			value, _ := r.Get(key)
			value = bytes.Clone(value)
			value[len(value)-3] ^= 0x40 // in the salt of its record
			_ = s.Write([]eventstore.Change{{Key: key, Value: value}})
		},
		"the store's checkpoint is damaged": func(_ *storetest.MemoryLog, s *storetest.MemoryStore) {
			_ = s.Write([]eventstore.Change{{Key: []byte("c"), Value: []byte{1}}})
		},
	} {
		t.Run("in trouble: "+name, func(t *testing.T) {
			log, store := storetest.NewMemoryLog(true), storetest.NewMemoryStore()
			n := openNode(t, config(log, store))
			for i := range 3 {
				decide(t, n, request("ann", fmt.Sprint(i)), storetest.Note("s", fmt.Sprint(i)))
			}
			n.Close()
			damage(log, store)
			before := dump(t, store)
			n = openNode(t, config(log, store))
			trouble := expectTrouble(t, n)
			if trouble.Sequence != 3 && !strings.Contains(name, "store's checkpoint") || trouble.Reason == "" {
				t.Fatalf("trouble %+v", trouble)
			}
			expectSameRows(t, dump(t, store), before)
		})
	}

	t.Run("error: there is no log at all", func(t *testing.T) {
		log := storetest.NewMemoryLog(true)
		log.Lose(true)
		cfg := config(log, storetest.NewMemoryStore())
		cfg.Coop = storetest.Coop
		if n, err := eventstore.Open(testContext(t), cfg); err == nil {
			n.Close()
			t.Fatal("it opened")
		}
	})

	for name, damage := range map[string]func(*storetest.MemoryLog){
		"loses its end": func(l *storetest.MemoryLog) { l.Damage(func(m [][]byte) [][]byte { return m[:1] }) },
		"goes away":     func(l *storetest.MemoryLog) { l.Lose(true) },
	} {
		for _, shared := range []bool{true, false} {
			t.Run(fmt.Sprintf("in trouble: the log %s under a running node, shared %v", name, shared), func(t *testing.T) {
				log := storetest.NewMemoryLog(shared)
				n := openNode(t, config(log, storetest.NewMemoryStore()))
				for i := range 3 {
					decide(t, n, request("ann", fmt.Sprint(i)), storetest.Note("s", fmt.Sprint(i)))
				}
				damage(log)
				if _, err := n.Decide(testContext(t), request("ann", "after"), storetest.Note("s", "x")); err == nil {
					t.Fatal("answered OK")
				}
				expectTrouble(t, n)
			})
		}
		t.Run("in trouble: the log "+name+", found by a refusal", func(t *testing.T) {
			log := storetest.NewMemoryLog(true)
			n := openNode(t, config(log, storetest.NewMemoryStore()))
			decide(t, n, request("ann", "1"), storetest.Note("s", "1"))
			decide(t, n, request("ann", "2"), storetest.Take("ann", "s"))
			damage(log)
			if _, err := n.Decide(testContext(t), request("bob", "3"), storetest.Take("bob", "s")); err == nil {
				t.Fatal("answered OK")
			}
			expectTrouble(t, n)
		})
	}
}

// byHand is a commit as another program might write it.
func byHand(first uint64, records ...*eventv1.Record) *eventv1.Commit {
	c := &eventv1.Commit{
		Format: 1, Coop: storetest.Coop, FirstPosition: first, CommitId: []byte("0123456789abcdef"), Node: "by hand",
		DecidedAtUs: time.Now().Add(time.Hour).UnixMicro(),
		Decisions:   []*eventv1.Decision{{RequestId: "by hand", Member: "m", Fingerprint: make([]byte, 32), RecordCount: uint32(len(records))}},
	}
	for _, r := range records {
		data, err := proto.Marshal(r)
		if err != nil {
			panic(err)
		}
		c.Records = append(c.Records, data)
	}
	return c
}

// noted is a record of storetest.Noted.
func noted(id string, version uint64) *eventv1.Record {
	event := storetest.Noted(id, "by hand").GetFinished()
	event.Public.Size = &eventv1.Size{LengthUm: 7}
	public, err := proto.Marshal(event.Public)
	if err != nil {
		panic(err)
	}
	private, err := proto.Marshal(event.Private)
	if err != nil {
		panic(err)
	}
	return &eventv1.Record{Stream: "stone/" + id, StreamVersion: version, Type: 401, Public: public, Private: private, Salt: make([]byte, 32)}
}

func TestLogHasWhatCannotBeApplied(t *testing.T) {
	unknown := []byte{0xf8, 0x7f, 1} // field 2047, varint 1
	type change func(*eventv1.Commit) []byte
	marshal := func(c *eventv1.Commit) []byte {
		data, err := proto.Marshal(c)
		if err != nil {
			panic(err)
		}
		return data
	}
	edit := func(fn func(*eventv1.Commit)) change {
		return func(c *eventv1.Commit) []byte { fn(c); return marshal(c) }
	}
	record := func(fn func(*eventv1.Record)) change {
		return edit(func(c *eventv1.Commit) {
			var r eventv1.Record
			if err := proto.Unmarshal(c.Records[0], &r); err != nil {
				panic(err)
			}
			fn(&r)
			c.Records[0], _ = proto.Marshal(&r)
		})
	}
	nested := func(r *eventv1.Record) {
		var public stonev1.Finished_Public
		if err := proto.Unmarshal(r.Public, &public); err != nil {
			panic(err)
		}
		public.Size.ProtoReflect().SetUnknown(unknown)
		r.Public, _ = proto.Marshal(&public)
	}
	cases := map[string]change{
		"an unknown field in the commit":    func(c *eventv1.Commit) []byte { return append(marshal(c), unknown...) },
		"an unknown field in a decision":    edit(func(c *eventv1.Commit) { c.Decisions[0].ProtoReflect().SetUnknown(unknown) }),
		"an unknown field in a record":      record(func(r *eventv1.Record) { r.ProtoReflect().SetUnknown(unknown) }),
		"an unknown field in a public part": record(func(r *eventv1.Record) { r.Public = append(r.Public, unknown...) }),
		"an unknown field in a private part": record(func(r *eventv1.Record) {
			r.Private = append(r.Private, unknown...)
		}),
		"an unknown field in a nested message": record(nested),
		"an unknown event type":                record(func(r *eventv1.Record) { r.Type = 9999 }),
		"another format":                       edit(func(c *eventv1.Commit) { c.Format = 2 }),
		"another co-op":                        edit(func(c *eventv1.Commit) { c.Coop = "three-fields" }),
		"a gap in positions":                   edit(func(c *eventv1.Commit) { c.FirstPosition++ }),
		"positions again":                      edit(func(c *eventv1.Commit) { c.FirstPosition-- }),
		"no records":                           edit(func(c *eventv1.Commit) { c.Records, c.Decisions = nil, nil }),
		"a record without a decision":          edit(func(c *eventv1.Commit) { c.Decisions = nil }),
		"a decision without records": edit(func(c *eventv1.Commit) {
			c.Decisions = append(c.Decisions, &eventv1.Decision{Fingerprint: make([]byte, 32)})
		}),
		"a short fingerprint":        edit(func(c *eventv1.Commit) { c.Decisions[0].Fingerprint = []byte{1} }),
		"no commit id":               edit(func(c *eventv1.Commit) { c.CommitId = nil }),
		"a time before the last one": edit(func(c *eventv1.Commit) { c.DecidedAtUs = 1 }),
		"a gap in a stream":          record(func(r *eventv1.Record) { r.StreamVersion += 2 }),
		"a stream's number again":    record(func(r *eventv1.Record) { r.StreamVersion-- }),
		"no salt":                    record(func(r *eventv1.Record) { r.Salt = nil }),
		"an odd stream":              record(func(r *eventv1.Record) { r.Stream = "Stone/s" }),
		"a record its view can't take": record(func(r *eventv1.Record) {
			r.Stream, r.StreamVersion = "stone/"+storetest.Poison, 1
		}),
		"bytes cut short": func(c *eventv1.Commit) []byte { d := marshal(c); return d[:len(d)-5] },
		"nothing":         func(*eventv1.Commit) []byte { return nil },
	}
	setup := func(t *testing.T) (*storetest.MemoryLog, *storetest.MemoryStore, *eventstore.Node) {
		log, store := storetest.NewMemoryLog(true), storetest.NewMemoryStore()
		n := openNode(t, config(log, store))
		decide(t, n, request("ann", "1"), storetest.Note("s", "1"))
		decide(t, n, request("ann", "2"), storetest.Take("ann", "s2"))
		return log, store, n
	}
	t.Run("OK: a commit written by hand that is as it must be", func(t *testing.T) {
		log, _, n := setup(t)
		log.Put(marshal(byHand(3, noted("s", 2), noted("s", 3))))
		if s := stone(t, n, 4, "s"); s.Bytes != 1+2*len("by hand") {
			t.Fatalf("state %+v", s)
		}
	})
	for name, change := range cases {
		t.Run("in trouble: "+name, func(t *testing.T) {
			log, store, n := setup(t)
			before := dump(t, store)
			log.Put(change(byHand(3, noted("s", 2), noted("s", 3))))
			// It comes while the node runs,
			if _, err := n.Query(testContext(t), 3); err == nil {
				t.Fatal("it was applied")
			}
			if trouble := expectTrouble(t, n); trouble.Sequence != 3 {
				t.Fatalf("trouble %+v", trouble)
			}
			n.Close()
			// and is there when the node starts, with its store and without.
			if trouble := expectTrouble(t, openNode(t, config(log, store))); trouble.Sequence != 3 {
				t.Fatalf("trouble %+v", trouble)
			}
			expectSameRows(t, dump(t, store), before)
			expectTrouble(t, openNode(t, config(log, storetest.NewMemoryStore())))
		})
	}
	for _, name := range []string{"an unknown event type", "nothing"} {
		t.Run("in trouble: found in the place of the node's own commit: "+name, func(t *testing.T) {
			log := storetest.NewMemoryLog(false) // does not follow
			n := openNode(t, config(log, storetest.NewMemoryStore()))
			decide(t, n, request("ann", "1"), storetest.Note("s", "1"))
			log.Put(cases[name](byHand(2, noted("s", 2))))
			if _, err := n.Decide(testContext(t), request("ann", "2"), storetest.Note("s", "2")); err == nil {
				t.Fatal("answered OK")
			}
			expectTrouble(t, n)
		})
	}
}
