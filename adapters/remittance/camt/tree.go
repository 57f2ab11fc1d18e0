package camt

import "strings"

// The tree of the two messages, as far as it is read. Names of elements are ISO 20022's.
type document struct {
	Statements    []account `xml:"BkToCstmrStmt>Stmt"`
	Notifications []account `xml:"BkToCstmrDbtCdtNtfctn>Ntfctn"`
}

type account struct {
	ID      string  `xml:"Id"`
	Entries []entry `xml:"Ntry"`
}

type entry struct {
	Reference   string   `xml:"NtryRef"`
	Amount      amount   `xml:"Amt"`
	CreditDebit string   `xml:"CdtDbtInd"`
	IsReversal  string   `xml:"RvslInd"`
	Status      status   `xml:"Sts"`
	BookingDay  day      `xml:"BookgDt"`
	ValueDay    day      `xml:"ValDt"`
	BankRef     string   `xml:"AcctSvcrRef"`
	Details     []detail `xml:"NtryDtls>TxDtls"`
}

type amount struct {
	Text     string `xml:",chardata"`
	Currency string `xml:"Ccy,attr"`
}

// status is text in old versions and a code below it in new ones.
type status struct {
	Text string `xml:",chardata"`
	Code string `xml:"Cd"`
}

func (s status) word() string {
	if s.Code != "" {
		return s.Code
	}
	return strings.TrimSpace(s.Text)
}

type day struct {
	Day  string `xml:"Dt"`
	Time string `xml:"DtTm"`
}

// text is the civil day, of either form.
func (d day) text() string {
	if d.Day == "" && len(d.Time) >= 10 {
		return d.Time[:10]
	}
	return d.Day
}

type detail struct {
	BankRef     string       `xml:"Refs>AcctSvcrRef"`
	EndToEnd    string       `xml:"Refs>EndToEndId"`
	Transaction string       `xml:"Refs>TxId"`
	Amount      amount       `xml:"Amt"`
	CreditDebit string       `xml:"CdtDbtInd"`
	OldAmount   amount       `xml:"AmtDtls>TxAmt>Amt"`
	OldDebtor   string       `xml:"RltdPties>Dbtr>Nm"`
	Debtor      string       `xml:"RltdPties>Dbtr>Pty>Nm"`
	FreeText    []string     `xml:"RmtInf>Ustrd"`
	Structured  []structured `xml:"RmtInf>Strd"`
}

func (d detail) debtor() string {
	if d.Debtor != "" {
		return d.Debtor
	}
	return d.OldDebtor
}

type structured struct {
	Documents []struct {
		Kind   string `xml:"Tp>CdOrPrtry>Cd"`
		Number string `xml:"Nb"`
	} `xml:"RfrdDocInf"`
	Remitted    amount `xml:"RfrdDocAmt>RmtdAmt"`
	Credited    amount `xml:"RfrdDocAmt>CdtNoteAmt"`
	Adjustments []struct {
		Amount      amount `xml:"Amt"`
		CreditDebit string `xml:"CdtDbtInd"`
		Reason      string `xml:"Rsn"`
		Text        string `xml:"AddtlInf"`
	} `xml:"RfrdDocAmt>AdjstmntAmtAndRsn"`
	Creditor string   `xml:"CdtrRefInf>Ref"`
	Texts    []string `xml:"AddtlRmtInf"`
}

// number is the invoice that it names; empty when it names none.
func (s structured) number() string {
	if len(s.Documents) > 0 {
		return strings.TrimSpace(s.Documents[0].Number)
	}
	return strings.TrimSpace(s.Creditor)
}
