package demo

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"

	claimsv1 "cullet/proto/cullet/claims/v1"
	runsv1 "cullet/proto/cullet/runs/v1"
)

// nights lets the clerk work in the evening and the server in the night, three times. Between the
// nights a day goes by on the shop's clock.
func (s *stage) nights(ctx context.Context) error {
	if err := s.compareClaims(ctx); err != nil {
		return err
	}
	for night := 1; night <= nights; night++ {
		s.clock.setBehind(time.Duration(nights-night) * 24 * time.Hour)
		s.say("\nNight %d", night)
		if night > 1 {
			if err := s.evening(ctx, night); err != nil {
				return err
			}
		}
		if err := s.releaseReady(ctx, night); err != nil {
			return err
		}
		if err := s.run(ctx, night); err != nil {
			return err
		}
		if err := s.hear(ctx); err != nil {
			return err
		}
	}
	// The answers that folder payers laid out after the last run are fetched by a run of their own.
	if err := s.run(ctx, nights+1); err != nil {
		return err
	}
	return s.hear(ctx)
}

// evening is what the clerk does before a night: enters what became known, corrects what was
// rejected, answers what was asked.
func (s *stage) evening(ctx context.Context, night int) error {
	mended := 0
	for _, r := range s.visits {
		if r.Later == nil || r.claim == "" || night == 2 && r.Later.AfterDays > 7 {
			continue
		}
		answer, err := s.client.Claims.GetClaim(ctx, &claimsv1.GetClaimRequest{ClaimId: r.claim})
		if err != nil {
			return err
		}
		claim := answer.GetClaim()
		if claim.GetState() != claimsv1.State_STATE_DRAFT || proto.Equal(claim.GetCoverage(), r.Later.Coverage) {
			continue
		}
		if _, err := s.client.Claims.UpdateCoverage(ctx, &claimsv1.UpdateCoverageRequest{ClaimId: r.claim,
			Coverage: r.Later.Coverage, Etag: claim.GetEtag(), RequestId: fmt.Sprintf("coverage:%s:%d", r.Name, night)}); err != nil {
			return fmt.Errorf("enter what became known of %s: %w", r.Name, err)
		}
		mended++
	}
	again := 0
	for _, state := range []string{"REJECTED", "INFORMATION_REQUESTED"} {
		n, err := s.sendAgain(ctx, state, night)
		if err != nil {
			return err
		}
		again += n
	}
	s.say("  The clerk enters what became known on %d claims and sends %d again.", mended, again)
	return nil
}

// sendAgain corrects the claims in a state; one of them is left for whoever looks at the demo.
func (s *stage) sendAgain(ctx context.Context, state string, night int) (n int, err error) {
	found, err := s.client.Claims.ListClaims(ctx, &claimsv1.ListClaimsRequest{Filter: "state = " + state, PageSize: 200})
	if err != nil {
		return 0, err
	}
	for i, c := range found.GetClaims() {
		if i == 0 && night == nights {
			continue
		}
		answer, err := s.client.Claims.GetClaim(ctx, &claimsv1.GetClaimRequest{ClaimId: c.GetClaimId()})
		if err != nil {
			return n, err
		}
		claim := answer.GetClaim()
		if _, err := s.client.Claims.ResubmitClaim(ctx, &claimsv1.ResubmitClaimRequest{ClaimId: claim.GetClaimId(),
			Coverage: claim.GetCoverage(), Etag: claim.GetEtag(), Reason: "Checked with the payer's desk by telephone (invented).",
			RequestId: fmt.Sprintf("again:%s:%d", claim.GetClaimNumber(), night)}); err != nil {
			return n, fmt.Errorf("send %s again: %w", claim.GetClaimNumber(), err)
		}
		n++
	}
	return n, nil
}

