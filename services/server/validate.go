package server

import (
	"context"
	"fmt"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"seamshare.example/services/photo"
)

// validation holds requests against the rules in their protos, all violations at once,
// and against the pictures that are kept. It comes after access, so that strangers learn nothing from it.
type validation struct {
	validator protovalidate.Validator
	photos    *photo.Store
}

func (v validation) check(message any) error {
	m, ok := message.(proto.Message)
	if !ok {
		return fmt.Errorf("a request of type %T is no protobuf message", message)
	}
	if err := wellFormed(m); err != nil {
		return err
	}
	if err := v.validator.Validate(m); err != nil {
		return fmt.Errorf("couldn't accept %s: %w", nameOf(m), err)
	}
	return v.photos.Check(m)
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
		return err
	}
	return s.check(message)
}

func nameOf(m proto.Message) string { return string(m.ProtoReflect().Descriptor().FullName()) }
