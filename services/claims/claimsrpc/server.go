// Package claimsrpc serves cullet.claims.v1.ClaimService.
//
// It refuses to decide anything about a claim: it reads what a caller sends, lets services/pipeline
// do it in one transaction under the caller's request id, and writes the answer.
package claimsrpc

import (
	"context"
	"time"

	claimsv1 "cullet/proto/cullet/claims/v1"
	"cullet/services/access"
	"cullet/services/claims"
	"cullet/services/claims/claimspg"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/pipeline"
)

// Server serves the room. It is safe for concurrent use.
type Server struct {
	claimsv1.UnimplementedClaimServiceServer
	db    *pg.DB
	pages *rpc.Pager
	now   func() time.Time
	line  *pipeline.Pipeline
	shop  ReadShop
}

// ReadShop reads the transaction's shop, whose storage is another room's.
type ReadShop func(ctx context.Context, tx *pg.Tx) (access.Shop, error)

// New makes the server.
func New(db *pg.DB, pages *rpc.Pager, now func() time.Time, line *pipeline.Pipeline, shop ReadShop) *Server {
	return &Server{db: db, pages: pages, now: now, line: line, shop: shop}
}

func (s *Server) read(ctx context.Context, fn pg.Func) error {
	return pg.Read(ctx, s.db, rpc.CallerFrom(ctx).Shop, fn)
}

// claimID reads an identifier; text that is none names no claim.
func claimID(text string) (ident.Claim, error) {
	id, ok := ident.Parse[ident.Claim](text)
	if !ok {
		return "", errs.Missing("claim", text)
	}
	return id, nil
}

// answer writes a claim with what is still open of it.
func answer(ctx context.Context, tx *pg.Tx, c claims.Claim) (*claimsv1.Claim, error) {
	message := toClaim(c)
	if c.Invoice == "" {
		return message, nil
	}
	open, err := claimspg.Open(ctx, tx, c)
	if err != nil {
		return nil, err
	}
	message.Open = toMoney(open)
	return message, nil
}
