package x12_test

import (
	"bytes"
	"errors"
	"slices"
	"strings"
	"testing"

	"cullet/adapters/format/x12"
	"cullet/adapters/formattest"
	"cullet/adapters/payload"
	"cullet/services/claims"
	"cullet/services/errs"
	"cullet/services/money"
	"cullet/services/payers"
)

// newYork is a claim of 79.95 with the tax of New York City in three parts, 7.10 in all. Source: the
// rates 4 + 4.5 + 0.375 % of New York City, read in a secondary source; the sum computed.
func newYork(t *testing.T) payload.Claim {
	t.Helper()
	claim := formattest.Examples(t)[slices.IndexFunc(formattest.Examples(t), func(c payload.Claim) bool { return c.InvoiceNumber != "" })]
	usd := func(minor int64) money.Amount { return money.From(minor, "USD") }
	claim.Lines, claim.Tax.Jurisdictions = slices.Clone(claim.Lines[:1]), nil
	claim.Lines[0].Quantity, claim.Lines[0].UnitPrice, claim.Lines[0].Amount = 1, usd(7995), usd(7995)
	for _, part := range []struct {
		rate string
		tax  int64
	}{{"0.04", 320}, {"0.045", 360}, {"0.00375", 30}} {
		claim.Tax.Jurisdictions = append(claim.Tax.Jurisdictions, payload.Jurisdiction{Code: "US-NY", Rate: part.rate, Taxed: usd(7995), Tax: usd(part.tax)})
	}
	claim.Totals = payload.Totals{Net: usd(7995), Tax: usd(710), Total: usd(8705), PayerShare: usd(8705), MotoristShare: usd(0)}
	return claim
}

// TestHeader: the header of a published example, 106 characters with each delimiter at its place.
func TestHeader(t *testing.T) {
	t.Parallel()
	e := envelope(payers.X12004010)
	e.BuildTime, e.IsTest = e.BuildTime.AddDate(0, 1, 4), true
	document := encode(t, e, formattest.Batch(t, 1))
	want := "ISA*00*          *00*          *ZZ*SHOPDEMO       *ZZ*PAYERDEMO      *261125*0130*U*00401*000000017*1*T*>~"
	if got := document[:106]; got != want || got[3] != '*' || got[104] != '>' || got[105] != '~' {
		t.Errorf("got  %q\nwant %q", got, want)
	}
}

// TestDecimals: type R, N2 and fraction each at its place; a rate in percent is refused.
func TestDecimals(t *testing.T) {
	t.Parallel()
	e := envelope(payers.X12004010)
	document := encode(t, e, []claims.Frozen{formattest.Freeze(t, newYork(t))})
	for _, want := range []string{"~IT1*1*1*EA*79.95~", "~TDS*8705~", "~TXI*LS*7.10*.08875~", "~CTT*1~"} {
		if strings.Count(document, want) != 1 {
			t.Errorf("want %s once in\n%s", want, strings.ReplaceAll(document, "~", "~\n"))
		}
	}
	if got := reason(t, strings.Replace(document, ".08875", "8.875", 1)); got != "X12_RATE" {
		t.Errorf("a rate of 8.875: got %q, want X12_RATE", got)
	}
	if got := reason(t, strings.Replace(document, "TDS*8705", "TDS*87.05", 1)); got != "X12_NUMBER" {
		t.Errorf("a total of 87.05: got %q, want X12_NUMBER", got)
	}
	if got := reason(t, strings.Replace(document, "IT1*1*1*EA*79.95", "IT1*1*1*EA*7995", 1)); got != "X12_SUM" {
		t.Errorf("a price of 7995: got %q, want X12_SUM", got)
	}
}

// reason reads a document and gives the first reason why it is refused.
func reason(t *testing.T, document string) string {
	t.Helper()
	_, _, err := x12.Format{}.Decode(strings.NewReader(document))
	return reasonOf(t, err)
}

func reasonOf(t *testing.T, err error) string {
	t.Helper()
	var refused *errs.Error
	if err == nil {
		return ""
	}
	if !errors.As(err, &refused) || refused.Kind != errs.Invalid {
		t.Fatalf("got %v, want an invalid-error", err)
	}
	if len(refused.Fields) == 0 {
		return refused.Reason
	}
	return refused.Fields[0].Reason
}

