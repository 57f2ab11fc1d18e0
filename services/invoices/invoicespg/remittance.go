package invoicespg

import (
	"context"
	"crypto/sha256"
	"fmt"
	"time"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
	"cullet/services/money"
)

const insertRemittance = `
INSERT INTO remittances (shop_id, remittance_id, payer_id, reference, paid_date, currency_code, amount, format, content,
  content_hash, post_time, posted_by)
VALUES ($1, $2, $3, $4, $5::date, $6, $7, $8, $9, $10, $11, $12)
ON CONFLICT ON CONSTRAINT remittances_reference DO NOTHING`

const insertRemittanceLines = `
INSERT INTO remittance_lines (shop_id, remittance_id, line_number, invoice_number, claim_number, paid, allocated,
  reason_code, reason_text, sentence)
SELECT $1, r.remittance_id, r.line_number, r.invoice_number, r.claim_number, r.paid, r.allocated, r.reason_code,
  r.reason_text, r.sentence
FROM jsonb_to_recordset($2) AS r (remittance_id uuid, line_number integer, invoice_number text, claim_number text,
  paid bigint, allocated bigint, reason_code text, reason_text text, sentence text)`

type remittanceLineRow struct {
	Remittance    ident.Remittance `json:"remittance_id" db:"remittance_id"`
	Number        int              `json:"line_number" db:"line_number"`
	InvoiceNumber string           `json:"invoice_number" db:"invoice_number"`
	ClaimNumber   string           `json:"claim_number" db:"claim_number"`
	Paid          int64            `json:"paid" db:"paid"`
	Allocated     int64            `json:"allocated" db:"allocated"`
	ReasonCode    string           `json:"reason_code" db:"reason_code"`
	ReasonText    string           `json:"reason_text" db:"reason_text"`
	Sentence      string           `json:"sentence" db:"sentence"`
}

// InsertRemittance writes a remittance with its file, or without it when another remittance of the
// same FileHash has it; known is true, and nothing is written, when
// the payer's reference is stored already. Its lines come with InsertRemittanceLines.
func InsertRemittance(ctx context.Context, tx *pg.Tx, r invoices.Remittance, format string, content []byte, actor string) (known bool, err error) {
	if content == nil {
		content = []byte{}
	} else {
		r.FileHash = sha256.Sum256(content)
	}
	n, err := tx.Exec(ctx, insertRemittance, string(tx.Shop()), string(r.ID), string(r.Payer), r.Reference, r.PaidDate,
		r.Amount.Currency, r.Amount.Minor, format, content, r.FileHash[:], r.PostTime, actor)
	if err != nil {
		return false, fmt.Errorf("insert remittance %s: %w", r.Reference, err)
	}
	return n == 0, nil
}

// InsertRemittanceLines writes the lines of a remittance with where they went.
func InsertRemittanceLines(ctx context.Context, tx *pg.Tx, id ident.Remittance, lines []invoices.RemittanceLine) error {
	rows := make([]remittanceLineRow, len(lines))
	for i, l := range lines {
		rows[i] = remittanceLineRow{Remittance: id, Number: l.Number, InvoiceNumber: l.InvoiceNumber, ClaimNumber: l.ClaimNumber,
			Paid: l.Paid.Minor, Allocated: l.Allocated.Minor, ReasonCode: l.ReasonCode, ReasonText: l.ReasonText, Sentence: l.Sentence}
	}
	return insertRows(ctx, tx, "remittance lines", insertRemittanceLines, rows)
}

const lockOwedByInvoice = `
SELECT r.receivable_id, r.invoice_id, i.number, r.open_amount, r.currency_code, i.number AS name,
  (SELECT coalesce(sum(a.amount), 0)::bigint FROM allocations a WHERE a.shop_id = r.shop_id AND a.receivable_id = r.receivable_id
    AND a.source = 'REMITTANCE') AS paid
FROM receivables r JOIN invoices i ON i.shop_id = r.shop_id AND i.invoice_id = r.invoice_id
WHERE r.shop_id = $1 AND r.payer_id = $2 AND i.number = ANY ($3) ORDER BY r.receivable_id FOR UPDATE OF r`

