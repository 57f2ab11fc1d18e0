package intake

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"cullet/services/errs"
	"cullet/services/jobs"
)

func reasonAndMessage(t *testing.T, err error) string {
	t.Helper()
	var known *errs.Error
	if !errors.As(err, &known) || known.Kind != errs.Invalid || known.Reason != "FILE_UNREADABLE" {
		t.Fatalf("%v, want a file that is refused", err)
	}
	var all []string
	for _, f := range known.Fields {
		if f.Path != "content" {
			t.Errorf("a fault of the file is at %q", f.Path)
		}
		all = append(all, f.Reason+" "+f.Message)
	}
	return strings.Join(all, "; ")
}

// sheet makes rows of texts; the first names the columns.
func sheet(rows ...string) *Sheet {
	s := &Sheet{}
	for n, line := range rows {
		cells := strings.Split(line, "|")
		if n == 0 {
			s.Columns = cells
			continue
		}
		r := Row{Line: n + 1}
		for i, text := range cells {
			if text != "" {
				r.Cells = append(r.Cells, Cell{Column: i, Text: text})
			}
		}
		s.Rows = append(s.Rows, r)
	}
	return s
}

// columns makes bindings of "field=column" and "field:value".
func columns(texts ...string) (all []jobs.Column) {
	for _, text := range texts {
		field, rest, isValue := strings.Cut(text, ":")
		c := jobs.Column{Field: field, Value: rest}
		if !isValue {
			c.Field, c.Name, _ = strings.Cut(text, "=")
		}
		all = append(all, c)
	}
	return all
}

