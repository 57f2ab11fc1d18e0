package webhooks

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

var isUpdate = flag.Bool("update", false, "write the published schemas anew")

const schemaFolder = "../../testdata/webhooks/schemas"

var typeForm = regexp.MustCompile(`^(claim|job|invoice|endpoint)\.([a-z_]+ed|held|paid|partly_paid|withdrawn)$`)

// TestSchemasArePublished: each type is named noun.past_participle and has a file that is the schema
// served, and one that a validator of JSON Schema 2020-12 takes.
func TestSchemasArePublished(t *testing.T) {
	t.Parallel()
	for _, e := range EventTypes() {
		if !typeForm.MatchString(e.Name) || !strings.HasSuffix(e.Sentence, ".") {
			t.Errorf("%q: %q", e.Name, e.Sentence)
		}
		file := filepath.Join(schemaFolder, e.Name+".json")
		if *isUpdate {
			if err := os.WriteFile(file, e.Schema(), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		stored, err := os.ReadFile(file)
		if err != nil || !bytes.Equal(stored, e.Schema()) {
			t.Errorf("%s is not the schema that is served; run go test ./services/webhooks -args -update (%v)", file, err)
		}
	}
	files, err := os.ReadDir(schemaFolder)
	if err != nil || len(files) != len(EventTypes()) {
		t.Errorf("%d files for %d types, %v", len(files), len(EventTypes()), err)
	}
}

func TestSchemasRefuseWhatIsNotTheirs(t *testing.T) {
	t.Parallel()
	const id = "0199f6c4-2f9d-7c1e-8a55-1f5b2a6f9d01"
	good := `{"event_id":"` + id + `","type":"invoice.paid","timestamp":"2026-03-02T21:00:00Z","subject_kind":"invoice","subject_id":"` + id +
		`","subject_version":2,"data":{"invoice_id":"` + id + `","open":{"minor_units":0,"currency_code":"USD"}}}`
	schema := compile(t, "invoice.paid")
	for _, tt := range []struct {
		name, from, to string
		isGood         bool
	}{
		{"as it is", "", "", true},
		{"another type", "invoice.paid", "invoice.issued", false},
		{"another subject", `"invoice",`, `"claim",`, false},
		{"version 0", `version":2`, `version":0`, false},
		{"no open amount", `,"open":{"minor_units":0,"currency_code":"USD"}`, "", false},
		{"a fraction of a cent", `units":0`, `units":0.5`, false},
		{"a member more", `"data":{`, `"data":{"vin":"x",`, false},
		{"a member more around", `{"event_id"`, `{"shop":"x","event_id"`, false},
		{"no identifier", id, "7", false},
	} {
		value, err := jsonschema.UnmarshalJSON(strings.NewReader(strings.Replace(good, tt.from, tt.to, 1)))
		if err != nil {
			t.Fatal(err)
		}
		if err := schema.Validate(value); (err == nil) != tt.isGood {
			t.Errorf("%s: %v", tt.name, err)
		}
	}
}

func compile(t *testing.T, name string) *jsonschema.Schema {
	t.Helper()
	c := jsonschema.NewCompiler()
	for _, e := range EventTypes() {
		document, err := jsonschema.UnmarshalJSON(bytes.NewReader(e.Schema()))
		if err != nil {
			t.Fatal(err)
		}
		if err := c.AddResource(e.Name, document); err != nil {
			t.Fatal(err)
		}
		if _, err := c.Compile(e.Name); err != nil {
			t.Errorf("%s: %v", e.Name, err)
		}
	}
	schema, err := c.Compile(name)
	if err != nil {
		t.Fatal(err)
	}
	return schema
}
