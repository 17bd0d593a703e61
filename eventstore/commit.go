package eventstore

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
)

// The writer and the reader of a commit's bytes. A commit is the protobuf
// message seamshare.event.v1.Commit; it is put together by hand only so that the
// place of each record's bytes in it is known: the stream index points there.

// Limits of one commit and one decision.
const (
	MaxCommitBytes     = 1 << 20
	MaxCommitRecords   = 2000
	MaxDecisionBytes   = 256 << 10
	MaxDecisionRecords = 500

	commitFormat = 1
	leafVersion  = 1

	// envelopeBytes is more than a commit's header fields ever need.
	envelopeBytes = 512
)

func (id CommitID) String() string { return hex.EncodeToString(id[:]) }

// span is where a record's bytes lie in its commit's message.
type span struct{ offset, length int }

// commit is a commit as it was read or is about to be written.
type commit struct {
	eventv1.Commit
	id    CommitID
	data  []byte // the message's bytes
	spans []span // of the records in data
}

// last is the position of the commit's last record.
func (c *commit) last() Position {
	return Position(c.FirstPosition) + Position(len(c.Records)) - 1
}

func (c *commit) decidedAt() time.Time { return time.UnixMicro(c.DecidedAtUs).UTC() }

// seal puts the message's bytes together from the fields.
func (c *commit) seal() error {
	c.CommitId = c.id[:]
	records := c.Records
	c.Records = nil
	data, err := proto.MarshalOptions{Deterministic: true}.Marshal(&c.Commit)
	c.Records = records
	if err != nil {
		return fmt.Errorf("couldn't encode commit: %w", err)
	}
	size := 0
	for _, r := range c.Records {
		size += protowire.SizeTag(8) + protowire.SizeBytes(len(r))
	}
	data = slices.Grow(data, size)
	c.spans = make([]span, 0, len(c.Records))
	for _, r := range c.Records {
		data = protowire.AppendTag(data, 8, protowire.BytesType)
		data = protowire.AppendVarint(data, uint64(len(r)))
		c.spans = append(c.spans, span{len(data), len(r)})
		data = append(data, r...)
	}
	c.data = data
	return nil
}

// openCommit reads a message's bytes and checks all that can be checked without
// state.
func openCommit(data []byte, coop string) (*commit, error) {
	c := &commit{data: data}
	if err := proto.Unmarshal(data, &c.Commit); err != nil {
		return nil, fmt.Errorf("%w: not a commit: %w", ErrCorrupt, err)
	}
	if in := unknownField(c.ProtoReflect()); in != "" {
		return nil, &UnknownError{What: "lies in a commit with a field in " + in + " that is not known here"}
	}
	if c.Format != commitFormat {
		return nil, &UnknownError{What: fmt.Sprintf("lies in a commit of format %d", c.Format)}
	}
	if c.Coop != coop {
		return nil, fmt.Errorf("%w: the commit belongs to co-op %q, this is %q", ErrCorrupt, c.Coop, coop)
	}
	if len(c.CommitId) != len(c.id) || len(c.Records) == 0 || c.FirstPosition == 0 {
		return nil, fmt.Errorf("%w: commit without id, records or position", ErrCorrupt)
	}
	copy(c.id[:], c.CommitId)
	count := 0
	for i, d := range c.Decisions {
		if d.RecordCount == 0 || len(d.Fingerprint) != sha256.Size {
			return nil, fmt.Errorf("%w: decision %d of the commit has no records or no fingerprint", ErrCorrupt, i)
		}
		count += int(d.RecordCount)
	}
	if count != len(c.Records) {
		return nil, fmt.Errorf("%w: decisions own %d records, the commit has %d", ErrCorrupt, count, len(c.Records))
	}
	c.spans = make([]span, 0, len(c.Records))
	for at := 0; at < len(data); {
		num, typ, tagLen := protowire.ConsumeTag(data[at:])
		if tagLen < 0 {
			return nil, fmt.Errorf("%w: commit has a bad tag", ErrCorrupt)
		}
		if num == 8 && typ == protowire.BytesType {
			value, n := protowire.ConsumeBytes(data[at+tagLen:])
			c.spans = append(c.spans, span{at + tagLen + n - len(value), len(value)})
		}
		n := protowire.ConsumeFieldValue(num, typ, data[at+tagLen:])
		if n < 0 {
			return nil, fmt.Errorf("%w: commit has a bad field", ErrCorrupt)
		}
		at += tagLen + n
	}
	if len(c.spans) != len(c.Records) {
		return nil, fmt.Errorf("%w: commit's records don't line up", ErrCorrupt)
	}
	return c, nil
}

