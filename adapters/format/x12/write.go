package x12

import (
	"bytes"
	"fmt"
	"io"
	"strconv"

	"cullet/services/claims"
	"cullet/services/errs"
)

// bufferSize is how much of a document is held before it is written on.
const bufferSize = 64 << 10

// maxFaults bounds how many faults of a batch are listed.
const maxFaults = 100

// writer writes segments. Without a place to write to it only finds faults and which bytes the data
// needs. Everything that is not ours passes id or words, so data can hold no delimiter.
type writer struct {
	to      io.Writer
	d       delimiters
	isBasic bool
	// isFinal writes what a draft has found nothing in, and need not learn what the data uses.
	isFinal bool
	// isDraft takes a claim that has no number and no invoice yet.
	isDraft bool
	out     []byte
	// empty counts the elements that are held back, because a segment does not end with empty ones.
	empty int
	// segments counts those of the present set.
	segments int
	scratch  []byte
	used     [256]bool
	// claim is the place of the present claim, from 0; negative outside of claims.
	claim   int
	faults  []errs.Field
	failure error
}

func (w *writer) fault(path, reason, message string, args ...any) {
	if len(w.faults) < maxFaults {
		if w.claim >= 0 && !w.isDraft {
			path = fmt.Sprintf("claims[%d].%s", w.claim, path)
		}
		w.faults = append(w.faults, errs.Field{Path: path, Reason: reason, Message: fmt.Sprintf(message, args...)})
	}
}

// flush writes on what is held, when it is more than so many bytes.
func (w *writer) flush(above int) {
	if len(w.out) <= above {
		return
	}
	if w.to != nil && w.failure == nil {
		_, w.failure = w.to.Write(w.out)
	}
	w.out = w.out[:0]
}

func (w *writer) start(id string) {
	w.out = append(w.out, id...)
	w.empty = 0
	w.segments++
}

func (w *writer) end() { w.out = append(w.out, w.d.segment) }

// next makes room for an element that is not empty.
func (w *writer) next() {
	for range w.empty + 1 {
		w.out = append(w.out, w.d.element)
	}
	w.empty = 0
}

// none leaves an element empty.
func (w *writer) none() { w.empty++ }

func (w *writer) skip(n int) { w.empty += n }

// code writes one of our own codes.
func (w *writer) code(code string) {
	w.next()
	w.out = append(w.out, code...)
}

func (w *writer) number(n int64) {
	w.next()
	w.out = strconv.AppendInt(w.out, n, 10)
}

// decimal writes hundredths as type R: 7995 is 79.95.
func (w *writer) decimal(minor int64) {
	w.next()
	if minor < 0 {
		w.out, minor = append(w.out, '-'), -minor
	}
	w.out = strconv.AppendInt(w.out, minor/100, 10)
	w.out = append(w.out, '.', byte('0'+minor/10%10), byte('0'+minor%10))
}

// date writes the civil day 2026-10-21 as CCYYMMDD.
func (w *writer) date(path string, day []byte) {
	if len(day) != len("2026-10-21") || day[4] != '-' || day[7] != '-' {
		w.fault(path, "X12_DATE", "%.40q is no day; it is one like 2026-10-21", day)
		w.none()
		return
	}
	w.next()
	w.out = append(w.out, day[:4]...)
	w.out = append(w.out, day[5:7]...)
	w.out = append(w.out, day[8:10]...)
}

// id writes a number that means something to the payer, exactly as it is or not at all.
func (w *writer) id(path string, value []byte, most int) {
	if len(value) == 0 {
		w.none()
		return
	}
	w.next()
	w.out = append(w.out, value...)
	if w.isFinal {
		return
	}
	allowed := inSet(w.isBasic)
	for _, c := range value {
		w.used[c] = true
		if !allowed[c] {
			w.fault(path, "X12_CHARACTER", "%.60q holds a character that the payer's X12 files cannot carry; "+
				"allowed are %s", value, w.setWords())
			return
		}
	}
	switch {
	case value[0] == ' ' || value[len(value)-1] == ' ':
		w.fault(path, "X12_SPACE", "%.60q begins or ends with a space, which X12 drops; take it away", value)
	case len(value) > most:
		w.fault(path, "X12_LENGTH", "%.60q has %d characters and the payer's X12 files carry at most %d; "+
			"write it shorter, or agree on another form with the payer", value, len(value), most)
	}
}

