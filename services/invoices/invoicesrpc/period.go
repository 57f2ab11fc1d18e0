package invoicesrpc

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"regexp"
	"strings"
	"time"

	invoicesv1 "cullet/proto/cullet/invoices/v1"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/invoices"
	"cullet/services/invoices/invoicespg"
	"cullet/services/money"
	"cullet/services/tax"
)

// maxExport is how many postings one file may have.
const maxExport = 20_000

var regionForm = regexp.MustCompile(`^[A-Z]{2}(-[A-Z0-9]{1,10})?$`)

// ClosePeriod closes a month.
func (s *Server) ClosePeriod(ctx context.Context, req *invoicesv1.ClosePeriodRequest) (*invoicesv1.ClosePeriodResponse, error) {
	if _, err := time.Parse("2006-01", req.GetPeriod()); err != nil {
		return nil, rpc.Refuse(ctx, []errs.Field{{Path: "period", Reason: "NOT_A_MONTH", Message: fmt.Sprintf("%.40q was given; give a month as 2026-10", req.GetPeriod())}})
	}
	actor := rpc.CallerFrom(ctx).Name
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*invoicesv1.ClosePeriodResponse, error) {
		p, err := s.line.ClosePeriod(ctx, tx, req.GetPeriod(), actor)
		return &invoicesv1.ClosePeriodResponse{Period: toPeriod(p)}, err
	})
}

func toPeriod(p invoices.Period) *invoicesv1.Period {
	return &invoicesv1.Period{Period: p.Month, CloseTime: wire.ToTime(p.CloseTime), ClosedBy: p.ClosedBy}
}

// ListPeriods lists the closed months.
func (s *Server) ListPeriods(ctx context.Context, _ *invoicesv1.ListPeriodsRequest) (*invoicesv1.ListPeriodsResponse, error) {
	resp := &invoicesv1.ListPeriodsResponse{}
	return resp, s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
		all, err := invoicespg.Periods(ctx, tx)
		resp.Periods = nil
		for _, p := range all {
			resp.Periods = append(resp.Periods, toPeriod(p))
		}
		return err
	})
}

// span checks the days of a request.
func span(from, to string) (faults []errs.Field) {
	for path, text := range map[string]string{"from_date": from, "to_date": to} {
		if _, err := time.Parse(time.DateOnly, text); err != nil {
			faults = append(faults, errs.Field{Path: path, Reason: "NOT_A_DATE", Message: fmt.Sprintf("%.40q was given; give a day as 2026-11-25", text)})
		}
	}
	if len(faults) == 0 && from > to {
		faults = append(faults, errs.Field{Path: "to_date", Reason: "BEFORE_FROM", Message: fmt.Sprintf("%s is before %s; give the later day", to, from)})
	}
	return faults
}

// ExportJournal gives the journal as CSV.
func (s *Server) ExportJournal(ctx context.Context, req *invoicesv1.ExportJournalRequest) (*invoicesv1.ExportJournalResponse, error) {
	if err := rpc.Refuse(ctx, span(req.GetFromDate(), req.GetToDate())); err != nil {
		return nil, err
	}
	var rows []invoicespg.JournalRow
	err := s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		rows, err = invoicespg.ExportJournal(ctx, tx, req.GetFromDate(), req.GetToDate(), maxExport+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	if len(rows) > maxExport {
		return nil, rpc.Refuse(ctx, []errs.Field{{Path: "to_date", Reason: "TOO_LARGE", Message: fmt.Sprintf("these days have more than %d postings; export fewer days at a time", maxExport)}})
	}
	var out bytes.Buffer
	writer := csv.NewWriter(&out)
	table := [][]string{{"entry_date", "entry_id", "document_kind", "document", "memo", "account", "jurisdiction", "payer", "currency", "debit", "credit"}}
	for _, r := range rows {
		amount, debit, credit := money.From(r.Amount, r.Currency), "", ""
		if amount.IsNegative() {
			credit = amount.Neg().Decimal()
		} else {
			debit = amount.Decimal()
		}
		table = append(table, []string{r.Date, r.Entry, r.DocumentKind, plain(r.Document), plain(r.Memo), r.Account, plain(r.Jurisdiction), plain(r.Payer), r.Currency, debit, credit})
	}
	if err := writer.WriteAll(table); err != nil {
		return nil, fmt.Errorf("write the journal as CSV: %w", err)
	}
	return &invoicesv1.ExportJournalResponse{Content: out.Bytes(), RowCount: int32(len(rows)),
		FileName: fmt.Sprintf("journal-%s-%s.csv", req.GetFromDate(), req.GetToDate())}, nil
}

// plain keeps a text from being a formula of a spreadsheet.
func plain(text string) string {
	if text != "" && strings.ContainsAny(text[:1], "=+-@\t\r") {
		return "'" + text
	}
	return text
}

func checkReturn(region, from, to string) []errs.Field {
	faults := span(from, to)
	if !regionForm.MatchString(region) {
		faults = append(faults, errs.Field{Path: "region", Reason: "UNKNOWN_VALUE", Message: fmt.Sprintf("%.40q was given; give a country, or a country and state: US-OH", region)})
	}
	return faults
}

// DraftTaxReturn drafts a tax return; it stores nothing.
func (s *Server) DraftTaxReturn(ctx context.Context, req *invoicesv1.DraftTaxReturnRequest) (*invoicesv1.DraftTaxReturnResponse, error) {
	if err := rpc.Refuse(ctx, checkReturn(req.GetRegion(), req.GetFromDate(), req.GetToDate())); err != nil {
		return nil, err
	}
	resp := &invoicesv1.DraftTaxReturnResponse{}
	return resp, s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
		shop, err := s.shop(ctx, tx)
		if err != nil {
			return err
		}
		r, err := invoicespg.DraftTaxReturn(ctx, tx, req.GetRegion(), req.GetFromDate(), req.GetToDate(), shop.CurrencyCode)
		resp.TaxReturn = toTaxReturn(r, true)
		return err
	})
}

