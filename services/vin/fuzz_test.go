package vin

import (
	"strings"
	"testing"
	"unicode/utf8"

	"cullet/services/finding"
)

// FuzzCheck holds what is true of every text: no panic, findings that are whole, a number that
// may be stored, and an answer that does not change when the number is read again.
func FuzzCheck(f *testing.F) {
	for _, p := range published {
		f.Add(p.vin, 0, false)
	}
	f.Add("1M8GDM9A\x00X\u202eKP042788", 0, false)
	f.Add("\uff11\u041c8GDM9AXKP\u0301042788", 2019, true)
	f.Add("*I1HGCM82633A004352*", 1979, false)
	f.Fuzz(func(t *testing.T, text string, year int, market bool) {
		said := Said{On: day, ModelYear: year, NorthAmericanMarket: market}
		n, found := Check(text, said)
		everyFindingIsWhole(t, found)
		again, second := Check(string(n), said)
		if n != "" && (again != n || len(second) != len(found)) {
			t.Errorf("%q: read %q with %d findings, then %q with %d", text, n, len(found), again, len(second))
		}
		if strings.ContainsFunc(string(n), func(r rune) bool { return r < '!' || r == utf8.RuneError }) {
			t.Errorf("%q: %q holds what no record may store", text, n)
		}
		if n == "" && !finding.HasStop(found) {
			t.Errorf("%q: no number and no stop", text)
		}
		if y := n.ModelYear(said).Year; y != 0 && (y < firstYear || y > lastYear(said)) {
			t.Errorf("%q: model year %d", text, y)
		}
		if len(n.Models(said)) > 0 && n.ModelYear(said).Year == 0 {
			t.Errorf("%q: a model without a model year", text)
		}
		for _, c := range n.Corrections() {
			if !Passes(string(c)) {
				t.Errorf("%q: offered %q", text, c)
			}
		}
	})
}
