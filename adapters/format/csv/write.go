package csvformat

import (
	"bytes"
	"fmt"
	"io"
	"strconv"
	"unicode/utf8"

	"cullet/services/claims"
	"cullet/services/errs"
	"cullet/services/money"
)

const (
	bufferSize = 64 << 10
	maxFaults  = 100
)

// writer writes rows. Without a place to write to it only finds faults.
type writer struct {
	to      io.Writer
	e       claims.Envelope
	headers [][]byte
	cells   []column
	// delimiter parts cells.
	delimiter           byte
	shopName, payerCode []byte
	// count is how many claims the file has.
	count int
	from  *source
	// isDraft takes a claim that has no number yet; index is the place of the present one, or negative.
	isDraft bool
	index   int
	out     []byte
	// cell is the present cell before it is quoted; isNumber says that nobody can take it for a formula.
	cell     []byte
	isNumber bool
	faults   []errs.Field
	failure  error
}

func newWriter(to io.Writer, e claims.Envelope, count int) *writer {
	w := &writer{to: to, e: e, count: count, delimiter: e.CSV.Comma(), from: newSource(), index: -1,
		shopName: []byte(e.ShopName), payerCode: []byte(e.PayerCode)}
	for i, c := range layout(e.CSV) {
		known, ok := find(c.Source)
		switch {
		case c.Source == "":
			fixed := []byte(c.Fixed)
			known = column{write: func(w *writer, _ *row) { w.words(fixed) }}
		case !ok:
			w.fault(fmt.Sprintf("csv.columns[%d].source", i), "COLUMN_UNKNOWN", "%.60q is nothing that a claim has", c.Source)
			continue
		case known.isLine && !e.CSV.IsRowPerLine:
			w.fault(fmt.Sprintf("csv.columns[%d].source", i), "COLUMN_OF_LINE", "%s belongs to a line, and the file has a row for each claim", c.Source)
			continue
		}
		w.cells, w.headers = append(w.cells, known), append(w.headers, []byte(c.Header))
	}
	return w
}

func (w *writer) fault(path, reason, message string, args ...any) {
	if len(w.faults) < maxFaults {
		if w.index >= 0 && !w.isDraft {
			path = fmt.Sprintf("claims[%d].%s", w.index, path)
		}
		w.faults = append(w.faults, errs.Field{Path: path, Reason: reason, Message: fmt.Sprintf(message, args...)})
	}
}

func (w *writer) document(batch []claims.Frozen) {
	for i, header := range w.headers {
		w.cell = w.cell[:0]
		w.words(header)
		w.endCell(i == len(w.headers)-1)
	}
	for i, f := range batch {
		if w.failure != nil {
			return
		}
		w.index = i
		w.claim(f)
		w.flush(bufferSize)
	}
	w.flush(0)
}

func (w *writer) flush(above int) {
	if len(w.out) <= above {
		return
	}
	if w.to != nil && w.failure == nil {
		_, w.failure = w.to.Write(w.out)
	}
	w.out = w.out[:0]
}

// claim writes the rows of one claim.
func (w *writer) claim(f claims.Frozen) {
	from := w.from
	if err := from.read(f.Payload); err != nil || string(from.ClaimNumber) != f.Number || !w.isDraft && f.Number == "" ||
		from.Totals.PayerShare != f.PayerShare {
		w.fault("payload", "BATCH_PAYLOAD", "the payload is not a frozen payload of claim %q for %s", f.Number, f.PayerShare)
		return
	}
	if !w.e.CSV.IsRowPerLine {
		w.row(&row{source: from})
		return
	}
	if len(from.Lines) == 0 {
		w.fault("lines", "CLAIM_WITHOUT_LINES", "the claim has no line, and the file has a row for each")
	}
	for i := range from.Lines {
		w.row(&row{source: from, line: &from.Lines[i]})
	}
}

func (w *writer) row(r *row) {
	for i := range w.cells {
		w.cell, w.isNumber = w.cell[:0], false
		w.cells[i].write(w, r)
		w.endCell(i == len(w.cells)-1)
	}
}

// endCell writes the present cell: disarmed, quoted where needed, and what follows it.
func (w *writer) endCell(isLast bool) {
	isArmed := !w.isNumber && len(w.cell) > 0 && isStart(w.cell)
	if isArmed || bytes.ContainsAny(w.cell, "\"'") || bytes.IndexByte(w.cell, w.delimiter) >= 0 {
		w.out = append(w.out, '"')
		if isArmed {
			w.out = append(w.out, '\'')
		}
		for _, c := range w.cell {
			if c == '"' {
				w.out = append(w.out, '"')
			}
			w.out = append(w.out, c)
		}
		w.out = append(w.out, '"')
	} else {
		w.out = append(w.out, w.cell...)
	}
	if isLast {
		w.out = append(w.out, "\r\n"...)
	} else {
		w.out = append(w.out, w.delimiter)
	}
}

// isStart tells whether a spreadsheet would take the cell for a formula, or could not tell that it was
// disarmed. Source: the page on CSV injection of the Open Worldwide Application Security Project, from
// memory; the full-width forms are taken for the plain ones by some programs.
func isStart(cell []byte) bool {
	r, _ := utf8.DecodeRune(cell)
	switch r {
	case '=', '+', '-', '@', '\'', '＝', '＋', '－', '＠', '|', '%':
		return true
	}
	return false
}

func (w *writer) number(n int64) {
	w.isNumber = true
	w.cell = strconv.AppendInt(w.cell, n, 10)
}

func (w *writer) flag(is bool) { w.cell = strconv.AppendBool(w.cell, is) }

// amount writes a sum with the payer's decimal sign and without its currency.
func (w *writer) amount(a money.Amount) {
	w.isNumber = true
	digits, _ := money.Digits(a.Currency)
	minor := a.Minor
	if minor < 0 {
		w.cell, minor = append(w.cell, '-'), -minor
	}
	unit := int64(1)
	for range digits {
		unit *= 10
	}
	w.cell = strconv.AppendInt(w.cell, minor/unit, 10)
	if digits == 0 {
		return
	}
	if w.e.CSV.IsDecimalComma {
		w.cell = append(w.cell, ',')
	} else {
		w.cell = append(w.cell, '.')
	}
	for unit /= 10; unit > 0; unit /= 10 {
		w.cell = append(w.cell, byte('0'+minor/unit%10))
	}
}

// id writes a number exactly as it is.
func (w *writer) id(path string, value []byte) {
	if bytes.ContainsFunc(value, isControl) || len(value) != len(bytes.TrimSpace(value)) || !utf8.Valid(value) {
		w.fault(path, "CSV_CHARACTER", "%.60q holds a control character, or a space at its beginning or end, which a row cannot carry "+
			"as it is; take it away", value)
	}
	w.cell = append(w.cell, value...)
}

// words writes text of a person: control characters become spaces, none stays at the ends.
func (w *writer) words(value []byte) {
	if !bytes.ContainsFunc(value, isControl) && utf8.Valid(value) {
		w.cell = append(w.cell, bytes.TrimSpace(value)...)
		return
	}
	w.cell = append(w.cell, Spell(string(value))...)
}
