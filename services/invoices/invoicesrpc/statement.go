package invoicesrpc

import (
	"context"
	"fmt"

	invoicesv1 "cullet/proto/cullet/invoices/v1"
	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/invoices"
	"cullet/services/invoices/invoicespg"
	"cullet/services/money"
)

// GetStatement prints what a payer owes as of a day.
func (s *Server) GetStatement(ctx context.Context, req *invoicesv1.GetStatementRequest) (*invoicesv1.GetStatementResponse, error) {
	payer, err := idOf[ident.Payer]("payer", req.GetPayerId())
	if err != nil {
		return nil, err
	}
	_, faults := dayOr("as_of_date", req.GetAsOfDate(), "")
	paper := req.GetPaper()
	if paper != "" && paper != "LETTER" && paper != "A4" {
		faults = append(faults, errs.Field{Path: "paper", Reason: "UNKNOWN_VALUE", Message: fmt.Sprintf("%.20q was given; give LETTER or A4", paper)})
	}
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	if s.statements == nil {
		return nil, errs.Newf(errs.State, "NO_PRINTER", "This server prints no statements.")
	}
	var statement invoices.Statement
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
		shop, err := s.shop(ctx, tx)
		if err != nil {
			return err
		}
		statement, err = s.statementOf(ctx, tx, shop, payer, req.GetAsOfDate())
		return err
	})
	if err != nil {
		return nil, err
	}
	if paper == "" {
		paper = statement.Seller.Address.Paper()
	}
	content, err := s.statements.Statement(statement, paper)
	if err != nil {
		return nil, err
	}
	return &invoicesv1.GetStatementResponse{Pdf: content, FileName: "statement-" + statement.AsOf + ".pdf", Open: wire.ToMoney(statement.Open),
		DocumentCount: int32(len(statement.Lines))}, nil
}

func (s *Server) statementOf(ctx context.Context, tx *pg.Tx, shop access.Shop, payer ident.Payer, day string) (invoices.Statement, error) {
	today := shop.Today(s.now())
	ages := invoicespg.Ages{Limits: invoicespg.UsualLimits()}
	ages.AsOf, _ = dayOr("as_of_date", day, today)
	name, waiting, err := invoicespg.WaitingOf(ctx, tx, payer)
	if err != nil {
		return invoices.Statement{}, err
	}
	documents, err := invoicespg.AgingOf(ctx, tx, ages, payer)
	if err != nil {
		return invoices.Statement{}, err
	}
	if len(documents) == invoicespg.MaxAged {
		return invoices.Statement{}, errs.Newf(errs.State, "TOO_MANY_DOCUMENTS", "%s has %d open documents or more; a statement has fewer.", name, invoicespg.MaxAged)
	}
	zero := money.From(0, shop.CurrencyCode)
	t := invoices.Statement{Seller: invoices.SellerOf(shop), RemitTo: invoices.RemitToOf(shop), BillTo: invoices.Party{Name: name}, AsOf: ages.AsOf,
		BucketNames: ages.BucketNames(), Open: zero, Unmatched: zero, Time: s.now().UTC()}
	if ages.AsOf == today {
		t.Unmatched.Minor = waiting
	}
	for range t.BucketNames {
		t.Buckets = append(t.Buckets, zero)
	}
	for _, d := range documents {
		t.Lines = append(t.Lines, invoices.StatementLine{Number: d.Number, IssueDate: d.IssueDate, DueDate: d.DueDate, DaysLate: d.DaysLate,
			Total: money.From(d.Total, zero.Currency), Open: money.From(d.Minor, zero.Currency)})
		t.Buckets[d.Bucket].Minor += d.Minor
		t.Open.Minor += d.Minor
	}
	return t, nil
}
