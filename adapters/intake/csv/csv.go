// Package csvintake reads CSV files of shop systems: RFC 4180, or the same with semicolons, tabs or
// vertical bars. The first row names the columns, in any order. Line breaks within quotes are part of
// a cell; spaces around a cell and rows without anything are left out.
//
// It refuses to repair. A row with other cells than there are columns, or with a stray quote, is a
// fault of that row, which says up to which line it reaches; the others are read.
package csvintake

import (
	"encoding/csv"
	"errors"
	"io"
	"strings"

	"cullet/adapters/intake"
	"cullet/services/errs"
	"cullet/services/jobs"
)

// Format is the intake format "csv". It has no state and may be used by many goroutines.
type Format struct{}

var _ jobs.IntakeFormat = Format{}

// Name is "csv".
func (Format) Name() string { return "csv" }

// maxColumns is more than any system exports.
const maxColumns = 1000

var delimiters = map[jobs.Delimiter]rune{"": ',', jobs.Comma: ',', jobs.Semicolon: ';', jobs.Tab: '\t', jobs.Pipe: '|'}

// Read reads a file by a mapping.
func (Format) Read(content []byte, m jobs.Mapping) (jobs.Intake, error) {
	text, err := intake.Text(content, m.Encoding)
	if err != nil {
		return jobs.Intake{}, err
	}
	sheet, err := cut(text, delimiters[m.Delimiter])
	if err != nil {
		return jobs.Intake{}, err
	}
	return intake.Read(sheet, m)
}

// cut cuts the text into rows of cells.
func cut(text string, delimiter rune) (*intake.Sheet, error) {
	reader := csv.NewReader(strings.NewReader(text))
	reader.Comma, reader.FieldsPerRecord = delimiter, -1
	names, err := header(reader)
	if err != nil {
		return nil, err
	}
	sheet := &intake.Sheet{Columns: names}
	for {
		record, err := reader.Read()
		if errors.Is(err, io.EOF) {
			return sheet, nil
		}
		if err == nil && isBlank(record) {
			continue
		}
		if len(sheet.Rows) == jobs.MaxIntakeRows {
			return nil, intake.TooManyRows()
		}
		sheet.Rows = append(sheet.Rows, row(reader, record, err, len(names)))
	}
}

// header reads the names of the columns.
func header(reader *csv.Reader) ([]string, error) {
	names, err := reader.Read()
	if err != nil {
		return nil, intake.Refuse("CSV_SYNTAX", "the first row, which names the columns, cannot be read: %v", err)
	}
	if len(names) > maxColumns {
		return nil, intake.Refuse("FILE_COLUMNS", "the file has %d columns and at most %d are read; leave some out of the export", len(names), maxColumns)
	}
	if len(names) == 1 {
		for name, other := range delimiters {
			if name != "" && other != reader.Comma && strings.ContainsRune(names[0], other) {
				return nil, intake.Refuse("FILE_DELIMITER", "the first row is one column, %.100q; set the mapping's delimiter to what "+
					"stands between the names of the columns: COMMA, SEMICOLON, TAB or PIPE", names[0])
			}
		}
	}
	for i := range names {
		names[i] = intake.NameOf(names[i])
	}
	return names, nil
}

func row(reader *csv.Reader, record []string, err error, columns int) intake.Row {
	var parse *csv.ParseError
	if errors.As(err, &parse) {
		return intake.Row{Line: parse.StartLine, Fault: syntax(parse)}
	}
	line, _ := reader.FieldPos(0)
	if len(record) != columns {
		last, _ := reader.FieldPos(len(record) - 1)
		last += strings.Count(record[len(record)-1], "\n")
		return intake.Row{Line: line, Fault: intake.Unreadable("ROW_CELLS", "the row has %d cells and there are %d columns; it reaches from "+
			"line %d to line %d, and nothing of these is taken. A delimiter or a quote is missing or too many: put cells that hold a "+
			"delimiter in quotes", len(record), columns, line, last)}
	}
	r := intake.Row{Line: line}
	for i, text := range record {
		if text = strings.TrimSpace(text); text != "" {
			r.Cells = append(r.Cells, intake.Cell{Column: i, Text: text})
		}
	}
	return r
}

// syntax tells how far the reader went before it gave a row up.
func syntax(parse *csv.ParseError) *errs.Field {
	return intake.Unreadable("CSV_SYNTAX", "the quotes of the row do not fit at column %d of line %d; it reaches from line %d to line %d, and "+
		"nothing of these is taken. Put a cell that holds quotes in quotes itself and write each of its own twice: \"3/4\"\" star\"",
		parse.Column, parse.Line, parse.StartLine, parse.Line)
}

func isBlank(record []string) bool {
	for _, text := range record {
		if strings.TrimSpace(text) != "" {
			return false
		}
	}
	return true
}
