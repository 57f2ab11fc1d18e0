package server_test

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	invoicesv1 "cullet/proto/cullet/invoices/v1"
	"cullet/services/errs"
)

// bank is a house with five released invoices, and files of payments whose numbers are theirs.
type bank struct {
	*cutHouse
	numbers map[string]string
}

func openBank(t *testing.T) *bank {
	t.Helper()
	b := &bank{cutHouse: openCutHouse(t), numbers: map[string]string{}}
	for n := range 9 {
		b.numbers[fmt.Sprintf("INV-%06d", 101+n)] = b.released(t).GetInvoiceNumber()
	}
	return b
}

func (b *bank) file(t *testing.T, path string) []byte {
	t.Helper()
	content, err := os.ReadFile("../../testdata/answers/" + path)
	if err != nil {
		t.Fatal(err)
	}
	text := string(content)
	for old, number := range b.numbers {
		text = strings.ReplaceAll(text, old, number)
	}
	return []byte(text)
}

func (b *bank) post(t *testing.T, format, path, debtor string) *invoicesv1.PostRemittanceResponse {
	t.Helper()
	posted, err := b.Invoices.PostRemittance(t.Context(), &invoicesv1.PostRemittanceRequest{PayerId: b.payer, Format: format,
		Content: b.file(t, path), DebtorName: debtor})
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return posted
}

func (b *bank) accounts(t *testing.T) *invoicesv1.GetTrialBalanceResponse {
	t.Helper()
	got, err := b.Invoices.GetTrialBalance(t.Context(), &invoicesv1.GetTrialBalanceRequest{})
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// TestABanksFilesPostOnce: a notification and the statement of the same day, in either order and
// repeated, come to the same accounts.
func TestABanksFilesPostOnce(t *testing.T) {
	t.Parallel()
	const told, booked, debtor = "camt/valid-notification.xml", "camt/valid-statement-of-the-same-day.xml", "Lantern Mutual (invented)"
	one, other := openBank(t), openBank(t)
	if first := one.post(t, "camt", told, debtor); first.GetIsRepeated() || len(first.GetRemittances()) != 2 {
		t.Errorf("%d payments are posted, repeated %v; want 2 new ones", len(first.GetRemittances()), first.GetIsRepeated())
	}
	between := one.accounts(t)
	if again := one.post(t, "camt", told, debtor); !again.GetIsRepeated() {
		t.Error("the same file was posted as if it were new")
	}
	if diff := cmp.Diff(between, one.accounts(t), protocmp.Transform()); diff != "" {
		t.Errorf("posting the same file changed the books:\n%s", diff)
	}
	one.post(t, "camt", booked, debtor)
	other.post(t, "camt", booked, debtor)
	other.post(t, "camt", told, debtor)
	if diff := cmp.Diff(one.accounts(t), other.accounts(t), protocmp.Transform()); diff != "" {
		t.Errorf("the order of the files matters (-notification first +statement first):\n%s", diff)
	}
	if stored := one.Count("remittances"); stored != 3 {
		t.Errorf("%d payments are stored, want 3: two of the notification, one more of the statement", stored)
	}
	_, err := one.Invoices.PostRemittance(t.Context(), &invoicesv1.PostRemittanceRequest{PayerId: one.payer, Format: "camt", Content: one.file(t, told)})
	if !errs.Is(err, errs.Invalid) || !strings.Contains(fmt.Sprint(err), "debtor") {
		t.Errorf("a file of two debtors without the name of one: %v, want a refusal that asks for it", err)
	}
	one.booksHold(t)
	other.booksHold(t)
}

// TestADepositThatDoesNotAddUpWaits: one cent off, the money is in the books and on no invoice.
func TestADepositThatDoesNotAddUpWaits(t *testing.T) {
	t.Parallel()
	b := openBank(t)
	whole := b.post(t, "x12-820", "x12820/valid-612-40.edi", "").GetRemittance()
	if whole.GetAmount().GetMinorUnits() != 61240 || whole.GetAllocated().GetMinorUnits() == 0 {
		t.Errorf("of 612.40 %d is placed", whole.GetAllocated().GetMinorUnits())
	}
	_, err := b.Invoices.PostRemittance(t.Context(), &invoicesv1.PostRemittanceRequest{PayerId: b.payer, Format: "x12-820",
		Content: b.file(t, "x12820/valid-one-cent-off.edi")})
	if !errs.Is(err, errs.Conflict) {
		t.Errorf("another sum under the number of a payment: %v, want a conflict", err)
	}
	fresh := openBank(t)
	off := fresh.post(t, "x12-820", "x12820/valid-one-cent-off.edi", "").GetRemittance()
	if off.GetUnmatched().GetMinorUnits() != 61239 || off.GetAllocated().GetMinorUnits() != 0 {
		t.Errorf("of 612.39 %d is placed and %d waits, want all to wait", off.GetAllocated().GetMinorUnits(), off.GetUnmatched().GetMinorUnits())
	}
	b.booksHold(t)
	fresh.booksHold(t)
}

// TestMoneyTakenBackOpensTheInvoice: what the payer takes out of a later deposit is owed again.
func TestMoneyTakenBackOpensTheInvoice(t *testing.T) {
	t.Parallel()
	h := openCutHouse(t)
	first, second := h.released(t).GetInvoiceNumber(), h.released(t).GetInvoiceNumber()
	send := func(reference string, total int64, lines ...*invoicesv1.DepositLine) *invoicesv1.Remittance {
		t.Helper()
		got, err := h.Invoices.RecordDeposit(t.Context(), &invoicesv1.RecordDepositRequest{PayerId: h.payer, Reference: reference,
			PaidDate: "2026-10-20", Amount: usd(total), Lines: lines})
		if err != nil {
			t.Fatal(err)
		}
		return got.GetRemittance()
	}
	send("1", 10775, &invoicesv1.DepositLine{InvoiceNumber: first, Paid: usd(10775)})
	later := send("2", 775, &invoicesv1.DepositLine{InvoiceNumber: second, Paid: usd(10775)}, &invoicesv1.DepositLine{InvoiceNumber: first, Paid: usd(-10000)})
	if later.GetUnmatched().GetMinorUnits() != 0 || !strings.HasPrefix(later.GetLines()[1].GetSentence(), "Taken back from "+first) {
		t.Errorf("%v", later)
	}
	got, err := h.Invoices.GetInvoice(t.Context(), &invoicesv1.GetInvoiceRequest{InvoiceId: h.invoiceNumbered(t, first)})
	if err != nil {
		t.Fatal(err)
	}
	if open := got.GetInvoice().GetOpen().GetMinorUnits(); open != 10000 || got.GetInvoice().GetIsPaid() || len(got.GetAllocations()) != 2 {
		t.Errorf("%d is open with %d allocations, want 10000 with 2", open, len(got.GetAllocations()))
	}
	h.booksHold(t)
}
