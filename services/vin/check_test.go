package vin

import (
	"slices"
	"strings"
	"testing"

	"cullet/services/finding"

	"github.com/google/go-cmp/cmp"
)

func TestCheck(t *testing.T) {
	t.Parallel()
	said := Said{On: day}
	stop, caution, note := finding.Stop, finding.Caution, finding.Note
	for _, c := range []struct {
		name, text string
		said       Said
		want       []string // code and severity
		suggestion string
		number     string
	}{
		{"lower case, spaces and hyphens are forgiven", " 5j6h-yj8v 55l\u00a0009\u2013357\r\n", said, nil, "", "5J6HYJ8V55L009357"},
		{"Q for V", "5J6HYJ8Q55L009357", said, codes("VIN-ALPHABET", stop), "", "5J6HYJ8Q55L009357"},
		{"O for 0 is offered", "1HGCM82633AO04352", said, codes("VIN-ALPHABET", stop), "1HGCM82633A004352", "1HGCM82633AO04352"},
		{"I for 1 and Q for 0 are offered", "IHGCM82633AQ04352", said, codes("VIN-ALPHABET", stop), "1HGCM82633A004352", "IHGCM82633AQ04352"},
		{"16 characters", "1HGCM82633A00435", said, codes("VIN-LENGTH", stop), "", "1HGCM82633A00435"},
		{"18 characters", "1HGCM82633A0043522", said, codes("VIN-LENGTH", stop), "", "1HGCM82633A0043522"},
		{"the import letter of a bar code", "I1HGCM82633A004352", said, codes("VIN-LENGTH", stop, "VIN-ALPHABET", stop), "1HGCM82633A004352", "I1HGCM82633A004352"},
		{"both length and alphabet at once", "1HGCM826*3A00", said, codes("VIN-LENGTH", stop, "VIN-ALPHABET", stop), "", "1HGCM826*3A00"},
		{"empty", "", said, codes("VIN-LENGTH", stop), "", ""},
		{"only separators", " - - ", said, codes("VIN-LENGTH", stop), "", ""},
		{"a megabyte", strings.Repeat("1", 1<<20), said, codes("VIN-LENGTH", stop), "", ""},
		{"wrong digit in North America", "5TFEV54198X063405", said, codes("VIN-CHECK", stop), "", "5TFEV54198X063405"},
		{"wrong digit on a number assigned to the USA under 7", "7SAYGDEE0NF100001", said, codes("VIN-CHECK", stop), "", "7SAYGDEE0NF100001"},
		{"wrong digit in Europe", "W0L000051T2123456", said, codes("VIN-CHECK", caution), "", "W0L000051T2123456"},
		{"wrong digit, made for North America", "WBANU53578CT69351", Said{On: day, NorthAmericanMarket: true}, codes("VIN-CHECK", stop), "WBANU53578CT69315", "WBANU53578CT69351"},
		{"S for 5", "SGZCZ43D13S812715", said, codes("VIN-CHECK", caution), "5GZCZ43D13S812715", "SGZCZ43D13S812715"},
		{"zeros", "00000000000000000", said, codes("VIN-IMPLAUSIBLE", caution, "VIN-YEAR-CODE", stop), "", "00000000000000000"},
		{"ones", "11111111111111111", said, codes("VIN-IMPLAUSIBLE", caution), "", "11111111111111111"},
		{"year code 0", withDigit("1HGCM82630A004352"), said, codes("VIN-YEAR-CODE", stop), "", withDigit("1HGCM82630A004352")},
		{"year code U", withDigit("1HGCM8263UA004352"), said, codes("VIN-YEAR-CODE", stop), "", withDigit("1HGCM8263UA004352")},
		{"year code Z in Europe tells nothing", withDigit("WDBEA30D3ZA391172"), said, codes("VIN-YEAR-CODE", note), "", withDigit("WDBEA30D3ZA391172")},
		{"a short number before 1981", "1189123456", Said{On: day, ModelYear: 1969}, codes("VIN-PRE-1981", caution), "", "1189123456"},
		{"a short number with letters before 1981", "6T09C1O0001", Said{On: day, ModelYear: 1966}, codes("VIN-PRE-1981", caution), "", "6T09C1O0001"},
		{"a short number of 1981", "1189123456", Said{On: day, ModelYear: 1981}, codes("VIN-LENGTH", stop), "", "1189123456"},
		{"18 characters before 1981", "118912345678901234", Said{On: day, ModelYear: 1969}, codes("VIN-LENGTH", stop), "", "118912345678901234"},
		{"a star before 1981", "118912*456", Said{On: day, ModelYear: 1969}, codes("VIN-ALPHABET", stop), "", "118912*456"},
		{"17 characters of 1980 with a wrong digit", "1HGCM8263AA004352", Said{On: day, ModelYear: 1980}, codes("VIN-CHECK", caution), "", "1HGCM8263AA004352"},
		{"the papers say another year", "1HGCM82633A004352", Said{On: day, ModelYear: 2004}, codes("VIN-MODEL-YEAR", caution), "", "1HGCM82633A004352"},
		{"the papers say the year", "1HGCM82633A004352", Said{On: day, ModelYear: 2003}, nil, "", "1HGCM82633A004352"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			n, found := Check(c.text, c.said)
			if string(n) != c.number {
				t.Errorf("number: got %q, want %q", n, c.number)
			}
			if diff := cmp.Diff(c.want, codesOf(found)); diff != "" {
				t.Errorf("codes (-want +got):\n%s", diff)
			}
			if got := suggestionOf(found); got != c.suggestion {
				t.Errorf("suggestion: got %q, want %q", got, c.suggestion)
			}
			everyFindingIsWhole(t, found)
		})
	}
}

