package x12

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"text/template"
	"time"

	"cullet/adapters/formattest"
	"cullet/services/claims"
	"cullet/services/payers"
)

// invoiceTemplate writes the 810 of a claim as whoever has no writer would: the same bytes as ours for the
// claims of the benchmark, with no check of anything.
const invoiceTemplate = `ST*810*{{printf "%04d" .Number}}~BIG*{{.InvoiceDate}}*{{.InvoiceNumber}}*****DI~CUR*SE*USD~REF*VN*{{.ClaimNumber}}~` +
	`REF*IG*{{.Policy}}~REF*BB*{{.Authorization}}~REF*VT*{{.VIN}}~REF*LV*{{.Plate}}~N1*SE*{{.Shop}}~N3*{{.Street}}~` +
	`N4*{{.City}}*{{.State}}*{{.PostalCode}}*US~REF*TJ*{{.TaxNumber}}~PER*IC**TE*{{.Telephone}}~N1*BT*{{.Payer}}*91*{{.Code}}~` +
	`N1*IL*{{.Insured}}~DTM*472*{{.RepairDate}}~DTM*439*{{.DateOfLoss}}~{{range $i, $l := .Lines}}IT1*{{inc $i}}*{{$l.Quantity}}*EA*{{$l.Price}}~` +
	`PID*F****{{$l.Description}}~{{end}}TDS*{{.Total}}~TXI*LS*{{.Tax}}*{{.Rate}}~CTT*{{len .Lines}}~SE*{{.Segments}}*{{printf "%04d" .Number}}~`

type templateLine struct {
	Quantity           int64
	Price, Description string
}

type templateClaim struct {
	Number, Segments                                                                  int
	InvoiceDate, InvoiceNumber, ClaimNumber, Policy, Authorization, VIN, Plate        string
	Shop, Street, City, State, PostalCode, TaxNumber, Telephone, Payer, Code, Insured string
	RepairDate, DateOfLoss, Tax, Rate                                                 string
	Total                                                                             int64
	Lines                                                                             []templateLine
}

func templated(e claims.Envelope, position int, s *source) templateClaim {
	day := func(d []byte) string { return strings.ReplaceAll(string(d), "-", "") }
	decimal := func(minor int64) string { return fmt.Sprintf("%d.%02d", minor/100, minor%100) }
	rate, _ := commonRate(s.Tax.Jurisdictions)
	c := templateClaim{Number: position + 1, Segments: 21 + 2*len(s.Lines), InvoiceDate: day(s.InvoiceDate), InvoiceNumber: string(s.InvoiceNumber),
		ClaimNumber: string(s.ClaimNumber), Policy: string(s.Coverage.PolicyNumber), Authorization: string(s.Coverage.Authorization.Number),
		VIN: string(s.Vehicle.VIN), Plate: string(s.Vehicle.Plate), Shop: e.ShopName, Street: string(s.Shop.Address.Street),
		City: string(s.Shop.Address.City), State: string(s.Shop.Address.State), PostalCode: string(s.Shop.Address.PostalCode),
		TaxNumber: string(s.Shop.TaxNumber), Telephone: string(s.Shop.Telephone), Payer: string(s.Payer.Name), Code: e.PayerCode,
		Insured: string(s.Coverage.InsuredName), RepairDate: day(s.Job.RepairDate), DateOfLoss: day(s.Coverage.DateOfLoss),
		Tax: decimal(s.Totals.Tax.Minor), Rate: string(appendFraction(nil, rate)), Total: s.Totals.PayerShare.Minor}
	for _, l := range s.Lines {
		c.Lines = append(c.Lines, templateLine{l.Quantity, decimal(l.UnitPrice.Minor), string(l.Description)})
	}
	return c
}

// sample gives an envelope and a frozen claim in the shop, of one break, that has no deductible.
func sample(b *testing.B) (claims.Envelope, *source, claims.Frozen) {
	b.Helper()
	e := formattest.Envelope()
	e.X12 = payers.X12{SenderID: "SHOPDEMO", ReceiverID: "PAYERDEMO"}.Given()
	for _, f := range formattest.Batch(b, len(formattest.Examples(b))) {
		s := newSource()
		if err := s.read(f.Payload); err != nil {
			b.Fatal(err)
		}
		if len(s.Lines) == 1 && s.Totals.MotoristShare.Minor == 0 && s.Totals.Tax.Minor > 0 && len(s.Coverage.Authorization.Number) > 0 {
			return e, s, f
		}
	}
	b.Fatal("no example fits")
	return e, nil, claims.Frozen{}
}

