// Package taxrpc serves cullet.tax.v1.TaxService over the book of dated rates.
//
// It refuses what cannot be a request for tax; what the book does not know of a real place is a
// finding in the answer, never an error and never a silent zero.
package taxrpc

import (
	"context"
	"slices"
	"sync"
	"time"

	taxv1 "cullet/proto/cullet/tax/v1"
	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/tax"
)

// Config is what the room works with.
type Config struct {
	DB    *pg.DB
	Pages *rpc.Pager
	Now   func() time.Time
	// Shop reads the transaction's shop: it elects how tax is rounded.
	Shop func(context.Context, *pg.Tx) (access.Shop, error)
	// Book gives the dated rates. It is asked when the first call needs it.
	Book func() tax.Book
}

// Server serves the room. It is safe for concurrent use.
type Server struct {
	taxv1.UnimplementedTaxServiceServer
	Config
	rows func() []tax.RateRow
}

// New makes the server.
func New(c Config) *Server {
	return &Server{Config: c, rows: sync.OnceValue(func() []tax.RateRow {
		return slices.SortedFunc(slices.Values(c.Book().Rates("")), byKey)
	})}
}

// QuoteTax computes tax on lines at a place on a day. It stores nothing.
func (s *Server) QuoteTax(ctx context.Context, req *taxv1.QuoteTaxRequest) (*taxv1.QuoteTaxResponse, error) {
	if err := rpc.Refuse(ctx, checkQuote(req)); err != nil {
		return nil, err
	}
	var shop access.Shop
	err := pg.Read(ctx, s.DB, rpc.CallerFrom(ctx).Shop, func(ctx context.Context, tx *pg.Tx) (err error) {
		shop, err = s.Shop(ctx, tx)
		return err
	})
	if err != nil {
		return nil, err
	}
	result, findings := tax.Quote(s.Book(), request(req, shop, s.Now()))
	return toQuote(result, findings), nil
}

// ListJurisdictions lists the rates on file by code and first day.
func (s *Server) ListJurisdictions(
	ctx context.Context, req *taxv1.ListJurisdictionsRequest,
) (*taxv1.ListJurisdictionsResponse, error) {
	page, err := s.Pages.Open(ctx, req, rpc.Sizes{Default: 200, Max: 500})
	if err != nil {
		return nil, err
	}
	region := req.GetRegion()
	if len(region) > 20 {
		return nil, rpc.Refuse(ctx, []errs.Field{{Path: "region", Reason: "TOO_LARGE",
			Message: "more than 20 characters were given; give a country or a country with its state: \"US-OH\""}})
	}
	resp := &taxv1.ListJurisdictionsResponse{}
	var last []string
	hasMore := false
	for _, row := range s.rows() {
		if !within(row.Code, region) || !isBehind(row, page.After) {
			continue
		}
		if len(resp.GetJurisdictions()) == page.Size {
			hasMore = true
			break
		}
		resp.Jurisdictions = append(resp.Jurisdictions, toJurisdiction(row))
		last = keyOf(row)
	}
	resp.NextPageToken, err = page.Next(hasMore, last...)
	return resp, err
}

// toJurisdiction leaves the rate empty where it is on file that nobody read it.
func toJurisdiction(row tax.RateRow) *taxv1.Jurisdiction {
	rate := row.Rate.String()
	if row.Unknown {
		rate = ""
	}
	return &taxv1.Jurisdiction{JurisdictionCode: row.Code, Name: row.Name, Level: string(row.Level), Rate: rate,
		ValidFrom: row.ValidFrom, ValidTo: row.ValidTo, Source: wire.ToSource(row.Source)}
}
