package ubl_test

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"io"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"cullet/adapters/format/ubl"
	"cullet/services/invoices"
	"cullet/services/money"
	"cullet/services/pricing"
	"cullet/services/tax"
)

var (
	// The other writer takes about a second a document.
	documents = flag.Int("documents", 6, "random invoices that the other writer writes too")
	update    = flag.Bool("update", false, "rewrite the golden files")
)

const folder = "../../../testdata/invoices/ubl"

// samples are the documents of the golden files.
func samples(t testing.TB) map[string]invoices.Invoice {
	german := european("DE", "EUR", priced(pricing.RepairLabor, 7995, "EUR"), priced(pricing.TripCharge, 2000, "EUR"), priced(pricing.Discount, -500, "EUR"))
	ohio := sale{place: tax.Place{Country: "US", State: "OH", County: "Franklin", City: "Columbus"}, currency: "USD",
		lines:  []pricing.Line{priced(pricing.RepairLabor, 7995, "USD"), priced(pricing.TripCharge, 2000, "USD")},
		seller: invoices.Party{Name: "Harbourline Glass Repair (invented)"}, buyer: invoices.Party{Name: "Lantern Mutual (invented)"}}
	ontario := ohio
	ontario.place, ontario.currency = tax.Place{Country: "CA", State: "QC"}, "CAD"
	ontario.lines = []pricing.Line{priced(pricing.RepairLabor, 7995, "CAD")}
	nowhere := german
	nowhere.buyer.Address.CountryCode = ""
	return map[string]invoices.Invoice{"germany": issue(t, german, invoices.KindInvoice), "germany_credit_note": issue(t, german, invoices.KindCreditNote),
		"ohio": issue(t, ohio, invoices.KindInvoice), "quebec": issue(t, ontario, invoices.KindInvoice),
		"buyer_without_country": issue(t, nowhere, invoices.KindInvoice)}
}

func TestWrite(t *testing.T) {
	t.Parallel()
	profiles := map[string]string{"germany": "EN 16931 as UBL 2.1", "germany_credit_note": "EN 16931 as UBL 2.1", "ohio": "UBL 2.1", "quebec": "UBL 2.1",
		"buyer_without_country": "UBL 2.1, not EN 16931: the buyer's country (BT-55) is missing"}
	for name, i := range samples(t) {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, profile, err := ubl.Writer{}.Write(i)
			if err != nil || profile != profiles[name] {
				t.Fatalf("profile %q, %v; want %q", profile, err, profiles[name])
			}
			golden := filepath.Join(folder, name+".xml")
			if *update {
				if err := os.WriteFile(golden, got, 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(golden)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(string(want), string(got)); diff != "" {
				t.Errorf("want -, got +:\n%s", diff)
			}
			addsUp(t, got, i)
		})
	}
}

// addsUp holds the sums in the XML against each other and against the document.
func addsUp(t *testing.T, content []byte, i invoices.Invoice) {
	t.Helper()
	got := flat(t, content)
	sum := func(suffix string, isLine bool) money.Amount {
		total := money.From(0, i.Total.Currency)
		for path, text := range got {
			if strings.HasSuffix(path, suffix) && strings.Contains(path, "Line[") == isLine {
				total.Minor += parsed(t, text, i.Total.Currency).Minor
			}
		}
		return total
	}
	off := sum("AllowanceCharge[1]/Amount[1]", false)
	if lines := sum("/LineExtensionAmount[1]", true); lines.Minor-off.Minor != i.Net.Minor {
		t.Errorf("lines %s less %s are not %s", lines, off, i.Net)
	}
	var taxes money.Amount
	for n := 1; got[fmt.Sprintf("%s/TaxTotal[1]/TaxSubtotal[%d]/TaxAmount[1]", rootOf(i), n)] != ""; n++ {
		taxes.Minor += parsed(t, got[fmt.Sprintf("%s/TaxTotal[1]/TaxSubtotal[%d]/TaxAmount[1]", rootOf(i), n)], i.Total.Currency).Minor
	}
	if taxes.Minor != i.Tax.Minor || got[rootOf(i)+"/LegalMonetaryTotal[1]/PayableAmount[1]"] != i.Total.Decimal() {
		t.Errorf("subtotals %d, tax %s, payable %s of %s", taxes.Minor, i.Tax, got[rootOf(i)+"/LegalMonetaryTotal[1]/PayableAmount[1]"], i.Total)
	}
}

func rootOf(i invoices.Invoice) string {
	if i.Kind == invoices.KindCreditNote {
		return "/CreditNote[1]"
	}
	return "/Invoice[1]"
}

