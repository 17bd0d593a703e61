package eventstore

import (
	"encoding/binary"
	"fmt"
	"time"

	"google.golang.org/protobuf/encoding/protowire"

	"seamshare.example/eventstore/merkle"
)

// The store's keys. The first byte names the table.
//
//	m  sequence, chunk         bytes of the commit's message, in chunks
//	p  first position          sequence of the commit
//	s  stream 0 version        place of the record: position, sequence, offset, length
//	r  member 0 request id     place of the decision: sequence, index in the commit
//	t  level, index            a full tile of the tree
//	v  name 0 version, key     a view's row
//	w  name 0 version          a view's state while it is not simply up to date
//	c                          the checkpoint
const (
	tableMessage    = 'm'
	tableCommit     = 'p'
	tableStream     = 's'
	tableRequest    = 'r'
	tableTile       = 't'
	tableView       = 'v'
	tableViewState  = 'w'
	tableCheckpoint = 'c'

	// chunkBytes is what a read of one record copies at most twice: small, so
	// that folding a stream that nobody has in memory reads little, and far below
	// the size at which Badger moves values to its value log. With 48 KiB a cold
	// command took four times the processor time.
	chunkBytes = 4 << 10
)

func messageKey(seq Sequence, chunk int) []byte {
	k := make([]byte, 0, 11)
	k = append(k, tableMessage)
	k = binary.BigEndian.AppendUint64(k, uint64(seq))
	return binary.BigEndian.AppendUint16(k, uint16(chunk))
}

func commitKey(first Position) []byte {
	return binary.BigEndian.AppendUint64([]byte{tableCommit}, uint64(first))
}

func streamKey(stream Stream, version uint64) []byte {
	k := make([]byte, 0, len(stream)+10)
	k = append(k, tableStream)
	k = append(k, stream...)
	k = append(k, 0)
	return binary.BigEndian.AppendUint64(k, version)
}

func requestKey(member, id string) []byte {
	k := make([]byte, 0, len(member)+len(id)+2)
	k = append(k, tableRequest)
	k = append(k, member...)
	k = append(k, 0)
	return append(k, id...)
}

func tileKey(level int, index uint64) []byte {
	return binary.BigEndian.AppendUint64([]byte{tableTile, byte(level)}, index)
}

// viewPrefix is what all keys of one version of a view begin with.
func viewPrefix(name string, version uint32) []byte {
	k := append([]byte{tableView}, name...)
	return binary.BigEndian.AppendUint32(append(k, 0), version)
}

func viewStateKey(name string, version uint32) []byte {
	k := append([]byte{tableViewState}, name...)
	return binary.BigEndian.AppendUint32(append(k, 0), version)
}

var checkpointKey = []byte{tableCheckpoint}

// place is where a record's bytes lie.
type place struct {
	position Position
	sequence Sequence
	span     span
}

func (p place) encode() []byte {
	b := protowire.AppendVarint(make([]byte, 0, 16), uint64(p.position))
	b = protowire.AppendVarint(b, uint64(p.sequence))
	b = protowire.AppendVarint(b, uint64(p.span.offset))
	return protowire.AppendVarint(b, uint64(p.span.length))
}

func decodePlace(b []byte) (place, error) {
	n, err := decodeNumbers(b, 4)
	if err != nil {
		return place{}, fmt.Errorf("stream index: %w", err)
	}
	if n[2] > MaxCommitBytes || n[3] > MaxCommitBytes {
		return place{}, fmt.Errorf("stream index: %w: a record of %d bytes at %d of a commit", ErrCorrupt, n[3], n[2])
	}
	return place{Position(n[0]), Sequence(n[1]), span{int(n[2]), int(n[3])}}, nil
}

// Checkpoint is how far a store has applied the log.
type Checkpoint struct {
	Sequence  Sequence
	Position  Position
	DecidedAt time.Time // of the last commit
	// LogCreated is when the log was made, by its own word: a log that was made
	// anew is another log, whatever its name.
	LogCreated time.Time
	Coop       string
	Root       merkle.Hash // of the tree of size Position
}

func (c Checkpoint) encode() []byte {
	var b []byte
	for _, n := range []uint64{uint64(c.Sequence), uint64(c.Position), uint64(c.DecidedAt.UnixMicro()), uint64(c.LogCreated.UnixNano())} {
		b = protowire.AppendVarint(b, n)
	}
	b = append(b, c.Root[:]...)
	return append(b, c.Coop...)
}

func decodeCheckpoint(b []byte) (Checkpoint, error) {
	var n [4]uint64
	for i := range n {
		v, size := protowire.ConsumeVarint(b)
		if size < 0 {
			return Checkpoint{}, fmt.Errorf("%w: checkpoint is cut short", ErrCorrupt)
		}
		n[i], b = v, b[size:]
	}
	if len(b) < len(merkle.Hash{}) {
		return Checkpoint{}, fmt.Errorf("%w: checkpoint is cut short", ErrCorrupt)
	}
	return Checkpoint{
		Root:     merkle.Hash(b[:len(merkle.Hash{})]),
		Sequence: Sequence(n[0]), Position: Position(n[1]),
		DecidedAt: time.UnixMicro(int64(n[2])).UTC(), LogCreated: time.Unix(0, int64(n[3])).UTC(),
		Coop: string(b[len(merkle.Hash{}):]),
	}, nil
}

func encodeNumbers(n ...uint64) []byte {
	var b []byte
	for _, v := range n {
		b = protowire.AppendVarint(b, v)
	}
	return b
}

func decodeNumbers(b []byte, count int) ([]uint64, error) {
	n := make([]uint64, count)
	for i := range n {
		v, size := protowire.ConsumeVarint(b)
		if size < 0 {
			return nil, fmt.Errorf("%w: row is cut short", ErrCorrupt)
		}
		n[i], b = v, b[size:]
	}
	if len(b) > 0 {
		return nil, fmt.Errorf("%w: row is too long", ErrCorrupt)
	}
	return n, nil
}

// readMessage puts a message together from its chunks; nil where there is none.
func readMessage(r Reader, seq Sequence) ([]byte, error) {
	first, err := r.Get(messageKey(seq, 0))
	if err != nil || len(first) < chunkBytes {
		return first, err
	}
	data := append([]byte(nil), first...)
	for chunk := 1; ; chunk++ {
		next, err := r.Get(messageKey(seq, chunk))
		if err != nil {
			return nil, err
		}
		data = append(data, next...)
		if len(next) < chunkBytes {
			return data, nil
		}
	}
}

// readSpan reads a piece of a message without touching chunks beside it.
func readSpan(r Reader, seq Sequence, s span) ([]byte, error) {
	out := make([]byte, 0, s.length)
	for at, end := s.offset, s.offset+s.length; at < end; {
		chunk, from := at/chunkBytes, at%chunkBytes
		data, err := r.Get(messageKey(seq, chunk))
		if err != nil {
			return nil, err
		}
		to := min(len(data), from+end-at)
		if from >= to {
			return nil, fmt.Errorf("%w: message %d is shorter than its index says", ErrCorrupt, seq)
		}
		if from == 0 && to == s.length || at == s.offset && to-from == s.length {
			return data[from:to:to], nil
		}
		out = append(out, data[from:to]...)
		at += to - from
	}
	return out, nil
}
