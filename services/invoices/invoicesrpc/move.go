package invoicesrpc

import (
	"context"
	"fmt"

	invoicesv1 "cullet/proto/cullet/invoices/v1"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/invoices"
	"cullet/services/invoices/invoicespg"
	"cullet/services/money"
)

// movedCaution stands beside a share that is moved.
const movedCaution = "Whether a motorist may be billed for what a payer denied is for the law of the place and the shop's agreement with the payer to say; confirm it before the motorist is asked for money."

// why checks a reason: it is required and short.
func why(path, text string) []errs.Field {
	if text == "" {
		return []errs.Field{{Path: path, Reason: "REQUIRED", Message: "nothing was given; say why, in a sentence"}}
	}
	return tooLong(path, text, 500)
}

// CreditInvoice writes a credit note.
func (s *Server) CreditInvoice(ctx context.Context, req *invoicesv1.CreditInvoiceRequest) (*invoicesv1.CreditInvoiceResponse, error) {
	id, err := idOf[ident.Invoice]("invoice", req.GetInvoiceId())
	if err != nil {
		return nil, err
	}
	faults := why("reason", req.GetReason())
	numbers := make([]int, len(req.GetLineNumbers()))
	seen := map[int]bool{}
	for n, number := range req.GetLineNumbers() {
		numbers[n] = int(number)
		if seen[int(number)] {
			faults = append(faults, errs.Field{Path: fmt.Sprintf("line_numbers[%d]", n), Reason: "REPEATED",
				Message: fmt.Sprintf("%d was given twice; name each line once", number)})
		}
		seen[int(number)] = true
	}
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	actor := rpc.CallerFrom(ctx).Name
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*invoicesv1.CreditInvoiceResponse, error) {
		note, err := s.line.CreditInvoice(ctx, tx, id, numbers, req.GetReason(), actor)
		return &invoicesv1.CreditInvoiceResponse{CreditNote: toInvoice(note)}, err
	})
}

// MoveShare moves what is open to the other debtor.
func (s *Server) MoveShare(ctx context.Context, req *invoicesv1.MoveShareRequest) (*invoicesv1.MoveShareResponse, error) {
	id, err := idOf[ident.Invoice]("invoice", req.GetInvoiceId())
	if err != nil {
		return nil, err
	}
	faults := why("reason", req.GetReason())
	amount := money.Amount{}
	if req.GetAmount() != nil {
		var bad []errs.Field
		amount, bad = positive("amount", req.GetAmount())
		faults = append(faults, bad...)
	}
	to := invoices.DebtorKind(req.GetToDebtorKind())
	if to != invoices.DebtorMotorist && to != invoices.DebtorPayer {
		faults = append(faults, errs.Field{Path: "to_debtor_kind", Reason: "UNKNOWN_VALUE",
			Message: fmt.Sprintf("%.40q was given; allowed are MOTORIST and PAYER", req.GetToDebtorKind())})
	}
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	actor := rpc.CallerFrom(ctx).Name
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*invoicesv1.MoveShareResponse, error) {
		i, err := s.line.MoveShare(ctx, tx, id, to, amount, req.GetReason(), actor)
		return &invoicesv1.MoveShareResponse{Invoice: toInvoice(i), Caution: movedCaution}, err
	})
}

// UndoAllocation takes the allocation of a deposit, or a write-off, back.
func (s *Server) UndoAllocation(ctx context.Context, req *invoicesv1.UndoAllocationRequest) (*invoicesv1.UndoAllocationResponse, error) {
	id, err := idOf[ident.Allocation]("allocation", req.GetAllocationId())
	if err != nil {
		return nil, err
	}
	if err := rpc.Refuse(ctx, why("reason", req.GetReason())); err != nil {
		return nil, err
	}
	actor := rpc.CallerFrom(ctx).Name
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*invoicesv1.UndoAllocationResponse, error) {
		i, err := s.line.Undo(ctx, tx, id, req.GetReason(), actor)
		return &invoicesv1.UndoAllocationResponse{Invoice: toInvoice(i)}, err
	})
}

