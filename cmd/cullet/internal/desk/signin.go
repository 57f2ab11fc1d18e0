package desk

import (
	"log/slog"
	"net/http"
	"net/url"
	"strings"

	"cullet/cmd/cullet/internal/desk/page"
	accessv1 "cullet/proto/cullet/access/v1"
	"cullet/services/client"
	"cullet/services/errs"
)

// askToSignIn answers whoever is not signed in: a read goes on after signing in, a form is lost
// and says so. A link from another site comes without the cookie, which such a site may not send;
// one step within this site brings it along, so that nobody signs in twice.
func (d *desk) askToSignIn(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		d.trouble(w, r, nil, errSignedOut)
		return
	}
	next := r.URL.RequestURI()
	if r.Header.Get("Sec-Fetch-Site") == "cross-site" && r.Header.Get("Sec-Fetch-Mode") == "navigate" {
		if err := show(w, r, http.StatusOK, page.StepPage(safeNext(next))); err != nil {
			d.trouble(w, r, nil, err)
		}
		return
	}
	http.Redirect(w, r, signInAddress(next, ""), http.StatusSeeOther)
}

// signInAddress is the page that asks for a key and goes on to next; why is a word for what is
// told there.
func signInAddress(next, why string) string {
	q := url.Values{}
	if next = safeNext(next); next != "/" {
		q.Set("next", next)
	}
	if why != "" {
		q.Set("why", why)
	}
	if len(q) == 0 {
		return "/sign-in"
	}
	return "/sign-in?" + q.Encode()
}

// told are the words of signInAddress with what they say.
var told = map[string]string{
	"ended": "The key that you were signed in with opens nothing any more: it was ended, or its time is over.",
	"out":   "You are signed out.",
}

func (d *desk) showSignIn(w http.ResponseWriter, r *http.Request) {
	if d.sessions.find(cookieOf(r)) != nil {
		http.Redirect(w, r, safeNext(r.FormValue("next")), http.StatusSeeOther)
		return
	}
	d.askKey(w, r, http.StatusOK, "")
}

func (d *desk) askKey(w http.ResponseWriter, r *http.Request, status int, fault string) {
	view := page.SignIn{Head: page.Head{Title: "Sign in"}, Next: safeNext(r.FormValue("next")), Fault: fault,
		Told: told[r.FormValue("why")]}
	if err := show(w, r, status, page.SignInPage(view)); err != nil {
		d.trouble(w, r, nil, err)
	}
}

// signIn tries a key by calling with it.
func (d *desk) signIn(w http.ResponseWriter, r *http.Request) {
	key := strings.TrimSpace(r.PostFormValue("key"))
	if key == "" || strings.ContainsFunc(key, func(c rune) bool { return c <= ' ' || c > '~' }) {
		d.askKey(w, r, http.StatusUnprocessableEntity, "Give the key as it was handed out: letters, digits and signs, in one piece.")
		return
	}
	caller, err := client.Over(d.conn, key).Access.GetCaller(r.Context(), &accessv1.GetCallerRequest{})
	switch {
	case errs.Is(err, errs.Unauthenticated):
		d.log.InfoContext(r.Context(), "a key was refused at the desk", slog.String("request", w.Header().Get("X-Request-Id")))
		d.askKey(w, r, http.StatusUnauthorized, "This key opens nothing. Copy the whole key once more, or ask the owner for a new one.")
		return
	case err != nil:
		d.askKey(w, r, http.StatusServiceUnavailable, "The server cannot be asked at this moment. Wait a little and sign in again.")
		return
	case caller.GetRole() == accessv1.Role_ROLE_SYSTEM:
		d.askKey(w, r, http.StatusForbidden, "This is the key of a shop system. The desk needs the key of a person.")
		return
	}
	d.sessions.end(cookieOf(r)) // a cookie from before is never kept
	setCookie(w, r, d.sessions.open(key, caller.GetName(), caller.GetRole()))
	http.Redirect(w, r, safeNext(r.PostFormValue("next")), http.StatusSeeOther)
}

func (d *desk) signOut(w http.ResponseWriter, r *http.Request) {
	d.sessions.end(cookieOf(r))
	setCookie(w, r, "")
	w.Header().Set("Clear-Site-Data", `"cache"`)
	http.Redirect(w, r, signInAddress("/", "out"), http.StatusSeeOther)
}
