// Package invoicespg keeps the money in PostgreSQL: documents, receivables, the journal,
// payments, remittances and allocations. It is the only writer of their tables.
//
// Documents and postings are only ever added. What a debtor still owes is kept on the receivable
// under its row lock, in the transaction of the allocation that lowers it.
package invoicespg

import (
	"context"
	"encoding/json"
	"fmt"

	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
)

// A chunk is written by one statement a table, from the rows as one JSON array: a thousand
// documents cost as many round trips as one.
const insertInvoices = `
INSERT INTO invoices (shop_id, invoice_id, kind, series, sequence, number, credits_invoice_id, issue_date, due_date,
  issue_time, payer_id, bill_to_name, purchase_order, currency_code, net, tax, total, parties)
SELECT $1, r.invoice_id, r.kind, r.series, r.sequence, r.number, r.credits_invoice_id, r.issue_date, r.due_date,
  r.issue_time, r.payer_id, r.bill_to_name, r.purchase_order, r.currency_code, r.net, r.tax, r.total, r.parties
FROM jsonb_to_recordset($2) AS r (invoice_id uuid, kind text, series text, sequence bigint, number text,
  credits_invoice_id uuid, issue_date date, due_date date, issue_time timestamptz, payer_id uuid, bill_to_name text,
  purchase_order text, currency_code text, net bigint, tax bigint, total bigint, parties jsonb)`

type invoiceRow struct {
	ID            ident.Invoice   `json:"invoice_id"`
	Kind          invoices.Kind   `json:"kind"`
	Series        string          `json:"series"`
	Sequence      int64           `json:"sequence"`
	Number        string          `json:"number"`
	Credits       *ident.Invoice  `json:"credits_invoice_id"`
	IssueDate     string          `json:"issue_date"`
	DueDate       string          `json:"due_date"`
	IssueTime     string          `json:"issue_time"`
	Payer         *ident.Payer    `json:"payer_id"`
	BillToName    string          `json:"bill_to_name"`
	PurchaseOrder string          `json:"purchase_order"`
	Currency      string          `json:"currency_code"`
	Net           int64           `json:"net"`
	Tax           int64           `json:"tax"`
	Total         int64           `json:"total"`
	Parties       json.RawMessage `json:"parties"`
}

// parties are the sides of a document as they were on the day of issue, and what a credit note
// says of the invoice that it credits.
type parties struct {
	Seller  invoices.Party `json:"seller"`
	RemitTo invoices.Party `json:"remit_to"`
	BillTo  invoices.Party `json:"bill_to"`

	CreditsNumber string `json:"credits_number,omitempty"`
	CreditReason  string `json:"credit_reason,omitempty"`
}

const insertLines = `
INSERT INTO invoice_lines (shop_id, invoice_id, line_number, claim_id, job_id, kind, net, tax, content)
SELECT $1, r.invoice_id, r.line_number, r.claim_id, r.job_id, r.kind, r.net, r.tax, r.content
FROM jsonb_to_recordset($2) AS r (invoice_id uuid, line_number integer, claim_id uuid, job_id uuid, kind text,
  net bigint, tax bigint, content jsonb)`

type lineRow struct {
	Invoice ident.Invoice `json:"invoice_id"`
	Number  int           `json:"line_number"`
	Claim   *ident.Claim  `json:"claim_id"`
	Job     ident.Job     `json:"job_id"`
	Kind    string        `json:"kind"`
	Net     int64         `json:"net"`
	Tax     int64         `json:"tax"`
	Content invoices.Line `json:"content"`
}

const insertReceivables = `
INSERT INTO receivables (shop_id, receivable_id, invoice_id, debtor_kind, debtor_name, payer_id, currency_code, amount,
  open_amount, issue_date, due_date)
SELECT $1, r.receivable_id, r.invoice_id, r.debtor_kind, r.debtor_name, r.payer_id, r.currency_code, r.amount,
  r.amount, r.issue_date, r.due_date
FROM jsonb_to_recordset($2) AS r (receivable_id uuid, invoice_id uuid, debtor_kind text, debtor_name text,
  payer_id uuid, currency_code text, amount bigint, issue_date date, due_date date)`