// releaseReady lets the clerk release what profiles do not let release by itself.
func (s *stage) releaseReady(ctx context.Context, night int) error {
	found, err := s.client.Claims.ListClaims(ctx, &claimsv1.ListClaimsRequest{
		Filter: `state = READY AND is_held = false AND payer_code = "fernway-insurance"`, PageSize: 200})
	if err != nil || len(found.GetClaims()) == 0 {
		return err
	}
	var ids []string
	for _, c := range found.GetClaims() {
		ids = append(ids, c.GetClaimId())
	}
	released, err := s.client.Claims.ReleaseClaims(ctx, &claimsv1.ReleaseClaimsRequest{ClaimIds: ids, RequestId: fmt.Sprintf("release:%d", night)})
	if err != nil {
		return err
	}
	for _, r := range released.GetResults() {
		if r.GetReason() != "" {
			s.fail("a ready claim could not be released: %s", r.GetReason())
		}
	}
	s.say("  The clerk releases %d claims of Fernway Insurance.", len(ids))
	return nil
}

// run starts the nightly run and shows how it goes until it has ended.
func (s *stage) run(ctx context.Context, night int) error {
	started, err := s.client.Runs.StartRun(ctx, &runsv1.StartRunRequest{RequestId: fmt.Sprintf("run:%d", night)})
	if err != nil {
		return err
	}
	for {
		answer, err := s.client.Runs.GetRun(ctx, &runsv1.GetRunRequest{RunId: started.GetRun().GetRunId()})
		if err != nil {
			return err
		}
		if run := answer.GetRun(); run.GetState() != runsv1.RunState_RUN_STATE_RUNNING && s.isSettled(run) {
			s.showRun(run)
			return nil
		}
		if err := pause(ctx, 100*time.Millisecond); err != nil {
			return err
		}
	}
}

// isSettled tells whether every batch of a run has arrived: a payer whose line dropped is tried
// again by the server itself, within seconds.
func (s *stage) isSettled(run *runsv1.Run) bool {
	for _, b := range run.GetBatches() {
		if b.GetState() == "BUILT" {
			return false
		}
	}
	return true
}

func (s *stage) showRun(run *runsv1.Run) {
	s.say("  Run of %s: %d released, %d claims sent for %s", run.GetBusinessDate(), run.GetReleasedCount(), run.GetSentCount(), dollars(run.GetSentTotal()))
	for _, b := range run.GetBatches() {
		s.say("    %-36s no. %-3d %3d claims %10s  by %s, %d tries", b.GetPayerName(), b.GetControlNumber(), b.GetClaimCount(),
			dollars(b.GetTotal()), b.GetChannel(), b.GetAttemptCount())
	}
	for _, reason := range run.GetHeldReasons() {
		s.say("    held: %s", reason)
	}
}

// patience is how long payers are waited for.
const patience = 2 * time.Minute

// hear waits until everything that left has arrived, every answer to it has come back, and every
// message that came has been read. What folder payers lay out is fetched by the next run.
func (s *stage) hear(ctx context.Context) error {
	for deadline := time.Now().Add(patience); ; {
		read, missing, err := s.heard(ctx)
		if err != nil {
			return err
		}
		if missing == "" {
			s.say("  %d messages of payers so far.", read)
			return nil
		}
		if time.Now().After(deadline) {
			return fmt.Errorf("payers are not heard after %s: %s", patience, missing)
		}
		if err := pause(ctx, 50*time.Millisecond); err != nil {
			return err
		}
	}
}

// heard counts the messages that were read, and says what is still on its way; nothing when it is "".
func (s *stage) heard(ctx context.Context) (read int, missing string, err error) {
	batches, err := s.sentBatches(ctx)
	if err != nil {
		return 0, "", err
	}
	sent := 0
	for _, b := range batches {
		if b.GetState() == "SENT" {
			sent++
		}
	}
	taken, waiting, err := s.payersim.book(ctx)
	if err != nil {
		return 0, "", err
	}
	// Asked last: what was taken and answered by now has come.
	messages, err := s.client.Runs.ListMessages(ctx, &runsv1.ListMessagesRequest{PageSize: 200})
	if err != nil {
		return 0, "", err
	}
	for _, m := range messages.GetMessages() {
		if m.GetState() != "RECEIVED" {
			read++
		}
	}
	if unread := len(messages.GetMessages()) - read; len(taken) < sent || waiting > 0 || unread > 0 {
		missing = fmt.Sprintf("%d documents were sent and %d taken, %d answers have not come, %d messages are not read",
			sent, len(taken), waiting, unread)
	}
	return read, missing, nil
}
