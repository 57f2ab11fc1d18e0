package tax_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"testing"

	"cullet/services/finding"
	"cullet/services/money"
	"cullet/services/tax"
)

// oracleLine and oracleBill are what the second program is asked.
type oracleLine struct {
	Category  tax.Category `json:"category"`
	Amount    int64        `json:"amount"`
	Apart     bool         `json:"apart"`
	Materials int64        `json:"materials"`
	LaborOnly bool         `json:"labor_only"`
}

type oracleBill struct {
	Place     string       `json:"place"`
	Basis     tax.Basis    `json:"basis"`
	Aggregate bool         `json:"aggregate"`
	RoundDown bool         `json:"round_down"`
	Lines     []oracleLine `json:"lines"`
}

type oracleAnswer struct {
	Stop          bool    `json:"stop"`
	Tax           int64   `json:"tax"`
	Jurisdictions []int64 `json:"jurisdictions"`
	Lines         []int64 `json:"lines"`
}

// The engine and testdata/tax/oracle.py, written apart from the law in another language, agree on
// random bills to the cent. CULLET_TAX_ORACLE=100000 asks for more of them.
func TestQuoteAgreesWithTheOracle(t *testing.T) {
	t.Parallel()
	python, err := exec.LookPath("python3")
	if err != nil {
		fmt.Println("NOT RUN: tax against its oracle - apt-get install python3")
		t.Skip("python3 is not installed")
	}
	count := 2000
	if more, err := strconv.Atoi(os.Getenv("CULLET_TAX_ORACLE")); err == nil {
		count = more
	}
	random := rand.New(rand.NewPCG(20260101, 5739))
	bills := make([]oracleBill, count)
	var questions bytes.Buffer
	encoder := json.NewEncoder(&questions)
	for i := range bills {
		bills[i] = randomBill(random)
		if err := encoder.Encode(bills[i]); err != nil {
			t.Fatal(err)
		}
	}
	command := exec.CommandContext(t.Context(), python, "../../testdata/tax/oracle.py")
	command.Stdin, command.Stderr = &questions, os.Stderr
	output, err := command.Output()
	if err != nil {
		t.Fatalf("run the oracle: %v", err)
	}
	compare(t, bills, output)
}

func compare(t *testing.T, bills []oracleBill, output []byte) {
	t.Helper()
	book := everywhere(t)
	answers := bufio.NewScanner(bytes.NewReader(output))
	answered, stopped, differing := 0, 0, 0
	for answers.Scan() {
		var want oracleAnswer
		if err := json.Unmarshal(answers.Bytes(), &want); err != nil {
			t.Fatal(err)
		}
		bill := bills[answered]
		answered++
		if want.Stop {
			stopped++
		}
		if message := differs(book, bill, want); message != "" {
			if differing++; differing <= 5 {
				t.Errorf("%s: %+v", message, bill)
			}
		}
	}
	if answered != len(bills) || stopped == 0 || stopped > answered/2 || differing > 0 {
		t.Errorf("%d bills: %d answered, %d stopped, %d differ", len(bills), answered, stopped, differing)
	}
}

var oraclePlaces = map[string]struct {
	tax.Place
	currency string
}{
	"OH": {at("OH", "Franklin", ""), "USD"}, "KY": {at("KY", "", ""), "USD"}, "CA": {at("CA", "Fixture", ""), "USD"},
	"MA": {at("MA", "", ""), "USD"}, "VA": {at("VA", "Fixture", ""), "USD"}, "TX": {at("TX", "Fixture", ""), "USD"},
	"NY": {at("NY", "", "New York City"), "USD"}, "ON": {tax.Place{Country: "CA", State: "ON"}, "CAD"},
	"QC": {tax.Place{Country: "CA", State: "QC"}, "CAD"}, "GB": {tax.Place{Country: "GB"}, "GBP"},
}

var oracleOrder = []string{"OH", "KY", "CA", "MA", "VA", "TX", "NY", "ON", "QC", "GB"}

func randomBill(random *rand.Rand) oracleBill {
	b := oracleBill{Place: oracleOrder[random.IntN(len(oracleOrder))], Basis: tax.Item,
		Aggregate: random.IntN(2) == 0, RoundDown: random.IntN(2) == 0}
	if random.IntN(2) == 0 {
		b.Basis = tax.Invoice
	}
	for range 1 + random.IntN(6) {
		line := oracleLine{Category: labor, Amount: random.Int64N(20_000)}
		switch random.IntN(6) {
		case 0:
			line.Apart = true
		case 1:
			line.Category, line.Apart = materials, true
		case 2:
			if b.Place != "MA" && b.Place != "VA" {
				line.Category = trip
			}
		case 3:
			line.LaborOnly = true
		case 4:
			line.Materials = line.Amount / 10 // at the edge of the tenth
		default:
			line.Materials = random.Int64N(line.Amount + 1)
		}
		b.Lines = append(b.Lines, line)
	}
	if random.IntN(4) == 0 {
		b.Lines = append(b.Lines, oracleLine{Category: tax.Discount, Amount: -random.Int64N(3_000)})
	}
	return b
}

// differs says in what the engine's answer is another one; empty when in nothing.
func differs(book tax.Book, b oracleBill, want oracleAnswer) string {
	place := oraclePlaces[b.Place]
	r := tax.Request{On: "2026-11-20", Place: place.Place, Currency: place.currency,
		Elections: tax.Elections{Basis: b.Basis, Aggregate: b.Aggregate, RoundDown: b.RoundDown}}
	for i, l := range b.Lines {
		r.Lines = append(r.Lines, tax.Line{ID: i + 1, Category: l.Category, Amount: money.From(l.Amount, place.currency),
			SeparatelyStated: l.Apart, LaborOnly: l.LaborOnly, MaterialsPart: money.From(l.Materials, place.currency)})
	}
	got, findings := tax.Quote(book, r)
	if finding.HasStop(findings) != want.Stop {
		return fmt.Sprintf("stopped %t, oracle %t (%v)", !want.Stop, want.Stop, findings)
	}
	if want.Stop {
		return ""
	}
	if got.Tax.Minor != want.Tax {
		return fmt.Sprintf("tax %d, oracle %d", got.Tax.Minor, want.Tax)
	}
	for k, tax := range want.Jurisdictions {
		if got.Totals[k].Tax.Minor != tax {
			return fmt.Sprintf("%s %d, oracle %d", got.Totals[k].JurisdictionCode, got.Totals[k].Tax.Minor, tax)
		}
	}
	for i, tax := range want.Lines {
		if got.Lines[i].Tax.Minor != tax {
			return fmt.Sprintf("line %d %d, oracle %d", got.Lines[i].LineID, got.Lines[i].Tax.Minor, tax)
		}
	}
	return ""
}
