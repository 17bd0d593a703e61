package server

import (
	"google.golang.org/grpc/encoding"
	"google.golang.org/grpc/encoding/proto"
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/encoding/protowire"
	protobuf "google.golang.org/protobuf/proto"

	"seamshare.example/services/fault"
)

// codec reads protobuf, and lets bytes that are no message through as a marked
// one. gRPC would answer them by itself, as INTERNAL and before anybody knows who
// calls; so they are refused in validation, as the caller's mistake, after access.
type codec struct {
	encoding.CodecV2
}

func newCodec() codec { return codec{encoding.GetCodecV2(proto.Name)} }

// mark stands among a message's unknown fields. No decoder leaves it there: field
// number 0 is illegal on the wire.
var mark = protowire.AppendTag(nil, 0, protowire.VarintType)

func (c codec) Unmarshal(data mem.BufferSlice, v any) error {
	err := c.CodecV2.Unmarshal(data, v)
	if m, ok := v.(protobuf.Message); ok && err != nil {
		protobuf.Reset(m)
		m.ProtoReflect().SetUnknown(mark)
		return nil
	}
	return err
}

// wellFormed refuses a message that the codec marked.
func wellFormed(m protobuf.Message) error {
	if unknown := m.ProtoReflect().GetUnknown(); len(unknown) > 0 && unknown[0] == mark[0] {
		return fault.New(fault.MalformedRequest, "the bytes sent are not a %s message", nameOf(m))
	}
	return nil
}