// TestDecodeRefuses: every count and number of the envelope is held, each with the note that a
// receiver would give for it.
func TestDecodeRefuses(t *testing.T) {
	t.Parallel()
	document := encode(t, envelope(payers.X12004010), formattest.Batch(t, 3))
	for _, test := range []struct{ name, old, new, want string }{
		{"IEA02 is not ISA13", "IEA*1*000000017", "IEA*1*000000018", "TA1_001"},
		{"IEA01", "IEA*1*", "IEA*2*", "TA1_021"},
		{"GE01", "GE*3*", "GE*4*", "AK905_5"},
		{"GE02", "GE*3*17", "GE*3*18", "AK905_4"},
		{"SE01 off by one", "SE*24*0001", "SE*25*0001", "AK502_4"},
		{"SE02", "SE*24*0001", "SE*24*0009", "AK502_3"},
		{"ST02 out of order", "ST*810*0002", "ST*810*0003", "X12_CONTROL_NUMBER"},
		{"GS06", "*17*X*", "*18*X*", "X12_CONTROL_NUMBER"},
		{"CTT01", "CTT*1", "CTT*2", "X12_COUNT"},
		{"a total one cent off", "TDS*9319", "TDS*9320", "X12_SUM"},
		{"a name of 61 characters", "IL*Jordan Example (invented)", "IL*" + strings.Repeat("x", 61), "X12_LENGTH"},
		{"the same claim twice", "C-000002", "C-000001", "CLAIM_REPEATED"},
		{"another set", "ST*810", "ST*850", "X12_SET"},
		{"an unknown segment", "CTT*1~", "XXX*1~CTT*1~", "X12_UNKNOWN"},
		{"a charge of 0.001", "EA*105.00", "EA*105.000", "X12_NUMBER"},
		{"another release than the header's", "*X*004010", "*X*005010", "X12_VERSION"},
		{"another group", "GS*IN", "GS*PO", "X12_GROUP"},
		{"a short header", "*SHOPDEMO       *", "*SHOPDEMO      *", "X12_HEADER"},
		{"a letter as delimiter", "*P*>~", "*P*A~", "X12_DELIMITER"},
		{"a segment too long", "PID*F****", "PID*F****" + strings.Repeat("x", 70_000), "X12_SEGMENT"},
	} {
		changed := strings.Replace(document, test.old, test.new, 1)
		if changed == document {
			t.Fatalf("%s: the document has no %s", test.name, test.old)
		}
		if got := reason(t, changed); got != test.want {
			t.Errorf("%s: got %q, want %q", test.name, got, test.want)
		}
	}
}

// TestHostileNames: text of people is spelled by rule, numbers are refused, and delimiters give way to
// the text.
func TestHostileNames(t *testing.T) {
	t.Parallel()
	for _, test := range []struct{ text, wantDelimiters, wantSpelled string }{
		{"plain", "*~>^", "plain"},
		{"a*b", "|~>^", "a*b"},
		{"a~b", "*\x1c>^", "a~b"},
		{"*|~>:^!", "\x1d\x1c\x1f\x1e", "*|~>:^!"},
		{"Zoë Müller-Ångström ß Łódź", "*~>^", "Zoe Muller-Angstrom ss Lodz"},
		{" li\nne\x1d\x00\t ", "*~>^", "li ne"},
		{"李", "*~>^", "?"},
	} {
		claim := newYork(t)
		claim.Coverage.InsuredName, claim.Lines[0].Description = test.text, test.text
		document := encode(t, envelope(payers.X12005010), []claims.Frozen{formattest.Freeze(t, claim)})
		d := document[3:4] + document[105:106] + document[104:105] + document[82:83]
		if d != test.wantDelimiters {
			t.Errorf("%q: got delimiters %q, want %q", test.text, d, test.wantDelimiters)
		}
		for _, want := range []string{"N1*IL*", "PID*F****"} {
			want = strings.ReplaceAll(want, "*", d[:1]) + test.wantSpelled + d[1:2]
			if strings.Count(document, want) != 1 {
				t.Errorf("%q: want %q once in %q", test.text, want, document)
			}
		}
	}
}