func parsed(t *testing.T, text, currency string) money.Amount {
	t.Helper()
	a, err := money.Parse(text, currency)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// flat gives the text and attributes of every leaf by its path, "/Invoice[1]/ID[1]".
func flat(t *testing.T, content []byte) map[string]string {
	t.Helper()
	leaves := map[string]string{}
	var path []string
	counts := []map[string]int{{}}
	decoder := xml.NewDecoder(bytes.NewReader(content))
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			return leaves
		}
		if err != nil {
			t.Fatal(err)
		}
		switch e := token.(type) {
		case xml.StartElement:
			counts[len(counts)-1][e.Name.Local]++
			path = append(path, fmt.Sprintf("%s[%d]", e.Name.Local, counts[len(counts)-1][e.Name.Local]))
			counts = append(counts, map[string]int{})
			for _, a := range e.Attr {
				if a.Name.Space != "xmlns" && a.Name.Local != "xmlns" {
					leaves["/"+strings.Join(path, "/")+"@"+a.Name.Local] = a.Value
				}
			}
		case xml.EndElement:
			path, counts = path[:len(path)-1], counts[:len(counts)-1]
		case xml.CharData:
			if text := strings.TrimSpace(string(e)); text != "" {
				leaves["/"+strings.Join(path, "/")] += text
			}
		}
	}
}

// TestAnotherWriterWritesTheSame: the npm package @e-invoice-eu/core, whose totals its script computes
// by itself, writes the same fields with the same values of random invoices and the German sample.
func TestAnotherWriterWritesTheSame(t *testing.T) {
	t.Parallel()
	const oracle = "../../../.ci/oracles/einvoice"
	if _, err := os.Stat(oracle + "/node_modules"); err != nil {
		fmt.Println("NOT RUN: UBL beside @e-invoice-eu/core - npm ci --prefix .ci/oracles/einvoice")
		t.Skip("NOT RUN: UBL beside the npm package @e-invoice-eu/core - npm ci --prefix .ci/oracles/einvoice")
	}
	all := append(many(t, *documents), samples(t)["germany"])
	questions := make([]map[string]any, len(all))
	for n, i := range all {
		questions[n] = question(i)
	}
	text, err := json.Marshal(questions)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "invoices.json")
	if err := os.WriteFile(file, text, 0o600); err != nil {
		t.Fatal(err)
	}
	command := exec.CommandContext(t.Context(), "node", "write.cjs", file)
	command.Dir, command.Stderr = oracle, os.Stderr
	output, err := command.Output()
	if err != nil {
		t.Fatal(err)
	}
	var theirs []string
	if err := json.Unmarshal(output, &theirs); err != nil || len(theirs) != len(all) {
		t.Fatalf("%d documents of %d: %v", len(theirs), len(all), err)
	}
	fields := map[string]bool{}
	for n, i := range all {
		ours, profile, err := ubl.Writer{}.Write(i)
		if err != nil || profile != "EN 16931 as UBL 2.1" {
			t.Fatalf("%q, %v", profile, err)
		}
		got, want := flat(t, ours), flat(t, []byte(theirs[n]))
		maps.DeleteFunc(want, func(path, _ string) bool {
			// An address of the Peppol network and its profile: we are not in it.
			return strings.Contains(path, "/EndpointID[1]") || path == "/Invoice[1]/ProfileID[1]"
		})
		if diff := cmp.Diff(want, got); diff != "" {
			t.Fatalf("document %d (-theirs +ours):\n%s", n, diff)
		}
		maps.Copy(fields, keys(got))
	}
	t.Logf("%d documents, %d different fields", len(all), len(fields))
}

func keys(m map[string]string) map[string]bool {
	all := map[string]bool{}
	for k := range m {
		all[k] = true
	}
	return all
}

// question is what the other writer is told: no sum, no tax.
func question(i invoices.Invoice) map[string]any {
	party := func(p invoices.Party) map[string]any {
		return map[string]any{"name": p.Name, "street": p.Address.Street, "city": p.Address.City, "zone": p.Address.PostalCode, "state": p.Address.State,
			"country": p.Address.CountryCode, "telephone": p.Telephone, "tax_number": p.TaxNumber}
	}
	lines, allowances := []map[string]any{}, []map[string]any{}
	// The standard rates of the tables read for 2025, written down here again.
	rate := map[string]string{"DE": "19", "FR": "20", "NL": "21", "ES": "21", "IT": "22", "IE": "23"}[i.Seller.Address.CountryCode]
	for _, l := range i.Lines {
		if l.Kind == pricing.Discount {
			allowances = append(allowances, map[string]any{"amount": l.Amount.Neg().Decimal(), "category": "S", "percent": rate})
			continue
		}
		lines = append(lines, map[string]any{"id": fmt.Sprint(l.Number), "net": l.Amount.Decimal(), "category": "S", "percent": rate,
			"name": l.Description, "note": l.Reference})
	}
	return map[string]any{"number": i.Number, "issue_date": i.IssueDate, "due_date": i.DueDate, "currency": i.Total.Currency, "seller": party(i.Seller),
		"buyer": party(i.BillTo), "lines": lines, "allowances": allowances, "order": i.PurchaseOrder,
		"terms": "Due on " + i.DueDate + ", to Sturmvogel Glas (invented), Uferweg 18, Neustadt, 10115."}
}
