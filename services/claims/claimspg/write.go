package claimspg

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"cullet/services/claims"
	"cullet/services/finding"
	"cullet/services/ident"
	"cullet/services/internal/pg"
)

const insertClaim = `
WITH narrow AS (
  INSERT INTO claims (shop_id, claim_id, sequence, job_id, job_version, payer_id, profile_version, state, version,
    stop_count, currency_code, net, tax, total, payer_share, motorist_share, filing_deadline, create_time, update_time,
    vin, repair_date, motorist_name, policy_number, authorization_number)
  VALUES ($1, $2, $3, $4, $5, $6, $7, $8, 1, $9, $10, $11, $12, $13, $14, $15, NULLIF($16, '')::date, $17, $17,
    $18, $19::date, $20, $21, $22)
)
INSERT INTO claim_contents (shop_id, claim_id, coverage, findings, lines) VALUES ($1, $2, $23, $24, $25)`

// Insert writes a new claim in version 1. A second live claim of the job on the payer violates
// claims_live.
func Insert(ctx context.Context, tx *pg.Tx, c claims.Claim) error {
	sequence, ok := Sequence(c.Number)
	if !ok {
		return fmt.Errorf("insert claim %s: number %q is none", c.ID, c.Number)
	}
	coverage, findings, lines, err := marshal(c)
	if err != nil {
		return err
	}
	_, err = tx.Exec(ctx, insertClaim, string(tx.Shop()), string(c.ID), sequence, string(c.Job), c.JobVersion,
		string(c.Payer), c.ProfileVersion, string(c.State), finding.Count(c.Findings, finding.Stop),
		c.Totals.Total.Currency, c.Totals.Net.Minor, c.Totals.Tax.Minor, c.Totals.Total.Minor, c.Totals.PayerShare.Minor,
		c.Totals.MotoristShare.Minor, c.FilingDeadline, c.CreateTime, c.VIN, c.RepairDate, c.MotoristName,
		c.Coverage.PolicyNumber, c.Coverage.Authorization.Number, coverage, findings, lines)
	if err != nil {
		return fmt.Errorf("insert claim %s: %w", c.ID, err)
	}
	return nil
}

const rewriteClaim = `
WITH narrow AS (
  UPDATE claims SET job_version = $3, profile_version = $4, state = $5, version = version + 1, stop_count = $6,
    currency_code = $7, net = $8, tax = $9, total = $10, payer_share = $11, motorist_share = $12,
    filing_deadline = NULLIF($13, '')::date, update_time = $14, vin = $15, repair_date = $16::date,
    motorist_name = $17, policy_number = $18, authorization_number = $19, invoice_id = NULLIF($20, '')::uuid,
    batch_id = CASE WHEN $5 = 'RELEASED' THEN NULL ELSE batch_id END,
    payer_reason = CASE WHEN $5 = 'RELEASED' THEN '' ELSE payer_reason END
  WHERE shop_id = $1 AND claim_id = $2 AND version = $21
  RETURNING claim_id
)
UPDATE claim_contents t SET coverage = $22, findings = $23, lines = $24
FROM narrow WHERE t.shop_id = $1 AND t.claim_id = narrow.claim_id`

// Rewrite stores what checking made of the claim and counts its version up, if c.Version is
// still the stored one; ok is false when somebody was faster. The invoice of c is kept.
func Rewrite(ctx context.Context, tx *pg.Tx, c claims.Claim) (ok bool, err error) {
	coverage, findings, lines, err := marshal(c)
	if err != nil {
		return false, err
	}
	n, err := tx.Exec(ctx, rewriteClaim, string(tx.Shop()), string(c.ID), c.JobVersion, c.ProfileVersion, string(c.State),
		finding.Count(c.Findings, finding.Stop), c.Totals.Total.Currency, c.Totals.Net.Minor, c.Totals.Tax.Minor,
		c.Totals.Total.Minor, c.Totals.PayerShare.Minor, c.Totals.MotoristShare.Minor, c.FilingDeadline, c.UpdateTime,
		c.VIN, c.RepairDate, c.MotoristName, c.Coverage.PolicyNumber, c.Coverage.Authorization.Number,
		string(c.Invoice), c.Version, coverage, findings, lines)
	if err != nil {
		return false, fmt.Errorf("rewrite claim %s: %w", c.ID, err)
	}
	return n == 1, nil
}

