package invoicesrpc

import (
	"context"

	invoicesv1 "cullet/proto/cullet/invoices/v1"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/invoices"
	"cullet/services/invoices/invoicespg"
)

// ListJournalEntries lists journal entries, newest first.
func (s *Server) ListJournalEntries(ctx context.Context, req *invoicesv1.ListJournalEntriesRequest) (*invoicesv1.ListJournalEntriesResponse, error) {
	if document := req.GetDocumentId(); document != "" {
		if _, ok := ident.Parse[ident.Invoice](document); !ok {
			return &invoicesv1.ListJournalEntriesResponse{}, nil
		}
	}
	page, err := s.pages.Open(ctx, req, rpc.Usual)
	if err != nil {
		return nil, err
	}
	var all []invoices.Entry
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		all, err = invoicespg.Entries(ctx, tx, page.Before(), req.GetDocumentId(), page.Size+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	all, hasMore := rpc.Cut(all, page)
	resp := &invoicesv1.ListJournalEntriesResponse{}
	last := ""
	for _, e := range all {
		resp.Entries = append(resp.Entries, toEntry(e))
		last = string(e.ID)
	}
	resp.NextPageToken, err = page.Next(hasMore, last)
	return resp, err
}

// GetTrialBalance gives the balance of each account as of any day.
func (s *Server) GetTrialBalance(ctx context.Context, req *invoicesv1.GetTrialBalanceRequest) (*invoicesv1.GetTrialBalanceResponse, error) {
	if _, faults := dayOr("as_of_date", req.GetAsOfDate(), ""); len(faults) > 0 {
		return nil, rpc.Refuse(ctx, faults)
	}
	var balances []invoicespg.Balance
	err := s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
		shop, err := s.shop(ctx, tx)
		if err != nil {
			return err
		}
		asOf, _ := dayOr("as_of_date", req.GetAsOfDate(), shop.Today(s.now()))
		balances, err = invoicespg.TrialBalance(ctx, tx, asOf)
		return err
	})
	if err != nil {
		return nil, err
	}
	resp := &invoicesv1.GetTrialBalanceResponse{}
	for _, b := range balances {
		resp.Accounts = append(resp.Accounts, &invoicesv1.AccountBalance{Account: string(b.Account), Balance: wire.ToMoney(b.Amount())})
	}
	return resp, nil
}

// CheckBooks checks every invariant of the books.
func (s *Server) CheckBooks(ctx context.Context, _ *invoicesv1.CheckBooksRequest) (*invoicesv1.CheckBooksResponse, error) {
	var checked []invoicespg.Checked
	err := s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		checked, err = invoicespg.CheckBooks(ctx, tx)
		return err
	})
	if err != nil {
		return nil, err
	}
	resp := &invoicesv1.CheckBooksResponse{CheckTime: wire.ToTime(s.now().UTC())}
	for _, c := range checked {
		resp.Checks = append(resp.Checks, &invoicesv1.BookCheck{Name: c.Name, IsHolding: c.Holds, Sentence: c.Sentence})
	}
	return resp, nil
}
