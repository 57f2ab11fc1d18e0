package payload_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"cullet/adapters/payload"
	"cullet/services/access"
	"cullet/services/claims"
	"cullet/services/finding"
	"cullet/services/jobs"
	"cullet/services/payers"
	"cullet/services/pricing"
	"cullet/services/repairability"
	"cullet/services/tax"
)

var update = flag.Bool("update", false, "rewrite the golden files")

const folder = "../../testdata/claims/json"

func translate(t testing.TB, c claims.Case) claims.Translation {
	t.Helper()
	made, err := payload.Translator{Book: tax.Shipped()}.Translate(c)
	if err != nil {
		t.Fatal(err)
	}
	return made
}

// ownCodes are the codes of the findings that this package makes.
func ownCodes(found []finding.Finding) []string {
	var codes []string
	for _, f := range found {
		if !strings.HasPrefix(f.Code, "TAX-") && !strings.HasPrefix(f.Code, "PRICE-") {
			codes = append(codes, f.Code)
		}
	}
	return codes
}

// TestTranslate makes every scenario and compares its payload with the golden file, its money with
// the sums worked out by hand, and its bytes with those of a second translation.
func TestTranslate(t *testing.T) {
	t.Parallel()
	schema := compiled(t)
	for _, s := range scenarios() {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			c := base()
			s.change(&c)
			made := translate(t, c)
			if diff := cmp.Diff(s.codes, ownCodes(made.Findings)); diff != "" {
				t.Errorf("findings, want - got +:\n%s", diff)
			}
			if made.Totals.PayerShare != usd(s.payerShare) || made.Totals.MotoristShare != usd(s.motoristShare) {
				t.Errorf("got payer %s and motorist %s, want %s and %s", made.Totals.PayerShare,
					made.Totals.MotoristShare, usd(s.payerShare), usd(s.motoristShare))
			}
			checkSums(t, made)
			valid(t, schema, made.Payload)
			if again := translate(t, c); !bytes.Equal(again.Payload, made.Payload) {
				t.Error("the same case gave other bytes")
			}
			golden(t, s.name, made.Payload)
		})
	}
}

func golden(t *testing.T, name string, content []byte) {
	t.Helper()
	var indented bytes.Buffer
	if err := json.Indent(&indented, content, "", "  "); err != nil {
		t.Fatal(err)
	}
	indented.WriteByte('\n')
	file := folder + "/" + name + ".json"
	if *update {
		if err := os.WriteFile(file, indented.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), indented.String()); diff != "" {
		t.Errorf("%s, want - got +:\n%s", file, diff)
	}
}

// checkSums: every total is the sum of what it is the total of.
func checkSums(t testing.TB, made claims.Translation) {
	t.Helper()
	var net, taxes int64
	for _, l := range made.Lines {
		net += l.Amount.Minor
		taxes += l.Tax.Minor
		var explained int64
		for _, component := range l.Taxes {
			explained += component.Tax.Minor
		}
		if explained != l.Tax.Minor {
			t.Errorf("line %d: tax %s, explained %d", l.ID, l.Tax, explained)
		}
	}
	got := made.Totals
	if got.Net.Minor != net || got.Tax.Minor != taxes || got.Total.Minor != net+taxes ||
		got.PayerShare.Minor+got.MotoristShare.Minor != got.Total.Minor ||
		got.PayerShare.IsNegative() || got.MotoristShare.IsNegative() {
		t.Errorf("lines have net %d and tax %d, totals are %+v", net, taxes, got)
	}
}

// TestTranslateLeavesOut: what a payer has no use for is in no payload.
func TestTranslateLeavesOut(t *testing.T) {
	t.Parallel()
	c := base()
	mobileInKentucky(&c)
	text := string(translate(t, c).Payload)
	for _, secret := range []string{"jordan@example.test", "39103100", "84508600", "the dog in the car", "tablet", "lantern.example"} {
		if strings.Contains(text, secret) {
			t.Errorf("the payload tells %q", secret)
		}
	}
}

