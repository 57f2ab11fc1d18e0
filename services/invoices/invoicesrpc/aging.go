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

// motorists is how a caller names those who are no payers.
const motorists = "motorists"

// GetAging gives open sums by debtor and age, as of any day.
func (s *Server) GetAging(ctx context.Context, req *invoicesv1.GetAgingRequest) (*invoicesv1.GetAgingResponse, error) {
	ages, payer, faults := agesOf(req)
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	resp := &invoicesv1.GetAgingResponse{BucketNames: ages.BucketNames()}
	return resp, s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
		shop, err := s.shop(ctx, tx)
		if err != nil {
			return err
		}
		ages.AsOf, _ = dayOr("as_of_date", req.GetAsOfDate(), shop.Today(s.now()))
		aged, err := invoicespg.Aging(ctx, tx, ages)
		if err != nil {
			return err
		}
		balances, err := invoicespg.TrialBalance(ctx, tx, ages.AsOf)
		if err != nil {
			return err
		}
		journal, unmatched := money.From(0, shop.CurrencyCode), money.From(0, shop.CurrencyCode)
		for _, b := range balances {
			switch b.Account {
			case invoices.AccountReceivable:
				journal = b.Amount()
			case invoices.AccountUnmatched:
				unmatched = b.Amount().Neg()
			}
		}
		resp.Rows, resp.JournalTotal, resp.Unmatched = nil, wire.ToMoney(journal), wire.ToMoney(unmatched)
		addAging(resp, aged, shop.CurrencyCode)
		if req.GetDocumentsOf() == "" {
			return nil
		}
		documents, err := invoicespg.AgingOf(ctx, tx, ages, payer)
		addDocuments(resp, payer, documents, shop.CurrencyCode)
		return err
	})
}

// agesOf reads how an aging is cut, and of whom documents are wanted.
func agesOf(req *invoicesv1.GetAgingRequest) (ages invoicespg.Ages, payer ident.Payer, faults []errs.Field) {
	_, faults = dayOr("as_of_date", req.GetAsOfDate(), "")
	ages = invoicespg.Ages{Limits: invoicespg.UsualLimits(), IsFromIssue: req.GetIsFromIssue()}
	if n := len(req.GetBucketDays()); n > 0 {
		ages.Limits = make([]int64, n)
		if n > 12 {
			faults = append(faults, errs.Field{Path: "bucket_days", Reason: "COUNT", Message: fmt.Sprintf("%d limits were given and at most 12 are allowed", n)})
		}
	}
	last := int32(0)
	for n, days := range req.GetBucketDays() {
		if days <= last || days > 3660 {
			faults = append(faults, errs.Field{Path: fmt.Sprintf("bucket_days[%d]", n), Reason: "OUT_OF_RANGE",
				Message: fmt.Sprintf("%d was given after %d; give rising days from 1 to 3660", days, last)})
		}
		ages.Limits[n], last = int64(days), days
	}
	if of := req.GetDocumentsOf(); of != "" && of != motorists {
		id, ok := ident.Parse[ident.Payer](of)
		if !ok {
			faults = append(faults, errs.Field{Path: "documents_of", Reason: "UNKNOWN_VALUE", Message: fmt.Sprintf("%.40q was given; give a payer_id, or motorists", of)})
		}
		payer = id
	}
	return ages, payer, faults
}

// addAging turns cells into rows and sums.
func addAging(resp *invoicesv1.GetAgingResponse, aged []invoicespg.Aged, currency string) {
	rows := map[ident.Payer]*invoicesv1.AgingRow{}
	total := money.From(0, currency)
	for _, a := range aged {
		row, ok := rows[a.Payer]
		if !ok {
			row = &invoicesv1.AgingRow{DebtorName: a.DebtorName, PayerId: string(a.Payer), Total: wire.ToMoney(money.From(0, currency))}
			for range resp.GetBucketNames() {
				row.Buckets = append(row.Buckets, wire.ToMoney(money.From(0, currency)))
			}
			rows[a.Payer] = row
			resp.Rows = append(resp.Rows, row)
		}
		row.Buckets[a.Bucket].MinorUnits += a.Minor
		row.Total.MinorUnits += a.Minor
		total.Minor += a.Minor
	}
	resp.Total = wire.ToMoney(total)
}

// addDocuments puts the open documents into their debtor's row.
func addDocuments(resp *invoicesv1.GetAgingResponse, payer ident.Payer, aged []invoicespg.Aged, currency string) {
	for _, row := range resp.GetRows() {
		if row.GetPayerId() != string(payer) {
			continue
		}
		for _, a := range aged {
			row.Documents = append(row.Documents, &invoicesv1.AgingDocument{InvoiceId: string(a.Invoice), InvoiceNumber: a.Number, DueDate: a.DueDate,
				Bucket: int32(a.Bucket), Open: wire.ToMoney(money.From(a.Minor, currency))})
		}
	}
}
