package document_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"cullet/adapters/document"
	"cullet/services/errs"
	"cullet/services/invoices"
	"cullet/services/money"
)

// statement is an invented statement of many open documents.
func statement(n int) invoices.Statement {
	s := invoices.Statement{Seller: invoices.SellerOf(shop()), RemitTo: invoices.RemitToOf(shop()), BillTo: invoices.Party{Name: "Lantern Mutual (invented)"},
		AsOf: "2026-11-25", BucketNames: []string{"not due", "1-30 days", "over 30 days"}, Buckets: []money.Amount{usd(0), usd(0), usd(0)},
		Open: usd(0), Unmatched: usd(500), Time: time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)}
	for k := range n {
		l := invoices.StatementLine{Number: invoices.Number(invoices.KindInvoice, int64(k+1)), IssueDate: "2026-10-20", DueDate: "2026-11-19", Total: usd(8600), Open: usd(7995)}
		if k%2 == 0 {
			l.DaysLate = 6
		}
		s.Buckets[k%2].Minor += 7995
		s.Open.Minor += 7995
		s.Lines = append(s.Lines, l)
	}
	return s
}

func TestStatement(t *testing.T) {
	t.Parallel()
	for _, paper := range []string{"LETTER", "A4"} {
		content, err := document.Printer{}.Statement(statement(70), paper)
		if err != nil {
			t.Fatal(err)
		}
		again, err := document.Printer{}.Statement(statement(70), paper)
		if err != nil || !bytes.Equal(content, again) {
			t.Errorf("printed twice it differs: %v", err)
		}
		golden(t, "statement_"+strings.ToLower(paper)+".txt", asText(t, content))
		for n, page := range pages(t, content) {
			if len(page) == 0 {
				t.Errorf("page %d of %s is empty", n+1, paper)
			}
		}
	}
}

func TestStatementSaysWhatIsDue(t *testing.T) {
	t.Parallel()
	nothing, err := document.Printer{}.Statement(statement(0), "A4")
	if err != nil || !strings.Contains(asText(t, nothing), "Nothing is open.") {
		t.Errorf("of nothing: %v\n%s", err, asText(t, nothing))
	}
	some, err := document.Printer{}.Statement(statement(3), "A4")
	if text := asText(t, some); err != nil || !strings.Contains(text, "$239.85 is open, of which $159.90 is past its day.") || !strings.Contains(text, "INV-000003") {
		t.Errorf("%v\n%s", err, text)
	}
}

func TestStatementRefuses(t *testing.T) {
	t.Parallel()
	wrong := statement(3)
	wrong.Lines[0].Open.Minor++
	if _, err := (document.Printer{}).Statement(wrong, "A4"); err == nil {
		t.Error("a statement whose documents do not sum to what is open was printed")
	}
	if _, err := (document.Printer{}).Statement(statement(1), "A3"); !errs.Is(err, errs.Invalid) {
		t.Errorf("paper A3: %v", err)
	}
}
