// Package x12 is the claim format "x12": one X12 810 (invoice) for each claim, in release 004010 or
// 005010, and what payers answer to it: 997 and 999 (syntax), TA1 (the envelope), 824 (the claim).
//
// A document is one interchange (ISA to IEA) with one functional group of type IN. The batch's
// control number is ISA13, GS06 and, through the place of a claim in it, ST02: whoever answers by
// those numbers answers about one claim. Text that a person wrote is put into the character set by
// rule (accents are dropped, what has no letter becomes "?"); a number that does not fit is refused,
// because it would be another number. Delimiters are chosen so that none stands in the batch's text.
//
// Sources: the structure of the envelope, of 997, 999, TA1 and 824 after the maps of azoner/pyx12
// 8893c59 (BSD), segments and types of the 810 after public implementation guides; read 2026-11-25.
// The qualifiers of REF, N1 and DTM, the codes of OTI01 and the lengths of elements other than N102
// are from memory: a partner's guide decides. None of the standard's own text is in here.
//
// The package refuses to read what it does not understand whole, and never acknowledges an
// acknowledgement.
package x12
