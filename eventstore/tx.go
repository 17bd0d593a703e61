package eventstore

import (
	"crypto/rand"
	"errors"
	"fmt"
	"maps"
	"runtime/debug"
	"strings"
	"time"
	"unicode/utf8"

	"google.golang.org/protobuf/proto"

	"seamshare.example/eventstore/merkle"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
)

// Request is the envelope of one command.
type Request struct {
	ID          string // the caller's request id; empty only for the founding
	Member      string
	Person      string
	RPC         string
	Fingerprint [32]byte // SHA-256 over the rpc and the request
	MinPosition Position // decide only when the node has reached it
}

// maxName bounds each name in a Request, in bytes.
const maxName = 256

// check refuses what can't be stored: names are part of keys and of the commit.
func (r Request) check() error {
	for _, f := range []struct{ field, value string }{
		{"request id", r.ID}, {"member", r.Member}, {"person", r.Person}, {"rpc", r.RPC},
	} {
		if len(f.value) > maxName || !utf8.ValidString(f.value) || strings.IndexByte(f.value, 0) >= 0 {
			return fmt.Errorf("%w: %s %.80q: at most %d bytes of UTF-8 without NUL are allowed", ErrRequest, f.field, f.value, maxName)
		}
	}
	return nil
}

// Outcome is what a command did.
type Outcome struct {
	First, Last Position // of its records; both 0 where it made none
	IDs         []string // as given to Tx.Made; on a repeat those of the first time
	Repeated    bool
}

// Tx is one decision's sight of the tip of the log. It is valid inside the
// function it is handed to.
type Tx struct {
	batch  *batch
	drafts []*draft
	states map[Stream]folded // with their drafts, of streams that have some and were loaded
	ids    []string
	size   int
	err    error
}

// draft is a record that a decision wants made.
type draft struct {
	record eventv1.Record
	event  proto.Message
}

// RecordOption says more about a record.
type RecordOption func(*eventv1.Record)

// EffectiveOn gives the day (YYYY-MM-DD) that a money event counts for.
func EffectiveOn(day string) RecordOption {
	return func(r *eventv1.Record) { r.EffectiveDate = day }
}

// Correcting names the position of the record that this one corrects.
func Correcting(p Position) RecordOption {
	return func(r *eventv1.Record) { r.Corrects = uint64(p) }
}

// Now is the moment of the decision. All decisions of a commit share it, and it
// never goes back.
func (tx *Tx) Now() time.Time { return tx.batch.now }

// View reads the serving rows of a view as the decisions before left them.
func (tx *Tx) View(name string) Reader {
	for _, v := range tx.batch.node.views {
		if v.live && v.serving && v.Name() == name {
			return prefixed{v.prefix, tx.batch.rows}
		}
	}
	return noRows{name}
}

// Record makes event the next record of stream, if the decision goes through.
func (tx *Tx) Record(stream Stream, event proto.Message, options ...RecordOption) {
	typ, public, private, err := tx.batch.node.codec.encode(event)
	if err == nil && !streamForm.MatchString(string(stream)) {
		err = fmt.Errorf("%q is not a stream's name", stream)
	}
	if err != nil {
		tx.err = errors.Join(tx.err, err)
		return
	}
	d := &draft{event: event, record: eventv1.Record{Stream: string(stream), Type: typ, Public: public, Private: private}}
	for _, o := range options {
		o(&d.record)
	}
	if day := d.record.EffectiveDate; day != "" {
		if _, err := time.Parse(time.DateOnly, day); err != nil {
			tx.err = errors.Join(tx.err, fmt.Errorf("effective date: %w", err))
			return
		}
	}
	tx.drafts = append(tx.drafts, d)
	f, own := tx.states[stream]
	if !own {
		f = tx.batch.states[stream]
	}
	if f.evolve != nil { // it was loaded, and may be again
		tx.states[stream] = f.after(event)
	}
	tx.size += len(stream) + len(public) + len(private) + 96
}

// Made remembers an id for the outcome: a repeat of the request gets it again.
func (tx *Tx) Made(id string) { tx.ids = append(tx.ids, id) }

