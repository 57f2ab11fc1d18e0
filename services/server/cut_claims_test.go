package server_test

import (
	"maps"
	"testing"

	"google.golang.org/protobuf/proto"

	claimsv1 "cullet/proto/cullet/claims/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
)

// corrected is the coverage of a claim with another policy number; other than before, a deductible
// is taken when it applies.
func corrected(c *claimsv1.Claim, deductible int64) *payersv1.Coverage {
	coverage := proto.CloneOf(c.GetCoverage())
	coverage.PolicyNumber = "LM-999999"
	if deductible > 0 {
		coverage.Deductible, coverage.DeductibleBasis = usd(deductible), payersv1.DeductibleBasis_DEDUCTIBLE_BASIS_APPLIES
	}
	return coverage
}

// told is the effect of a change of one claim that is told: each event goes to the one endpoint of
// the house and has a version of the claim. Others are added.
func told(events int64, others effect) effect {
	all := effect{"requests": 1, "events": events, "deliveries": events, "claims.version": events}
	maps.Copy(all, others)
	return all
}

// claimChanges leave money alone.
var claimChanges = []change{
	{method: claimsv1.ClaimService_AddNote_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			return &claimsv1.AddNoteRequest{ClaimId: h.claim(t), Note: "Called the desk."}
		},
		effect: told(1, nil)},
	{method: claimsv1.ClaimService_OverruleFinding_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			c := h.stoppedByLaw(t)
			return &claimsv1.OverruleFindingRequest{ClaimId: c.GetClaimId(), Code: "LAW-DEDUCTIBLE-STATUTE", Path: "coverage.deductible_basis",
				Reason: "Our lawyer has looked at it.", Etag: c.GetEtag()}
		},
		effect: told(1, effect{"overrulings": 1, "audit_entries": 1})},
	{method: claimsv1.ClaimService_HoldClaim_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			c := h.ready(t)
			return &claimsv1.HoldClaimRequest{ClaimId: c.GetClaimId(), Reason: "The policy is looked for.", UntilDate: "2026-11-01",
				Etag: c.GetEtag()}
		},
		effect: told(1, effect{"claims.held": 1})},
	{method: claimsv1.ClaimService_UpdateCoverage_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			c := h.ready(t)
			return &claimsv1.UpdateCoverageRequest{ClaimId: c.GetClaimId(), Coverage: corrected(c, 1000), Etag: c.GetEtag()}
		},
		effect: told(1, nil)},
	{method: claimsv1.ClaimService_WithdrawClaim_FullMethodName, when: "before release",
		prepare: func(t *testing.T, h *cutHouse) proto.Message { return withdraw(h.ready(t)) },
		effect:  told(1, nil)},
}

// releases book what a claim asks for, or take it back: 79.95 and 20.00 for the trip, with the sales
// tax of state and county.
var releases = []change{
	{method: claimsv1.ClaimService_ReleaseClaims_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			return &claimsv1.ReleaseClaimsRequest{ClaimIds: []string{h.claim(t)}}
		},
		effect: told(1, effect{"invoices": 1, "number_series.next_number": 1, "invoice_lines": 2, "receivables": 1,
			"receivables.open_amount": 10775, "journal_entries": 1, "journal_lines": 5})},
	{method: claimsv1.ClaimService_WithdrawClaim_FullMethodName, when: "with a credit note",
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			return withdraw(h.inState(t, h.released(t).GetClaimId(), claimsv1.State_STATE_RELEASED))
		},
		effect: told(1, effect{"events": 2, "deliveries": 2, "invoices": 1, "number_series.next_number": 1, "invoice_lines": 2, "allocations": 1,
			"receivables.open_amount": -10775, "journal_entries": 1, "journal_lines": 5})},
}

var resubmissions = []change{
	{method: claimsv1.ClaimService_ResubmitClaim_FullMethodName, when: "on the same invoice",
		prepare: func(t *testing.T, h *cutHouse) proto.Message { return resubmit(h.rejected(t), 0) },
		effect:  told(2, nil)},
}

// replacements credit the invoice and write another, on which the motorist pays the deductible.
var replacements = []change{
	{method: claimsv1.ClaimService_ResubmitClaim_FullMethodName, when: "on another invoice",
		prepare: func(t *testing.T, h *cutHouse) proto.Message { return resubmit(h.rejected(t), 1000) },
		effect: told(2, effect{"events": 3, "deliveries": 3, "invoices": 2, "number_series.next_number": 2, "invoice_lines": 4, "receivables": 2,
			"allocations": 1, "journal_entries": 2, "journal_lines": 11})},
}

func withdraw(c *claimsv1.Claim) proto.Message {
	return &claimsv1.WithdrawClaimRequest{ClaimId: c.GetClaimId(), Reason: "Recorded twice.", Etag: c.GetEtag()}
}

func resubmit(c *claimsv1.Claim, deductible int64) proto.Message {
	return &claimsv1.ResubmitClaimRequest{ClaimId: c.GetClaimId(), Coverage: corrected(c, deductible), Reason: "Policy number corrected.",
		Etag: c.GetEtag()}
}
