package server_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"

	claimsv1 "cullet/proto/cullet/claims/v1"
	invoicesv1 "cullet/proto/cullet/invoices/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	moneyv1 "cullet/proto/cullet/money/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	runsv1 "cullet/proto/cullet/runs/v1"
	webhooksv1 "cullet/proto/cullet/webhooks/v1"
	"cullet/services/ident"
	"cullet/services/vin"
)

func usd(minor int64) *moneyv1.Money { return &moneyv1.Money{MinorUnits: minor, CurrencyCode: "USD"} }

// insurer adds a payer that takes claims in a folder.
func (h *cutHouse) insurer(t *testing.T, code string) *payersv1.Payer {
	t.Helper()
	answer, err := h.Payers.CreatePayer(t.Context(), insurer(code))
	if err != nil {
		t.Fatal(err)
	}
	return answer.GetPayer()
}

func insurer(code string) *payersv1.CreatePayerRequest {
	return &payersv1.CreatePayerRequest{Code: code, Name: "Payer " + code + " (invented)", Kind: payersv1.PayerKind_PAYER_KIND_INSURER,
		Profile: &payersv1.PayerProfile{IsDeductibleWaivedForRepair: true, IsMobileWorkPaid: true, FilingLimitDays: 90, Format: "json",
			Channel: "folder", Address: code, PriceAgreements: prices()}}
}

func prices() []*payersv1.PriceAgreement {
	return []*payersv1.PriceAgreement{{Key: "2026", ValidFrom: "2026-01-01", FirstRepair: usd(7995), FurtherRepair: usd(1500),
		TripCharge: usd(2000)}}
}

// furnish gives the house a payer, list prices, and an endpoint that hears of everything.
func (h *cutHouse) furnish(t *testing.T) {
	t.Helper()
	h.payer = h.insurer(t, "lantern-mutual").GetPayerId()
	if err := os.Mkdir(filepath.Join(h.folders, "lantern-mutual"), 0o700); err != nil {
		t.Fatal(err)
	}
	list := &payersv1.CreatePayerRequest{Code: "motorist", Name: "Motorists (list prices)", Kind: payersv1.PayerKind_PAYER_KIND_MOTORIST,
		Profile: &payersv1.PayerProfile{PriceAgreements: prices()}}
	if _, err := h.Payers.CreatePayer(t.Context(), list); err != nil {
		t.Fatal(err)
	}
	h.endpoint(t)
}

func (h *cutHouse) endpoint(t *testing.T) *webhooksv1.Endpoint {
	t.Helper()
	answer, err := h.Webhooks.CreateEndpoint(t.Context(), &webhooksv1.CreateEndpointRequest{Url: "https://shop.example/events"})
	if err != nil {
		t.Fatal(err)
	}
	return answer.GetEndpoint()
}

// record is the invented record of services/jobs/testdata, of another vehicle each time, on the
// insurer or, without coverage, on the motorist himself.
func (h *cutHouse) record(t *testing.T, isCovered bool) *jobsv1.RepairRecord {
	t.Helper()
	text, err := os.ReadFile("../jobs/testdata/record.json")
	if err != nil {
		t.Fatal(err)
	}
	m := &jobsv1.RepairRecord{}
	if err := protojson.Unmarshal(text, m); err != nil {
		t.Fatal(err)
	}
	n := h.next()
	m.ExternalReference, m.Vehicle.Vin = fmt.Sprint("V-", n), number(t, n)
	m.Coverage.Authorization.Number = fmt.Sprint("A-", n)
	if !isCovered {
		m.Coverage = nil
	}
	return m
}

func (h *cutHouse) job(t *testing.T, isCovered bool) (id string) {
	t.Helper()
	answer, err := h.Jobs.RecordJob(t.Context(), &jobsv1.RecordJobRequest{Record: h.record(t, isCovered)})
	if err != nil {
		t.Fatal(err)
	}
	return answer.GetJob().GetJobId()
}

// number is a vehicle number of its own with the right check digit.
func number(t *testing.T, n int) string {
	t.Helper()
	text := fmt.Sprintf("1HGCM82603A%06d", n)
	digit, ok := vin.CheckDigit(text)
	if !ok {
		t.Fatalf("%s is no vehicle number", text)
	}
	return text[:8] + string(digit) + text[9:]
}

// claim opens a claim as the workers would.
func (h *cutHouse) claim(t *testing.T) (id string) {
	t.Helper()
	job := h.job(t, true)
	if err := h.line.Open(t.Context(), h.shop, job); err != nil {
		t.Fatal(err)
	}
	h.Get(&id, `SELECT claim_id FROM claims WHERE job_id = $1`, job)
	return id
}

