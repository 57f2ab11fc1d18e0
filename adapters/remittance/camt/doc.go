// Package camt is the remittance format "camt": statements and notifications of a bank, ISO 20022
// camt.053 (BkToCstmrStmt) and camt.054 (BkToCstmrDbtCdtNtfctn), of any version from 02 on.
//
// Each booked credit is a payment. An entry with details (TxDtls) is a payment a detail, and the
// details sum to it; one without is a payment by itself. Its number is AcctSvcrRef, else EndToEndId,
// else TxId, else the entry's own AcctSvcrRef or NtryRef, so that a notification and the statement of
// the same day post it once; its day is the booking day. The debtor's name comes with it, because a
// bank's file has many payers.
//
// What it covers is read from structured remittance information: the numbers of invoices (RfrdDocInf,
// CdtrRefInf) with what is remitted of each, and the reason for paying less. When these do not sum to
// the payment, or when there is only free text, the payment is one line that names an invoice or claim
// if the text has exactly one such number, and nothing otherwise: it waits, it is never guessed.
//
// Debits are the shop's own affairs and are left out. A reversal (RvslInd), and what is not booked yet,
// is told as a note. Text is UTF-8. A document type definition is refused, so no entity is ever
// expanded; depth, size and number of elements are bounded before anything is read. A file with any
// fault is refused whole, with every fault by its path.
//
// The tree of camt.054.001.11 was read; RfrdDocInf, RfrdDocAmt and camt.053 are from memory.
package camt
