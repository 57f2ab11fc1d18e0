package payload_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"cullet/adapters/payload"
)

// compiled compiles the published schema with a validator that shares no code with us. Formats
// are asserted too, so that patterns and formats are seen to agree.
func compiled(t testing.TB) *jsonschema.Schema {
	t.Helper()
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(payload.Schema()))
	if err != nil {
		t.Fatal(err)
	}
	compiler := jsonschema.NewCompiler()
	compiler.AssertFormat()
	compiler.DefaultDraft(jsonschema.Draft2020)
	const urn = "urn:cullet:schema:claim:1"
	if err := compiler.AddResource(urn, document); err != nil {
		t.Fatal(err)
	}
	schema, err := compiler.Compile(urn)
	if err != nil {
		t.Fatal(err)
	}
	return schema
}

func valid(t testing.TB, schema *jsonschema.Schema, content []byte) {
	t.Helper()
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(content))
	if err != nil {
		t.Fatalf("%v in %s", err, content)
	}
	if err := schema.Validate(document); err != nil {
		t.Errorf("not valid: %v\n%s", err, content)
	}
}

// node is a piece of a schema.
type node = map[string]any

func parsed(t testing.TB, content []byte) node {
	t.Helper()
	var document node
	if err := json.Unmarshal(content, &document); err != nil {
		t.Fatal(err)
	}
	return document
}

// resolve follows a reference into $defs.
func resolve(t testing.TB, root, n node) node {
	t.Helper()
	reference, ok := n["$ref"].(string)
	if !ok {
		return n
	}
	name, ok := strings.CutPrefix(reference, "#/$defs/")
	target, found := root["$defs"].(node)[name].(node)
	if !ok || !found {
		t.Fatalf("reference %q leads nowhere", reference)
	}
	return target
}

// TestSchemaAgreesWithStructs walks the Go structs and the schema side by side: the same members,
// required exactly where the struct always writes them, of the same kind.
func TestSchemaAgreesWithStructs(t *testing.T) {
	t.Parallel()
	root := parsed(t, payload.Schema())
	compareStruct(t, root, root, reflect.TypeFor[payload.Claim](), "claim")
}

func compareStruct(t *testing.T, root, n node, typ reflect.Type, path string) {
	t.Helper()
	properties, _ := n["properties"].(node)
	required, _ := n["required"].([]any)
	known := map[string]bool{}
	for i := range typ.NumField() {
		name, options, _ := strings.Cut(typ.Field(i).Tag.Get("json"), ",")
		known[name] = true
		property, ok := properties[name].(node)
		if !ok {
			t.Errorf("%s.%s is in the struct and not in the schema", path, name)
			continue
		}
		if isRequired := slices.Contains(required, any(name)); isRequired != (options == "") {
			t.Errorf("%s.%s: required in the schema is %v, always written by the struct %v", path, name, isRequired, options == "")
		}
		compareType(t, root, resolve(t, root, property), typ.Field(i).Type, path+"."+name)
	}
	for name := range properties {
		if !known[name] {
			t.Errorf("%s.%s is in the schema and not in the struct", path, name)
		}
	}
	if n["unevaluatedProperties"] != false {
		t.Errorf("%s is open", path)
	}
}

func compareType(t *testing.T, root, n node, typ reflect.Type, path string) {
	t.Helper()
	if typ.Kind() == reflect.Pointer {
		typ = typ.Elem()
	}
	want := map[reflect.Kind]string{reflect.String: "string", reflect.Bool: "boolean", reflect.Int: "integer",
		reflect.Int64: "integer", reflect.Slice: "array", reflect.Struct: "object"}[typ.Kind()]
	got := n["type"]
	if constant, ok := n["const"]; ok {
		got = map[bool]string{true: "boolean", false: "string"}[constant == true]
	}
	if got != want || want == "" {
		t.Errorf("%s is %v in the schema, %s in the struct", path, got, typ)
	}
	switch typ.Kind() {
	case reflect.Struct:
		compareStruct(t, root, n, typ, path)
	case reflect.Slice:
		compareType(t, root, resolve(t, root, n["items"].(node)), typ.Elem(), path+"[]")
	}
}

