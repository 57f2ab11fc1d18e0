package invoicespg

import "cullet/services/invoices"

// moneyLaws are the laws of money that moves again, of the same form as invariants.
var moneyLaws = []invariant{
	{invoices.BalanceOfInvoice, "%d invoices whose open sum is not lines and tax less all that was put on them, of %d",
		`SELECT count(*) FILTER (WHERE i.net + i.tax - coalesce((SELECT sum(a.amount) FROM allocations a JOIN receivables r ON r.shop_id = a.shop_id
		   AND r.receivable_id = a.receivable_id WHERE r.shop_id = i.shop_id AND r.invoice_id = i.invoice_id), 0)
		   <> coalesce((SELECT sum(r.open_amount) FROM receivables r WHERE r.shop_id = i.shop_id AND r.invoice_id = i.invoice_id), 0)), count(*)
		 FROM invoices i WHERE i.shop_id = $1 AND i.kind = 'INVOICE'`},
	{invoices.NothingBelowZero, "%d receivables with more taken back than was paid, or open beyond their share, of %d",
		`SELECT count(*) FILTER (WHERE open_amount < 0 OR open_amount > amount + transferred_amount OR EXISTS (SELECT FROM allocations a
		   WHERE a.shop_id = r.shop_id AND a.receivable_id = r.receivable_id AND a.source <> 'TRANSFER' GROUP BY a.source, a.payment_id HAVING sum(a.amount) < 0)), count(*)
		 FROM receivables r WHERE r.shop_id = $1`},
	{invoices.CashEqualsJournal, "%d of %d comparisons in which payments and deposits less refunds differ from the journal's cash and card fees",
		`SELECT count(*) FILTER (WHERE a <> b), 1 FROM (SELECT coalesce((SELECT sum(amount) FROM payments WHERE shop_id = $1), 0)
		   + coalesce((SELECT sum(amount) FROM remittances WHERE shop_id = $1), 0) - coalesce((SELECT sum(amount) FROM refunds WHERE shop_id = $1), 0) AS a,
		   coalesce((SELECT sum(amount) FROM journal_lines WHERE shop_id = $1 AND account IN ('cash', 'card_fees')), 0) AS b) t`},
	{invoices.WriteOffsEqualJournal, "%d of %d comparisons in which what was written off differs from the journal's account",
		`SELECT count(*) FILTER (WHERE a <> b), 1 FROM (SELECT coalesce((SELECT sum(amount) FROM allocations WHERE shop_id = $1 AND source = 'WRITE_OFF'), 0) AS a,
		   coalesce((SELECT sum(amount) FROM journal_lines WHERE shop_id = $1 AND account = 'write_off'), 0) AS b) t`},
	{invoices.TaxByJurisdiction, "%d jurisdictions whose tax on documents differs from the journal, of %d",
		`SELECT count(*) FILTER (WHERE coalesce(a.s, 0) <> coalesce(b.s, 0)), count(*) FROM
		 (SELECT t->>'jurisdiction_code' AS code, sum(CASE i.kind WHEN 'INVOICE' THEN 1 ELSE -1 END * (t->'tax'->>'minor_units')::bigint) AS s
		  FROM invoices i JOIN invoice_lines l ON l.shop_id = i.shop_id AND l.invoice_id = i.invoice_id
		  CROSS JOIN LATERAL jsonb_array_elements(CASE jsonb_typeof(l.content->'taxes') WHEN 'array' THEN l.content->'taxes' ELSE '[]' END) t
		  WHERE i.shop_id = $1 GROUP BY 1) a FULL JOIN
		 (SELECT jurisdiction_code AS code, -sum(amount) AS s FROM journal_lines WHERE shop_id = $1 AND account = 'tax_payable' GROUP BY 1) b USING (code)`},
	{invoices.PostingsNeverChange, "%d documents whose entry is not their net, tax and day, of %d",
		`SELECT count(*) FILTER (WHERE e.entry_date <> i.issue_date OR CASE i.kind WHEN 'INVOICE' THEN 1 ELSE -1 END * (i.net + i.tax)
		   <> coalesce((SELECT sum(l.amount) FROM journal_lines l WHERE l.shop_id = e.shop_id AND l.entry_id = e.entry_id AND l.account = 'receivable'), 0)), count(*)
		 FROM invoices i JOIN journal_entries e ON e.shop_id = i.shop_id AND e.document_id = i.invoice_id AND e.document_kind IN ('invoice', 'credit_note')
		 WHERE i.shop_id = $1`},
	{invoices.UndoneOnce, "%d undone allocations that were undone twice or in part, of %d",
		`SELECT count(*) FILTER (WHERE n <> 1 OR s <> -amount), count(*) FROM (SELECT o.amount, count(*) AS n, sum(a.amount) AS s FROM allocations a
		   JOIN allocations o ON o.shop_id = a.shop_id AND o.allocation_id = a.reverses_allocation_id
		   WHERE a.shop_id = $1 AND a.source <> 'PAYMENT' GROUP BY o.allocation_id, o.amount) t`},
	{invoices.TransfersMakeNothing, "%d invoices of which a moved share is not on both sides, of %d",
		`SELECT count(*) FILTER (WHERE s <> 0 OR t <> 0 OR m <> 0), count(*) FROM (SELECT r.invoice_id, sum(r.transferred_amount) AS t,
		   coalesce(sum(x.s), 0) AS s, sum(abs(r.transferred_amount + coalesce(x.s, 0))) AS m FROM receivables r
		   LEFT JOIN LATERAL (SELECT sum(a.amount) AS s FROM allocations a WHERE a.shop_id = r.shop_id AND a.receivable_id = r.receivable_id
		     AND a.source = 'TRANSFER') x ON true WHERE r.shop_id = $1 GROUP BY r.invoice_id) y`},
	{invoices.CreditsWithinInvoice, "%d invoices credited for more than they bill, or other than their credit notes say, of %d",
		`SELECT count(*) FILTER (WHERE c > total OR c <> a), count(*) FROM (SELECT i.total, sum(k.total) AS c, (SELECT coalesce(sum(a.amount), 0)
		   FROM allocations a JOIN receivables r ON r.shop_id = a.shop_id AND r.receivable_id = a.receivable_id
		   WHERE r.shop_id = i.shop_id AND r.invoice_id = i.invoice_id AND a.source = 'CREDIT_NOTE') AS a
		 FROM invoices i JOIN invoices k ON k.shop_id = i.shop_id AND k.credits_invoice_id = i.invoice_id
		 WHERE i.shop_id = $1 GROUP BY i.shop_id, i.invoice_id, i.total) t`},
	{invoices.FiledReturnsStand, "%d filed returns whose tax is not what the journal posted in its days, of %d",
		`SELECT count(*) FILTER (WHERE f.tax <> -coalesce((SELECT sum(l.amount) FROM journal_lines l JOIN journal_entries e ON e.shop_id = l.shop_id AND e.entry_id = l.entry_id
		   WHERE l.shop_id = f.shop_id AND l.account = 'tax_payable' AND (l.jurisdiction_code = f.region OR starts_with(l.jurisdiction_code, f.region || '-'))
		     AND e.entry_date BETWEEN f.from_date AND f.to_date), 0)), count(*) FROM tax_returns f WHERE f.shop_id = $1`},
	{invoices.NothingInClosedMonths, "%d entries dated in a closed month and written after it was closed, of %d",
		`SELECT count(*) FILTER (WHERE EXISTS (SELECT FROM periods p WHERE p.shop_id = e.shop_id AND p.period >= to_char(e.entry_date, 'YYYY-MM')
		   AND p.close_time < e.post_time)), count(*) FROM journal_entries e WHERE e.shop_id = $1`},
}
