package server

import (
	"context"
	"net/http"

	"google.golang.org/grpc/health/grpc_health_v1"

	"cullet/proto/openapi"
	"cullet/services/internal/gateway"
	"cullet/services/payers"
	"cullet/services/webhooks"
)

// handler makes everything that is served over HTTP.
func (s *service) handler() (http.Handler, error) {
	if err := s.dial(); err != nil {
		return nil, err
	}
	services := make([]gateway.Register, len(rooms))
	for i, r := range rooms {
		services[i] = r.gateway
	}
	api, err := gateway.New(context.Background(), s.conn, services)
	if err != nil {
		return nil, err
	}
	mux := http.NewServeMux()
	mux.Handle("/v1/", api)
	mux.HandleFunc("GET /openapi.json", document("application/json", openapi.Document()))
	for name, schema := range s.Schemas {
		mux.HandleFunc("GET /schemas/"+name, document("application/schema+json", schema))
	}
	for name, schema := range webhooks.Schemas() {
		mux.HandleFunc("GET /schemas/"+name, document("application/schema+json", schema))
	}
	mux.HandleFunc("GET /healthz", s.healthz)
	if s.Inbound != nil {
		mux.Handle(payers.InboundPath, s.Inbound(inbox{s.house}))
	}
	if s.Web != nil {
		mux.Handle("/", s.Web(s.conn))
	}
	return mux, nil
}

// document serves bytes that do not change while the program runs.
func document(mediaType string, content []byte) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", mediaType)
		w.Header().Set("X-Content-Type-Options", "nosniff")
		_, _ = w.Write(content) // whoever went away is not told
	}
}

// healthz answers 200 while calls are answered, else 503, for whoever cannot ask over gRPC.
func (s *service) healthz(w http.ResponseWriter, _ *http.Request) {
	state := s.health.state()
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	if state != grpc_health_v1.HealthCheckResponse_SERVING {
		w.WriteHeader(http.StatusServiceUnavailable)
	}
	_, _ = w.Write([]byte(state.String() + "\n"))
}
