package csvremittance

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"cullet/services/errs"
	"cullet/services/invoices"
	"cullet/services/money"
)

// The caps of a file.
const (
	maxBytes      = 10 << 20
	maxLines      = 50_000
	maxCellLength = 200
	maxTextLength = 2_000
	maxFaults     = 100
)

// columns are the columns in the order in which our own examples have them.
var columns = []string{"payment_reference", "paid_date", "currency", "total", "invoice_number",
	"claim_number", "paid", "reason_code", "reason_text"}

// Format is the remittance format "csv". It has no state and may be used by many goroutines.
type Format struct{}

var _ invoices.RemittanceFormat = Format{}

// Name is "csv".
func (Format) Name() string { return "csv" }

// Read reads a file. One with any fault is refused whole with an errs.Invalid error whose fields
// name every fault by its line, at most a hundred. Lines count as an editor counts them.
func (Format) Read(content []byte) (invoices.RemittanceFile, error) {
	var t table
	t.load(content)
	if len(t.faults) == 0 || len(t.rows) > 0 {
		t.readRows()
	}
	if err := t.err(); err != nil {
		return invoices.RemittanceFile{}, err
	}
	return invoices.RemittanceFile{Remittances: []invoices.Remittance{t.remittance}}, nil
}

// row is one row of the file with the line on which it begins.
type row struct {
	line  int
	cells map[string]string
}

// table is a file as far as it is read.
type table struct {
	rows       []row
	remittance invoices.Remittance
	faults     []errs.Field
	more       int
}

func (t *table) fault(line int, column, reason, format string, args ...any) {
	if len(t.faults) == maxFaults {
		t.more++
		return
	}
	path := fmt.Sprintf("line[%d]", line)
	if line == 0 {
		path = "file"
	}
	if column != "" {
		path += "." + column
	}
	t.faults = append(t.faults, errs.Field{Path: path, Reason: reason, Message: fmt.Sprintf(format, args...)})
}

func (t *table) err() error {
	if t.more > 0 {
		t.faults = append(t.faults, errs.Field{Path: "file", Reason: "MORE_FAULTS",
			Message: fmt.Sprintf("%d more faults are not named; mend these first", t.more)})
	}
	return errs.InvalidFields("REMITTANCE_UNREADABLE", t.faults)
}

// load cuts the file into rows.
func (t *table) load(content []byte) {
	switch {
	case len(content) > maxBytes:
		t.fault(0, "", "FILE_SIZE", "the file has %d bytes; at most %d are read", len(content), maxBytes)
		return
	case bytes.HasPrefix(content, []byte("\xff\xfe")), bytes.HasPrefix(content, []byte("\xfe\xff")):
		t.fault(0, "", "FILE_ENCODING", "the file is UTF-16; save it as CSV UTF-8")
		return
	}
	content = bytes.TrimPrefix(content, []byte("\xef\xbb\xbf"))
	if !utf8.Valid(content) {
		t.fault(lineOfBadByte(content), "", "FILE_ENCODING", "the line is not UTF-8; save the file as CSV UTF-8")
		return
	}
	reader := csv.NewReader(bytes.NewReader(content))
	reader.FieldsPerRecord = -1
	names := t.header(reader)
	if names == nil {
		return
	}
	for {
		record, err := reader.Read()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			t.syntax(err)
			return
		}
		line, _ := reader.FieldPos(0)
		t.add(line, names, record)
		if len(t.rows) > maxLines {
			t.fault(line, "", "FILE_LINES", "the file has more than %d lines", maxLines)
			return
		}
	}
}

// syntax names a fault after which rows can no longer be told apart.
func (t *table) syntax(err error) {
	var parse *csv.ParseError
	if errors.As(err, &parse) {
		t.fault(parse.Line, "", "CSV_SYNTAX", "at column %d: %s; what follows was not read", parse.Column, parse.Err)
		return
	}
	t.fault(0, "", "CSV_SYNTAX", "%s", err)
}

func lineOfBadByte(content []byte) int {
	line := 1
	for len(content) > 0 {
		c, size := utf8.DecodeRune(content)
		if c == utf8.RuneError && size == 1 {
			return line
		}
		if c == '\n' {
			line++
		}
		content = content[size:]
	}
	return line
}

// header reads the names of the columns; nil when they cannot be read.
func (t *table) header(reader *csv.Reader) []string {
	names, err := reader.Read()
	if errors.Is(err, io.EOF) {
		t.fault(0, "", "FILE_EMPTY", "the file is empty; its first row names the columns %s", strings.Join(columns, ","))
		return nil
	}
	if err != nil {
		t.syntax(err)
		return nil
	}
	line, _ := reader.FieldPos(0)
	if len(names) == 1 && strings.ContainsAny(names[0], ";\t") {
		t.fault(line, "", "CSV_DELIMITER", "the columns are not divided by commas; save the file with commas")
		return nil
	}
	seen := map[string]bool{}
	before := len(t.faults)
	for _, name := range names {
		switch {
		case !isColumn(name):
			t.fault(line, "", "COLUMN_UNKNOWN", "column %.60q is not known; known are %s", name, strings.Join(columns, ","))
		case seen[name]:
			t.fault(line, name, "COLUMN_REPEATED", "the column is there twice")
		}
		seen[name] = true
	}
	for _, name := range columns {
		if !seen[name] {
			t.fault(line, name, "COLUMN_MISSING", "the column is missing")
		}
	}
	if len(t.faults) > before {
		return nil
	}
	return names
}

