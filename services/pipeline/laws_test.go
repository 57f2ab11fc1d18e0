package pipeline_test

import (
	"slices"
	"testing"

	"cullet/services/internal/pg/pgtest"
	"cullet/services/invoices"
	"cullet/services/invoices/booktest"
)

// tampers are one change a law that a superuser might make past every constraint, and that the law must
// find; the change back follows it.
var tampers = map[invoices.Law][2]string{
	invoices.TrialBalanceIsZero:      both(`UPDATE journal_lines SET amount = amount + 1 WHERE account = 'cash'`, `UPDATE journal_lines SET amount = amount - 1 WHERE account = 'cash'`),
	invoices.EntriesBalance:          both(`UPDATE journal_lines SET amount = amount + 1 WHERE account = 'cash'`, `UPDATE journal_lines SET amount = amount - 1 WHERE account = 'cash'`),
	invoices.EntriesHavePostings:     both(`UPDATE journal_lines SET entry_id = shop_id WHERE account = 'write_off' OR account = 'receivable' AND amount = -7`, `UPDATE journal_lines l SET entry_id = e.entry_id FROM journal_entries e WHERE e.document_kind = 'write_off' AND l.entry_id = l.shop_id`),
	invoices.PostedOnce:              both(`UPDATE journal_entries SET document_kind = 'refund' WHERE document_kind = 'invoice'`, `UPDATE journal_entries SET document_kind = 'invoice' WHERE document_kind = 'refund' AND memo LIKE 'invoice %'`),
	invoices.LinesSumToDocument:      both(`UPDATE invoice_lines SET net = net + 1`, `UPDATE invoice_lines SET net = net - 1`),
	invoices.SharesSumToInvoice:      both(`UPDATE receivables SET amount = amount + 1 WHERE debtor_kind = 'PAYER'`, `UPDATE receivables SET amount = amount - 1 WHERE debtor_kind = 'PAYER'`),
	invoices.OpenIsOwedLessAllocated: both(`UPDATE receivables SET open_amount = open_amount - 1 WHERE open_amount > 0`, `UPDATE receivables SET open_amount = open_amount + 1 WHERE open_amount + 1 <= amount AND open_amount > 0`),
	invoices.BalanceOfInvoice:        both(`UPDATE invoices SET tax = tax + 1, total = total + 1`, `UPDATE invoices SET tax = tax - 1, total = total - 1`),
	invoices.NothingBelowZero:        both(`UPDATE allocations SET amount = amount - 100000 WHERE source = 'WRITE_OFF'`, `UPDATE allocations SET amount = amount + 100000 WHERE source = 'WRITE_OFF'`),
	invoices.ReceivablesEqualJournal: both(`UPDATE journal_lines SET amount = amount - 1 WHERE account = 'receivable'`, `UPDATE journal_lines SET amount = amount + 1 WHERE account = 'receivable'`),
	invoices.AgingEqualsJournal:      both(`UPDATE journal_lines SET jurisdiction_code = payer_id::text, payer_id = NULL WHERE account = 'receivable' AND payer_id IS NOT NULL`, `UPDATE journal_lines SET payer_id = jurisdiction_code::uuid, jurisdiction_code = '' WHERE account = 'receivable' AND jurisdiction_code <> ''`),
	invoices.SeriesHaveNoGap:         both(`UPDATE invoices SET sequence = 1000 WHERE sequence = 1`, `UPDATE invoices SET sequence = 1 WHERE sequence = 1000`),
	invoices.CountersAgree:           both(`UPDATE number_series SET next_number = next_number + 1`, `UPDATE number_series SET next_number = next_number - 1`),
	invoices.DaysFollowNumbers:       both(`UPDATE invoices SET issue_date = issue_date + 1 WHERE sequence = 1`, `UPDATE invoices SET issue_date = issue_date - 1 WHERE sequence = 1`),
	invoices.UnmatchedEqualsJournal:  both(`UPDATE remittance_lines SET paid = paid + 1`, `UPDATE remittance_lines SET paid = paid - 1`),
	invoices.LineAllocatedOnce:       both(`UPDATE remittance_lines SET allocated = allocated - 1`, `UPDATE remittance_lines SET allocated = allocated + 1`),
	invoices.LinesSumToDeposit:       both(`UPDATE remittances SET amount = amount + 1`, `UPDATE remittances SET amount = amount - 1`),
	invoices.CashEqualsJournal:       both(`UPDATE refunds SET amount = amount + 1`, `UPDATE refunds SET amount = amount - 1`),
	invoices.WriteOffsEqualJournal:   both(`UPDATE journal_lines SET account = 'cash' WHERE account = 'write_off'`, `UPDATE journal_lines l SET account = 'write_off' FROM journal_entries e WHERE e.entry_id = l.entry_id AND e.document_kind = 'write_off' AND l.account = 'cash'`),
	invoices.TaxEqualsDocuments:      both(`UPDATE journal_lines SET account = 'cash' WHERE account = 'tax_payable'`, `UPDATE journal_lines SET account = 'tax_payable' WHERE account = 'cash' AND jurisdiction_code <> ''`),
	invoices.TaxByJurisdiction:       both(`UPDATE journal_lines SET jurisdiction_code = 'US-KY' WHERE jurisdiction_code = 'US-OH'`, `UPDATE journal_lines SET jurisdiction_code = 'US-OH' WHERE jurisdiction_code = 'US-KY'`),
	invoices.PostingsNeverChange:     both(`UPDATE journal_entries SET entry_date = entry_date + 1 WHERE document_kind = 'invoice'`, `UPDATE journal_entries SET entry_date = entry_date - 1 WHERE document_kind = 'invoice'`),
	invoices.UndoneOnce:              both(`UPDATE allocations SET amount = amount - 1 WHERE reverses_allocation_id IS NOT NULL AND source = 'REMITTANCE'`, `UPDATE allocations SET amount = amount + 1 WHERE reverses_allocation_id IS NOT NULL AND source = 'REMITTANCE'`),
	invoices.TransfersMakeNothing:    both(`UPDATE receivables SET transferred_amount = transferred_amount + 1`, `UPDATE receivables SET transferred_amount = transferred_amount - 1`),
	invoices.CreditsWithinInvoice:    both(`UPDATE allocations SET amount = amount + 1 WHERE source = 'CREDIT_NOTE'`, `UPDATE allocations SET amount = amount - 1 WHERE source = 'CREDIT_NOTE'`),
	invoices.FiledReturnsStand:       both(`UPDATE tax_returns SET tax = tax + 1`, `UPDATE tax_returns SET tax = tax - 1`),
	invoices.NothingInClosedMonths:   both(`UPDATE journal_entries SET entry_date = '2026-09-30' WHERE document_kind = 'transfer'`, `UPDATE journal_entries SET entry_date = '2026-10-01' WHERE document_kind = 'transfer'`),
}

