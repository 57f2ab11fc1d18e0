package tax_test

import (
	"strings"
	"testing"

	"cullet/services/finding"
	"cullet/services/tax"
)

// Whatever is not known stops: no quote, no zero, and the finding names what is missing.
func TestQuoteStopsOnWhatItDoesNotKnow(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, on string
		place    tax.Place
		lines    []tax.Line
		want     string
		says     string
	}{
		{"country not on file", "2026-11-20", tax.Place{Country: "JP"}, j1, "TAX-PLACE-COUNTRY", "JP"},
		{"state missing", "2026-11-20", tax.Place{Country: "US"}, j1, "TAX-PLACE-STATE", "United States"},
		{"state unknown", "2026-11-20", at("XX", "", ""), j1, "TAX-PLACE-STATE", "XX"},
		{"province missing", "2026-11-20", tax.Place{Country: "CA"}, j1, "TAX-PLACE-STATE", "Canada"},
		{"Ohio without a county", "2026-11-20", at("OH", "", "Columbus"), j1, "TAX-LOCAL-UNKNOWN", "Ohio"},
		{"Pennsylvania without a county", "2026-11-20", at("PA", "", ""), j1, "TAX-LOCAL-UNKNOWN", "Pennsylvania"},
		{"Ohio with a postal code alone", "2026-11-20", tax.Place{Country: "US", State: "OH", PostalCode: "43215"}, j1, "TAX-LOCAL-UNKNOWN", "no county"},
		{"no such county", "2026-11-20", at("OH", "Orange", ""), j1, "TAX-LOCAL-UNKNOWN", "Orange"},
		{"county rate not on file for the day", "2024-06-30", at("OH", "Cuyahoga", ""), j1, "TAX-RATE-UNKNOWN", "2024-07-01"},
		{"city rate known for one quarter only", "2026-11-20", at("WA", "", "Seattle"), j1, "TAX-RATE-UNKNOWN", "2018-02-01"},
		{"a state's rate is no answer where locals add to it", "2026-11-20", at("WA", "King", ""), j1, "TAX-LOCAL-UNKNOWN", "Washington"},
		{"county partly in a transit district", "2026-11-20", at("OH", "Delaware", ""), j1, "TAX-PLACE-PARTLY", "Central Ohio Transit Authority"},
		{"county with a city that adds its own", "2026-11-20", at("OH", "Wood", ""), j1, "TAX-PLACE-PARTLY", "Rossford"},
		{"district that is not there", "2026-11-20", tax.Place{Country: "US", State: "OH", County: "Cuyahoga", District: "COTA"}, j1, "TAX-PLACE-CONTRADICTS", "Central Ohio"},
		{"district not on file", "2026-11-20", tax.Place{Country: "US", State: "OH", County: "Franklin", District: "Moon"}, j1, "TAX-PLACE-DISTRICT", "Moon"},
		{"city in another county", "2026-11-20", at("OH", "Franklin", "Rossford"), j1, "TAX-PLACE-CONTRADICTS", "Wood County"},
		{"islands outside the mainland's rate", "2026-11-20", tax.Place{Country: "ES", State: "CN"}, j1, "TAX-RATE-UNKNOWN", "ES-CN"},
		{"before the first day on file", "1989-01-01", at("KY", "", ""), j1, "TAX-RATE-UNKNOWN", "1990-07-01"},
		{"law before its first day on file", "2018-06-30", at("KY", "", ""), j1, "TAX-TAXABILITY-UNKNOWN", "REPAIR_LABOR"},
		{"law unsettled", "2024-07-15", at("IL", "", "Chicago"), j1, "TAX-TAXABILITY-UNKNOWN", "exempt or conditional"},
		{"law that was not read", "2026-11-20", at("RI", "", ""), j1, "TAX-TAXABILITY-UNKNOWN", "not read"},
		{"trip not on file", "2026-11-20", at("PA", "Centre", ""), j3, "TAX-TAXABILITY-UNKNOWN", "TRIP_CHARGE"},
		{"North Carolina in its year of change", "2016-06-01", at("NC", "Fixture", ""), j1, "TAX-TAXABILITY-UNKNOWN", "1 March 2016"},
		{"share of materials not given", "2026-11-20", at("MA", "", ""), []tax.Line{lump(1, 7995, 0)}, "TAX-MATERIALS-UNKNOWN", "share"},
		{"trip without a repair", "2026-11-20", at("KY", "", ""), []tax.Line{drive(1, 2000)}, "TAX-TRIP-ALONE", "repair"},
	}
	book := everywhere(t)
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := ask(tt.on, tt.place, tt.lines...)
			result, findings := tax.Quote(book, r)
			if result.Lines != nil || !result.Tax.IsZero() || result.Tax.Currency != "" {
				t.Errorf("a result beside a stop: %+v", result)
			}
			if got := codesOf(findings, finding.Stop); got != tt.want {
				t.Errorf("stops %q, want %q: %v", got, tt.want, findings)
			}
			if len(findings) > 0 && !strings.Contains(findings[0].Sentence, tt.says) {
				t.Errorf("sentence %q does not say %q", findings[0].Sentence, tt.says)
			}
			for _, f := range findings {
				if f.Fix == "" || f.Path == "" || f.Source.Known == "" {
					t.Errorf("finding without fix, path or source: %+v", f)
				}
			}
		})
	}
}

