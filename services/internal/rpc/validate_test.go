package rpc

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

type inner struct {
	Code string `json:"code" validate:"required,max=3"`
	Day  string `json:"day" validate:"omitempty,datetime=2006-01-02"`
}

type outer struct {
	Name    string   `json:"name" validate:"required,max=5"`
	Kind    string   `json:"kind,omitempty" path:"sort" validate:"omitempty,oneof=ONE TWO"`
	Inner   inner    `json:"inner"`
	Many    []inner  `json:"many" path:"things" validate:"max=2,dive"`
	Zone    string   `json:"zone" validate:"omitempty,timezone"`
	Money   string   `json:"money" validate:"omitempty,iso4217"`
	Country string   `json:"country" validate:"omitempty,iso3166_1_alpha2"`
	Email   string   `json:"email" validate:"omitempty,email"`
	Count   int      `json:"count" validate:"min=0,max=10"`
	Names   []string `json:"names" validate:"dive,max=2"`
	Hidden  string   `json:"-" validate:"max=1"`
}

func good() outer {
	return outer{Name: "a", Inner: inner{Code: "x"}}
}

func TestValidateGivesProtoPaths(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name   string
		change func(*outer)
		want   []string
	}{
		{"nothing wrong", func(*outer) {}, nil},
		{"required", func(o *outer) { o.Name = "" }, []string{"shop.name REQUIRED"}},
		{"characters, not bytes", func(o *outer) { o.Name = "äöüßé" }, nil},
		{"too long", func(o *outer) { o.Name = "äöüßéx" }, []string{"shop.name TOO_LARGE"}},
		{"path tag", func(o *outer) { o.Kind = "THREE" }, []string{"shop.sort UNKNOWN_VALUE"}},
		{"nested", func(o *outer) { o.Inner = inner{Day: "2026-02-30"} },
			[]string{"shop.inner.code REQUIRED", "shop.inner.day NOT_A_DAY"}},
		{"in a list", func(o *outer) { o.Many = []inner{{Code: "x"}, {Code: "toolong"}} },
			[]string{"shop.things[1].code TOO_LARGE"}},
		{"list too long", func(o *outer) { o.Many = make([]inner, 3) }, []string{"shop.things TOO_LARGE"}},
		{"forms", func(o *outer) { o.Zone, o.Money, o.Country, o.Email = "Nowhere", "usd", "USA", "x" },
			[]string{"shop.zone FORM", "shop.money FORM", "shop.country FORM", "shop.email FORM"}},
		{"number", func(o *outer) { o.Count = 11 }, []string{"shop.count TOO_LARGE"}},
		{"list of text", func(o *outer) { o.Names = []string{"ok", "too long"} }, []string{"shop.names[1] TOO_LARGE"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			given := good()
			test.change(&given)
			faults := Validate("shop", given)
			if diff := cmp.Diff(test.want, reasons(faults)); diff != "" {
				t.Errorf("faults (-want +got):\n%s", diff)
			}
			for _, f := range faults {
				if !strings.Contains(f.Message, "given") {
					t.Errorf("%s: %q does not say what was given", f.Path, f.Message)
				}
			}
		})
	}
}

func TestValidateSaysWhatIsAllowed(t *testing.T) {
	t.Parallel()
	given := good()
	given.Kind, given.Count, given.Many, given.Name = "THREE", -1, make([]inner, 3), "abcdef"
	got := map[string]string{}
	for _, f := range Validate("", given) {
		got[f.Path] = f.Message
	}
	want := map[string]string{
		"sort":   `"THREE" was given; allowed are ONE, TWO`,
		"count":  "-1 was given; give at least 0",
		"things": "3 items were given and at most 2 are allowed; shorten the list",
		"name":   "6 characters were given and at most 5 are allowed; shorten the text",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("messages (-want +got):\n%s", diff)
	}
}
