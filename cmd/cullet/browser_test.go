package main

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// browser is a headless Chromium with one tab at the desk. Each step fails the test when it cannot
// be done within patience.
type browser struct {
	t    *testing.T
	tab  context.Context
	site string
	axe  string

	mu   sync.Mutex
	said []string
}

// patience is how long one step may take on a loaded machine; no verdict depends on it.
const patience = time.Minute

func openBrowser(t *testing.T, chrome, site, axe string) *browser {
	t.Helper()
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(chrome), chromedp.UserDataDir(t.TempDir()),
		chromedp.DisableGPU, chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-quic", true))
	if os.Getuid() == 0 {
		options = append(options, chromedp.NoSandbox) // Chromium has no sandbox for root
	}
	allocator, stopAll := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(stopAll)
	tab, stop := chromedp.NewContext(allocator)
	t.Cleanup(stop)
	b := &browser{t: t, tab: tab, site: site, axe: axe}
	if err := chromedp.Do(tab, chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, log.Enable, cdp.Empty{})
		return err
	})); err != nil {
		t.Fatalf("start %s: %v", chrome, err)
	}
	if err := chromedp.Listen(tab, b.hear); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		b.mu.Lock()
		defer b.mu.Unlock()
		for _, line := range b.said {
			t.Errorf("the browser complains: %s", line)
		}
	})
	return b
}

// hear notes what the browser complains of: what the page's policy keeps out, what cannot be loaded.
func (b *browser) hear(event any) {
	line := ""
	switch e := event.(type) {
	case *log.EventEntryAdded:
		if e.Entry.Level == log.EntryLevelError {
			line = e.Entry.Text + " " + e.Entry.URL
		}
	case *runtime.EventExceptionThrown:
		line = e.ExceptionDetails.Text
	}
	if line != "" {
		b.mu.Lock()
		defer b.mu.Unlock()
		b.said = append(b.said, line)
	}
}

// run runs one action and gives what it gives.
func run[T any](b *browser, what string, action chromedp.Action[T]) T {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.tab, patience)
	defer cancel()
	value, err := chromedp.Run(ctx, action)
	if err != nil {
		b.t.Fatalf("%s: %v", what, err)
	}
	return value
}

// show opens a page of the desk.
func (b *browser) show(path string, as view) {
	b.t.Helper()
	b.turn(as)
	run(b, "show "+path, chromedp.Navigate(b.site+path))
}

// turn looks at the page as another view; it has no script and need not be loaded anew.
func (b *browser) turn(as view) {
	b.t.Helper()
	scheme := emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: as.scheme}}}
	run(b, "look as "+as.String(), chromedp.Steps(chromedp.EmulateViewport(int64(as.width), 900),
		chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
			_, err := cdp.Call(ctx, target, emulation.SetEmulatedMedia, scheme)
			return err
		})))
}

func (b *browser) text(expression string) string {
	b.t.Helper()
	return run(b, expression, chromedp.Evaluate[string](expression))
}

func (b *browser) number(expression string) int {
	b.t.Helper()
	return run(b, expression, chromedp.Evaluate[int](expression))
}

// links are the addresses of this desk that the page leads to.
func (b *browser) links() []string {
	b.t.Helper()
	return run(b, "read the links", chromedp.Evaluate[[]string](`[...document.querySelectorAll('a[href^="/"], object[data^="/"]')]
		.map(a => a.getAttribute('href') ?? a.getAttribute('data'))`))
}

// fetch asks for a file, past the page's policy, which lets no page read anything; the file must be
// there and not be empty.
func (b *browser) fetch(path string) {
	b.t.Helper()
	response, content := b.send(http.MethodGet, path, "")
	kind := response.Header.Get("Content-Type")
	if response.StatusCode != http.StatusOK || len(content) < 500 || strings.Contains(kind, "html") {
		b.t.Errorf("%s: status %d, %s, %d bytes", path, response.StatusCode, kind, len(content))
	}
}

