package formattest

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"cullet/adapters/payload"
	"cullet/services/claims"
	"cullet/services/ident"
)

// testdata gives a path below the project's testdata: the folder beside go.mod, upwards from the
// tested package, in which tests run. The place of this file is no help, for a trimmed build has
// forgotten it.
func testdata(parts ...string) string {
	root := "."
	for range 10 {
		if _, err := os.Stat(filepath.Join(root, "go.mod")); err == nil {
			break
		}
		root = filepath.Join(root, "..")
	}
	return filepath.Join(append([]string{root, "testdata"}, parts...)...)
}

// Examples reads the example payloads in testdata/claims/json that have a number.
func Examples(t testing.TB) []payload.Claim {
	t.Helper()
	files, err := filepath.Glob(testdata("claims", "json", "*.json"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no example payloads in %s, %v", testdata("claims", "json"), err)
	}
	var all []payload.Claim
	for _, file := range files {
		content, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		claim, err := payload.Parse(content)
		if err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		if !claim.IsPreview {
			all = append(all, claim)
		}
	}
	return all
}

// Batch gives n frozen claims made from the examples, numbered from C-000001, each with an invoice: what
// is frozen has one.
func Batch(t testing.TB, n int) []claims.Frozen {
	t.Helper()
	examples := Examples(t)
	batch := make([]claims.Frozen, n)
	for i := range batch {
		claim := examples[i%len(examples)]
		claim.ClaimNumber = fmt.Sprintf("C-%06d", i+1)
		claim.InvoiceNumber, claim.InvoiceDate = fmt.Sprintf("INV-%06d", i+1), "2026-10-20"
		batch[i] = Freeze(t, claim)
	}
	return batch
}

// Freeze gives a payload as it is handed to a format.
func Freeze(t testing.TB, claim payload.Claim) claims.Frozen {
	t.Helper()
	content, err := payload.Marshal(claim)
	if err != nil {
		t.Fatal(err)
	}
	return claims.Frozen{Claim: ident.New[ident.Claim](), Number: claim.ClaimNumber, Payload: content,
		PayerShare: claim.Totals.PayerShare}
}

// HostileTexts are texts that have broken programs before. All are UTF-8.
func HostileTexts() []string {
	return []string{
		`"`, `\`, `'`, "`", "*", "~", ">", "^", ":", "|", ";", ",", "\t", " ", "  leading", "trailing  ",
		"line\nbreak", "line\r\nbreak", "\x00", "nul\x00inside", "\x1b[31m", "\x7f", "\u0085", "\u2028", "\u2029",
		"\u202eright to left", "\u200b", "\ufeff", "\ufffd", "é", "e\u0301", "ß", "李", "🚗", "👨‍👩‍👧", "\U000e0041",
		"=1+1", "+1", "-1", "@SUM(A1)", "=HYPERLINK(\"http://x.example\")", "%0d%0aSet-Cookie: a=b", "${x}", "{{x}}", "%s%n",
		"</script><script>", "<![CDATA[x]]>", "]]>", "<!-- x -->", "&amp;", "&#0;", "<?xml?>",
		"ISA*00*          *00*", "~ST*810*0001~", "*~*~*~", "SE*1*0001~", "\u001c\u001d\u001e\u001f",
		"'; DROP TABLE claims; --", "\\u0000", "\\", "\\\"", "{\"schema\":1}", "],\"claims\":[", "null", "true", "1e3", "NaN",
		strings.Repeat("x", 200), strings.Repeat("\"", 200), strings.Repeat("李", 60),
	}
}

// fixed are members whose values the schema fixes; text there cannot be anything else.
var fixed = []string{"Schema", "ClaimNumber", "Service", "Level", "Treatment", "Kind", "Outcome", "Verdict", "Result", "Known",
	"Basis", "Rate", "Layer", "Contamination", "Cause", "CauseOfLoss", "InCameraArea", "OverFeature", "InViewingArea",
	"DriverSide", "DriverAssistance", "Warming", "MediaType", "Hash", "JobID", "WarrantyOf", "CountryCode", "Currency", "TimeZone",
	"InvoiceNumber"}

// HostileBatch gives one claim with the text in every member that takes free text.
func HostileBatch(t testing.TB, text string) []claims.Frozen {
	t.Helper()
	claim := Examples(t)[0]
	claim.InvoiceNumber, claim.InvoiceDate = "INV-000001", "2026-10-20"
	if set := fill(reflect.ValueOf(&claim).Elem(), text); set < 30 {
		t.Fatalf("only %d members took the text", set)
	}
	return []claims.Frozen{Freeze(t, claim)}
}

// fill sets every free text below v and counts them. Lists and pointers are copied first: the
// examples share them.
func fill(v reflect.Value, text string) int {
	count := 0
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			if !slices.Contains(fixed, v.Type().Field(i).Name) {
				count += fill(v.Field(i), text)
			}
		}
	case reflect.Pointer:
		if !v.IsNil() {
			fresh := reflect.New(v.Type().Elem())
			fresh.Elem().Set(v.Elem())
			v.Set(fresh)
			count += fill(fresh.Elem(), text)
		}
	case reflect.Slice:
		fresh := reflect.MakeSlice(v.Type(), v.Len(), v.Len())
		reflect.Copy(fresh, v)
		v.Set(fresh)
		for i := range fresh.Len() {
			count += fill(fresh.Index(i), text)
		}
	case reflect.String:
		// Named kinds of text (days, times, lengths) have a form of their own.
		if v.Type() == reflect.TypeFor[string]() {
			v.SetString(text)
			count++
		}
	}
	return count
}
