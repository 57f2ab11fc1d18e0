package invoicespg

import (
	"context"
	"fmt"
	"time"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
	"cullet/services/money"
)

// Aged is what one debtor owes of one age, or of one document.
type Aged struct {
	DebtorName string      `db:"debtor_name"`
	Payer      ident.Payer `db:"payer_id"`
	// Bucket is 0 for what is not due yet, then 1 and up by the limits that were asked for.
	Bucket int   `db:"bucket"`
	Minor  int64 `db:"minor"`
	// Number and what follows are of one document, empty on a sum; DaysLate is above zero when it is due.
	Number    string        `db:"number"`
	DueDate   string        `db:"due_date"`
	IssueDate string        `db:"issue_date"`
	Total     int64         `db:"total"`
	DaysLate  int           `db:"days_late"`
	Invoice   ident.Invoice `db:"invoice_id"`
}

// agedDocuments rebuilds what was open on a day from what was owed and what was allocated until then:
// documents and allocations carry their days, so any past day can be asked for. $3 are the limits of the
// buckets in days; $4 counts from the day of issue instead of the due day.
const agedDocuments = `
WITH open AS (
  SELECT r.debtor_name, coalesce(r.payer_id::text, '') AS payer_id, CASE WHEN $4 THEN r.issue_date ELSE r.due_date END AS since, r.due_date,
    r.invoice_id, r.amount - coalesce((SELECT sum(a.amount) FROM allocations a
      WHERE a.shop_id = r.shop_id AND a.receivable_id = r.receivable_id AND a.entry_date <= $2::date), 0) AS minor
  FROM receivables r WHERE r.shop_id = $1 AND r.issue_date <= $2::date
), aged AS (
  SELECT o.*, CASE WHEN $2::date - since <= 0 THEN 0
    ELSE 1 + (SELECT count(*) FROM unnest($3::integer[]) b WHERE b < $2::date - since) END AS bucket
  FROM open o WHERE minor <> 0
)`

const aging = agedDocuments + `
SELECT CASE WHEN payer_id = '' THEN 'Motorists' ELSE min(debtor_name) END AS debtor_name, payer_id, bucket, sum(minor)::bigint AS minor,
  '' AS number, '' AS due_date, '' AS issue_date, 0::bigint AS total, 0 AS days_late, '' AS invoice_id
FROM aged GROUP BY payer_id, bucket ORDER BY debtor_name, bucket`

// MaxAged is how many documents of one payer are listed.
const MaxAged = 2000

const agingOf = agedDocuments + `
SELECT a.debtor_name, a.payer_id, a.bucket, a.minor::bigint AS minor, i.number, to_char(a.due_date, 'YYYY-MM-DD') AS due_date,
  to_char(i.issue_date, 'YYYY-MM-DD') AS issue_date, i.total, $2::date - a.due_date AS days_late, a.invoice_id::text AS invoice_id
FROM aged a JOIN invoices i ON i.shop_id = $1 AND i.invoice_id = a.invoice_id
WHERE a.payer_id = $5 ORDER BY a.due_date, i.number LIMIT 2000`

// Ages is how an aging is cut.
type Ages struct {
	// AsOf is a civil day.
	AsOf string
	// Limits are the last days of the buckets but the last one, rising: 30, 60, 90, 120.
	Limits []int64
	// IsFromIssue counts from the day of issue, else from the due day.
	IsFromIssue bool
}

// UsualLimits are the limits of buckets where nobody asks for others.
func UsualLimits() []int64 { return []int64{30, 60, 90, 120} }

// BucketNames names the buckets: "not due", "1-30 days", "over 120 days".
func (a Ages) BucketNames() []string {
	names := []string{"not due"}
	if a.IsFromIssue {
		names[0] = "issued that day"
	}
	from := int64(1)
	for _, limit := range a.Limits {
		names = append(names, fmt.Sprintf("%d-%d days", from, limit))
		from = limit + 1
	}
	return append(names, fmt.Sprintf("over %d days", from-1))
}

// Aging lists open sums by debtor and age.
func Aging(ctx context.Context, tx *pg.Tx, ages Ages) ([]Aged, error) {
	var all []Aged
	if err := tx.Select(ctx, &all, aging, string(tx.Shop()), ages.AsOf, pg.Array(ages.Limits), ages.IsFromIssue); err != nil {
		return nil, fmt.Errorf("age the receivables as of %s: %w", ages.AsOf, err)
	}
	return all, nil
}

// AgingOf lists the open documents of one payer, those due first first, at most 2,000; an empty payer
// are the motorists.
func AgingOf(ctx context.Context, tx *pg.Tx, ages Ages, payer ident.Payer) ([]Aged, error) {
	var all []Aged
	if err := tx.Select(ctx, &all, agingOf, string(tx.Shop()), ages.AsOf, pg.Array(ages.Limits), ages.IsFromIssue, string(payer)); err != nil {
		return nil, fmt.Errorf("age the documents as of %s: %w", ages.AsOf, err)
	}
	return all, nil
}

