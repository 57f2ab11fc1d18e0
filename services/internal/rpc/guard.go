package rpc

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"

	"cullet/services/errs"
)

// Guard stands before every method: it ends panics, sets the deadline, finds out who calls, asks
// whether he may, checks the request, turns errors into statuses and writes one log line a call.
// It is safe for concurrent use once Serve was called.
type Guard struct {
	auth    Authenticator
	log     *slog.Logger
	rules   map[string]rule
	observe func(method string, code codes.Code, took time.Duration)
	// ending ends the streams that would last for ever.
	ending context.Context
	end    context.CancelFunc
}

// NewGuard makes a guard that lets nobody in until Serve tells it the services. Observe hears of
// every finished call; it may be nil.
func NewGuard(auth Authenticator, log *slog.Logger, observe func(method string, code codes.Code, took time.Duration)) *Guard {
	if observe == nil {
		observe = func(string, codes.Code, time.Duration) {}
	}
	ending, end := context.WithCancel(context.Background())
	return &Guard{auth: auth, log: log, observe: observe, ending: ending, end: end}
}

// End ends the streams that last as long as their caller likes, so that a graceful stop need not
// wait for them. Other calls go on.
func (g *Guard) End() { g.end() }

// Serve reads the rights of all registered services from their descriptors. Call it once, after
// the last registration and before the first call.
func (g *Guard) Serve(services map[string]grpc.ServiceInfo, limits map[string]Limits) {
	g.rules = rulesOf(services, limits)
}

// Options are the server options that put the guard before every method.
func (g *Guard) Options() []grpc.ServerOption {
	return []grpc.ServerOption{
		grpc.UnaryInterceptor(g.unary),
		grpc.StreamInterceptor(g.stream),
		grpc.ForceServerCodecV2(codec{}),
		grpc.UnknownServiceHandler(func(any, grpc.ServerStream) error { return nil }),
	}
}

func (g *Guard) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (resp any, err error) {
	c := &call{method: info.FullMethod, start: time.Now()}
	defer func() { err = g.finish(ctx, c, recover(), err) }()
	r, err := g.admit(ctx, c)
	if err != nil {
		return nil, err
	}
	inner, cancel := g.limit(context.WithValue(ctx, callKey{}, c), r)
	defer cancel()
	c.faults = checkRequest(req, r)
	if len(c.faults) > 0 && !r.Collects {
		return nil, Refuse(inner, nil)
	}
	resp, err = handler(inner, req)
	if err == nil && len(c.faults) > 0 {
		err = Refuse(inner, nil)
	}
	return resp, endedBy(inner, err)
}

// admit finds the rule, the caller and his right.
func (g *Guard) admit(ctx context.Context, c *call) (rule, error) {
	r, ok := g.rules[c.method]
	if !ok {
		return r, unknownMethod(c.method)
	}
	c.isForeign = r.isForeign
	if r.isOpen {
		return r, nil
	}
	secret, err := secretFrom(ctx)
	if err != nil {
		return r, err
	}
	if c.caller, err = g.auth.Authenticate(ctx, secret); err != nil {
		return r, err
	}
	if !c.caller.Role.May(r.right) {
		return r, errs.Newf(errs.Forbidden, "RIGHT_MISSING",
			"a key of role %s may not do this: it needs the right %s; use a key of another role",
			c.caller.Role, r.right).With("right", string(r.right)).With("role", string(c.caller.Role))
	}
	return r, nil
}

func secretFrom(ctx context.Context) (string, error) {
	values := metadata.ValueFromIncomingContext(ctx, "authorization")
	if len(values) != 1 {
		return "", errs.Newf(errs.Unauthenticated, "KEY_MISSING",
			"%d authorization headers were sent; send one: \"authorization: Bearer <key>\"", len(values))
	}
	scheme, secret, found := strings.Cut(values[0], " ")
	if !found || !strings.EqualFold(scheme, "bearer") {
		return "", errs.New(errs.Unauthenticated, "KEY_MISSING",
			"the authorization header is of another form; send \"authorization: Bearer <key>\"")
	}
	return secret, nil
}

// limit gives the context its end.
func (g *Guard) limit(ctx context.Context, r rule) (context.Context, context.CancelFunc) {
	if r.isEndless {
		ctx, cancel := context.WithCancel(ctx)
		stop := context.AfterFunc(g.ending, cancel)
		return ctx, func() { stop(); cancel() }
	}
	return context.WithTimeout(ctx, cmp.Or(r.Maximum, defaultMaximum))
}

// endedBy tells the error of a call whose time was over as that, whatever broke first.
func endedBy(ctx context.Context, err error) error {
	var known *errs.Error
	if err == nil || ctx.Err() == nil || errors.As(err, &known) {
		return err
	}
	return fmt.Errorf("%w: %w", ctx.Err(), err)
}

func (g *Guard) stream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) (err error) {
	ctx := ss.Context()
	c := &call{method: info.FullMethod, start: time.Now()}
	defer func() { err = g.finish(ctx, c, recover(), err) }()
	r, err := g.admit(ctx, c)
	if err != nil {
		return err
	}
	inner, cancel := g.limit(context.WithValue(ctx, callKey{}, c), r)
	defer cancel()
	return endedBy(inner, handler(srv, &guarded{ServerStream: ss, ctx: inner, guard: g, call: c, rule: r}))
}

// guarded is a stream whose every message is checked, whose key is asked again, and whose waiting
// ends with its context.
type guarded struct {
	grpc.ServerStream
	ctx   context.Context
	guard *Guard
	call  *call
	rule  rule
}

func (s *guarded) Context() context.Context { return s.ctx }

func (s *guarded) RecvMsg(m any) error {
	if err := s.receive(m); err != nil {
		return FromStatus(err)
	}
	if _, err := s.guard.admit(s.ctx, s.call); err != nil {
		return err
	}
	return errs.InvalidFields("INVALID_REQUEST", checkRequest(m, s.rule))
}

// receive waits for a message no longer than the context lasts. The goroutine that is then left
// waiting ends with the stream, which ends when the handler returns the error.
func (s *guarded) receive(m any) error {
	done := make(chan error, 1)
	go func() { done <- s.ServerStream.RecvMsg(m) }()
	select {
	case err := <-done:
		return err
	case <-s.ctx.Done():
		return s.ctx.Err()
	}
}

func (s *guarded) SendMsg(m any) error {
	if _, err := s.guard.admit(s.ctx, s.call); err != nil {
		return err
	}
	return s.ServerStream.SendMsg(m)
}

// checkRequest gives every fault of a message; messages of gRPC's own services have few.
func checkRequest(m any, r rule) []errs.Field {
	message, ok := m.(proto.Message)
	if !ok {
		return nil
	}
	return check(message, r.Bytes)
}
