package invoicespg

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
	"cullet/services/money"
)

const headColumns = `i.shop_id, i.invoice_id, i.kind, i.sequence, i.number, coalesce(i.credits_invoice_id::text, '') AS credits_invoice_id,
to_char(i.issue_date, 'YYYY-MM-DD') AS issue_date, to_char(i.due_date, 'YYYY-MM-DD') AS due_date, i.issue_time,
coalesce(i.payer_id::text, '') AS payer_id, i.purchase_order, i.currency_code, i.net, i.tax, i.total, i.parties`

type headRow struct {
	Shop          ident.Shop    `db:"shop_id"`
	ID            ident.Invoice `db:"invoice_id"`
	Kind          invoices.Kind `db:"kind"`
	Sequence      int64         `db:"sequence"`
	Number        string        `db:"number"`
	Credits       ident.Invoice `db:"credits_invoice_id"`
	IssueDate     string        `db:"issue_date"`
	DueDate       string        `db:"due_date"`
	IssueTime     time.Time     `db:"issue_time"`
	Payer         ident.Payer   `db:"payer_id"`
	PurchaseOrder string        `db:"purchase_order"`
	Currency      string        `db:"currency_code"`
	Net           int64         `db:"net"`
	Tax           int64         `db:"tax"`
	Total         int64         `db:"total"`
	Parties       []byte        `db:"parties"`
}

func (r headRow) invoice() (invoices.Invoice, error) {
	var sides parties
	if err := json.Unmarshal(r.Parties, &sides); err != nil {
		return invoices.Invoice{}, fmt.Errorf("read the parties of %s: %w", r.Number, err)
	}
	amount := func(minor int64) money.Amount { return money.From(minor, r.Currency) }
	return invoices.Invoice{ID: r.ID, Shop: r.Shop, Kind: r.Kind, Sequence: r.Sequence, Number: r.Number, Credits: r.Credits,
		IssueDate: r.IssueDate, DueDate: r.DueDate, IssueTime: r.IssueTime, Seller: sides.Seller, RemitTo: sides.RemitTo,
		BillTo: sides.BillTo, CreditsNumber: sides.CreditsNumber, CreditReason: sides.CreditReason, Payer: r.Payer, PurchaseOrder: r.PurchaseOrder, Net: amount(r.Net), Tax: amount(r.Tax),
		Total: amount(r.Total)}, nil
}

const selectHead = `SELECT ` + headColumns + ` FROM invoices i WHERE i.shop_id = $1 AND i.invoice_id = $2`

const selectLines = `SELECT content FROM invoice_lines WHERE shop_id = $1 AND invoice_id = $2 ORDER BY line_number`

const selectReceivables = `
SELECT receivable_id, invoice_id, debtor_kind, debtor_name, coalesce(payer_id::text, '') AS payer_id, currency_code,
  amount, transferred_amount, open_amount, to_char(due_date, 'YYYY-MM-DD') AS due_date
FROM receivables WHERE shop_id = $1 AND invoice_id = ANY ($2) ORDER BY debtor_kind DESC, receivable_id`

type owedRow struct {
	ID         ident.Receivable    `db:"receivable_id"`
	Invoice    ident.Invoice       `db:"invoice_id"`
	DebtorKind invoices.DebtorKind `db:"debtor_kind"`
	DebtorName string              `db:"debtor_name"`
	Payer      ident.Payer         `db:"payer_id"`
	Currency   string              `db:"currency_code"`
	Amount     int64               `db:"amount"`
	Moved      int64               `db:"transferred_amount"`
	Open       int64               `db:"open_amount"`
	DueDate    string              `db:"due_date"`
}

func (r owedRow) receivable() invoices.Receivable {
	return invoices.Receivable{ID: r.ID, Invoice: r.Invoice, DebtorKind: r.DebtorKind, DebtorName: r.DebtorName, Payer: r.Payer,
		Amount: money.From(r.Amount, r.Currency), Transferred: money.From(r.Moved, r.Currency), Open: money.From(r.Open, r.Currency),
		DueDate: r.DueDate}
}

// Get reads a document with its lines and receivables. It fails with errs.NotFound.
func Get(ctx context.Context, tx *pg.Tx, id ident.Invoice) (invoices.Invoice, error) {
	var head headRow
	if err := tx.Get(ctx, &head, selectHead, string(tx.Shop()), string(id)); err != nil {
		if pg.IsNoRows(err) {
			return invoices.Invoice{}, errs.Missing("invoice", string(id))
		}
		return invoices.Invoice{}, fmt.Errorf("read invoice %s: %w", id, err)
	}
	i, err := head.invoice()
	if err != nil {
		return invoices.Invoice{}, err
	}
	var lines [][]byte
	if err := tx.Select(ctx, &lines, selectLines, string(tx.Shop()), string(id)); err != nil {
		return invoices.Invoice{}, fmt.Errorf("read the lines of %s: %w", i.Number, err)
	}
	i.Lines = make([]invoices.Line, len(lines))
	for n, raw := range lines {
		if err := json.Unmarshal(raw, &i.Lines[n]); err != nil {
			return invoices.Invoice{}, fmt.Errorf("read line %d of %s: %w", n+1, i.Number, err)
		}
	}
	owed, err := Receivables(ctx, tx, id)
	i.Receivables = owed[id]
	return i, err
}

// Receivables reads what is owed of invoices, the payer's share first.
func Receivables(ctx context.Context, tx *pg.Tx, ids ...ident.Invoice) (map[ident.Invoice][]invoices.Receivable, error) {
	var rows []owedRow
	if err := tx.Select(ctx, &rows, selectReceivables, string(tx.Shop()), pg.Array(ids)); err != nil {
		return nil, fmt.Errorf("read the receivables of %d invoices: %w", len(ids), err)
	}
	all := make(map[ident.Invoice][]invoices.Receivable, len(ids))
	for _, r := range rows {
		all[r.Invoice] = append(all[r.Invoice], r.receivable())
	}
	return all, nil
}

const listInvoices = `SELECT ` + headColumns + ` FROM invoices i
WHERE i.shop_id = $1 AND i.invoice_id < $2%s ORDER BY i.invoice_id DESC LIMIT $3`

// List reads documents with their receivables and without lines, newest first, those before the
// identifier. Where is further SQL that begins with AND and whose placeholders begin at $4.
func List(ctx context.Context, tx *pg.Tx, before string, limit int, where string, args ...any) ([]invoices.Invoice, error) {
	var rows []headRow
	err := tx.Select(ctx, &rows, fmt.Sprintf(listInvoices, where), append([]any{string(tx.Shop()), before, limit}, args...)...)
	if err != nil {
		return nil, fmt.Errorf("list invoices: %w", err)
	}
	all, ids := make([]invoices.Invoice, len(rows)), make([]ident.Invoice, len(rows))
	for n, r := range rows {
		if all[n], err = r.invoice(); err != nil {
			return nil, err
		}
		ids[n] = r.ID
	}
	owed, err := Receivables(ctx, tx, ids...)
	for n := range all {
		all[n].Receivables = owed[all[n].ID]
	}
	return all, err
}
