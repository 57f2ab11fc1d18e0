// Package desk is the admin web client: the pages on which a billing clerk sees what needs a
// person, and does it. It is a gRPC client like any stranger's and nothing else: it reaches no
// database and knows no rule of the trade.
//
// It refuses to work without being signed in, to do on a read what changes something, to take a
// form that another site sent, to load anything from elsewhere, and to need a script.
package desk

import (
	"bytes"
	"context"
	"log/slog"
	"net/http"
	"time"

	"github.com/a-h/templ"
	"google.golang.org/grpc"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	"cullet/cmd/cullet/internal/desk/static"
	accessv1 "cullet/proto/cullet/access/v1"
	"cullet/services/client"
)

// Options of the desk.
type Options struct {
	// Now is the clock; the system's when nil.
	Now func() time.Time
	// Log hears what could not be done; silent when nil.
	Log *slog.Logger
}

// desk is the handler's state: a connection and who is signed in.
type desk struct {
	conn     grpc.ClientConnInterface
	now      func() time.Time
	log      *slog.Logger
	sessions *sessions
	files    *waitingFiles
}

// New makes the handler of all pages over a connection to a server, which carries no key of its
// own: each visit calls with the key it was opened with. Sessions live in its memory.
func New(conn grpc.ClientConnInterface, o Options) http.Handler {
	d := &desk{conn: conn, now: o.Now, log: o.Log}
	if d.now == nil {
		d.now = time.Now
	}
	if d.log == nil {
		d.log = slog.New(slog.DiscardHandler)
	}
	d.sessions = newSessions(d.now)
	d.files = &waitingFiles{now: d.now}
	crossOrigin := http.NewCrossOriginProtection()
	crossOrigin.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		d.trouble(w, r, nil, errForeignForm)
	}))
	return withHeaders(d.withoutPanics(crossOrigin.Handler(d.routes())))
}

// routes are all addresses of the desk. What is under GET changes nothing.
func (d *desk) routes() *http.ServeMux {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /static/{name}", static.Handler)
	mux.HandleFunc("GET /sign-in", d.showSignIn)
	mux.HandleFunc("POST /sign-in", d.signIn)
	mux.HandleFunc("POST /sign-out", d.signOut)
	for pattern, handler := range map[string]func(*visit) error{
		"GET /{$}":                               showToday,
		"GET /find":                              find,
		"GET /claims":                            listClaims,
		"GET /claims/{id}":                       showClaim,
		"POST /claims/{id}/coverage":             changeCoverage,
		"GET /claims/{id}/release":               reviewRelease,
		"POST /claims/{id}/release":              release,
		"POST /claims/{id}/hold":                 hold,
		"POST /claims/{id}/lift":                 lift,
		"POST /claims/{id}/notes":                addNote,
		"GET /claims/{id}/payload.json":          showPayload,
		"GET /photos/{hash}":                     showPhoto,
		"GET /repairs":                           listRepairs,
		"GET /repairs/{id}":                      showRepair,
		"GET /repairs/{id}/drivers-copy.pdf":     showDriversCopy,
		"GET /imports/new":                       askForFile,
		"POST /imports":                          previewFile,
		"GET /imports/{id}":                      showImport,
		"POST /imports/{id}/record":              recordFile,
		"GET /invoices":                          listInvoices,
		"GET /invoices/{id}":                     showInvoice,
		"GET /invoices/{id}/document.pdf":        showDocument,
		"GET /money":                             showMoney,
		"GET /money/remittances/{id}":            showRemittance,
		"POST /money/remittances/{id}/place":     place,
		"GET /money/deposits/new":                askForDeposit,
		"POST /money/deposits":                   postDeposit,
		"GET /runs":                              listRuns,
		"GET /runs/{id}":                         showRun,
		"GET /batches/{id}/document":             saveBatch,
		"GET /messages":                          listMessages,
		"GET /payers":                            listPayers,
		"GET /payers/{id}":                       showPayer,
		"POST /payers/{id}":                      changeProfile,
		"POST /payers/{id}/prices":               addPrices,
		"GET /keys":                              listKeys,
		"POST /keys":                             makeKey,
		"GET /keys/deeds":                        listDeeds,
		"GET /keys/{id}/end":                     reviewEnd,
		"POST /keys/{id}/end":                    endKey,
		"GET /deliveries":                        listDeliveries,
		"GET /deliveries/{id}":                   showDelivery,
		"POST /deliveries/{id}/replay":           replayDelivery,
		"POST /deliveries/endpoints":             addEndpoint,
		"GET /deliveries/endpoints/{id}":         showEndpoint,
		"POST /deliveries/endpoints/{id}/edit":   editEndpoint,
		"POST /deliveries/endpoints/{id}/state":  setEndpointState,
		"POST /deliveries/endpoints/{id}/test":   testEndpoint,
		"POST /deliveries/endpoints/{id}/rotate": rotateSecret,
		"POST /deliveries/endpoints/{id}/replay": replayRange,
	} {
		mux.HandleFunc(pattern, d.signedIn(handler))
	}
	mux.HandleFunc("/", d.signedIn(func(*visit) error { return errNoPage }))
	return mux
}

// visit is one request of somebody who is signed in.
type visit struct {
	*desk
	*client.Client
	w       http.ResponseWriter
	r       *http.Request
	session *session
	shop    *accessv1.Shop
	voice   *say.Voice
}

// signedIn lets nobody through who is not signed in, and makes a page of what goes wrong.
func (d *desk) signedIn(handler func(*visit) error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		s := d.sessions.find(cookieOf(r))
		if s == nil {
			d.askToSignIn(w, r)
			return
		}
		v := &visit{desk: d, Client: client.Over(d.conn, s.key), w: w, r: r, session: s}
		answer, err := v.Access.GetShop(r.Context(), &accessv1.GetShopRequest{})
		if err == nil {
			v.shop, v.voice = answer.GetShop(), say.New(answer.GetShop(), d.now())
			err = handler(v)
		}
		if err != nil {
			d.trouble(w, r, v, err)
		}
	}
}

func (v *visit) ctx() context.Context { return v.r.Context() }

// head is what stands around a page. It takes the sentence that was kept for it.
func (v *visit) head(title, here string) page.Head {
	return page.Head{Title: title, Here: here, Shop: v.shop.GetName(), Who: v.session.name,
		MayWork: v.session.mayWork(), IsOwner: v.session.role == accessv1.Role_ROLE_OWNER, Done: v.session.said(), Voice: v.voice}
}

// show writes a page. Nothing is sent before the whole of it is made, so a page is never half.
func (v *visit) show(status int, component templ.Component) error {
	return show(v.w, v.r, status, component)
}

func show(w http.ResponseWriter, r *http.Request, status int, component templ.Component) error {
	var body bytes.Buffer
	if err := component.Render(r.Context(), &body); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = body.WriteTo(w) // whoever went away is not told
	return nil
}

// done goes on to a page after something was done, which that page says once.
func (v *visit) done(path, sentence string) error {
	v.session.say(sentence)
	http.Redirect(v.w, v.r, path, http.StatusSeeOther)
	return nil
}
