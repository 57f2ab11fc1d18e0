package rpc

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"cullet/services/errs"
	"cullet/services/internal/pg"
	"cullet/services/internal/pg/pgtest"
)

func asError(err error, into **errs.Error) bool { return errors.As(err, into) }

var testFields = FilterFields{
	"state":       {Kind: Word, SQL: "state", Words: []string{"READY", "DRAFT"}},
	"repair_date": {Kind: Day, SQL: "repair_date"},
	"reference":   {Kind: Text, SQL: "reference"},
	"count":       {Kind: Number, SQL: "many"},
	"is_held":     {Kind: Bool, SQL: "(held IS NOT NULL)"},
	"job_id":      {Kind: ID, SQL: "job_id"},
}

func TestFilter(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		text string
		sql  string
		args []any
	}{
		{"", "", nil},
		{"  ", "", nil},
		{`state = READY`, " AND state = $3", []any{"READY"}},
		{`state="READY"`, " AND state = $3", []any{"READY"}},
		{`state != READY AND is_held = true`, " AND state <> $3 AND (held IS NOT NULL) = $4", []any{"READY", true}},
		{`repair_date >= "2026-10-01" AND repair_date < 2026-11-01`, " AND repair_date >= $3 AND repair_date < $4",
			[]any{"2026-10-01", "2026-11-01"}},
		{`reference = "it's \"quoted\" \\ AND x"`, " AND reference = $3", []any{`it's "quoted" \ AND x`}},
		{`reference = "AND"`, " AND reference = $3", []any{"AND"}},
		{`count <= -5`, " AND many <= $3", []any{int64(-5)}},
		{`job_id = "0197c7d0-5f1e-7000-8000-000000000001"`, " AND job_id = $3",
			[]any{"0197c7d0-5f1e-7000-8000-000000000001"}},
	} {
		t.Run(test.text, func(t *testing.T) {
			t.Parallel()
			filter, faults := ParseFilter(test.text, testFields)
			if len(faults) != 0 {
				t.Fatal(faults)
			}
			sql, args := filter.Where(3)
			if sql != test.sql {
				t.Errorf("sql = %q, want %q", sql, test.sql)
			}
			if diff := cmp.Diff(test.args, args); diff != "" {
				t.Errorf("args (-want +got):\n%s", diff)
			}
		})
	}
}

func TestFilterRefuses(t *testing.T) {
	t.Parallel()
	for _, text := range []string{
		`state`, `state =`, `= READY`, `state READY`, `state = READY AND`, `AND state = READY`, `state = READY is_held = true`,
		`state = READY OR is_held = true`, `NOT state = READY`, `(state = READY)`, `state = PAID`, `state > READY`,
		`colour = red`, `"state" = READY`, `state "=" READY`, `state == READY`, `repair_date = 2026-02-30`,
		`repair_date = yesterday`, `is_held = yes`, `count = 1.5`, `count = 99999999999999999999`, `job_id = 7`,
		`reference = "open`, `reference = "a` + "\x00" + `"`, `state = READY; DROP TABLE claims`, `state : READY`,
		strings.Repeat(`is_held = true AND `, 20) + `is_held = true`, `reference = "` + strings.Repeat("x", 1000) + `"`,
	} {
		t.Run(text, func(t *testing.T) {
			t.Parallel()
			filter, faults := ParseFilter(text, testFields)
			if len(faults) == 0 {
				t.Fatalf("it was taken as %+v", filter)
			}
			if sql, args := filter.Where(1); sql != "" || args != nil {
				t.Errorf("a refused filter gives %q %v", sql, args)
			}
			for _, f := range faults {
				if f.Path != "filter" || f.Message == "" {
					t.Errorf("fault %+v is not of the filter", f)
				}
			}
		})
	}
}

// What a caller sends never becomes SQL text, whatever it is.
func TestFilterTextNeverBecomesSQL(t *testing.T) {
	t.Parallel()
	const allowed = "AND staterepair_datereferencemany(held IS NOT NULL)job_id$0123456789=<>! "
	rapid.Check(t, func(rt *rapid.T) {
		text := rapid.OneOf(rapid.String(), rapid.StringMatching(`(state|reference|count|is_held|'|"|;|--|=|<| |AND|x|\\)*`)).
			Draw(rt, "filter")
		filter, _ := ParseFilter(text, testFields)
		sql, args := filter.Where(1)
		if len(args) != strings.Count(sql, "$") {
			rt.Fatalf("%d arguments for %q", len(args), sql)
		}
		for _, c := range sql {
			if !strings.ContainsRune(allowed, c) {
				rt.Fatalf("%q holds %q", sql, c)
			}
		}
	})
}

