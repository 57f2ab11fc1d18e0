package office

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"time"

	"cullet/cmd/payersim/internal/book"
	"cullet/cmd/payersim/internal/payer"
)

// The headers that come with a document.
const (
	headerControlNumber = "Cullet-Control-Number"
	headerDocumentHash  = "Cullet-Document-Hash"
	headerFileName      = "Cullet-File-Name"
)

// claims takes a document, or behaves as the configuration says.
func (o *Office) claims(w http.ResponseWriter, r *http.Request) {
	who, ok := o.Book.Payer(r.PathValue("code"))
	number, err := strconv.ParseInt(r.Header.Get(headerControlNumber), 10, 64)
	switch {
	case !ok:
		refuse(w, http.StatusNotFound, "there is no payer %q", r.PathValue("code"))
		return
	case !isToken(who, r):
		refuse(w, http.StatusUnauthorized, "the token is missing or wrong")
		return
	case err != nil || number < 1:
		refuse(w, http.StatusBadRequest, "%s is missing or no positive number", headerControlNumber)
		return
	}
	transport := o.transport(who, number)
	if transport != payer.Honest {
		o.Log.Info("the line misbehaves", "payer", who.Code, "control_number", number, "transport", transport)
	}
	if !misbehaveBefore(w, r, transport) {
		o.hand(w, r, who, number, transport)
	}
}

// transport gives how this attempt is treated: only the first one of a document is spoiled, but
// a refusal is for good.
func (o *Office) transport(who payer.Payer, number int64) payer.Transport {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.attempts == nil {
		o.attempts = map[string]int{}
	}
	key := fmt.Sprintf("%s/%d", who.Code, number)
	o.attempts[key]++
	transport := who.TransportOf(number)
	if o.attempts[key] > 1 && transport != payer.Refuse {
		return payer.Honest
	}
	return transport
}

// misbehaveBefore does what spoils a delivery before anything was taken, and tells whether it
// did.
func misbehaveBefore(w http.ResponseWriter, r *http.Request, transport payer.Transport) bool {
	switch transport {
	case payer.Reset:
		panic(http.ErrAbortHandler) // cuts the connection
	case payer.Redirect:
		http.Redirect(w, r, "/elsewhere", http.StatusTemporaryRedirect)
	case payer.Overload:
		w.Header().Set("Retry-After", "1")
		refuse(w, http.StatusServiceUnavailable, "too many documents tonight; come again")
	case payer.Refuse:
		refuse(w, http.StatusUnprocessableEntity, "this document is not wanted as it is")
	case payer.WebPage:
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		fmt.Fprintf(w, "<!doctype html><title>Log in</title><p>Please log in. %s", Says)
	default:
		return false
	}
	return true
}

// hand takes the document and answers, or misbehaves afterwards.
func (o *Office) hand(w http.ResponseWriter, r *http.Request, who payer.Payer, number int64, transport payer.Transport) {
	content, err := readAll(w, r, maxDocument)
	if err != nil {
		refuse(w, http.StatusBadRequest, "the document did not arrive whole: %v", err)
		return
	}
	d, isKnown, err := o.take(who, handed{via: "https", fileName: r.Header.Get(headerFileName), content: content,
		number: number, hash: r.Header.Get(headerDocumentHash)})
	malformed, isMalformed := errors.AsType[errMalformed](err)
	switch {
	case isMalformed:
		refuse(w, http.StatusUnprocessableEntity, "%v", malformed)
	case errors.Is(err, book.ErrTaken):
		say(w, http.StatusConflict, map[string]any{"control_number": d.ControlNumber, "document_hash": d.Hash,
			"message": err.Error()})
	case err != nil:
		o.Log.Error("a document could not be kept", "payer", who.Code, "error", err)
		refuse(w, http.StatusInternalServerError, "the document could not be kept")
	default:
		o.confirm(w, r, d, isKnown, transport)
	}
}

func (o *Office) confirm(w http.ResponseWriter, r *http.Request, d book.Document, isKnown bool, transport payer.Transport) {
	switch transport {
	case payer.DropReply:
		panic(http.ErrAbortHandler)
	case payer.FailAfterTaking:
		refuse(w, http.StatusInternalServerError, "something broke")
		return
	case payer.Slow:
		o.pause(r, o.SlowFor)
	case payer.Silence:
		o.pause(r, time.Hour)
		panic(http.ErrAbortHandler)
	case payer.Truncate:
		w.Header().Set("Content-Type", "application/json")
		w.Header().Set("Content-Length", "400")
		fmt.Fprint(w, `{"simulated":true,"control_`)
		_ = http.NewResponseController(w).Flush()
		panic(http.ErrAbortHandler)
	}
	status := http.StatusCreated
	if isKnown {
		status = http.StatusOK
	}
	say(w, status, map[string]any{"control_number": d.ControlNumber, "document_hash": d.Hash, "known": isKnown,
		"reference": fmt.Sprintf("SIM-%s-%d", d.PayerCode, d.ControlNumber)})
}

// pause waits, but not for a caller who is gone nor beyond the program's life.
func (o *Office) pause(r *http.Request, long time.Duration) {
	timer := time.NewTimer(long)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-r.Context().Done():
	case <-o.Life.Done():
	}
}

func readAll(w http.ResponseWriter, r *http.Request, most int64) ([]byte, error) {
	return io.ReadAll(http.MaxBytesReader(w, r.Body, most))
}