const lockOwedByClaim = `
SELECT r.receivable_id, r.invoice_id, i.number, r.open_amount, r.currency_code, 'C-' || lpad(c.sequence::text, 6, '0') AS name,
  (SELECT coalesce(sum(a.amount), 0)::bigint FROM allocations a WHERE a.shop_id = r.shop_id AND a.receivable_id = r.receivable_id
    AND a.source = 'REMITTANCE') AS paid
FROM claims c JOIN receivables r ON r.shop_id = c.shop_id AND r.invoice_id = c.invoice_id AND r.payer_id = c.payer_id
JOIN invoices i ON i.shop_id = r.shop_id AND i.invoice_id = r.invoice_id
WHERE c.shop_id = $1 AND c.payer_id = $2 AND c.sequence = ANY ($3) ORDER BY r.receivable_id FOR UPDATE OF r`

type owedByName struct {
	Receivable ident.Receivable `db:"receivable_id"`
	Invoice    ident.Invoice    `db:"invoice_id"`
	Number     string           `db:"number"`
	Open       int64            `db:"open_amount"`
	Currency   string           `db:"currency_code"`
	Name       string           `db:"name"`
	Paid       int64            `db:"paid"`
}

// LockOwedByInvoice reads and locks what the payer owes of invoices, by their numbers.
func LockOwedByInvoice(ctx context.Context, tx *pg.Tx, payer ident.Payer, numbers []string) (map[string]invoices.Owed, error) {
	return lockOwed(ctx, tx, lockOwedByInvoice, payer, pg.Array(numbers))
}

// LockOwedByClaim reads and locks what the payer owes of the invoices of claims, by the sequences
// of the claims; the names in the answer are the claims' numbers.
func LockOwedByClaim(ctx context.Context, tx *pg.Tx, payer ident.Payer, sequences []int64) (map[string]invoices.Owed, error) {
	return lockOwed(ctx, tx, lockOwedByClaim, payer, pg.Array(sequences))
}

func lockOwed(ctx context.Context, tx *pg.Tx, query string, payer ident.Payer, names any) (map[string]invoices.Owed, error) {
	var rows []owedByName
	if err := tx.Select(ctx, &rows, query, string(tx.Shop()), string(payer), names); err != nil {
		return nil, fmt.Errorf("lock what is owed: %w", err)
	}
	all := make(map[string]invoices.Owed, len(rows))
	for _, r := range rows {
		all[r.Name] = invoices.Owed{Receivable: r.Receivable, Invoice: r.Invoice, InvoiceNumber: r.Number, Open: money.From(r.Open, r.Currency),
			Paid: money.From(r.Paid, r.Currency)}
	}
	return all, nil
}

const remittanceColumns = `m.shop_id, m.remittance_id, m.payer_id, p.name AS payer_name, m.reference,
to_char(m.paid_date, 'YYYY-MM-DD') AS paid_date, m.currency_code, m.amount, m.post_time,
(SELECT coalesce(sum(l.allocated), 0)::bigint FROM remittance_lines l WHERE l.shop_id = m.shop_id AND l.remittance_id = m.remittance_id) AS allocated`

const fromRemittances = ` FROM remittances m JOIN payers p ON p.shop_id = m.shop_id AND p.payer_id = m.payer_id`

type remittanceRow struct {
	Shop      ident.Shop       `db:"shop_id"`
	ID        ident.Remittance `db:"remittance_id"`
	Payer     ident.Payer      `db:"payer_id"`
	PayerName string           `db:"payer_name"`
	Reference string           `db:"reference"`
	PaidDate  string           `db:"paid_date"`
	Currency  string           `db:"currency_code"`
	Amount    int64            `db:"amount"`
	PostTime  time.Time        `db:"post_time"`
	Allocated int64            `db:"allocated"`
}

// Received is a remittance with what it came to.
type Received struct {
	invoices.Remittance
	PayerName string
	Allocated money.Amount
}

func (r remittanceRow) received() Received {
	return Received{Remittance: invoices.Remittance{ID: r.ID, Shop: r.Shop, Payer: r.Payer, Reference: r.Reference,
		PaidDate: r.PaidDate, Amount: money.From(r.Amount, r.Currency), PostTime: r.PostTime},
		PayerName: r.PayerName, Allocated: money.From(r.Allocated, r.Currency)}
}

