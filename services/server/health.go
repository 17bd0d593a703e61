package server

import (
	"context"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	"seamshare.example/eventstore"
)

// look is how often watchers hear of the node's state; Check always asks.
const look = time.Second

// healthService is the standard health service, following the node: while the
// node is in trouble every service of ours is NOT_SERVING.
type healthService struct {
	*health.Server
	trouble  func() *eventstore.TroubleError
	services []string // set by register, then only read
}

func newHealth(trouble func() *eventstore.TroubleError) *healthService {
	if trouble == nil {
		trouble = func() *eventstore.TroubleError { return nil }
	}
	return &healthService{Server: health.NewServer(), trouble: trouble}
}

func (h *healthService) register(r grpc.ServiceRegistrar, services map[string]grpc.ServiceInfo) {
	h.services = []string{""} // the server as a whole
	for name := range services {
		if !strings.HasPrefix(name, "grpc.") {
			h.services = append(h.services, name)
		}
	}
	h.update()
	healthpb.RegisterHealthServer(r, h)
}

// Check answers by the state at this moment.
func (h *healthService) Check(ctx context.Context, req *healthpb.HealthCheckRequest) (*healthpb.HealthCheckResponse, error) {
	h.update()
	return h.Server.Check(ctx, req)
}

func (h *healthService) update() {
	state := healthpb.HealthCheckResponse_SERVING
	if h.trouble() != nil {
		state = healthpb.HealthCheckResponse_NOT_SERVING
	}
	for _, name := range h.services {
		h.SetServingStatus(name, state) // after Shutdown this changes nothing
	}
}

func (h *healthService) run(ctx context.Context) {
	tick := time.NewTicker(look)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			h.update()
		}
	}
}

// stop tells watchers that the server goes away.
func (h *healthService) stop() { h.Shutdown() }
