package document_test

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/image/font/sfnt"

	"cullet/adapters/document"
	"cullet/services/errs"
	"cullet/services/invoices"
)

var update = flag.Bool("update", false, "rewrite the golden files")

const folder = "../../testdata/invoices"

func printed(t testing.TB, i invoices.Invoice, paper string) []byte {
	t.Helper()
	content, err := document.Printer{}.PDF(i, paper)
	if err != nil {
		t.Fatal(err)
	}
	return content
}

// samples are the documents whose text is kept in testdata/invoices.
func samples(t testing.TB) map[string]invoices.Invoice {
	return map[string]invoices.Invoice{
		"insured": insured(t), "cash": cash(t), "fleet": fleet(t, 30), "credit_note": credited(t), "exempt": exempt(t),
	}
}

// TestPDF prints every sample on both papers and compares its text with the golden file, and its
// bytes with those of a second printing at another time in another zone.
func TestPDF(t *testing.T) {
	t.Parallel()
	for name, i := range samples(t) {
		for _, paper := range []string{"LETTER", "A4"} {
			t.Run(name+"/"+paper, func(t *testing.T) {
				t.Parallel()
				content := printed(t, i, paper)
				elsewhere := i
				elsewhere.IssueTime = i.IssueTime.In(time.FixedZone("somewhere", 9*3600))
				if !bytes.Equal(printed(t, elsewhere, paper), content) {
					t.Error("printed twice it has other bytes")
				}
				for _, want := range []string{"/Lang (en-US)", "/CreationDate (D:20261021013000", "/ModDate (D:20261021013000"} {
					if !bytes.Contains(content, []byte(want)) {
						t.Errorf("the file has no %s", want)
					}
				}
				golden(t, fmt.Sprintf("%s_%s.txt", name, strings.ToLower(paper)), asText(t, content))
			})
		}
	}
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	file := filepath.Join(folder, name)
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

// TestPDFSaysEverything: whatever the ledger says of a document stands on the paper, once where it
// belongs, and every page says which it is.
func TestPDFSaysEverything(t *testing.T) {
	t.Parallel()
	i := fleet(t, 200)
	all := pages(t, printed(t, i, "LETTER"))
	if len(all) < 8 {
		t.Fatalf("200 jobs are on %d pages", len(all))
	}
	var text strings.Builder
	for n, page := range all {
		heads, foot := 0, fmt.Sprintf("Page %d of %d", n+1, len(all))
		for _, p := range page {
			fmt.Fprintf(&text, "%s\n", p.text)
			if p.text == "What was done" {
				heads++
			}
			if p.text == foot {
				foot = ""
			}
		}
		if foot != "" {
			t.Errorf("page %d does not say %q", n+1, foot)
		}
		if heads > 1 || (heads == 0 && n < len(all)-1) {
			t.Errorf("page %d has the head of the lines %d times", n+1, heads)
		}
	}
	for _, line := range i.Lines {
		for _, want := range []string{"\n" + strconv.Itoa(line.Number) + "\n", "\nClaim " + line.ClaimNumber + "\n", line.Reference} {
			if !strings.Contains(text.String(), want) {
				t.Errorf("line %d: the paper does not say %q", line.Number, want)
			}
		}
	}
	if got := strings.Count(text.String(), "\nTotal\n"); got != 1 {
		t.Errorf("the total is there %d times", got)
	}
}

// TestPDFRefuses: a figure that is wrong is never printed.
func TestPDFRefuses(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		change func(*invoices.Invoice)
	}{
		{"net one cent off", func(i *invoices.Invoice) { i.Net.Minor++ }},
		{"tax one cent off", func(i *invoices.Invoice) { i.Tax.Minor-- }},
		{"total one cent off", func(i *invoices.Invoice) { i.Total.Minor++ }},
		{"line one cent off", func(i *invoices.Invoice) { i.Lines[0].Amount.Minor++ }},
		{"tax of a line not explained", func(i *invoices.Invoice) { i.Lines[0].Taxes = i.Lines[0].Taxes[:1] }},
		{"shares one cent off", func(i *invoices.Invoice) { i.Receivables[0].Amount.Minor++ }},
		{"line of another currency", func(i *invoices.Invoice) { i.Lines[1].Amount.Currency = "CAD" }},
		{"day that is none", func(i *invoices.Invoice) { i.DueDate = "2026-02-30" }},
	}
	for _, test := range tests {
		i := insured(t)
		test.change(&i)
		if content, err := (document.Printer{}).PDF(i, "A4"); err == nil || content != nil {
			t.Errorf("%s: it is printed", test.name)
		}
	}
	for _, paper := range []string{"", "letter", "A5"} {
		if _, err := (document.Printer{}).PDF(insured(t), paper); !errs.Is(err, errs.Invalid) {
			t.Errorf("paper %q: got %v, want an invalid-error", paper, err)
		}
	}
}

