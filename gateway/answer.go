package gateway

import (
	"context"
	"math"
	"net/http"
	"strconv"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	statuspb "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
)

// domain is that of the server's reasons; the gateway's own stand beside them.
const domain = "seamshare"

// failure is an answer of the gateway's own, in the form of the server's.
func failure(code codes.Code, reason, message string) *statuspb.Status {
	st, err := status.New(code, message).WithDetails(&errdetails.ErrorInfo{Reason: reason, Domain: domain})
	if err != nil {
		return status.New(code, message).Proto()
	}
	return st.Proto()
}

func malformed(message string) *statuspb.Status {
	return failure(codes.InvalidArgument, "MALFORMED_REQUEST", message)
}

// writeError answers with the server's google.rpc.Status (AIP-193) and the HTTP
// code that goes with its code.
func writeError(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, _ *http.Request, err error) {
	st := status.Convert(err).Proto()
	if st.GetCode() == int32(codes.InvalidArgument) && len(st.GetDetails()) == 0 {
		st = malformed(st.GetMessage()) // the runtime couldn't make a message of it
	}
	write(w, runtime.HTTPStatusFromCode(codes.Code(st.GetCode())), st)
}

func routingError(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, code int) {
	switch code {
	case http.StatusNotFound:
		notHere(w, r)
	case http.StatusMethodNotAllowed:
		write(w, code, failure(codes.Unimplemented, "METHOD_NOT_ALLOWED", r.Method+" is not how this path is called"))
	default:
		write(w, code, malformed(http.StatusText(code)))
	}
}

func notHere(w http.ResponseWriter, r *http.Request) {
	write(w, http.StatusNotFound, failure(codes.NotFound, "PATH_NOT_FOUND", "nothing is served at this path"))
}

func write(w http.ResponseWriter, code int, st *statuspb.Status) {
	for _, any := range st.GetDetails() {
		var retry errdetails.RetryInfo
		if any.UnmarshalTo(&retry) == nil {
			w.Header().Set("Retry-After", strconv.FormatFloat(math.Ceil(retry.GetRetryDelay().AsDuration().Seconds()), 'f', 0, 64))
		}
	}
	if code == http.StatusUnauthorized {
		w.Header().Set("WWW-Authenticate", `Bearer realm="seamshare"`) // RFC 6750, section 3
	}
	body, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(st)
	if err != nil { // a detail of a type that isn't linked in
		body, err = protojson.Marshal(&statuspb.Status{Code: st.GetCode(), Message: st.GetMessage()})
	}
	if err != nil {
		body = []byte(`{"code":13,"message":"the error can't be shown"}`)
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(code)
	_, _ = w.Write(body) // the caller may be gone
}

// secured sets what keeps browsers from doing more with an answer than read it.
func secured(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Cache-Control", "no-store")
		h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("X-Content-Type-Options", "nosniff")
		if r.TLS != nil {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		next.ServeHTTP(w, r)
	})
}

// health tells whether the node works, for those who watch over it.
func health(conn *grpc.ClientConn) http.Handler {
	client := healthpb.NewHealthClient(conn)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		answer, err := client.Check(r.Context(), &healthpb.HealthCheckRequest{})
		state := healthpb.HealthCheckResponse_NOT_SERVING
		if err == nil {
			state = answer.GetStatus()
		}
		w.Header().Set("Content-Type", "application/json")
		if state != healthpb.HealthCheckResponse_SERVING {
			w.WriteHeader(http.StatusServiceUnavailable)
		}
		_, _ = w.Write([]byte(`{"status":"` + state.String() + `"}`))
	})
}
