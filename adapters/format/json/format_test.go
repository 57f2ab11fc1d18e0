package jsonformat_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"

	jsonformat "cullet/adapters/format/json"
	"cullet/adapters/formattest"
	"cullet/adapters/payload"
	"cullet/services/claims"
	"cullet/services/errs"
)

var update = flag.Bool("update", false, "rewrite the golden files")

const folder = "../../../testdata/answers/json"

func TestFormat(t *testing.T) {
	t.Parallel()
	formattest.Run(t, jsonformat.Format{})
}

// compiled compiles one of our schemas with a validator that shares no code with us.
func compiled(t *testing.T, urn string) *jsonschema.Schema {
	t.Helper()
	compiler := jsonschema.NewCompiler()
	compiler.AssertFormat()
	for name, content := range map[string][]byte{"urn:cullet:schema:claim:1": payload.Schema(),
		"urn:cullet:schema:batch:1": jsonformat.BatchSchema(), "urn:cullet:schema:answers:1": jsonformat.AnswersSchema()} {
		document, err := jsonschema.UnmarshalJSON(bytes.NewReader(content))
		if err != nil {
			t.Fatal(err)
		}
		if err := compiler.AddResource(name, document); err != nil {
			t.Fatal(err)
		}
	}
	schema, err := compiler.Compile(urn)
	if err != nil {
		t.Fatal(err)
	}
	return schema
}

func validate(schema *jsonschema.Schema, content []byte) error {
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(content))
	if err != nil {
		return err
	}
	return schema.Validate(document)
}

// TestEncodeFollowsSchema: a batch is valid under the published schemas, its claims too, and the
// payloads stand in it byte for byte.
func TestEncodeFollowsSchema(t *testing.T) {
	t.Parallel()
	batch := formattest.Batch(t, 20)
	var document bytes.Buffer
	if err := (jsonformat.Format{}).Encode(&document, formattest.Envelope(), batch); err != nil {
		t.Fatal(err)
	}
	if err := validate(compiled(t, "urn:cullet:schema:batch:1"), document.Bytes()); err != nil {
		t.Errorf("not valid: %v", err)
	}
	var sum int64
	for _, frozen := range batch {
		sum += frozen.PayerShare.Minor
		if !bytes.Contains(document.Bytes(), frozen.Payload) {
			t.Errorf("claim %s is not in the document as it was frozen", frozen.Number)
		}
	}
	var read struct {
		Count int `json:"claim_count"`
		Share struct {
			Minor int64 `json:"minor_units"`
		} `json:"payer_share"`
	}
	if err := json.Unmarshal(document.Bytes(), &read); err != nil || read.Count != 20 || read.Share.Minor != sum {
		t.Errorf("got count %d and share %d, %v; want 20 and %d", read.Count, read.Share.Minor, err, sum)
	}
}

// TestDecodeRefuses: head and claims must agree, and nothing unknown or repeated passes.
func TestDecodeRefuses(t *testing.T) {
	t.Parallel()
	var document bytes.Buffer
	if err := (jsonformat.Format{}).Encode(&document, formattest.Envelope(), formattest.Batch(t, 3)); err != nil {
		t.Fatal(err)
	}
	tests := []struct{ name, old, new string }{
		{"another schema", `"cullet.batch/1"`, `"cullet.batch/2"`},
		{"another schema of a claim", `"cullet.claim/1"`, `"cullet.claim/2"`},
		{"unknown member", `"is_test":`, `"colour":1,"is_test":`},
		{"unknown member of a claim", `"service":`, `"colour":1,"service":`},
		{"repeated member", `"is_test":`, `"is_test":true,"is_test":`},
		{"repeated member of a claim", `"service":`, `"service":"WINDSHIELD_REPAIR","service":`},
		{"other spelling", `"is_test":`, `"IS_TEST":`},
		{"member missing", `"is_test":false,`, ``},
		{"count", `"claim_count":3`, `"claim_count":4`},
		{"sum", `"minor_units":`, `"minor_units":1`},
		{"same claim twice", `"C-000002"`, `"C-000001"`},
		{"control number 0", `"control_number":17`, `"control_number":0`},
		{"time without zone", `"2026-10-21T01:30:00Z"`, `"2026-10-21T01:30:00"`},
	}
	for _, test := range tests {
		changed := strings.Replace(document.String(), test.old, test.new, 1)
		if changed == document.String() {
			t.Fatalf("%s: the document has no %s", test.name, test.old)
		}
		if _, batch, err := (jsonformat.Format{}).Decode(strings.NewReader(changed)); !errs.Is(err, errs.Invalid) || batch != nil {
			t.Errorf("%s: got %d claims and %v, want a refusal", test.name, len(batch), err)
		}
	}
}

// outcome is what an answer file came to, in the form of the golden files.
func outcome(t *testing.T, content []byte) string {
	t.Helper()
	answers, err := jsonformat.Format{}.ReadAnswers(content)
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
	var lines strings.Builder
	for _, field := range refused.Fields {
		fmt.Fprintf(&lines, "%s: %s: %s\n", field.Path, field.Reason, field.Message)
	}
	return lines.String()
}

