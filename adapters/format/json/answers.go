package jsonformat

import (
	"fmt"
	"strings"

	"github.com/go-json-experiment/json/jsontext"

	"cullet/services/claims"
)

// The caps of an answer document.
const (
	maxAnswerBytes = 10 << 20
	maxAnswers     = 10_000
	maxReasons     = 50
	maxIDLength    = 200
	maxTextLength  = 2_000
)

// answerStates are the states that a payer can give.
var answerStates = []claims.State{claims.Acknowledged, claims.Accepted, claims.Rejected,
	claims.InformationRequested, claims.Denied}

// ReadAnswers reads an answer document:
//
//	{"answers": [{"external_id": "...", "claim_number": "C-000123", "control_number": 17,
//	  "state": "ACCEPTED", "payer_reference": "...", "occur_time": "2026-10-21T09:00:00Z",
//	  "reasons": [{"code": "...", "text": "...", "path": "coverage.policy_number"}]}]}
//
// external_id, state and occur_time are required, and one of claim_number and control_number; null
// stands for absent, and so do an empty text and the control number 0. A document with any fault is refused whole with an errs.Invalid error that
// names every fault by its path; of faulty syntax the first, by line and column.
func (Format) ReadAnswers(content []byte) ([]claims.Answer, error) {
	var reader strictReader
	if len(content) > maxAnswerBytes {
		reader.fault("", "ANSWERS_SIZE", "the document has %d bytes; at most %d are read", len(content), maxAnswerBytes)
		return nil, reader.err()
	}
	document, ok := reader.document(content)
	if !ok {
		return nil, reader.err()
	}
	members, _ := reader.members("", document, "schema", "answers")
	if name, ok := reader.text(members, "", "schema", maxIDLength, isOptional); ok && name != "" && name != AnswersName {
		reader.fault("schema", "SCHEMA_UNKNOWN", "%.60q is not known; this program reads %q", name, AnswersName)
	}
	var answers []claims.Answer
	given, ok := reader.list(members, "", "answers", maxAnswers)
	if ok && len(given) == 0 {
		reader.fault("answers", "ANSWERS_EMPTY", "the document has no answer; it has one at least")
	}
	for i, value := range given {
		answers = append(answers, reader.answer(fmt.Sprintf("answers[%d]", i), value))
	}
	reader.repeated(answers)
	if err := reader.err(); err != nil {
		return nil, err
	}
	return answers, nil
}

func (r *strictReader) answer(path string, value jsontext.Value) claims.Answer {
	members, ok := r.members(path, value, "external_id", "claim_number", "control_number", "state",
		"payer_reference", "reasons", "occur_time")
	if !ok {
		return claims.Answer{}
	}
	var a claims.Answer
	before := len(r.faults)
	a.ClaimNumber, _ = r.text(members, path, "claim_number", maxIDLength, isOptional)
	a.ControlNumber = r.number(members, path, "control_number")
	if a.ClaimNumber == "" && a.ControlNumber == 0 && len(r.faults) == before {
		r.fault(path, "ANSWER_ABOUT_NOTHING", "neither claim_number nor control_number is given; one says what is answered")
	}
	a.ExternalID, _ = r.text(members, path, "external_id", maxIDLength, isRequired)
	a.State = r.state(members, path)
	a.PayerReference, _ = r.text(members, path, "payer_reference", maxIDLength, isOptional)
	a.OccurTime = r.time(members, path, "occur_time")
	given, _ := r.list(members, path, "reasons", maxReasons)
	for i, reason := range given {
		a.Reasons = append(a.Reasons, r.reason(fmt.Sprintf("%s.reasons[%d]", path, i), reason))
	}
	return a
}

func (r *strictReader) reason(path string, value jsontext.Value) claims.AnswerReason {
	members, ok := r.members(path, value, "code", "text", "path")
	if !ok {
		return claims.AnswerReason{}
	}
	var reason claims.AnswerReason
	reason.Code, _ = r.text(members, path, "code", maxIDLength, isOptional)
	reason.Text, _ = r.words(members, path, "text", maxTextLength)
	reason.Path, _ = r.text(members, path, "path", maxIDLength, isOptional)
	if reason.Code == "" && reason.Text == "" {
		r.fault(path, "REASON_EMPTY", "the reason has neither a code nor a text")
	}
	return reason
}

func (r *strictReader) state(members map[string]jsontext.Value, path string) claims.State {
	given, ok := r.text(members, path, "state", maxIDLength, isRequired)
	if !ok {
		return ""
	}
	for _, state := range answerStates {
		if given == string(state) {
			return state
		}
	}
	var names []string
	for _, state := range answerStates {
		names = append(names, string(state))
	}
	r.fault(join(path, "state"), "STATE_UNKNOWN", "%.60q is not known; a payer answers with one of %s",
		given, strings.Join(names, ", "))
	return ""
}

// repeated refuses one identifier for two answers: the second would have no effect, unseen.
func (r *strictReader) repeated(answers []claims.Answer) {
	first := map[string]int{}
	for i, a := range answers {
		if a.ExternalID == "" {
			continue
		}
		if earlier, ok := first[a.ExternalID]; ok {
			r.fault(fmt.Sprintf("answers[%d].external_id", i), "ANSWER_REPEATED",
				"%.60q is already that of answers[%d]; each answer has its own", a.ExternalID, earlier)
			continue
		}
		first[a.ExternalID] = i
	}
}
