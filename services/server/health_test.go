package server_test

import (
	"io"
	"log/slog"
	"sync/atomic"
	"testing"

	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	"seamshare.example/eventstore"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	"seamshare.example/services/access"
	"seamshare.example/services/access/accesstest"
	"seamshare.example/services/server"
)

func textLog(w io.Writer) *slog.Logger { return slog.New(slog.NewTextHandler(w, nil)) }

func accessJoin(t testing.TB, h *house, id string, roles ...memberv1.Role) access.SignIn {
	t.Helper()
	return accesstest.Join(t, h.node, id, roles...)
}

func TestHealth(t *testing.T) {
	var trouble atomic.Pointer[eventstore.TroubleError]
	h := open(t, func(c *server.Config) { c.Trouble = trouble.Load })
	client := healthpb.NewHealthClient(h.bare(t))
	for _, service := range []string{"", "seamshare.coop.v1.CoopService", "seamshare.coop.v1.AccessService"} {
		trouble.Store(nil)
		watch, err := client.Watch(t.Context(), &healthpb.HealthCheckRequest{Service: service})
		if err != nil {
			t.Fatal(err)
		}
		check := func(want healthpb.HealthCheckResponse_ServingStatus) {
			t.Helper()
			got, err := client.Check(t.Context(), &healthpb.HealthCheckRequest{Service: service})
			if err != nil || got.GetStatus() != want {
				t.Fatalf("%q is %v, %v; want %v", service, got.GetStatus(), err, want)
			}
			for got := (*healthpb.HealthCheckResponse)(nil); got.GetStatus() != want; {
				if got, err = watch.Recv(); err != nil {
					t.Fatalf("watching %q: %v", service, err)
				}
			}
		}
		check(healthpb.HealthCheckResponse_SERVING)
		trouble.Store(&eventstore.TroubleError{Reason: "a gap"})
		check(healthpb.HealthCheckResponse_NOT_SERVING)
		trouble.Store(nil)
		check(healthpb.HealthCheckResponse_SERVING)
	}
}
