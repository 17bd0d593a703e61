package main

import (
	"encoding/json"
	"fmt"
	"io"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// answer prints what a server said: as one JSON document, or as text for a person.
func (s *session) answer(m proto.Message, text func(w io.Writer) error) error {
	if s.printID {
		id := idOf(m.ProtoReflect())
		if id == "" {
			return wrongUsage("--print-id", "leave it out here", "this command's answer has no id")
		}
		say(s.stdout, "%s", id)
		return nil
	}
	if s.json {
		return writeMessage(s.stdout, m)
	}
	return text(s.stdout)
}

// document prints one of our own JSON documents, or text for a person.
func (s *session) document(v any, text func(w io.Writer) error) error {
	if s.json {
		return writeJSON(s.stdout, v)
	}
	return text(s.stdout)
}

// idOf is the id of the thing that an answer is about: its own field id, or that of the first message in it. What a
// cutter sells goes under its order's.
func idOf(m protoreflect.Message) string {
	fields := m.Descriptor().Fields()
	for _, name := range []protoreflect.Name{"id", "order_id"} {
		if id := fields.ByName(name); id != nil && id.Kind() == protoreflect.StringKind {
			return m.Get(id).String()
		}
	}
	for i := range fields.Len() {
		if f := fields.Get(i); f.Kind() == protoreflect.MessageKind && !f.IsList() && !f.IsMap() && m.Has(f) {
			return idOf(m.Get(f).Message())
		}
	}
	return ""
}

func writeMessage(w io.Writer, m proto.Message) error {
	data, err := protojson.MarshalOptions{UseProtoNames: true, EmitUnpopulated: true}.Marshal(m)
	if err != nil {
		return fmt.Errorf("couldn't write the answer as JSON: %w", err)
	}
	// protojson varies its spaces on purpose; the same answer must give the same bytes.
	return writeJSON(w, json.RawMessage(data))
}

func writeJSON(w io.Writer, v any) error {
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	if err := encoder.Encode(v); err != nil {
		return fmt.Errorf("couldn't write the answer as JSON: %w", err)
	}
	return nil
}

// say prints lines of text. A failed write is kept by the session's writer.
func say(w io.Writer, format string, args ...any) {
	fmt.Fprintf(w, format+"\n", args...)
}