// TestSchemaExplainsItself: every member has a description, every text and number an example or a
// list of its values, every format a pattern beside it, and every example is valid.
func TestSchemaExplainsItself(t *testing.T) {
	t.Parallel()
	root := parsed(t, payload.Schema())
	if root["$schema"] != "https://json-schema.org/draft/2020-12/schema" || root["$id"] != "urn:cullet:schema:claim:1" {
		t.Errorf("got $schema %v and $id %v", root["$schema"], root["$id"])
	}
	count := 0
	for name, definition := range root["$defs"].(node) {
		count += explained(t, definition.(node), "$defs."+name)
	}
	for name, property := range root["properties"].(node) {
		count += explained(t, property.(node), name)
	}
	if count < 150 {
		t.Errorf("looked at %d members, want all of them", count)
	}
}

func explained(t *testing.T, n node, path string) int {
	t.Helper()
	if text, _ := n["description"].(string); text == "" && n["$ref"] == nil {
		t.Errorf("%s has no description", path)
	}
	switch n["type"] {
	case "string", "integer":
		if n["enum"] == nil && n["examples"] == nil {
			t.Errorf("%s has neither examples nor a list of values", path)
		}
	}
	if n["format"] != nil && n["pattern"] == nil {
		t.Errorf("%s has a format and no pattern", path)
	}
	if examples, ok := n["examples"].([]any); ok {
		validExamples(t, n, examples, path)
	}
	count := 1
	if properties, ok := n["properties"].(node); ok {
		for name, property := range properties {
			if property.(node)["description"] == nil {
				t.Errorf("%s.%s has no description of its own", path, name)
			}
			count += explained(t, property.(node), path+"."+name)
		}
	}
	if items, ok := n["items"].(node); ok {
		count += explained(t, items, path+"[]")
	}
	return count
}

func validExamples(t *testing.T, n node, examples []any, path string) {
	t.Helper()
	compiler := jsonschema.NewCompiler()
	compiler.AssertFormat()
	if err := compiler.AddResource("urn:example", any(n)); err != nil {
		t.Fatal(err)
	}
	schema, err := compiler.Compile("urn:example")
	if err != nil {
		t.Fatal(err)
	}
	for _, example := range examples {
		if err := schema.Validate(example); err != nil {
			t.Errorf("example of %s: %v", path, err)
		}
	}
}

// TestSchemaRefuses: a schema that lets everything pass would pass every other test.
func TestSchemaRefuses(t *testing.T) {
	t.Parallel()
	schema := compiled(t)
	content := translate(t, base()).Payload
	tests := []struct{ name, old, new string }{
		{"unknown member", `"service":`, `"colour":"green","service":`},
		{"unknown member deep inside", `"spread_mm":`, `"spread":"1","spread_mm":`},
		{"another schema", `"cullet.claim/1"`, `"cullet.claim/2"`},
		{"no claim number", `"claim_number":"C-000123",`, ``},
		{"preview with a number", `"service":`, `"is_preview":true,"service":`},
		{"length as a number", `"spread_mm":"38"`, `"spread_mm":38`},
		{"length with three decimals", `"spread_mm":"38"`, `"spread_mm":"38.125"`},
		{"length below nothing", `"spread_mm":"38"`, `"spread_mm":"-3"`},
		{"money as a fraction", `"minor_units":7995`, `"minor_units":79.95`},
		{"currency in small letters", `"currency_code":"USD"`, `"currency_code":"usd"`},
		{"day that is none", `"repair_date":"2026-10-20"`, `"repair_date":"2026-13-20"`},
		{"time of another zone", `"finish_time":"2026-10-20T18:42:10Z"`, `"finish_time":"2026-10-20T14:42:10-04:00"`},
		{"rate as a percentage", `"rate":"0.0575"`, `"rate":"5.75"`},
		{"kind unknown", `"STAR_BREAK"`, `"SUNBURST"`},
		{"hash too short", strings.Repeat("a", 64), strings.Repeat("a", 63)},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			changed := strings.Replace(string(content), test.old, test.new, 1)
			if changed == string(content) {
				t.Fatalf("the payload has no %s", test.old)
			}
			document, err := jsonschema.UnmarshalJSON(strings.NewReader(changed))
			if err != nil {
				t.Fatal(err)
			}
			if schema.Validate(document) == nil {
				t.Error("the schema lets it pass")
			}
		})
	}
}

