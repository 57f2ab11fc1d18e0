package desk

import (
	"crypto/rand"
	"log/slog"
	"net/http"
	"runtime/debug"
	"strings"
)

// policy is what a page may load: its own style sheet and pictures, and nothing from elsewhere.
const policy = "default-src 'none'; style-src 'self'; img-src 'self' blob:; script-src 'self'; font-src 'self'; " +
	"form-action 'self'; frame-ancestors 'none'; base-uri 'none'"

// policyWithPDF is that of the page that shows a PDF of this host.
const policyWithPDF = policy + "; object-src 'self'; frame-src 'self'"

// policyOfPDF is that of the PDF itself: it may stand in a page of this host. The browser's own
// reader of PDF styles itself from within.
const policyOfPDF = "default-src 'none'; object-src 'self'; style-src 'unsafe-inline'; frame-ancestors 'self'; base-uri 'none'"

// policyOfData is that of what is only there to be saved.
const policyOfData = "default-src 'none'; sandbox; frame-ancestors 'none'; base-uri 'none'"

// maxForm is the largest form that is read.
const maxForm = 256 << 10

// withHeaders puts what every answer carries on it.
func withHeaders(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		h.Set("X-Request-Id", newRequestID())
		most := int64(maxForm)
		if r.Method == http.MethodPost && (r.URL.Path == importsAddress || r.URL.Path == depositsAddress) {
			most += maxFile
		}
		r.Body = http.MaxBytesReader(w, r.Body, most)
		next.ServeHTTP(w, r)
	})
}

// newRequestID is short enough to be read out over a telephone: "7QAM-K5BZ".
func newRequestID() string {
	text := rand.Text()
	return text[:4] + "-" + text[4:8]
}

// withoutPanics turns a panic into a page; it is a bug of ours and is logged as one.
func (d *desk) withoutPanics(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			panicked := recover()
			if panicked == nil || panicked == http.ErrAbortHandler {
				return
			}
			d.log.ErrorContext(r.Context(), "the desk panicked", slog.Any("panic", panicked), slog.String("page", r.Pattern),
				slog.String("request", w.Header().Get("X-Request-Id")), slog.String("stack", string(debug.Stack())))
			d.trouble(w, r, nil, errBroken)
		}()
		next.ServeHTTP(w, r)
	})
}

// safeNext gives the address to go on to after signing in: a path of this desk, else its first
// page. What a browser would take for another host is none of ours.
func safeNext(next string) string {
	if !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.ContainsAny(next, "\\\r\n\t") ||
		strings.HasPrefix(next, "/sign-") {
		return "/"
	}
	return next
}
