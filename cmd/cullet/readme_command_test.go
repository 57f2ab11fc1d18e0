package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	claimsv1 "cullet/proto/cullet/claims/v1"
	"cullet/services/money"
)

var optional = regexp.MustCompile(` \[([^]]*)\]`)

// commandLine runs every line but the first, in their order, on the one claim that there is, and then
// tries what stands below them.
func (r *readme) commandLine(t *testing.T, claim *claimsv1.Claim) {
	const invoice = "INV-000001"
	number := claim.GetClaimNumber()
	share := claim.GetPayerShare()
	r.write("file.csv", fmt.Appendf(nil, "payment_reference,paid_date,currency,total,invoice_number,claim_number,paid,reason_code,reason_text\n"+
		"P-1,%[1]s,USD,%[2]s,%[3]s,%[4]s,%[2]s,,\n", time.Now().Format(time.DateOnly),
		money.From(share.GetMinorUnits(), share.GetCurrencyCode()).Decimal(), invoice, number))
	reference := r.files(t)
	wants := map[string]struct {
		code int
		says string
	}{
		"tasks": {4, number}, "claims": {0, number}, "release": {0, invoice}, "submit": {0, "Lantern Mutual"},
		"remittance": {0, invoice}, "invoice": {0, "inv-000001.pdf"}, "doctor": {0, "yes"},
		"copy": {0, "drivers-copy-"}, "mappings": {0, "own-names"}, "import": {0, "1 known already"},
	}
	placeholders := strings.NewReplacer("C-000123", number, "INV-000123", invoice, "CODE", "lantern-mutual",
		"R-2026-0042", reference, "NAME", "own-names", "FILE", "visits.jsonl")
	for _, line := range commands(r.blocks["The command line"][0])[1:] {
		lines := []string{optional.ReplaceAllString(line, "")}
		if optional.MatchString(line) {
			lines = append(lines, optional.ReplaceAllString(line, " $1"))
		}
		for _, line := range lines {
			words := strings.Fields(placeholders.Replace(line))
			want, isKnown := wants[words[1]]
			if words[0] != "cullet" || !isKnown {
				t.Fatalf("nobody knows how to try %q", line)
			}
			if out, code := r.cullet(t, words[1:]...); code != want.code || !strings.Contains(out, want.says) {
				t.Errorf("%q ended with %d, want %d and %q in:\n%s", line, code, want.code, want.says, out)
			}
		}
	}
	if pdf, err := os.ReadFile(filepath.Join(r.place, "inv-000001.pdf")); err != nil || !strings.HasPrefix(string(pdf), "%PDF-") {
		t.Errorf("the invoice that was saved: %.20q, %v", pdf, err)
	}
	r.exitCodes(t)
	r.flags(t)
}

// files writes a file of a shop system, with the one visit that was recorded already, and a mapping that
// reads it; it gives the visit's reference.
func (r *readme) files(t *testing.T) (reference string) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(r.place, "record.json"))
	if err != nil {
		t.Fatal(err)
	}
	var sent struct{ Record json.RawMessage }
	var record struct {
		Reference string `json:"external_reference"`
	}
	if err := json.Unmarshal(text, &sent); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(sent.Record, &record); err != nil || record.Reference == "" {
		t.Fatalf("the reference of %s: %v", sent.Record, err)
	}
	var line bytes.Buffer
	if err := json.Compact(&line, sent.Record); err != nil {
		t.Fatal(err)
	}
	line.WriteByte('\n')
	r.write("visits.jsonl", line.Bytes())
	r.write("mapping.json", []byte(`{"name": "own-names", "format": "jsonlines"}`))
	return record.Reference
}

func (r *readme) cullet(t *testing.T, args ...string) (out string, code int) {
	t.Helper()
	return r.run(t, filepath.Join(r.bin, "cullet"), args...)
}

// exitCodes tries those that the lines themselves do not end with.
func (r *readme) exitCodes(t *testing.T) {
	t.Helper()
	for want, args := range map[int][]string{1: {"invoice", "INV-999999"}, 2: {"claim"}, 3: {"--server", "127.0.0.1:1", "tasks"}} {
		if _, code := r.cullet(t, args...); code != want {
			t.Errorf("%q ended with %d, want %d", args, code, want)
		}
	}
}

// flags starts a run twice under one request id, and reads both answers as JSON.
func (r *readme) flags(t *testing.T) {
	t.Helper()
	runs := map[string]bool{}
	for range 2 {
		out, code := r.cullet(t, "submit", "--json", "--request-id", "tonight")
		var run struct {
			ID string `json:"run_id"`
		}
		if err := json.Unmarshal([]byte(out), &run); err != nil || code != 0 || run.ID == "" {
			t.Fatalf("a run as JSON: %d, %v:\n%s", code, err, out)
		}
		runs[run.ID] = true
	}
	if len(runs) != 1 {
		t.Errorf("one request id started the runs %v", runs)
	}
}
