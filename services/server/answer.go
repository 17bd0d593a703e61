package server

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"seamshare.example/services/fault"
)

// answers turns what went wrong into what the caller may know, and tells the log
// what it may not.
type answers struct {
	log *slog.Logger
}

func (a answers) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (answer any, err error) {
	defer func() {
		if p := recover(); p != nil {
			answer, err = nil, a.panicked(ctx, info.FullMethod, p)
		}
	}()
	answer, err = handler(ctx, req)
	if err != nil {
		return nil, a.fault(ctx, info.FullMethod, err)
	}
	return answer, nil
}

func (a answers) stream(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = a.panicked(stream.Context(), info.FullMethod, p)
		}
	}()
	if err = handler(srv, stream); err != nil {
		return a.fault(stream.Context(), info.FullMethod, err)
	}
	return nil
}

func (a answers) fault(ctx context.Context, method string, err error) error {
	answer := fault.Status(err)
	var known *fault.Error
	if status.Code(answer) != codes.Internal || !errors.As(answer, &known) {
		return answer
	}
	return a.incident(ctx, method, known, "error", errors.Unwrap(known))
}

func (a answers) panicked(ctx context.Context, method string, p any) error {
	e := fault.Internal()
	return a.incident(ctx, method, e, "panic", fmt.Errorf("%v\n%s", p, debug.Stack()))
}

// incident writes the whole story to the log and gives the caller its number.
func (a answers) incident(ctx context.Context, method string, e *fault.Error, kind string, cause error) error {
	id := rand.Text()[:12]
	a.log.ErrorContext(ctx, "a call failed inside", "incident", id, "method", method, "kind", kind, "cause", cause)
	return e.With("incident", id)
}
