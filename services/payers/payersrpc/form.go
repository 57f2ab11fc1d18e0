package payersrpc

import (
	"fmt"
	"reflect"
	"slices"
	"strings"

	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/payers"
)

func toX12(x payers.X12) *payersv1.X12Settings {
	if x == (payers.X12{}) {
		return nil
	}
	return &payersv1.X12Settings{Version: string(x.Version), SenderQualifier: x.SenderQualifier, SenderId: x.SenderID,
		ReceiverQualifier: x.ReceiverQualifier, ReceiverId: x.ReceiverID, SenderCode: x.SenderCode, ReceiverCode: x.ReceiverCode,
		IsBasic: x.IsBasic, IsAcknowledgedByTa1: x.IsAcknowledgedByTA1}
}

func fromX12(m *payersv1.X12Settings) payers.X12 {
	return payers.X12{Version: payers.X12Version(m.GetVersion()), SenderQualifier: m.GetSenderQualifier(), SenderID: m.GetSenderId(),
		ReceiverQualifier: m.GetReceiverQualifier(), ReceiverID: m.GetReceiverId(), SenderCode: m.GetSenderCode(),
		ReceiverCode: m.GetReceiverCode(), IsBasic: m.GetIsBasic(), IsAcknowledgedByTA1: m.GetIsAcknowledgedByTa1()}
}

func toCSV(c payers.CSV) *payersv1.CsvSettings {
	if reflect.DeepEqual(c, payers.CSV{}) {
		return nil
	}
	m := &payersv1.CsvSettings{Delimiter: c.Delimiter, IsDecimalComma: c.IsDecimalComma, IsRowPerLine: c.IsRowPerLine}
	for _, column := range c.Columns {
		m.Columns = append(m.Columns, &payersv1.CsvColumn{Header: column.Header, Source: column.Source, Fixed: column.Fixed})
	}
	return m
}

func fromCSV(m *payersv1.CsvSettings) payers.CSV {
	c := payers.CSV{Delimiter: m.GetDelimiter(), IsDecimalComma: m.GetIsDecimalComma(), IsRowPerLine: m.GetIsRowPerLine()}
	for _, column := range m.GetColumns() {
		c.Columns = append(c.Columns, payers.CSVColumn{Header: column.GetHeader(), Source: column.GetSource(), Fixed: column.GetFixed()})
	}
	return c
}

// checkForm holds the settings of a format against the format.
func checkForm(f *faultList, p payers.Profile) {
	if p.Format != "x12" {
		if p.X12 != (payers.X12{}) {
			f.add("x12", "CONTRADICTION", "settings of X12 were given and the format is %q; leave them out, or give the format \"x12\"", p.Format)
		}
	} else {
		checkX12(f, p)
	}
	if p.Format == "csv" {
		checkCSV(f, p)
	} else if toCSV(p.CSV) != nil {
		f.add("csv", "CONTRADICTION", "settings of CSV were given and the format is %q; leave them out, or give the format \"csv\"", p.Format)
	}
}

func checkX12(f *faultList, p payers.Profile) {
	for _, id := range []struct{ path, given string }{{"x12.sender_id", p.X12.SenderID}, {"x12.receiver_id", p.X12.ReceiverID}} {
		if id.given == "" {
			f.add(id.path, "REQUIRED", "nothing was given and interchanges are addressed by it; give what was agreed with the payer")
		}
	}
	for _, id := range []struct{ path, given string }{{"x12.sender_id", p.X12.SenderID}, {"x12.receiver_id", p.X12.ReceiverID},
		{"x12.sender_code", p.X12.SenderCode}, {"x12.receiver_code", p.X12.ReceiverCode}} {
		isPlain := !strings.ContainsFunc(id.given, func(r rune) bool {
			return !(r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r == ' ' || r == '-' || r == '.')
		})
		if !isPlain || strings.TrimSpace(id.given) != id.given {
			f.add(id.path, "FORM", "%q was given; allowed are capitals, digits, hyphens, points and spaces within", id.given)
		}
	}
	if p.IsInvoicedTogether {
		f.add("is_invoiced_together", "CONTRADICTION", "one invoice for many claims was asked for, and an X12 810 is the invoice of one claim; "+
			"bill each by itself, or give another format")
	}
}

// checkCSV wants columns that the format knows, each under a header of its own.
func checkCSV(f *faultList, p payers.Profile) {
	headers := map[string]bool{}
	for i, c := range p.CSV.Columns {
		path := fmt.Sprintf("csv.columns[%d].", i)
		switch isKnown := slices.Contains(payers.CSVSources, c.Source); {
		case (c.Source == "") == (c.Fixed == ""):
			f.add(path+"source", "CONTRADICTION", "source %q and fixed %q were given; give one of them", c.Source, c.Fixed)
		case c.Source != "" && !isKnown:
			f.add(path+"source", "UNKNOWN_VALUE", "%q was given; allowed are %s", c.Source, strings.Join(payers.CSVSources, ", "))
		case strings.HasPrefix(c.Source, "line.") && !p.CSV.IsRowPerLine:
			f.add(path+"source", "CONTRADICTION", "%s belongs to a line, and the file has a row for each claim; set is_row_per_line, or take it out", c.Source)
		}
		if headers[c.Header] {
			f.add(path+"header", "CONTRADICTION", "%q is the header of an earlier column; give each its own", c.Header)
		}
		headers[c.Header] = true
	}
}
