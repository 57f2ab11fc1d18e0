package claimsrpc_test

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"cullet/adapters"
	"cullet/adapters/payload"
	accessv1 "cullet/proto/cullet/access/v1"
	claimsv1 "cullet/proto/cullet/claims/v1"
	findingsv1 "cullet/proto/cullet/findings/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	moneyv1 "cullet/proto/cullet/money/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/errs"
	"cullet/services/repairability"
	"cullet/services/server"
	"cullet/services/server/servertest"
	"cullet/services/tax"
)

var now = time.Date(2026, 10, 20, 19, 0, 0, 0, time.UTC)

func usd(minor int64) *moneyv1.Money {
	return &moneyv1.Money{MinorUnits: minor, CurrencyCode: "USD"}
}

// start runs a server with an insurer that waives the deductible and pays mobile work.
func start(t *testing.T) *servertest.World {
	t.Helper()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true, Now: func() time.Time { return now },
		Outside: server.Outside{Translator: payload.Translator{Book: tax.Shipped()}, Formats: adapters.Formats(),
			Channels: adapters.Channels(adapters.ChannelOptions{})}})
	_, err := w.Payers.CreatePayer(t.Context(), &payersv1.CreatePayerRequest{Code: "lantern-mutual", Name: "Lantern Mutual (invented)",
		Kind: payersv1.PayerKind_PAYER_KIND_INSURER, Profile: &payersv1.PayerProfile{
			RequiredFields: []string{"policy_number"}, IsDeductibleWaivedForRepair: true, IsMobileWorkPaid: true, FilingLimitDays: 90,
			Format: "json", Channel: "https", Address: "https://lantern.example/claims",
			PriceAgreements: []*payersv1.PriceAgreement{{Key: "Lantern 2026", ValidFrom: "2026-01-01", FirstRepair: usd(7995),
				FurtherRepair: usd(1500), TripCharge: usd(2000)}}}})
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// record is the invented record of services/jobs/testdata, with a damage that can be judged.
func record(t *testing.T) *jobsv1.RepairRecord {
	t.Helper()
	text, err := os.ReadFile("../../jobs/testdata/record.json")
	if err != nil {
		t.Fatal(err)
	}
	m := &jobsv1.RepairRecord{}
	if err := protojson.Unmarshal(text, m); err != nil {
		t.Fatal(err)
	}
	m.Photos = []*jobsv1.PhotoReference{{PhotoHash: strings.Repeat("a", 64), Kind: jobsv1.PhotoKind_PHOTO_KIND_BEFORE, DamageNumber: 1}}
	return m
}

func rows(w *servertest.World) string {
	var all []string
	for _, table := range []string{"jobs", "job_photos", "photos", "claims", "claim_contents", "requests", "events", "work", "number_series"} {
		all = append(all, fmt.Sprintf("%s %d", table, w.Count(table)))
	}
	return strings.Join(all, ", ")
}

// found gives "CODE SEVERITY path" of a finding by its code; empty when there is none.
func found(c *claimsv1.Claim, code string) string {
	for _, f := range c.GetFindings() {
		if f.GetCode() == code {
			return strings.TrimPrefix(f.GetSeverity().String(), "SEVERITY_") + " " + f.GetPath()
		}
	}
	return ""
}

func stops(c *claimsv1.Claim) (codes []string) {
	for _, f := range c.GetFindings() {
		if f.GetSeverity() == findingsv1.Severity_SEVERITY_STOP {
			codes = append(codes, f.GetCode())
		}
	}
	return codes
}

func TestPreview(t *testing.T) {
	t.Parallel()
	w := start(t)
	before := rows(w)
	answer, err := w.Claims.PreviewClaim(t.Context(), &claimsv1.PreviewClaimRequest{Record: record(t)})
	if err != nil {
		t.Fatal(err)
	}
	c := answer.GetClaim()
	if !answer.GetIsReady() || c.GetState() != claimsv1.State_STATE_READY || len(stops(c)) > 0 {
		t.Errorf("ready %v, %s, stops %v; want a claim that is ready", answer.GetIsReady(), c.GetState(), stops(c))
	}
	if c.GetClaimId() != "" || c.GetClaimNumber() != "" || c.GetJobId() != "" || c.GetEtag() != "" {
		t.Errorf("a preview has identifiers: %v", c)
	}
	// One repaired damage and the trip; the declined damage costs nothing.
	if net := c.GetNet().GetMinorUnits(); net != 7995+2000 || len(c.GetLines()) == 0 {
		t.Errorf("net %d on %d lines, want 9995", net, len(c.GetLines()))
	}
	if total := c.GetNet().GetMinorUnits() + c.GetTax().GetMinorUnits(); total != c.GetTotal().GetMinorUnits() ||
		c.GetPayerShare().GetMinorUnits()+c.GetMotoristShare().GetMinorUnits() != total {
		t.Errorf("net %v, tax %v, total %v, shares %v and %v do not add up", c.GetNet(), c.GetTax(), c.GetTotal(), c.GetPayerShare(), c.GetMotoristShare())
	}
	if got := found(c, "PHOTO-NOT-UPLOADED"); got != "NOTE job.photos[0]" {
		t.Errorf("the photo that is not uploaded is %q, want a note", got)
	}
	if len(answer.GetAssessments()) != 2 {
		t.Errorf("%d assessments, want 2", len(answer.GetAssessments()))
	}
	if diff := cmp.Diff([]string{repairability.Caution, tax.AdviserCaution}, answer.GetCautions()); diff != "" {
		t.Errorf("cautions (-want +got):\n%s", diff)
	}
	if after := rows(w); after != before {
		t.Errorf("rows before: %s\nafter: %s", before, after)
	}
}

