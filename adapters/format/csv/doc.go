// Package csvformat is the claim format "csv": a file of rows with the columns that a payer wants, in
// its order, under its names, with its delimiter and decimal sign. Lines end in CRLF and text is UTF-8;
// cells are quoted as RFC 4180 has it.
//
// A cell never becomes a formula: text that a spreadsheet would take for one gets an apostrophe in
// front, and so does text that begins with an apostrophe, so that nothing is ambiguous. Control
// characters in names become spaces; in numbers they are refused, because it would be another number.
//
// Without columns of the payer's own a file has every column that the format knows, and then it can
// be read back: the counts in it tell whether a part is missing. A payer answers in a CSV file with the
// columns of ReadAnswers. The package refuses a file with any fault whole.
package csvformat