type receivableRow struct {
	ID         ident.Receivable    `json:"receivable_id"`
	Invoice    ident.Invoice       `json:"invoice_id"`
	DebtorKind invoices.DebtorKind `json:"debtor_kind"`
	DebtorName string              `json:"debtor_name"`
	Payer      *ident.Payer        `json:"payer_id"`
	Currency   string              `json:"currency_code"`
	Amount     int64               `json:"amount"`
	IssueDate  string              `json:"issue_date"`
	DueDate    string              `json:"due_date"`
}

// Insert writes issued documents with their lines and receivables, and the entries that post
// them, in five statements however many there are. The documents' sequences must follow those
// that are stored, in number and in date, or the constraint invoices_follow is violated.
func Insert(ctx context.Context, tx *pg.Tx, all []invoices.Invoice, entries []invoices.Entry) error {
	heads, lines, owed := make([]invoiceRow, 0, len(all)), make([]lineRow, 0, 3*len(all)), make([]receivableRow, 0, len(all))
	for _, i := range all {
		head, err := headOf(i)
		if err != nil {
			return err
		}
		heads = append(heads, head)
		for _, line := range i.Lines {
			lines = append(lines, lineRow{Invoice: i.ID, Number: line.Number, Claim: optional(line.Claim), Job: line.Job,
				Kind: string(line.Kind), Net: line.Amount.Minor, Tax: line.Tax.Minor, Content: line})
		}
		for _, r := range i.Receivables {
			owed = append(owed, receivableRow{ID: r.ID, Invoice: i.ID, DebtorKind: r.DebtorKind, DebtorName: r.DebtorName,
				Payer: optional(r.Payer), Currency: r.Amount.Currency, Amount: r.Amount.Minor, IssueDate: i.IssueDate,
				DueDate: i.DueDate})
		}
	}
	if err := insertRows(ctx, tx, "invoices", insertInvoices, heads); err != nil {
		return err
	}
	if err := insertRows(ctx, tx, "invoice lines", insertLines, lines); err != nil {
		return err
	}
	if err := insertRows(ctx, tx, "receivables", insertReceivables, owed); err != nil {
		return err
	}
	return Post(ctx, tx, entries...)
}

func headOf(i invoices.Invoice) (invoiceRow, error) {
	sides, err := json.Marshal(parties{Seller: i.Seller, RemitTo: i.RemitTo, BillTo: i.BillTo,
		CreditsNumber: i.CreditsNumber, CreditReason: i.CreditReason})
	if err != nil {
		return invoiceRow{}, fmt.Errorf("write the parties of %s as JSON: %w", i.Number, err)
	}
	return invoiceRow{ID: i.ID, Kind: i.Kind, Series: i.Kind.Series(), Sequence: i.Sequence, Number: i.Number,
		Credits: optional(i.Credits), IssueDate: i.IssueDate, DueDate: i.DueDate,
		IssueTime: i.IssueTime.UTC().Format(stamp), Payer: optional(i.Payer),
		BillToName: i.BillTo.Name, PurchaseOrder: i.PurchaseOrder, Currency: i.Total.Currency, Net: i.Net.Minor,
		Tax: i.Tax.Minor, Total: i.Total.Minor, Parties: sides}, nil
}

// insertRows writes rows through a statement that takes the shop and one JSON array; no rows, no
// statement.
func insertRows[T any](ctx context.Context, tx *pg.Tx, what, statement string, rows []T) error {
	if len(rows) == 0 {
		return nil
	}
	array, err := marshalRows(what, rows)
	if err != nil {
		return err
	}
	n, err := tx.Exec(ctx, statement, string(tx.Shop()), array)
	if err != nil {
		return fmt.Errorf("insert %d %s: %w", len(rows), what, err)
	}
	if n != int64(len(rows)) {
		return fmt.Errorf("insert %d %s: %d were", len(rows), what, n)
	}
	return nil
}

func marshalRows[T any](what string, rows []T) (string, error) {
	array, err := json.Marshal(rows)
	if err != nil {
		return "", fmt.Errorf("write %s as JSON: %w", what, err)
	}
	return string(array), nil
}

// stamp is how times stand in those arrays.
const stamp = "2006-01-02T15:04:05.999999Z"

// optional is nil for an empty identifier.
func optional[T ~string](id T) *T {
	if id == "" {
		return nil
	}
	return &id
}
