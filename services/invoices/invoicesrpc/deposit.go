package invoicesrpc

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"

	invoicesv1 "cullet/proto/cullet/invoices/v1"
	moneyv1 "cullet/proto/cullet/money/v1"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/invoices"
	"cullet/services/invoices/invoicespg"
	"cullet/services/money"
)

// The bounds of a deposit that is recorded by hand.
const (
	maxDepositLines = 1000
	byHand          = "hand"
)

// RecordDeposit posts a deposit that came without a file. What was typed is stored as its file.
func (s *Server) RecordDeposit(ctx context.Context, req *invoicesv1.RecordDepositRequest) (*invoicesv1.RecordDepositResponse, error) {
	payer, err := idOf[ident.Payer]("payer", req.GetPayerId())
	if err != nil {
		return nil, err
	}
	r, faults := depositOf(req)
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	r.Payer = payer
	typed, ok := proto.Clone(req).(*invoicesv1.RecordDepositRequest)
	if !ok {
		return nil, fmt.Errorf("copy a %T", req)
	}
	typed.RequestId = ""
	content, err := proto.MarshalOptions{Deterministic: true}.Marshal(typed)
	if err != nil {
		return nil, fmt.Errorf("keep what was typed: %w", err)
	}
	actor := rpc.CallerFrom(ctx).Name
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*invoicesv1.RecordDepositResponse, error) {
		stored, isRepeated, err := s.line.Remittance(ctx, tx, r, byHand, content, actor)
		return &invoicesv1.RecordDepositResponse{Remittance: toRemittance(stored), IsRepeated: isRepeated}, err
	})
}

func depositOf(req *invoicesv1.RecordDepositRequest) (invoices.Remittance, []errs.Field) {
	r := invoices.Remittance{Reference: req.GetReference(), PaidDate: req.GetPaidDate()}
	var faults []errs.Field
	add := func(path, reason, format string, args ...any) {
		faults = append(faults, errs.Field{Path: path, Reason: reason, Message: fmt.Sprintf(format, args...)})
	}
	if r.Reference == "" {
		add("reference", "REQUIRED", "nothing was given; give the payer's number of the payment, a check's for example")
	}
	faults = append(faults, tooLong("reference", r.Reference, 100)...)
	if _, err := time.Parse(time.DateOnly, r.PaidDate); err != nil {
		add("paid_date", "NOT_A_DATE", "%.40q was given; give a day as 2026-11-25", r.PaidDate)
	}
	var bad []errs.Field
	r.Amount, bad = positive("amount", req.GetAmount())
	faults = append(faults, bad...)
	if n := len(req.GetLines()); n < 1 || n > maxDepositLines {
		add("lines", "COUNT", "%d lines were given; give 1 to %d", n, maxDepositLines)
	}
	sum := money.From(0, r.Amount.Currency)
	for n, l := range req.GetLines() {
		path := fmt.Sprintf("lines[%d]", n)
		paid := wire.FromMoney(l.GetPaid())
		faults = append(faults, checkEither(path+".paid", l.GetPaid(), r.Amount.Currency)...)
		for name, text := range map[string]string{".invoice_number": l.GetInvoiceNumber(), ".claim_number": l.GetClaimNumber(), ".reason_code": l.GetReasonCode()} {
			faults = append(faults, tooLong(path+name, text, 200)...)
		}
		faults = append(faults, tooLong(path+".reason_text", l.GetReasonText(), 2000)...)
		if added, err := sum.Add(paid); err == nil {
			sum = added
		}
		r.Lines = append(r.Lines, invoices.RemittanceLine{Number: n + 1, InvoiceNumber: l.GetInvoiceNumber(), ClaimNumber: l.GetClaimNumber(),
			Paid: paid, Allocated: money.From(0, paid.Currency), ReasonCode: l.GetReasonCode(), ReasonText: l.GetReasonText()})
	}
	if len(faults) == 0 && sum != r.Amount {
		add("amount", "SUM", "the amount is %s and the lines sum to %s; add a line for what they do not cover", r.Amount, sum)
	}
	return r, faults
}

// checkEither checks a sum that may be below zero.
func checkEither(path string, m *moneyv1.Money, currency string) []errs.Field {
	if m == nil {
		return []errs.Field{{Path: path, Reason: "REQUIRED", Message: "nothing was given; give a sum, below zero where money is taken back"}}
	}
	size := &moneyv1.Money{MinorUnits: m.GetMinorUnits(), CurrencyCode: m.GetCurrencyCode()}
	if size.GetMinorUnits() < 0 && size.GetMinorUnits() >= -money.Max {
		size.MinorUnits = -size.GetMinorUnits()
	}
	return wire.CheckMoney(path, size, currency)
}

// SuggestAllocations says where money that waits may belong.
func (s *Server) SuggestAllocations(ctx context.Context, req *invoicesv1.SuggestAllocationsRequest) (*invoicesv1.SuggestAllocationsResponse, error) {
	id, err := idOf[ident.Remittance]("remittance", req.GetRemittanceId())
	if err != nil {
		return nil, err
	}
	resp := &invoicesv1.SuggestAllocationsResponse{}
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
		r, err := invoicespg.Remittance(ctx, tx, id)
		if err != nil {
			return err
		}
		all, err := invoicespg.Candidates(ctx, tx, r.Payer)
		resp.Suggestions = nil
		for _, g := range invoices.Suggest(r.Remittance, all) {
			resp.Suggestions = append(resp.Suggestions, &invoicesv1.Suggestion{LineNumber: int32(g.LineNumber), InvoiceId: string(g.Owed.Invoice),
				InvoiceNumber: g.Owed.InvoiceNumber, Amount: wire.ToMoney(g.Amount), Reason: g.Reason})
		}
		return err
	})
	return resp, err
}
