package csvformat

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"cullet/services/claims"
	"cullet/services/errs"
)

// The caps of an answer file.
const (
	maxAnswerBytes = 10 << 20
	maxAnswers     = 10_000
	maxIDLength    = 200
	maxTextLength  = 2_000
)

// answerColumns are those of an answer file; the required ones are marked.
var answerColumns = map[string]bool{"external_id": true, "claim_number": false, "invoice_number": false, "control_number": false,
	"state": true, "payer_reference": false, "occur_time": true, "reason_code": false, "reason_text": false, "reason_path": false,
	"answer_count": true}

// ReadAnswers reads an answer file: comma separated, UTF-8, with a header of these columns in any order
// but for the last:
//
//	external_id,claim_number,control_number,state,occur_time,reason_code,reason_text,answer_count
//	A-1,C-000123,,ACCEPTED,2026-10-21T09:00:00Z,,,1
//
// invoice_number, payer_reference and reason_path may be there as well. external_id, state and
// occur_time are required in each row, and one of claim_number, invoice_number and control_number. A
// row that repeats the external_id of the row before adds a reason to that answer. answer_count stands
// last and says how many answers the file has, so that a part of a file is never taken for a whole one.
// A file with any fault is refused whole with an errs.Invalid error that names every fault by row and
// column.
func (Format) ReadAnswers(content []byte) ([]claims.Answer, error) {
	if len(content) > maxAnswerBytes || !utf8.Valid(content) || bytes.IndexByte(content, 0) >= 0 {
		return nil, refused("", "ANSWERS_SIZE", fmt.Sprintf("the file has %d bytes; at most %d are read, as UTF-8 without zero bytes", len(content), maxAnswerBytes))
	}
	if !bytes.HasSuffix(content, []byte("\n")) {
		return nil, refused("", "CSV_SYNTAX", "the file does not end with the end of a row; it may have been cut")
	}
	reader := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(content, []byte("\xef\xbb\xbf"))))
	reader.ReuseRecord = true
	a := answerReader{at: map[string]int{}}
	if err := a.header(reader); err != nil {
		return nil, err
	}
	for row := 1; ; row++ {
		cells, err := reader.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, refused("", "CSV_SYNTAX", err.Error())
		}
		a.row = row
		a.read(cells)
	}
	if a.count != len(a.all) || a.count == 0 {
		a.fault("answer_count", "ANSWERS_COUNT", "the file says that it has %d answers and has %d; it has one at least", a.count, len(a.all))
	}
	if err := errs.InvalidFields("ANSWERS_UNREADABLE", a.faults); err != nil {
		return nil, err
	}
	return a.all, nil
}

func refused(path, reason, message string) error {
	return errs.InvalidFields("ANSWERS_UNREADABLE", []errs.Field{{Path: path, Reason: reason, Message: message}})
}

type answerReader struct {
	at     map[string]int
	row    int
	count  int
	all    []claims.Answer
	faults []errs.Field
}

func (a *answerReader) fault(column, reason, message string, args ...any) {
	if len(a.faults) < maxFaults {
		a.faults = append(a.faults, errs.Field{Path: fmt.Sprintf("rows[%d].%s", a.row-1, column), Reason: reason, Message: fmt.Sprintf(message, args...)})
	}
}

// header learns where the columns are.
func (a *answerReader) header(reader *csv.Reader) error {
	names, err := reader.Read()
	if err != nil {
		return refused("", "CSV_SYNTAX", "the file has no header: "+err.Error())
	}
	for i, name := range names {
		_, isKnown := answerColumns[name]
		_, isThere := a.at[name]
		if !isKnown || isThere {
			return refused(fmt.Sprintf("header[%d]", i), "COLUMN_UNKNOWN", fmt.Sprintf("%.60q is not known or is there twice", name))
		}
		a.at[name] = i
	}
	for name, isRequired := range answerColumns {
		if _, ok := a.at[name]; isRequired && !ok {
			return refused("header", "COLUMN_MISSING", fmt.Sprintf("the column %s is missing", name))
		}
	}
	if a.at["answer_count"] != len(names)-1 {
		return refused("header", "COLUMN_ORDER", "answer_count is the last column, so that a file that was cut is noticed")
	}
	return nil
}