// RefundPayment gives back what a motorist paid.
func (s *Server) RefundPayment(ctx context.Context, req *invoicesv1.RefundPaymentRequest) (*invoicesv1.RefundPaymentResponse, error) {
	id, err := idOf[ident.Payment]("payment", req.GetPaymentId())
	if err != nil {
		return nil, err
	}
	amount, faults := positive("amount", req.GetAmount())
	faults = append(append(faults, why("reason", req.GetReason())...), tooLong("reference", req.GetReference(), 100)...)
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	refund := invoices.Refund{Payment: id, Amount: amount, IsReturned: req.GetIsReturned(), Reference: req.GetReference()}
	actor := rpc.CallerFrom(ctx).Name
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*invoicesv1.RefundPaymentResponse, error) {
		i, err := s.line.RefundPayment(ctx, tx, refund, req.GetReason(), actor)
		return &invoicesv1.RefundPaymentResponse{Invoice: toInvoice(i)}, err
	})
}

// RefundUnmatched gives unmatched money back.
func (s *Server) RefundUnmatched(ctx context.Context, req *invoicesv1.RefundUnmatchedRequest) (*invoicesv1.RefundUnmatchedResponse, error) {
	id, err := idOf[ident.Remittance]("remittance", req.GetRemittanceId())
	if err != nil {
		return nil, err
	}
	amount, faults := positive("amount", req.GetAmount())
	faults = append(append(faults, why("reason", req.GetReason())...), tooLong("reference", req.GetReference(), 100)...)
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	refund := invoices.Refund{Remittance: id, LineNumber: int(req.GetLineNumber()), Amount: amount, Reference: req.GetReference()}
	actor := rpc.CallerFrom(ctx).Name
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*invoicesv1.RefundUnmatchedResponse, error) {
		r, err := s.line.RefundUnmatched(ctx, tx, refund, req.GetReason(), actor)
		return &invoicesv1.RefundUnmatchedResponse{Remittance: toRemittance(r)}, err
	})
}

// ReturnRemittance books that a deposit never truly came.
func (s *Server) ReturnRemittance(ctx context.Context, req *invoicesv1.ReturnRemittanceRequest) (*invoicesv1.ReturnRemittanceResponse, error) {
	id, err := idOf[ident.Remittance]("remittance", req.GetRemittanceId())
	if err != nil {
		return nil, err
	}
	if err := rpc.Refuse(ctx, why("reason", req.GetReason())); err != nil {
		return nil, err
	}
	actor := rpc.CallerFrom(ctx).Name
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*invoicesv1.ReturnRemittanceResponse, error) {
		r, err := s.line.ReturnRemittance(ctx, tx, id, req.GetReason(), actor)
		return &invoicesv1.ReturnRemittanceResponse{Remittance: toRemittance(r)}, err
	})
}

// OpenDispute writes down what a debtor contests.
func (s *Server) OpenDispute(ctx context.Context, req *invoicesv1.OpenDisputeRequest) (*invoicesv1.OpenDisputeResponse, error) {
	id, err := idOf[ident.Invoice]("invoice", req.GetInvoiceId())
	if err != nil {
		return nil, err
	}
	amount, faults := positive("amount", req.GetAmount())
	if err := rpc.Refuse(ctx, append(faults, why("reason", req.GetReason())...)); err != nil {
		return nil, err
	}
	d := invoices.Dispute{Amount: amount, Reason: req.GetReason(), Receivable: ident.Receivable(req.GetReceivableId()),
		OpenedBy: rpc.CallerFrom(ctx).Name}
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*invoicesv1.OpenDisputeResponse, error) {
		opened, err := s.line.OpenDispute(ctx, tx, id, d)
		return &invoicesv1.OpenDisputeResponse{Dispute: toDispute(opened)}, err
	})
}

// CloseDispute ends a dispute.
func (s *Server) CloseDispute(ctx context.Context, req *invoicesv1.CloseDisputeRequest) (*invoicesv1.CloseDisputeResponse, error) {
	id, err := idOf[ident.Dispute]("dispute", req.GetDisputeId())
	if err != nil {
		return nil, err
	}
	if err := rpc.Refuse(ctx, why("outcome", req.GetOutcome())); err != nil {
		return nil, err
	}
	at, actor := s.now().UTC(), rpc.CallerFrom(ctx).Name
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*invoicesv1.CloseDisputeResponse, error) {
		err := invoicespg.CloseDispute(ctx, tx, id, req.GetOutcome(), at, actor)
		return &invoicesv1.CloseDisputeResponse{CloseTime: wire.ToTime(at)}, err
	})
}