// A place may name its county as people and forms do.
func TestQuoteFindsTheCountyByNameOrCode(t *testing.T) {
	t.Parallel()
	for _, county := range []string{"Franklin", "Franklin County", "FRANKLIN county", "  franklin ", "049", "39049", "US-OH-049", "us-oh-049"} {
		got := quote(t, tax.Shipped(), ask("2026-11-20", at("OH", county, ""), j1...))
		if len(got.Totals) != 2 || got.Totals[1].JurisdictionCode != "US-OH-049" {
			t.Errorf("county %q: totals %v", county, got.Totals)
		}
	}
}

// A mobile job bears the rates of the place where the vehicle stands, not of the shop.
func TestQuoteUsesTheVehiclesPlace(t *testing.T) {
	t.Parallel()
	// Totals 8.00, 7.80, 7.00, 8.00 (7.00 and transit 1.00), 6.75, 7.25 (6.75 and Rossford 0.50):
	// Ohio Department of Taxation, July 2024 and April 2025.
	tests := map[tax.Place]string{
		at("OH", "Franklin", ""): "0.0225", at("OH", "Hamilton", ""): "0.0205", at("OH", "Delaware", "x"): "",
		{Country: "US", State: "OH", County: "Delaware", District: "NONE"}: "0.0125",
		{Country: "US", State: "OH", County: "Delaware", District: "COTA"}: "0.0125 0.01",
		{Country: "US", State: "OH", County: "Franklin", District: "COTA"}: "0.0225",
		at("OH", "Wood", "Bowling Green"):                                  "0.01",
		at("OH", "Wood", "Rossford"):                                       "0.01 0.005",
		at("OH", "", "Rossford"):                                           "0.005 0.01",
	}
	for place, want := range tests {
		result, findings := tax.Quote(tax.Shipped(), ask("2026-11-20", place, j1...))
		var rates []string
		for _, total := range result.Totals {
			if total.Level != tax.State {
				rates = append(rates, total.Rate)
			}
		}
		if got := strings.Join(rates, " "); got != want {
			t.Errorf("%+v: local rates %q, want %q (%v)", place, got, want, findings)
		}
	}
}

func TestQuoteTellsHowWellItKnows(t *testing.T) {
	t.Parallel()
	tests := []struct {
		place           tax.Place
		cautions, notes string
	}{
		{at("OH", "Franklin", ""), "", ""},
		{at("OH", "Hamilton", ""), "", "TAX-RATE-OLD"},
		{at("KY", "", ""), "", ""},
		{at("CT", "", ""), "TAX-LAW-FROM-MEMORY TAX-LOCALS-FROM-MEMORY", "TAX-RATE-OLD"},
		{at("PA", "Philadelphia", "Philadelphia"), "TAX-LOCALS-FROM-MEMORY", "TAX-RATE-OLD TAX-RATE-OLD"},
		{at("NY", "", "New York City"), "", "TAX-RATE-OLD TAX-RATE-UNDATED TAX-RATE-UNDATED"},
		{at("HI", "Honolulu", ""), "TAX-RATE-FROM-MEMORY", "TAX-HAWAII-SHOP-OWES"},
	}
	for _, tt := range tests {
		_, findings := tax.Quote(tax.Shipped(), ask("2026-11-20", tt.place, lump(1, 7995, 1200)))
		if got := codesOf(findings, finding.Caution); got != tt.cautions {
			t.Errorf("%+v: cautions %q, want %q", tt.place, got, tt.cautions)
		}
		if got := codesOf(findings, finding.Note); got != tt.notes {
			t.Errorf("%+v: notes %q, want %q", tt.place, got, tt.notes)
		}
	}
}