func (w *writer) setWords() string {
	if w.isBasic {
		return "capitals, digits, spaces and " + basic
	}
	return "the printable characters of ASCII"
}

// spell gives free text in the character set, and marks what it uses.
func (w *writer) spell(value []byte) []byte {
	if !isSpelled(value, w.isBasic) {
		w.scratch = appendSpelled(w.scratch[:0], value, w.isBasic)
		value = w.scratch
	}
	if !w.isFinal {
		for _, c := range value {
			w.used[c] = true
		}
	}
	return value
}

// name writes a name, spelled by rule; one that is too long is refused, for half a name is another.
func (w *writer) name(path string, value []byte, most int) {
	spelled := w.spell(value)
	if len(spelled) == 0 {
		w.none()
		return
	}
	if len(spelled) > most {
		w.fault(path, "X12_LENGTH", "%.60q has %d characters and the payer's X12 files carry at most %d; write it shorter",
			value, len(spelled), most)
	}
	w.next()
	w.out = append(w.out, spelled...)
}

// words writes a description or a part of an address, spelled by rule and cut where it is too long.
// Below the least length it is left out.
func (w *writer) words(value []byte, least, most int) {
	spelled := w.spell(value)
	if len(spelled) > most {
		spelled = bytes.TrimRight(spelled[:most], " ")
	}
	if len(spelled) < max(least, 1) {
		w.none()
		return
	}
	w.next()
	w.out = append(w.out, spelled...)
}

// padded writes an element of the interchange header, whose width is fixed.
func (w *writer) padded(path, value string, width int) {
	begin := len(w.out)
	w.id(path, []byte(value), width)
	if len(value) == 0 {
		w.fault(path, "X12_ADDRESS", "nothing was given; give what was agreed with the payer")
		w.empty = 0
		w.out = append(w.out, w.d.element)
		begin = len(w.out) - 1
	}
	for len(w.out)-begin-1 < width {
		w.out = append(w.out, ' ')
	}
}

// envelope writes ISA and GS.
func (w *writer) envelope(e claims.Envelope, count int) {
	at, x := e.BuildTime.UTC(), e.X12
	w.start("ISA")
	w.code("00")
	w.code("          ")
	w.code("00")
	w.code("          ")
	w.padded("x12.sender_qualifier", x.SenderQualifier, 2)
	w.padded("x12.sender_id", x.SenderID, 15)
	w.padded("x12.receiver_qualifier", x.ReceiverQualifier, 2)
	w.padded("x12.receiver_id", x.ReceiverID, 15)
	w.next()
	w.out = at.AppendFormat(w.out, "060102*1504")
	w.out[len(w.out)-5] = w.d.element
	w.next()
	if w.d.repetition != 0 {
		w.out = append(w.out, w.d.repetition)
	} else {
		w.out = append(w.out, 'U')
	}
	w.code(interchangeVersion(x.Version))
	w.code(fmt.Sprintf("%09d", e.ControlNumber))
	w.code(flag(x.IsAcknowledgedByTA1, "1", "0"))
	w.code(flag(e.IsTest, "T", "P"))
	w.next()
	w.out = append(w.out, w.d.component)
	w.end()
	w.start("GS")
	w.code("IN")
	w.id("x12.sender_code", []byte(x.SenderCode), 15)
	w.id("x12.receiver_code", []byte(x.ReceiverCode), 15)
	w.next()
	w.out = at.AppendFormat(w.out, "20060102")
	w.next()
	w.out = at.AppendFormat(w.out, "150405")
	w.out = append(w.out, byte('0'+at.Nanosecond()/100_000_000), byte('0'+at.Nanosecond()/10_000_000%10))
	w.number(e.ControlNumber)
	w.code("X")
	w.code(string(x.Version))
	w.end()
}

// trailer writes GE and IEA.
func (w *writer) trailer(e claims.Envelope, count int) {
	w.start("GE")
	w.number(int64(count))
	w.number(e.ControlNumber)
	w.end()
	w.start("IEA")
	w.code("1")
	w.code(fmt.Sprintf("%09d", e.ControlNumber))
	w.end()
}

func flag(is bool, yes, no string) string {
	if is {
		return yes
	}
	return no
}