// written gives "rows text faults" of each record.
func written(file jobs.Intake) (all []string) {
	for _, r := range file.Records {
		text := fmt.Sprint(r.Rows, " ", strings.NewReplacer(`"place_of_repair":{},`, "", `"vehicle":{}`, "", `,"time_zone":""`, "", `"time_zone":"",`, "").Replace(string(r.Text)))
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
		name    string
		sheet   *Sheet
		mapping jobs.Mapping
		want    []string
	}{
		{"numbered columns, with a hole",
			sheet("ref|C 1 size|C 1 kind|C 2 size|C 2 kind|C 3 kind", "A|4|crack|||star break", "B|||||", "C|||5||"),
			jobs.Mapping{Columns: columns("external_reference=ref", "damages.#.spread_mm=C # size", "damages.#.kind=C # kind", "damages.#.outcome:REPAIRED")},
			[]string{`[1] {"damages":[{"kind":"DAMAGE_KIND_CRACK","outcome":"OUTCOME_REPAIRED","spread_mm":4},{"kind":"DAMAGE_KIND_STAR_BREAK","outcome":"OUTCOME_REPAIRED"}],"external_reference":"A",}`,
				`[2] {"external_reference":"B",}`, `[3] {"damages":[{"outcome":"OUTCOME_REPAIRED","spread_mm":5}],"external_reference":"C",}`}},
		{"columns that name one of the list",
			sheet("ref|first|before|after", "A|crack|aa|bb", "B|pit||cc"),
			jobs.Mapping{Columns: append(columns("external_reference=ref", "photos.1.photo_hash=before", "photos.1.kind:BEFORE", "photos.2.photo_hash=after", "photos.2.kind:AFTER"),
				jobs.Column{Field: "damages.1.kind", Name: "first", Words: []jobs.Word{{Given: "PIT", Meaning: "SURFACE_PIT"}}})},
			[]string{`[1] {"damages":[{"kind":"DAMAGE_KIND_CRACK"}],"external_reference":"A","photos":[{"kind":"PHOTO_KIND_BEFORE","photo_hash":"aa"},{"kind":"PHOTO_KIND_AFTER","photo_hash":"bb"}],}`,
				`[2] {"damages":[{"kind":"DAMAGE_KIND_SURFACE_PIT"}],"external_reference":"B","photos":[{"kind":"PHOTO_KIND_AFTER","photo_hash":"cc"}],}`}},
		{"a row a damage, apart in the file",
			sheet("ref|tech|kind|photo", "A|T|crack|aa", "B|T|crack|", "A||pit|bb", "|T|crack|", "|T|crack|", "B|U|crack|"),
			jobs.Mapping{IsRowPerDamage: true, Columns: append(columns("external_reference=ref", "technician=tech", "photos.1.photo_hash=photo"),
				jobs.Column{Field: "damages.#.kind", Name: "kind", Words: []jobs.Word{{Given: "pit", Meaning: "SURFACE_PIT"}}})},
			[]string{`[1 3] {"damages":[{"kind":"DAMAGE_KIND_CRACK"},{"kind":"DAMAGE_KIND_SURFACE_PIT"}],"external_reference":"A",` +
				`"photos":[{"damage_number":1,"photo_hash":"aa"},{"damage_number":2,"photo_hash":"bb"}],"technician":"T",}`,
				`[2 6] {"damages":[{"kind":"DAMAGE_KIND_CRACK"},{"kind":"DAMAGE_KIND_CRACK"}],"external_reference":"B",} record.technician ROWS_DIFFER`,
				`[4] {"damages":[{"kind":"DAMAGE_KIND_CRACK"}],"technician":"T",}`, `[5] {"damages":[{"kind":"DAMAGE_KIND_CRACK"}],"technician":"T",}`}},
		{"values for empty cells, words that say nothing",
			sheet("ref|pays|tech", "A|cash|", "B||T", "C|LM|n/a"),
			jobs.Mapping{Columns: []jobs.Column{{Field: "external_reference", Name: "ref"}, {Field: "coverage.payer_code", Name: "Pays", Words: []jobs.Word{{Given: "CASH"}, {Given: "lm", Meaning: "lantern"}}},
				{Field: "technician", Name: "tech", Value: "Somebody", Words: []jobs.Word{{Given: "N/A"}}}}},
			[]string{`[1] {"external_reference":"A","technician":"Somebody",}`, `[2] {"external_reference":"B","technician":"T",}`,
				`[3] {"coverage":{"payer_code":"lantern"},"external_reference":"C",}`}},
		{"a time with the record's day and zone",
			sheet("ref|day|begin|zone", "A|5.10.2026|09:00|Europe/Berlin", "B|5.13.2026|09:00|", "C||09:00|", "D|5.10.2026|09:00|Mars/Crater"),
			jobs.Mapping{TimeZone: "America/New_York", DateOrder: jobs.DayMonthYear, Columns: columns("external_reference=ref", "start_time=begin", "repair_date=day", "time_zone=zone")},
			[]string{`[1] {"external_reference":"A","start_time":"2026-10-05T07:00:00Z","time_zone":"Europe/Berlin",}`,
				`[2] {"external_reference":"B","time_zone":"America/New_York",} record.repair_date NOT_A_DAY record.start_time NOT_A_TIME`,
				`[3] {"external_reference":"C","time_zone":"America/New_York",} record.start_time NOT_A_TIME`,
				`[4] {"external_reference":"D","start_time":"2026-10-05T13:00:00Z","time_zone":"Mars/Crater",}`}},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			file, err := Read(test.sheet, test.mapping)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(test.want, written(file)); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}

func TestColumns(t *testing.T) {
	t.Parallel()
	m := jobs.Mapping{Columns: columns("external_reference=ref", "technician=by", "damages.#.kind=Chip # kind", "vehicle.vin=vin", "vehicle.plate=tag")}
	m.Columns[4].IsOptional = true
	_, err := Read(sheet("VIN|vin|Ref|Chip one kind", "a|b|c|d"), m)
	got := reasonAndMessage(t, err)
	for _, want := range []string{`COLUMN_MISSING the file has no column "by"`, `COLUMN_MISSING the file has no column "Chip # kind"`, `COLUMN_TWICE columns 1 and 2 of the file are both named "VIN"`} {
		if !strings.Contains(got, want) {
			t.Errorf("%s\nlacks %s", got, want)
		}
	}
	if strings.Contains(got, "tag") {
		t.Errorf("an optional column is asked for: %s", got)
	}
	m.Columns = columns("external_reference=ref", "vehicle.vin=vin")
	file, err := Read(sheet("Ref|VIN|Lane|Lane|", "a|b|c||"), m)
	if diff := cmp.Diff([]string{"Lane", "Lane"}, file.UnusedColumns); err != nil || diff != "" {
		t.Errorf("%v, unused (-want +got):\n%s", err, diff)
	}
	if _, err := Read(sheet("ref|vin"), m); err == nil || !strings.Contains(reasonAndMessage(t, err), "FILE_EMPTY") {
		t.Errorf("no row: %v", err)
	}
}

func TestLocate(t *testing.T) {
	t.Parallel()
	m := jobs.Mapping{IsRowPerDamage: true, Columns: columns("external_reference=ref", "technician=by", "damages.#.kind=kind", "damages.#.outcome:REPAIRED")}
	file, err := Read(sheet("ref|by|kind", "A||crack", "B|T|crack", "A|T|pit"), m)
	if err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{"technician": "by 4 T", "damages[1].kind": "kind 4 pit", "damages[0].kind": "kind 2 crack", "external_reference": "ref 2 A",
		"damages": "kind 2 crack", "damages[2].kind": "", "damages[0].outcome": "", "damages[x].kind": "", "damages[-1].kind": "", "vehicle.vin": "", "": "", "photos": ""} {
		got := ""
		if cell, ok := file.Records[0].Locate(path); ok {
			got = fmt.Sprint(cell.Column, " ", cell.Line, " ", cell.Text)
		}
		if got != want {
			t.Errorf("%q is %q, want %q", path, got, want)
		}
	}
}