// TestPreviewFinds: what stops a claim is a finding, and what is odd in the record is told too.
func TestPreviewFinds(t *testing.T) {
	t.Parallel()
	w := start(t)
	m := record(t)
	m.Vehicle.Vin, m.Coverage.PolicyNumber, m.Damages[0].Process.VacuumSeconds = "1HGCM82633A004353", "", []int32{2}
	answer, err := w.Claims.PreviewClaim(t.Context(), &claimsv1.PreviewClaimRequest{Record: m})
	if err != nil {
		t.Fatal(err)
	}
	c := answer.GetClaim()
	if answer.GetIsReady() || c.GetState() != claimsv1.State_STATE_DRAFT {
		t.Errorf("ready %v, %s; want a draft", answer.GetIsReady(), c.GetState())
	}
	for code, want := range map[string]string{"VIN-CHECK": "STOP job.vehicle.vin", "COVERAGE-MISSING": "STOP coverage.policy_number",
		"PROCESS-UNUSUAL": "CAUTION job.damages[0].process.vacuum_seconds[0]"} {
		if got := found(c, code); got != want {
			t.Errorf("%s is %q, want %q", code, got, want)
		}
	}
	seen := map[string]bool{}
	for _, f := range c.GetFindings() {
		if key := f.GetCode() + f.GetPath(); seen[key] {
			t.Errorf("%s at %s is told twice", f.GetCode(), f.GetPath())
		} else {
			seen[key] = true
		}
	}
}

// TestPreviewRefuses: a record that could not be recorded cannot be previewed.
func TestPreviewRefuses(t *testing.T) {
	t.Parallel()
	w := start(t)
	for _, test := range []struct {
		name   string
		change func(*jobsv1.RepairRecord)
		want   []string
	}{
		{"faults of every kind", func(m *jobsv1.RepairRecord) {
			m.Vehicle.Vin, m.Damages[1].BodyDiameterMm, m.Technician = "X", proto.Float64(-3), "a\x07"
			m.Coverage.Deductible = &moneyv1.Money{MinorUnits: -1, CurrencyCode: "EUR"}
		}, []string{"record.technician UNWANTED_CHARACTER", "record.vehicle.vin VIN_LENGTH", "record.damages[1].body_diameter_mm DAMAGE_LENGTH_RANGE",
			"record.coverage.deductible.currency_code CURRENCY", "record.coverage.deductible.minor_units TOO_SMALL"}},
		{"a payer that is none", func(m *jobsv1.RepairRecord) { m.Coverage.PayerCode = "nobody" }, []string{"record.coverage.payer_code PAYER_UNKNOWN"}},
		{"no payer", func(m *jobsv1.RepairRecord) { m.Coverage = nil }, []string{"record.coverage.payer_code PAYER_MISSING"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			m := record(t)
			test.change(m)
			_, err := w.Claims.PreviewClaim(t.Context(), &claimsv1.PreviewClaimRequest{Record: m})
			if diff := cmp.Diff(test.want, faults(t, err)); diff != "" {
				t.Errorf("faults (-want +got):\n%s", diff)
			}
		})
	}
	_, err := w.Claims.PreviewClaim(t.Context(), &claimsv1.PreviewClaimRequest{})
	if got := faults(t, err); !slices.Equal(got, []string{"record REQUIRED"}) {
		t.Errorf("no record: %v", got)
	}
}

func faults(t *testing.T, err error) (all []string) {
	t.Helper()
	var known *errs.Error
	if !errors.As(err, &known) || known.Kind != errs.Invalid {
		t.Fatalf("error = %v, want Invalid", err)
	}
	for _, f := range known.Fields {
		all = append(all, f.Path+" "+f.Reason)
	}
	return all
}

// TestPreviewHoldsReadingsAgainstTheShops: what is usual is the shop's to say.
func TestPreviewHoldsReadingsAgainstTheShops(t *testing.T) {
	t.Parallel()
	w := start(t)
	shop, err := w.Access.GetShop(t.Context(), &accessv1.GetShopRequest{})
	if err != nil {
		t.Fatal(err)
	}
	for high, want := range map[float64]string{240: "", 239: "CAUTION job.damages[0].process.pressure_seconds[0]"} {
		shop.GetShop().ProcessRanges = []*accessv1.ProcessRange{{Reading: "pressure_seconds", High: &high}}
		set, err := w.Access.UpdateShop(t.Context(), &accessv1.UpdateShopRequest{Shop: shop.GetShop()})
		if err != nil {
			t.Fatal(err)
		}
		shop.Shop = set.GetShop()
		answer, err := w.Claims.PreviewClaim(t.Context(), &claimsv1.PreviewClaimRequest{Record: record(t)})
		if err != nil {
			t.Fatal(err)
		}
		if got := found(answer.GetClaim(), "PROCESS-UNUSUAL"); got != want {
			t.Errorf("240 s where at most %v s are usual: %q, want %q", high, got, want)
		}
	}
}
