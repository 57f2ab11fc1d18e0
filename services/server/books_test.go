package server_test

import (
	"bytes"
	"encoding/csv"
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"

	invoicesv1 "cullet/proto/cullet/invoices/v1"
	"cullet/services/errs"
	"cullet/services/money"
)

// TestTheJournalAsAFile: the file has every posting, its debits are its credits, and no text of it is a
// formula.
func TestTheJournalAsAFile(t *testing.T) {
	t.Parallel()
	h := openCutHouse(t)
	h.deposited(t)
	invoice := h.invoiceOf(t, h.job(t, false))
	if _, err := h.Invoices.CreditInvoice(t.Context(), &invoicesv1.CreditInvoiceRequest{InvoiceId: invoice.GetInvoiceId(), Reason: "Wrong."}); err != nil {
		t.Fatal(err)
	}
	h.Exec(`INSERT INTO remittances SELECT shop_id, gen_random_uuid(), payer_id, '=cmd()', paid_date, currency_code, 0, format, content, content_hash, post_time, posted_by FROM remittances LIMIT 1`)
	h.Exec(`INSERT INTO journal_entries SELECT shop_id, gen_random_uuid(), '2026-10-20', 'remittance', remittance_id, '+1', NULL, post_time FROM remittances WHERE reference = '=cmd()'`)
	h.Exec(`INSERT INTO journal_lines SELECT e.shop_id, e.entry_id, n, 'cash', '', NULL, 'USD', amount FROM journal_entries e, (VALUES (1, 5), (2, -5)) v (n, amount) WHERE memo = '+1'`)
	got, err := h.Invoices.ExportJournal(t.Context(), &invoicesv1.ExportJournalRequest{FromDate: "2026-10-01", ToDate: "2026-10-31"})
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(got.GetContent())).ReadAll()
	if err != nil || len(rows) != h.Count("journal_lines")+1 || len(rows) != int(got.GetRowCount())+1 {
		t.Fatalf("%d rows, %d said, %d postings, %v", len(rows), got.GetRowCount(), h.Count("journal_lines"), err)
	}
	sums := [2]money.Amount{}
	guarded := false
	for _, r := range rows[1:] {
		for n, text := range r[9:11] {
			if text == "" {
				continue
			}
			a, err := money.Parse(text, r[8])
			if err != nil {
				t.Fatal(err)
			}
			sums[n].Minor += a.Minor
		}
		guarded = guarded || r[3] == "'=cmd()" && r[4] == "'+1"
	}
	if sums[0] != sums[1] || sums[0].IsZero() || !guarded {
		t.Errorf("debits %s, credits %s, formulas guarded %v", sums[0], sums[1], guarded)
	}
}

// TestAgingIsCutAsAskedFor over the wire: the buckets, the documents behind a row, and what is refused.
func TestAgingIsCutAsAskedFor(t *testing.T) {
	t.Parallel()
	h := openCutHouse(t)
	number := h.released(t).GetInvoiceNumber()
	got, err := h.Invoices.GetAging(t.Context(), &invoicesv1.GetAgingRequest{AsOfDate: "2026-12-01", BucketDays: []int32{10, 20}, DocumentsOf: h.payer})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]string{"not due", "1-10 days", "11-20 days", "over 20 days"}, got.GetBucketNames()); diff != "" {
		t.Error(diff)
	}
	// Issued on 20 October and due 30 days later, on 19 November: 12 days before.
	row := got.GetRows()[0]
	if row.GetBuckets()[2].GetMinorUnits() != stocked*10775 || got.GetTotal().GetMinorUnits() != got.GetJournalTotal().GetMinorUnits() || len(row.GetDocuments()) != stocked ||
		row.GetDocuments()[0].GetInvoiceNumber() != number || row.GetDocuments()[0].GetBucket() != 2 || row.GetDocuments()[0].GetDueDate() != "2026-11-19" {
		t.Errorf("%v", got)
	}
	_, err = h.Invoices.GetAging(t.Context(), &invoicesv1.GetAgingRequest{AsOfDate: "2026-02-30", BucketDays: []int32{30, 30}, DocumentsOf: "nobody"})
	var known *errs.Error
	if !errors.As(err, &known) || len(known.Fields) != 3 {
		t.Errorf("%v, want three faults", err)
	}
}

// TestAStatementIsThePayersRowOfTheAging, today and on a day before anything was issued.
func TestAStatementIsThePayersRowOfTheAging(t *testing.T) {
	t.Parallel()
	h := openCutHouse(t)
	h.deposited(t)
	for day, want := range map[string][2]int64{"": {stocked, stocked*10775 - 2000}, "2026-12-31": {stocked, stocked*10775 - 2000}, "2026-10-19": {0, 0}} {
		got, err := h.Invoices.GetStatement(t.Context(), &invoicesv1.GetStatementRequest{PayerId: h.payer, AsOfDate: day})
		if err != nil {
			t.Fatal(err)
		}
		if int64(got.GetDocumentCount()) != want[0] || got.GetOpen().GetMinorUnits() != want[1] || !bytes.HasPrefix(got.GetPdf(), []byte("%PDF-")) {
			t.Errorf("as of %q: %d documents, %v; want %v", day, got.GetDocumentCount(), got.GetOpen(), want)
		}
	}
	if _, err := h.Invoices.GetStatement(t.Context(), &invoicesv1.GetStatementRequest{PayerId: string(h.shop), Paper: "A4"}); !errs.Is(err, errs.NotFound) {
		t.Errorf("a payer that is none: %v, want NotFound", err)
	}
}
