package x12

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode"

	"cullet/services/claims"
	"cullet/services/errs"
)

// The caps of an answer document.
const (
	maxAnswerBytes = 10 << 20
	maxAnswers     = 10_000
	maxReasons     = 50
	maxText        = 400
)

// ReadAnswers reads what a payer answers to batches: TA1 and functional groups of type FA (997, 999)
// and AG (824), in one or several interchanges. A document with any fault is refused whole with an
// errs.Invalid error that says where.
//
// A 997, 999 or TA1 that takes a batch is an acknowledgement of every claim in it and no more: it
// speaks of the form alone. One that refuses it rejects every claim, or those that it names by their
// place. Only an 824 accepts or rejects a claim. A TA1 that refuses a batch because its number was
// seen before (025) says nothing about claims: it comes back as WasKnown.
func (Format) ReadAnswers(content []byte) ([]claims.Answer, error) {
	if len(content) > maxAnswerBytes {
		return nil, errs.InvalidFields("X12_UNREADABLE", []errs.Field{{Reason: "ANSWERS_SIZE",
			Message: fmt.Sprintf("the document has %d bytes; at most %d are read", len(content), maxAnswerBytes)}})
	}
	var a answers
	err := readAll(bytes.NewReader(content), false, handler{
		begin:    func(*interchange) error { return nil },
		envelope: a.interchange,
		group: func(t *interchange) error {
			if t.kind != "FA" && t.kind != "AG" {
				return t.refuse(1, "X12_GROUP", "a group of type %.5q is no answer; FA (997, 999) and AG (824) are", t.kind)
			}
			return nil
		},
		set: a.set,
	})
	if err == nil && len(a.all) == 0 {
		err = &refusal{errs.Field{Reason: "ANSWERS_EMPTY", Message: "the document has no answer; it has one at least"}}
	}
	if err != nil {
		return nil, unreadable(err)
	}
	return a.all, nil
}

// answers are those that were read so far.
type answers struct{ all []claims.Answer }

// add keeps an answer under a name of its own: who sent it, in which interchange, at which place.
func (a *answers) add(t *interchange, kind string, answer claims.Answer, at time.Time) error {
	if len(a.all) == maxAnswers {
		return t.refuse(0, "ANSWERS_LENGTH", "more than %d answers", maxAnswers)
	}
	answer.ExternalID = fmt.Sprintf("x12:%s:%09d:%s:%d", plain(t.x12.SenderID), t.number, kind, len(a.all)+1)
	answer.OccurTime = at
	if len(answer.Reasons) > maxReasons {
		more := len(answer.Reasons) - maxReasons + 1
		answer.Reasons = append(answer.Reasons[:maxReasons-1], claims.AnswerReason{Text: fmt.Sprintf("and %d more", more)})
	}
	a.all = append(a.all, answer)
	return nil
}

// plain makes text fit to be kept: UTF-8 without control characters, not longer than needed.
func plain[T ~string | ~[]byte](value T) string {
	text := strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(string(value), "?"))
	if runes := []rune(text); len(runes) > maxText {
		text = string(runes[:maxText])
	}
	return strings.TrimSpace(text)
}

// interchange reads TA1, which answers about a whole interchange of ours.
func (a *answers) interchange(t *interchange) error {
	number, err := t.whole(1)
	if err != nil {
		return err
	}
	if number <= 0 {
		return t.refuse(1, "X12_CONTROL_NUMBER", "%d is no control number", number)
	}
	answer := claims.Answer{ControlNumber: number}
	note := string(t.get(5))
	if note != "000" {
		answer.Reasons = []claims.AnswerReason{{Code: plain("TA1 " + note), Text: said(interchangeNotes, note)}}
	}
	switch code := string(t.get(4)); code {
	case "A":
		answer.State = claims.Acknowledged
	case "E":
		answer.State = claims.Acknowledged
		answer.Reasons = append(answer.Reasons, claims.AnswerReason{Code: "TA1 E", Text: "taken with errors noted; it is not sent again"})
	case "R":
		answer.State = claims.Rejected
		answer.WasKnown = note == "025"
	default:
		return t.refuse(4, "X12_CODE", "%.10q is no answer about an interchange; A, E and R are", code)
	}
	return a.add(t, "TA1", answer, t.time)
}

// set reads one 997, 999 or 824 up to its SE.
func (a *answers) set(t *interchange, kind string, _ []byte) error {
	switch {
	case t.kind == "FA" && (kind == "997" || kind == "999"):
		return a.functional(t, kind)
	case t.kind == "AG" && kind == "824":
		return a.advice(t)
	}
	return t.refuse(1, "X12_SET", "a %.10q in a group of type %s is no answer; 997 and 999 in FA and 824 in AG are", kind, t.kind)
}

// functional reads a 997 or 999: what became of one group of ours, and of the sets in it.
func (a *answers) functional(t *interchange, kind string) error {
	if err := t.expect("AK1"); err != nil {
		return err
	}
	if group := string(t.get(1)); group != "IN" {
		return t.refuse(1, "X12_GROUP", "it answers about a group of type %.5q; ours are of type IN", group)
	}
	number, err := t.whole(2)
	if err != nil {
		return err
	}
	if number <= 0 {
		return t.refuse(2, "X12_CONTROL_NUMBER", "%d is no control number", number)
	}
	f := functional{kind: kind, whole: claims.Answer{ControlNumber: number}}
	for {
		if err := t.next(); err != nil {
			return err
		}
		if t.is("SE") {
			break
		}
		if err := f.segment(t); err != nil {
			return err
		}
	}
	if f.whole.State == "" || f.isOpen {
		return t.refuse(0, "X12_INCOMPLETE", "the answer lacks AK9, or the end of a set's answer")
	}
	for _, answer := range append([]claims.Answer{f.whole}, f.sets...) {
		if err := a.add(t, kind, answer, t.groupTime); err != nil {
			return err
		}
	}
	return nil
}

