// Package x12820 is the remittance format "x12-820": payment orders and remittance advices of X12,
// transaction set 820 of version 004010 or 005010, of which it reads what a shop needs.
//
//	ISA GS ST BPR [CUR] TRN { ENT [ADX [REF]] { RMR [REF] [ADX] } } SE GE IEA
//
// BPR02 is the payment, BPR16 its day, TRN02 the payer's number of it. RMR02 is the shop's invoice
// number (RMR01 is IV), or its claim number; RMR04 is what is paid for it, below zero where money is
// taken back. An ADX behind an RMR says why less is paid than was asked: RMR04 is less already. An ADX
// before the RMRs of its ENT changes the payment by itself, and is a line of its own. Without CUR the
// currency is the US dollar (common practice, no source).
//
// The RMR04s and those ADX01s sum to BPR02 (from memory; to be agreed with the payer). A payment that
// does not is one line that names nothing: the money came, and waits until a person has asked.
//
// Envelopes must close: the control numbers and counts of ISA and IEA, GS and GE, ST and SE agree.
// Several sets in one file are several payments. A file with any fault is refused whole, with every
// fault by its segment. Structure: published implementation guides; the texts of X12 are not copied.
package x12820
