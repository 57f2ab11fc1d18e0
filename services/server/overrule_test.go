package server_test

import (
	"strings"
	"testing"

	claimsv1 "cullet/proto/cullet/claims/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/errs"
)

// stoppedByLaw is a claim in Ohio that names a statute as the ground of its deductible; none is known.
func (h *cutHouse) stoppedByLaw(t *testing.T) *claimsv1.Claim {
	t.Helper()
	record := h.record(t, true)
	record.Coverage.DeductibleBasis = payersv1.DeductibleBasis_DEDUCTIBLE_BASIS_STATUTE
	answer, err := h.Jobs.RecordJob(t.Context(), &jobsv1.RecordJobRequest{Record: record})
	if err != nil {
		t.Fatal(err)
	}
	if err := h.line.Open(t.Context(), h.shop, answer.GetJob().GetJobId()); err != nil {
		t.Fatal(err)
	}
	var id string
	h.Get(&id, `SELECT claim_id FROM claims WHERE job_id = $1`, answer.GetJob().GetJobId())
	return h.inState(t, id, claimsv1.State_STATE_DRAFT)
}

// findingOf gives the finding of a code; empty when there is none.
func findingOf(c *claimsv1.Claim, code string) (path, severity, sentence string) {
	for _, f := range c.GetFindings() {
		if f.GetCode() == code {
			return f.GetPath(), f.GetSeverity().String(), f.GetSentence()
		}
	}
	return "", "", ""
}

// TestOverruling: a block of law is overruled once, by its code and path, with a reason that is kept, shown
// and audited; the claim is then ready, stays so when it is checked again, and can be released. Nothing
// else that stops a claim can be overruled.
func TestOverruling(t *testing.T) {
	t.Parallel()
	h := openCutHouse(t)
	c := h.stoppedByLaw(t)
	const code, path, reason = "LAW-DEDUCTIBLE-STATUTE", "coverage.deductible_basis", "Our lawyer names an endorsement of this policy."
	request := func(change func(*claimsv1.OverruleFindingRequest)) *claimsv1.OverruleFindingRequest {
		r := &claimsv1.OverruleFindingRequest{ClaimId: c.GetClaimId(), Code: code, Path: path, Reason: reason, Etag: c.GetEtag()}
		change(r)
		return r
	}
	for name, refused := range map[string]struct {
		request *claimsv1.OverruleFindingRequest
		kind    errs.Kind
	}{
		"another code":   {request(func(r *claimsv1.OverruleFindingRequest) { r.Code = "AUTH-EXPIRED" }), errs.Invalid},
		"another path":   {request(func(r *claimsv1.OverruleFindingRequest) { r.Path = "coverage" }), errs.Invalid},
		"no reason":      {request(func(r *claimsv1.OverruleFindingRequest) { r.Reason = "" }), errs.Invalid},
		"a short reason": {request(func(r *claimsv1.OverruleFindingRequest) { r.Reason = "because.." }), errs.Invalid},
	} {
		if _, err := h.Claims.OverruleFinding(t.Context(), refused.request); !errs.Is(err, refused.kind) {
			t.Errorf("%s: %v, want %v", name, err, refused.kind)
		}
	}
	answer, err := h.Claims.OverruleFinding(t.Context(), request(func(*claimsv1.OverruleFindingRequest) {}))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := h.Claims.OverruleFinding(t.Context(), request(func(*claimsv1.OverruleFindingRequest) {})); !errs.Is(err, errs.Stale) {
		t.Errorf("an old etag: %v, want Stale", err)
	}
	got := answer.GetClaim()
	if _, severity, sentence := findingOf(got, code); got.GetState() != claimsv1.State_STATE_READY || severity != "SEVERITY_NOTE" ||
		!strings.Contains(sentence, "Overruled by owner on 2026-10-20: "+reason) {
		t.Errorf("the claim is %s with %s %q", got.GetState(), severity, sentence)
	}
	var detail string
	h.Get(&detail, `SELECT detail::text FROM audit_entries WHERE action = 'claim.finding_overruled' AND subject_id = $1`, c.GetClaimId())
	if !strings.Contains(detail, reason) || !strings.Contains(detail, "Fla. Stat. 627.7288") {
		t.Errorf("the audit says %s", detail)
	}
	// Checked again after a change it stays overruled.
	coverage := got.GetCoverage()
	coverage.PolicyNumber = "LM-777777"
	changed, err := h.Claims.UpdateCoverage(t.Context(), &claimsv1.UpdateCoverageRequest{ClaimId: c.GetClaimId(), Coverage: coverage, Etag: got.GetEtag()})
	if err != nil || changed.GetClaim().GetState() != claimsv1.State_STATE_READY {
		t.Fatalf("after a change the claim is %s, %v", changed.GetClaim().GetState(), err)
	}
	released, err := h.Claims.ReleaseClaims(t.Context(), &claimsv1.ReleaseClaimsRequest{ClaimIds: []string{c.GetClaimId()}})
	if err != nil || released.GetResults()[0].GetReason() != "" {
		t.Fatalf("released with %v, %v", released.GetResults(), err)
	}
	after := h.inState(t, c.GetClaimId(), claimsv1.State_STATE_RELEASED)
	if _, err := h.Claims.OverruleFinding(t.Context(), request(func(r *claimsv1.OverruleFindingRequest) { r.Etag = after.GetEtag() })); !errs.Is(err, errs.State) {
		t.Errorf("after release: %v, want State", err)
	}
}