// functional is the 997 or 999 that is being read.
type functional struct {
	kind  string
	whole claims.Answer
	// sets are the rejected ones; one that was taken is covered by the answer to the whole.
	sets    []claims.Answer
	present claims.Answer
	isOpen  bool
	// place is the segment of the set that the following notes are about.
	place string
}

func (f *functional) segment(t *interchange) error {
	if f.whole.State != "" {
		return t.refuse(0, "X12_ORDER", "SE belongs after AK9")
	}
	switch name := string(t.get(0)); name {
	case "AK2":
		place, err := t.whole(2)
		if err != nil {
			return err
		}
		if f.isOpen || string(t.get(1)) != "810" || place <= 0 || place > maxSets {
			return t.refuse(0, "X12_ORDER", "the answer about a set of type 810 belongs here, after the one before has ended")
		}
		f.present, f.isOpen = claims.Answer{ControlNumber: f.whole.ControlNumber, Position: int(place)}, true
	case "AK3", "IK3", "AK4", "IK4":
		return f.note(t, name)
	case "CTX":
	case "AK5", "IK5":
		return f.closeSet(t)
	case "AK9":
		return f.closeGroup(t)
	default:
		return t.refuse(0, "X12_UNKNOWN", "the segment is not known in a %s", f.kind)
	}
	return nil
}

// note reads what is wrong with a segment (AK3) or an element of it (AK4).
func (f *functional) note(t *interchange, name string) error {
	if !f.isOpen {
		return t.refuse(0, "X12_ORDER", "it belongs after AK2")
	}
	if name[2] == '3' {
		f.place = plain(t.get(1))
		code := plain(t.get(4))
		f.reason(name+"04 "+code, fmt.Sprintf("segment %s, the %s. of the set: %s", f.place, plain(t.get(2)), said(segmentNotes, code)), pathOf(f.place, ""))
		return nil
	}
	element, _, _ := strings.Cut(plain(t.get(1)), string(t.d.component))
	code := plain(t.get(3))
	text := fmt.Sprintf("element %s of %s: %s", element, f.place, said(elementNotes, code))
	if given := plain(t.get(4)); given != "" {
		text += fmt.Sprintf("; it was “%s”", given)
	}
	f.reason(name+"03 "+code, text, pathOf(f.place, element))
	return nil
}

func (f *functional) reason(code, text, path string) {
	f.present.Reasons = append(f.present.Reasons, claims.AnswerReason{Code: strings.TrimSpace(code), Text: text, Path: path})
}

func (f *functional) closeSet(t *interchange) error {
	if !f.isOpen {
		return t.refuse(0, "X12_ORDER", "it belongs after AK2")
	}
	f.isOpen = false
	name := string(t.get(0))
	for _, code := range t.elements[min(2, len(t.elements)):] {
		if len(code) > 0 {
			f.reason(name+" "+plain(code), said(setNotes, string(code)), "")
		}
	}
	switch code := string(t.get(1)); code {
	case "A", "E":
	case "R", "M", "W", "X":
		f.present.State = claims.Rejected
		if len(f.present.Reasons) == 0 {
			f.reason(name+" "+code, said(verdicts, code), "")
		}
		f.sets = append(f.sets, f.present)
	default:
		return t.refuse(1, "X12_CODE", "%.10q says not whether the set was taken; A, E, M, R, W and X do", code)
	}
	return nil
}

// closeGroup reads AK9 and holds its counts against the sets that were named: a set that was refused
// without being named would be taken for acknowledged.
func (f *functional) closeGroup(t *interchange) error {
	if f.isOpen {
		return t.refuse(0, "X12_ORDER", "the answer about the set before has not ended")
	}
	included, err := t.whole(2)
	if err != nil {
		return err
	}
	accepted, err := t.whole(4)
	if err != nil {
		return err
	}
	code := string(t.get(1))
	switch code {
	case "A", "E", "P":
		if rejected := int64(len(f.sets)); included-accepted != rejected {
			return t.refuse(4, "X12_COUNT", "it says %d of %d sets were taken and names %d that were not", accepted, included, rejected)
		}
		f.whole.State = claims.Acknowledged
	case "R", "M", "W", "X":
		f.whole.State = claims.Rejected
		f.whole.Reasons = append(f.whole.Reasons, claims.AnswerReason{Code: "AK9 " + code, Text: said(verdicts, code)})
	default:
		return t.refuse(1, "X12_CODE", "%.10q says not whether the group was taken; A, E, M, P, R, W and X do", code)
	}
	for _, note := range t.elements[min(5, len(t.elements)):] {
		if len(note) > 0 {
			f.whole.Reasons = append(f.whole.Reasons, claims.AnswerReason{Code: "AK9 note " + plain(note), Text: said(groupNotes, string(note))})
		}
	}
	return nil
}

// said gives our words for a code.
func said(words map[string]string, code string) string {
	if text, ok := words[code]; ok {
		return text
	}
	return "code " + strconv.Quote(plain(code))
}