// TestUnfit: each number that would be another number in the document is named by its path, before
// the claim is released and again when it is written.
func TestUnfit(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name   string
		change func(*payload.Claim, *claims.Envelope)
		path   string
		reason string
	}{
		{"policy number with a line end", func(c *payload.Claim, _ *claims.Envelope) { c.Coverage.PolicyNumber = "A\nB" }, "coverage.policy_number", "X12_CHARACTER"},
		{"policy number too long", func(c *payload.Claim, _ *claims.Envelope) { c.Coverage.PolicyNumber = strings.Repeat("1", 31) }, "coverage.policy_number", "X12_LENGTH"},
		{"policy number with a space", func(c *payload.Claim, _ *claims.Envelope) { c.Coverage.PolicyNumber = " 1" }, "coverage.policy_number", "X12_SPACE"},
		{"small letters in the basic set", func(c *payload.Claim, e *claims.Envelope) {
			c.Coverage.PolicyNumber, e.X12.IsBasic = "lm-1", true
		}, "coverage.policy_number", "X12_CHARACTER"},
		{"name of 61 characters", func(c *payload.Claim, _ *claims.Envelope) { c.Coverage.InsuredName = strings.Repeat("x", 61) }, "coverage.insured_name", "X12_LENGTH"},
		{"purchase order of 23", func(c *payload.Claim, _ *claims.Envelope) { c.Coverage.PurchaseOrder = strings.Repeat("x", 23) }, "coverage.purchase_order", "X12_LENGTH"},
		{"no sender", func(_ *payload.Claim, e *claims.Envelope) { e.X12.SenderID = "" }, "x12.sender_id", "X12_ADDRESS"},
		{"receiver too long", func(_ *payload.Claim, e *claims.Envelope) { e.X12.ReceiverID = strings.Repeat("R", 16) }, "x12.receiver_id", "X12_LENGTH"},
		{"no charge", func(c *payload.Claim, _ *claims.Envelope) {
			c.Lines, c.Totals.Tax, c.Totals.Total, c.Totals.PayerShare = []payload.Line{}, money.From(0, "USD"), money.From(0, "USD"), money.From(0, "USD")
		}, "lines", "X12_LINES"},
		{"a sum one cent off", func(c *payload.Claim, _ *claims.Envelope) { c.Totals.Tax.Minor++ }, "totals", "BATCH_SUM"},
		{"yen", func(c *payload.Claim, _ *claims.Envelope) { c.Totals.Total.Currency = "JPY" }, "totals.total", "X12_CURRENCY"},
	} {
		claim, e := newYork(t), envelope(payers.X12004010)
		test.change(&claim, &e)
		frozen := formattest.Freeze(t, claim)
		has := func(faults []errs.Field, path string) bool {
			return slices.ContainsFunc(faults, func(f errs.Field) bool { return f.Path == path && f.Reason == test.reason })
		}
		if faults := (x12.Format{}).Unfit(e, frozen); !has(faults, test.path) {
			t.Errorf("%s: unfit for %+v, want %s at %s", test.name, faults, test.reason, test.path)
		}
		var out bytes.Buffer
		var refused *errs.Error
		err := x12.Format{}.Encode(&out, e, []claims.Frozen{frozen})
		if !errors.As(err, &refused) || !has(refused.Fields, "claims[0]."+test.path) && !has(refused.Fields, test.path) || out.Len() > 0 {
			t.Errorf("%s: encoded with %v after %d bytes, want %s", test.name, err, out.Len(), test.reason)
		}
	}
	claim := newYork(t)
	claim.ClaimNumber, claim.InvoiceNumber, claim.InvoiceDate, claim.IsPreview = "", "", "", true
	if faults := (x12.Format{}).Unfit(envelope(payers.X12004010), formattest.Freeze(t, claim)); len(faults) > 0 {
		t.Errorf("a preview is unfit for %+v", faults)
	}
	if faults := (x12.Format{}).Unfit(envelope(payers.X12004010), claims.Frozen{}); len(faults) > 0 {
		t.Errorf("a claim that could not be translated is unfit for %+v", faults)
	}
}

// TestControlNumber: ten digits do not fit.
func TestControlNumber(t *testing.T) {
	t.Parallel()
	for number, want := range map[int64]string{1: "", 999_999_999: "", 1_000_000_000: "CONTROL_NUMBER"} {
		e := envelope(payers.X12004010)
		e.ControlNumber = number
		var out bytes.Buffer
		if got := reasonOf(t, x12.Format{}.Encode(&out, e, formattest.Batch(t, 1))); got != want {
			t.Errorf("%d: got %q, want %q", number, got, want)
		}
		if want == "" && !strings.HasSuffix(out.String(), "~IEA*1*"+out.String()[90:99]+"~") {
			t.Errorf("%d: ISA13 %q is not IEA02", number, out.String()[90:99])
		}
	}
}
