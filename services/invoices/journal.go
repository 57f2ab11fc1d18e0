package invoices

import (
	"time"

	"cullet/services/ident"
	"cullet/services/money"
)

// Account is an account of the shop's books.
type Account string

// The accounts of a small shop. Revenue has one per kind of line.
const (
	AccountReceivable Account = "receivable"
	AccountTaxPayable Account = "tax_payable"
	AccountCash       Account = "cash"
	AccountUnmatched  Account = "unmatched_money"
	AccountWriteOff   Account = "write_off"
	// AccountCardFees is what card companies keep of what was paid by card.
	AccountCardFees Account = "card_fees"
)

// revenuePrefix begins the accounts of revenue.
const revenuePrefix = "revenue."

// RevenueAccount gives the revenue account of a kind of line: "revenue.repair_labor".
func RevenueAccount(kind string) Account {
	lower := []byte(kind)
	for i, c := range lower {
		if c >= 'A' && c <= 'Z' {
			lower[i] = c + 'a' - 'A'
		}
	}
	return Account(revenuePrefix + string(lower))
}

// Posting is one line of an entry: a positive amount is a debit, a negative one a credit.
type Posting struct {
	Account Account
	// Jurisdiction is set on tax payable.
	Jurisdiction string
	// Payer is set on receivables of payers.
	Payer  ident.Payer
	Amount money.Amount
}

// Entry is one entry of the journal; its postings sum to zero. It never changes; one that was
// wrong is turned back by another that names it.
type Entry struct {
	ID           ident.Entry
	Shop         ident.Shop
	Date         string
	DocumentKind string
	DocumentID   string
	Memo         string
	Reverses     ident.Entry
	Postings     []Posting
	PostTime     time.Time
}
