package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"time"
)

// stopTime is how long calls that are under way may take to end; what is left of the 25 seconds that
// a stop may take is for workers and PostgreSQL.
const stopTime = 12 * time.Second

// Run serves until ctx ends, then lets what is under way end and returns nil. It returns an error
// when it cannot start, or when a listener breaks. With a private cluster it starts and stops
// PostgreSQL as well. It may be run again in the same process.
func Run(ctx context.Context, c Config, o Outside) (err error) {
	c = c.withDefaults()
	if err := makeState(c); err != nil {
		return err
	}
	ring, err := openRing(c)
	if err != nil {
		return err
	}
	db, err := openDatabase(ctx, c)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.close()) }()
	if err := makeFirst(ctx, db, c); err != nil {
		return err
	}
	s, err := newService(newHouse(c, o, db.DB, ring))
	if err != nil {
		return err
	}
	if err := s.listen(ctx); err != nil {
		s.grpc.Stop()
		return err
	}
	return s.serve(ctx)
}

// service is the house with its doors.
type service struct {
	*house
	*door
	health    *healthWatch
	grpcPort  net.Listener
	httpPort  net.Listener
	http      *http.Server
	workers   sync.WaitGroup
	endWorker context.CancelFunc
}

func newService(h *house) (*service, error) {
	d := newDoor(h)
	s := &service{house: h, door: d, health: newHealthWatch(h.db, d.grpc)}
	d.seal()
	handler, err := s.handler()
	if err != nil {
		d.grpc.Stop()
		return nil, err
	}
	s.http = &http.Server{Handler: handler, TLSConfig: h.TLS, ReadHeaderTimeout: 10 * time.Second,
		ReadTimeout: 2 * time.Minute, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 64 << 10,
		ErrorLog: slog.NewLogLogger(h.Log.Handler(), slog.LevelDebug)}
	return s, nil
}

func (s *service) listen(ctx context.Context) (err error) {
	var config net.ListenConfig
	if s.grpcPort, err = config.Listen(ctx, "tcp", s.GRPCAddress); err != nil {
		return fmt.Errorf("listen for gRPC: %w", err)
	}
	if s.HTTPAddress == "" {
		return nil
	}
	if s.httpPort, err = config.Listen(ctx, "tcp", s.HTTPAddress); err != nil {
		return errors.Join(fmt.Errorf("listen for HTTP: %w", err), s.grpcPort.Close())
	}
	return nil
}

// serve answers until ctx ends or a listener breaks.
func (s *service) serve(ctx context.Context) error {
	broken := make(chan error, 3)
	go func() { broken <- s.grpc.Serve(s.inside) }()
	go func() { broken <- s.grpc.Serve(s.grpcPort) }()
	if s.httpPort != nil {
		go func() { broken <- s.serveHTTP() }()
	}
	s.startWorkers(ctx)
	watching, endWatch := context.WithCancel(ctx)
	defer endWatch()
	s.health.check(ctx)
	go s.health.run(watching)
	if s.Ready != nil {
		s.Ready(s.addresses())
	}
	var err error
	select {
	case <-ctx.Done():
	case err = <-broken:
		err = fmt.Errorf("serve: %w", err)
	}
	s.stop()
	return err
}

func (s *service) serveHTTP() error {
	var err error
	if s.TLS != nil {
		err = s.http.ServeTLS(s.httpPort, "", "")
	} else {
		err = s.http.Serve(s.httpPort)
	}
	if errors.Is(err, http.ErrServerClosed) {
		return nil
	}
	return err
}

func (s *service) addresses() Addresses {
	a := Addresses{GRPC: s.grpcPort.Addr().String()}
	if s.httpPort != nil {
		a.HTTP = s.httpPort.Addr().String()
	}
	return a
}

// stop tells watchers that this server goes, takes no new calls, and lets those under way end for a
// while. HTTP goes first, because its calls come in through gRPC.
func (s *service) stop() {
	s.health.leave()
	s.guard.End()
	s.endWorker()
	ctx, cancel := context.WithTimeout(context.Background(), stopTime)
	defer cancel()
	if err := s.http.Shutdown(ctx); err != nil {
		s.Log.Warn("HTTP calls were cut off", slog.String("error", err.Error()))
		_ = s.http.Close() // it only says again what Shutdown said
	}
	ended := make(chan struct{})
	go func() {
		s.grpc.GracefulStop()
		close(ended)
	}()
	select {
	case <-ended:
	case <-ctx.Done():
		s.Log.Warn("gRPC calls were cut off")
		s.grpc.Stop()
		<-ended
	}
	s.workers.Wait()
	_ = s.conn.Close() // the connection to ourselves; there is nobody to tell
}
