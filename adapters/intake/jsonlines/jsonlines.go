// Package jsonlines reads JSON lines of shop systems: one JSON object a line, whatever its shape.
// Members within members are joined by points, items of lists are numbered from 1, and a list of plain
// values is one cell with spaces between them: {"car": {"vin": "1"}, "chips": [{"mm": 4}], "s": [60, 30]}
// has the columns car.vin, chips.1.mm and s. The columns of the file are those of all its lines.
//
// It refuses to repair: a line that is no object is a fault of that line, the others are read.
package jsonlines

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/go-json-experiment/json/jsontext"

	"cullet/adapters/intake"
	"cullet/services/jobs"
)

// Format is the intake format "jsonlines". It has no state and may be used by many goroutines.
type Format struct{}

var _ jobs.IntakeFormat = Format{}

// Name is "jsonlines".
func (Format) Name() string { return "jsonlines" }

// The caps of a file and of a line.
const (
	maxColumns = 5000
	maxDepth   = 10
)

// Read reads a file by a mapping.
func (Format) Read(content []byte, m jobs.Mapping) (jobs.Intake, error) {
	text, err := intake.Text(content, m.Encoding)
	if err != nil {
		return jobs.Intake{}, err
	}
	if !strings.HasPrefix(strings.TrimSpace(text), "{") {
		return jobs.Intake{}, intake.Refuse("FILE_FORMAT", "the file does not begin with {; JSON lines are one object a line, without a list "+
			"around them. If the file is a table, set the mapping's format to csv")
	}
	f := file{sheet: &intake.Sheet{}, columns: map[string]int{}}
	number := 0
	for line := range strings.Lines(text) {
		number++
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		if len(f.sheet.Rows) == jobs.MaxIntakeRows {
			return jobs.Intake{}, intake.TooManyRows()
		}
		f.sheet.Rows = append(f.sheet.Rows, f.row(line, number))
		if len(f.sheet.Columns) > maxColumns {
			return jobs.Intake{}, intake.Refuse("FILE_COLUMNS", "the lines of the file have more than %d different members, which are read at "+
				"most", maxColumns)
		}
	}
	return intake.Read(f.sheet, m)
}

// file is a file as far as it is read.
type file struct {
	sheet   *intake.Sheet
	columns map[string]int
}

func (f *file) row(line string, number int) intake.Row {
	r := intake.Row{Line: number}
	w := walker{file: f, row: &r, decoder: jsontext.NewDecoder(strings.NewReader(line))}
	if err := w.document(); err != nil {
		return intake.Row{Line: number, Fault: intake.Unreadable("JSON_SYNTAX", "line %d cannot be read: %s; give one JSON object on it, {...}",
			number, strings.TrimPrefix(err.Error(), "jsontext: "))}
	}
	return r
}

// walker flattens one line.
type walker struct {
	*file
	row     *intake.Row
	decoder *jsontext.Decoder
}

func (w *walker) document() error {
	if w.decoder.PeekKind() != '{' {
		return errors.New("it is no object")
	}
	if err := w.value("", 0); err != nil {
		return err
	}
	if _, err := w.decoder.ReadToken(); !errors.Is(err, io.EOF) {
		return errors.New("something stands behind the object")
	}
	cells := w.row.Cells
	slices.SortFunc(cells, func(a, b intake.Cell) int { return a.Column - b.Column })
	for i := 1; i < len(cells); i++ {
		if cells[i].Column == cells[i-1].Column {
			return fmt.Errorf("two members come to the same name %q", w.sheet.Columns[cells[i].Column])
		}
	}
	return nil
}

// value reads one value under a name.
func (w *walker) value(name string, depth int) error {
	if depth > maxDepth {
		return fmt.Errorf("it is nested more than %d deep", maxDepth)
	}
	if len(w.sheet.Columns) > maxColumns {
		return errors.New("it has too many members")
	}
	switch w.decoder.PeekKind() {
	case '{':
		return w.object(name, depth)
	case '[':
		return w.list(name, depth)
	}
	token, err := w.decoder.ReadToken()
	if err != nil {
		return err
	}
	w.add(name, token)
	return nil
}

func (w *walker) object(name string, depth int) error {
	if _, err := w.decoder.ReadToken(); err != nil {
		return err
	}
	for w.decoder.PeekKind() != '}' {
		member, err := w.decoder.ReadToken()
		if err != nil {
			return err
		}
		if err := w.value(join(name, member.String()), depth+1); err != nil {
			return err
		}
	}
	_, err := w.decoder.ReadToken()
	return err
}

// list reads a list; its plain values become one cell.
func (w *walker) list(name string, depth int) error {
	if _, err := w.decoder.ReadToken(); err != nil {
		return err
	}
	var plain []string
	for n := 1; w.decoder.PeekKind() != ']'; n++ {
		kind := w.decoder.PeekKind()
		if kind == '{' || kind == '[' {
			if err := w.value(join(name, strconv.Itoa(n)), depth+1); err != nil {
				return err
			}
			continue
		}
		token, err := w.decoder.ReadToken()
		if err != nil {
			return err
		}
		plain = append(plain, token.String())
	}
	if len(plain) > 0 {
		w.cell(name, strings.Join(plain, " "), false)
	}
	_, err := w.decoder.ReadToken()
	return err
}

func join(name, member string) string {
	if name == "" {
		return member
	}
	return name + "." + member
}

func (w *walker) add(name string, token jsontext.Token) {
	if token.Kind() != 'n' {
		w.cell(name, token.String(), token.Kind() == '0')
	}
}

func (w *walker) cell(name, text string, isNumber bool) {
	name = intake.NameOf(name)
	column, ok := w.columns[name]
	if !ok {
		column = len(w.sheet.Columns)
		w.columns[name] = column
		w.sheet.Columns = append(w.sheet.Columns, name)
	}
	if text = strings.TrimSpace(text); text != "" {
		w.row.Cells = append(w.row.Cells, intake.Cell{Column: column, Text: text, IsNumber: isNumber})
	}
}
