package server_test

import (
	"io"
	"log/slog"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/storetest"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	"seamshare.example/services/access"
	"seamshare.example/services/access/accesstest"
	"seamshare.example/services/fault"
	"seamshare.example/services/server"
	"seamshare.example/services/stream"
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

func TestTrouble(t *testing.T) {
	log := storetest.NewMemoryLog(false)
	log.Misconfigure("the log discards old messages")
	node := storetest.OpenNode(t, eventstore.Config{Log: log, Store: storetest.NewMemoryStore(), Codec: eventstore.NewCodec(stream.Events()...)})
	if node.Trouble() == nil {
		t.Fatal("the node sees no trouble")
	}
	key, err := access.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	d := &desk{node: node, issuer: access.NewIssuer(node.Coop(), key, time.Now)}
	s, err := server.New(server.Config{Register: d.register, Guard: access.NewGuard(d.issuer, access.At(node)), Trouble: node.Trouble})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Stop(t.Context())
	conn, err := s.InProcess()
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	_, err = coopv1.NewAccessServiceClient(conn).IssueToken(t.Context(), &coopv1.IssueTokenRequest{Assertion: "twenty characters or more"})
	refused(t, err, codes.Unavailable, fault.NodeInTrouble)
	state, err := healthpb.NewHealthClient(conn).Check(t.Context(), &healthpb.HealthCheckRequest{})
	if err != nil || state.GetStatus() != healthpb.HealthCheckResponse_NOT_SERVING {
		t.Fatalf("health is %v, %v", state.GetStatus(), err)
	}
}
