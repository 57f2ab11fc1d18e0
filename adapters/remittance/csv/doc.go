// Package csvremittance is the remittance format "csv": one deposit of a payer with what it
// covers, as a table that any spreadsheet writes.
//
// The first row names the columns, in any order; the rows below are the lines of the payment:
//
//	payment_reference  the payer's own number of the payment; the same in every row
//	paid_date          day of the payment, 2026-11-12; the same in every row
//	currency           ISO 4217 code; the same in every row
//	total              the whole payment, 612.40; the same in every row
//	invoice_number     the shop's number of the invoice; may be empty
//	claim_number       the shop's number of the claim; may be empty
//	paid               what of the payment is for this line; negative where money is taken back
//	reason_code        why less is paid than was asked, the payer's code; may be empty
//	reason_text        the same in the payer's words; may be empty
//
// The total stands in every row so that a file that lost rows cannot pass: the lines must sum to
// it to the cent. Amounts are plain decimal numbers with a point, without signs of currency or
// thousands and with no more decimals than the currency has; nothing is ever rounded.
//
// Text is UTF-8; a byte order mark and Windows line ends are read, empty rows are skipped. Cells
// are data and are never evaluated. A number or code that begins as a formula does (= + - @) is
// refused; the payer's words are kept as they are, and whoever exports them guards the cell.
//
// A file with any fault is refused whole, with every fault by its line.
package csvremittance