// stored is a record as its bytes say, before the event is decoded.
type stored struct {
	eventv1.Record
}

func openRecord(data []byte) (*stored, error) {
	r := &stored{}
	if err := proto.Unmarshal(data, &r.Record); err != nil {
		return nil, fmt.Errorf("%w: not a record: %w", ErrCorrupt, err)
	}
	if len(r.ProtoReflect().GetUnknown()) > 0 {
		return nil, &UnknownError{Type: r.Type, What: "has an envelope field that is not known here"}
	}
	if !streamForm.MatchString(r.Stream) || r.StreamVersion == 0 || len(r.Salt) != 32 {
		return nil, fmt.Errorf("%w: record without stream, version or salt", ErrCorrupt)
	}
	return r, nil
}

// author is who decided a record, when and by which command: what the commit says of
// all records of a decision.
type author struct {
	decidedAtUs                  int64
	member, person, rpc, request string
}

// authors lists the author of each record.
func (c *commit) authors() []author {
	out := make([]author, 0, len(c.Records))
	for _, d := range c.Decisions {
		for range d.RecordCount {
			out = append(out, author{c.DecidedAtUs, d.Member, d.Person, d.Rpc, d.RequestId})
		}
	}
	return out
}

// appendLeaf appends the canonical leaf of a record: the bytes of a
// seamshare.event.v1.Leaf with its fields in order, zero values left out. What a
// stranger may not see is bound all the same, by one salted hash over the record's
// place in its stream, its day, what it corrects, its author, and the private part.
func appendLeaf(to []byte, position Position, r *eventv1.Record, by author) []byte {
	var scratch [512]byte
	hidden := append(scratch[:0], r.Salt...)
	text := func(s string) {
		hidden = binary.BigEndian.AppendUint32(hidden, uint32(len(s)))
		hidden = append(hidden, s...)
	}
	text(r.Stream)
	hidden = binary.BigEndian.AppendUint64(hidden, r.StreamVersion)
	text(r.EffectiveDate)
	hidden = binary.BigEndian.AppendUint64(hidden, r.Corrects)
	hidden = binary.BigEndian.AppendUint64(hidden, uint64(by.decidedAtUs))
	text(by.member)
	text(by.person)
	text(by.rpc)
	text(by.request)
	hidden = append(hidden, r.Private...)
	sum := sha256.Sum256(hidden)

	to = protowire.AppendTag(to, 1, protowire.VarintType)
	to = protowire.AppendVarint(to, leafVersion)
	to = protowire.AppendTag(to, 2, protowire.VarintType)
	to = protowire.AppendVarint(to, uint64(position))
	to = protowire.AppendTag(to, 3, protowire.VarintType)
	to = protowire.AppendVarint(to, uint64(r.Type))
	if len(r.Public) > 0 {
		to = protowire.AppendTag(to, 4, protowire.BytesType)
		to = protowire.AppendBytes(to, r.Public)
	}
	to = protowire.AppendTag(to, 5, protowire.BytesType)
	return protowire.AppendBytes(to, sum[:])
}

// OpenLeaf reads a leaf's bytes: what a chain file shows a stranger. The event
// holds the public part only.
func (c Codec) OpenLeaf(data []byte) (Position, proto.Message, error) {
	var leaf eventv1.Leaf
	if err := proto.Unmarshal(data, &leaf); err != nil {
		return 0, nil, fmt.Errorf("couldn't read leaf: %w", err)
	}
	if leaf.LeafVersion != leafVersion || len(leaf.HiddenSha256) != sha256.Size {
		return 0, nil, errors.New("leaf has another form than this program knows")
	}
	event, err := c.Decode(leaf.Type, leaf.Public, nil)
	return Position(leaf.Position), event, err
}