func marshal(c claims.Claim) (coverage, findings, lines []byte, err error) {
	if c.Findings == nil {
		c.Findings = []finding.Finding{}
	}
	if c.Lines == nil {
		c.Lines = []claims.Line{}
	}
	for _, part := range []struct {
		to   *[]byte
		from any
	}{{&coverage, c.Coverage}, {&findings, c.Findings}, {&lines, c.Lines}} {
		if *part.to, err = json.Marshal(part.from); err != nil {
			return nil, nil, nil, fmt.Errorf("write claim %s as JSON: %w", c.ID, err)
		}
	}
	return coverage, findings, lines, nil
}

const setHold = `
UPDATE claims SET hold_reason = $3, hold_until = NULLIF($4, '')::date, held_by = $5, version = version + 1,
  update_time = $6
WHERE shop_id = $1 AND claim_id = $2 AND version = $7`

// SetHold stores or lifts (nil) the hold of a claim, if c.Version is still the stored one.
func SetHold(ctx context.Context, tx *pg.Tx, c claims.Claim, hold *claims.Hold) (ok bool, err error) {
	if hold == nil {
		hold = &claims.Hold{}
	}
	n, err := tx.Exec(ctx, setHold, string(tx.Shop()), string(c.ID), hold.Reason, hold.UntilDate, hold.HeldBy,
		c.UpdateTime, c.Version)
	if err != nil {
		return false, fmt.Errorf("hold claim %s: %w", c.ID, err)
	}
	return n == 1, nil
}

const moveClaim = `
UPDATE claims SET state = $3, version = version + 1, update_time = $4, answer_time = coalesce($5, answer_time),
  submit_time = CASE WHEN $5::timestamptz IS NULL THEN submit_time ELSE coalesce(submit_time, $5) END,
  answer_due = CASE WHEN $3 IN ('SUBMITTED', 'ACKNOWLEDGED') THEN answer_due END,
  payer_reference = CASE WHEN $6 <> '' THEN $6 ELSE payer_reference END, payer_reason = $7
WHERE shop_id = $1 AND claim_id = $2 AND version = $8`

// Move stores c's state, reference and reason after an answer or a withdrawal and counts its
// version up, if c.Version is still the stored one. AnswerTime of a withdrawal is nil.
func Move(ctx context.Context, tx *pg.Tx, c claims.Claim, answered bool) (ok bool, err error) {
	var answerTime any
	if answered {
		answerTime = c.UpdateTime
	}
	n, err := tx.Exec(ctx, moveClaim, string(tx.Shop()), string(c.ID), string(c.State), c.UpdateTime, answerTime,
		c.PayerReference, c.PayerReason, c.Version)
	if err != nil {
		return false, fmt.Errorf("move claim %s to %s: %w", c.ID, c.State, err)
	}
	return n == 1, nil
}

const bumpVersion = `
UPDATE claims SET version = version + 1, update_time = $3 WHERE shop_id = $1 AND claim_id = $2 RETURNING version`

// Bump counts the version up for an event that changes nothing else (a note), and gives the new
// one. It fails with errs.NotFound.
func Bump(ctx context.Context, tx *pg.Tx, id ident.Claim, at time.Time) (version int, err error) {
	if err := tx.Get(ctx, &version, bumpVersion, string(tx.Shop()), string(id), at); err != nil {
		if pg.IsNoRows(err) {
			return 0, NotFound(id)
		}
		return 0, fmt.Errorf("bump claim %s: %w", id, err)
	}
	return version, nil
}