// FileTaxReturn freezes a tax return.
func (s *Server) FileTaxReturn(ctx context.Context, req *invoicesv1.FileTaxReturnRequest) (*invoicesv1.FileTaxReturnResponse, error) {
	if err := rpc.Refuse(ctx, checkReturn(req.GetRegion(), req.GetFromDate(), req.GetToDate())); err != nil {
		return nil, err
	}
	actor := rpc.CallerFrom(ctx).Name
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*invoicesv1.FileTaxReturnResponse, error) {
		r, err := s.line.FileTaxReturn(ctx, tx, req.GetRegion(), req.GetFromDate(), req.GetToDate(), actor)
		return &invoicesv1.FileTaxReturnResponse{TaxReturn: toTaxReturn(r, false)}, err
	})
}

// ListTaxReturns lists filed tax returns.
func (s *Server) ListTaxReturns(ctx context.Context, req *invoicesv1.ListTaxReturnsRequest) (*invoicesv1.ListTaxReturnsResponse, error) {
	var id ident.TaxReturn
	if req.GetReturnId() != "" {
		var err error
		if id, err = idOf[ident.TaxReturn]("tax return", req.GetReturnId()); err != nil {
			return nil, err
		}
	}
	resp := &invoicesv1.ListTaxReturnsResponse{}
	return resp, s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
		all, err := invoicespg.TaxReturns(ctx, tx, id)
		resp.TaxReturns = nil
		for _, r := range all {
			resp.TaxReturns = append(resp.TaxReturns, toTaxReturn(r, id != ""))
		}
		return err
	})
}

func toTaxReturn(r invoices.TaxReturn, isWhole bool) *invoicesv1.TaxReturn {
	message := &invoicesv1.TaxReturn{ReturnId: string(r.ID), Region: r.Region, FromDate: r.From, ToDate: r.To, Tax: wire.ToMoney(r.Tax),
		FileTime: wire.ToTimeOrNil(r.FileTime), FiledBy: r.FiledBy, Caution: tax.AdviserCaution}
	for _, j := range r.Jurisdictions {
		line := &invoicesv1.TaxReturnLine{JurisdictionCode: j.Code, JurisdictionName: j.Name, Taxed: wire.ToMoney(j.Taxed),
			NotTaxed: wire.ToMoney(j.NotTaxed), Tax: wire.ToMoney(j.Tax)}
		for _, d := range j.Documents {
			if isWhole {
				line.Documents = append(line.Documents, &invoicesv1.TaxReturnDocument{InvoiceId: string(d.Invoice), InvoiceNumber: d.Number,
					IssueDate: d.IssueDate, Taxed: wire.ToMoney(d.Taxed), NotTaxed: wire.ToMoney(d.NotTaxed), Tax: wire.ToMoney(d.Tax)})
			}
		}
		message.Lines = append(message.Lines, line)
	}
	for _, b := range r.BadDebts {
		message.BadDebts = append(message.BadDebts, &invoicesv1.TaxReturnBadDebt{InvoiceId: string(b.Invoice), InvoiceNumber: b.Number,
			EntryDate: b.EntryDate, Amount: wire.ToMoney(b.Amount), Tax: wire.ToMoney(b.Tax)})
	}
	return message
}
