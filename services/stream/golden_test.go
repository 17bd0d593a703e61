package stream_test

import (
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"seamshare.example/eventstore"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/stream"
)

var update = flag.Bool("update", false, "write golden files that are missing; none that is there is ever changed")

// TestGolden: every shape of event that was ever written decodes for ever. Each type
// has at least one golden file, and together they hold every field it can have. Where a
// field was added, `go test ./services/stream -update` writes one more; the
// old ones stay.
func TestGolden(t *testing.T) {
	codec := eventstore.NewCodec(stream.Events()...)
	read := map[string]bool{}
	for _, prototype := range stream.Events() {
		types := prototype.ProtoReflect().Descriptor().Oneofs().Get(0).Fields()
		for i := range types.Len() {
			field := types.Get(i)
			name := fmt.Sprintf("%d-%s", field.Number(), field.Name())
			t.Run(name, func(t *testing.T) {
				missing := fieldsBelow(field.Message(), map[protoreflect.FullName]bool{})
				shape := 1
				for ; ; shape++ {
					event, err := readGolden(codec, name, shape)
					if errors.Is(err, fs.ErrNotExist) {
						break
					}
					if err != nil {
						t.Fatal(err)
					}
					read[goldenPath(name, shape, "bin")] = true
					strike(missing, event.ProtoReflect())
				}
				if len(missing) == 0 {
					return
				}
				if !*update {
					t.Fatalf("no golden file holds %v; run with -update to write one more", missing)
				}
				event := prototype.ProtoReflect().New()
				fill(event.Mutable(field).Message(), 0, map[protoreflect.FullName]bool{})
				if err := writeGolden(name, shape, field, event); err != nil {
					t.Fatal(err)
				}
				read[goldenPath(name, shape, "bin")] = true
			})
		}
	}
	files, err := filepath.Glob(filepath.Join("testdata", "golden", "*.bin"))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if !read[f] {
			t.Errorf("%s belongs to no type of event any more, or one before it is gone; what was stored once is read for ever", f)
		}
	}
}

func goldenPath(name string, shape int, ext string) string {
	return filepath.Join("testdata", "golden", fmt.Sprintf("%s.%d.%s", name, shape, ext))
}

// readGolden decodes a stored record as a node does and compares it with the text
// beside it.
func readGolden(codec eventstore.Codec, name string, shape int) (proto.Message, error) {
	data, err := os.ReadFile(goldenPath(name, shape, "bin"))
	if err != nil {
		return nil, err
	}
	var stored eventv1.Record
	if err := proto.Unmarshal(data, &stored); err != nil {
		return nil, fmt.Errorf("the record doesn't decode: %w", err)
	}
	event, err := codec.Decode(stored.GetType(), stored.GetPublic(), stored.GetPrivate())
	if err != nil {
		return nil, err
	}
	text, err := os.ReadFile(goldenPath(name, shape, "txtpb"))
	if err != nil {
		return nil, fmt.Errorf("the record has no text beside it: %v", err) // not ErrNotExist: there is a record
	}
	want := event.ProtoReflect().New().Interface()
	if err := prototext.Unmarshal(text, want); err != nil {
		return nil, fmt.Errorf("the text can't be read any more: %w", err)
	}
	if !proto.Equal(event, want) {
		return nil, fmt.Errorf("the record decodes as\n%v\nbut was\n%v", event, want)
	}
	return event, nil
}

func writeGolden(name string, shape int, field protoreflect.FieldDescriptor, event protoreflect.Message) error {
	inner := event.Get(field).Message()
	part := func(name protoreflect.Name) []byte {
		f := field.Message().Fields().ByName(name)
		data, err := proto.MarshalOptions{Deterministic: true}.Marshal(inner.Get(f).Message().Interface())
		if err != nil {
			panic(err) // filled by us
		}
		return data
	}
	data, err := proto.MarshalOptions{Deterministic: true}.Marshal(&eventv1.Record{
		Stream: "golden/" + string(field.Name()), StreamVersion: 1, Type: uint32(field.Number()),
		Public: part("public"), Private: part("private"), Salt: make([]byte, 32),
	})
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Join("testdata", "golden"), 0o755); err != nil {
		return err
	}
	text := []byte(prototext.MarshalOptions{Multiline: true}.Format(event.Interface()))
	if err := os.WriteFile(goldenPath(name, shape, "txtpb"), text, 0o644); err != nil {
		return err
	}
	return os.WriteFile(goldenPath(name, shape, "bin"), data, 0o644)
}

