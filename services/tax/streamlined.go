package tax

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"

	"cullet/services/errs"
	"cullet/services/finding"
)

// streamlinedKind is one kind of jurisdiction in the rate files of the Streamlined Sales Tax
// agreement: its number there, our level, the start of our code's last part, and its word.
var streamlinedKinds = map[string]struct {
	level Level
	mark  string
	word  string
}{
	"45": {State, "", ""}, "00": {County, "", "County"}, "01": {City, "", "Place"}, "63": {District,
		"SD", "District"},
}

// ReadStreamlined reads a rate file as the states of the Streamlined Sales Tax agreement post it:
// state, kind and FIPS number of the jurisdiction, four rates of which the general intrastate one
// is taken, first and last day. It takes the names that the book has for the same codes, and what
// it knows of the local taxes of a state; a jurisdiction that it does not know is named by number. citation says where the file is from, documentDate when it was posted.
//
// No row is marked complete, for the file does not say what overlaps where: places must then
// give Place.Codes, as the state's boundary file or its address finder tells them. Every fault of
// every row is reported at once, and then no row is returned.
func (b Book) ReadStreamlined(r io.Reader, citation, documentDate string) ([]RateRow, error) {
	reader := csv.NewReader(r)
	reader.FieldsPerRecord = 9
	source := finding.Source{Citation: citation, Known: finding.Read, ReadOn: documentDate}
	known := b.latest()
	var rows []RateRow
	var faults []errs.Field
	for {
		record, err := reader.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, errs.Newf(errs.Invalid, "TAX_FILE",
				"the file cannot be read as a rate file of nine columns").Because(err)
		}
		line, _ := reader.FieldPos(0)
		path := fmt.Sprintf("line_%d", line)
		row, bad := streamlinedRow(record, path)
		if old, ok := known[row.Code]; ok {
			row.Name, row.Locals, row.LocalsKnown, row.Rounding = old.Name, old.Locals, old.LocalsKnown, old.Rounding
		}
		row.Source, row.DocumentDate = source, documentDate
		if len(bad) == 0 {
			bad = row.faults(path)
		}
		faults = append(faults, bad...)
		rows = append(rows, row)
	}
	if len(faults) > 0 {
		return nil, errs.InvalidFields("TAX_FILE", faults)
	}
	return rows, nil
}

// latest is the row of each code that goes before all others.
func (b Book) latest() map[string]*RateRow {
	rows := map[string]*RateRow{}
	for i := len(b.rates) - 1; i >= 0; i-- {
		rows[b.rates[i].Code] = &b.rates[i]
	}
	return rows
}

func streamlinedRow(c []string, path string) (RateRow, []errs.Field) {
	var faults []errs.Field
	add := func(field, reason, message string) {
		faults = append(faults, errs.Field{Path: path + "." + field, Reason: reason, Message: message})
	}
	state := stateOf(c[0])
	if state == "" {
		add("state", "TAX_ROW_STATE",
			fmt.Sprintf("state %q: allowed are the FIPS numbers of the states, like 39", c[0]))
	}
	kind, ok := streamlinedKinds[c[1]]
	if !ok {
		add("jurisdiction_type", "TAX_ROW_LEVEL",
			fmt.Sprintf("kind %q: allowed are 45 state, 00 county, 01 place, 63 district", c[1]))
	}
	rate, err := ParseRate(c[3])
	if err != nil {
		add("general_tax_rate_intrastate", "TAX_RATE", err.Error())
	}
	row := RateRow{Country: "US", State: state, Level: kind.level, Code: "US-" + state,
		Scheme: "SALES_TAX", Rate: rate,
		ValidFrom: dashed(c[7]), ValidTo: dashed(c[8])}
	if row.ValidTo == "9999-12-31" {
		row.ValidTo = ""
	}
	if kind.level == State {
		row.Name, row.Locals, row.Rounding, row.LocalsKnown = state, LocalsNeeded, SellerElects, finding.Read
	} else {
		row.Code += "-" + kind.mark + c[2]
		row.Name = kind.word + " " + c[2]
	}
	return row, faults
}

func stateOf(number string) string {
	for state, n := range stateNumbers {
		if n == number {
			return state
		}
	}
	return ""
}

// dashed writes "20260101" as "2026-01-01"; anything else is left to be refused as a day.
func dashed(day string) string {
	if len(day) != 8 || strings.ContainsAny(day, "-.") {
		return day
	}
	return day[:4] + "-" + day[4:6] + "-" + day[6:]
}
