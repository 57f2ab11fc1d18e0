// Package invoicesrpc serves cullet.invoices.v1.InvoiceService.
//
// It refuses to compute money: it reads what a caller sends, lets services/pipeline book it in one
// transaction under the caller's request id, and writes the answer.
package invoicesrpc

import (
	"context"
	"fmt"
	"time"

	invoicesv1 "cullet/proto/cullet/invoices/v1"
	moneyv1 "cullet/proto/cullet/money/v1"
	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/invoices"
	"cullet/services/money"
	"cullet/services/pipeline"
)

// Server serves the room. It is safe for concurrent use.
type Server struct {
	invoicesv1.UnimplementedInvoiceServiceServer
	db       *pg.DB
	pages    *rpc.Pager
	now      func() time.Time
	line     *pipeline.Pipeline
	formats  map[string]invoices.RemittanceFormat
	document invoices.Document
	writers  map[string]invoices.Writer
	// statements prints what a payer owes; the printer of documents does, where it can.
	statements invoices.StatementPrinter
	shop       ReadShop
}

// ReadShop reads the transaction's shop, whose storage is another room's.
type ReadShop func(ctx context.Context, tx *pg.Tx) (access.Shop, error)

// New makes the server. Formats read remittances, document prints invoices, writers write them for
// programs.
func New(db *pg.DB, pages *rpc.Pager, now func() time.Time, line *pipeline.Pipeline,
	formats []invoices.RemittanceFormat, document invoices.Document, writers []invoices.Writer, shop ReadShop) *Server {
	s := &Server{db: db, pages: pages, now: now, line: line, formats: map[string]invoices.RemittanceFormat{}, document: document, writers: map[string]invoices.Writer{},
		shop: shop}
	s.statements, _ = document.(invoices.StatementPrinter)
	for _, f := range formats {
		s.formats[f.Name()] = f
	}
	for _, w := range writers {
		s.writers[w.MediaType()] = w
	}
	return s
}

// Limits are the methods that are not as all others: a remittance file is large.
func Limits() map[string]rpc.Limits {
	return map[string]rpc.Limits{invoicesv1.InvoiceService_PostRemittance_FullMethodName: {Bytes: maxRemittance}}
}

func (s *Server) read(ctx context.Context, fn pg.Func) error {
	return pg.Read(ctx, s.db, rpc.CallerFrom(ctx).Shop, fn)
}

// idOf reads an identifier; text that is none names nothing.
func idOf[T ~string](thing, text string) (T, error) {
	id, ok := ident.Parse[T](text)
	if !ok {
		return "", errs.Missing(thing, text)
	}
	return id, nil
}

// positive reads a sum that must be above zero.
func positive(path string, m *moneyv1.Money) (money.Amount, []errs.Field) {
	amount := wire.FromMoney(m)
	faults := wire.CheckMoney(path, m, "")
	if len(faults) == 0 && amount.Minor <= 0 {
		faults = []errs.Field{{Path: path + ".minor_units", Reason: "NOT_POSITIVE",
			Message: fmt.Sprintf("%d was given; give a sum above zero, in whole minor units", amount.Minor)}}
	}
	return amount, faults
}

func tooLong(path, text string, most int) []errs.Field {
	if n := len([]rune(text)); n > most {
		return []errs.Field{{Path: path, Reason: "TOO_LARGE", Message: fmt.Sprintf("%d characters were given and at most %d are allowed", n, most)}}
	}
	return nil
}

// dayOr reads a civil day; empty is the day of now.
func dayOr(path, text, today string) (string, []errs.Field) {
	if text == "" {
		return today, nil
	}
	if _, err := time.Parse(time.DateOnly, text); err != nil {
		return "", []errs.Field{{Path: path, Reason: "NOT_A_DATE", Message: fmt.Sprintf("%.40q was given; give a day as 2026-11-25", text)}}
	}
	return text, nil
}