// TestReadAnswers compares every example with the golden file beside it, and with the published
// schema: what we read is valid, what is valid we read.
func TestReadAnswers(t *testing.T) {
	t.Parallel()
	schema := compiled(t, "urn:cullet:schema:answers:1")
	files, err := filepath.Glob(folder + "/*.json")
	if err != nil || len(files) < 8 {
		t.Fatalf("found %d examples, %v", len(files), err)
	}
	for _, file := range files {
		content, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		got := outcome(t, content)
		golden := strings.TrimSuffix(file, ".json") + ".golden"
		if *update {
			if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(golden)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(string(want), got); diff != "" {
			t.Errorf("%s, want - got +:\n%s", file, diff)
		}
		isRead := strings.HasPrefix(got, "[")
		content = bytes.TrimPrefix(content, []byte("\xef\xbb\xbf"))
		// The validator's own reader takes bytes that are not UTF-8.
		if err := validate(schema, content); utf8.Valid(content) && (err == nil) != isRead {
			t.Errorf("%s: read %v, by the schema: %v", file, isRead, err)
		}
	}
}

// TestReadAnswersCaps holds the caps at the cap and one beyond it.
func TestReadAnswersCaps(t *testing.T) {
	t.Parallel()
	document := func(n int, text string) []byte {
		var out bytes.Buffer
		out.WriteString(`{"answers":[`)
		for i := range n {
			if i > 0 {
				out.WriteByte(',')
			}
			fmt.Fprintf(&out, `{"external_id":"%d","control_number":1,"state":"ACCEPTED","occur_time":"2026-10-21T01:31:05Z","reasons":[{"text":%q}]}`, i, text)
		}
		out.WriteString(`]}`)
		return out.Bytes()
	}
	long := strings.Repeat("x", 2000)
	tests := []struct {
		name    string
		content []byte
		code    string
	}{
		{"answers at the cap", document(10_000, "x"), ""},
		{"one answer more", document(10_001, "x"), "LIST_LENGTH"},
		{"text at the cap", document(1, long), ""},
		{"one character more", document(1, long+"x"), "TEXT_LENGTH"},
		{"one byte too many", make([]byte, 10<<20+1), "ANSWERS_SIZE"},
		{"deeper than anyone needs", bytes.Repeat([]byte("["), 1<<20), "JSON_SYNTAX"},
	}
	for _, test := range tests {
		_, err := jsonformat.Format{}.ReadAnswers(test.content)
		got := ""
		var refused *errs.Error
		if errors.As(err, &refused) {
			got = refused.Fields[0].Reason
		}
		if got != test.code {
			t.Errorf("%s: got %q, want %q", test.name, got, test.code)
		}
	}
	var refused *errs.Error
	_, err := jsonformat.Format{}.ReadAnswers([]byte(`{"answers":[` + strings.Repeat("5,", 300) + `5]}`))
	if !errors.As(err, &refused) || len(refused.Fields) != 101 || refused.Fields[100].Reason != "MORE_FAULTS" {
		t.Errorf("301 faults: want 100 of them and a count of the rest, got %v", err)
	}
}

// FuzzReadAnswers: whatever is read is complete, and is valid under the published schema's rules of
// state and identifier.
func FuzzReadAnswers(f *testing.F) {
	files, _ := filepath.Glob(folder + "/*.json")
	for _, file := range files {
		content, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(content)
	}
	f.Fuzz(func(t *testing.T, content []byte) {
		answers, err := jsonformat.Format{}.ReadAnswers(content)
		if err != nil {
			if !errs.Is(err, errs.Invalid) || answers != nil {
				t.Fatalf("refused with %v and %d answers", err, len(answers))
			}
			return
		}
		seen := map[string]bool{}
		for _, a := range answers {
			if a.ExternalID == "" || seen[a.ExternalID] || !a.State.HasLeft() || a.State == claims.Submitted ||
				(a.ClaimNumber == "" && a.ControlNumber <= 0) || a.OccurTime.IsZero() {
				t.Fatalf("read %+v", a)
			}
			seen[a.ExternalID] = true
		}
		if len(answers) == 0 {
			t.Fatal("read nothing")
		}
	})
}

// BenchmarkEncode writes a thousand claims; the raw copy beside it is what no format can beat.
func BenchmarkEncode(b *testing.B) {
	batch := formattest.Batch(b, 1000)
	size := 0
	for _, frozen := range batch {
		size += len(frozen.Payload)
	}
	b.Run("document", func(b *testing.B) {
		b.SetBytes(int64(size))
		b.ReportAllocs()
		for b.Loop() {
			if err := (jsonformat.Format{}).Encode(io.Discard, formattest.Envelope(), batch); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("raw-copy", func(b *testing.B) {
		b.SetBytes(int64(size))
		var out bytes.Buffer
		out.Grow(size)
		for b.Loop() {
			out.Reset()
			for _, frozen := range batch {
				out.Write(frozen.Payload)
			}
		}
	})
}
