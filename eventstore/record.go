package eventstore

import (
	"fmt"
	"regexp"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// Stream names the records of one thing: "parcel/01k...".
type Stream string

var streamForm = regexp.MustCompile(`^[a-z]+/[a-z0-9_-]{1,64}$`)

// Record is one event where it stands: in its stream and in the log. Records
// are shared between readers; nobody changes one.
type Record struct {
	Position  Position
	Sequence  Sequence
	DecidedAt time.Time // UTC, microseconds
	Member    string    // for whom it was decided
	Person    string    // who acted

	Stream        Stream
	Version       uint64 // number in the stream, from 1
	Type          uint32
	EffectiveDate string
	Corrects      Position
	Event         proto.Message // one of the messages given to NewCodec
}

// bare is the record as its stream has it: who decided it and when stands in the commit.
func (r Record) bare() Record {
	r.DecidedAt, r.Member, r.Person = time.Time{}, "", ""
	return r
}

// Codec turns events into a record's type, public and private bytes and back.
// An event is a message with one oneof; the field that is set names the type by
// its number, and holds a message with the fields public and private. Numbers
// are unique over all aggregates and stay for ever.
type Codec struct {
	types map[protoreflect.FieldNumber]eventType
}

type eventType struct {
	event           protoreflect.MessageType
	field           protoreflect.FieldDescriptor
	public, private protoreflect.FieldDescriptor
}

// NewCodec knows the given aggregates' events. It panics where two types share
// a number or a type has no public and private part: that is a mistake in the
// source, not in data.
func NewCodec(events ...proto.Message) Codec {
	c := Codec{types: map[protoreflect.FieldNumber]eventType{}}
	for _, e := range events {
		m := e.ProtoReflect()
		oneof := m.Descriptor().Oneofs().Get(0)
		for i := range oneof.Fields().Len() {
			f := oneof.Fields().Get(i)
			if _, taken := c.types[f.Number()]; taken {
				panic(fmt.Sprintf("event type %d stands twice", f.Number()))
			}
			t := eventType{
				event: m.Type(), field: f,
				public:  f.Message().Fields().ByName("public"),
				private: f.Message().Fields().ByName("private"),
			}
			if t.public == nil || t.private == nil || f.Message().Fields().Len() != 2 {
				panic(fmt.Sprintf("event %s has not just a public and a private part", f.FullName()))
			}
			c.types[f.Number()] = t
		}
	}
	return c
}

// encode gives the stored form of an event.
func (c Codec) encode(event proto.Message) (typ uint32, public, private []byte, err error) {
	m := event.ProtoReflect()
	set := m.WhichOneof(m.Descriptor().Oneofs().Get(0))
	if set == nil {
		return 0, nil, nil, fmt.Errorf("event %s is empty", m.Descriptor().FullName())
	}
	t, ok := c.types[set.Number()]
	if !ok || t.event.Descriptor() != m.Descriptor() {
		return 0, nil, nil, fmt.Errorf("event %s is not known to this store", set.FullName())
	}
	if in := unknownField(m); in != "" {
		// It would be stored, and stop every node.
		return 0, nil, nil, fmt.Errorf("event %s has a field in %s that is not known here", set.FullName(), in)
	}
	inner := m.Get(set).Message()
	how := proto.MarshalOptions{Deterministic: true}
	if public, err = how.Marshal(inner.Get(t.public).Message().Interface()); err != nil {
		return 0, nil, nil, fmt.Errorf("couldn't encode public part of %s: %w", set.FullName(), err)
	}
	if private, err = how.Marshal(inner.Get(t.private).Message().Interface()); err != nil {
		return 0, nil, nil, fmt.Errorf("couldn't encode private part of %s: %w", set.FullName(), err)
	}
	return uint32(set.Number()), public, private, nil
}

// UnknownError: a stored record is of a type or has a field that this binary
// does not know. A newer binary wrote it; guessing would be wrong, so the node
// stops.
type UnknownError struct {
	Type uint32
	What string
}

func (e *UnknownError) Error() string {
	return fmt.Sprintf("a stored event of type %d %s; a newer version of this program wrote it", e.Type, e.What)
}

// Decode is the inverse of encode: the event of a stored type from its two
// parts. It returns *UnknownError for a type or field it does not know.
func (c Codec) Decode(typ uint32, public, private []byte) (proto.Message, error) {
	t, ok := c.types[protoreflect.FieldNumber(typ)]
	if !ok {
		return nil, &UnknownError{Type: typ, What: "is not known here"}
	}
	event := t.event.New()
	inner := event.Mutable(t.field).Message()
	for _, part := range []struct {
		field protoreflect.FieldDescriptor
		data  []byte
	}{{t.public, public}, {t.private, private}} {
		m := inner.Mutable(part.field).Message()
		if err := proto.Unmarshal(part.data, m.Interface()); err != nil {
			return nil, fmt.Errorf("couldn't decode %s of event type %d: %w", part.field.Name(), typ, err)
		}
		if name := unknownField(m); name != "" {
			return nil, &UnknownError{Type: typ, What: "has a field in " + name + " that is not known here"}
		}
	}
	return event.Interface(), nil
}

// unknownField names the first message below m that holds a field its
// descriptor does not have.
func unknownField(m protoreflect.Message) (in string) {
	if len(m.GetUnknown()) > 0 {
		return string(m.Descriptor().FullName())
	}
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.Message() == nil:
		case f.IsList():
			for i := 0; in == "" && i < v.List().Len(); i++ {
				in = unknownField(v.List().Get(i).Message())
			}
		default:
			in = unknownField(v.Message())
		}
		return in == ""
	})
	return in
}

// Kind says how a stream's events fold into a state. Evolve is pure and never
// refuses: it returns a new state that shares nothing with the old one that
// either will change. It gets the events alone: whatever else a state needs, as who
// decided and when, its events say. The zero S is a thing to which nothing
// has happened. There is one Kind for a name: states are kept by stream.
type Kind[S any] struct {
	Name   string // the streams are Name + "/" + id
	Evolve func(S, proto.Message) S
}

// Stream is the stream of the thing with this id.
func (k Kind[S]) Stream(id string) Stream { return Stream(k.Name + "/" + id) }

// Loader folds streams: a decision's Tx, or a Query. The state of a stream without
// records is nil, to evolve as in what load gives: a zero state put into an
// interface is an allocation of its size at each load, though nearly all are found.
type Loader interface {
	load(stream Stream, evolve func(any, proto.Message) any) (state any, version uint64, err error)
}

// Load folds the stream of id into its state, with the number of its last
// record (0: nothing has happened). In a decision it sees all that was decided before
// and what this decision has recorded so far.
func Load[S any](l Loader, kind Kind[S], id string) (S, uint64, error) {
	folded, version, err := l.load(kind.Stream(id), func(before any, event proto.Message) any {
		state, _ := before.(S)
		return kind.Evolve(state, event)
	})
	state, _ := folded.(S)
	return state, version, err
}
