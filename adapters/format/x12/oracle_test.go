package x12_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"cullet/adapters/format/x12"
	"cullet/adapters/formattest"
	"cullet/adapters/payload"
	"cullet/services/claims"
	"cullet/services/money"
	"cullet/services/payers"
)

// How many random claims the parsers read: so many in a test run, CULLET_X12_CLAIMS in the gate, or as
// the flag says.
var (
	oracleClaims = flag.Int("x12-claims", wished("CULLET_X12_CLAIMS", 1000), "how many random claims the independent parsers read")
	oracleSeed   = flag.Uint64("x12-seed", 1, "the seed of the random claims")
)

func wished(variable string, otherwise int) int {
	if n, err := strconv.Atoi(os.Getenv(variable)); err == nil && n > 0 {
		return n
	}
	return otherwise
}

// found is what a parser found: a set, or an interchange.
type found struct {
	File        string            `json:"file"`
	Parser      string            `json:"parser"`
	Interchange int64             `json:"interchange"`
	IsCounted   bool              `json:"isCounted"`
	Kind        string            `json:"kind"`
	Invoice     string            `json:"invoice"`
	Lines       int               `json:"lines"`
	Sum         int64             `json:"sum"`
	Total       int64             `json:"total"`
	Refs        map[string]string `json:"refs"`
	Names       map[string]string `json:"names"`
	Described   []string          `json:"described"`
}

// TestParsersFindTheClaims has the npm packages node-x12 1.7.1 and x12-parser 1.3.0 (both MIT) read
// random claims with hostile text in batches of both releases: each finds exactly the claims that went
// in, with their sums, numbers and names, and every count of the envelope right.
func TestParsersFindTheClaims(t *testing.T) {
	t.Parallel()
	folder := filepath.Join("..", "..", "..", ".ci", "oracles", "x12")
	node, err := exec.LookPath("node")
	if err != nil {
		t.Skip("NOT RUN: X12 documents read by node-x12 and x12-parser - apt-get install nodejs npm")
	}
	if _, err := os.Stat(filepath.Join(folder, "node_modules", "x12-parser")); err != nil {
		t.Skip("NOT RUN: X12 documents read by node-x12 and x12-parser - npm ci --prefix .ci/oracles/x12")
	}
	files, want := randomBatches(t, *oracleClaims, *oracleSeed)
	command := exec.Command(node, append([]string{filepath.Join(folder, "read.mjs")}, files...)...)
	command.Stderr = os.Stderr
	out, err := command.Output()
	if err != nil {
		t.Fatal(err)
	}
	sets, interchanges := map[string]int{}, 0
	lines := bufio.NewScanner(bytes.NewReader(out))
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		var f found
		if err := json.Unmarshal(lines.Bytes(), &f); err != nil {
			t.Fatal(err)
		}
		if !f.IsCounted {
			t.Errorf("%s: a count or a control number is wrong: %s", f.Parser, lines.Text())
		}
		if f.Interchange > 0 {
			interchanges++
			continue
		}
		sets[f.Parser]++
		compareFound(t, f, want[f.Refs["VN"]])
	}
	if interchanges != 2*len(files) || sets["node-x12"] != len(want) || sets["x12-parser"] != len(want) {
		t.Errorf("%d documents with %d claims were written; found are %d interchanges and sets %v", len(files), len(want), interchanges, sets)
	}
	t.Logf("seed %d: two parsers found %d claims in %d documents", *oracleSeed, len(want), len(files))
}

// compareFound holds one set against its claim.
func compareFound(t *testing.T, f found, want payload.Claim) {
	t.Helper()
	charges := 0
	for _, line := range want.Lines {
		if line.Kind != "DISCOUNT" {
			charges++
		}
	}
	name, policy := x12.Spell(want.Coverage.InsuredName, false), want.Coverage.PolicyNumber
	switch {
	case want.ClaimNumber == "":
		t.Errorf("%s found claim %q, which was not written", f.Parser, f.Refs["VN"])
	case f.Kind != "810" || f.Invoice != want.InvoiceNumber || f.Total != want.Totals.PayerShare.Minor || f.Sum != f.Total || f.Lines != charges:
		t.Errorf("%s: claim %s for %s with %d charges was read as %+v", f.Parser, want.ClaimNumber, want.Totals.PayerShare, charges, f)
	case f.Refs["IG"] != policy || f.Names["IL"] != name || f.Refs["VT"] != want.Vehicle.VIN || len(f.Described) != charges:
		t.Errorf("%s: policy %q of %q was read as %+v", f.Parser, policy, name, f)
	}
}

