package jobs_test

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"cullet/services/jobs"
)

// mapped is a mapping in which nothing is wrong.
func mapped() jobs.Mapping {
	m := jobs.Mapping{Name: "front-desk", Format: "csv", TimeZone: "America/New_York"}
	for _, field := range []string{"external_reference", "vehicle.vin", "start_time", "finish_time", "technician", "damages.#.kind", "damages.#.outcome"} {
		m.Columns = append(m.Columns, jobs.Column{Field: field, Name: "Column " + strings.ReplaceAll(field, ".", " ")})
	}
	return m
}

func TestCheckMapping(t *testing.T) {
	t.Parallel()
	add := func(columns ...jobs.Column) func(*jobs.Mapping) {
		return func(m *jobs.Mapping) { m.Columns = append(m.Columns, columns...) }
	}
	for _, test := range []struct {
		name   string
		change func(*jobs.Mapping)
		want   []string
	}{
		{"nothing wrong", func(*jobs.Mapping) {}, []string{}},
		{"own names", func(m *jobs.Mapping) { m.Columns = nil }, []string{}},
		{"a name with spaces", func(m *jobs.Mapping) { m.Name = "Front desk" }, []string{"name FORM"}},
		{"no zone of the list", func(m *jobs.Mapping) { m.TimeZone = "EST5" }, []string{"time_zone TIME_ZONE"}},
		{"a field that is none", add(jobs.Column{Field: "vehicle.colour", Name: "c"}, jobs.Column{Field: "damages.21.kind", Name: "c"}, jobs.Column{Field: "damages.01.kind", Name: "c"},
			jobs.Column{Field: "damages.kind", Name: "c"}, jobs.Column{Field: "glass", Name: "c"}),
			[]string{"columns[7].field UNKNOWN_VALUE", "columns[8].field UNKNOWN_VALUE", "columns[9].field UNKNOWN_VALUE", "columns[10].field UNKNOWN_VALUE", "columns[11].field UNKNOWN_VALUE"}},
		{"neither column nor value", add(jobs.Column{Field: "vehicle.plate"}), []string{"columns[7].column REQUIRED"}},
		{"numbers where there are none", add(jobs.Column{Field: "vehicle.plate", Name: "Plate #"}, jobs.Column{Field: "damages.#.note", Name: "# note #"}, jobs.Column{Field: "photos.1.kind", Name: "Kind #"}),
			[]string{"columns[7].column NUMBER", "columns[8].column NUMBER", "columns[9].column NUMBER"}},
		{"a field twice", add(jobs.Column{Field: "technician", Name: "c"}, jobs.Column{Field: "damages.2.kind", Name: "c"}, jobs.Column{Field: "damages.1.note", Name: "c"},
			jobs.Column{Field: "damages.2.note", Name: "c"}, jobs.Column{Field: "damages.#.note", Name: "c"}),
			[]string{"columns[7].field REPEATED", "columns[8].field REPEATED", "columns[11].field REPEATED"}},
		{"words", func(m *jobs.Mapping) {
			m.Columns[5].Words = []jobs.Word{{Given: "Star", Meaning: "star break"}, {Given: "star ", Meaning: "CRACK"}, {Given: "n/a"}, {Given: "spider", Meaning: "SPIDER"}}
			m.Columns[6].Value = "mended"
		}, []string{"columns[5].words[1].given REPEATED", "columns[5].words[3].meaning UNKNOWN_VALUE", "columns[6].value UNKNOWN_VALUE"}},
		{"a field without which no record is", func(m *jobs.Mapping) { m.Columns = append(m.Columns[:1], m.Columns[3:]...) },
			[]string{"columns FIELD_MISSING", "columns FIELD_MISSING"}},
		{"one of a list is enough", func(m *jobs.Mapping) {
			m.Columns[5] = jobs.Column{Field: "damages.1.kind", Name: "Kind"}
			m.Columns[6] = jobs.Column{Field: "damages.1.outcome", Value: "REPAIRED"}
		}, []string{}},
	} {
		m := mapped()
		test.change(&m)
		got := []string{}
		for _, f := range jobs.CheckMapping(m) {
			got = append(got, strings.TrimPrefix(f.Path, "mapping.")+" "+f.Reason)
			if len(f.Message) < 25 {
				t.Errorf("%s: %s says only %q", test.name, f.Path, f.Message)
			}
		}
		if diff := cmp.Diff(test.want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", test.name, diff)
		}
	}
}

func TestOwnNames(t *testing.T) {
	t.Parallel()
	own := jobs.Mapping{Format: "csv"}.Bindings()
	required := 0
	for _, c := range own {
		if c.Field != c.Name {
			t.Errorf("%s has the column %s", c.Field, c.Name)
		}
		if !c.IsOptional {
			required++
		}
	}
	if len(own) != len(jobs.IntakeFields()) || required != len(mapped().Columns) {
		t.Errorf("%d columns, %d of them required", len(own), required)
	}
	m := jobs.Mapping{Columns: own}
	if faults := jobs.CheckMapping(m); len(faults) > 0 {
		t.Errorf("written out they are %v", faults)
	}
}
