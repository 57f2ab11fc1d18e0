package document_test

import (
	"os"
	"testing"

	"cullet/adapters/document"
	"cullet/services/invoices"
)

func TestLook(t *testing.T) {
	for name, i := range map[string]invoices.Invoice{"insured": insured(t), "cash": cash(t), "fleet": fleet(t, 60), "credit": credited(t)} {
		for _, paper := range []string{"LETTER", "A4"} {
			out, err := document.Printer{}.PDF(i, paper)
			if err != nil {
				t.Fatal(name, err)
			}
			os.WriteFile("/tmp/scratch/"+name+"-"+paper+".pdf", out, 0o644)
		}
	}
}
