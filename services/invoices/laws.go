package invoices

// Law is a law of the books, by name. invoicespg checks each of them on stored data, booktest those
// of money on a model in memory.
type Law string

// The laws.
const (
	TrialBalanceIsZero      Law = "trial balance is zero"
	EntriesBalance          Law = "every journal entry balances"
	EntriesHavePostings     Law = "every journal entry has postings"
	PostedOnce              Law = "every document of money is posted once"
	LinesSumToDocument      Law = "a document's lines sum to it"
	SharesSumToInvoice      Law = "an invoice's shares sum to it"
	OpenIsOwedLessAllocated Law = "what is open is what was owed less what was allocated"
	BalanceOfInvoice        Law = "an invoice is paid if and only if its balance is zero"
	NothingBelowZero        Law = "nothing is below zero"
	ReceivablesEqualJournal Law = "receivables equal the journal"
	AgingEqualsJournal      Law = "aging equals the journal"
	SeriesHaveNoGap         Law = "number series have no gap"
	CountersAgree           Law = "the counters agree with the series"
	DaysFollowNumbers       Law = "days follow numbers"
	UnmatchedEqualsJournal  Law = "unmatched money equals the journal"
	LineAllocatedOnce       Law = "a remittance line is allocated at most once"
	LinesSumToDeposit       Law = "remittance lines sum to the deposit"
	CashEqualsJournal       Law = "cash is what came less what went back"
	WriteOffsEqualJournal   Law = "write-offs equal the journal"
	TaxEqualsDocuments      Law = "tax payable equals the documents"
	TaxByJurisdiction       Law = "tax payable of each jurisdiction equals the documents' lines"
	PostingsNeverChange     Law = "a document's postings are its figures"
	UndoneOnce              Law = "an allocation is undone at most once, and wholly"
	TransfersMakeNothing    Law = "moving a share makes and loses nothing"
	CreditsWithinInvoice    Law = "credit notes credit no more than their invoice"
	FiledReturnsStand       Law = "a filed tax return is the postings of its period"
	NothingInClosedMonths   Law = "nothing is booked in a month after it was closed"
	ClaimOnOneInvoice       Law = "a released claim is on exactly one invoice that stands"
	ClaimInOneBatch         Law = "a claim is in one batch at a time"
)

// Laws lists every law in the order in which they are told.
func Laws() []Law {
	return []Law{TrialBalanceIsZero, EntriesBalance, EntriesHavePostings, PostedOnce, LinesSumToDocument, SharesSumToInvoice,
		OpenIsOwedLessAllocated, BalanceOfInvoice, NothingBelowZero, ReceivablesEqualJournal, AgingEqualsJournal, SeriesHaveNoGap,
		CountersAgree, DaysFollowNumbers, UnmatchedEqualsJournal, LineAllocatedOnce, LinesSumToDeposit, CashEqualsJournal,
		WriteOffsEqualJournal, TaxEqualsDocuments, TaxByJurisdiction, PostingsNeverChange, UndoneOnce, TransfersMakeNothing,
		CreditsWithinInvoice, FiledReturnsStand, NothingInClosedMonths, ClaimOnOneInvoice, ClaimInOneBatch}
}
