package document_test

import (
	"io"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"cullet/services/invoices"
)

// BenchmarkPDF prints one claim and a fleet's month. The bare page beside them is the library's own
// work on one page with the same fonts and as many texts: what no printing with it can beat.
func BenchmarkPDF(b *testing.B) {
	for name, i := range map[string]invoices.Invoice{"one-claim": insured(b), "fleet-200": fleet(b, 200)} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				printed(b, i, "LETTER")
			}
		})
	}
	texts := pages(b, printed(b, insured(b), "LETTER"))[0]
	var fonts [3][]byte
	for n, name := range []string{"OpenSans-Regular.ttf", "OpenSans-Semibold.ttf", "Caladea-Regular.ttf"} {
		var err error
		if fonts[n], err = os.ReadFile(filepath.Join("font", name)); err != nil {
			b.Fatal(err)
		}
	}
	bare := func() {
		pdf := fpdf.New("P", "pt", "Letter", "")
		for n, font := range fonts {
			pdf.AddUTF8FontFromBytes("f", []string{"", "B", "I"}[n], font)
		}
		pdf.AddPage()
		for n, p := range texts {
			pdf.SetFont("f", []string{"", "B", "I"}[n%3], 9)
			pdf.Text(p.x, 792-p.y, p.text)
		}
		if err := pdf.Output(io.Discard); err != nil {
			b.Fatal(err)
		}
	}
	b.Run("bare-page", func(b *testing.B) {
		for b.Loop() {
			bare()
		}
	})
	b.Run("ratio", func(b *testing.B) { ratio(b, bare, insured(b)) })
}

// ratio prints one claim and the bare page in turn, and reports the median of seven rounds: documents a
// second, and their rate as a share of the bare page's. One operation is all rounds.
func ratio(b *testing.B, bare func(), i invoices.Invoice) {
	const batch = 20
	took := func(work func()) float64 {
		began := time.Now()
		for range batch {
			work()
		}
		return time.Since(began).Seconds() / batch
	}
	for b.Loop() {
		var shares, rates []float64
		for range 7 {
			floor, full := took(bare), took(func() { printed(b, i, "LETTER") })
			shares, rates = append(shares, floor/full), append(rates, 1/full)
		}
		slices.Sort(shares)
		slices.Sort(rates)
		b.ReportMetric(shares[3], "of-bare-page")
		b.ReportMetric(rates[3], "documents/s")
	}
}
