package main

import (
	"context"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"

	"cullet/cmd/cullet/internal/desk"
	webhooksv1 "cullet/proto/cullet/webhooks/v1"
	"cullet/services/server"
	"cullet/services/server/servertest"
	"cullet/services/webhooks"
)

// moody answers by what the address says.
type moody struct{ isMended atomic.Bool }

func (m *moody) Send(_ context.Context, o webhooks.Outgoing) webhooks.Attempt {
	a := webhooks.Attempt{StartTime: time.Now(), Latency: 84 * time.Millisecond, Status: 200, Outcome: webhooks.OutcomeDelivered, Answer: []byte(`{"ok": true}`)}
	switch {
	case strings.Contains(o.URL, "gone"):
		a.Status, a.Outcome, a.Answer, a.Sentence = 410, webhooks.OutcomeGone, []byte("This address is no longer in use."), "the endpoint answered 410: it wants nothing more"
	case strings.Contains(o.URL, "tablet") && !m.isMended.Load():
		a.Status, a.Outcome, a.Answer, a.Sentence = 503, webhooks.OutcomeRetry, []byte("<h1>Service Unavailable</h1>"), "the endpoint answered 503, only 200 to 299 is success"
	}
	return a
}

// TestTheDeliveriesOfTheDesk works on endpoints in a real browser as the owner does: adds one, tries it,
// sees why another was disabled, makes it active, replays, and makes a new secret. Each page is judged
// in light, dark and at 320 px.
func TestTheDeliveriesOfTheDesk(t *testing.T) {
	t.Parallel()
	chrome := findChrome(t)
	axe, err := os.ReadFile("../../.ci/oracles/axe/node_modules/axe-core/axe.min.js")
	if err != nil {
		t.Skip("NOT RUN: the desk judged by axe-core - npm ci --prefix .ci/oracles/axe")
	}
	mood := &moody{}
	w := servertest.Start(t, servertest.Options{Outside: server.Outside{Sender: mood, CheckURL: func(url string) error { return nil },
		Web: func(conn grpc.ClientConnInterface) http.Handler { return desk.New(conn, desk.Options{}) }}})
	b := openBrowser(t, chrome, w.URL(""), string(axe))
	b.signIn(w.OwnerKey)
	b.look("/deliveries")
	tablet := b.addEndpoint("https://tablet.shop.example/hooks/cullet?token=1")
	gone := b.addEndpoint("https://gone.shop.example/in")
	b.untilTried(w, gone, "Send a test event", 1)
	b.untilTried(w, tablet, "Send a test event", 1)
	b.look(gone)
	if said := b.text(`document.querySelector('main').innerText`); !strings.Contains(said, "410 Gone") || !strings.Contains(said, "hears nothing") {
		t.Errorf("the page of a disabled endpoint does not say why: %s", said)
	}
	b.look(tablet)
	b.look("/deliveries")
	b.look("/")
	if said := b.text(`document.querySelector('main').innerText`); !strings.Contains(said, "gone.shop.example") {
		t.Errorf("Today does not name the disabled endpoint: %s", said)
	}
	b.show(gone, view{wide, "light"})
	b.press("Make it active")
	mood.isMended.Store(true)
	b.show(tablet, view{wide, "light"})
	b.press("Make a new secret")
	if secret := b.text(`document.querySelector('.raw').textContent`); !strings.HasPrefix(secret, "whsec_") {
		t.Errorf("the secret is %q", secret)
	}
	b.judgeNow("the secret")
	b.show("/deliveries?state=dead", view{wide, "light"})
	b.show(b.text(`document.querySelector('table.list tbody a[href^="/deliveries/0"]')?.getAttribute('href') ??
		[...document.querySelectorAll('table.list tbody a')].pop().getAttribute('href')`), view{wide, "light"})
	here := b.text(`location.pathname`)
	b.look(here)
	b.show(here, view{wide, "light"})
	b.press("Send it again")
	if said := b.text(`document.querySelector('.done').textContent`); !strings.Contains(said, "on its way again") {
		t.Errorf("after the replay the page says %q", said)
	}
	b.deliveryPictures(tablet, gone, here)
}

// addEndpoint adds one at the desk and gives its page.
func (b *browser) addEndpoint(url string) (page string) {
	b.t.Helper()
	b.show("/deliveries", view{wide, "light"})
	b.fill("Address, https", url)
	b.press("Add the endpoint")
	if secret := b.text(`document.querySelector('.raw')?.textContent ?? ''`); !strings.HasPrefix(secret, "whsec_") {
		b.t.Fatalf("after adding %s the page says %s", url, b.text(`document.querySelector('main').innerText`))
	}
	return b.text(`document.querySelector('.acts a').getAttribute('href')`)
}

// untilTried presses what sends something to an endpoint and waits for the attempts to be stored.
func (b *browser) untilTried(w *servertest.World, page, press string, attempts int) {
	b.t.Helper()
	b.show(page, view{wide, "light"})
	b.press(press)
	id := page[strings.LastIndexByte(page, '/')+1:]
	servertest.Until(b.t, "it was attempted", func() bool {
		list, err := w.Webhooks.ListAttempts(b.t.Context(), &webhooksv1.ListAttemptsRequest{EndpointId: id})
		if err != nil {
			b.t.Fatal(err)
		}
		return len(list.GetAttempts()) >= attempts
	})
}

// deliveryPictures keeps the pages as they look, when a folder is named.
func (b *browser) deliveryPictures(tablet, gone, delivery string) {
	if *screenshots == "" {
		return
	}
	for name, path := range map[string]string{"deliveries": "/deliveries", "endpoint": tablet, "disabled": gone, "delivery": delivery} {
		for _, as := range []view{{wide, "light"}, {wide, "dark"}, {narrow, "light"}} {
			b.show(path, as)
			file := name + "-" + as.scheme
			if as.width == narrow {
				file += "-narrow"
			}
			b.picture(filepath.Join(*screenshots, file+".png"))
		}
	}
}