const selectRemittance = `SELECT ` + remittanceColumns + fromRemittances + ` WHERE m.shop_id = $1 AND m.remittance_id = $2`

const selectByReference = `SELECT ` + remittanceColumns + fromRemittances + ` WHERE m.shop_id = $1 AND m.payer_id = $2 AND m.reference = $3`

const selectRemittanceLines = `
SELECT remittance_id, line_number, invoice_number, claim_number, paid, allocated, reason_code, reason_text, sentence
FROM remittance_lines WHERE shop_id = $1 AND remittance_id = $2 ORDER BY line_number`

// Remittance reads a remittance with its lines. It fails with errs.NotFound.
func Remittance(ctx context.Context, tx *pg.Tx, id ident.Remittance) (Received, error) {
	var row remittanceRow
	if err := tx.Get(ctx, &row, selectRemittance, string(tx.Shop()), string(id)); err != nil {
		if pg.IsNoRows(err) {
			return Received{}, errs.Missing("remittance", string(id))
		}
		return Received{}, fmt.Errorf("read remittance %s: %w", id, err)
	}
	return withLines(ctx, tx, row)
}

// RemittanceByReference reads the remittance that a payer gave a reference. It fails with
// errs.NotFound.
func RemittanceByReference(ctx context.Context, tx *pg.Tx, payer ident.Payer, reference string) (Received, error) {
	var row remittanceRow
	if err := tx.Get(ctx, &row, selectByReference, string(tx.Shop()), string(payer), reference); err != nil {
		if pg.IsNoRows(err) {
			return Received{}, errs.Missing("remittance", reference)
		}
		return Received{}, fmt.Errorf("read remittance %s: %w", reference, err)
	}
	return withLines(ctx, tx, row)
}

func withLines(ctx context.Context, tx *pg.Tx, row remittanceRow) (Received, error) {
	var lines []remittanceLineRow
	if err := tx.Select(ctx, &lines, selectRemittanceLines, string(tx.Shop()), string(row.ID)); err != nil {
		return Received{}, fmt.Errorf("read the lines of remittance %s: %w", row.Reference, err)
	}
	r := row.received()
	for _, l := range lines {
		r.Lines = append(r.Lines, invoices.RemittanceLine{Number: l.Number, InvoiceNumber: l.InvoiceNumber, ClaimNumber: l.ClaimNumber,
			Paid: money.From(l.Paid, row.Currency), Allocated: money.From(l.Allocated, row.Currency), ReasonCode: l.ReasonCode,
			ReasonText: l.ReasonText, Sentence: l.Sentence})
	}
	return r, nil
}

const listRemittances = `SELECT ` + remittanceColumns + fromRemittances + `
WHERE m.shop_id = $1 AND m.remittance_id < $2 ORDER BY m.remittance_id DESC LIMIT $3`

// Remittances lists remittances without lines, newest first, those before the identifier.
func Remittances(ctx context.Context, tx *pg.Tx, before string, limit int) ([]Received, error) {
	var rows []remittanceRow
	if err := tx.Select(ctx, &rows, listRemittances, string(tx.Shop()), before, limit); err != nil {
		return nil, fmt.Errorf("list remittances: %w", err)
	}
	all := make([]Received, len(rows))
	for i, r := range rows {
		all[i] = r.received()
	}
	return all, nil
}

const raiseLine = `
UPDATE remittance_lines SET allocated = allocated + $4, sentence = left(sentence || ' ' || $5, 2000)
WHERE shop_id = $1 AND remittance_id = $2 AND line_number = $3 AND allocated + $4 BETWEEN least(paid, 0) AND greatest(paid, 0)`

// RaiseLine counts money of a line as placed, or as no longer placed when the amount has the other
// sign; ok is false when so much is not left of it.
func RaiseLine(ctx context.Context, tx *pg.Tx, id ident.Remittance, line int, amount money.Amount, why string) (ok bool, err error) {
	n, err := tx.Exec(ctx, raiseLine, string(tx.Shop()), string(id), line, amount.Minor, why)
	if err != nil {
		return false, fmt.Errorf("allocate line %d of remittance %s: %w", line, id, err)
	}
	return n == 1, nil
}
