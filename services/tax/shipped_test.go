package tax_test

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"cullet/services/finding"
	"cullet/services/money"
	"cullet/services/tax"
)

// Every shipped row names its source, and says honestly whether a text was read.
func TestShippedRowsNameTheirSource(t *testing.T) {
	t.Parallel()
	check := func(name string, s finding.Source) {
		wasRead := s.Known == finding.Read || s.Known == finding.ReadSecondary
		if s.Citation == "" || s.Known == "" || wasRead != (s.ReadOn != "") {
			t.Errorf("%s: source %+v", name, s)
		}
	}
	codes := map[string]bool{}
	for _, row := range tax.Shipped().Rates("") {
		check(row.Code+" "+row.ValidFrom, row.Source)
		codes[row.Code] = true
	}
	for _, row := range tax.Shipped().Rates("") {
		for _, list := range [][]string{row.Includes, row.Also, row.Asks} {
			for _, code := range list {
				if !codes[code] {
					t.Errorf("%s names %s, which is not on file", row.Code, code)
				}
			}
		}
	}
	for _, law := range tax.Shipped().Taxabilities("") {
		check(law.Rule, law.Source)
		for _, sentence := range []string{law.Taxed, law.Untaxed, law.Separate} {
			if strings.HasSuffix(sentence, ".") || strings.Contains(sentence, "  ") {
				t.Errorf("%s: sentence %q must be open at its end", law.Rule, sentence)
			}
		}
	}
}

// The legend of the map counts the counties by rate: Ohio Department of Taxation, total state
// and local rates by county effective July 2024: 4 at 7.55 and above, 3 to 7.50, 50 to 7.25, 12 to
// 7.00, 15 to 6.75, 4 at 6.50 and below. The same count of our rows proves that they were copied right.
func TestShippedOhioAgreesWithTheLegend(t *testing.T) {
	t.Parallel()
	got := map[string]int{}
	for _, row := range tax.Shipped().Rates("US-OH") {
		if row.Level != tax.County || row.ValidFrom > "2024-07-01" || (row.ValidTo != "" && row.ValidTo < "2024-07-01") {
			continue
		}
		total := 5_750_000 + row.Rate
		switch {
		case total >= 7_550_000:
			got["7.55"]++
		case total >= 7_300_000:
			got["7.50"]++
		case total >= 7_050_000:
			got["7.25"]++
		case total >= 6_800_000:
			got["7.00"]++
		case total >= 6_550_000:
			got["6.75"]++
		default:
			got["6.50"]++
		}
	}
	want := map[string]int{"7.55": 4, "7.50": 3, "7.25": 50, "7.00": 12, "6.75": 15, "6.50": 4}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("counties by total rate (-legend +rows):\n%s", diff)
	}
}

// Every state, province and country that the product names is on file with a rate row and a rule,
// and a quote there on any day of any row is a result or a stop, never both and never neither.
func TestShippedBookAnswersEverywhere(t *testing.T) {
	t.Parallel()
	book := tax.Shipped()
	regions := map[string]bool{}
	for _, row := range book.Rates("") {
		regions[row.Country+"-"+row.State] = true
		place := tax.Place{Country: row.Country, State: row.State}
		switch row.Level {
		case tax.County:
			place.County, place.City, place.District = row.Code, "elsewhere", tax.NoDistrict
		case tax.City:
			place.City = row.Name
		case tax.District:
			place.District = row.Name
		}
		for _, day := range []string{row.ValidFrom, row.ValidTo, "2026-11-20"} {
			if day == "" {
				continue
			}
			r := tax.Request{On: day, Place: place, Currency: "EUR", Lines: []tax.Line{
				{ID: 1, Category: labor, Amount: money.From(7995, "EUR"), MaterialsPart: money.From(1200, "EUR")}}}
			result, findings := tax.Quote(book, r)
			if stopped := finding.HasStop(findings); stopped != (result.Lines == nil) {
				t.Errorf("%s on %s: stopped %t with %d lines", row.Code, day, stopped, len(result.Lines))
			}
		}
	}
	states, provinces := 0, 0
	for region := range regions {
		country, state, _ := strings.Cut(region, "-")
		switch {
		case state != "" && len(book.Taxabilities(region)) == 0 && country != "ES" && country != "PT":
			t.Errorf("%s has a rate and no rule", region)
		case country == "US" && state != "":
			states++
		case country == "CA" && state != "":
			provinces++
		}
	}
	if states != 51 || provinces != 13 || len(book.Countries()) != 2+28 {
		t.Errorf("%d states, %d provinces, %d countries; want 51, 13, 30", states, provinces, len(book.Countries()))
	}
}

// What a quote gives for a plain repair in each state today, with one county of each: which states
// can be billed and which stop. A change of this list is a change of what the product knows.
func TestShippedStatesThatQuoteToday(t *testing.T) {
	t.Parallel()
	var quoted []string
	for _, row := range tax.Shipped().Rates("US") {
		if row.Level != tax.State || row.ValidTo != "" {
			continue
		}
		counties := map[string]string{"OH": "Franklin", "PA": "Centre", "HI": "Maui"}
		r := ask("2026-11-20", at(row.State, counties[row.State], ""), lump(1, 7995, 1200))
		if _, findings := tax.Quote(tax.Shipped(), r); !finding.HasStop(findings) {
			quoted = append(quoted, row.State)
		}
	}
	if got, want := strings.Join(quoted, " "), "CT DE HI KY MA MT NH NJ OH OR PA"; got != want {
		t.Errorf("states that quote: %s, want %s", got, want)
	}
}
