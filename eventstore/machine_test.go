package eventstore_test

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"log/slog"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/merkle"
	"seamshare.example/eventstore/storetest"
)

// machine is two nodes on one log, beside a model of what they must say.
type machine struct {
	log    *storetest.MemoryLog
	stores [2]*storetest.MemoryStore
	nodes  [2]*eventstore.Node

	holders  map[string]string // stone → member
	outcomes map[string]done   // request id → what it did
	records  eventstore.Position
	requests int
}

type done struct {
	req     eventstore.Request
	outcome eventstore.Outcome
}

func (m *machine) open(t *rapid.T, i int) {
	cfg := config(m.log, m.stores[i])
	cfg.Coop, cfg.Name, cfg.Logger = storetest.Coop, fmt.Sprint("node", i), slog.New(slog.DiscardHandler)
	n, err := eventstore.Open(context.Background(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	if n.Trouble() != nil {
		t.Fatal(n.Trouble())
	}
	m.nodes[i] = n
}

func (m *machine) restart(t *rapid.T, i int) {
	m.nodes[i].Close()
	m.open(t, i)
}

// command lets a random node decide something that must succeed or be refused
// as the model says.
func (m *machine) command(t *rapid.T, member string, fn func(*eventstore.Tx) error, refusal error, happened func(), ids ...string) {
	i := rapid.IntRange(0, 1).Draw(t, "node")
	m.requests++
	req := request(member, fmt.Sprint("r", m.requests))
	outcome, err := m.nodes[i].Decide(context.Background(), req, fn)
	if errors.Is(err, eventstore.ErrOutcomeUnknown) && m.nodes[i].Trouble() != nil {
		// Its store failed after the log had it: the next start knows.
		m.restart(t, i)
		outcome, err = m.nodes[i].Decide(context.Background(), req, fn)
		if err == nil && !outcome.Repeated {
			t.Fatalf("request %s was forgotten", req.ID)
		}
		outcome.Repeated = false
	}
	if !errors.Is(err, refusal) || err != nil && refusal == nil {
		t.Fatalf("request %s: got %v, want %v", req.ID, err, refusal)
	}
	if err != nil {
		return
	}
	if outcome.Repeated || outcome.First != m.records+1 || fmt.Sprint(outcome.IDs) != fmt.Sprint(ids) {
		t.Fatalf("request %s: outcome %+v after position %d", req.ID, outcome, m.records)
	}
	m.records = outcome.Last
	m.outcomes[req.ID] = done{req, outcome}
	happened()
}

func TestMachine(t *testing.T) {
	member := rapid.SampledFrom([]string{"ann", "bob", "cat"})
	stones := rapid.SampledFrom([]string{"s0", "s1", "s2", "s3", "s4"})
	run := func(t *rapid.T) {
		m := &machine{log: storetest.NewMemoryLog(true), holders: map[string]string{}, outcomes: map[string]done{}}
		for i := range m.nodes {
			m.stores[i] = storetest.NewMemoryStore()
			m.open(t, i)
		}
		defer func() {
			for _, n := range m.nodes {
				n.Close()
			}
		}()
		t.Repeat(map[string]func(*rapid.T){
			"take": func(t *rapid.T) {
				who := member.Draw(t, "member")
				ids := rapid.SliceOfNDistinct(stones, 1, 3, rapid.ID[string]).Draw(t, "stones")
				var refusal error
				for _, id := range ids {
					if m.holders[id] != "" {
						refusal = storetest.ErrTaken
					}
				}
				m.command(t, who, storetest.Take(who, ids...), refusal, func() {
					for _, id := range ids {
						m.holders[id] = who
					}
				}, ids...)
			},
			"give back": func(t *rapid.T) {
				who, id := member.Draw(t, "member"), stones.Draw(t, "stone")
				var refusal error
				if m.holders[id] != who {
					refusal = storetest.ErrNotTaken
				}
				m.command(t, who, storetest.GiveBack(who, id), refusal, func() { delete(m.holders, id) }, id)
			},
			"many notes": func(t *rapid.T) {
				who, id, n := member.Draw(t, "member"), stones.Draw(t, "stone"), rapid.IntRange(1, 200).Draw(t, "notes")
				m.command(t, who, func(tx *eventstore.Tx) error {
					for range n {
						tx.Record(storetest.Stones.Stream(id), storetest.Noted(id, "x"))
					}
					return nil
				}, nil, func() {})
			},
			"repeat": func(t *rapid.T) {
				if m.requests == 0 {
					return // nothing to repeat
				}
				d, ok := m.outcomes[fmt.Sprint("r", rapid.IntRange(1, m.requests).Draw(t, "request"))]
				if !ok {
					return // it was refused
				}
				n := m.nodes[rapid.IntRange(0, 1).Draw(t, "node")]
				other := rapid.Bool().Draw(t, "something else")
				if other {
					d.req.Fingerprint[0]++
				}
				got, err := n.Decide(context.Background(), d.req, func(*eventstore.Tx) error {
					return errors.New("decided again") // a node that lags may try, but not answer so
				})
				if other {
					if !errors.Is(err, eventstore.ErrRequestReused) {
						t.Fatalf("got %v", err)
					}
					return
				}
				d.outcome.Repeated = true
				if err != nil || fmt.Sprint(got) != fmt.Sprint(d.outcome) {
					t.Fatalf("repeat gave %+v, %v; the first time was %+v", got, err, d.outcome)
				}
			},
			"network fault": func(t *rapid.T) {
				m.log.Fail(rapid.SampledFrom([]storetest.Fault{storetest.LostButError, storetest.StoredButError, storetest.Late}).Draw(t, "fault"))
			},
			"late arrival": func(*rapid.T) { m.log.Land() },
			"disk fault": func(t *rapid.T) {
				// The commit of the next command is in the log, and perhaps here.
				i := rapid.IntRange(0, 1).Draw(t, "node")
				q, err := m.nodes[i].Query(context.Background(), m.records)
				if err != nil {
					t.Fatal(err)
				}
				q.Close()
				m.nodes[1-i].Close() // or it would be the one that follows whose write fails
				m.stores[i].FailWrite(rapid.Bool().Draw(t, "kept"))
				m.requests++
				id := fmt.Sprint("noted-", m.requests)
				req := request("ann", fmt.Sprint("r", m.requests))
				if _, err := m.nodes[i].Decide(context.Background(), req, storetest.Note(id, "x")); !errors.Is(err, eventstore.ErrOutcomeUnknown) {
					t.Fatalf("got %v", err)
				}
				m.restart(t, i)
				m.open(t, 1-i)
				m.records++
				m.outcomes[req.ID] = done{req, eventstore.Outcome{First: m.records, Last: m.records, IDs: []string{id}}}
			},
			"restart": func(t *rapid.T) { m.restart(t, rapid.IntRange(0, 1).Draw(t, "node")) },
			"lose a store": func(t *rapid.T) {
				i := rapid.IntRange(0, 1).Draw(t, "node")
				m.nodes[i].Close()
				m.stores[i] = storetest.NewMemoryStore()
				m.open(t, i)
			},
			"read": func(t *rapid.T) { m.check(t, m.nodes[rapid.IntRange(0, 1).Draw(t, "node")]) },
		})
		m.end(t)
	}
	for range machineRounds {
		rapid.Check(t, run)
	}
}

// check compares what a node says with the model.
func (m *machine) check(t *rapid.T, n *eventstore.Node) {
	q, err := n.Query(context.Background(), m.records)
	if err != nil {
		t.Fatal(err)
	}
	defer q.Close()
	if q.Position() != m.records {
		t.Fatalf("at position %d, want %d", q.Position(), m.records)
	}
	held := map[string]int{}
	for _, id := range []string{"s0", "s1", "s2", "s3", "s4"} {
		s, _, err := eventstore.Load(q, storetest.Stones, id)
		if err != nil || s.Holder != m.holders[id] {
			t.Fatalf("stone %s: %+v, %v; want holder %q", id, s, err, m.holders[id])
		}
		held[s.Holder]++
	}
	for _, who := range []string{"ann", "bob", "cat"} {
		if c, err := storetest.Count(q.View("holdings"), who); err != nil || c != held[who] {
			t.Fatalf("%s holds %d by the view, %d by the stones (%v)", who, c, held[who], err)
		}
	}
}

// end replays all from zero, counts, and hashes.
func (m *machine) end(t *rapid.T) {
	for _, n := range m.nodes {
		m.check(t, n)
	}
	last := &machine{log: m.log, stores: [2]*storetest.MemoryStore{storetest.NewMemoryStore()}}
	last.open(t, 0)
	n := last.nodes[0]
	defer n.Close()
	for i := range m.nodes {
		if m.nodes[i].Checkpoint() != n.Checkpoint() {
			t.Fatalf("node %d is at %+v, a replay at %+v", i, m.nodes[i].Checkpoint(), n.Checkpoint())
		}
		expectSameRows(t, dump(t, m.stores[i]), dump(t, last.stores[0]))
	}

	q, err := n.Query(context.Background(), 0)
	if err != nil {
		t.Fatal(err)
	}
	defer q.Close()
	var hashes []merkle.Hash
	versions := map[eventstore.Stream]uint64{}
	for p := eventstore.Position(1); p <= m.records; p++ {
		leaf, err := q.Leaf(p)
		if err != nil {
			t.Fatal(err)
		}
		hashes = append(hashes, sha256.Sum256(append([]byte{0}, leaf...)))
		r, err := q.RecordAt(p)
		if err != nil || r.Position != p || r.Version != versions[r.Stream]+1 {
			t.Fatalf("record %+v at %d after version %d, %v", r, p, versions[r.Stream], err)
		}
		versions[r.Stream]++
	}
	if len(hashes) == 0 {
		return
	}
	root := n.Checkpoint().Root
	if naiveRoot(hashes) != root {
		t.Fatalf("root %v, want %v", root, naiveRoot(hashes))
	}
	for range 5 {
		i := rapid.IntRange(0, len(hashes)-1).Draw(t, "leaf")
		proof, err := n.Tree().InclusionProof(uint64(i), uint64(len(hashes)))
		if err != nil {
			t.Fatal(err)
		}
		if err := merkle.VerifyInclusion(proof, uint64(i), uint64(len(hashes)), root, hashes[i]); err != nil {
			t.Fatal(err)
		}
	}
}

// naiveRoot is MTH of RFC 6962 section 2.1, as it stands there.
func naiveRoot(hashes []merkle.Hash) merkle.Hash {
	if len(hashes) == 1 {
		return hashes[0]
	}
	k := 1
	for 2*k < len(hashes) {
		k *= 2
	}
	left, right := naiveRoot(hashes[:k]), naiveRoot(hashes[k:])
	return sha256.Sum256(append(append([]byte{1}, left[:]...), right[:]...))
}
