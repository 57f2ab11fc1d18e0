package taxrpc_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	accessv1 "cullet/proto/cullet/access/v1"
	moneyv1 "cullet/proto/cullet/money/v1"
	taxv1 "cullet/proto/cullet/tax/v1"
	"cullet/services/errs"
	"cullet/services/server/servertest"
	"cullet/services/tax"
)

func usd(minor int64) *moneyv1.Money { return &moneyv1.Money{MinorUnits: minor, CurrencyCode: "USD"} }

func quote() *taxv1.QuoteTaxRequest {
	return &taxv1.QuoteTaxRequest{Date: "2026-10-20",
		Place: &accessv1.Address{CountryCode: "US", State: "OH", County: "Franklin", City: "Columbus"},
		Lines: []*taxv1.QuoteLine{{Kind: "REPAIR_LABOR", Amount: usd(8995), MaterialsPart: usd(1349)},
			{Kind: "TRIP_CHARGE", Amount: usd(1500)}, {Kind: "DISCOUNT", Amount: usd(-500)}}}
}

// The answer is what the engine says of the same lines, whatever that is: the engine's own tests
// hold it to the law.
func TestQuoteSaysWhatTheEngineSays(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	got, err := w.Tax.QuoteTax(t.Context(), quote())
	if err != nil {
		t.Fatal(err)
	}
	if got.GetTax().GetMinorUnits() <= 0 || len(got.GetLines()) == 0 || got.GetCaution() != tax.AdviserCaution {
		t.Fatalf("no tax in Ohio: %v", got)
	}
	var sum int64
	for _, line := range got.GetLines() {
		var ofLine int64
		for _, component := range line.GetTaxes() {
			ofLine += component.GetTax().GetMinorUnits()
			if component.GetRule() == "" || component.GetSource().GetCitation() == "" {
				t.Errorf("line %d: a tax without rule or source: %v", line.GetLineNumber(), component)
			}
		}
		if ofLine != line.GetTax().GetMinorUnits() {
			t.Errorf("line %d: components sum to %d, the line says %d", line.GetLineNumber(), ofLine, line.GetTax().GetMinorUnits())
		}
		sum += ofLine
	}
	if sum != got.GetTax().GetMinorUnits() || got.GetNet().GetMinorUnits() != 8995+1500-500 {
		t.Errorf("lines sum to %d, tax is %d, net is %d", sum, got.GetTax().GetMinorUnits(), got.GetNet().GetMinorUnits())
	}
}

func TestElectionsOfTheShopHold(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	ctx := t.Context()
	before, err := w.Tax.QuoteTax(ctx, quote())
	if err != nil {
		t.Fatal(err)
	}
	shop, err := w.Access.GetShop(ctx, &accessv1.GetShopRequest{})
	if err != nil {
		t.Fatal(err)
	}
	shop.GetShop().TaxElections = []*accessv1.TaxElection{{State: "OH", ValidFrom: "2026-01-01", Basis: "INVOICE", IsAggregate: true}}
	if _, err := w.Access.UpdateShop(ctx, &accessv1.UpdateShopRequest{Shop: shop.GetShop()}); err != nil {
		t.Fatal(err)
	}
	after, err := w.Tax.QuoteTax(ctx, quote())
	if err != nil {
		t.Fatal(err)
	}
	if before.GetRounding() == after.GetRounding() {
		t.Errorf("both are rounded so: %q", after.GetRounding())
	}
}

func TestWhatIsNotKnownIsAFinding(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	request := quote()
	request.Place = &accessv1.Address{CountryCode: "BR"}
	got, err := w.Tax.QuoteTax(t.Context(), request)
	if err != nil {
		t.Fatal(err)
	}
	if len(got.GetFindings()) == 0 || got.GetTax() != nil || len(got.GetLines()) != 0 {
		t.Errorf("a country without rates: %v, want findings and no tax", got)
	}
}

func TestQuotesAreChecked(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	request := quote()
	request.Date, request.BuyerStatus, request.CertificateValidFrom = "2026-02-30", "FRIEND", "then"
	request.Place.CountryCode = ""
	request.Lines = []*taxv1.QuoteLine{{Kind: "GLASS", Amount: usd(-1)}, {Kind: "REPAIR_LABOR"},
		{Kind: "REPAIR_LABOR", Amount: &moneyv1.Money{MinorUnits: 1, CurrencyCode: "CAD"}},
		{Kind: "REPAIR_LABOR", Amount: usd(100), MaterialsPart: usd(101)}, {Kind: "DISCOUNT", Amount: usd(1)}}
	_, err := w.Tax.QuoteTax(t.Context(), request)
	var known *errs.Error
	if !errors.As(err, &known) || known.Kind != errs.Invalid {
		t.Fatalf("error = %v, want Invalid", err)
	}
	var got []string
	for _, f := range known.Fields {
		got = append(got, f.Path+" "+f.Reason)
	}
	want := []string{"place.country_code REQUIRED", "date NOT_A_DAY", "certificate_valid_from NOT_A_DAY",
		"buyer_status UNKNOWN_VALUE", "lines[0].kind UNKNOWN_VALUE", "lines[0].amount.minor_units TOO_SMALL",
		"lines[1].amount REQUIRED", "lines[2].amount.currency_code CURRENCY", "lines[3].materials_part.minor_units TOO_LARGE",
		"lines[4].amount.minor_units TOO_SMALL"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("faults (-want +got):\n%s", diff)
	}
}

func TestJurisdictionsAreWalkedOnceEach(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	walk := func(region string, size int32) (codes []string) {
		token := ""
		for {
			page, err := w.Tax.ListJurisdictions(t.Context(), &taxv1.ListJurisdictionsRequest{Region: region, PageSize: size,
				PageToken: token})
			if err != nil {
				t.Fatal(err)
			}
			for _, j := range page.GetJurisdictions() {
				codes = append(codes, j.GetJurisdictionCode())
				if j.GetSource().GetKnown() == "" {
					t.Errorf("%s has a rate without saying how well it is known", j.GetJurisdictionCode())
				}
			}
			if token = page.GetNextPageToken(); token == "" {
				return codes
			}
		}
	}
	whole := len(tax.Shipped().Rates(""))
	if small, large := walk("", 7), walk("", 500); len(small) != whole || !slices.Equal(small, large) {
		t.Errorf("%d by sevens, %d by five hundreds, %d on file", len(small), len(large), whole)
	}
	for _, code := range walk("US-OH", 50) {
		if code != "US-OH" && !strings.HasPrefix(code, "US-OH-") {
			t.Errorf("%s is not in US-OH", code)
		}
	}
}