func TestCheckRefusesWhatNoRecordMayStore(t *testing.T) {
	t.Parallel()
	const number = "1M8GDM9AXKP042788"
	for name, text := range map[string]string{
		"NUL":                      "1M8GDM9A\x00XKP042788",
		"bidi override":            "1M8GDM9A\u202eXKP042788",
		"left-to-right mark":       number + "\u200e",
		"zero-width space":         "1M8\u200bGDM9AXKP042788",
		"byte order mark":          "\ufeff" + number,
		"inner tab":                "1M8GDM9A\tXKP042788",
		"escape":                   "1M8GDM9A\x1bXKP042788",
		"combining mark":           "1M8GDM9A\u0301XKP042788",
		"Cyrillic M":               "1\u041c8GDM9AXKP042788",
		"small Cyrillic er":        "1M8GDM9AXK\u0440042788",
		"Greek Chi":                "1M8GDM9A\u03a7KP042788",
		"wide digits":              "\uff11M8GDM9AXKP042788",
		"wide small letters":       "1\uff4d8GDM9AXKP042788",
		"bytes that are not UTF-8": "1M8GDM9A\xffXKP042788",
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			n, found := Parse(text, day)
			if n != "" {
				t.Errorf("number: got %q, want none", n)
			}
			if diff := cmp.Diff(codes("VIN-HYGIENE", finding.Stop), codesOf(found)); diff != "" {
				t.Errorf("codes (-want +got):\n%s", diff)
			}
			if got := suggestionOf(found); got != number {
				t.Errorf("suggestion: got %q, want %q", got, number)
			}
			everyFindingIsWhole(t, found)
		})
	}
}

func TestCheckReportsHygieneTogetherWithTheRest(t *testing.T) {
	t.Parallel()
	_, found := Parse("1M8GDM9A\x00XKP04278", day)
	want := codes("VIN-HYGIENE", finding.Stop, "VIN-LENGTH", finding.Stop)
	if diff := cmp.Diff(want, codesOf(found)); diff != "" {
		t.Errorf("codes (-want +got):\n%s", diff)
	}
	if got := suggestionOf(found); got != "" {
		t.Errorf("suggestion: got %q, want none, since what is left would not do either", got)
	}
}

// TestPassingIsNeverCalledVerified: a passing number gets no finding at all, and no sentence of
// any finding says the word.
func TestPassingIsNeverCalledVerified(t *testing.T) {
	t.Parallel()
	for _, p := range published {
		_, found := Parse(p.vin, day)
		for _, f := range found {
			if strings.Contains(strings.ToLower(f.Sentence+f.Fix), "verif") {
				t.Errorf("%s: got %q", p.vin, f.Sentence)
			}
		}
	}
}

func codes(pairs ...any) []string {
	var all []string
	for i := 0; i < len(pairs); i += 2 {
		all = append(all, pairs[i].(string)+" "+string(pairs[i+1].(finding.Severity)))
	}
	return all
}

func codesOf(found []finding.Finding) []string {
	var all []string
	for _, f := range found {
		all = append(all, f.Code+" "+string(f.Severity))
	}
	return all
}

func suggestionOf(found []finding.Finding) string {
	i := slices.IndexFunc(found, func(f finding.Finding) bool { return f.Suggestion != "" })
	if i < 0 {
		return ""
	}
	return found[i].Suggestion
}

// withDigit puts the right check digit into a number.
func withDigit(number string) string {
	digit, ok := CheckDigit(number)
	if !ok {
		panic(number)
	}
	return number[:8] + string(digit) + number[9:]
}

func everyFindingIsWhole(t *testing.T, found []finding.Finding) {
	t.Helper()
	for _, f := range found {
		if f.Path != Path || f.Sentence == "" || f.Fix == "" || f.Source.Citation == "" || f.Source.Known == "" {
			t.Errorf("finding is not whole: %+v", f)
		}
		if strings.ContainsFunc(f.Sentence+f.Fix+f.Suggestion, func(r rune) bool { return r < ' ' || r == 0x202e }) {
			t.Errorf("finding repeats a control character: %+v", f)
		}
	}
}