// BenchmarkWrite holds writing an 810 from a read claim against text/template on the same bytes, and against
// the writer of the npm package node-x12 1.7.1; reading against that package's reader. The ratios are of
// one run.
func BenchmarkWrite(b *testing.B) {
	e, s, _ := sample(b)
	form := template.Must(template.New("810").Funcs(template.FuncMap{"inc": func(i int) int { return i + 1 }}).Parse(invoiceTemplate))
	about := templated(e, 0, s)
	ours := &writer{isFinal: true, d: preferred(e.X12.Version), claim: -1}
	ours.invoice(e, 0, s)
	var theirs bytes.Buffer
	if err := form.Execute(&theirs, about); err != nil || theirs.String() != string(ours.out) {
		b.Fatalf("the template writes other bytes, %v:\n%s\n%s", err, theirs.String(), ours.out)
	}
	const rounds = 5_000
	measure := func(work func()) time.Duration {
		least := time.Duration(1 << 62)
		for range 5 {
			begin := time.Now()
			for range rounds {
				work()
			}
			least = min(least, time.Since(begin))
		}
		return least / rounds
	}
	for b.Loop() {
		own := measure(func() { ours.out = ours.out[:0]; ours.invoice(e, 0, s) })
		byTemplate := measure(func() { theirs.Reset(); _ = form.Execute(&theirs, about) })
		b.ReportMetric(float64(own.Nanoseconds()), "ns/claim")
		b.ReportMetric(float64(byTemplate)/float64(own), "x-template")
		againstNode(b, e, own)
	}
}

// againstNode reports the ratios to node-x12, or says that they were not measured.
func againstNode(b *testing.B, e claims.Envelope, own time.Duration) {
	b.Helper()
	folder := filepath.Join("..", "..", "..", ".ci", "oracles", "x12")
	node, err := exec.LookPath("node")
	if _, missing := os.Stat(filepath.Join(folder, "node_modules", "node-x12")); err != nil || missing != nil {
		b.Log("NOT RUN: node-x12 measured beside ours - npm ci --prefix .ci/oracles/x12")
		return
	}
	_, _, one := sample(b)
	batch := formattest.Batch(b, 500)
	for i := range batch {
		batch[i].Payload = bytes.Replace(one.Payload, []byte(one.Number), []byte(batch[i].Number), 1)
		batch[i].PayerShare = one.PayerShare
	}
	var document bytes.Buffer
	if err := (Format{}).Encode(&document, e, batch); err != nil {
		b.Fatal(err)
	}
	file := filepath.Join(b.TempDir(), "batch.edi")
	if err := os.WriteFile(file, document.Bytes(), 0o600); err != nil {
		b.Fatal(err)
	}
	out, err := exec.Command(node, filepath.Join(folder, "speed.mjs"), file).Output()
	var theirs struct{ Write, Read float64 }
	if err != nil || json.Unmarshal(out, &theirs) != nil {
		b.Fatalf("node-x12: %v", err)
	}
	read := time.Duration(1 << 62)
	for range 15 {
		begin := time.Now()
		if _, _, err := (Format{}).Decode(bytes.NewReader(document.Bytes())); err != nil {
			b.Fatal(err)
		}
		read = min(read, time.Since(begin))
	}
	b.ReportMetric(theirs.Write/float64(own.Nanoseconds()), "x-node-writer")
	b.ReportMetric(theirs.Read/(float64(read.Nanoseconds())/float64(len(batch))), "x-node-reader")
}

// BenchmarkEncode is what a night does: a claim from its frozen payload, read twice, checked and written.
func BenchmarkEncode(b *testing.B) {
	e := formattest.Envelope()
	e.X12 = payers.X12{SenderID: "SHOPDEMO", ReceiverID: "PAYERDEMO"}
	batch := formattest.Batch(b, 1000)
	for b.Loop() {
		if err := (Format{}).Encode(&bytes.Buffer{}, e, batch); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(batch)), "ns/claim")
}
