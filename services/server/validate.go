package server

import (
	"context"
	"fmt"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
)

// validation holds requests against the rules in their protos: all violations at
// once. It comes after access, so that strangers learn nothing from it.
type validation struct {
	validator protovalidate.Validator
}

func (v validation) check(message any) error {
	m, ok := message.(proto.Message)
	if !ok {
		return fmt.Errorf("a request of type %T is no protobuf message", message)
	}
	if err := v.validator.Validate(m); err != nil {
		return fmt.Errorf("couldn't accept %s: %w", nameOf(message), err)
	}
	return nil
}

func (v validation) unary(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if err := v.check(req); err != nil {
		return nil, err
	}
	return handler(ctx, req)
}

func (v validation) stream(srv any, stream grpc.ServerStream, _ *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	return handler(srv, &validStream{ServerStream: stream, validation: v})
}

type validStream struct {
	grpc.ServerStream
	validation
}

func (s *validStream) RecvMsg(message any) error {
	if err := s.ServerStream.RecvMsg(message); err != nil {
		// gRPC says INTERNAL for bytes that don't decode; the mistake is the caller's.
		if status.Code(err) == codes.Internal {
			return malformed(message, err)
		}
		return err
	}
	return s.check(message)
}

func nameOf(message any) string {
	if m, ok := message.(proto.Message); ok {
		return string(m.ProtoReflect().Descriptor().FullName())
	}
	return fmt.Sprintf("%T", message)
}