func both(change, back string) [2]string {
	past := func(sql string) string {
		return `SET session_replication_role = replica; ALTER TABLE receivables DROP CONSTRAINT IF EXISTS receivables_open; ` +
			`ALTER TABLE allocations DROP CONSTRAINT IF EXISTS allocations_below_zero; ` +
			`ALTER TABLE remittance_lines DROP CONSTRAINT IF EXISTS remittance_lines_allocated; ` + sql + `; SET session_replication_role = origin`
	}
	return [2]string{past(change), past(back)}
}

// TestEveryLawCanBreak: a law that no change of the data could break would say nothing.
func TestEveryLawCanBreak(t *testing.T) {
	t.Parallel()
	l := openLedger(t, pgtest.New(t))
	payer, motorist := invoices.DebtorPayer, invoices.DebtorMotorist
	for n, op := range []booktest.Op{
		{Kind: booktest.Issue, Nets: []int64{7995}, Amount: 80},
		{Kind: booktest.Issue, Nets: []int64{7995, 2000}, Amount: 100, Payer: 1},
		{Kind: booktest.Deposit, Lines: []booktest.Line{{Invoice: 0, Paid: 1000}, {Invoice: 9, Paid: 500}}},
		{Kind: booktest.Deposit, Lines: []booktest.Line{{Invoice: 0, Paid: 300}}},
		{Kind: booktest.Undo, Invoice: 0, Index: 1},
		{Kind: booktest.PayBack, Remittance: 0, Line: 2, Amount: 100},
		{Kind: booktest.Pay, Invoice: 0, Amount: 400},
		{Kind: booktest.WriteOff, Invoice: 0, Debtor: payer, Amount: 7},
		{Kind: booktest.Move, Invoice: 0, Debtor: motorist, Amount: 200},
		{Kind: booktest.Credit, Invoice: 1, Numbers: []int{2}},
	} {
		if err := l.do(op); err != nil {
			t.Fatalf("operation %d: %v", n, err)
		}
		if err := l.Apply(op); err != nil {
			t.Fatalf("operation %d on the model: %v", n, err)
		}
	}
	l.ExecAlone(`INSERT INTO periods SELECT shop_id, '2026-09', '2026-09-30', 'test' FROM shops; ` +
		`INSERT INTO tax_returns SELECT shop_id, shop_id, 'US-KY', '2026-09-01', '2026-09-30', 'USD', 0, '{}', '2026-10-01', 'test' FROM shops`)
	for _, law := range invoices.Laws() {
		tamper, ok := tampers[law]
		if !ok {
			continue // claims and batches: the demo's books have them
		}
		if broken := l.check(); len(broken) > 0 {
			t.Fatalf("before the change for the law that %s, broken are %q", law, broken)
		}
		l.ExecAlone(tamper[0])
		if broken := l.check(); !slices.Contains(broken, string(law)) {
			t.Errorf("a change that breaks the law that %s is not found; found are %q", law, broken)
		}
		l.ExecAlone(tamper[1])
	}
}
