package main

import (
	"encoding/json"
	"fmt"
	"io"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
)

// answer prints what a server said: as one JSON document, or as text for a person.
func (s *session) answer(m proto.Message, text func(w io.Writer) error) error {
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
