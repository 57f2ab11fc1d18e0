// Package page is what the desk shows: templates, and the views that they are made of.
//
// It refuses to ask anybody anything and to decide anything: a view holds all that its page
// shows. Nothing in it needs a script, and no element carries a style of its own.
package page

import (
	"slices"
	"strings"

	"github.com/a-h/templ"

	"cullet/cmd/cullet/internal/desk/say"
	"cullet/cmd/cullet/internal/desk/static"
)

// The pages of the navigation.
const (
	HereToday      = "Today"
	HereClaims     = "Claims"
	HereRepairs    = "Repairs"
	HereInvoices   = "Invoices"
	HereMoney      = "Money"
	HereRuns       = "Runs"
	HereMessages   = "Messages"
	HerePayers     = "Payers"
	HereKeys       = "Keys"
	HereDeliveries = "Deliveries"
)

// Head is what every page has around it.
type Head struct {
	// Title stands in the window's title before the shop's name.
	Title string
	// Here is the page of the navigation that this one belongs to; may be empty.
	Here string
	// Shop is empty when nobody is signed in; then there is no navigation.
	Shop string
	// Who holds the key.
	Who string
	// MayWork is false for a key that only reads: then nothing is offered that it may not do.
	MayWork bool
	// IsOwner is true for a key that may change keys and settings.
	IsOwner bool
	// Query is what was searched for.
	Query string
	// Done says what the last press did; shown once.
	Done  string
	Voice *say.Voice
}

// Link is a way on.
type Link struct{ Text, Href string }

// Lead is the opening sentence: the strong part first.
type Lead struct {
	Strong, Rest string
	// Also stands smaller below; may be empty.
	Also string
}

// Days is what is left of a term.
type Days struct {
	// Words say it; empty when there is no term.
	Words string
	// Width is the filled part of the ruler of 30 days, in its units; empty for no ruler.
	Width string
	// IsNear is for four days and less.
	IsNear bool
}

// Notice is a summary of what stops or went wrong, with links to the places that mend it.
type Notice struct {
	Title string
	Items []NoticeItem
}

// NoticeItem is one line of a notice.
type NoticeItem struct {
	// Severity is "stop", "caution" or "note".
	Severity, Text, Href string
}

// Hidden is an input that carries a value along.
type Hidden struct{ Name, Value string }

type destination struct{ name, href string }

var destinations = []destination{{HereToday, "/"}, {HereClaims, "/claims"}, {HereRepairs, "/repairs"}, {HereInvoices, "/invoices"},
	{HereMoney, "/money"}, {HereRuns, "/runs"}, {HereMessages, "/messages"}, {HereDeliveries, "/deliveries"},
	{HerePayers, "/payers"}}

// destinations are the pages that whoever is signed in may open.
func (h Head) destinations() []destination {
	if !h.IsOwner {
		return destinations
	}
	return append(slices.Clip(destinations), destination{HereKeys, "/keys"})
}

// title is the window's title.
func (h Head) title() string {
	switch {
	case h.Shop == "":
		return h.Title + " · Cullet"
	case h.Title == "":
		return h.Shop
	}
	return h.Title + " · " + h.Shop
}

func stylesheet() string { return static.Address("desk.css") }
func icon() string       { return static.Address("icon.svg") }

// current marks the page that one is on.
func current(is bool) templ.Attributes {
	if is {
		return templ.Attributes{"aria-current": "page"}
	}
	return nil
}

// short is the beginning of a hash, enough to compare by eye.
func short(hash string) string {
	if len(hash) <= 12 {
		return hash
	}
	return hash[:12] + "…"
}

// account is an account of the journal in words: "revenue.repair_labor" is "Revenue, repair labor".
func account(name string) string {
	return say.Capital(strings.NewReplacer(".", ", ", "_", " ").Replace(name))
}

// refs joins what is there of two references.
func refs(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + ", " + b
}
