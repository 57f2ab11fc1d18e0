package intake

import (
	"slices"
	"strings"
	"unicode"

	"cullet/services/errs"
	"cullet/services/jobs"
)

// Sheet is a file as rows of cells under the names of columns, before anybody asks what they mean.
type Sheet struct {
	// Columns are the names, by NameOf.
	Columns []string
	Rows    []Row
}

// Row is one row.
type Row struct {
	// Line is that on which it begins.
	Line int
	// Cells are those in which something stands, by their columns.
	Cells []Cell
	// Fault is why the row could not be cut into cells; nil when it could.
	Fault *errs.Field
}

// Cell is what stands in one column.
type Cell struct {
	// Column is an index of Sheet.Columns.
	Column int
	Text   string
	// IsNumber tells that the format itself marks it as a number, with a point before its decimals.
	IsNumber bool
}

// NameOf writes the name of a column as it is shown and compared: spaces and line breaks within it are
// single spaces, and what cannot be printed is a replacement character.
func NameOf(text string) string {
	return strings.Map(func(c rune) rune {
		if unicode.IsPrint(c) {
			return c
		}
		return unicode.ReplacementChar
	}, strings.Join(strings.Fields(text), " "))
}

// Unreadable is the fault of a row that could not be cut into cells.
func Unreadable(reason, message string, args ...any) *errs.Field {
	f := fault(reason, message, args...)
	f.Path = "record"
	return &f
}

// TooManyRows is the error of a file with more rows than are read.
func TooManyRows() error {
	return refuse(fault("FILE_ROWS", "the file has more than %d rows, which are read at most; split it", jobs.MaxIntakeRows))
}

// Refuse is the error of a file that cannot be read at all.
func Refuse(reason, message string, args ...any) error {
	return refuse(fault(reason, message, args...))
}

// cell gives what stands in a column of the row; the zero Cell when nothing does.
func (r *Row) cell(column int) Cell {
	i, ok := slices.BinarySearchFunc(r.Cells, column, func(c Cell, column int) int { return c.Column - column })
	if !ok {
		return Cell{Column: column}
	}
	return r.Cells[i]
}