// hostile is an invoice with the text wherever a person can write, as long as the field may be.
func hostile(t testing.TB, text string) invoices.Invoice {
	i := insured(t)
	long := func(n int) string { return string([]rune(text)[:min(n, len([]rune(text)))]) }
	for _, p := range []*invoices.Party{&i.Seller, &i.RemitTo, &i.BillTo} {
		p.Name, p.TaxNumber, p.Telephone, p.WarrantyText = long(200), long(40), long(40), strings.Repeat(text+" ", 3)
		p.Address.Street, p.Address.City, p.Address.State, p.Address.PostalCode = long(200), long(100), long(10), long(20)
	}
	i.PurchaseOrder, i.Receivables[0].DebtorName, i.Receivables[1].DebtorName = long(60), long(200), long(200)
	for n := range i.Lines {
		l := &i.Lines[n]
		l.Description, l.Because, l.Reference, l.ClaimNumber = long(200), long(200), long(160), long(40)
	}
	return i
}

// hostileTexts are texts that have broken printers before.
func hostileTexts() map[string]string {
	return map[string]string{
		"controls":       "a\x00b\x1bc\td\ne\r\nf\x7f\u0085\u2028g",
		"parentheses":    `((a)\)b\\(`,
		"right to left":  "\u202eevil\u202c שלום مرحبا",
		"beyond the BMP": "🚗 👨‍👩‍👧 \U0001d54f \U00010000 \uffff \ufffe",
		"no space":       strings.Repeat("W", 400),
		"many words":     strings.Repeat("windshield repair ", 120),
		"Chinese":        strings.Repeat("李挡风玻璃", 60),
		"Greek, Russian": "Ελληνικά Русский Žluťoučký",
		"alias":          "{nb} {nba}",
		"nothing":        "",
		"spaces":         "   ",
		"combining":      strings.Repeat("e\u0301", 100),
	}
}

// TestPDFSurvivesAnyText: it is printed, the same twice, and what can stand on paper does.
func TestPDFSurvivesAnyText(t *testing.T) {
	t.Parallel()
	for name, text := range hostileTexts() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			content := printed(t, hostile(t, text), "A4")
			if !bytes.Equal(content, printed(t, hostile(t, text), "A4")) {
				t.Error("printed twice it has other bytes")
			}
			paper := strings.Join(strings.Fields(asText(t, content)), "")
			for _, want := range strings.Fields(strings.Map(printable, text)) {
				if len(want) < 40 && !strings.Contains(paper, want) {
					t.Errorf("%q does not stand on the paper", want)
				}
			}
		})
	}
}

// printable drops what paper cannot have: see clean.
func printable(c rune) rune {
	switch {
	case c < ' ' || (c >= 0x7f && c < 0xa0) || c == '\u2028':
		return ' '
	case c == '\u202e' || c == '\u202c':
		return -1
	case c >= 0xffff:
		return '\ufffd'
	}
	return c
}

// TestPDFBesideOthers prints in many goroutines at once; the fonts are shared.
func TestPDFBesideOthers(t *testing.T) {
	t.Parallel()
	i := insured(t)
	want := printed(t, i, "A4")
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() {
			if got, err := (document.Printer{}).PDF(i, "A4"); err != nil || !bytes.Equal(got, want) {
				t.Errorf("printed beside others it has other bytes, %v", err)
			}
		})
	}
	all.Wait()
}

