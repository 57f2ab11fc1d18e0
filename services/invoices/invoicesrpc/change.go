package invoicesrpc

import (
	"context"
	"crypto/sha256"
	"fmt"
	"maps"
	"slices"
	"strings"

	invoicesv1 "cullet/proto/cullet/invoices/v1"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/invoices"
	"cullet/services/money"
)

// maxRemittance is the largest remittance file that a call takes.
const maxRemittance = 4 << 20

// InvoiceJob invoices a job to the motorist who pays himself. A job that has such an invoice
// already is answered with it.
func (s *Server) InvoiceJob(ctx context.Context, req *invoicesv1.InvoiceJobRequest) (*invoicesv1.InvoiceJobResponse, error) {
	id, err := idOf[ident.Job]("job", req.GetJobId())
	if err != nil {
		return nil, err
	}
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*invoicesv1.InvoiceJobResponse, error) {
		i, err := s.line.InvoiceJob(ctx, tx, id)
		return &invoicesv1.InvoiceJobResponse{Invoice: toInvoice(i)}, err
	})
}

// RecordPayment books money that a motorist paid.
func (s *Server) RecordPayment(ctx context.Context, req *invoicesv1.RecordPaymentRequest) (*invoicesv1.RecordPaymentResponse, error) {
	id, err := idOf[ident.Invoice]("invoice", req.GetInvoiceId())
	if err != nil {
		return nil, err
	}
	amount, faults := positive("amount", req.GetAmount())
	fee, bad := feeOf(req, amount)
	faults = append(append(faults, bad...), tooLong("reference", req.GetReference(), 100)...)
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	payment := invoices.Payment{ID: ident.New[ident.Payment](), Invoice: id, Amount: amount, Fee: fee, Reference: req.GetReference(),
		Method: wire.Word[invoices.Method]("PAYMENT_METHOD_", req.GetMethod())}
	actor := rpc.CallerFrom(ctx).Name
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*invoicesv1.RecordPaymentResponse, error) {
		i, err := s.line.Pay(ctx, tx, payment, actor)
		return &invoicesv1.RecordPaymentResponse{Invoice: toInvoice(i), PaymentId: string(payment.ID)}, err
	})
}

// feeOf reads what the card company keeps.
func feeOf(req *invoicesv1.RecordPaymentRequest, amount money.Amount) (money.Amount, []errs.Field) {
	if req.GetFee() == nil {
		return money.From(0, amount.Currency), nil
	}
	fee := wire.FromMoney(req.GetFee())
	faults := wire.CheckMoney("fee", req.GetFee(), amount.Currency)
	if len(faults) == 0 && (fee.Minor < 0 || fee.Minor > amount.Minor) {
		faults = append(faults, errs.Field{Path: "fee.minor_units", Reason: "OUT_OF_RANGE",
			Message: fmt.Sprintf("%d was given; give 0 to the amount, %d", fee.Minor, amount.Minor)})
	}
	if fee.Minor != 0 && req.GetMethod() != invoicesv1.PaymentMethod_PAYMENT_METHOD_CARD {
		faults = append(faults, errs.Field{Path: "fee", Reason: "NOT_WITH_THIS_METHOD", Message: "only a card company keeps a fee; leave it out, or give the method CARD"})
	}
	return fee, faults
}

// WriteOff gives up part of what is open of an invoice.
func (s *Server) WriteOff(ctx context.Context, req *invoicesv1.WriteOffRequest) (*invoicesv1.WriteOffResponse, error) {
	id, err := idOf[ident.Invoice]("invoice", req.GetInvoiceId())
	if err != nil {
		return nil, err
	}
	amount, faults := positive("amount", req.GetAmount())
	if err := rpc.Refuse(ctx, append(faults, tooLong("reason", req.GetReason(), 500)...)); err != nil {
		return nil, err
	}
	actor := rpc.CallerFrom(ctx).Name
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*invoicesv1.WriteOffResponse, error) {
		i, err := s.line.WriteOff(ctx, tx, id, ident.Receivable(req.GetReceivableId()), amount, req.GetReason(), actor)
		return &invoicesv1.WriteOffResponse{Invoice: toInvoice(i)}, err
	})
}

