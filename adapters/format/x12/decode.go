package x12

import (
	"fmt"
	"io"
	"strings"
	"time"

	"cullet/services/claims"
	"cullet/services/money"
)

// Decode reads a batch back and holds its sums and counts. Payloads do not travel: an 810 carries a
// part of them. Whatever is unknown or does not add up is refused with an errs.Invalid error.
func (Format) Decode(r io.Reader) (claims.Envelope, []claims.Frozen, error) {
	var b batch
	b.numbers = map[string]bool{}
	err := readAll(r, true, handler{
		begin: func(t *interchange) error {
			b.envelope.ControlNumber, b.envelope.IsTest = t.number, t.isTest
			return nil
		},
		group: b.group,
		set:   b.set,
	})
	if err == nil && len(b.all) == 0 {
		err = errCut
	}
	if err != nil {
		return claims.Envelope{}, nil, unreadable(err)
	}
	return b.envelope, b.all, nil
}

// batch is what of a batch was read so far.
type batch struct {
	envelope claims.Envelope
	all      []claims.Frozen
	numbers  map[string]bool
	isGroup  bool
}

func (b *batch) group(t *interchange) error {
	if t.kind != "IN" || b.isGroup {
		return t.refuse(1, "X12_GROUP", "a batch has one group, and its type is IN")
	}
	if t.groupNumber != t.number {
		return t.refuse(6, "X12_CONTROL_NUMBER", "the group has the control number %d and the interchange %d", t.groupNumber, t.number)
	}
	if version := string(t.x12.Version); version != "004010" && version != "005010" || version[:5] != t.headerVersion {
		return t.refuse(8, "X12_VERSION", "%.20q is not read; 004010 and 005010 are, each with the header of its release", version)
	}
	b.isGroup, b.envelope.BuildTime, b.envelope.X12 = true, t.groupTime, t.x12
	return nil
}

// invoice is the present 810.
type invoice struct {
	number, currency, code, shop string
	lines, sum, total            int64
	isTotalled, isCounted        bool
}

func (b *batch) set(t *interchange, kind string, number []byte) error {
	if kind != "810" {
		return t.refuse(1, "X12_SET", "%.10q is no claim; an 810 is", kind)
	}
	if want := fmt.Sprintf("%04d", len(b.all)+1); string(number) != want {
		return t.refuse(2, "X12_CONTROL_NUMBER", "the set has the number %s; the next one is %s", number, want)
	}
	var in invoice
	for {
		if err := t.next(); err != nil {
			return err
		}
		if t.is("SE") {
			break
		}
		if err := in.segment(t); err != nil {
			return err
		}
	}
	return b.take(t, in)
}

// take checks a whole invoice and keeps it.
func (b *batch) take(t *interchange, in invoice) error {
	switch {
	case in.number == "" || in.currency == "" || !in.isTotalled || !in.isCounted || in.lines == 0:
		return t.refuse(0, "X12_INCOMPLETE", "the invoice lacks its claim number, currency, lines, total or count")
	case in.sum != in.total:
		return t.refuse(0, "X12_SUM", "lines, tax and allowances sum to %d hundredths and the total is %d", in.sum, in.total)
	case b.numbers[in.number]:
		return t.refuse(0, "CLAIM_REPEATED", "claim %.40q is in the document twice", in.number)
	case len(b.all) > 0 && (in.shop != b.envelope.ShopName || in.code != b.envelope.PayerCode):
		return t.refuse(0, "X12_PARTIES", "the claims of one document are of one shop and for one payer")
	case len(b.all) > 0 && in.currency != b.all[0].PayerShare.Currency:
		return t.refuse(0, "BATCH_SUM", "the claims of one document are in one currency")
	}
	b.numbers[in.number] = true
	b.envelope.ShopName, b.envelope.PayerCode = in.shop, in.code
	b.all = append(b.all, claims.Frozen{Number: in.number, PayerShare: money.From(in.total, in.currency)})
	return nil
}

// lengths are the most characters of elements, those that we write.
var lengths = map[string]int{"N102": maxName, "BIG02": maxInvoiceNumber, "REF02": maxReference, "PID05": maxDescription}

// segment takes one segment of an 810.
func (in *invoice) segment(t *interchange) (err error) {
	if code := string(t.get(0)); code == "N1" || code == "BIG" || code == "REF" || code == "PID" {
		for i := range t.elements {
			if most, ok := lengths[fmt.Sprintf("%s%02d", code, i)]; ok && len(t.get(i)) > most {
				return t.refuse(i, "X12_LENGTH", "%.70q has %d characters; at most %d are allowed", t.get(i), len(t.get(i)), most)
			}
		}
	}
	switch string(t.get(0)) {
	case "BIG":
		if _, err := time.Parse("20060102", string(t.get(1))); err != nil || len(t.get(2)) == 0 {
			return t.refuse(1, "X12_INVOICE", "%.20q with %.20q is no day and number of an invoice", t.get(1), t.get(2))
		}
	case "CUR":
		in.currency = string(t.get(2))
		if digits, ok := money.Digits(in.currency); !ok || digits != 2 {
			return t.refuse(2, "X12_CURRENCY", "%.10q is no currency with hundredths", in.currency)
		}
	case "REF":
		if string(t.get(1)) == refClaim {
			in.number = string(t.get(2))
		}
	case "N1":
		in.party(t)
	case "IT1":
		return in.line(t)
	case "TDS":
		in.total, err = t.whole(1)
		in.isTotalled = true
	case "TXI":
		return in.tax(t)
	case "SAC":
		return in.allowance(t)
	case "CTT":
		in.isCounted = true
		var said int64
		if said, err = t.whole(1); err == nil && said != in.lines {
			return t.refuse(1, "X12_COUNT", "it says %d lines and there are %d", said, in.lines)
		}
	case "N3", "N4", "PER", "ITD", "DTM", "PID":
	default:
		return t.refuse(0, "X12_UNKNOWN", "the segment is not known in an 810 of ours")
	}
	return err
}

func (in *invoice) party(t *interchange) {
	switch string(t.get(1)) {
	case "SE":
		in.shop = string(t.get(2))
	case "BT":
		in.code = strings.ToLower(string(t.get(4)))
	}
}

func (in *invoice) line(t *interchange) error {
	quantity, err := t.whole(2)
	if err != nil {
		return err
	}
	price, err := t.hundredths(4)
	if err != nil {
		return err
	}
	if quantity < 0 || quantity > 1_000_000 || price > 1e12 || price < -1e12 {
		return t.refuse(2, "X12_NUMBER", "%d times %d hundredths is more than anybody asks for", quantity, price)
	}
	in.lines++
	in.sum += quantity * price
	return nil
}

func (in *invoice) tax(t *interchange) error {
	amount, err := t.hundredths(2)
	if err != nil {
		return err
	}
	if rate := t.get(3); len(rate) > 0 {
		if billionths, ok := parseFraction(rate); !ok || billionths > rateUnit {
			return t.refuse(3, "X12_RATE", "%.20q is no rate; it is a decimal fraction from 0 to 1, .08875 for 8.875 %%", rate)
		}
	}
	in.sum += amount
	return nil
}

func (in *invoice) allowance(t *interchange) error {
	amount, err := t.whole(5)
	if err != nil {
		return err
	}
	switch string(t.get(1)) {
	case "A":
		in.sum -= amount
	case "C":
		in.sum += amount
	default:
		return t.refuse(1, "X12_ALLOWANCE", "%.10q is neither an allowance (A) nor a charge (C)", t.get(1))
	}
	return nil
}
