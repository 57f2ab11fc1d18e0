// Package claimspg keeps claims in PostgreSQL: the narrow row that changes often and the long
// contents beside it. It is the only writer of claims and claim_contents.
//
// It decides nothing: which state follows which is services/claims, when is services/pipeline.
package claimspg

import (
	"encoding/json"
	"fmt"
	"time"

	"cullet/services/claims"
	"cullet/services/ident"
	"cullet/services/money"
)

// columns are those of row, in its order.
const columns = `c.claim_id, c.sequence, c.job_id, c.job_version, c.payer_id, p.name AS payer_name,
c.profile_version, c.state, c.version, c.currency_code, c.net, c.tax, c.total, c.payer_share,
c.motorist_share, coalesce(to_char(c.filing_deadline, 'YYYY-MM-DD'), '') AS filing_deadline,
c.hold_reason, coalesce(to_char(c.hold_until, 'YYYY-MM-DD'), '') AS hold_until, c.held_by,
coalesce(c.invoice_id::text, '') AS invoice_id, coalesce(c.batch_id::text, '') AS batch_id, c.create_time, c.update_time, c.submit_time,
c.answer_due, c.payer_reference, c.payer_reason, c.vin,
to_char(c.repair_date, 'YYYY-MM-DD') AS repair_date, c.motorist_name, c.shop_id`

// row is the narrow part of a claim.
type row struct {
	ID             ident.Claim   `db:"claim_id"`
	Sequence       int64         `db:"sequence"`
	Job            ident.Job     `db:"job_id"`
	JobVersion     int           `db:"job_version"`
	Payer          ident.Payer   `db:"payer_id"`
	PayerName      string        `db:"payer_name"`
	ProfileVersion int           `db:"profile_version"`
	State          claims.State  `db:"state"`
	Version        int           `db:"version"`
	Currency       string        `db:"currency_code"`
	Net            int64         `db:"net"`
	Tax            int64         `db:"tax"`
	Total          int64         `db:"total"`
	PayerShare     int64         `db:"payer_share"`
	MotoristShare  int64         `db:"motorist_share"`
	FilingDeadline string        `db:"filing_deadline"`
	HoldReason     string        `db:"hold_reason"`
	HoldUntil      string        `db:"hold_until"`
	HeldBy         string        `db:"held_by"`
	Invoice        ident.Invoice `db:"invoice_id"`
	Batch          ident.Batch   `db:"batch_id"`
	CreateTime     time.Time     `db:"create_time"`
	UpdateTime     time.Time     `db:"update_time"`
	SubmitTime     *time.Time    `db:"submit_time"`
	AnswerDue      *time.Time    `db:"answer_due"`
	PayerReference string        `db:"payer_reference"`
	PayerReason    string        `db:"payer_reason"`
	VIN            string        `db:"vin"`
	RepairDate     string        `db:"repair_date"`
	MotoristName   string        `db:"motorist_name"`
	Shop           ident.Shop    `db:"shop_id"`
}

// contents is the long part.
type contents struct {
	Coverage    []byte `db:"coverage"`
	Findings    []byte `db:"findings"`
	Lines       []byte `db:"lines"`
	PayloadHash string `db:"payload_hash"`
}

type wholeRow struct {
	row
	contents
	InvoiceNumber string `db:"invoice_number"`
}

// Number prints a claim's sequence as its number, "C-000123".
func Number(sequence int64) string { return fmt.Sprintf("C-%06d", sequence) }

func (r row) claim() claims.Claim {
	amount := func(minor int64) money.Amount { return money.From(minor, r.Currency) }
	c := claims.Claim{
		ID: r.ID, Shop: r.Shop, Number: Number(r.Sequence), Job: r.Job, JobVersion: r.JobVersion, Payer: r.Payer,
		PayerName: r.PayerName, ProfileVersion: r.ProfileVersion, State: r.State,
		Totals: claims.Totals{Net: amount(r.Net), Tax: amount(r.Tax), Total: amount(r.Total),
			PayerShare: amount(r.PayerShare), MotoristShare: amount(r.MotoristShare)},
		FilingDeadline: r.FilingDeadline, Invoice: r.Invoice, Batch: r.Batch, Version: r.Version, CreateTime: r.CreateTime,
		UpdateTime: r.UpdateTime, SubmitTime: r.SubmitTime, AnswerDue: r.AnswerDue, PayerReference: r.PayerReference,
		PayerReason: r.PayerReason, VIN: r.VIN, RepairDate: r.RepairDate, MotoristName: r.MotoristName,
	}
	if r.HoldReason != "" {
		c.Hold = &claims.Hold{Reason: r.HoldReason, UntilDate: r.HoldUntil, HeldBy: r.HeldBy}
	}
	return c
}

func (w wholeRow) claim() (claims.Claim, error) {
	c := w.row.claim()
	c.InvoiceNumber, c.PayloadHash = w.InvoiceNumber, w.PayloadHash
	for _, part := range []struct {
		name string
		from []byte
		to   any
	}{{"coverage", w.Coverage, &c.Coverage}, {"findings", w.Findings, &c.Findings}, {"lines", w.Lines, &c.Lines}} {
		if err := json.Unmarshal(part.from, part.to); err != nil {
			return claims.Claim{}, fmt.Errorf("read %s of claim %s: %w", part.name, c.ID, err)
		}
	}
	return c, nil
}
