package main

import (
	"errors"
	"flag"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// screenshots is the folder that pictures of the desk go into; none are taken when it is empty.
var screenshots = flag.String("screenshots", "", "folder for pictures of the desk's pages")

// workAtTheDesk opens the demo's desk in a real browser and works there as a clerk does: every page
// that a link leads to, in light, dark and narrow; a stopped claim mended, reviewed and released.
// Axe-core (Deque Systems, MPL-2.0), injected, is the judge of what a person who does not see the
// page, or uses no mouse, can use of it.
func workAtTheDesk(t *testing.T, site, key string) {
	chrome := findChrome(t)
	axe, err := os.ReadFile("../../.ci/oracles/axe/node_modules/axe-core/axe.min.js")
	if err != nil {
		t.Skip("NOT RUN: the desk judged by axe-core - npm ci --prefix .ci/oracles/axe")
	}
	b := openBrowser(t, chrome, site, string(axe))
	b.signIn(key)
	b.walk()
	b.pictures()
	b.mendAndRelease()
	b.leave()
}

// widths that every page is looked at in, in CSS pixels: WCAG 2.2, 1.4.10 Reflow, asks for 320.
const (
	wide   = 1366
	narrow = 320
)

// ofEachKind is how many pages of one kind are looked at; ofDiffering how many of a kind that differ:
// claims by state, runs by what left.
const (
	ofEachKind  = 2
	ofDiffering = 4
)

// walk visits pages of every kind that links lead to, starting at the first, and looks at each.
// The routes that must be among them are named, so that a page that nothing leads to is noticed.
func (b *browser) walk() {
	b.t.Helper()
	must := []string{"/", "/claims", "/claims/{id}", "/invoices", "/invoices/{id}", "/invoices/{id}/document.pdf",
		"/repairs", "/repairs/{id}", "/repairs/{id}/drivers-copy.pdf", "/imports/new", "/money",
		"/money/remittances/{id}", "/runs", "/runs/{id}", "/batches/{id}/document", "/messages", "/deliveries", "/payers", "/payers/{id}", "/keys", "/keys/deeds", "/money/deposits/new", "/claims/{id}/payload.json", "/photos/{hash}"}
	seen := map[string]int{}
	for waiting := []string{"/"}; len(waiting) > 0; waiting = waiting[1:] {
		path, _, _ := strings.Cut(waiting[0], "#")
		most := ofEachKind
		if kind := kindOf(path); kind == "/claims/{id}" || kind == "/runs/{id}" {
			most = ofDiffering
		}
		if seen[path] > 0 || seen[kindOf(path)] == most {
			continue
		}
		seen[path]++
		if kind := kindOf(path); kind != path {
			seen[kind]++
		}
		if isFile.MatchString(path) {
			b.fetch(path)
			continue
		}
		b.look(path)
		waiting = append(waiting, b.links()...)
	}
	for _, kind := range must {
		if seen[kind] == 0 {
			b.t.Errorf("no link leads to %s", kind)
		}
	}
}

var (
	ids     = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f-]{27}`)
	hashes  = regexp.MustCompile(`[0-9a-f]{64}`)
	isFile  = regexp.MustCompile(`^/photos/|\.pdf$|\.json$|/document$`)
	queries = regexp.MustCompile(`\?.*$`)
)

// kindOf is the route that an address is of.
func kindOf(path string) string {
	return hashes.ReplaceAllString(ids.ReplaceAllString(queries.ReplaceAllString(path, ""), "{id}"), "{hash}")
}

// look judges a page in light, in dark, where nothing differs but the colours, and narrow.
func (b *browser) look(path string) {
	b.t.Helper()
	for i, as := range []view{{wide, "light"}, {wide, "dark"}, {narrow, "light"}} {
		var rules []string
		switch {
		case i == 0:
			b.show(path, as)
		case as.scheme == "dark":
			rules = []string{"color-contrast"}
			fallthrough
		default:
			b.turn(as)
		}
		if status := b.number(`performance.getEntriesByType('navigation')[0].responseStatus`); status != 200 {
			b.t.Errorf("%s: status %d", path, status)
			return
		}
		if over := b.number(`document.documentElement.scrollWidth - document.documentElement.clientWidth`); over > 0 {
			b.t.Errorf("%s, %s: %d px wider than the window", path, as, over)
		}
		for _, violation := range b.judge(rules...) {
			b.t.Errorf("%s, %s: %s", path, as, violation)
		}
	}
}

// mendAndRelease gives a claim what stops it, reads the review and releases it, twice.
func (b *browser) mendAndRelease() {
	b.t.Helper()
	b.show("/?reason=stopped", view{wide, "light"})
	claim := b.text(`[...document.querySelectorAll('.row')].find(r => r.textContent.includes('only with an authorization number'))
		?.querySelector('a').getAttribute('href') ?? ''`)
	if claim == "" {
		b.t.Fatal("the demo has no claim that only an authorization number stops")
	}
	b.show(claim, view{wide, "light"})
	b.fill("Authorization number", "A20261125")
	b.press("Store and check again")
	if said := b.text(`document.querySelector('.done')?.textContent ?? ''`); !strings.Contains(said, "nothing stops it") {
		b.t.Fatalf("after the authorization was given the page says %q: %s", said, b.text(`document.querySelector('main').innerText`))
	}
	b.press("Review and release")
	b.judgeNow("the review")
	form := b.text(`new URLSearchParams(new FormData(document.querySelector('.review form'))).toString()`)
	b.press("for the next run")
	said := b.text(`document.querySelector('.done')?.textContent ?? ''`)
	invoice := regexp.MustCompile(`INV-\d{6}`).FindString(said)
	if invoice == "" {
		b.t.Fatalf("after the release the page says %q", said)
	}
	if got := b.text(`document.querySelector('[aria-current=step]').textContent`); got != "Released" {
		b.t.Errorf("the claim stands at %q, want Released", got)
	}
	// The same form sent once more, as by a second press, gets the same invoice and no second one.
	if response, _ := b.send(http.MethodPost, claim+"/release", form); response.StatusCode != http.StatusSeeOther {
		b.t.Errorf("the same form sent once more: status %d", response.StatusCode)
	}
	b.show(claim, view{wide, "light"})
	if again := b.text(`document.querySelector('.done')?.textContent ?? ''`); !strings.Contains(again, invoice) {
		b.t.Errorf("released once more, the page says %q, before %q", again, said)
	}
	b.show(claim+"/release", view{wide, "light"})
	if text := b.text(`document.querySelector('.review').innerText`); !strings.Contains(text, "It is released already.") {
		b.t.Errorf("the review of a released claim says %q", text)
	}
}

// leave signs out; nothing opens after that.
func (b *browser) leave() {
	b.t.Helper()
	b.press("Sign out")
	b.show("/claims", view{wide, "light"})
	if at := b.text(`location.pathname`); at != "/sign-in" {
		b.t.Errorf("after signing out /claims leads to %s", at)
	}
}

func findChrome(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		} else if !errors.Is(err, exec.ErrNotFound) {
			t.Fatal(err)
		}
	}
	t.Skip("NOT RUN: the desk in a browser - apt-get install chromium")
	return ""
}

// view is how a page is looked at.
type view struct {
	width  int
	scheme string
}

func (v view) String() string { return fmt.Sprintf("%d px %s", v.width, v.scheme) }

// pictures takes those of README.md: the worklist, a stopped claim, the money, the run that sent most.
func (b *browser) pictures() {
	b.t.Helper()
	if *screenshots == "" {
		return
	}
	if err := os.MkdirAll(*screenshots, 0o755); err != nil {
		b.t.Fatal(err)
	}
	b.show("/runs", view{wide, "light"})
	run := b.text(`[...document.querySelectorAll('tbody a')].at(-1).getAttribute('href')`)
	b.show("/?reason=stopped", view{wide, "light"})
	claim := b.text(`document.querySelectorAll('.row')[2].querySelector('a').getAttribute('href')`)
	for name, path := range map[string]string{"today": "/", "claim": claim, "money": "/money", "run": run} {
		for _, scheme := range []string{"light", "dark"} {
			b.show(path, view{wide, scheme})
			b.picture(filepath.Join(*screenshots, name+"-"+scheme+".png"))
		}
	}
}
