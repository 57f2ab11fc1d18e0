package desk

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"slices"
	"strings"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/services/errs"
)

// What goes wrong before anything is asked of the server.
var (
	errNoPage      = errs.New(errs.NotFound, "NO_PAGE", "there is no such page")
	errForeignForm = errs.New(errs.Forbidden, "FOREIGN_FORM", "the form came from another site")
	errSignedOut   = errs.New(errs.Unauthenticated, "SIGNED_OUT", "nobody is signed in")
	errBroken      = errs.New(errs.Internal, "BROKEN", "the page could not be made")
)

// told is what a page of trouble says for a kind of error.
type telling struct {
	status            int
	title, what, safe string
}

var tellings = map[errs.Kind]telling{
	errs.NotFound: {http.StatusNotFound, "Not found", "There is nothing at this address.",
		"It may be of another shop, or the address may be cut off. Nothing was changed."},
	errs.Forbidden: {http.StatusForbidden, "Not allowed", "Your key may not do this.",
		"Nothing was changed. Ask the owner of the shop, or sign in with another key."},
	errs.Unauthenticated: {http.StatusUnauthorized, "Not signed in", "This was not done, because nobody is signed in.",
		"Nothing was changed. Sign in, then do it once more."},
	errs.Invalid: {http.StatusUnprocessableEntity, "Not taken", "The server did not take this.",
		"Nothing was changed. Go back, mend what it names, and send it again."},
	errs.Stale: {http.StatusConflict, "Changed meanwhile", "Somebody else changed this while you looked at it.",
		"Nothing of yours was stored, and nothing of theirs is lost. Look at it as it is now."},
	errs.State: {http.StatusConflict, "Not done", "This cannot be done as things stand.", "Nothing was changed."},
	errs.Conflict: {http.StatusConflict, "Not done", "Something else stands there already.",
		"Nothing was changed."},
	errs.Exhausted: {http.StatusTooManyRequests, "Too much at once", "The server takes no more at this moment.",
		"Nothing was changed. Wait a little, then try again."},
	errs.Unavailable: {http.StatusServiceUnavailable, "Not reached", "The server did not answer.",
		"What is stored is safe, and nothing is done twice: the same form sent again has one effect."},
	errs.Internal: {http.StatusInternalServerError, "Something broke", "This page could not be made.",
		"What is stored is safe. Try again; if it stays, give the request number to whoever runs the server."},
}

// trouble answers with a page in place of the one asked for. v is nil when nobody is signed in,
// or before it is known who is.
func (d *desk) trouble(w http.ResponseWriter, r *http.Request, v *visit, err error) {
	kind := errs.KindOf(err)
	var known *errs.Error
	errors.As(err, &known)
	if errors.Is(err, context.Canceled) {
		return // nobody waits any more
	}
	request := w.Header().Get("X-Request-Id")
	level := slog.LevelInfo
	if kind == errs.Internal || kind == errs.Unavailable {
		level = slog.LevelError
	}
	d.log.LogAttrs(r.Context(), level, "the desk could not do it", slog.String("request", request), slog.String("page", r.Pattern),
		slog.String("reason", reasonOf(known)), slog.Bool("is_internal", kind == errs.Internal))
	if kind == errs.Unauthenticated && v != nil {
		d.sessions.end(cookieOf(r))
		setCookie(w, r, "")
		if r.Method == http.MethodGet {
			http.Redirect(w, r, signInAddress(r.URL.RequestURI(), "ended"), http.StatusSeeOther)
			return
		}
		v = nil
	}
	view := tell(kind, known, r)
	view.Request = request
	if v != nil && v.shop != nil {
		head := v.head(view.Title, "")
		view.Head = head
	}
	if err := show(w, r, tellings[kind].status, page.TroublePage(view)); err != nil {
		http.Error(w, "This page could not be made. Request "+request, http.StatusInternalServerError)
	}
}

func reasonOf(known *errs.Error) string {
	if known == nil {
		return "UNCLASSIFIED"
	}
	return known.Reason
}

// tell makes the page's words of an error.
func tell(kind errs.Kind, known *errs.Error, r *http.Request) page.Trouble {
	words := tellings[kind]
	view := page.Trouble{Head: page.Head{Title: words.title}, What: words.what, Safe: words.safe}
	switch {
	case known == errForeignForm:
		view.What = "This form came from another site, so it was not taken."
		view.Safe = "Nothing was changed. Open the page here and do it from there."
	case kind == errs.Invalid || kind == errs.State || kind == errs.Conflict || kind == errs.Exhausted:
		view.Faults = faults(known)
	}
	switch {
	case kind == errs.Unauthenticated:
		view.Press = []page.Link{{Text: "Sign in", Href: "/sign-in"}}
	case r.Method == http.MethodGet && (kind == errs.Unavailable || kind == errs.Internal):
		view.Press = []page.Link{{Text: "Try again", Href: r.URL.RequestURI()}, {Text: "Go to Today", Href: "/"}}
	case r.Method == http.MethodPost && kind == errs.Unavailable:
		view.Action, view.Again = r.URL.Path, again(r)
		view.Press = []page.Link{{Text: "Go to Today", Href: "/"}}
	case r.Method == http.MethodPost && r.PathValue("id") != "":
		view.Press = []page.Link{{Text: "Look at it as it is now", Href: seenAt(r)}, {Text: "Go to Today", Href: "/"}}
	default:
		view.Press = []page.Link{{Text: "Go to Today", Href: "/"}}
	}
	return view
}

// seenAt is the page of what a form was about.
func seenAt(r *http.Request) string {
	id := r.PathValue("id")
	switch {
	case strings.HasPrefix(r.URL.Path, endpointAddress("")):
		return endpointAddress(id)
	case strings.HasPrefix(r.URL.Path, deliveryAddress("")):
		return deliveryAddress(id)
	}
	return claimAddress(id)
}

// faults are the sentences of an error, one for each field that is wrong.
func faults(known *errs.Error) []string {
	if known == nil {
		return nil
	}
	var all []string
	for _, f := range known.Fields {
		all = append(all, f.Message)
	}
	if len(all) == 0 {
		all = []string{known.Message}
	}
	return all
}

// again is the form that was sent, to be sent once more.
func again(r *http.Request) []page.Hidden {
	var all []page.Hidden
	for name, values := range r.PostForm {
		for _, value := range values {
			all = append(all, page.Hidden{Name: name, Value: value})
		}
	}
	slices.SortFunc(all, func(a, b page.Hidden) int {
		if a.Name < b.Name {
			return -1
		}
		return 1
	})
	return all
}

// errGone makes nothing-there of an address whose identifier is malformed: whoever follows an
// address that was cut off is not told about identifiers.
func errGone(err error) error {
	if errs.Is(err, errs.Invalid) {
		return errNoPage
	}
	return err
}