// fieldsBelow are all fields that a message and those in it can have.
func fieldsBelow(m protoreflect.MessageDescriptor, into map[protoreflect.FullName]bool) map[protoreflect.FullName]bool {
	for i := range m.Fields().Len() {
		f := m.Fields().Get(i)
		if into[f.FullName()] {
			continue
		}
		into[f.FullName()] = true
		if f.Message() != nil {
			fieldsBelow(f.Message(), into)
		}
	}
	return into
}

// strike takes the fields that are set out of missing.
func strike(missing map[protoreflect.FullName]bool, m protoreflect.Message) {
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		delete(missing, f.FullName())
		switch {
		case f.Message() == nil:
		case f.IsList():
			for i := range v.List().Len() {
				strike(missing, v.List().Get(i).Message())
			}
		default:
			strike(missing, v.Message())
		}
		return true
	})
}

// fill sets every field to something that isn't zero. variant chooses among the
// alternatives of each oneof. A type that holds itself is filled once on the way down.
func fill(m protoreflect.Message, variant int, open map[protoreflect.FullName]bool) {
	if open[m.Descriptor().FullName()] {
		return
	}
	open[m.Descriptor().FullName()] = true
	defer delete(open, m.Descriptor().FullName())
	oneofs := m.Descriptor().Oneofs()
	chosen := map[protoreflect.Name]protoreflect.FieldNumber{}
	for i := range oneofs.Len() {
		if o := oneofs.Get(i); !o.IsSynthetic() {
			n := o.Fields().Len()
			chosen[o.Name()] = o.Fields().Get(variant % n).Number()
			variant /= n
		}
	}
	for i := range m.Descriptor().Fields().Len() {
		f := m.Descriptor().Fields().Get(i)
		if o := f.ContainingOneof(); o != nil && !o.IsSynthetic() && chosen[o.Name()] != f.Number() {
			continue
		}
		switch {
		case f.IsList() && f.Message() != nil:
			n := 1
			if chooses(f.Message(), map[protoreflect.FullName]bool{}) {
				n = 6 // every alternative of the oneofs in it
			}
			for v := range n {
				item := m.Mutable(f).List().AppendMutable().Message()
				fill(item, v, open)
			}
		case f.IsList():
			m.Mutable(f).List().Append(scalar(f))
		case f.Message() != nil:
			fill(m.Mutable(f).Message(), variant, open)
		default:
			m.Set(f, scalar(f))
		}
	}
}

// chooses tells whether a type or one in it has a oneof.
func chooses(m protoreflect.MessageDescriptor, seen map[protoreflect.FullName]bool) bool {
	if seen[m.FullName()] {
		return false
	}
	seen[m.FullName()] = true
	for i := range m.Fields().Len() {
		f := m.Fields().Get(i)
		if o := f.ContainingOneof(); o != nil && !o.IsSynthetic() || f.Message() != nil && chooses(f.Message(), seen) {
			return true
		}
	}
	return false
}

func scalar(f protoreflect.FieldDescriptor) protoreflect.Value {
	n := int64(f.Number())
	switch f.Kind() {
	case protoreflect.StringKind:
		return protoreflect.ValueOfString("the " + string(f.Name()))
	case protoreflect.BytesKind:
		return protoreflect.ValueOfBytes([]byte{byte(n), 0, 255})
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(true)
	case protoreflect.EnumKind:
		values := f.Enum().Values()
		return protoreflect.ValueOfEnum(values.Get(values.Len() - 1).Number())
	case protoreflect.Uint32Kind:
		return protoreflect.ValueOfUint32(uint32(1000 + n))
	case protoreflect.Uint64Kind:
		return protoreflect.ValueOfUint64(uint64(1_000_000_000_000 + n))
	case protoreflect.Int64Kind, protoreflect.Sint64Kind:
		return protoreflect.ValueOfInt64(-(1_000_000_000_000 + n)) // ten bytes: the longest form
	}
	panic(fmt.Sprintf("no golden value for a %v: add one", f.Kind()))
}
