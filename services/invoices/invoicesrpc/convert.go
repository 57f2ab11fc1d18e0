package invoicesrpc

import (
	invoicesv1 "cullet/proto/cullet/invoices/v1"
	"cullet/services/internal/rpc/wire"
	"cullet/services/invoices"
	"cullet/services/invoices/invoicespg"
)

func toInvoice(i invoices.Invoice) *invoicesv1.Invoice {
	message := &invoicesv1.Invoice{
		InvoiceId: string(i.ID), InvoiceNumber: i.Number,
		Kind:             wire.Value[invoicesv1.InvoiceKind](invoicesv1.InvoiceKind_value, "INVOICE_KIND_", i.Kind),
		CreditsInvoiceId: string(i.Credits), IssueDate: i.IssueDate, DueDate: i.DueDate, BillToName: i.BillTo.Name,
		PayerId: string(i.Payer), Net: wire.ToMoney(i.Net), Tax: wire.ToMoney(i.Tax), Total: wire.ToMoney(i.Total),
		Open: wire.ToMoney(i.Open()), PurchaseOrder: i.PurchaseOrder, IssueTime: wire.ToTime(i.IssueTime),
		IsPaid: i.Kind == invoices.KindInvoice && i.Open().IsZero(),
	}
	for _, l := range i.Lines {
		line := wire.ToLine(l.Line)
		line.LineNumber = int32(l.Number)
		message.Lines = append(message.Lines, &invoicesv1.InvoiceLine{Line: line, ClaimId: string(l.Claim),
			ClaimNumber: l.ClaimNumber, JobId: string(l.Job)})
	}
	for _, r := range i.Receivables {
		message.Receivables = append(message.Receivables, &invoicesv1.Receivable{ReceivableId: string(r.ID),
			DebtorKind: string(r.DebtorKind), DebtorName: r.DebtorName, Amount: wire.ToMoney(r.Amount), Open: wire.ToMoney(r.Open),
			Transferred: wire.ToMoney(r.Transferred), DueDate: r.DueDate})
	}
	return message
}

func toAllocations(all []invoicespg.Allocated) (messages []*invoicesv1.Allocation) {
	for _, a := range all {
		messages = append(messages, &invoicesv1.Allocation{AllocationId: string(a.ID), ReceivableId: string(a.Receivable),
			InvoiceId: string(a.Invoice), Source: string(a.Source), Amount: wire.ToMoney(a.Amount), EntryDate: a.Date,
			RemittanceId: string(a.Remittance), LineNumber: int32(a.LineNumber), PaymentId: string(a.Payment),
			CreditInvoiceId: string(a.CreditNote), ReversesAllocationId: string(a.Reverses), Reason: a.Reason, CreatedBy: a.CreatedBy})
	}
	return messages
}

func toDispute(d invoices.Dispute) *invoicesv1.Dispute {
	return &invoicesv1.Dispute{DisputeId: string(d.ID), ReceivableId: string(d.Receivable), Amount: wire.ToMoney(d.Amount),
		Reason: d.Reason, OpenTime: wire.ToTime(d.OpenTime), OpenedBy: d.OpenedBy, CloseTime: wire.ToTimeOrNil(d.CloseTime), Outcome: d.Outcome}
}

func toRemittance(r invoicespg.Received) *invoicesv1.Remittance {
	unmatched := r.Amount
	unmatched.Minor -= r.Allocated.Minor
	message := &invoicesv1.Remittance{RemittanceId: string(r.ID), PayerId: string(r.Payer), PayerName: r.PayerName,
		Reference: r.Reference, PaidDate: r.PaidDate, Amount: wire.ToMoney(r.Amount), Allocated: wire.ToMoney(r.Allocated),
		Unmatched: wire.ToMoney(unmatched), PostTime: wire.ToTime(r.PostTime)}
	for _, l := range r.Lines {
		message.Lines = append(message.Lines, &invoicesv1.RemittanceLine{LineNumber: int32(l.Number), InvoiceNumber: l.InvoiceNumber,
			ClaimNumber: l.ClaimNumber, Paid: wire.ToMoney(l.Paid), Allocated: wire.ToMoney(l.Allocated), ReasonCode: l.ReasonCode,
			ReasonText: l.ReasonText, Sentence: l.Sentence})
	}
	return message
}

func toEntry(e invoices.Entry) *invoicesv1.JournalEntry {
	message := &invoicesv1.JournalEntry{EntryId: string(e.ID), EntryDate: e.Date, DocumentKind: e.DocumentKind,
		DocumentId: e.DocumentID, Memo: e.Memo, PostTime: wire.ToTime(e.PostTime)}
	for _, p := range e.Postings {
		message.Lines = append(message.Lines, &invoicesv1.JournalLine{Account: string(p.Account), JurisdictionCode: p.Jurisdiction,
			PayerId: string(p.Payer), Amount: wire.ToMoney(p.Amount)})
	}
	return message
}
