package invoicespg

import (
	"context"
	"fmt"
	"time"

	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
	"cullet/services/money"
)

// Aged is what one debtor owes of one age.
type Aged struct {
	DebtorName string      `db:"debtor_name"`
	Payer      ident.Payer `db:"payer_id"`
	// Days is how long the oldest of it has been due; 0 or less is not due yet.
	Bucket int   `db:"bucket"`
	Minor  int64 `db:"minor"`
}

// aging rebuilds what was open on a day from what was owed and what was allocated until then:
// documents and allocations carry their days, so any past day can be asked for.
const aging = `
WITH open AS (
  SELECT r.debtor_name, coalesce(r.payer_id::text, '') AS payer_id, r.due_date,
    r.amount - coalesce((SELECT sum(a.amount) FROM allocations a
      WHERE a.shop_id = r.shop_id AND a.receivable_id = r.receivable_id AND a.entry_date <= $2::date), 0) AS minor
  FROM receivables r WHERE r.shop_id = $1 AND r.issue_date <= $2::date
)
SELECT CASE WHEN payer_id = '' THEN 'Motorists' ELSE min(debtor_name) END AS debtor_name, payer_id,
  CASE WHEN $2::date - due_date <= 0 THEN 0 WHEN $2::date - due_date <= 30 THEN 1 WHEN $2::date - due_date <= 60 THEN 2
    WHEN $2::date - due_date <= 90 THEN 3 WHEN $2::date - due_date <= 120 THEN 4 ELSE 5 END AS bucket, sum(minor)::bigint AS minor
FROM open WHERE minor <> 0 GROUP BY payer_id, bucket ORDER BY debtor_name, bucket`

// BucketNames are the ages of the aging, past the due day.
func BucketNames() []string {
	return []string{"not due", "1-30 days", "31-60 days", "61-90 days", "91-120 days", "over 120 days"}
}

// Aging lists open sums by debtor and age as of a day.
func Aging(ctx context.Context, tx *pg.Tx, asOf string) ([]Aged, error) {
	var all []Aged
	if err := tx.Select(ctx, &all, aging, string(tx.Shop()), asOf); err != nil {
		return nil, fmt.Errorf("age the receivables as of %s: %w", asOf, err)
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

const unmatchedMoney = `
SELECT coalesce(sum(paid - allocated), 0)::bigint FROM remittance_lines WHERE shop_id = $1 AND allocated <> paid`

// Unmatched gives the money that came and has no place yet.
func Unmatched(ctx context.Context, tx *pg.Tx, currency string) (money.Amount, error) {
	var minor int64
	if err := tx.Get(ctx, &minor, unmatchedMoney, string(tx.Shop())); err != nil {
		return money.Amount{}, fmt.Errorf("sum the unmatched money: %w", err)
	}
	return money.From(minor, currency), nil
}
