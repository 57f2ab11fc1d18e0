package invoicespg

import (
	"context"
	"fmt"

	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
	"cullet/services/money"
)

// maxCandidates bounds what is looked at for one remittance: a payer's oldest open invoices.
const maxCandidates = 2000

const selectCandidates = `
SELECT r.receivable_id, r.invoice_id, i.number, r.open_amount, r.currency_code, i.number AS name, 0 AS paid,
  to_char(i.issue_date, 'YYYY-MM-DD') AS issue_date, i.net
FROM receivables r JOIN invoices i ON i.shop_id = r.shop_id AND i.invoice_id = r.invoice_id
WHERE r.shop_id = $1 AND r.payer_id = $2 AND r.open_amount > 0 ORDER BY i.issue_date, i.number LIMIT $3`

// Candidates lists the open shares of a payer, the oldest first, at most 2,000.
func Candidates(ctx context.Context, tx *pg.Tx, payer ident.Payer) ([]invoices.Candidate, error) {
	var rows []struct {
		owedByName
		IssueDate string `db:"issue_date"`
		Net       int64  `db:"net"`
	}
	if err := tx.Select(ctx, &rows, selectCandidates, string(tx.Shop()), string(payer), maxCandidates); err != nil {
		return nil, fmt.Errorf("list what the payer owes: %w", err)
	}
	all := make([]invoices.Candidate, len(rows))
	for n, r := range rows {
		all[n] = invoices.Candidate{IssueDate: r.IssueDate, Net: money.From(r.Net, r.Currency), Owed: invoices.Owed{
			Receivable: r.Receivable, Invoice: r.Invoice, InvoiceNumber: r.Number, Open: money.From(r.Open, r.Currency)}}
	}
	return all, nil
}