// row is a row of the model's table.
type modelRow struct {
	State, Reference, Day string
	Many                  int64
	IsHeld                bool
}

const modelTable = `
SELECT n FROM (
    SELECT n, state, reference, day::date AS repair_date, many, CASE WHEN held THEN 1 END AS held
    FROM unnest($1::int[], $2::text[], $3::text[], $4::text[], $5::bigint[], $6::bool[])
         AS u (n, state, reference, day, many, held)
) AS model WHERE true`

func (r modelRow) holds(field, operator, value string) bool {
	order := 0
	switch field {
	case "state":
		order = strings.Compare(r.State, value)
	case "reference":
		order = strings.Compare(r.Reference, value)
	case "repair_date":
		order = strings.Compare(r.Day, value)
	case "is_held":
		order = strings.Compare(fmt.Sprint(r.IsHeld), value)
	case "count":
		var n int64
		if _, err := fmt.Sscan(value, &n); err != nil {
			panic(err)
		}
		order = int(r.Many - n)
	}
	return map[string]bool{"=": order == 0, "!=": order != 0, "<": order < 0, "<=": order <= 0, ">": order > 0,
		">=": order >= 0}[operator]
}

func TestFilterAgreesWithAModel(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	values := map[string][]string{"state": {"READY", "DRAFT"}, "reference": {"a", "b c", `d"e`, "AND"},
		"repair_date": {"2026-10-01", "2026-10-02", "2026-11-01"}, "count": {"-1", "0", "2"}, "is_held": {"true", "false"}}
	rapid.Check(t, func(rt *rapid.T) {
		rows := rapid.SliceOfN(rapid.Custom(func(rt *rapid.T) modelRow {
			return modelRow{State: rapid.SampledFrom(values["state"]).Draw(rt, "state"),
				Reference: rapid.SampledFrom(values["reference"]).Draw(rt, "reference"),
				Day:       rapid.SampledFrom(values["repair_date"]).Draw(rt, "day"),
				Many:      rapid.Int64Range(-2, 3).Draw(rt, "many"), IsHeld: rapid.Bool().Draw(rt, "held")}
		}), 1, 12).Draw(rt, "rows")
		var terms []string
		kept := make([]bool, len(rows))
		for i := range kept {
			kept[i] = true
		}
		for range rapid.IntRange(1, 4).Draw(rt, "terms") {
			field := rapid.SampledFrom([]string{"state", "reference", "repair_date", "count", "is_held"}).Draw(rt, "field")
			operator := rapid.SampledFrom([]string{"=", "!="}).Draw(rt, "operator")
			if field == "repair_date" || field == "count" {
				operator = rapid.SampledFrom([]string{"=", "!=", "<", "<=", ">", ">="}).Draw(rt, "order")
			}
			value := rapid.SampledFrom(values[field]).Draw(rt, "value")
			terms = append(terms, fmt.Sprintf(`%s %s "%s"`, field, operator, strings.ReplaceAll(value, `"`, `\"`)))
			for i, r := range rows {
				kept[i] = kept[i] && r.holds(field, operator, value)
			}
		}
		checkModel(t.Context(), rt, w.DB, rows, kept, strings.Join(terms, " AND "))
	})
}

func checkModel(ctx context.Context, rt *rapid.T, db *pg.DB, rows []modelRow, kept []bool, text string) {
	filter, faults := ParseFilter(text, testFields)
	if len(faults) > 0 {
		rt.Fatalf("%s: %v", text, faults)
	}
	var n, many []int64
	var states, references, days []string
	var held []bool
	var want []int64
	for i, r := range rows {
		n, many = append(n, int64(i)), append(many, r.Many)
		states, references, days = append(states, r.State), append(references, r.Reference), append(days, r.Day)
		held = append(held, r.IsHeld)
		if kept[i] {
			want = append(want, int64(i))
		}
	}
	where, args := filter.Where(7)
	var got []int64
	err := pg.ReadSystem(ctx, db, func(ctx context.Context, tx *pg.Tx) error {
		return tx.Select(ctx, &got, modelTable+where+" ORDER BY n", append([]any{pg.Array(n), pg.Array(states),
			pg.Array(references), pg.Array(days), pg.Array(many), pg.Array(held)}, args...)...)
	})
	if err != nil {
		rt.Fatalf("%s: %v", text, err)
	}
	if !slices.Equal(want, got) {
		rt.Fatalf("%s: rows %v, want %v of %+v", text, got, want, rows)
	}
}