// TestTranslateFindings asserts the code and the path of each finding, as the clerk is led to it.
func TestTranslateFindings(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name       string
		change     func(*claims.Case)
		code       string
		path       string
		severity   finding.Severity
		hasPayload bool
	}{
		{"no agreement of the day", func(c *claims.Case) { c.Payer.Profile.Agreements[0].ValidFrom = "2026-11-01" },
			"PRICE-NO-AGREEMENT", "payer.profile.agreements", finding.Stop, false},
		{"outcome missing", func(c *claims.Case) { c.Job.Record.Damages[0].Outcome = "" },
			"PRICE-OUTCOME", "job.damages[0].outcome", finding.Stop, false},
		{"nothing repaired", func(c *claims.Case) { c.Job.Record.Damages[0].Outcome = repairability.Declined },
			"PRICE-NOTHING", "job.damages", finding.Stop, false},
		{"crack without length", func(c *claims.Case) { c.Job.Record.Damages[0].Kind = repairability.Crack },
			"DAMAGE-CRACK-LENGTH", "job.damages[0].crack_length_mm", finding.Stop, false},
		{"crack too long", func(c *claims.Case) {
			c.Job.Record.Damages[0].Kind, c.Job.Record.Damages[0].CrackLength = repairability.Crack, repairability.MM(351)
		}, "PRICE-CRACK-LENGTH", "job.damages[0]", finding.Stop, false},
		{"county of the shop missing", func(c *claims.Case) { c.Shop.Address.County, c.Shop.Address.City = "", "" },
			"TAX-LOCAL-UNKNOWN", "shop.address.county", finding.Stop, false},
		{"state of the place unknown", func(c *claims.Case) {
			c.Job.Record.Place = jobs.Place{IsMobile: true, Address: access.Address{State: "ZZ"}}
		}, "TAX-PLACE-STATE", "job.place_of_repair.address.state", finding.Stop, false},
		{"country of the shop unknown", func(c *claims.Case) { c.Shop.Address.CountryCode = "" },
			"TAX-PLACE-COUNTRY", "shop.address.country_code", finding.Stop, false},
		{"certificate expired", func(c *claims.Case) {
			governmentExempt(c)
			c.Payer.Profile.Buyer.Certificate.ValidTo = "2026-10-19"
		}, "TAX-CERTIFICATE-EXPIRED", "payer.profile.buyer.certificate", finding.Caution, true},
		{"deductible applies without amount", func(c *claims.Case) { c.Coverage.DeductibleBasis = payers.Applies },
			"COVERAGE-DEDUCTIBLE-MISSING", "coverage.deductible", finding.Stop, true},
		{"deductible of another currency", func(c *claims.Case) {
			c.Coverage.DeductibleBasis, c.Coverage.Deductible = payers.Applies, usdp(100)
			c.Coverage.Deductible.Currency = "CAD"
		}, "COVERAGE-DEDUCTIBLE-CURRENCY", "coverage.deductible", finding.Stop, true},
		{"deductible below nothing", func(c *claims.Case) {
			c.Coverage.DeductibleBasis, c.Coverage.Deductible = payers.Applies, usdp(-1)
		}, "COVERAGE-DEDUCTIBLE-NEGATIVE", "coverage.deductible", finding.Stop, true},
		{"deductible equals the total", func(c *claims.Case) {
			c.Coverage.DeductibleBasis, c.Coverage.Deductible = payers.Applies, usdp(8619)
		}, "COVERAGE-DEDUCTIBLE-COVERS-ALL", "coverage.deductible", finding.Stop, true},
		{"deductible not known", func(c *claims.Case) { c.Payer.Profile.IsDeductibleWaivedForRepair = false },
			"COVERAGE-DEDUCTIBLE-UNKNOWN", "coverage.deductible", finding.Caution, true},
		{"trip agreed and not paid", func(c *claims.Case) {
			mobileInKentucky(c)
			c.Payer.Profile.IsMobileWorkPaid = false
		}, "PAYER-TRIP-CONTRADICTED", "payer.profile.is_mobile_work_paid", finding.Caution, true},
		{"price by volume", func(c *claims.Case) {
			c.Payer.Profile.Agreements[0].VolumeSteps = []pricing.VolumeStep{{FromRepair: 10, First: usd(7000), Further: usd(1000)}}
		}, "PAYER-VOLUME-NOT-COUNTED", "payer.profile.agreements[0].volume_steps", finding.Caution, true},
		{"prices of nothing", func(c *claims.Case) { c.Payer.Profile.Agreements[0].First = usd(0) },
			"CLAIM-NOTHING-TO-BILL", "lines", finding.Stop, true},
	}
	schema := compiled(t)
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			c := base()
			test.change(&c)
			made := translate(t, c)
			isIt := func(f finding.Finding) bool { return f.Code == test.code }
			i := slices.IndexFunc(made.Findings, isIt)
			if i < 0 {
				t.Fatalf("no %s among %+v", test.code, made.Findings)
			}
			f := made.Findings[i]
			if f.Path != test.path || f.Severity != test.severity || f.Sentence == "" || f.Fix == "" || f.Source.Known == "" {
				t.Errorf("got %+v, want path %s and severity %s, with sentence, fix and source", f, test.path, test.severity)
			}
			if (made.Payload != nil) != test.hasPayload {
				t.Errorf("payload made: %v, want %v", made.Payload != nil, test.hasPayload)
			}
			if made.Payload != nil {
				valid(t, schema, made.Payload)
			}
		})
	}
}

// TestTranslateTellsEverythingAtOnce: a missing price does not hide an unknown place.
func TestTranslateTellsEverythingAtOnce(t *testing.T) {
	t.Parallel()
	c := base()
	c.Payer.Profile.Agreements = nil
	c.Shop.Address.County = ""
	made := translate(t, c)
	var got []string
	for _, f := range made.Findings {
		if f.Severity == finding.Stop {
			got = append(got, f.Code)
		}
	}
	if want := []string{"PRICE-NO-AGREEMENT", "TAX-LOCAL-UNKNOWN"}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

// TestTranslateSelfPaid: the motorist who pays himself owes everything, and nobody is claimed from.
func TestTranslateSelfPaid(t *testing.T) {
	t.Parallel()
	prices := payers.Profile{Agreements: []pricing.Agreement{agreement()}}
	for name, payer := range map[string]payers.Payer{
		"no payer":    {Profile: prices},
		"list prices": {ID: "01980f3e-0000-7000-8000-0000000000b9", Code: "list", Kind: payers.Motorist, Profile: prices},
	} {
		c := base()
		c.Payer, c.Coverage = payer, payers.Coverage{}
		c.Job.Record.Place = jobs.Place{IsMobile: true, Address: c.Shop.Address}
		made := translate(t, c)
		if made.Payload != nil || len(ownCodes(made.Findings)) != 0 {
			t.Errorf("%s: got a payload of %d bytes and %v, want neither", name, len(made.Payload), made.Findings)
		}
		// 79.95 and the trip of 20.00, at 7.80 %, both taxed in Ohio: 7.80.
		if made.Totals.MotoristShare != usd(10775) || made.Totals.PayerShare != usd(0) {
			t.Errorf("%s: got %+v, want all of 107.75 to the motorist", name, made.Totals)
		}
		checkSums(t, made)
	}
}
