package invoicespg

import (
	"context"
	"fmt"
	"slices"

	"cullet/services/internal/pg"
	"cullet/services/invoices"
)

// Checked is one invariant of the books with what it found.
type Checked struct {
	Name string
	// Holds is true when nothing breaks it.
	Holds bool
	// Sentence says what was compared, with figures.
	Sentence string
}

// invariant is one law of the books as SQL: it counts what breaks it and what was looked at.
type invariant struct {
	name          invoices.Law
	sentence, sql string
}

// invariants are the laws of the books. Each query gives one row: broken, seen.
var invariants = []invariant{
	{invoices.TrialBalanceIsZero, "%d currencies whose accounts do not sum to zero, of %d",
		`SELECT count(*) FILTER (WHERE s <> 0), count(*) FROM (SELECT sum(amount) AS s FROM journal_lines WHERE shop_id = $1 GROUP BY currency_code) t`},
	{invoices.EntriesBalance, "%d entries that do not sum to zero, of %d",
		`SELECT count(*) FILTER (WHERE s <> 0), count(*) FROM (SELECT sum(amount) AS s FROM journal_lines WHERE shop_id = $1 GROUP BY entry_id, currency_code) t`},
	{invoices.EntriesHavePostings, "%d entries without postings, of %d",
		`SELECT count(*) FILTER (WHERE NOT EXISTS (SELECT FROM journal_lines l WHERE l.shop_id = e.shop_id AND l.entry_id = e.entry_id)), count(*)
		 FROM journal_entries e WHERE shop_id = $1`},
	{invoices.PostedOnce, "%d documents without exactly one entry, of %d",
		`SELECT count(*) FILTER (WHERE n <> 1), count(*) FROM (SELECT (SELECT count(*) FROM journal_entries e WHERE e.shop_id = i.shop_id
		   AND e.document_id = i.invoice_id AND e.document_kind IN ('invoice', 'credit_note')) AS n
		 FROM invoices i WHERE i.shop_id = $1 AND i.total > 0) t`},
	{invoices.LinesSumToDocument, "%d documents whose lines do not, of %d",
		`SELECT count(*) FILTER (WHERE i.net <> t.net OR i.tax <> t.tax), count(*) FROM invoices i
		 JOIN (SELECT invoice_id, sum(net) AS net, sum(tax) AS tax FROM invoice_lines WHERE shop_id = $1 GROUP BY 1) t USING (invoice_id) WHERE i.shop_id = $1`},
	{invoices.SharesSumToInvoice, "%d invoices whose shares do not, of %d",
		`SELECT count(*) FILTER (WHERE i.total <> coalesce((SELECT sum(r.amount) FROM receivables r WHERE r.shop_id = i.shop_id AND r.invoice_id = i.invoice_id), 0)), count(*)
		 FROM invoices i WHERE i.shop_id = $1 AND i.kind = 'INVOICE'`},
	{invoices.OpenIsOwedLessAllocated, "%d receivables of which it is not, of %d",
		`SELECT count(*) FILTER (WHERE r.open_amount <> r.amount - coalesce((SELECT sum(a.amount) FROM allocations a
		   WHERE a.shop_id = r.shop_id AND a.receivable_id = r.receivable_id), 0)), count(*) FROM receivables r WHERE r.shop_id = $1`},
	{invoices.ReceivablesEqualJournal, "%d of %d comparisons in which open receivables differ from the journal's account",
		`SELECT count(*) FILTER (WHERE a IS DISTINCT FROM b), 1 FROM (SELECT coalesce((SELECT sum(open_amount) FROM receivables WHERE shop_id = $1), 0) AS a,
		   coalesce((SELECT sum(amount) FROM journal_lines WHERE shop_id = $1 AND account = 'receivable'), 0) AS b) t`},
	{invoices.AgingEqualsJournal, "%d payers whose open receivables differ from their journal, of %d",
		`SELECT count(*) FILTER (WHERE coalesce(a.s, 0) <> coalesce(b.s, 0)), count(*) FROM
		 (SELECT coalesce(payer_id::text, '') AS payer, sum(open_amount) AS s FROM receivables WHERE shop_id = $1 GROUP BY 1) a FULL JOIN
		 (SELECT coalesce(payer_id::text, '') AS payer, sum(amount) AS s FROM journal_lines WHERE shop_id = $1 AND account = 'receivable' GROUP BY 1) b
		 USING (payer)`},
	{invoices.SeriesHaveNoGap, "%d series with a gap, of %d",
		`SELECT count(*) FILTER (WHERE n <> last), count(*) FROM (SELECT count(*) AS n, max(sequence) AS last FROM invoices WHERE shop_id = $1 GROUP BY series) t`},
	{invoices.CountersAgree, "%d series whose counter does not follow its last number, of %d",
		`SELECT count(*) FILTER (WHERE s.next_number <> t.last + 1), count(*) FROM (SELECT series, max(sequence) AS last FROM invoices WHERE shop_id = $1 GROUP BY series) t
		 JOIN number_series s ON s.shop_id = $1 AND s.series = t.series`},
	{invoices.DaysFollowNumbers, "%d documents dated before the one before them, of %d",
		`SELECT count(*) FILTER (WHERE issue_date < before), count(*) FROM (SELECT issue_date, lag(issue_date) OVER (PARTITION BY series ORDER BY sequence) AS before
		 FROM invoices WHERE shop_id = $1) t`},
	{invoices.UnmatchedEqualsJournal, "%d of %d comparisons in which waiting money differs from the journal's account",
		`SELECT count(*) FILTER (WHERE a <> b), 1 FROM (SELECT coalesce((SELECT sum(paid - allocated) FROM remittance_lines WHERE shop_id = $1), 0) AS a,
		   -coalesce((SELECT sum(amount) FROM journal_lines WHERE shop_id = $1 AND account = 'unmatched_money'), 0) AS b) t`},
	{invoices.LineAllocatedOnce, "%d lines whose allocations are not what the line says, of %d",
		`SELECT count(*) FILTER (WHERE l.allocated <> coalesce((SELECT sum(a.amount) FROM allocations a WHERE a.shop_id = l.shop_id
		   AND a.remittance_id = l.remittance_id AND a.line_number = l.line_number), 0) + coalesce((SELECT sum(f.amount) FROM refunds f
		   WHERE f.shop_id = l.shop_id AND f.remittance_id = l.remittance_id AND f.line_number = l.line_number), 0)), count(*)
		 FROM remittance_lines l WHERE l.shop_id = $1`},
	{invoices.LinesSumToDeposit, "%d remittances whose lines do not, of %d",
		`SELECT count(*) FILTER (WHERE m.amount <> coalesce((SELECT sum(l.paid) FROM remittance_lines l WHERE l.shop_id = m.shop_id
		   AND l.remittance_id = m.remittance_id), 0)), count(*) FROM remittances m WHERE m.shop_id = $1`},
	{invoices.TaxEqualsDocuments, "%d of %d comparisons in which invoiced less credited tax differs from the journal's account",
		`SELECT count(*) FILTER (WHERE a <> b), 1 FROM (SELECT coalesce((SELECT sum(CASE kind WHEN 'INVOICE' THEN tax ELSE -tax END) FROM invoices WHERE shop_id = $1), 0) AS a,
		   -coalesce((SELECT sum(amount) FROM journal_lines WHERE shop_id = $1 AND account = 'tax_payable'), 0) AS b) t`},
	{invoices.ClaimOnOneInvoice, "%d claims that are not, of %d",
		`SELECT count(*) FILTER (WHERE n <> 1), count(*) FROM (SELECT (SELECT count(DISTINCT l.invoice_id) FROM invoice_lines l JOIN invoices i
		   ON i.shop_id = l.shop_id AND i.invoice_id = l.invoice_id AND i.kind = 'INVOICE'
		   WHERE l.shop_id = c.shop_id AND l.claim_id = c.claim_id AND l.invoice_id = c.invoice_id) AS n
		 FROM claims c WHERE c.shop_id = $1 AND c.invoice_id IS NOT NULL) t`},
	{invoices.ClaimInOneBatch, "%d claims that stand in no batch they were sent with, of %d",
		`SELECT count(*) FILTER (WHERE NOT EXISTS (SELECT FROM batches b WHERE b.shop_id = c.shop_id AND b.batch_id = c.batch_id AND c.claim_id = ANY (b.claim_ids))), count(*)
		 FROM claims c WHERE c.shop_id = $1 AND c.batch_id IS NOT NULL`},
}

// CheckBooks checks every invariant on the stored data of the shop.
func CheckBooks(ctx context.Context, tx *pg.Tx) ([]Checked, error) {
	all := make([]Checked, 0, len(invariants)+len(moneyLaws))
	for _, law := range slices.Concat(invariants, moneyLaws) {
		var found struct {
			Broken int64 `db:"broken"`
			Seen   int64 `db:"seen"`
		}
		query := "SELECT broken, seen FROM (" + law.sql + ") AS law (broken, seen)"
		if err := tx.Get(ctx, &found, query, string(tx.Shop())); err != nil {
			return nil, fmt.Errorf("check that %s: %w", law.name, err)
		}
		all = append(all, Checked{Name: string(law.name), Holds: found.Broken == 0, Sentence: fmt.Sprintf(law.sentence, found.Broken, found.Seen)})
	}
	return all, nil
}
