package book

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"cullet/cmd/payersim/internal/payer"
)

func setup(t *testing.T) (*Book, string) {
	t.Helper()
	name := filepath.Join(t.TempDir(), "state", "book.jsonl")
	b := mustOpen(t, name)
	err := b.SetPayer(payer.Payer{Code: "lantern", Claims: map[string]payer.Decision{
		"C-2": {Outcome: payer.Reject}, "C-3": {Outcome: payer.ShortPay}}})
	if err != nil {
		t.Fatal(err)
	}
	return b, name
}

func mustOpen(t *testing.T, name string) *Book {
	t.Helper()
	b, err := Open(name)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	return b
}

func document(number int64, hash string, claims ...string) Document {
	d := Document{PayerCode: "lantern", ControlNumber: number, Hash: hash, Via: "https", ShopName: "Harbourline Glass Repair (invented)",
		TakeTime: time.Date(2026, 3, 2, 21, 0, 0, 0, time.UTC)}
	for _, c := range claims {
		d.Claims = append(d.Claims, Claim{ClaimNumber: c, InvoiceNumber: "INV-" + c, MinorUnits: 8000, CurrencyCode: "USD"})
	}
	return d
}

func mustTake(t *testing.T, b *Book, d Document) Document {
	t.Helper()
	taken, _, err := b.Take(d)
	if err != nil {
		t.Fatal(err)
	}
	return taken
}

func TestTakeKnowsTheSameBytesAndRefusesOthers(t *testing.T) {
	t.Parallel()
	b, name := setup(t)
	for i, isKnown := range []bool{false, true, true} {
		taken, known, err := b.Take(document(17, "aa", "C-1"))
		if err != nil || known != isKnown || taken.Claims[0].Outcome != payer.Accept {
			t.Errorf("take %d: %+v, %v, %v, want known %v", i, taken, known, err, isKnown)
		}
	}
	if taken, _, err := b.Take(document(17, "bb", "C-9")); !errors.Is(err, ErrTaken) || taken.Hash != "aa" {
		t.Errorf("other bytes: %+v, %v, want ErrTaken with the first document", taken, err)
	}
	again := mustOpen(t, name)
	if _, known, err := again.Take(document(17, "aa", "C-1")); err != nil || !known {
		t.Errorf("after opening again: known %v, %v, want known", known, err)
	}
	if _, _, err := b.Take(Document{PayerCode: "nobody", ControlNumber: 1}); err == nil {
		t.Errorf("a payer that nobody knows: nil, want an error")
	}
}

func TestTakeTellsCorrectedFromDouble(t *testing.T) {
	t.Parallel()
	b, _ := setup(t)
	mustTake(t, b, document(1, "aa", "C-1", "C-2"))
	second := mustTake(t, b, document(2, "bb", "C-1", "C-2"))
	first, corrected := second.Claims[0], second.Claims[1]
	if !first.IsDouble || first.IsAgain || first.Outcome != payer.Reject || first.PayableMinorUnits != 0 {
		t.Errorf("an accepted claim that comes again: %+v, want a rejected double", first)
	}
	if corrected.IsDouble || !corrected.IsAgain || corrected.Outcome != payer.Accept || corrected.PayableMinorUnits != 8000 {
		t.Errorf("a rejected claim that comes again: %+v, want it corrected and accepted", corrected)
	}
	third := mustTake(t, b, document(3, "cc", "C-1"))
	if !third.Claims[0].IsDouble {
		t.Errorf("the double a third time: %+v, want a double still", third.Claims[0])
	}
}