// text gives a cell, within its bounds.
func (a *answerReader) text(cells []string, column string, most int) string {
	i, ok := a.at[column]
	if !ok {
		return ""
	}
	text := plain(cells[i])
	if utf8.RuneCountInString(text) > most {
		a.fault(column, "TEXT_LENGTH", "%d characters; at most %d are read", utf8.RuneCountInString(text), most)
	}
	return strings.TrimSpace(text)
}

func (a *answerReader) read(cells []string) {
	answer := claims.Answer{ExternalID: a.text(cells, "external_id", maxIDLength), ClaimNumber: a.text(cells, "claim_number", maxIDLength),
		InvoiceNumber: a.text(cells, "invoice_number", maxIDLength), PayerReference: a.text(cells, "payer_reference", maxIDLength),
		State: a.state(cells)}
	var err error
	if text := a.text(cells, "control_number", maxIDLength); text != "" {
		if answer.ControlNumber, err = strconv.ParseInt(text, 10, 64); err != nil || answer.ControlNumber <= 0 {
			a.fault("control_number", "CONTROL_NUMBER", "%.40q is no control number", text)
		}
	}
	if answer.OccurTime, err = time.Parse(time.RFC3339Nano, a.text(cells, "occur_time", maxIDLength)); err != nil {
		a.fault("occur_time", "TIME", "%.60q is no moment; give one with its zone, 2026-10-21T09:00:00Z", a.text(cells, "occur_time", maxIDLength))
	}
	answer.OccurTime = answer.OccurTime.UTC()
	count, err := strconv.Atoi(a.text(cells, "answer_count", 10))
	if err != nil || count < 1 || count > maxAnswers || a.row > 1 && count != a.count {
		a.fault("answer_count", "ANSWERS_COUNT", "%.20q is not how many answers the file has, the same in each row, 1 to %d",
			a.text(cells, "answer_count", 10), maxAnswers)
	}
	a.count = count
	if answer.ExternalID == "" || answer.ClaimNumber == "" && answer.InvoiceNumber == "" && answer.ControlNumber == 0 {
		a.fault("external_id", "ANSWER_ABOUT_NOTHING", "an answer has an external_id and one of claim_number, invoice_number and control_number")
	}
	a.keep(answer, claims.AnswerReason{Code: a.text(cells, "reason_code", maxIDLength), Text: a.text(cells, "reason_text", maxTextLength),
		Path: a.text(cells, "reason_path", maxIDLength)})
}

func (a *answerReader) state(cells []string) claims.State {
	state := claims.State(a.text(cells, "state", maxIDLength))
	known := []claims.State{claims.Acknowledged, claims.Accepted, claims.Rejected, claims.InformationRequested, claims.Denied}
	if !slices.Contains(known, state) {
		a.fault("state", "STATE_UNKNOWN", "%.40q is not known; a payer answers with one of %v", state, known)
	}
	return state
}

// keep adds the answer, or the reason to the answer before when it is the same one.
func (a *answerReader) keep(answer claims.Answer, reason claims.AnswerReason) {
	var last *claims.Answer
	if len(a.all) > 0 {
		last = &a.all[len(a.all)-1]
	}
	if last == nil || last.ExternalID != answer.ExternalID {
		if slices.ContainsFunc(a.all, func(other claims.Answer) bool { return other.ExternalID == answer.ExternalID }) {
			a.fault("external_id", "ANSWER_REPEATED", "%.60q is that of an earlier row; rows of one answer follow each other", answer.ExternalID)
			return
		}
		a.all = append(a.all, answer)
		last = &a.all[len(a.all)-1]
	} else if last.State != answer.State || last.ClaimNumber != answer.ClaimNumber || last.ControlNumber != answer.ControlNumber {
		a.fault("external_id", "ANSWER_REPEATED", "%.60q says something else in the row before", answer.ExternalID)
	}
	if reason != (claims.AnswerReason{}) {
		last.Reasons = append(last.Reasons, reason)
	}
}
