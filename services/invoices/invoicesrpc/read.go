package invoicesrpc

import (
	"context"

	invoicesv1 "cullet/proto/cullet/invoices/v1"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/invoices"
	"cullet/services/invoices/invoicespg"
)

// GetInvoice gives one invoice or credit note.
func (s *Server) GetInvoice(ctx context.Context, req *invoicesv1.GetInvoiceRequest) (*invoicesv1.GetInvoiceResponse, error) {
	id, err := idOf[ident.Invoice]("invoice", req.GetInvoiceId())
	if err != nil {
		return nil, err
	}
	resp := &invoicesv1.GetInvoiceResponse{}
	return resp, s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
		i, err := invoicespg.Get(ctx, tx, id)
		if err != nil {
			return err
		}
		all, err := invoicespg.AllocationsOn(ctx, tx, id)
		if err != nil {
			return err
		}
		disputes, err := invoicespg.Disputes(ctx, tx, id)
		resp.Invoice, resp.Allocations, resp.Disputes = toInvoice(i), toAllocations(all), nil
		for _, d := range disputes {
			resp.Disputes = append(resp.Disputes, toDispute(d))
		}
		return err
	})
}

func (s *Server) invoice(ctx context.Context, text string) (i invoices.Invoice, err error) {
	id, err := idOf[ident.Invoice]("invoice", text)
	if err != nil {
		return i, err
	}
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
		i, err = invoicespg.Get(ctx, tx, id)
		return err
	})
	return i, err
}

var filterFields = rpc.FilterFields{
	"invoice_number": {Kind: rpc.Text, SQL: "i.number"},
	"payer_id":       {Kind: rpc.ID, SQL: "i.payer_id"},
	"issue_date":     {Kind: rpc.Day, SQL: "i.issue_date"},
	"is_paid": {Kind: rpc.Bool, SQL: `(i.kind = 'INVOICE' AND NOT EXISTS (SELECT FROM receivables o
WHERE o.shop_id = i.shop_id AND o.invoice_id = i.invoice_id AND o.open_amount > 0))`},
}

// ListInvoices lists documents, newest first.
func (s *Server) ListInvoices(ctx context.Context, req *invoicesv1.ListInvoicesRequest) (*invoicesv1.ListInvoicesResponse, error) {
	filter, faults := rpc.ParseFilter(req.GetFilter(), filterFields)
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	page, err := s.pages.Open(ctx, req, rpc.Usual)
	if err != nil {
		return nil, err
	}
	where, args := filter.Where(4)
	var all []invoices.Invoice
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		all, err = invoicespg.List(ctx, tx, page.Before(), page.Size+1, where, args...)
		return err
	})
	if err != nil {
		return nil, err
	}
	all, hasMore := rpc.Cut(all, page)
	resp := &invoicesv1.ListInvoicesResponse{}
	last := ""
	for _, i := range all {
		resp.Invoices = append(resp.Invoices, toInvoice(i))
		last = string(i.ID)
	}
	resp.NextPageToken, err = page.Next(hasMore, last)
	return resp, err
}

// GetRemittance gives one remittance with where each line went.
func (s *Server) GetRemittance(ctx context.Context, req *invoicesv1.GetRemittanceRequest) (*invoicesv1.GetRemittanceResponse, error) {
	id, err := idOf[ident.Remittance]("remittance", req.GetRemittanceId())
	if err != nil {
		return nil, err
	}
	resp := &invoicesv1.GetRemittanceResponse{}
	return resp, s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
		r, err := invoicespg.Remittance(ctx, tx, id)
		if err != nil {
			return err
		}
		all, err := invoicespg.AllocationsOf(ctx, tx, id)
		resp.Remittance, resp.Allocations = toRemittance(r), toAllocations(all)
		return err
	})
}

// ListRemittances lists remittances, newest first.
func (s *Server) ListRemittances(ctx context.Context, req *invoicesv1.ListRemittancesRequest) (*invoicesv1.ListRemittancesResponse, error) {
	page, err := s.pages.Open(ctx, req, rpc.Usual)
	if err != nil {
		return nil, err
	}
	var all []invoicespg.Received
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		all, err = invoicespg.Remittances(ctx, tx, page.Before(), page.Size+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	all, hasMore := rpc.Cut(all, page)
	resp := &invoicesv1.ListRemittancesResponse{}
	last := ""
	for _, r := range all {
		resp.Remittances = append(resp.Remittances, toRemittance(r))
		last = string(r.ID)
	}
	resp.NextPageToken, err = page.Next(hasMore, last)
	return resp, err
}
