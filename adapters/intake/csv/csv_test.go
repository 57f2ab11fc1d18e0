package csvintake_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	csvintake "cullet/adapters/intake/csv"
	"cullet/services/errs"
	"cullet/services/jobs"
)

var plain = jobs.Mapping{Format: "csv", TimeZone: "UTC", Currency: "USD",
	Columns: []jobs.Column{{Field: "external_reference", Name: "ref"}, {Field: "damages.1.note", Name: "note"}}}

// shown gives "line reference note faults" of each record, or the reasons why the file is refused.
func shown(t *testing.T, content string, m jobs.Mapping) (all []string) {
	t.Helper()
	file, err := csvintake.Format{}.Read([]byte(content), m)
	var known *errs.Error
	if errors.As(err, &known) {
		for _, f := range known.Fields {
			all = append(all, f.Reason)
		}
		return all
	}
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range file.Records {
		var record struct {
			Reference string              `json:"external_reference"`
			Damages   []map[string]string `json:"damages"`
		}
		if err := json.Unmarshal(r.Text, &record); err != nil {
			t.Fatal(err)
		}
		text := fmt.Sprintf("%d %s", r.Line, record.Reference)
		for _, d := range record.Damages {
			text += fmt.Sprintf(" %q", d["note"])
		}
		for _, f := range r.Faults {
			text += " " + f.Path + " " + f.Reason
		}
		all = append(all, text)
	}
	return all
}

func TestRead(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name, content string
		delimiter     jobs.Delimiter
		want          []string
	}{
		{"commas", "ref,note\nA,one\nB,two\n", "", []string{`2 A "one"`, `3 B "two"`}},
		{"semicolons, columns in another order", "note;ref\none, and more;A\n", jobs.Semicolon, []string{`2 A "one, and more"`}},
		{"tabs", "ref\tnote\nA\tone\n", jobs.Tab, []string{`2 A "one"`}},
		{"bars", "ref|note\r\nA|one\r\n", jobs.Pipe, []string{`2 A "one"`}},
		{"quotes, delimiters and line breaks in cells", "ref,note\nA,\"3/4\"\" star,\r\nsecond line\"\nB,two\n", "", []string{`2 A "3/4\" star,\nsecond line"`, `4 B "two"`}},
		{"names with spaces, line breaks and other letters", "\" REF \",\"no\nte\"\nA,x\n", "", []string{"COLUMN_MISSING"}},
		{"spaces around cells, empty rows", "ref , note\n\n A ,  one \n , \n,\nB,two\n", "", []string{`3 A "one"`, `6 B "two"`}},
		{"a row too short and one too long", "ref,note\nA\nB,two\nC,three,more\n", "", []string{"2  record ROW_CELLS", `3 B "two"`, "4  record ROW_CELLS"}},
		{"a quote in a bare cell", "ref,note\nA,3/4\" star\nB,two\n", "", []string{"2  record CSV_SYNTAX", `3 B "two"`}},
		{"something behind a quoted cell", "ref,note\nA,\"one\" more\nB,two\n", "", []string{"2  record CSV_SYNTAX", `3 B "two"`}},
		{"a quote that never closes", "ref,note\nA,one\nB,\"two\nC,three\n", "", []string{`2 A "one"`, "3  record CSV_SYNTAX"}},
		{"a quote that closes two rows later", "ref,note\nA,\"one\nB,two\"\nC,three\n", "", []string{`2 A "one\nB,two"`, `4 C "three"`}},
		{"another delimiter", "ref;note\nA;one\n", "", []string{"FILE_DELIMITER"}},
		{"no rows", "ref,note\n", "", []string{"FILE_EMPTY"}},
		{"names that cannot be read", "ref,\"note\n", "", []string{"CSV_SYNTAX"}},
		{"columns missing and there twice", "ref,Ref,nota\nA,B,C\n", "", []string{"COLUMN_TWICE", "COLUMN_MISSING"}},
		{"a workbook", "PK\x03\x04rest", "", []string{"FILE_BINARY"}},
		{"NUL", "ref,note\nA,\x00\n", "", []string{"FILE_BINARY"}},
		{"a formula stays text", "ref,note\nA,=HYPERLINK(1)\n", "", []string{`2 A "=HYPERLINK(1)"`}},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			m := plain
			m.Delimiter = test.delimiter
			if diff := cmp.Diff(test.want, shown(t, test.content, m)); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}