func (tx *Tx) load(stream Stream, evolve func(any, proto.Message) any) (any, uint64, error) {
	f, own := tx.states[stream]
	if !own {
		var err error
		if f, err = tx.batch.fold(stream, evolve); err != nil {
			tx.batch.node.noteDamage(err)
			return nil, 0, err
		}
		for _, d := range tx.drafts { // from before it was loaded
			if Stream(d.record.Stream) == stream {
				f = f.after(d.event)
				tx.states[stream] = f
			}
		}
	}
	return f.state, f.version, nil
}

// Records lists a stream's records in order as the decisions before left them, without who
// decided them and when. What this decision has recorded itself is not among them; Load sees that.
func (tx *Tx) Records(stream Stream) (out []Record, err error) {
	b := tx.batch
	err = eachRecord(b.snapshot, b.node.codec, stream, 1, func(r Record) error {
		out = append(out, r)
		return nil
	})
	b.node.noteDamage(err)
	for _, r := range b.fresh[stream] {
		out = append(out, r.bare())
	}
	return out, err
}

// noRows answers for a view that this node does not have.
type noRows struct{ name string }

func (n noRows) Get([]byte) ([]byte, error) { return nil, n.err() }
func (n noRows) Scan(_, _ []byte, _ bool, _ func(key, value []byte) bool) error {
	return n.err()
}
func (n noRows) err() error { return fmt.Errorf("there is no view %q here", n.name) }

// batch collects decisions, or commits from the log, above one snapshot until
// they are written together. The writer goroutine owns it.
type batch struct {
	node     *Node
	snapshot Snapshot
	rows     *overlay
	now      time.Time

	tip    Checkpoint          // after what was collected
	states map[Stream]folded   // of the streams that were looked at, with what was collected
	own    map[Stream]folded   // scratch: Tx.states of the decision under way
	fresh  map[Stream][]Record // records collected here

	commit   *commit // the one being put together from decisions
	bytes    int     // of its records and decisions
	requests map[string]int
	order    []streamAt // of the commit's records
	leaves   []merkle.Hash
	leaf     []byte // scratch
	doubt    bool   // the commit may be in the log
}

// folded is a stream's state after its record number version.
type folded struct {
	version uint64
	state   any                          // nil: nothing has happened
	evolve  func(any, proto.Message) any // nil: only the version is known
}

func (n *Node) newBatch() *batch {
	snapshot := n.store.Snapshot()
	b := &batch{
		node: n, snapshot: snapshot,
		rows:   &overlay{base: snapshot, cache: n.rowCache},
		tip:    n.tip.Load().Checkpoint,
		states: map[Stream]folded{}, own: map[Stream]folded{}, fresh: map[Stream][]Record{}, requests: map[string]int{},
	}
	b.now = n.clock().UTC().Truncate(time.Microsecond)
	if b.now.Before(b.tip.DecidedAt) {
		b.now = b.tip.DecidedAt
	}
	return b
}

func (b *batch) close() { b.snapshot.Close() }

// fold gives a stream's state with what was collected here. States of the node
// are always those of the stream's last stored record, so a known one needs no
// look at the store.
func (b *batch) fold(stream Stream, evolve func(any, proto.Message) any) (folded, error) {
	f := b.states[stream]
	if f.evolve == nil { // nothing, or only its head, was asked for here
		var known bool
		if f, known = b.node.states.Get(stream); !known {
			f = folded{evolve: evolve}
			err := eachRecord(b.snapshot, b.node.codec, stream, 1, func(r Record) error {
				f.version, f.state = r.Version, evolve(f.state, r.Event)
				return nil
			})
			if err != nil {
				return folded{}, err
			}
			if f.version > 0 {
				b.node.states.Add(stream, f)
			}
		}
		for _, r := range b.fresh[stream] { // from before it was loaded
			f = f.after(r.Event)
		}
		b.states[stream] = f
	}
	return f, nil
}

// after folds the next event.
func (f folded) after(event proto.Message) folded {
	f.version, f.state = f.version+1, f.evolve(f.state, event)
	return f
}

// head is the number of a stream's last record.
func (b *batch) head(stream Stream) (uint64, error) {
	if fresh := b.fresh[stream]; len(fresh) > 0 {
		return fresh[len(fresh)-1].Version, nil
	}
	if f, ok := b.states[stream]; ok {
		return f.version, nil
	}
	if f, ok := b.node.states.Get(stream); ok {
		return f.version, nil
	}
	version, err := findHead(b.snapshot, stream)
	if err == nil {
		b.states[stream] = folded{version: version}
	}
	return version, err
}

