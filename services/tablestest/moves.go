package tablestest

import (
	"slices"
	"strings"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/lot"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/promise"
	"seamshare.example/services/domain/stage"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/stream"
)

// life is how a kind of stream is read in the words of its tables. Kinds whose state is
// moved by time, or that hold several things, aren't here: their own trials read them.
type life struct {
	tables []stage.Table
	state  func([]eventstore.Record) string
}

// lives are by the name of the kind.
var lives = map[string]life{
	stream.Order.Name: {[]stage.Table{order.Table}, told(stream.Order, func(s order.State) string {
		return []string{stage.None, "placed", "dispatched", "received", "returned", "called off"}[s.Stage()]
	})},
	stream.Stone.Name:   {[]stage.Table{stone.Table, stone.SellingTable}, told(stream.Stone, stone.State.Standing)},
	stream.Lot.Name:     {[]stage.Table{lot.Table}, told(stream.Lot, func(s lot.State) string { return s.Stage.String() })},
	stream.Promise.Name: {[]stage.Table{promise.Table}, told(stream.Promise, func(s promise.State) string { return s.Stage.String() })},
}

// told folds records and says where the thing stands.
func told[S any](kind eventstore.Kind[S], word func(S) string) func([]eventstore.Record) string {
	return func(records []eventstore.Record) string {
		var s S
		for _, r := range records {
			s = kind.Evolve(s, r.Event)
		}
		if len(records) == 0 {
			return stage.None
		}
		return word(s)
	}
}

// leads tells whether a table says so. A stone's way to a jeweller and back has one word
// for all that it is at the bench.
func (l life) leads(from, do, to string) bool {
	return slices.ContainsFunc(l.tables, func(t stage.Table) bool {
		in := func(s string) string {
			if s != stage.None && !slices.Contains(t.States, s) {
				return "with its cutter"
			}
			return s
		}
		return t.Leads(in(from), do, in(to))
	})
}

// watch holds every call that succeeds in a world to the tables of all things that it
// wrote to, not only of the one that is tried.
func (w *World) watch(traffic *Traffic) {
	seen := w.Node.Checkpoint().Position
	traffic.Hear = func(h Heard) {
		now := w.Node.Checkpoint().Position
		if h.Err == nil {
			w.moved(strings.TrimPrefix(h.Method[strings.LastIndexByte(h.Method, '.'):], "."), seen, now)
		}
		seen = now
	}
}

// moved looks at the streams that one call wrote to.
func (w *World) moved(do string, before, now eventstore.Position) {
	q, err := w.Node.Inspect()
	w.Must(err)
	defer q.Close()
	var written []eventstore.Stream
	for p := before + 1; p <= now; p++ {
		r, err := q.RecordAt(p)
		w.Must(err)
		if !slices.Contains(written, r.Stream) {
			written = append(written, r.Stream)
		}
	}
	for _, s := range written {
		kind, _, _ := strings.Cut(string(s), "/")
		l, ok := lives[kind]
		if !ok {
			continue
		}
		records, err := q.Records(s)
		w.Must(err)
		old := slices.IndexFunc(records, func(r eventstore.Record) bool { return r.Position > before })
		if from, to := l.state(records[:old]), l.state(records); from != to && !l.leads(from, do, to) {
			w.T.Errorf("%s leads %s from %s to %s, which no row of its tables says", do, s, named(from), named(to))
		}
	}
}