// PostRemittance posts a remittance file.
func (s *Server) PostRemittance(ctx context.Context, req *invoicesv1.PostRemittanceRequest) (*invoicesv1.PostRemittanceResponse, error) {
	payer, err := idOf[ident.Payer]("payer", req.GetPayerId())
	if err != nil {
		return nil, err
	}
	format, ok := s.formats[req.GetFormat()]
	if !ok {
		return nil, rpc.Refuse(ctx, []errs.Field{{Path: "format", Reason: "UNKNOWN_VALUE",
			Message: fmt.Sprintf("%.60q was given; allowed are %s", req.GetFormat(), strings.Join(slices.Sorted(maps.Keys(s.formats)), ", "))}})
	}
	if n := len(req.GetContent()); n > maxRemittance {
		return nil, rpc.Refuse(ctx, []errs.Field{{Path: "content", Reason: "TOO_LARGE", Message: fmt.Sprintf(
			"%d bytes were given and at most %d are allowed; split the file by payment", n, maxRemittance)}})
	}
	file, err := format.Read(req.GetContent())
	if err != nil {
		return nil, err
	}
	all, faults := paidBy(file, req.GetDebtorName())
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	actor := rpc.CallerFrom(ctx).Name
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*invoicesv1.PostRemittanceResponse, error) {
		resp := &invoicesv1.PostRemittanceResponse{IsRepeated: true, Notes: file.Notes}
		content := req.GetContent()
		for _, r := range all {
			r.Payer, r.FileHash = payer, sha256.Sum256(req.GetContent())
			stored, isRepeated, err := s.line.Remittance(ctx, tx, r, format.Name(), content, actor)
			if err != nil {
				return nil, err
			}
			if !isRepeated {
				content = nil // the file is kept once, with the first payment that was new
			}
			resp.IsRepeated = resp.GetIsRepeated() && isRepeated
			resp.Remittances = append(resp.Remittances, toRemittance(stored))
		}
		resp.Remittance = resp.GetRemittances()[0]
		return resp, nil
	})
}

// paidBy gives the payments of a file that are the debtor's.
func paidBy(file invoices.RemittanceFile, debtor string) ([]invoices.Remittance, []errs.Field) {
	names := file.Debtors()
	all := file.Of(debtor)
	switch {
	case debtor == "" && len(names) > 1:
		return nil, []errs.Field{{Path: "debtor_name", Reason: "REQUIRED", Message: fmt.Sprintf(
			"the file has payments of %d debtors; name the one that is this payer: %.400s", len(names), strings.Join(names, "; "))}}
	case len(all) == 0:
		return nil, []errs.Field{{Path: "debtor_name", Reason: "UNKNOWN_VALUE", Message: fmt.Sprintf(
			"the file has no payment of %.60q; it has payments of: %.400s. %.400s", debtor, strings.Join(names, "; "), strings.Join(file.Notes, " "))}}
	}
	return all, nil
}

// Allocate puts unmatched money on an invoice by hand.
func (s *Server) Allocate(ctx context.Context, req *invoicesv1.AllocateRequest) (*invoicesv1.AllocateResponse, error) {
	id, err := idOf[ident.Remittance]("remittance", req.GetRemittanceId())
	if err != nil {
		return nil, err
	}
	invoice, err := idOf[ident.Invoice]("invoice", req.GetInvoiceId())
	if err != nil {
		return nil, err
	}
	amount, faults := positive("amount", req.GetAmount())
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	actor := rpc.CallerFrom(ctx).Name
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*invoicesv1.AllocateResponse, error) {
		r, err := s.line.AllocateByHand(ctx, tx, id, int(req.GetLineNumber()), invoice, amount, actor)
		return &invoicesv1.AllocateResponse{Remittance: toRemittance(r)}, err
	})
}
