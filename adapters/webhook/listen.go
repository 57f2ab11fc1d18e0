package webhook

import (
	"encoding/json"
	"errors"
	"net/http"
	"time"

	"cullet/services/errs"
	"cullet/services/webhooks"
)

// Heard is an event that a listener was sent.
type Heard struct {
	webhooks.Body
	// Raw are the bytes that were signed.
	Raw []byte
}

// Listener is an endpoint that shows what it hears: it verifies as any receiver should, hands genuine
// events on, and answers 204; what is not genuine is handed on as an error and refused.
type Listener struct {
	secrets []Secret
	now     func() time.Time
	heard   func(Heard, error)
}

// NewListener makes a listener with the secret in text. Heard is called once a request, one at a time
// for each connection; it gets an errs.Error for what is refused.
func NewListener(secret string, now func() time.Time, heard func(Heard, error)) (*Listener, error) {
	parsed, err := ParseSecret(secret)
	if err != nil {
		return nil, err
	}
	return &Listener{secrets: []Secret{parsed}, now: now, heard: heard}, nil
}

// ServeHTTP answers POST on any path.
func (l *Listener) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodPost {
		w.Header().Set("Allow", http.MethodPost)
		refuse(w, http.StatusMethodNotAllowed, "METHOD", "only POST is answered here")
		return
	}
	h, err := l.read(w, r)
	l.heard(h, err)
	if err != nil {
		refuseError(w, err)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

func (l *Listener) read(w http.ResponseWriter, r *http.Request) (h Heard, err error) {
	if h.Raw, err = readBody(w, r); err != nil {
		return h, err
	}
	id, err := Verify(l.secrets, r.Header, h.Raw, l.now())
	if err == nil {
		err = StrictJSON(h.Raw)
	}
	if err != nil {
		return h, err
	}
	if err := json.Unmarshal(h.Raw, &h.Body); err != nil {
		return h, errs.New(errs.Invalid, ReasonJSONForm, "the body is no event").Because(err)
	}
	if id != string(h.EventID) {
		return h, errs.New(errs.Invalid, ReasonIDForm, "webhook-id is not the event_id of the body").Because(errors.New(id))
	}
	return h, nil
}
