// Package document prints invoices and credit notes as PDF.
//
// A page is a ledger sheet: a band that ends in printed dots as the edge of laminated glass does,
// one sentence that says what is to be paid, ruled lines, figures of equal width in a money column,
// and the bookkeeper's double line under the total. Letter and A4.
//
// Equal input gives equal bytes: every date in the file is that of the invoice. Text is real text
// in embedded fonts, so it can be searched, copied and read aloud; the file names its language and
// title. It carries no tags of structure, for the library writes none.
//
// The package refuses to print figures that do not add up, and paper that it does not know. It
// computes nothing that is owed; what the ledger says is what stands on the paper.
//
// Fonts: Open Sans (Apache License 2.0) for what is read as data, in figures of equal width, and
// Caladea (SIL Open Font License) for the few words in a book face; font/README.md tells whence.
// They know Latin, Greek and Cyrillic; a character beyond them stands as an empty box on paper and
// whole in the text beneath it. Nothing is written from right to left.
package document
