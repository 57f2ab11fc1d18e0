package webhook

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"time"

	"cullet/services/errs"
)

const (
	// MaxBody is the longest body that is read, 256 KB.
	MaxBody = 256 << 10
	// readTimeout bounds how long one body may take to arrive.
	readTimeout = 20 * time.Second
	// Path is under which the receiver answers; the payer's own path follows.
	Path = "/inbound/"
)

// routeForm is what a payer's path may look like.
var routeForm = regexp.MustCompile(`^[A-Za-z0-9_-]{1,64}$`)

// Routes knows the addresses that payers were given.
type Routes interface {
	// Secrets gives the secrets in text that messages on the route are signed with; two while
	// one is being replaced, none when there is no such route.
	Secrets(ctx context.Context, route string) ([]string, error)
}

// Inbox keeps messages.
type Inbox interface {
	// Store keeps the raw message durably before it returns. known tells that this external
	// identifier was stored before on this route; then nothing is stored again.
	Store(ctx context.Context, route, externalID string, header http.Header, body []byte) (known bool, err error)
}

// Receiver takes what payers send: it verifies the raw bytes, stores them, answers 204, and does
// nothing else. The same identifier again is answered 204 and not stored again. It is safe for
// many goroutines.
type Receiver struct {
	routes Routes
	inbox  Inbox
	now    func() time.Time
	log    *slog.Logger
}

// NewReceiver makes a receiver. now gives the time that timestamps are compared with, nil is the
// system's clock; the log gets what a payer is not told, nil is silent.
func NewReceiver(routes Routes, inbox Inbox, now func() time.Time, log *slog.Logger) *Receiver {
	if now == nil {
		now = time.Now
	}
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	return &Receiver{routes: routes, inbox: inbox, now: now, log: log}
}

// ServeHTTP answers POST /inbound/{route}.
func (r *Receiver) ServeHTTP(w http.ResponseWriter, request *http.Request) {
	route, isInbound := strings.CutPrefix(request.URL.Path, Path)
	switch {
	case !isInbound || !routeForm.MatchString(route):
		refuse(w, http.StatusNotFound, "ROUTE", "there is no such address")
	case request.Method != http.MethodPost:
		w.Header().Set("Allow", http.MethodPost)
		refuse(w, http.StatusMethodNotAllowed, "METHOD", "only POST is answered here")
	default:
		r.receive(w, request, route)
	}
}

func (r *Receiver) receive(w http.ResponseWriter, request *http.Request, route string) {
	body, err := readBody(w, request)
	if err != nil {
		refuseError(w, err)
		return
	}
	secrets, err := r.secrets(request.Context(), route)
	if err != nil {
		r.unavailable(w, route, "look up the secrets of a route", err)
		return
	}
	if len(secrets) == 0 {
		refuse(w, http.StatusNotFound, "ROUTE", "there is no such address")
		return
	}
	id, err := Verify(secrets, request.Header, body, r.now())
	if err == nil {
		err = readable(body)
	}
	if err != nil {
		r.log.Warn("a webhook was refused", "route", route, "reason", reasonOf(err))
		refuseError(w, err)
		return
	}
	known, err := r.inbox.Store(request.Context(), route, id, kept(request.Header), body)
	if err != nil {
		r.unavailable(w, route, "store a webhook", err)
		return
	}
	r.log.Info("a webhook was received", "route", route, "id", id, "known", known, "bytes", len(body))
	w.WriteHeader(http.StatusNoContent)
}

// readBody reads the whole body before anybody looks at it, and no more than MaxBody of it.
func readBody(w http.ResponseWriter, request *http.Request) ([]byte, error) {
	// A server without this ability has a read timeout of its own. The deadline is for the body
	// alone: one that passes later would cancel the request while it is being stored.
	controller := http.NewResponseController(w)
	_ = controller.SetReadDeadline(time.Now().Add(readTimeout))
	body, err := io.ReadAll(http.MaxBytesReader(w, request.Body, MaxBody))
	_ = controller.SetReadDeadline(time.Time{})
	if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return nil, errs.Newf(errs.Exhausted, ReasonBodyLength, "the body is longer than %d bytes", MaxBody)
	}
	if err != nil {
		return nil, errs.New(errs.Invalid, "BODY", "the body did not arrive whole; send it again").Because(err)
	}
	return body, nil
}

func (r *Receiver) secrets(ctx context.Context, route string) ([]Secret, error) {
	texts, err := r.routes.Secrets(ctx, route)
	if err != nil {
		return nil, err
	}
	secrets := make([]Secret, len(texts))
	for i, text := range texts {
		if secrets[i], err = ParseSecret(text); err != nil {
			return nil, err
		}
	}
	return secrets, nil
}

// readable holds whatever looks like JSON to StrictJSON; other formats have readers of their
// own.
func readable(body []byte) error {
	start := bytes.TrimLeft(body, " \t\r\n")
	if len(start) == 0 {
		return errs.New(errs.Invalid, ReasonJSONForm, "the body is empty")
	}
	if start[0] == '{' || start[0] == '[' {
		return StrictJSON(body)
	}
	return nil
}

// kept gives the headers worth keeping with a raw message: never a cookie or a token.
func kept(header http.Header) http.Header {
	some := http.Header{}
	for _, name := range []string{headerID, headerTimestamp, headerSignature, "Content-Type", "User-Agent"} {
		for key, values := range header {
			if strings.EqualFold(key, name) {
				some[name] = append(some[name], values...)
			}
		}
	}
	return some
}

func (r *Receiver) unavailable(w http.ResponseWriter, route, doing string, err error) {
	r.log.Error("a webhook could not be taken", "route", route, "doing", doing, "error", err)
	w.Header().Set("Retry-After", strconv.Itoa(30))
	refuse(w, http.StatusServiceUnavailable, "UNAVAILABLE", "it could not be stored; send it again")
}

func refuseError(w http.ResponseWriter, err error) {
	status := http.StatusBadRequest
	reason := reasonOf(err)
	switch {
	case errs.Is(err, errs.Unauthenticated):
		status = http.StatusUnauthorized
	case errs.Is(err, errs.Exhausted):
		status = http.StatusRequestEntityTooLarge
	case strings.HasPrefix(reason, "JSON_"):
		status = http.StatusUnprocessableEntity
	}
	message := "the request could not be read"
	if e, ok := errors.AsType[*errs.Error](err); ok {
		message = e.Message
	}
	refuse(w, status, reason, message)
}

func reasonOf(err error) string {
	if e, ok := errors.AsType[*errs.Error](err); ok {
		return e.Reason
	}
	return ""
}

func refuse(w http.ResponseWriter, status int, reason, message string) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	// The caller may be gone; there is nobody to tell.
	_ = json.NewEncoder(w).Encode(map[string]string{"reason": reason, "message": message})
}
