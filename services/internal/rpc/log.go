package rpc

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"regexp"
	"runtime/debug"
	"time"

	"github.com/google/uuid"
	"github.com/lib/pq"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// finish ends a call: it turns the error or the panic into a status, logs and counts.
func (g *Guard) finish(ctx context.Context, c *call, panicked any, err error) error {
	took := time.Since(c.start)
	errorID := ""
	if panicked != nil {
		err = fmt.Errorf("panic of type %T", panicked)
	}
	s, isForeign := status.FromError(err)
	if !c.isForeign || !isForeign {
		s = ToStatus(err, "")
	}
	if s.Code() == codes.Internal && !c.isForeign {
		errorID = uuid.NewString()
		s = ToStatus(err, errorID)
	}
	g.observe(c.method, s.Code(), took)
	level := levelOf(s.Code())
	if !g.log.Enabled(ctx, level) {
		return s.Err()
	}
	attrs := []slog.Attr{slog.String("method", c.method), slog.String("code", s.Code().String()),
		slog.Duration("took", took), slog.String("shop", string(c.caller.Shop)),
		slog.String("key", string(c.caller.Key))}
	if err != nil {
		attrs = append(attrs, slog.String("reason", reasonIn(s)))
	}
	if errorID != "" {
		attrs = append(attrs, slog.String("error_id", errorID), slog.String("cause", Redact(err)))
	}
	if panicked != nil {
		attrs = append(attrs, slog.String("panic", Redact(fmt.Errorf("%v", panicked))),
			slog.String("stack", string(debug.Stack())))
	}
	g.log.LogAttrs(ctx, level, "call", attrs...)
	return s.Err()
}

func levelOf(code codes.Code) slog.Level {
	switch code {
	case codes.OK:
		return slog.LevelDebug
	case codes.Internal:
		return slog.LevelError
	case codes.Unavailable, codes.ResourceExhausted, codes.DeadlineExceeded:
		return slog.LevelWarn
	}
	return slog.LevelInfo
}

func reasonIn(s *status.Status) string {
	for _, detail := range s.Details() {
		if info, ok := detail.(*errdetails.ErrorInfo); ok {
			return info.GetReason()
		}
	}
	return ""
}

// quoted and numbers are where values stand in the texts of errors.
var (
	quoted  = regexp.MustCompile(`"[^"]*"|'[^']*'`)
	numbers = regexp.MustCompile(`[0-9]{5,}`)
)

// Redact gives the text of an error for a log, without the values in it: quoted text and long
// numbers are left out, and of PostgreSQL's errors only their code and the names of schema things
// are kept.
func Redact(err error) string {
	if err == nil {
		return ""
	}
	if cause := pq.As(err); cause != nil {
		return fmt.Sprintf("PostgreSQL %s table %s column %s constraint %s", cause.Code, cause.Table,
			cause.Column, cause.Constraint)
	}
	text := numbers.ReplaceAllString(quoted.ReplaceAllString(err.Error(), `"..."`), "#")
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return "ended by its context: " + text
	}
	return text
}
