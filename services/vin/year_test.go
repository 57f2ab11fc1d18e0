package vin

import (
	"testing"
	"time"

	"cullet/services/finding"

	"github.com/google/go-cmp/cmp"
)

// TestModelYear has the rule of positions 7 and 10: 49 CFR 565.15 with 73 FR 23379, read. The
// digit in position 9 plays no part.
func TestModelYear(t *testing.T) {
	t.Parallel()
	late := date(2026, 11, 25)
	for _, c := range []struct {
		name string
		vin  Number
		said Said
		want Year
	}{
		{"light, digit in 7", "4T1SK12E1NU028452", Said{On: late}, Year{1992, nil, Position7}},
		{"light, letter in 7", "4T1SK1BE1NU028452", Said{On: late}, Year{2022, nil, Position7}},
		{"truck, said to be light", "1FTMW1T88MFA00001", Said{On: late, Class: Light}, Year{2021, nil, Position7}},
		{"truck, nothing said", "1FTMW1T88MFA00001", Said{On: late}, Year{2021, []int{1991}, Position7Likely}},
		{"truck, said to be heavy", "1FTMW1T88MFA00001", Said{On: late, Class: Other}, Year{2021, []int{1991}, LatestYear}},
		{"heavy, digit in 7 tells nothing", "1XPTD40X6JD456115", Said{On: late, Class: Other}, Year{2018, []int{1988}, LatestYear}},
		{"heavy, the papers decide", "1XPTD40X6JD456115", Said{On: late, Class: Other, ModelYear: 1988}, Year{1988, []int{2018}, SaidYear}},
		{"only one year lies before the repair", "JN1DA31D63T505967", Said{On: late}, Year{2003, nil, OnlyYear}},
		{"a model year may be the next one", "4T1SK1BE1VU028452", Said{On: date(2026, 1, 1)}, Year{2027, nil, Position7}},
		{"but not the one after it", "4T1SK1BE1VU028452", Said{On: date(2025, 12, 31)}, Year{1997, nil, OnlyYear}},
		{"made before the second cycle", "4T1SK1BE1NU028452", Said{On: date(2009, 6, 1)}, Year{1992, nil, OnlyYear}},
		{"the first code", "4T1SK12E1AU028452", Said{On: late}, Year{1980, nil, Position7}},
		{"the last code of the first cycle", "4T1SK12E19U028452", Said{On: late}, Year{2009, nil, OnlyYear}},
		{"the first of the second cycle", "4T1SK1BE1AU028452", Said{On: late}, Year{2010, nil, Position7}},
		{"the last year of the rule", "4T1SK1BE19U028452", Said{On: date(2039, 1, 1)}, Year{2039, nil, Position7}},
		{"the third cycle lies open", "4T1SK1BE1AU028452", Said{On: date(2041, 1, 1)}, Year{2010, nil, Position7}},
		{"without a day", "4T1SK1BE1NU028452", Said{}, Year{2022, nil, Position7}},
		{"European: position 7 is not ruled", "WDBEA30D3HA391172", Said{On: late}, Year{1987, []int{2017}, Position7Likely}},
		{"European, made for North America", "WDBEA30D3HA391172", Said{On: late, NorthAmericanMarket: true}, Year{1987, nil, Position7}},
		{"no year code", "4T1SK12E1UU028452", Said{On: late}, Year{0, nil, NoYear}},
		{"too short", "4T1SK12E1", Said{On: late}, Year{0, nil, NoYear}},
		{"before the first year", "4T1SK12E1NU028452", Said{On: date(1970, 1, 1)}, Year{0, nil, NoYear}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			if diff := cmp.Diff(c.want, c.vin.ModelYear(c.said)); diff != "" {
				t.Errorf("year (-want +got):\n%s", diff)
			}
		})
	}
}

// TestYearCodes writes the table of 49 CFR part 565 out (read in secondary copies): thirty codes,
// then again.
func TestYearCodes(t *testing.T) {
	t.Parallel()
	const order = "ABCDEFGHJKLMNPRSTVWXY123456789"
	for i, code := range order {
		for position7, first := range map[string]int{"2": 1980, "B": 2010} {
			n := Number("4T1SK1" + position7 + "E1" + string(code) + "U028452")
			if got, want := n.ModelYear(Said{}).Year, first+i; got != want {
				t.Errorf("code %c, position 7 %s: got %d, want %d", code, position7, got, want)
			}
		}
	}
}

func TestCheckNamesYearsThatCannotBe(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		text string
		said Said
		want []string
	}{
		{"a letter in 7 and a code of the year after next", withDigit("4T1SK1BE1VU028452"),
			Said{On: date(2025, 12, 31)}, codes("VIN-YEAR-FUTURE", finding.Caution)},
		{"the same a day later", withDigit("4T1SK1BE1VU028452"), Said{On: date(2026, 1, 1)}, nil},
		{"a heavy truck may have a letter there", withDigit("1XPTD4BX6VD456115"),
			Said{On: date(2025, 12, 31), Class: Other}, nil},
		{"the papers say what the code cannot be", withDigit("4T1SK1BE1NU028452"),
			Said{On: day, ModelYear: 1992}, codes("VIN-MODEL-YEAR", finding.Caution)},
		{"the papers name the other cycle of a heavy truck", withDigit("1XPTD4BX6JD456115"),
			Said{On: day, Class: Other, ModelYear: 1988}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, found := Check(c.text, c.said)
			if diff := cmp.Diff(c.want, codesOf(found)); diff != "" {
				t.Errorf("codes (-want +got):\n%s", diff)
			}
			everyFindingIsWhole(t, found)
		})
	}
}

func date(y int, m time.Month, d int) time.Time { return time.Date(y, m, d, 0, 0, 0, 0, time.UTC) }
