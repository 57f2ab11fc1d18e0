package vin

import (
	"testing"
	"time"

	"cullet/services/finding"
)

// day is the repair day of the tests.
var day = time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)

// published are numbers that others printed, with where and how well each is known. The digit is
// what the characters ask for; the codes are what a repair on day finds, "" for nothing.
var published = []struct {
	vin    string
	digit  byte
	code   string
	year   int
	source finding.Source
}{
	{"1G4AH59H45G118341", '4', "", 2005,
		finding.Source{Citation: "49 CFR 565.15, sample calculation, Table V", Known: finding.Read}},
	{"1J9RP1A36A1644345", '6', "", 2010,
		finding.Source{Citation: "NHTSA, Outline for New Manufacturer Information", Known: finding.Read}},
	{"1M8GDM9AXKP042788", 'X', "", 2019, // A bus: position 7 says nothing, so 1989 stays possible.
		finding.Source{Citation: "encyclopedia, worked example", Known: finding.FromMemory}},
	{"5GZCZ43D13S812715", '1', "", 2003,
		finding.Source{Citation: "encyclopedia, pair of examples", Known: finding.FromMemory}},
	{"SGZCZ43D13S812715", 'X', CodeCheck, 2003,
		finding.Source{Citation: "encyclopedia, pair of examples", Known: finding.FromMemory}},
	{"11111111111111111", '1', CodeImplausible, 2001,
		finding.Source{Citation: "widely used test value", Known: finding.FromMemory}},
	{"2NKWL00X16M149834", '1', "", 2006,
		finding.Source{Citation: "github MattPorto/vin_decoder, test", Known: finding.Read}},
	{"5J6HYJ8V55L009357", '5', "", 2005,
		finding.Source{Citation: "github bradg/vin-js, tests.js", Known: finding.Read}},
	{"5J6HYJ8V45L009357", '5', CodeCheck, 2005,
		finding.Source{Citation: "github bradg/vin-js, tests.js", Known: finding.Read}},
	{"JN1DA31D63T505967", '6', "", 2003,
		finding.Source{Citation: "github lucasdavila/vin_checker, README", Known: finding.Read}},
	{"1XPTD40X0JD456115", '6', CodeCheck, 1988,
		finding.Source{Citation: "github lucasdavila/vin_checker, README", Known: finding.Read}},
	{"1XPTD40X6JD456115", '6', "", 1988,
		finding.Source{Citation: "github lucasdavila/vin_checker, README", Known: finding.Read}},
	{"1FTMW1T88MFA00001", '8', "", 2021,
		finding.Source{Citation: "vpic-api package, docs", Known: finding.Read}},
	{"4T1SK12E1NU028452", '1', "", 1992,
		finding.Source{Citation: "github dynamiccookies/vin-decoder", Known: finding.Read}},
	{"WDBEA30D3HA391172", '3', "", 1987,
		finding.Source{Citation: "rdrr.io vindecodr, README", Known: finding.Read}},
	{"W0L000051T2123456", '5', CodeCheck, 1996,
		finding.Source{Citation: "github brentgroves/vin1, vin_test.go", Known: finding.Read}},
	{"1HGBH41JXMN109186", 'X', "", 1991, finding.Source{Citation: "several public tests", Known: finding.Read}},
	{"1HGCM82633A004352", '3', "", 2003, finding.Source{Citation: "several public tests", Known: finding.Read}},
	{"JH4KA7561PC008269", '1', "", 1993, finding.Source{Citation: "several public tests", Known: finding.Read}},
	// Public tests of the form alone call these three valid; their check digits are wrong.
	{"5TFEV54198X063405", '6', CodeCheck, 2008, finding.Source{Citation: "computed", Known: finding.Computed}},
	{"1G1ZT53806F109149", '2', CodeCheck, 2006, finding.Source{Citation: "computed", Known: finding.Computed}},
	{"WBANU53578CT69351", '0', CodeCheck, 2008, finding.Source{Citation: "computed", Known: finding.Computed}},
	// Position 1 is wrong (the number is 1M8...), and the digit cannot see it: 1 and J are the same.
	{"JM8GDM9AXKP042788", 'X', "", 1989, finding.Source{Citation: "computed", Known: finding.Computed}},
}

func TestPublishedNumbers(t *testing.T) {
	t.Parallel()
	for _, p := range published {
		t.Run(p.vin, func(t *testing.T) {
			t.Parallel()
			if got, ok := CheckDigit(p.vin); !ok || got != p.digit {
				t.Errorf("check digit: got %c %v, want %c (%s)", got, ok, p.digit, p.source.Citation)
			}
			if got, want := Passes(p.vin), p.vin[8] == p.digit; got != want {
				t.Errorf("passes: got %v, want %v", got, want)
			}
			n, found := Parse(p.vin, day)
			if string(n) != p.vin {
				t.Errorf("number: got %q, want %q", n, p.vin)
			}
			if got := onlyCode(t, found); got != p.code {
				t.Errorf("code: got %q, want %q", got, p.code)
			}
			if got := n.ModelYear(Said{On: day}).Year; got != p.year {
				t.Errorf("model year: got %d, want %d", got, p.year)
			}
		})
	}
}

// onlyCode gives the code of the only finding, "" when there is none.
func onlyCode(t *testing.T, found []finding.Finding) string {
	t.Helper()
	if len(found) > 1 {
		t.Fatalf("findings: got %d, want at most one: %+v", len(found), found)
	}
	if len(found) == 0 {
		return ""
	}
	return found[0].Code
}

// TestCheckDigitUsesWholeRemainders holds the eleven remainders apart: a table of decimal
// remainders in circulation prints .634 for 7/11.
func TestCheckDigitUsesWholeRemainders(t *testing.T) {
	t.Parallel()
	seen := map[byte]string{}
	for i := range 10_000 {
		number := fmt04("1M8GDM9A0KP04", i)
		digit, ok := CheckDigit(number)
		if !ok {
			t.Fatalf("%s: not read", number)
		}
		seen[digit] = number
	}
	if len(seen) != 11 {
		t.Errorf("digits seen: got %d, want 11", len(seen))
	}
}

func fmt04(head string, n int) string {
	digits := []byte("0000")
	for i := 3; n > 0; i, n = i-1, n/10 {
		digits[i] = byte('0' + n%10)
	}
	return head + string(digits)
}