func TestManyRows(t *testing.T) {
	t.Parallel()
	content := "ref,note\n" + strings.Repeat("A,one\n", jobs.MaxIntakeRows)
	if got := len(shown(t, content, plain)); got != jobs.MaxIntakeRows {
		t.Errorf("%d records, want %d", got, jobs.MaxIntakeRows)
	}
	if got := shown(t, content+"B,two\n", plain); !slices.Equal(got, []string{"FILE_ROWS"}) {
		t.Errorf("one row more: %v", got)
	}
	wide := strings.TrimSuffix(strings.Repeat("x,", 1001), ",")
	if got := shown(t, wide+"\n"+wide, plain); !slices.Equal(got, []string{"FILE_COLUMNS"}) {
		t.Errorf("1001 columns: %v", got)
	}
}

// FuzzRead: no bytes bring the reader down; every row is in exactly one record; what is read is JSON;
// and reading again gives the same, on which an import that was interrupted depends.
func FuzzRead(f *testing.F) {
	const folder = "../../../testdata/imports"
	for _, name := range []string{"prairie-desk.csv", "sturmvogel.csv"} {
		content, err := os.ReadFile(filepath.Join(folder, name))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(content, uint8(0))
		f.Add(content, uint8(255))
	}
	f.Add([]byte("ref,note,C 1 kind,C 2 size\nA,\"x\ny\",crack,3/4 in\nA,,\"\"\"\",\n"), uint8(1))
	f.Fuzz(func(t *testing.T, content []byte, how uint8) {
		m := fuzzed(how)
		file, err := csvintake.Format{}.Read(content, m)
		again, errAgain := csvintake.Format{}.Read(content, m)
		if (err == nil) != (errAgain == nil) || len(file.Records) != len(again.Records) {
			t.Fatalf("read twice: %v and %v, %d and %d records", err, errAgain, len(file.Records), len(again.Records))
		}
		if err != nil {
			if !errs.Is(err, errs.Invalid) {
				t.Fatal(err)
			}
			return
		}
		rows := 0
		for i, r := range file.Records {
			rows += len(r.Rows)
			if !json.Valid(r.Text) || string(r.Text) != string(again.Records[i].Text) || r.Line < 1 {
				t.Fatalf("record %d: %q and %q", i, r.Text, again.Records[i].Text)
			}
			for _, fault := range r.Faults {
				if r.Locate(strings.TrimPrefix(fault.Path, "record.")); fault.Reason == "" || fault.Message == "" || !strings.HasPrefix(fault.Path, "record") {
					t.Fatalf("a fault says nothing: %+v", fault)
				}
			}
		}
		last := file.Records[len(file.Records)-1].Rows
		if !m.IsRowPerDamage && (rows != len(file.Records) || last[0] != rows) {
			t.Fatalf("%d records of %d rows, the last is %v", len(file.Records), rows, last)
		}
	})
}

// fuzzed makes a mapping of a number, so that every setting is met.
func fuzzed(how uint8) jobs.Mapping {
	m := jobs.Mapping{TimeZone: "America/New_York", Currency: "USD", IsRowPerDamage: how&1 == 1, Delimiter: []jobs.Delimiter{"", jobs.Semicolon}[how>>1&1],
		DecimalMark: []jobs.DecimalMark{"", jobs.DecimalComma}[how>>2&1], Encoding: []jobs.Encoding{"", jobs.Windows1252, jobs.UTF16, jobs.Latin1}[how>>3&3],
		LengthUnit: []jobs.LengthUnit{"", jobs.Inches}[how>>5&1], DateOrder: []jobs.DateOrder{jobs.DayMonthYear, jobs.MonthDayYear}[how>>6&1]}
	for field, column := range map[string]string{"external_reference": "ref", "damages.1.note": "note", "damages.#.kind": "C # kind", "damages.#.spread_mm": "C # size",
		"start_time": "Beginn", "repair_date": "Datum", "coverage.deductible": "Ded", "vehicle.vin": "VIN", "glass.has_driver_assistance": "cam"} {
		m.Columns = append(m.Columns, jobs.Column{Field: field, Name: column, IsOptional: true})
	}
	return m
}
