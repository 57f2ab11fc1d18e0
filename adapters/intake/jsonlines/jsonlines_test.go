package jsonlines_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"cullet/adapters/intake/jsonlines"
	"cullet/services/errs"
	"cullet/services/jobs"
)

var plain = jobs.Mapping{Format: "jsonlines", TimeZone: "UTC", Currency: "USD", DecimalMark: jobs.DecimalComma, Columns: []jobs.Column{
	{Field: "external_reference", Name: "ref"}, {Field: "vehicle.plate", Name: "car.plate", IsOptional: true},
	{Field: "damages.#.spread_mm", Name: "chips.#.mm", IsOptional: true}, {Field: "damages.#.process.vacuum_seconds", Name: "chips.#.vac", IsOptional: true},
}}

// shown gives "line text faults" of each record, or the reasons why the file is refused.
func shown(t *testing.T, content string) (all []string) {
	t.Helper()
	file, err := jsonlines.Format{}.Read([]byte(content), plain)
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
		text := fmt.Sprint(r.Line, " ", strings.NewReplacer(`,"place_of_repair":{},"time_zone":"UTC","vehicle":{}`, "", `"place_of_repair":{},"time_zone":"UTC",`, "").Replace(string(r.Text)))
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
		want          []string
	}{
		{"objects, lists, lists of plain values, numbers and texts",
			`{"ref": 17, "car": {"plate": "A 1"}, "chips": [{"mm": 12.5, "vac": [60, 30]}, {"mm": "4,25", "vac": 90}]}`,
			[]string{`1 {"damages":[{"process":{"vacuum_seconds":[60,30]},"spread_mm":12.5},{"process":{"vacuum_seconds":[90]},"spread_mm":4.25}],"external_reference":"17","vehicle":{"plate":"A 1"}}`}},
		{"empty lines, other line ends, nulls and nothing", "{\"ref\": \"A\", \"car\": null, \"chips\": []}\r\n\r\n{\"ref\": \" B \", \"car\": {\"plate\": \"\"}}\r\n",
			[]string{`1 {"external_reference":"A"}`, `3 {"external_reference":"B"}`}},
		{"lines that are no objects", "{\"ref\": \"A\"}\n[1]\n\"ref\"\n{\"ref\": \n{\"ref\": \"B\"} x\n{}{}\n{\"ref\": \"C\"}\n",
			[]string{`1 {"external_reference":"A"}`, "2 {} record JSON_SYNTAX", "3 {} record JSON_SYNTAX", "4 {} record JSON_SYNTAX", "5 {} record JSON_SYNTAX", "6 {} record JSON_SYNTAX",
				`7 {"external_reference":"C"}`}},
		{"members twice", "{\"ref\": \"A\", \"ref\": \"B\"}\n{\"ref\": \"C\"}", []string{"1 {} record JSON_SYNTAX", `2 {"external_reference":"C"}`}},
		{"members that come to one name", "{\"ref\": \"C\", \"car.plate\": \"1\", \"car\": {\"plate\": \"2\"}}\n{\"ref\": \"D\"}",
			[]string{"1 {} record JSON_SYNTAX", `2 {"external_reference":"D"}`}},
		{"very deep", `{"ref": "A"}` + "\n" + `{"ref": ` + strings.Repeat(`{"a": `, 2000) + "1" + strings.Repeat("}", 2001), []string{`1 {"external_reference":"A"}`, "2 {} record JSON_SYNTAX"}},
		{"a list around the objects", "[{\"ref\": \"A\"}]", []string{"FILE_FORMAT"}},
		{"a table", "ref,note\nA,one\n", []string{"FILE_FORMAT"}},
		{"no such member anywhere", "{\"Ref no\": \"A\"}\n{}\n", []string{"COLUMN_MISSING"}},
		{"a number that is none of the contract", `{"ref": "A", "chips": [{"mm": 1e3}]}`, []string{`1 {"damages":[{}],"external_reference":"A"} record.damages[0].spread_mm NOT_A_NUMBER`}},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			if diff := cmp.Diff(test.want, shown(t, test.content)); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}

func TestManyLinesAndMembers(t *testing.T) {
	t.Parallel()
	content := strings.Repeat("{\"ref\": \"A\"}\n", jobs.MaxIntakeRows)
	if got := len(shown(t, content)); got != jobs.MaxIntakeRows {
		t.Errorf("%d records, want %d", got, jobs.MaxIntakeRows)
	}
	if got := shown(t, content+`{"ref": "B"}`); !slices.Equal(got, []string{"FILE_ROWS"}) {
		t.Errorf("one line more: %v", got)
	}
	var wide strings.Builder
	wide.WriteString(`{"ref": "A"`)
	for i := range 300_000 {
		fmt.Fprintf(&wide, `,"%d":1`, i)
	}
	wide.WriteString("}")
	if got := shown(t, wide.String()); !slices.Equal(got, []string{"FILE_COLUMNS"}) {
		t.Errorf("300,000 members: %.200v", got)
	}
}

// FuzzRead: no bytes bring the reader down; every line is one record; what is read is JSON; and
// reading again gives the same, on which an import that was interrupted depends.
func FuzzRead(f *testing.F) {
	content, err := os.ReadFile("../../../testdata/imports/tablet.jsonl")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(content)
	f.Add([]byte("{\"ref\": \"A\", \"chips\": [{\"mm\": \"3/4 in\", \"vac\": [1, 2]}]}\n{\"ref\": [1, {\"a\": null}]}"))
	f.Fuzz(func(t *testing.T, content []byte) {
		file, err := jsonlines.Format{}.Read(content, plain)
		again, errAgain := jsonlines.Format{}.Read(content, plain)
		if (err == nil) != (errAgain == nil) || len(file.Records) != len(again.Records) {
			t.Fatalf("read twice: %v and %v, %d and %d records", err, errAgain, len(file.Records), len(again.Records))
		}
		if err != nil {
			if !errs.Is(err, errs.Invalid) {
				t.Fatal(err)
			}
			return
		}
		for i, r := range file.Records {
			if !json.Valid(r.Text) || string(r.Text) != string(again.Records[i].Text) || !slices.Equal(r.Rows, []int{i + 1}) {
				t.Fatalf("record %d of rows %v: %q and %q", i, r.Rows, r.Text, again.Records[i].Text)
			}
			for _, fault := range r.Faults {
				if r.Locate(strings.TrimPrefix(fault.Path, "record.")); fault.Reason == "" || fault.Message == "" || !strings.HasPrefix(fault.Path, "record") {
					t.Fatalf("a fault says nothing: %+v", fault)
				}
			}
		}
	})
}
