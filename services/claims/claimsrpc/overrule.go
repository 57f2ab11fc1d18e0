package claimsrpc

import (
	"context"
	"fmt"
	"strings"

	claimsv1 "cullet/proto/cullet/claims/v1"
	"cullet/services/claims"
	"cullet/services/errs"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
)

// The bounds of a reason: a word says nothing, and nobody reads more.
const (
	shortestReason = 10
	longestReason  = 2000
)

// OverruleFinding takes the responsibility for a block of law, with a reason that is kept.
func (s *Server) OverruleFinding(ctx context.Context, req *claimsv1.OverruleFindingRequest) (*claimsv1.OverruleFindingResponse, error) {
	id, err := claimID(req.GetClaimId())
	if err != nil {
		return nil, err
	}
	version, faults := rpc.ParseEtag("etag", req.GetEtag())
	reason := strings.TrimSpace(req.GetReason())
	if n := len([]rune(reason)); req.GetReason() != "" && (n < shortestReason || n > longestReason) {
		faults = append(faults, errs.Field{Path: "reason", Reason: "FORM", Message: fmt.Sprintf(
			"%d characters were given; say in %d to %d why it may leave all the same: it is kept and shown", n, shortestReason, longestReason)})
	}
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	o := claims.Overruling{Code: req.GetCode(), Path: req.GetPath(), Reason: reason, By: rpc.CallerFrom(ctx).Name}
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*claimsv1.OverruleFindingResponse, error) {
		c, err := s.line.Overrule(ctx, tx, id, o, version)
		return &claimsv1.OverruleFindingResponse{Claim: toClaim(c)}, err
	})
}
