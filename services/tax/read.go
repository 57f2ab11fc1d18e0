package tax

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"cullet/services/errs"
	"cullet/services/finding"
	"cullet/services/money"
)

// The columns of the two kinds of file, in order.
var (
	rateColumns = []string{"country", "state", "level", "code", "name", "scheme",
		"valid_from", "valid_to", "rate", "locals", "locals_mark", "complete", "includes", "also", "asks", "cap_basis", "rounding", "citation",
		"document_date", "mark", "read_on"}
	lawColumns = []string{"country", "state", "category", "valid_from", "valid_to", "method", "rule",
		"taxed", "untaxed", "separate", "citation", "document_date", "mark", "read_on"}
)

// marks turns the short marks of the files into words.
var marks = map[string]finding.Known{
	"R": finding.Read, "R2": finding.ReadSecondary, "G": finding.ReadSecondary, "C": finding.Computed,
	"M": finding.FromMemory, "CP": finding.CommonPractice, "OWN": finding.Own,
}

// ReadRates reads a CSV file of rates with the columns of rates/us_rates.csv. Every fault of
// every row is reported at once with its line, and then no row is returned.
func ReadRates(r io.Reader) ([]RateRow, error) {
	return readRows(r, rateColumns, rateRow, (*RateRow).faults)
}

// ReadTaxability reads a CSV file of taxabilities with the columns of rates/us_taxability.csv;
// it fails as ReadRates does.
func ReadTaxability(r io.Reader) ([]Taxability, error) {
	return readRows(r, lawColumns, lawRow, (*Taxability).faults)
}

func readRows[T any](r io.Reader, columns []string, row func([]string, string) (T, []errs.Field),
	check func(*T, string) []errs.Field) ([]T, error) {
	reader := csv.NewReader(r)
	head, err := reader.Read()
	if err != nil {
		return nil, errs.Newf(errs.Invalid, "TAX_FILE",
			"the file has no readable first line").Because(err)
	}
	if !slices.Equal(head, columns) {
		return nil, errs.Newf(errs.Invalid, "TAX_FILE", "columns are %s; they must be %s",
			strings.Join(head, ","), strings.Join(columns, ","))
	}
	var rows []T
	var faults []errs.Field
	for {
		record, err := reader.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, errs.Newf(errs.Invalid, "TAX_FILE",
				"the file cannot be read as CSV").Because(err)
		}
		line, _ := reader.FieldPos(0)
		path := fmt.Sprintf("line_%d", line)
		one, bad := row(record, path)
		faults = append(faults, bad...)
		if len(bad) == 0 {
			faults = append(faults, check(&one, path)...)
		}
		rows = append(rows, one)
	}
	if len(faults) > 0 {
		return nil, errs.InvalidFields("TAX_FILE", faults)
	}
	return rows, nil
}

func rateRow(c []string, path string) (RateRow, []errs.Field) {
	row := RateRow{Country: c[0], State: c[1], Level: Level(c[2]), Code: c[3], Name: c[4], Scheme: c[5],
		ValidFrom: c[6], ValidTo: c[7], Locals: Locals(c[9]), Complete: c[11] == "YES",
		Includes: strings.Fields(c[12]), Also: strings.Fields(c[13]), Asks: strings.Fields(c[14]),
		Rounding: RoundingRule(c[16]), DocumentDate: c[18]}
	var faults []errs.Field
	if c[8] == "" {
		row.Unknown = true
	} else if rate, err := ParseRate(c[8]); err != nil {
		faults = append(faults, errs.Field{Path: path + ".rate", Reason: "TAX_RATE",
			Message: err.Error()})
	} else {
		row.Rate = rate
	}
	if c[15] != "" {
		limit, err := money.Parse(c[15], "USD")
		if err != nil || limit.Minor <= 0 {
			faults = append(faults, errs.Field{Path: path + ".cap_basis", Reason: "TAX_ROW_CAP",
				Message: fmt.Sprintf("cap %q: allowed is an amount above zero like 5000.00", c[15])})
		}
		row.CapMinor = limit.Minor
	}
	if c[10] != "" {
		row.LocalsKnown = marks[c[10]]
	}
	var bad []errs.Field
	row.Source, bad = source(c[17], c[19], c[20], path)
	return row, append(faults, bad...)
}

func lawRow(c []string, path string) (Taxability, []errs.Field) {
	row := Taxability{Country: c[0], State: c[1], Category: Category(c[2]), ValidFrom: c[3], ValidTo: c[4],
		Method: Method(c[5]), Rule: c[6], Taxed: c[7], Untaxed: c[8], Separate: c[9], DocumentDate: c[11]}
	var bad []errs.Field
	row.Source, bad = source(c[10], c[12], c[13], path)
	return row, bad
}

func source(citation, mark, readOn, path string) (finding.Source, []errs.Field) {
	known, ok := marks[mark]
	if !ok {
		return finding.Source{}, []errs.Field{{Path: path + ".mark", Reason: "TAX_ROW_MARK",
			Message: fmt.Sprintf("mark %q: allowed are R, R2, G, C, M, CP, OWN", mark)}}
	}
	return finding.Source{Citation: citation, Known: known, ReadOn: readOn}, nil
}