// errFull: the decision is right but does not fit into this commit any more.
var errFull = errors.New("the commit is full")

// decide runs one decision. An error leaves the batch as it was.
func (b *batch) decide(req Request, fn func(*Tx) error) (Outcome, error) {
	if err := req.check(); err != nil {
		return Outcome{}, err
	}
	if req.ID != "" {
		if outcome, found, err := b.repeat(req); found || err != nil {
			return outcome, err
		}
	}
	clear(b.own)
	tx := &Tx{batch: b, states: b.own}
	if err := call(fn, tx); err != nil {
		return Outcome{}, err
	}
	if tx.err != nil {
		return Outcome{}, tx.err
	}
	size := tx.size + len(req.ID) + len(req.Member) + len(req.Person) + len(req.RPC) + 64
	for _, id := range tx.ids {
		if !utf8.ValidString(id) {
			return Outcome{}, fmt.Errorf("made id %q is not UTF-8", id)
		}
		size += len(id) + 4
	}
	switch {
	case len(tx.drafts) == 0:
		return Outcome{IDs: tx.ids}, nil
	case len(tx.drafts) > MaxDecisionRecords || size > MaxDecisionBytes:
		return Outcome{}, fmt.Errorf("%w: %d records of %d bytes, at most %d records and %d bytes are allowed",
			ErrTooBig, len(tx.drafts), size, MaxDecisionRecords, MaxDecisionBytes)
	case b.commit != nil && (len(b.commit.Records)+len(tx.drafts) > MaxCommitRecords || b.bytes+size > MaxCommitBytes-envelopeBytes):
		return Outcome{}, errFull
	}
	return b.record(req, tx, size)
}

// call keeps a mistake in a decision from taking the node down.
func call(fn func(*Tx) error, tx *Tx) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("decision panicked: %v\n%s", p, debug.Stack())
		}
	}()
	return fn(tx)
}

// What the views may write for one commit. With the other rows of a commit and
// those that a follower has collected before it, that fits into one write of the
// store: a commit that can't be applied would stop every node for good.
const (
	maxViewBytes = 4 << 20
	maxViewRows  = 40_000
)

// record puts a decision's drafts into the commit and applies them to the views.
func (b *batch) record(req Request, tx *Tx, size int) (Outcome, error) {
	records := make([]Record, 0, len(tx.drafts))
	encoded := make([][]byte, 0, len(tx.drafts))
	salts := make([]byte, 32*len(tx.drafts))
	rand.Read(salts) // never fails: it ends the process instead
	heads := map[Stream]uint64{}
	leaves := make([]merkle.Hash, 0, len(tx.drafts))
	undo := func() { b.rows.back() }
	by := author{b.now.UnixMicro(), req.Member, req.Person, req.RPC, req.ID}
	for i := range tx.drafts {
		d := tx.drafts[i]
		stream := Stream(d.record.Stream)
		head, ok := heads[stream]
		if !ok {
			var err error
			if head, err = b.head(stream); err != nil {
				undo()
				return Outcome{}, err
			}
		}
		heads[stream] = head + 1
		d.record.StreamVersion = head + 1
		d.record.Salt = salts[32*i : 32*i+32 : 32*i+32]
		data, err := proto.MarshalOptions{Deterministic: true}.Marshal(&d.record)
		if err != nil {
			undo()
			return Outcome{}, fmt.Errorf("couldn't encode record: %w", err)
		}
		r := Record{
			Position: b.tip.Position + Position(i) + 1, Sequence: b.tip.Sequence + 1, DecidedAt: b.now,
			Member: req.Member, Person: req.Person, Stream: stream, Version: head + 1, Type: d.record.Type,
			EffectiveDate: d.record.EffectiveDate, Corrects: Position(d.record.Corrects), Event: d.event,
		}
		if b.commit != nil {
			r.Sequence = b.tip.Sequence // the commit's number is counted with its first decision
		}
		if err := b.applyViews(r); err != nil {
			undo()
			return Outcome{}, err
		}
		b.leaf = appendLeaf(b.leaf[:0], r.Position, &d.record, by)
		leaves = append(leaves, merkle.LeafHash(b.leaf))
		records, encoded = append(records, r), append(encoded, data)
	}
	if b.rows.bytes > maxViewBytes || b.rows.dirty.Len() > maxViewRows {
		undo()
		if b.commit != nil {
			return Outcome{}, errFull
		}
		return Outcome{}, fmt.Errorf("%w: it changes more rows of views than at most %d, or more than %d bytes of them",
			ErrTooBig, maxViewRows, maxViewBytes)
	}
	if b.commit == nil {
		b.commit = &commit{Commit: eventv1.Commit{
			Format: commitFormat, Coop: b.node.coop, FirstPosition: uint64(b.tip.Position) + 1,
			Node: b.node.name, DecidedAtUs: b.now.UnixMicro(),
		}}
		rand.Read(b.commit.id[:])
		b.tip.Sequence++
		b.tip.DecidedAt = b.now
	}
	b.rows.keep()
	outcome := Outcome{First: b.tip.Position + 1, Last: b.tip.Position + Position(len(records)), IDs: tx.ids}
	if req.ID != "" {
		b.requests[string(requestKey(req.Member, req.ID))] = len(b.commit.Decisions)
	}
	b.commit.Decisions = append(b.commit.Decisions, &eventv1.Decision{
		RequestId: req.ID, Member: req.Member, Person: req.Person, Rpc: req.RPC,
		Fingerprint: req.Fingerprint[:], Ids: tx.ids, RecordCount: uint32(len(records)),
	})
	b.commit.Records = append(b.commit.Records, encoded...)
	b.leaves = append(b.leaves, leaves...)
	b.bytes += size
	b.tip.Position = outcome.Last
	for _, r := range records {
		b.fresh[r.Stream] = append(b.fresh[r.Stream], r)
		b.order = append(b.order, streamAt{r.Stream, r.Version})
	}
	maps.Copy(b.states, tx.states)
	return outcome, nil
}

