package x12

import (
	"bytes"
	"errors"
	"io"
	"time"

	"cullet/services/payers"
)

// interchange is the envelope that is being read.
type interchange struct {
	*scanner
	number int64
	x12    payers.X12
	isTest bool
	time   time.Time
	// headerVersion is ISA12.
	headerVersion string
	// The present group.
	kind        string
	groupNumber int64
	groupTime   time.Time
}

// handler takes what an interchange holds.
type handler struct {
	// begin is called after ISA and after each GS.
	begin func(*interchange) error
	group func(*interchange) error
	// set is called after each ST, of whose set it reads everything up to SE.
	set func(t *interchange, kind string, number []byte) error
	// envelope is called for each TA1; nil refuses it.
	envelope func(*interchange) error
}

// readAll reads interchanges to the end of the document and holds every count and number of their
// envelopes. OnlyOne refuses a second interchange. The notes in parentheses are the codes with which
// a receiver would answer; they are from memory.
func readAll(r io.Reader, onlyOne bool, h handler) error {
	t := &interchange{scanner: newScanner(r)}
	for count := 0; ; count++ {
		err := t.header()
		if errors.Is(err, io.EOF) && count > 0 {
			return nil
		}
		if errors.Is(err, io.EOF) {
			return errCut
		}
		if err != nil {
			return err
		}
		if onlyOne && count > 0 {
			return t.refuse(0, "X12_HEADER", "a second interchange follows; one document has one")
		}
		if err := t.read(h); err != nil {
			return err
		}
	}
}

func (t *interchange) read(h handler) (err error) {
	if t.number, err = t.whole(13); err != nil {
		return err
	}
	if t.time, err = t.moment(9, 10); err != nil {
		return err
	}
	t.isTest, t.headerVersion = string(t.get(15)) == "T", string(t.get(12))
	trimmed := func(element int) string { return string(bytes.TrimRight(t.get(element), " ")) }
	t.x12 = payers.X12{SenderQualifier: trimmed(5), SenderID: trimmed(6), ReceiverQualifier: trimmed(7),
		ReceiverID: trimmed(8), IsAcknowledgedByTA1: trimmed(14) == "1"}
	if err := h.begin(t); err != nil {
		return err
	}
	groups := int64(0)
	for {
		if err := t.next(); err != nil {
			return err
		}
		switch {
		case t.is("TA1") && groups == 0 && h.envelope != nil:
			err = h.envelope(t)
		case t.is("GS"):
			groups++
			err = t.readGroup(h)
		case t.is("IEA"):
			return t.checkEnd(1, groups, 2, t.number, "TA1_021", "TA1_001")
		default:
			err = t.refuse(0, "X12_ORDER", "GS or IEA belongs here")
		}
		if err != nil {
			return err
		}
	}
}

// checkEnd holds a trailer against what it closes.
func (t *interchange) checkEnd(countAt int, count int64, numberAt int, number int64, countReason, numberReason string) error {
	said, err := t.whole(countAt)
	if err != nil {
		return err
	}
	if said != count {
		return t.refuse(countAt, countReason, "it says %d and there are %d", said, count)
	}
	if said, err = t.whole(numberAt); err != nil {
		return err
	}
	if said != number {
		return t.refuse(numberAt, numberReason, "the trailer has the control number %d and the header %d", said, number)
	}
	return nil
}

func (t *interchange) readGroup(h handler) (err error) {
	t.kind = string(t.get(1))
	if t.groupNumber, err = t.whole(6); err != nil {
		return err
	}
	if t.groupTime, err = t.moment(4, 5); err != nil {
		return err
	}
	t.x12.SenderCode, t.x12.ReceiverCode, t.x12.Version = string(t.get(2)), string(t.get(3)), payers.X12Version(t.get(8))
	if err := h.group(t); err != nil {
		return err
	}
	sets := int64(0)
	for {
		if err := t.next(); err != nil {
			return err
		}
		switch {
		case t.is("ST"):
			sets++
			if err := t.readSet(h); err != nil {
				return err
			}
		case t.is("GE"):
			return t.checkEnd(1, sets, 2, t.groupNumber, "AK905_5", "AK905_4")
		default:
			return t.refuse(0, "X12_ORDER", "ST or GE belongs here")
		}
	}
}

func (t *interchange) readSet(h handler) error {
	began, kind := t.index, string(t.get(1))
	number := bytes.Clone(t.get(2))
	if len(number) < 4 || len(number) > 9 {
		return t.refuse(2, "X12_CONTROL_NUMBER", "%.20q is no control number of a set; it has 4 to 9 characters", number)
	}
	if err := h.set(t, kind, number); err != nil {
		return err
	}
	said, err := t.whole(1)
	if err != nil {
		return err
	}
	if count := int64(t.index - began + 1); said != count {
		return t.refuse(1, "AK502_4", "it says %d segments and there are %d", said, count)
	}
	if !bytes.Equal(t.get(2), number) {
		return t.refuse(2, "AK502_3", "the trailer has the control number %.20q and the header %.20q", t.get(2), number)
	}
	return nil
}
