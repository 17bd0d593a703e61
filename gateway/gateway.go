// Package gateway speaks HTTP and JSON for the gRPC services: the same methods,
// rules and errors, as every request goes through a gRPC connection to the
// server and nothing here decides anything.
//
// JSON has the field names of the protos; int64 is a string, as protobuf's JSON
// mapping says. Unknown fields and parameters are refused.
package gateway

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/encoding/protojson"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
)

// New serves all methods that have an HTTP form through conn, and /healthz. The
// connection stays the caller's to close.
func New(ctx context.Context, conn *grpc.ClientConn) (http.Handler, error) {
	mux := runtime.NewServeMux(
		runtime.WithMarshalerOption(runtime.MIMEWildcard, &runtime.JSONPb{
			MarshalOptions:   protojson.MarshalOptions{UseProtoNames: true, EmitDefaultValues: true},
			UnmarshalOptions: protojson.UnmarshalOptions{DiscardUnknown: false},
		}),
		runtime.SetQueryParameterParser(strictQuery{}),
		runtime.WithErrorHandler(writeError),
		runtime.WithRoutingErrorHandler(routingError),
		// No header of a caller becomes gRPC metadata but Authorization, which the
		// runtime passes on by itself, and none of the server's goes out.
		runtime.WithIncomingHeaderMatcher(func(string) (string, bool) { return "", false }),
		runtime.WithOutgoingHeaderMatcher(func(string) (string, bool) { return "", false }),
		runtime.WithOutgoingTrailerMatcher(func(string) (string, bool) { return "", false }),
		runtime.WithDisablePathLengthFallback(),
		runtime.WithDisableHTTPMethodOverride(),
	)
	for _, register := range []func(context.Context, *runtime.ServeMux, *grpc.ClientConn) error{
		coopv1.RegisterAccessServiceHandler,
		coopv1.RegisterCoopServiceHandler,
		coopv1.RegisterNodeServiceHandler,
		minerv1.RegisterMinerServiceHandler,
		cutterv1.RegisterCutterServiceHandler,
		jewellerv1.RegisterJewellerServiceHandler,
	} {
		if err := register(ctx, mux, conn); err != nil {
			return nil, fmt.Errorf("couldn't set up the HTTP form of a service: %w", err)
		}
	}
	all := http.NewServeMux()
	all.Handle("/v1/", bounded(mux))
	all.Handle("GET /healthz", health(conn))
	all.HandleFunc("/", notHere)
	return secured(all), nil
}

// Server is an HTTP server with limits on how long a caller may take. Serve and
// shut it down; its listener must be loopback or TLS.
func Server(handler http.Handler) *http.Server {
	return &http.Server{
		Handler:           handler,
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       30 * time.Second,
		WriteTimeout:      90 * time.Second, // a call takes 60 s at most
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    16 << 10,
	}
}
