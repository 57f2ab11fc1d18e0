package letter

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"cullet/cmd/payersim/internal/book"
	"cullet/cmd/payersim/internal/payer"
)

var update = flag.Bool("update", false, "rewrite the golden file")

// taken has one claim of every outcome, in the order given.
func taken(a payer.Acknowledgement, outcomes ...payer.Outcome) book.Document {
	d := book.Document{PayerCode: "lantern", ControlNumber: 17, Hash: "aa", Via: "https", Acknowledgement: a,
		TakeTime: time.Date(2026, 3, 2, 21, 0, 0, 0, time.UTC)}
	for i, outcome := range outcomes {
		c := book.Claim{ClaimNumber: fmt.Sprintf("C-%d", i+1), MinorUnits: 8000, CurrencyCode: "USD", Outcome: outcome}
		if outcome != payer.Accept && outcome != payer.Silent {
			c.Reasons = []payer.Reason{{Code: "SIM-" + string(outcome), Text: "Because. (Simulated.)", Path: "coverage"}}
		}
		d.Claims = append(d.Claims, c)
	}
	return d
}

// spelled writes letters as "state claim@control" with the identifier's first use marked by "new".
func spelled(t *testing.T, letters []Letter) string {
	t.Helper()
	var all []string
	var ids []string
	for _, l := range letters {
		var body struct{ Answers []answer }
		if err := json.Unmarshal(l.Body, &body); err != nil {
			t.Fatal(err)
		}
		var said []string
		for _, a := range body.Answers {
			said = append(said, fmt.Sprintf("%.3s %s@%d", a.State, a.ClaimNumber, a.ControlNumber))
		}
		mark := "new"
		if slices.Contains(ids, l.ID) {
			mark = "same"
		}
		ids = append(ids, l.ID)
		all = append(all, mark+"["+strings.Join(said, ", ")+"]")
	}
	return strings.Join(all, " ")
}

func TestWriteByAcknowledgement(t *testing.T) {
	t.Parallel()
	tests := map[payer.Acknowledgement]string{
		payer.Once:    "new[ACK C-1@17, ACK C-2@17, ACK C-3@17] new[ACC C-1@17, DEN C-2@17, ACC C-3@17]",
		payer.Twice:   "new[ACK C-1@17, ACK C-2@17, ACK C-3@17] same[ACK C-1@17, ACK C-2@17, ACK C-3@17] new[ACK C-1@17, ACK C-2@17, ACK C-3@17] new[ACC C-1@17, DEN C-2@17, ACC C-3@17]",
		payer.Late:    "new[ACC C-1@17, DEN C-2@17, ACC C-3@17] new[ACK C-1@17, ACK C-2@17, ACK C-3@17]",
		payer.Partial: "new[ACK C-1@17, ACK C-2@17] new[ACC C-1@17, DEN C-2@17, ACC C-3@17]",
		payer.Unknown: "new[ACK SIM-NEVER-SENT@1000017] new[ACK C-1@17, ACK C-2@17, ACK C-3@17] new[ACC C-1@17, DEN C-2@17, ACC C-3@17]",
		payer.Batch:   "new[ACK @17] new[ACC C-1@17, DEN C-2@17, ACC C-3@17]",
		payer.None:    "new[ACC C-1@17, DEN C-2@17, ACC C-3@17]",
	}
	for a, want := range tests {
		letters := Write(taken(a, payer.Accept, payer.Deny, payer.ShortPay))
		if got := spelled(t, letters); got != want {
			t.Errorf("%s: %s, want %s", a, got, want)
		}
		keys := map[string]bool{}
		for _, l := range letters {
			keys[l.Key] = true
		}
		if len(keys) != len(letters) {
			t.Errorf("%s: %d keys for %d letters", a, len(keys), len(letters))
		}
	}
}

func TestWriteIsSilentAboutSilentClaims(t *testing.T) {
	t.Parallel()
	if got, want := spelled(t, Write(taken(payer.Once, payer.Silent, payer.Accept))), "new[ACK C-2@17] new[ACC C-2@17]"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	if got := Write(taken(payer.Once, payer.Silent)); len(got) != 0 {
		t.Errorf("%d letters about a silent claim, want none", len(got))
	}
}

func TestWriteCutsLongAnswersAndRepeatsItself(t *testing.T) {
	t.Parallel()
	d := taken(payer.None, slices.Repeat([]payer.Outcome{payer.Reject}, 120)...)
	letters := Write(d)
	if len(letters) != 3 {
		t.Fatalf("%d letters about 120 claims, want 3", len(letters))
	}
	for _, l := range letters {
		if len(l.Body) > 32<<10 {
			t.Errorf("letter %s has %d bytes, want less than 32 KB", l.Key, len(l.Body))
		}
	}
	if diff := cmp.Diff(letters, Write(d)); diff != "" {
		t.Errorf("written again it differs:\n%s", diff)
	}
}

// TestWriteIsWhatTheFormatReads writes an example that the tests of the format "json" read: neither
// side imports the other.
func TestWriteIsWhatTheFormatReads(t *testing.T) {
	t.Parallel()
	const golden = "../../../../testdata/answers/json/valid-simulated-payer.json"
	letters := Write(taken(payer.None, payer.Accept, payer.ShortPay, payer.Reject, payer.Ask, payer.Deny, payer.Silent))
	var got bytes.Buffer
	if err := json.Indent(&got, letters[0].Body, "", "  "); err != nil {
		t.Fatal(err)
	}
	got.WriteByte('\n')
	if *update {
		if err := os.WriteFile(golden, got.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got.String()); diff != "" {
		t.Errorf("the example differs; look, then run with -update:\n%s", diff)
	}
}