func TestPayCoversEachClaimOnce(t *testing.T) {
	t.Parallel()
	b, name := setup(t)
	if _, err := b.Pay("lantern", "R-1", "2026-03-20"); !errors.Is(err, ErrNothingToPay) {
		t.Errorf("Pay of nothing: %v, want ErrNothingToPay", err)
	}
	mustTake(t, b, document(1, "aa", "C-1", "C-2", "C-3"))
	first, err := b.Pay("lantern", "R-1", "2026-03-20")
	if err != nil {
		t.Fatal(err)
	}
	if len(first.Lines) != 2 || first.TotalMinor != 8000+6800 || first.Lines[0].ReasonCode != "" || first.Lines[1].ReasonCode == "" {
		t.Errorf("Pay = %+v, want C-1 whole and C-3 short with a reason", first)
	}
	again := mustOpen(t, name)
	for _, book := range []*Book{b, again} {
		same, err := book.Pay("lantern", "R-1", "2026-03-20")
		if diff := cmp.Diff(first, same); err != nil || diff != "" {
			t.Errorf("the same reference again: %v\n%s", err, diff)
		}
		if _, err := book.Pay("lantern", "R-1", "2026-03-21"); !errors.Is(err, ErrOtherDate) {
			t.Errorf("the same reference on another day: %v, want ErrOtherDate", err)
		}
		if _, err := book.Pay("lantern", "R-2", "2026-03-21"); !errors.Is(err, ErrNothingToPay) {
			t.Errorf("another reference: %v, want ErrNothingToPay", err)
		}
	}
}

// TestOpenSurvivesEveryCut cuts the file at every fifth byte and around each line's end, as a kill may: whole lines are kept,
// the rest is as if it had never been said, and the book goes on.
func TestOpenSurvivesEveryCut(t *testing.T) {
	t.Parallel()
	b, name := setup(t)
	mustTake(t, b, document(1, "aa", "C-1"))
	mustTake(t, b, document(2, "bb", "C-2"))
	if err := b.MarkSent(Sent{PayerCode: "lantern", Key: "1-ack-0"}); err != nil {
		t.Fatal(err)
	}
	content, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	for cut := range len(content) + 1 {
		if cut%5 != 0 && content[max(cut-1, 0)] != '\n' && content[min(cut, len(content)-1)] != '\n' {
			continue
		}
		part := filepath.Join(t.TempDir(), "book.jsonl")
		if err := os.WriteFile(part, content[:cut], 0o600); err != nil {
			t.Fatal(err)
		}
		again, err := Open(part)
		if err != nil {
			t.Fatalf("cut after %d bytes: %v", cut, err)
		}
		lines := strings.Count(string(content[:cut]), "\n")
		if got, want := len(again.Documents("lantern")), max(0, min(lines-1, 2)); got != want {
			t.Errorf("cut after %d bytes: %d documents, want %d", cut, got, want)
		}
		if got, want := again.IsSent("lantern", "1-ack-0"), lines == 4; got != want {
			t.Errorf("cut after %d bytes: sent %v, want %v", cut, got, want)
		}
		if err := again.SetPayer(payer.Payer{Code: "after"}); err != nil {
			t.Fatal(err)
		}
		if err := again.Close(); err != nil {
			t.Fatal(err)
		}
		once := mustOpen(t, part)
		if !slices.Contains(once.Codes(), "after") {
			t.Errorf("cut after %d bytes: what was written next is lost", cut)
		}
	}
}

func TestOpenRefusesDamageInside(t *testing.T) {
	t.Parallel()
	b, name := setup(t)
	mustTake(t, b, document(1, "aa", "C-1"))
	content, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	content[5] = 0
	if err := os.WriteFile(name, content, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(name); err == nil || !strings.Contains(err.Error(), "line 1") {
		t.Errorf("Open of a damaged book: %v, want an error that names line 1", err)
	}
}

// TestNothingIsToldThatIsNotWritten: when the disk fails, nothing is taken, then or later.
func TestNothingIsToldThatIsNotWritten(t *testing.T) {
	t.Parallel()
	b, name := setup(t)
	if err := b.file.Close(); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if _, _, err := b.Take(document(1, "aa", "C-1")); err == nil {
			t.Errorf("Take on a failing disk: nil, want an error")
		}
	}
	if got := len(b.Documents("lantern")) + len(mustOpen(t, name).Documents("lantern")); got != 0 {
		t.Errorf("%d documents are known, want none", got)
	}
}
