package x12_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"cullet/adapters/format/x12"
	"cullet/adapters/formattest"
	"cullet/services/claims"
	"cullet/services/errs"
	"cullet/services/payers"
)

var update = flag.Bool("update", false, "rewrite the golden files")

const (
	answersFolder = "../../../testdata/answers/x12"
	claimsFolder  = "../../../testdata/claims/x12"
)

// partner is how an invented payer is addressed.
func partner(version payers.X12Version) payers.X12 {
	return payers.X12{Version: version, SenderQualifier: "ZZ", SenderID: "SHOPDEMO", ReceiverQualifier: "ZZ", ReceiverID: "PAYERDEMO",
		SenderCode: "SHOPDEMO", ReceiverCode: "PAYERDEMO", IsAcknowledgedByTA1: true}
}

func envelope(version payers.X12Version) claims.Envelope {
	e := formattest.Envelope()
	e.X12 = partner(version)
	return e
}

// Not parallel: the suite measures what is allocated.
func TestFormat(t *testing.T) {
	for _, version := range []payers.X12Version{payers.X12004010, payers.X12005010} {
		t.Run(string(version), func(t *testing.T) {
			formattest.Suite{Format: x12.Format{}, Address: func(e *claims.Envelope) { e.X12 = partner(version) },
				Spell: func(text string) string { return x12.Spell(text, false) }}.Run(t)
		})
	}
}

func encode(t testing.TB, e claims.Envelope, batch []claims.Frozen) string {
	t.Helper()
	var out bytes.Buffer
	if err := (x12.Format{}).Encode(&out, e, batch); err != nil {
		var refused *errs.Error
		if errors.As(err, &refused) {
			t.Fatalf("%+v", refused.Fields)
		}
		t.Fatal(err)
	}
	return out.String()
}

// golden compares with a file, or writes it.
func golden(t *testing.T, file, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s, want - got +:\n%s", file, diff)
	}
}

// TestGolden writes every example payload in both releases and in the basic set. The files have a line
// end after each segment, for reading; documents have none.
func TestGolden(t *testing.T) {
	t.Parallel()
	for _, version := range []payers.X12Version{payers.X12004010, payers.X12005010} {
		for _, isBasic := range []bool{false, true} {
			e := envelope(version)
			e.X12.IsBasic = isBasic
			name := string(version)
			if isBasic {
				name += "-basic"
			}
			document := encode(t, e, formattest.Batch(t, len(formattest.Examples(t))))
			golden(t, filepath.Join(claimsFolder, name+".edi"), strings.ReplaceAll(document, "~", "~\n"))
		}
	}
}

// outcome is what an answer file came to, in the form of the golden files.
func outcome(t *testing.T, content []byte) string {
	t.Helper()
	answers, err := x12.Format{}.ReadAnswers(content)
	if err == nil {
		text, err := json.MarshalIndent(answers, "", "  ")
		if err != nil {
			t.Fatal(err)
		}
		return string(text) + "\n"
	}
	var refused *errs.Error
	if !errors.As(err, &refused) || refused.Kind != errs.Invalid {
		t.Fatalf("got %v, want an invalid-error", err)
	}
	if len(refused.Fields) == 0 {
		return refused.Message + "\n"
	}
	return fmt.Sprintf("%s: %s: %s\n", refused.Fields[0].Path, refused.Fields[0].Reason, refused.Fields[0].Message)
}

func TestReadAnswers(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob(answersFolder + "/*.edi")
	if err != nil || len(files) < 20 {
		t.Fatalf("found %d examples, %v", len(files), err)
	}
	for _, file := range files {
		content, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		got := outcome(t, content)
		// A "fat" file has several interchanges, so a part of it may be whole.
		if isRead := strings.HasPrefix(got, "["); isRead == strings.HasPrefix(filepath.Base(file), "broken-") {
			t.Errorf("%s: read %v", file, isRead)
		}
		golden(t, strings.TrimSuffix(file, ".edi")+".golden", got)
	}
}
