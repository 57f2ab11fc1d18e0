package formattest_test

import (
	"encoding/json"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"

	"cullet/adapters/formattest"
	"cullet/adapters/payload"
)

// TestBatch: the claims of the suite are the examples, each under its own number.
func TestBatch(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, frozen := range formattest.Batch(t, 30) {
		claim, err := payload.Parse(frozen.Payload)
		if err != nil {
			t.Fatal(err)
		}
		if seen[frozen.Number] || claim.ClaimNumber != frozen.Number || claim.Totals.PayerShare != frozen.PayerShare || claim.IsPreview {
			t.Errorf("claim %q of the suite is there twice or is not its payload", frozen.Number)
		}
		seen[frozen.Number] = true
	}
}

// TestHostileBatch: a suite whose hostile text does not arrive in the payload would test nothing,
// and one that changes the examples would test something else each time.
func TestHostileBatch(t *testing.T) {
	t.Parallel()
	before := formattest.Examples(t)
	for _, text := range formattest.HostileTexts() {
		if !utf8.ValidString(text) {
			t.Errorf("%q is not UTF-8", text)
		}
		claim, err := payload.Parse(formattest.HostileBatch(t, text)[0].Payload)
		if err != nil {
			t.Fatalf("%.40q: %v", text, err)
		}
		for _, got := range []string{claim.Shop.Name, claim.Payer.Code, claim.Vehicle.VIN, claim.Coverage.PolicyNumber,
			claim.Lines[0].Description, claim.Damages[0].Assessment.Edition, claim.Cautions[0]} {
			if got != text {
				t.Errorf("got %.40q, want %.40q", got, text)
			}
		}
	}
	if diff := cmp.Diff(before, formattest.Examples(t)); diff != "" {
		t.Errorf("the examples changed:\n%s", diff)
	}
}

// TestExamplesAreCanonical: what is read from the indented files is written as it is frozen.
func TestExamplesAreCanonical(t *testing.T) {
	t.Parallel()
	for _, claim := range formattest.Examples(t) {
		content := formattest.Freeze(t, claim).Payload
		if !json.Valid(content) || !strings.HasPrefix(string(content), `{"schema":"`+payload.SchemaName+`","claim_number":"`) {
			t.Errorf("claim %s begins with %.60s", claim.ClaimNumber, content)
		}
	}
}
