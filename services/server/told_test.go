package server_test

import (
	"bytes"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	claimsv1 "cullet/proto/cullet/claims/v1"
	invoicesv1 "cullet/proto/cullet/invoices/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	runsv1 "cullet/proto/cullet/runs/v1"
	webhooksv1 "cullet/proto/cullet/webhooks/v1"
	"cullet/services/claims"
	"cullet/services/webhooks"
)

// unheard are the versions of claims that no event tells, and the claims whose last event tells
// another state than they are in.
const unheard = `
SELECT 'C-' || c.sequence || ' version ' || v FROM claims c, generate_series(1, c.version) v
WHERE NOT EXISTS (SELECT FROM events e WHERE e.shop_id = c.shop_id AND e.subject_kind = 'claim' AND e.subject_id = c.claim_id
  AND e.subject_version = v)
UNION ALL
SELECT 'C-' || c.sequence || ' is ' || c.state || ' and was told ' || (e.data ->> 'state') FROM claims c JOIN events e
  ON e.shop_id = c.shop_id AND e.subject_kind = 'claim' AND e.subject_id = c.claim_id AND e.subject_version = c.version
WHERE c.state <> e.data ->> 'state'
UNION ALL
SELECT i.kind || ' ' || i.number FROM invoices i
WHERE NOT EXISTS (SELECT FROM events e WHERE e.shop_id = i.shop_id AND (e.subject_kind = 'invoice' AND e.subject_id = i.invoice_id
  OR e.data ->> 'invoice_id' = i.invoice_id::text OR e.data ->> 'credit_note_id' = i.invoice_id::text))
UNION ALL
SELECT 'open amount of invoice ' || r.invoice_id FROM receivables r
WHERE r.open_amount < r.amount AND NOT EXISTS (SELECT FROM events e WHERE e.shop_id = r.shop_id AND e.subject_kind = 'invoice'
  AND e.subject_id = r.invoice_id AND e.type IN ('invoice.paid', 'invoice.partly_paid', 'invoice.credited'))
UNION ALL
SELECT 'job ' || j.job_id || ' version ' || j.version FROM jobs j
WHERE NOT EXISTS (SELECT FROM events e WHERE e.shop_id = j.shop_id AND e.subject_kind = 'job' AND e.subject_id = j.job_id
  AND e.subject_version = j.version)`

// everythingIsTold: every movement of a claim, an invoice and a job has its event with the state after
// it, and every event is as its published schema says. It gives the types that there were.
func (h *cutHouse) everythingIsTold(t *testing.T) (types []string) {
	t.Helper()
	var silent []string
	h.Select(&silent, unheard)
	for _, what := range silent {
		t.Errorf("no event tells of %s", what)
	}
	schemas := map[string]*jsonschema.Schema{}
	for _, e := range webhooks.EventTypes() {
		schemas[e.Name] = compile(t, e)
	}
	var rows []struct {
		Type string `db:"type"`
		Body string `db:"body"`
	}
	h.Select(&rows, `SELECT type, json_build_object('event_id', event_id, 'type', type, 'timestamp', occurred_time, 'subject_kind',
  subject_kind, 'subject_id', subject_id, 'subject_version', subject_version, 'data', data)::text AS body FROM events`)
	seen := map[string]bool{}
	for _, row := range rows {
		schema := schemas[row.Type]
		if schema == nil {
			t.Errorf("an event of type %s was written, which the catalogue has not", row.Type)
			continue
		}
		value, err := jsonschema.UnmarshalJSON(strings.NewReader(row.Body))
		if err != nil {
			t.Fatal(err)
		}
		if err := schema.Validate(value); err != nil && !seen[row.Type] {
			t.Errorf("%s is not as its schema says: %v\n%s", row.Type, err, row.Body)
		}
		seen[row.Type] = true
	}
	return slices.Sorted(maps.Keys(seen))
}