// send makes a request of its own with the browser's cookie; form is written as a browser does.
func (b *browser) send(method, path, form string) (*http.Response, []byte) {
	b.t.Helper()
	request, err := http.NewRequestWithContext(b.t.Context(), method, b.site+path, strings.NewReader(form))
	if err != nil {
		b.t.Fatal(err)
	}
	request.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	cookies := run(b, "read the cookies", func(ctx context.Context, target *chromedp.Target) (network.GetCookiesResult, error) {
		return cdp.Call(ctx, target, network.GetCookies, network.GetCookiesParams{})
	})
	for _, c := range cookies.Cookies {
		request.AddCookie(&http.Cookie{Name: c.Name, Value: c.Value})
	}
	response, err := http.DefaultTransport.RoundTrip(request) // it follows no redirect
	if err != nil {
		b.t.Fatalf("%s %s: %v", method, path, err)
	}
	defer response.Body.Close()
	content, err := io.ReadAll(response.Body)
	if err != nil {
		b.t.Fatalf("%s %s: %v", method, path, err)
	}
	return response, content
}

// judge gives what axe-core finds wrong with the page, by all of its rules or by those named.
func (b *browser) judge(rules ...string) []string {
	b.t.Helper()
	if b.text(`typeof axe`) == "undefined" {
		run(b, "load axe-core", chromedp.Evaluate[chromedp.Void](b.axe))
	}
	options := "{}"
	if len(rules) > 0 {
		options = `{runOnly: ['` + strings.Join(rules, `', '`) + `']}`
	}
	return run(b, "run axe-core", chromedp.Evaluate[[]string](
		`axe.run(`+options+`).then(r => { if (r.passes.length + r.incomplete.length === 0) throw new Error('axe-core judged nothing');
			return r.violations.map(v => v.id + ': ' + v.help + ', at ' + v.nodes[0].html.slice(0, 160)) })`, chromedp.EvalAwaitPromise))
}

func (b *browser) judgeNow(what string) {
	b.t.Helper()
	for _, violation := range b.judge() {
		b.t.Errorf("%s: %s", what, violation)
	}
}

// fill types into the field of a label.
func (b *browser) fill(label, value string) {
	b.t.Helper()
	id := b.text(fmt.Sprintf(`[...document.querySelectorAll('label')].find(l => l.textContent.trim() === %q)?.htmlFor ?? ''`, label))
	if id == "" {
		b.t.Fatalf("no field is labelled %q", label)
	}
	run(b, "empty "+label, chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`document.getElementById(%q).value = ''`, id)))
	run(b, "fill "+label, chromedp.SendKeys(chromedp.ID(id), value))
}

// press presses the button or link whose words hold a text, and waits for the page that follows.
func (b *browser) press(words string) {
	b.t.Helper()
	isThere := b.text(fmt.Sprintf(`(() => {
		const all = [...document.querySelectorAll('button:not([aria-disabled=true]), a')].filter(e => e.textContent.includes(%q));
		if (all.length !== 1) return all.length + ' of them';
		all[0].id = 'to-press'; return '' })()`, words))
	if isThere != "" {
		b.t.Fatalf("press %q: %s", words, isThere)
	}
	ctx, cancel := context.WithTimeout(b.tab, patience)
	defer cancel()
	if _, err := chromedp.RunResponse(ctx, chromedp.Click(chromedp.ID("to-press"))); err != nil {
		b.t.Fatalf("press %q: %v", words, err)
	}
}

func (b *browser) signIn(key string) {
	b.t.Helper()
	b.show("/", view{wide, "light"})
	b.judgeNow("the way in")
	b.fill("Access key", key)
	b.press("Sign in")
	if at := b.text(`location.pathname`); at != "/" {
		b.t.Fatalf("signing in leads to %s", at)
	}
}

// picture keeps what is seen without scrolling.
func (b *browser) picture(path string) {
	b.t.Helper()
	png := run(b, "take a picture", chromedp.CaptureScreenshot())
	if err := os.WriteFile(path, png, 0o644); err != nil {
		b.t.Fatal(err)
	}
}
