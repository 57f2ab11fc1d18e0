package tax_test

import (
	"strings"
	"testing"

	"cullet/services/finding"
	"cullet/services/money"
	"cullet/services/tax"
)

const (
	labor     = tax.RepairLabor
	materials = tax.Materials
	trip      = tax.TripCharge
)

func usd(minor int64) money.Amount { return money.From(minor, "USD") }

// lump is a repair charged as one sum, with materials in it.
func lump(id int, minor, materialsMinor int64) tax.Line {
	return tax.Line{ID: id, Category: labor, Amount: usd(minor), MaterialsPart: usd(materialsMinor)}
}

// apart is labor that is stated apart from its materials.
func apart(id int, minor int64) tax.Line {
	return tax.Line{ID: id, Category: labor, Amount: usd(minor), SeparatelyStated: true}
}

func parts(id int, minor int64) tax.Line {
	return tax.Line{ID: id, Category: materials, Amount: usd(minor), SeparatelyStated: true}
}

func drive(id int, minor int64) tax.Line {
	return tax.Line{ID: id, Category: trip, Amount: usd(minor)}
}

// fixture is the shipped book with local rates that are made up for the tests, each named
// "Fixture": a place where a worked example of the law gives only the combined rate.
func fixture(t testing.TB, rows ...tax.RateRow) tax.Book {
	t.Helper()
	book, err := tax.Shipped().With(rows, nil)
	if err != nil {
		t.Fatalf("fixture: %v", err)
	}
	return book
}

func localRate(state, rate string) tax.RateRow {
	r, err := tax.ParseRate(rate)
	if err != nil {
		panic(err)
	}
	return tax.RateRow{Country: "US", State: state, Level: tax.County, Code: "US-" + state + "-FIX", Name: "Fixture",
		Scheme: "SALES_TAX", ValidFrom: "2000-01-01", Rate: r, Complete: true,
		Source: finding.Source{Citation: "made up for a test", Known: finding.Own}, DocumentDate: "2026-11-25"}
}

// everywhere is the shipped book with a fixture county in every state of the worked examples.
func everywhere(t testing.TB) tax.Book {
	return fixture(t, localRate("CA", "0"), localRate("VA", "0"), localRate("MN", "0"), localRate("TN", "0.0225"),
		localRate("NC", "0.02"), localRate("WA", "0"), localRate("TX", "0.02"), localRate("NM", "0"))
}

func at(state, county, city string) tax.Place {
	return tax.Place{Country: "US", State: state, County: county, City: city}
}

func ask(on string, place tax.Place, lines ...tax.Line) tax.Request {
	return tax.Request{On: on, Place: place, Currency: "USD", Lines: lines}
}

// quote fails the test on a stop finding.
func quote(t testing.TB, book tax.Book, r tax.Request) tax.Result {
	t.Helper()
	result, findings := tax.Quote(book, r)
	if finding.HasStop(findings) {
		t.Fatalf("stopped: %v", findings)
	}
	return result
}

func codesOf(all []finding.Finding, severity finding.Severity) string {
	var codes []string
	for _, f := range all {
		if f.Severity == severity {
			codes = append(codes, f.Code)
		}
	}
	return strings.Join(codes, " ")
}