// randomBatches writes n random claims into documents of a hundred at most and gives them by their
// number.
func randomBatches(t *testing.T, n int, seed uint64) (files []string, all map[string]payload.Claim) {
	t.Helper()
	random := rand.New(rand.NewPCG(seed, 810))
	examples, folder := formattest.Examples(t), t.TempDir()
	all = map[string]payload.Claim{}
	for number := int64(1); len(all) < n; number++ {
		version := []payers.X12Version{payers.X12004010, payers.X12005010}[random.IntN(2)]
		e := envelope(version)
		e.ControlNumber = number * 7919 % 999_999_999
		var batch []claims.Frozen
		for range min(1+random.IntN(100), n-len(all)) {
			claim := randomClaim(random, examples[random.IntN(len(examples))], len(all)+1)
			all[claim.ClaimNumber] = claim
			batch = append(batch, formattest.Freeze(t, claim))
		}
		file := filepath.Join(folder, fmt.Sprintf("%06d.edi", number))
		if err := os.WriteFile(file, []byte(encode(t, e, batch)), 0o600); err != nil {
			t.Fatal(err)
		}
		files = append(files, file)
	}
	return files, all
}

// hostile gives text of a person's hand, of at most so many characters.
func hostile(random *rand.Rand, most int) string {
	texts := formattest.HostileTexts()
	text := texts[random.IntN(len(texts))] + texts[random.IntN(len(texts))]
	if runes := []rune(text); len(runes) > most/4 {
		text = string(runes[:most/4]) // a letter may be spelled with several
	}
	return strings.ToValidUTF8(text, "?")
}

// printable gives a number as a payer might have it: any printable characters.
func printable(random *rand.Rand, most int) string {
	text := make([]byte, 1+random.IntN(most))
	for i := range text {
		text[i] = byte('!' + random.IntN('~'-'!'+1))
	}
	return string(text)
}

func randomClaim(random *rand.Rand, claim payload.Claim, number int) payload.Claim {
	usd := func(minor int64) money.Amount { return money.From(minor, "USD") }
	claim.ClaimNumber, claim.InvoiceNumber, claim.InvoiceDate = fmt.Sprintf("C-%06d", number), fmt.Sprintf("INV-%06d", number), "2026-10-20"
	claim.Coverage.PolicyNumber, claim.Coverage.InsuredName = printable(random, 30), hostile(random, 60)
	claim.Coverage.LossReference, claim.Coverage.CostCentre = printable(random, 30), printable(random, 30)
	claim.Vehicle.Plate, claim.Payer.Name = printable(random, 30), hostile(random, 60)
	claim.Shop.Address.Street, claim.Shop.Address.City = hostile(random, 400), hostile(random, 400)
	claim.Shop.Address.State, claim.Shop.Telephone = hostile(random, 40), hostile(random, 40)
	claim.Job.Place.Address.City, claim.Job.Place.Address.PostalCode = hostile(random, 400), hostile(random, 40)
	claim.Lines = nil
	var net int64
	for i := range 1 + random.IntN(6) {
		quantity, price := 1+random.IntN(3), random.Int64N(100_000)
		line := payload.Line{Number: i + 1, Kind: "REPAIR_LABOR", Description: hostile(random, 400), Quantity: quantity,
			UnitPrice: usd(price), Amount: usd(price * int64(quantity)), Taxes: []payload.LineTax{}}
		if i > 0 && random.IntN(4) == 0 {
			line.Kind, line.Quantity, line.UnitPrice = "DISCOUNT", 1, usd(-random.Int64N(net/4+1))
			line.Amount = line.UnitPrice
		}
		claim.Lines = append(claim.Lines, line)
		net += line.Amount.Minor
	}
	tax := random.Int64N(net/5 + 1)
	own := random.Int64N(net + tax + 1)
	if random.IntN(2) == 0 {
		own = 0
	}
	claim.Totals = payload.Totals{Net: usd(net), Tax: usd(tax), Total: usd(net + tax), PayerShare: usd(net + tax - own), MotoristShare: usd(own)}
	return claim
}
