package server

import (
	"context"
	"time"

	"google.golang.org/grpc"
)

const (
	defaultTime = 15 * time.Second
	maxTime     = 60 * time.Second
	// maxMargin is how much of the caller's time is kept for the way back, so that
	// the answer, with its reason, arrives before the caller's own clock ends the call.
	maxMargin = 250 * time.Millisecond
)

// deadline gives each unary call an end. Streams have none: a backup takes as
// long as it takes, and keepalive ends those whose caller is gone.
func deadline(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	left := defaultTime
	if end, ok := ctx.Deadline(); ok {
		left = time.Until(end)
		left -= min(left/10, maxMargin)
	}
	ctx, cancel := context.WithTimeout(ctx, min(left, maxTime))
	defer cancel()
	return handler(ctx, req)
}