// Balance is the balance of one account.
type Balance struct {
	Account  invoices.Account `db:"account"`
	Currency string           `db:"currency_code"`
	Minor    int64            `db:"minor"`
}

// Amount is the balance as money, debit positive.
func (b Balance) Amount() money.Amount { return money.From(b.Minor, b.Currency) }

const trialBalance = `
SELECT l.account, l.currency_code, sum(l.amount)::bigint AS minor
FROM journal_lines l JOIN journal_entries e ON e.shop_id = l.shop_id AND e.entry_id = l.entry_id
WHERE l.shop_id = $1 AND e.entry_date <= $2::date GROUP BY l.account, l.currency_code ORDER BY l.account`

// TrialBalance gives the balance of each account as of a day.
func TrialBalance(ctx context.Context, tx *pg.Tx, asOf string) ([]Balance, error) {
	var all []Balance
	if err := tx.Select(ctx, &all, trialBalance, string(tx.Shop()), asOf); err != nil {
		return nil, fmt.Errorf("balance the accounts as of %s: %w", asOf, err)
	}
	return all, nil
}

const listEntries = `
SELECT entry_id, to_char(entry_date, 'YYYY-MM-DD') AS entry_date, document_kind, document_id, memo,
  coalesce(reverses_entry_id::text, '') AS reverses_entry_id, post_time
FROM journal_entries WHERE shop_id = $1 AND entry_id < $2 AND ($3 = '' OR document_id = NULLIF($3, '')::uuid)
ORDER BY entry_id DESC LIMIT $4`

const listPostings = `
SELECT entry_id, account, jurisdiction_code, coalesce(payer_id::text, '') AS payer_id, currency_code, amount
FROM journal_lines WHERE shop_id = $1 AND entry_id = ANY ($2) ORDER BY entry_id, line_number`

type entryHead struct {
	ID           ident.Entry `db:"entry_id"`
	Date         string      `db:"entry_date"`
	DocumentKind string      `db:"document_kind"`
	DocumentID   string      `db:"document_id"`
	Memo         string      `db:"memo"`
	Reverses     ident.Entry `db:"reverses_entry_id"`
	PostTime     time.Time   `db:"post_time"`
}

type postingHead struct {
	Entry        ident.Entry      `db:"entry_id"`
	Account      invoices.Account `db:"account"`
	Jurisdiction string           `db:"jurisdiction_code"`
	Payer        ident.Payer      `db:"payer_id"`
	Currency     string           `db:"currency_code"`
	Amount       int64            `db:"amount"`
}

// Entries lists journal entries with their postings, newest first, those before the identifier;
// document empty is any.
func Entries(ctx context.Context, tx *pg.Tx, before, document string, limit int) ([]invoices.Entry, error) {
	var heads []entryHead
	if err := tx.Select(ctx, &heads, listEntries, string(tx.Shop()), before, document, limit); err != nil {
		return nil, fmt.Errorf("list journal entries: %w", err)
	}
	ids, places := make([]ident.Entry, len(heads)), make(map[ident.Entry]int, len(heads))
	all := make([]invoices.Entry, len(heads))
	for i, h := range heads {
		ids[i], places[h.ID] = h.ID, i
		all[i] = invoices.Entry{ID: h.ID, Shop: tx.Shop(), Date: h.Date, DocumentKind: h.DocumentKind, DocumentID: h.DocumentID,
			Memo: h.Memo, Reverses: h.Reverses, PostTime: h.PostTime}
	}
	var postings []postingHead
	if err := tx.Select(ctx, &postings, listPostings, string(tx.Shop()), pg.Array(ids)); err != nil {
		return nil, fmt.Errorf("list postings: %w", err)
	}
	for _, p := range postings {
		e := &all[places[p.Entry]]
		e.Postings = append(e.Postings, invoices.Posting{Account: p.Account, Jurisdiction: p.Jurisdiction, Payer: p.Payer,
			Amount: money.From(p.Amount, p.Currency)})
	}
	return all, nil
}

const waitingOf = `
SELECT p.name, coalesce((SELECT sum(l.paid - l.allocated) FROM remittances m JOIN remittance_lines l ON l.shop_id = m.shop_id
  AND l.remittance_id = m.remittance_id WHERE m.shop_id = p.shop_id AND m.payer_id = p.payer_id), 0)::bigint AS minor
FROM payers p WHERE p.shop_id = $1 AND p.payer_id = $2`

// WaitingOf gives the name of a payer and what of its money has no place now. It fails with errs.NotFound.
func WaitingOf(ctx context.Context, tx *pg.Tx, payer ident.Payer) (name string, minor int64, err error) {
	var row struct {
		Name  string `db:"name"`
		Minor int64  `db:"minor"`
	}
	if err := tx.Get(ctx, &row, waitingOf, string(tx.Shop()), string(payer)); err != nil {
		if pg.IsNoRows(err) {
			return "", 0, errs.Missing("payer", string(payer))
		}
		return "", 0, fmt.Errorf("sum the waiting money of %s: %w", payer, err)
	}
	return row.Name, row.Minor, nil
}