// TestFontsHaveTheGlyphs: the faces know the letters of the languages that shops write, and figures
// are of equal width, or columns would not stand.
func TestFontsHaveTheGlyphs(t *testing.T) {
	t.Parallel()
	faces := map[string]string{
		"OpenSans-Regular.ttf":  "ÄÖÜßéèêëçñøåŁłŠšŽžČčĞğİışŐőŰű ΑΒΓΔαβγδ АБВГабвг “”‘’–—…·−€£$%",
		"OpenSans-Semibold.ttf": "ÄÖÜßéèêëçñøåŁłŠšŽžČčĞğİışŐőŰű ΑΒΓΔαβγδ АБВГабвг “”‘’–—…·−€£$%",
		"Caladea-Regular.ttf":   "ÄÖÜßéèêëçñøåŁłŠšŽžČčĞğİışŐőŰű “”‘’–—…$%",
	}
	for name, letters := range faces {
		content, err := os.ReadFile(filepath.Join("font", name))
		if err != nil {
			t.Fatal(err)
		}
		face, err := sfnt.Parse(content)
		if err != nil {
			t.Fatal(err)
		}
		var buffer sfnt.Buffer
		widths := map[string]bool{}
		for c := rune(' '); c <= '~'; c++ {
			letters += string(c)
		}
		for _, c := range letters {
			index, err := face.GlyphIndex(&buffer, c)
			if err != nil || index == 0 {
				t.Errorf("%s has no %q", name, c)
			}
			if c < '0' || c > '9' {
				continue
			}
			width, err := face.GlyphAdvance(&buffer, index, 1000<<6, 0)
			if err != nil {
				t.Fatal(err)
			}
			widths[width.String()] = true
		}
		if len(widths) != 1 && strings.HasPrefix(name, "OpenSans") {
			t.Errorf("%s: the figures have the widths %v", name, widths)
		}
	}
}

var word = regexp.MustCompile(`<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">`)

// TestPDFStaysOnThePaper asks an independent reader where every word stands: none may leave the
// margins, whatever the text.
func TestPDFStaysOnThePaper(t *testing.T) {
	t.Parallel()
	if _, err := exec.LookPath("pdftotext"); err != nil {
		t.Skip("NOT RUN: where printed words stand - apt-get install poppler-utils")
	}
	documents := samples(t)
	for name, text := range hostileTexts() {
		documents["hostile "+name] = hostile(t, text)
	}
	for name, i := range documents {
		for paper, size := range map[string][2]float64{"LETTER": {612, 792}, "A4": {595.28, 841.89}} {
			command := exec.Command("pdftotext", "-bbox", "-", "-")
			command.Stdin = bytes.NewReader(printed(t, i, paper))
			out, err := command.CombinedOutput()
			if err != nil {
				t.Fatalf("%s: %v\n%s", name, err, out)
			}
			words := word.FindAllSubmatch(out, -1)
			if len(words) < 20 {
				t.Errorf("%s on %s: only %d words were found", name, paper, len(words))
			}
			for _, w := range words {
				var box [4]float64
				for k := range box {
					box[k], _ = strconv.ParseFloat(string(w[k+1]), 64)
				}
				const margin = 56.0 // 20 mm, less the bearing of a letter
				if box[0] < margin || box[2] > size[0]-margin || box[1] < 28 || box[3] > size[1]-14 {
					t.Errorf("%s on %s: %s leaves the margins", name, paper, w[0])
				}
			}
		}
	}
}

// TestPDFExplainsAZero: nothing is taxed, and the paper names the reason and the certificate's rule.
func TestPDFExplainsAZero(t *testing.T) {
	t.Parallel()
	text := asText(t, printed(t, exempt(t), "LETTER"))
	for _, want := range []string{"\nTax | 0.00\n", "Discount", "−2.00", "OH-EX-1"} {
		if !strings.Contains(text, want) {
			t.Errorf("the paper does not say %q:\n%s", want, text)
		}
	}
}
