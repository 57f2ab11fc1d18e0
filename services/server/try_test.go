package server_test

import (
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	payersv1 "cullet/proto/cullet/payers/v1"
	runsv1 "cullet/proto/cullet/runs/v1"
	"cullet/services/errs"
)

// tryProfile is a request that tries the present profile of the house's insurer, changed.
func (h *cutHouse) tryProfile(t *testing.T, change func(*payersv1.PayerProfile)) *payersv1.TryPayerProfileRequest {
	t.Helper()
	payer, err := h.Payers.GetPayer(t.Context(), &payersv1.GetPayerRequest{PayerId: h.payer})
	if err != nil {
		t.Fatal(err)
	}
	profile := proto.CloneOf(payer.GetPayer().GetProfile())
	change(profile)
	return &payersv1.TryPayerProfileRequest{PayerId: h.payer, Profile: profile}
}

// TestTryingAProfile: what a profile would have stopped, and what it would have asked for, is said of past
// claims, and nothing is stored.
func TestTryingAProfile(t *testing.T) {
	t.Parallel()
	h := openCutHouse(t)
	first, second := h.ready(t), h.ready(t)
	before := h.measure()
	same, err := h.Payers.TryPayerProfile(t.Context(), h.tryProfile(t, func(*payersv1.PayerProfile) {}))
	if err != nil || same.GetClaimCount() != 2 || same.GetStoppedNow() != 0 || same.GetStoppedThen() != 0 || len(same.GetChanged()) != 0 {
		t.Errorf("the present profile: %v, %v; want two claims and no change", same, err)
	}
	stricter, err := h.Payers.TryPayerProfile(t.Context(), h.tryProfile(t, func(p *payersv1.PayerProfile) {
		p.RequiredFields = []string{"purchase_order"}
		p.PriceAgreements[0].FirstRepair = usd(8995)
	}))
	if err != nil || stricter.GetStoppedThen() != 2 || len(stricter.GetChanged()) != 2 {
		t.Fatalf("a stricter one: %v, %v; want two that are stopped", stricter, err)
	}
	for i, want := range []string{second.GetClaimId(), first.GetClaimId()} {
		got := stricter.GetChanged()[i]
		if got.GetClaimId() != want || !slices.Equal(got.GetStopsThen(), []string{"COVERAGE-MISSING"}) || len(got.GetStopsNow()) != 0 ||
			got.GetPayerShareThen().GetMinorUnits() <= got.GetPayerShareNow().GetMinorUnits() {
			t.Errorf("change %d is %v", i, got)
		}
	}
	if grown := h.measure().since(before); len(grown) > 0 {
		t.Errorf("trying changed %v", grown)
	}
	one := h.tryProfile(t, func(*payersv1.PayerProfile) {})
	one.ClaimCount = 1
	if latest, err := h.Payers.TryPayerProfile(t.Context(), one); err != nil || latest.GetClaimCount() != 1 {
		t.Errorf("the latest claim: %v, %v", latest, err)
	}
	one.ClaimCount = 501
	if _, err := h.Payers.TryPayerProfile(t.Context(), one); !errs.Is(err, errs.Invalid) {
		t.Errorf("501 claims: %v, want Invalid", err)
	}
	if _, err := h.Payers.TryPayerProfile(t.Context(), h.tryProfile(t, func(p *payersv1.PayerProfile) { p.Format = "papyrus" })); !errs.Is(err, errs.Invalid) {
		t.Errorf("a profile that could not be saved: %v, want Invalid", err)
	}
}

// TestADryRunWritesNothing: it says what would leave, and not a row is written.
func TestADryRunWritesNothing(t *testing.T) {
	t.Parallel()
	h := openCutHouse(t)
	h.released(t)
	before := h.measure()
	plan, err := h.Runs.StartRun(t.Context(), &runsv1.StartRunRequest{IsDryRun: true})
	if err != nil || plan.GetRun().GetSentCount() != stocked || len(plan.GetRun().GetBatches()) != 1 {
		t.Errorf("the plan is %v, %v; want %d claims in one batch", plan, err, stocked)
	}
	if grown := h.measure().since(before); len(grown) > 0 {
		t.Errorf("a dry run changed %v", grown)
	}
}