func (b *batch) applyViews(r Record) (err error) {
	for _, v := range b.node.views {
		if !v.live {
			continue
		}
		if err := v.apply(b.rows, r); err != nil {
			return err
		}
	}
	return nil
}

// repeat looks for an earlier outcome of the same request.
func (b *batch) repeat(req Request) (Outcome, bool, error) {
	key := requestKey(req.Member, req.ID)
	if i, ok := b.requests[string(key)]; ok {
		outcome, err := outcomeOf(&b.commit.Commit, i, req.Fingerprint)
		return outcome, true, err
	}
	row, err := b.rows.Get(key)
	if err != nil || row == nil {
		return Outcome{}, false, err
	}
	outcome, err := b.stored(row, req.Fingerprint)
	b.node.noteDamage(err)
	return outcome, true, err
}

// stored is the outcome that a row of the request index leads to.
func (b *batch) stored(row []byte, fingerprint [32]byte) (Outcome, error) {
	at, err := decodeNumbers(row, 2)
	if err != nil {
		return Outcome{}, fmt.Errorf("request index: %w", err)
	}
	data, err := readMessage(b.snapshot, Sequence(at[0]))
	if err != nil {
		return Outcome{}, err
	}
	c, err := openCommit(data, b.node.coop)
	if err != nil {
		return Outcome{}, fmt.Errorf("couldn't read commit %d: %w", at[0], err)
	}
	if at[1] >= uint64(len(c.Decisions)) {
		return Outcome{}, fmt.Errorf("%w: request index names decision %d of %d", ErrCorrupt, at[1], len(c.Decisions))
	}
	return outcomeOf(&c.Commit, int(at[1]), fingerprint)
}

// outcomeOf is the outcome of a commit's decision number i, for a request with
// this fingerprint.
func outcomeOf(c *eventv1.Commit, i int, fingerprint [32]byte) (Outcome, error) {
	if [32]byte(c.Decisions[i].Fingerprint) != fingerprint {
		return Outcome{}, ErrRequestReused
	}
	first := Position(c.FirstPosition)
	for _, d := range c.Decisions[:i] {
		first += Position(d.RecordCount)
	}
	return Outcome{
		First: first, Last: first + Position(c.Decisions[i].RecordCount) - 1,
		IDs: c.Decisions[i].Ids, Repeated: true,
	}, nil
}