// TestSchemaOnlyGrows compares with the schema as it was first published under this number: every
// member of then is still there under the same rule, and what is new is optional. So old payloads
// stay valid, and old readers find what they know.
func TestSchemaOnlyGrows(t *testing.T) {
	t.Parallel()
	first, err := os.ReadFile(folder + "/schema/claim-1.first.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	if faults := shrunk(parsed(t, first), parsed(t, payload.Schema()), "claim"); len(faults) > 0 {
		t.Errorf("the schema lost or changed:\n%s", strings.Join(faults, "\n"))
	}
}

// TestShrunkFindsChanges shows that the comparison above can fail.
func TestShrunkFindsChanges(t *testing.T) {
	t.Parallel()
	first := parsed(t, payload.Schema())
	tests := []struct{ name, old, new string }{
		{"member removed", `"plate_region"`, `"plate_state"`},
		{"pattern changed", `^[A-Z]{3}$`, `^[A-Z]{2,3}$`},
		{"value removed from a list", `"HALF_MOON", `, ``},
		{"member required", `"required": ["vin", "is_commercial"]`, `"required": ["vin", "is_commercial", "plate"]`},
		{"member no longer required", `"required": ["vin", "is_commercial"]`, `"required": ["vin"]`},
		{"cap added", `"minLength": 1, "maxLength": 10, "examples": ["OH"]`, `"minLength": 1, "maxLength": 10, "pattern": "^OH$", "examples": ["OH"]`},
		{"cap lowered", `"maxItems": 40`, `"maxItems": 39`},
	}
	for _, test := range tests {
		changed := strings.Replace(string(payload.Schema()), test.old, test.new, 1)
		if changed == string(payload.Schema()) {
			t.Fatalf("%s: the schema has no %s", test.name, test.old)
		}
		if len(shrunk(first, parsed(t, []byte(changed)), "claim")) == 0 {
			t.Errorf("%s: not found", test.name)
		}
	}
	grown := strings.Replace(string(payload.Schema()), `"HALF_MOON", `, `"HALF_MOON", "NEW_KIND", `, 1)
	grown = strings.Replace(grown, `"plate": {`, `"colour": {"type": "string"}, "plate": {`, 1)
	if faults := shrunk(first, parsed(t, []byte(grown)), "claim"); len(faults) > 0 {
		t.Errorf("growing is called a fault: %v", faults)
	}
}

// shrunk names what of an earlier schema is gone or changed. Words may improve, lists of values
// may grow, optional members may be added.
func shrunk(before, after any, path string) []string {
	old, isObject := before.(node)
	now, isStill := after.(node)
	if !isObject || !isStill {
		if !reflect.DeepEqual(before, after) {
			return []string{fmt.Sprintf("%s: %v became %v", path, before, after)}
		}
		return nil
	}
	var faults []string
	isRule := !strings.HasSuffix(path, ".properties") && !strings.HasSuffix(path, ".$defs")
	for key := range now {
		if _, ok := old[key]; !ok && isRule && key != "description" && key != "examples" {
			faults = append(faults, fmt.Sprintf("%s.%s is a new rule for an old member", path, key))
		}
	}
	for key, value := range old {
		switch key {
		case "description", "examples", "title":
			continue
		case "enum":
			for _, one := range value.([]any) {
				if list, _ := now[key].([]any); !slices.Contains(list, one) {
					faults = append(faults, fmt.Sprintf("%s: value %v is gone", path, one))
				}
			}
			continue
		}
		if _, ok := now[key]; !ok {
			faults = append(faults, fmt.Sprintf("%s.%s is gone", path, key))
			continue
		}
		faults = append(faults, shrunk(value, now[key], path+"."+key)...)
	}
	return faults
}