func compile(t *testing.T, e webhooks.EventType) *jsonschema.Schema {
	t.Helper()
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(e.Schema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	if err := c.AddResource(e.Name, document); err != nil {
		t.Fatal(err)
	}
	schema, err := c.Compile(e.Name)
	if err != nil {
		t.Fatalf("%s: %v", e.Name, err)
	}
	return schema
}

// TestEveryTypeOfEventIsWritten moves claims, jobs and invoices in every way that there is. What was
// written then is the whole catalogue, and nothing else.
func TestEveryTypeOfEventIsWritten(t *testing.T) {
	t.Parallel()
	h := openCutHouse(t)
	ask := func(_ any, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	ctx := t.Context()
	h.beforeRelease(t, ask)
	ask(h.Webhooks.SendTestEvent(ctx, &webhooksv1.SendTestEventRequest{EndpointId: h.endpoint(t).GetEndpointId()}))
	job := h.job(t, false)
	invoice := h.invoiceOf(t, job)
	for _, amount := range []int64{1000, 9775} {
		ask(h.Invoices.RecordPayment(ctx, &invoicesv1.RecordPaymentRequest{InvoiceId: invoice.GetInvoiceId(), Amount: usd(amount),
			Method: invoicesv1.PaymentMethod_PAYMENT_METHOD_CASH}))
	}
	ask(h.Claims.WithdrawClaim(ctx, withdraw(h.inState(t, h.released(t).GetClaimId(), claimsv1.State_STATE_RELEASED)).(*claimsv1.WithdrawClaimRequest)))
	ask(h.Claims.ResubmitClaim(ctx, resubmit(h.rejected(t), 1000).(*claimsv1.ResubmitClaimRequest)))
	var sent []string
	for range 4 {
		sent = append(sent, h.released(t).GetClaimId())
	}
	run, err := h.Runs.StartRun(ctx, &runsv1.StartRunRequest{})
	ask(run, err)
	if err := h.line.Advance(ctx, h.shop, run.GetRun().GetRunId()); err != nil {
		t.Fatal(err)
	}
	for i, state := range []string{"ACKNOWLEDGED", "ACCEPTED", "INFORMATION_REQUESTED", "DENIED"} {
		h.answer(t, state, sent[i:i+1])
	}
	types := h.everythingIsTold(t)
	var want []string
	for _, e := range webhooks.EventTypes() {
		want = append(want, e.Name)
	}
	if !slices.Equal(types, want) {
		t.Errorf("written were\n%v,\nthe catalogue has\n%v", types, want)
	}
	for _, state := range claims.States() {
		if !slices.Contains(webhooks.ClaimStates, string(state)) {
			t.Errorf("events cannot tell the state %s", state)
		}
	}
}

// beforeRelease does to claims what can be done before they leave the house.
func (h *cutHouse) beforeRelease(t *testing.T, ask func(any, error)) {
	t.Helper()
	ctx := t.Context()
	c := h.ready(t)
	ask(h.Claims.UpdateCoverage(ctx, &claimsv1.UpdateCoverageRequest{ClaimId: c.GetClaimId(), Coverage: corrected(c, 1000), Etag: c.GetEtag()}))
	c = h.inState(t, c.GetClaimId(), claimsv1.State_STATE_READY)
	ask(h.Claims.HoldClaim(ctx, &claimsv1.HoldClaimRequest{ClaimId: c.GetClaimId(), Reason: "Asked.", UntilDate: "2026-11-01", Etag: c.GetEtag()}))
	c = h.inState(t, c.GetClaimId(), claimsv1.State_STATE_READY)
	ask(h.Claims.HoldClaim(ctx, &claimsv1.HoldClaimRequest{ClaimId: c.GetClaimId(), Etag: c.GetEtag()}))
	ask(h.Claims.AddNote(ctx, &claimsv1.AddNoteRequest{ClaimId: c.GetClaimId(), Note: "Called."}))
	ask(h.Claims.WithdrawClaim(ctx, withdraw(h.ready(t)).(*claimsv1.WithdrawClaimRequest)))
	stopped := h.stoppedByLaw(t)
	ask(h.Claims.OverruleFinding(ctx, &claimsv1.OverruleFindingRequest{ClaimId: stopped.GetClaimId(), Code: "LAW-DEDUCTIBLE-STATUTE",
		Path: "coverage.deductible_basis", Reason: "Our lawyer has looked at it.", Etag: stopped.GetEtag()}))
	payer, err := h.Payers.GetPayer(ctx, &payersv1.GetPayerRequest{PayerId: h.payer})
	ask(payer, err)
	profile := payer.GetPayer().GetProfile()
	profile.FilingLimitDays = 80
	ask(h.Payers.UpdatePayerProfile(ctx, &payersv1.UpdatePayerProfileRequest{PayerId: h.payer, Profile: profile, Etag: payer.GetPayer().GetEtag()}))
	if err := h.line.Recheck(ctx, h.shop, c.GetClaimId()); err != nil {
		t.Fatal(err)
	}
	record := h.record(t, true)
	recorded, err := h.Jobs.RecordJob(ctx, &jobsv1.RecordJobRequest{Record: record})
	ask(recorded, err)
	record.Technician = fmt.Sprint("Technician ", h.next())
	ask(h.Jobs.AmendJob(ctx, &jobsv1.AmendJobRequest{JobId: recorded.GetJob().GetJobId(), Record: record, Reason: "Another name.", Etag: recorded.GetJob().GetEtag()}))
}
