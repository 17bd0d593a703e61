package eventstore

import (
	"fmt"
	"time"
)

// findHead finds the number of a stream's last record. Numbers have no gap, so
// it doubles until one is missing and halves back.
func findHead(r Reader, stream Stream) (uint64, error) {
	has := func(version uint64) (bool, error) {
		row, err := r.Get(streamKey(stream, version))
		return row != nil, err
	}
	var low, high uint64 = 0, 1
	for {
		ok, err := has(high)
		if err != nil {
			return 0, err
		}
		if !ok {
			break
		}
		low, high = high, 2*high
	}
	for low+1 < high {
		mid := low + (high-low)/2
		ok, err := has(mid)
		if err != nil {
			return 0, err
		}
		if ok {
			low = mid
		} else {
			high = mid
		}
	}
	return low, nil
}

// eachRecord calls fn for a stream's records from a version on.
func eachRecord(r Reader, codec Codec, stream Stream, from uint64, fn func(Record) error) error {
	for version := from; ; version++ {
		row, err := r.Get(streamKey(stream, version))
		if err != nil || row == nil {
			return err
		}
		at, err := decodePlace(row)
		if err != nil {
			return err
		}
		rec, err := recordAt(r, codec, at)
		if err != nil {
			return fmt.Errorf("couldn't read record %d of %s: %w", version, stream, err)
		}
		if rec.Stream != stream || rec.Version != version {
			return fmt.Errorf("%w: index of %s version %d leads to %s version %d", ErrCorrupt, stream, version, rec.Stream, rec.Version)
		}
		if err := fn(rec); err != nil {
			return err
		}
	}
}

// recordAt reads a record from its place. Who decided it and when stands in the
// commit; RecordAt of a Query gives that too.
func recordAt(r Reader, codec Codec, at place) (Record, error) {
	data, err := readSpan(r, at.sequence, at.span)
	if err != nil {
		return Record{}, err
	}
	s, err := openRecord(data)
	if err != nil {
		return Record{}, err
	}
	return s.record(codec, at.position, at.sequence)
}

func (s *stored) record(codec Codec, position Position, sequence Sequence) (Record, error) {
	event, err := codec.Decode(s.Type, s.Public, s.Private)
	if err != nil {
		return Record{}, err
	}
	return Record{
		Position: position, Sequence: sequence, Stream: Stream(s.Stream), Version: s.StreamVersion, Type: s.Type,
		EffectiveDate: s.EffectiveDate, Corrects: Position(s.Corrects), Event: event,
	}, nil
}

// commitAt finds the commit that holds a position.
func commitAt(r Reader, coop string, p Position) (seq Sequence, c *commit, err error) {
	err = r.Scan([]byte{tableCommit}, commitKey(p), true, func(_, value []byte) bool {
		var n []uint64
		if n, err = decodeNumbers(value, 1); err == nil {
			seq = Sequence(n[0])
		}
		return false
	})
	if err != nil || seq == 0 {
		return 0, nil, err
	}
	data, err := readMessage(r, seq)
	if err != nil {
		return 0, nil, err
	}
	c, err = openCommit(data, coop)
	if err != nil {
		return 0, nil, fmt.Errorf("couldn't read commit %d: %w", seq, err)
	}
	if p < Position(c.FirstPosition) || p > c.last() {
		return 0, nil, fmt.Errorf("%w: commit %d holds positions %d to %d, not %d", ErrCorrupt, seq, c.FirstPosition, c.last(), p)
	}
	return seq, c, nil
}

// records decodes all records of a commit, with who decided them and when.
func (c *commit) recordsOf(codec Codec, seq Sequence) ([]Record, []*stored, error) {
	out := make([]Record, 0, len(c.Records))
	raw := make([]*stored, 0, len(c.Records))
	i := 0
	for _, d := range c.Decisions {
		for range d.RecordCount {
			position := Position(c.FirstPosition) + Position(i)
			s, err := openRecord(c.Records[i])
			if err != nil {
				return nil, nil, fmt.Errorf("record at position %d: %w", position, err)
			}
			r, err := s.record(codec, position, seq)
			if err != nil {
				return nil, nil, fmt.Errorf("record at position %d: %w", position, err)
			}
			r.DecidedAt, r.Member, r.Person = c.decidedAt(), d.Member, d.Person
			out, raw = append(out, r), append(raw, s)
			i++
		}
	}
	return out, raw, nil
}

// CommitInfo is what a commit says of itself.
type CommitInfo struct {
	Sequence  Sequence
	ID        CommitID
	Node      string
	DecidedAt time.Time
	Decisions []DecisionInfo
}

// DecisionInfo is one decision of a commit; its records follow those of the
// decision before.
type DecisionInfo struct {
	RPC, RequestID string
	Records        int
}

// ReadMessage opens a commit's published bytes, for people and programs that
// read the log itself.
func ReadMessage(codec Codec, coop string, m Message) (CommitInfo, []Record, error) {
	c, err := openCommit(m.Data, coop)
	if err != nil {
		return CommitInfo{}, nil, err
	}
	info := CommitInfo{Sequence: m.Sequence, ID: c.id, Node: c.Node, DecidedAt: c.decidedAt()}
	for _, d := range c.Decisions {
		info.Decisions = append(info.Decisions, DecisionInfo{d.Rpc, d.RequestId, int(d.RecordCount)})
	}
	records, _, err := c.recordsOf(codec, m.Sequence)
	return info, records, err
}

// MessageID is the id in a commit's published bytes.
func MessageID(coop string, m Message) (CommitID, error) {
	c, err := openCommit(m.Data, coop)
	if err != nil {
		return CommitID{}, err
	}
	return c.id, nil
}