func isColumn(name string) bool {
	for _, known := range columns {
		if name == known {
			return true
		}
	}
	return false
}

// add takes a row unless all of its cells are empty.
func (t *table) add(line int, names, record []string) {
	if strings.Join(record, "") == "" {
		return
	}
	if len(record) != len(names) {
		t.fault(line, "", "CELL_COUNT", "the row has %d cells and the first row %d; a comma inside a cell needs quotes",
			len(record), len(names))
		return
	}
	cells := make(map[string]string, len(names))
	for i, name := range names {
		cells[name] = record[i]
	}
	t.rows = append(t.rows, row{line, cells})
}

// readRows reads the payment from the first row and every line, and holds the sum against it.
func (t *table) readRows() {
	if len(t.rows) == 0 {
		t.fault(0, "", "FILE_EMPTY", "the file has no line below the names of the columns")
		return
	}
	first := t.rows[0]
	t.remittance.Reference = t.code(first, "payment_reference", true)
	t.remittance.PaidDate = t.date(first)
	currency := first.cells["currency"]
	_, isKnown := money.Digits(currency)
	if !isKnown {
		t.fault(first.line, "currency", "CURRENCY", "%.60q is not an ISO 4217 code such as USD", currency)
	} else if total, ok := t.amount(first, "total", currency); ok {
		t.remittance.Amount = total
		if total.IsNegative() {
			t.fault(first.line, "total", "TOTAL_NEGATIVE", "%s is below zero; a payment is not", total)
		}
	}
	sum, complete := money.From(0, currency), isKnown
	for i, r := range t.rows {
		t.same(first, r)
		line := t.line(i+1, r)
		if isKnown {
			paid, ok := t.amount(r, "paid", currency)
			line.Paid = paid
			added, err := sum.Add(paid)
			sum, complete = added, complete && ok && err == nil
		}
		line.Allocated = money.From(0, currency)
		t.remittance.Lines = append(t.remittance.Lines, line)
	}
	// Lines that could not be read sum to nothing worth comparing.
	if complete && len(t.faults) == 0 && sum != t.remittance.Amount {
		t.fault(first.line, "total", "SUM", "the total is %s, the %d lines sum to %s; lines are missing or wrong",
			t.remittance.Amount, len(t.rows), sum)
	}
}

// same refuses a row of another payment: one file is one payment.
func (t *table) same(first, r row) {
	for _, column := range columns[:4] {
		if r.cells[column] != first.cells[column] {
			t.fault(r.line, column, "PAYMENT_DIFFERS", "%.60q differs from %.60q on line %d; one file is one payment",
				r.cells[column], first.cells[column], first.line)
		}
	}
}

func (t *table) line(number int, r row) invoices.RemittanceLine {
	line := invoices.RemittanceLine{
		Number:        number,
		InvoiceNumber: t.code(r, "invoice_number", false),
		ClaimNumber:   t.code(r, "claim_number", false),
		ReasonCode:    t.code(r, "reason_code", false),
		ReasonText:    r.cells["reason_text"],
	}
	if length := utf8.RuneCountInString(line.ReasonText); length > maxTextLength {
		t.fault(r.line, "reason_text", "CELL_LENGTH", "the cell has %d characters; at most %d are read", length, maxTextLength)
	}
	if strings.ContainsFunc(line.ReasonText, isForbidden) {
		t.fault(r.line, "reason_text", "CELL_CONTROL", "%.60q has control characters other than line ends and tabs", line.ReasonText)
	}
	return line
}

func isForbidden(c rune) bool { return unicode.IsControl(c) && c != '\n' && c != '\r' && c != '\t' }

// code reads a number or code: one line that does not begin as a formula.
func (t *table) code(r row, column string, required bool) string {
	cell := r.cells[column]
	switch {
	case cell == "" && required:
		t.fault(r.line, column, "CELL_EMPTY", "the cell is empty")
	case cell == "":
	case utf8.RuneCountInString(cell) > maxCellLength:
		t.fault(r.line, column, "CELL_LENGTH", "the cell has %d characters; at most %d are read",
			utf8.RuneCountInString(cell), maxCellLength)
	case strings.ContainsFunc(cell, unicode.IsControl):
		t.fault(r.line, column, "CELL_CONTROL", "%.60q has control characters", cell)
	case strings.ContainsAny(cell[:1], "=+-@"):
		t.fault(r.line, column, "CELL_FORMULA", "%.60q begins as a formula; give the plain number or code", cell)
	case strings.TrimSpace(cell) != cell:
		t.fault(r.line, column, "CELL_SPACE", "%.60q begins or ends with a space; remove it", cell)
	}
	return cell
}

func (t *table) date(r row) string {
	cell := r.cells["paid_date"]
	if _, err := time.Parse(time.DateOnly, cell); err != nil {
		t.fault(r.line, "paid_date", "DATE", "%.60q is not a day such as 2026-11-12", cell)
	}
	return cell
}

func (t *table) amount(r row, column, currency string) (money.Amount, bool) {
	amount, err := money.Parse(r.cells[column], currency)
	if err != nil {
		digits, _ := money.Digits(currency)
		t.fault(r.line, column, "AMOUNT", "%.60q is not an amount in %s: plain digits, a point, at most %d decimals, such as %s",
			r.cells[column], currency, digits, money.From(8705, currency).Decimal())
		return money.From(0, currency), false
	}
	return amount, true
}