// inState reads a claim and wants it in a state.
func (h *cutHouse) inState(t *testing.T, id string, want claimsv1.State) *claimsv1.Claim {
	t.Helper()
	answer, err := h.Claims.GetClaim(t.Context(), &claimsv1.GetClaimRequest{ClaimId: id})
	if err != nil {
		t.Fatal(err)
	}
	if c := answer.GetClaim(); c.GetState() != want {
		t.Fatalf("claim %s is %s, want %s: %v", id, c.GetState(), want, c.GetFindings())
	}
	return answer.GetClaim()
}

// ready is a claim that may be released.
func (h *cutHouse) ready(t *testing.T) *claimsv1.Claim {
	t.Helper()
	return h.inState(t, h.claim(t), claimsv1.State_STATE_READY)
}

// stocked is how many claims are released, and sent, together.
const stocked = 16

// released takes a claim that is on an invoice.
func (h *cutHouse) released(t *testing.T) *claimsv1.ReleaseResult {
	t.Helper()
	if len(h.stock) == 0 {
		request := &claimsv1.ReleaseClaimsRequest{}
		for range stocked {
			request.ClaimIds = append(request.ClaimIds, h.claim(t))
		}
		answer, err := h.Claims.ReleaseClaims(t.Context(), request)
		if err != nil {
			t.Fatal(err)
		}
		h.stock = answer.GetResults()
	}
	taken := h.stock[0]
	h.stock = h.stock[1:]
	if taken.GetReason() != "" {
		t.Fatal(taken.GetReason())
	}
	return taken
}

// rejected takes a claim that was sent, and that the payer rejected.
func (h *cutHouse) rejected(t *testing.T) *claimsv1.Claim {
	t.Helper()
	if len(h.back) == 0 {
		for range stocked {
			h.back = append(h.back, h.released(t).GetClaimId())
		}
		run, err := h.Runs.StartRun(t.Context(), &runsv1.StartRunRequest{})
		if err != nil {
			t.Fatal(err)
		}
		if err := h.line.Advance(t.Context(), h.shop, run.GetRun().GetRunId()); err != nil {
			t.Fatal(err)
		}
		h.answer(t, "REJECTED", h.back)
	}
	taken := h.back[0]
	h.back = h.back[1:]
	return h.inState(t, taken, claimsv1.State_STATE_REJECTED)
}

// answer is what the payer says to claims.
func (h *cutHouse) answer(t *testing.T, state string, claims []string) {
	t.Helper()
	var answers []string
	for _, id := range claims {
		var sequence int64
		h.Get(&sequence, `SELECT sequence FROM claims WHERE claim_id = $1`, id)
		answers = append(answers, fmt.Sprintf(`{"external_id": "answer to %s", "claim_number": "C-%06d", "state": %q,
			"occur_time": "2026-10-20T20:00:00Z", "reasons": [{"code": "P-1", "text": "The policy number is another one."}]}`, id, sequence, state))
	}
	name, body := fmt.Sprint("message-", h.next()), `{"answers": [`+strings.Join(answers, ", ")+`]}`
	if _, err := h.line.Receive(t.Context(), h.shop, ident.Payer(h.payer), "webhook", name, nil, []byte(body)); err != nil {
		t.Fatal(err)
	}
	var message string
	h.Get(&message, `SELECT message_id FROM messages WHERE external_id = $1`, name)
	if err := h.line.Post(t.Context(), h.shop, message); err != nil {
		t.Fatal(err)
	}
}

// invoiceOf invoices a job to the motorist who pays himself.
func (h *cutHouse) invoiceOf(t *testing.T, job string) *invoicesv1.Invoice {
	t.Helper()
	answer, err := h.Invoices.InvoiceJob(t.Context(), &invoicesv1.InvoiceJobRequest{JobId: job})
	if err != nil {
		t.Fatal(err)
	}
	return answer.GetInvoice()
}

// deposit is a file of one payment: what is for an invoice, and 5.00 that nobody can place.
func (h *cutHouse) deposit(invoice string) []byte {
	const head = "payment_reference,paid_date,currency,total,invoice_number,claim_number,paid,reason_code,reason_text\n"
	return fmt.Appendf([]byte(head), "D-%d,2026-10-20,USD,25.00,%s,,20.00,,\nD-%[1]d,2026-10-20,USD,25.00,,,5.00,,\n", h.next(), invoice)
}
