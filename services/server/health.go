package server

import (
	"context"
	"sync/atomic"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	"cullet/services/internal/pg"
)

const (
	healthEvery = 2 * time.Second
	healthTime  = 2 * time.Second
)

// healthWatch tells, per service and for all of them, whether calls are answered: they are while the
// database is.
type healthWatch struct {
	db       *pg.DB
	server   *health.Server
	services []string
	current  atomic.Int32
}

// newHealthWatch registers the health service for all services that are registered by now.
func newHealthWatch(db *pg.DB, s *grpc.Server) *healthWatch {
	h := &healthWatch{db: db, server: health.NewServer(), services: []string{""}}
	for name := range s.GetServiceInfo() {
		h.services = append(h.services, name)
	}
	healthpb.RegisterHealthServer(s, h.server)
	h.set(healthpb.HealthCheckResponse_NOT_SERVING)
	return h
}

func (h *healthWatch) state() healthpb.HealthCheckResponse_ServingStatus {
	return healthpb.HealthCheckResponse_ServingStatus(h.current.Load())
}

func (h *healthWatch) set(state healthpb.HealthCheckResponse_ServingStatus) {
	if healthpb.HealthCheckResponse_ServingStatus(h.current.Swap(int32(state))) == state {
		return
	}
	for _, name := range h.services {
		h.server.SetServingStatus(name, state)
	}
}

// run looks at the database until ctx ends.
func (h *healthWatch) run(ctx context.Context) {
	ticker := time.NewTicker(healthEvery)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
			h.check(ctx)
		}
	}
}

func (h *healthWatch) check(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, healthTime)
	defer cancel()
	if err := h.db.Ping(ctx); err != nil {
		h.set(healthpb.HealthCheckResponse_NOT_SERVING)
		return
	}
	h.set(healthpb.HealthCheckResponse_SERVING)
}

// leave tells everybody that this server goes.
func (h *healthWatch) leave() {
	h.current.Store(int32(healthpb.HealthCheckResponse_NOT_SERVING))
	h.server.Shutdown()
}
