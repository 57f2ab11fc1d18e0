package demo

import (
	"context"
	"fmt"
	"strings"

	claimsv1 "cullet/proto/cullet/claims/v1"
	invoicesv1 "cullet/proto/cullet/invoices/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	runsv1 "cullet/proto/cullet/runs/v1"
)

// checkBooks checks the shop's own books and holds them against those that the payers kept. With
// Once a difference is an error.
func (s *stage) checkBooks(ctx context.Context, checks []func(context.Context) error) error {
	s.say("\nChecking the books")
	for _, check := range checks {
		if err := check(ctx); err != nil {
			return err
		}
	}
	if len(s.failures) == 0 {
		s.say("  Everything agrees.")
		return nil
	}
	err := fmt.Errorf("%d things are not as expected:\n  %s", len(s.failures), strings.Join(s.failures, "\n  "))
	if s.Once {
		return err
	}
	return nil
}

// checkLaws asks the server to check every invariant on what it has stored.
func (s *stage) checkLaws(ctx context.Context) error {
	checked, err := s.client.Invoices.CheckBooks(ctx, &invoicesv1.CheckBooksRequest{})
	if err != nil {
		return err
	}
	held := 0
	for _, c := range checked.GetChecks() {
		if c.GetIsHolding() {
			held++
		} else {
			s.fail("the law %q is broken: %s", c.GetName(), c.GetSentence())
		}
	}
	s.say("  %d of %d laws of the books hold.", held, len(checked.GetChecks()))
	return nil
}

func (s *stage) checkAging(ctx context.Context) error {
	aging, err := s.client.Invoices.GetAging(ctx, &invoicesv1.GetAgingRequest{})
	if err != nil {
		return err
	}
	if aging.GetTotal().GetMinorUnits() != aging.GetJournalTotal().GetMinorUnits() {
		s.fail("the aging sums to %s and the journal's receivables to %s", dollars(aging.GetTotal()), dollars(aging.GetJournalTotal()))
	}
	return nil
}

// checkPayersBook compares what left here with what the payers wrote down: the same documents,
// each once, under the same control numbers with the same bytes, and no claim twice that had no
// reason to come again.
func (s *stage) checkPayersBook(ctx context.Context) error {
	theirs, _, err := s.payersim.book(ctx)
	if err != nil {
		return err
	}
	ours, err := s.sentBatches(ctx)
	if err != nil {
		return err
	}
	codes := map[string]string{}
	for code, c := range s.payers {
		codes[c.id] = code
	}
	known := map[string]string{}
	for _, d := range theirs {
		known[fmt.Sprintf("%s/%d", d.PayerCode, d.ControlNumber)] = d.Hash
		for _, c := range d.Claims {
			if c.IsDouble {
				s.fail("%s took %s twice without a reason", d.PayerCode, c.ClaimNumber)
			}
		}
	}
	for _, b := range ours {
		name := fmt.Sprintf("%s/%d", codes[b.GetPayerId()], b.GetControlNumber())
		if hash, ok := known[name]; !ok || hash != b.GetDocumentHash() {
			s.fail("document %s was sent and the payer's book has %q for it", name, hash)
		}
	}
	if len(ours) != len(theirs) {
		s.fail("%d documents were sent and %d were taken", len(ours), len(theirs))
	}
	s.say("  %d documents sent, %d in the payers' own book, byte for byte the same.", len(ours), len(theirs))
	return nil
}

// sentBatches lists the batches of all runs.
func (s *stage) sentBatches(ctx context.Context) ([]*runsv1.Batch, error) {
	list, err := s.client.Runs.ListRuns(ctx, &runsv1.ListRunsRequest{PageSize: 200})
	if err != nil {
		return nil, err
	}
	var all []*runsv1.Batch
	for _, run := range list.GetRuns() {
		whole, err := s.client.Runs.GetRun(ctx, &runsv1.GetRunRequest{RunId: run.GetRunId()})
		if err != nil {
			return nil, err
		}
		all = append(all, whole.GetRun().GetBatches()...)
	}
	return all, nil
}

// checkNothingWaits: after the last night no claim is ready or released that nobody holds back.
func (s *stage) checkNothingWaits(ctx context.Context) error {
	payers, err := s.client.Payers.ListPayers(ctx, &payersv1.ListPayersRequest{PageSize: 200})
	if err != nil {
		return err
	}
	for _, p := range payers.GetPayers() {
		for _, state := range []string{"READY", "RELEASED"} {
			left, err := s.client.Claims.ListClaims(ctx, &claimsv1.ListClaimsRequest{
				Filter: fmt.Sprintf("state = %s AND payer_code = %q AND is_held = false", state, p.GetCode())})
			if err != nil {
				return err
			}
			for _, c := range left.GetClaims() {
				s.fail("%s is still %s after the last night", c.GetClaimNumber(), state)
			}
		}
	}
	return nil
}
