package eventstore_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"runtime"
	"testing"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/storetest"
)

// scriptedLog delivers what its script says, whatever was asked for.
type scriptedLog struct {
	*storetest.MemoryLog // whole: what the node reads by itself
	script               []eventstore.Message
}

// Status says that the log is empty, so that a start does not wait for the script.
func (l *scriptedLog) Status(ctx context.Context) (eventstore.LogStatus, error) {
	s, err := l.MemoryLog.Status(ctx)
	s.First, s.Last, s.Messages = 0, 0, 0
	return s, err
}

func (l *scriptedLog) Follow(context.Context, eventstore.Sequence) (eventstore.Follower, error) {
	return &scriptedFollower{l.script}, nil
}

type scriptedFollower struct{ script []eventstore.Message }

func (f *scriptedFollower) Close() {}

func (f *scriptedFollower) Next(ctx context.Context) (eventstore.Message, error) {
	if len(f.script) == 0 {
		<-ctx.Done()
		return eventstore.Message{}, ctx.Err()
	}
	m := f.script[0]
	f.script = f.script[1:]
	if m.Sequence%3 == 0 {
		runtime.Gosched() // sometimes the writer is quicker
	}
	return m, nil
}

func TestDeliveries(t *testing.T) {
	// A log of some commits, and the store after each.
	log := storetest.NewMemoryLog(true)
	source := openNode(t, config(log, storetest.NewMemoryStore()))
	for i := range 12 {
		id := fmt.Sprint("s", i%5)
		if i%3 == 2 {
			decide(t, source, request("ann", fmt.Sprint(i)), storetest.Note(id, fmt.Sprint(i)))
		} else {
			decide(t, source, request("ann", fmt.Sprint(i)), storetest.Take(fmt.Sprint("ann", i), id, fmt.Sprint("t", i)))
			decide(t, source, request("ann", fmt.Sprint(i, "back")), storetest.GiveBack(fmt.Sprint("ann", i), id))
		}
	}
	var all []eventstore.Message
	var after []map[string]string // the rows after so many commits
	var positions []eventstore.Position
	prefix := storetest.NewMemoryLog(true)
	store := storetest.NewMemoryStore()
	reader := openNode(t, config(prefix, store))
	for seq := range eventstore.Sequence(messages(t, log) + 1) {
		if seq > 0 {
			m, err := log.Read(t.Context(), seq)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, m)
			prefix.Put(m.Data)
			info, records, err := eventstore.ReadMessage(storetest.Codec(), storetest.Coop, m)
			if err != nil || info.Sequence != seq {
				t.Fatal(err)
			}
			positions = append(positions, records[len(records)-1].Position)
		} else {
			positions = append(positions, 0)
		}
		query(t, reader, positions[seq]).Close()
		after = append(after, dump(t, store))
	}

	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	for range deliveryCases {
		script, reached, gap := deliveries(random, all)
		store := storetest.NewMemoryStore()
		n := openQuick(t, config(&scriptedLog{log, script}, store))
		wait := positions[reached]
		if gap {
			wait = 1 << 40 // only trouble ends that
		}
		q, err := n.Query(testContext(t), wait)
		if err == nil {
			q.Close()
		}
		trouble := n.Trouble()
		n.Close()
		// What came in one batch with a gap is given up with it.
		at := int(n.Checkpoint().Sequence)
		if (err != nil) != gap || (trouble != nil) != gap || at > reached || at < reached && !gap {
			t.Fatalf("seed %d: script %v: reached %d, want %d; trouble %v, want %v", seed, sequences(script), at, reached, trouble, gap)
		}
		expectSameRows(t, dump(t, store), after[at])
	}
}

// openQuick is openNode without the test's clean-up, for loops.
func openQuick(t testing.TB, cfg eventstore.Config) *eventstore.Node {
	t.Helper()
	cfg.Coop = storetest.Coop
	n, err := eventstore.Open(context.Background(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// deliveries draws a way to deliver messages wrongly, and says how far a node
// gets with it and whether it then meets a gap.
func deliveries(random *rand.Rand, all []eventstore.Message) (script []eventstore.Message, reached int, gap bool) {
	script = append(script, all[:random.IntN(len(all)+1)]...)
	for range random.IntN(4) {
		if len(script) == 0 {
			break
		}
		i, j := random.IntN(len(script)), random.IntN(len(script))
		switch random.IntN(4) {
		case 0: // again
			script = append(script[:i+1], script[i:]...)
		case 1: // in another order
			script[i], script[j] = script[j], script[i]
		case 2: // lost
			script = append(script[:i:i], script[i+1:]...)
		case 3: // all again from some place, as after a reconnect
			script = append(script[:i+1:i+1], script[min(i, j):]...)
		}
	}
	for _, m := range script {
		switch {
		case int(m.Sequence) == reached+1:
			reached++
		case int(m.Sequence) > reached+1:
			return script, reached, true
		}
	}
	return script, reached, false
}

func sequences(script []eventstore.Message) (out []eventstore.Sequence) {
	for _, m := range script {
		out = append(out, m.Sequence)
	}
	return out
}

func TestSequenceGap(t *testing.T) {
	// Positions go on, and the log's own count does not.
	log := storetest.NewMemoryLog(true)
	source := openNode(t, config(log, storetest.NewMemoryStore()))
	var script []eventstore.Message
	for i := range eventstore.Sequence(2) {
		decide(t, source, request("ann", fmt.Sprint(i)), storetest.Note("s", "x"))
		m, err := log.Read(t.Context(), i+1)
		if err != nil {
			t.Fatal(err)
		}
		script = append(script, m)
	}
	script[1].Sequence++
	n := openNode(t, config(&scriptedLog{log, script}, storetest.NewMemoryStore()))
	if _, err := n.Query(testContext(t), 2); err == nil {
		t.Fatal("it was applied")
	}
	expectTrouble(t, n)
}
