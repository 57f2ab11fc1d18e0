package server

import (
	"google.golang.org/grpc"

	"cullet/services/access/accessrpc"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/seal"
)

// ServeRooms makes a server of every room behind the guard, without the watch over health, workers and
// HTTP. What the rooms send to PostgreSQL goes over db, and nothing else does: callers are looked up
// over keys. So a test that cuts db knows that it cuts the call.
func ServeRooms(c Config, o Outside, ring *seal.Ring, db, keys *pg.DB) *grpc.Server {
	h := newHouse(c.withDefaults(), o, db, ring)
	guard := rpc.NewGuard(accessrpc.NewAuthenticator(keys, h.Now), h.Log, nil)
	s := grpc.NewServer(guard.Options()...)
	for _, r := range rooms {
		r.register(s, h)
	}
	guard.Serve(s.GetServiceInfo(), allLimits())
	return s
}
