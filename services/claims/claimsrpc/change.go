package claimsrpc

import (
	"context"
	"fmt"
	"time"

	claimsv1 "cullet/proto/cullet/claims/v1"
	"cullet/services/claims"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
)

// UpdateCoverage changes the coverage of a claim that is not released.
func (s *Server) UpdateCoverage(ctx context.Context, req *claimsv1.UpdateCoverageRequest) (*claimsv1.UpdateCoverageResponse, error) {
	id, err := claimID(req.GetClaimId())
	if err != nil {
		return nil, err
	}
	coverage := wire.FromCoverage(req.GetCoverage())
	version, faults := rpc.ParseEtag("etag", req.GetEtag())
	if err := rpc.Refuse(ctx, append(faults, rpc.Validate("coverage", coverage)...)); err != nil {
		return nil, err
	}
	actor := rpc.CallerFrom(ctx).Name
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*claimsv1.UpdateCoverageResponse, error) {
		c, err := s.line.UpdateCoverage(ctx, tx, id, coverage, version, actor)
		return &claimsv1.UpdateCoverageResponse{Claim: toClaim(c)}, err
	})
}

// maxRelease is how many claims one call may release.
const maxRelease = 1000

// ReleaseClaims releases claims, each by itself.
func (s *Server) ReleaseClaims(ctx context.Context, req *claimsv1.ReleaseClaimsRequest) (*claimsv1.ReleaseClaimsResponse, error) {
	ids, faults := releaseIDs(req.GetClaimIds())
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	actor := rpc.CallerFrom(ctx).Name
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*claimsv1.ReleaseClaimsResponse, error) {
		results, err := s.line.Release(ctx, tx, ids, actor)
		if err != nil {
			return nil, err
		}
		resp := &claimsv1.ReleaseClaimsResponse{}
		for _, r := range results {
			resp.Results = append(resp.Results, &claimsv1.ReleaseResult{ClaimId: string(r.Claim), InvoiceNumber: r.InvoiceNumber, Reason: r.Reason})
		}
		return resp, nil
	})
}

func releaseIDs(texts []string) (ids []ident.Claim, faults []errs.Field) {
	if n := len(texts); n == 0 || n > maxRelease {
		return nil, []errs.Field{{Path: "claim_ids", Reason: "OUT_OF_RANGE",
			Message: fmt.Sprintf("%d claims were given; give 1 to %d in one call", n, maxRelease)}}
	}
	seen := map[ident.Claim]bool{}
	for i, text := range texts {
		id, ok := ident.Parse[ident.Claim](text)
		path := fmt.Sprintf("claim_ids[%d]", i)
		switch {
		case !ok:
			faults = append(faults, errs.Field{Path: path, Reason: "ID_MALFORMED", Message: fmt.Sprintf("%.60q was given; give the claim_id of a claim", text)})
		case seen[id]:
			faults = append(faults, errs.Field{Path: path, Reason: "REPEATED", Message: "this claim is in the list already; name each once"})
		}
		seen[id] = true
		ids = append(ids, id)
	}
	return ids, faults
}

// HoldClaim holds a claim until a day, or lifts the hold.
func (s *Server) HoldClaim(ctx context.Context, req *claimsv1.HoldClaimRequest) (*claimsv1.HoldClaimResponse, error) {
	id, err := claimID(req.GetClaimId())
	if err != nil {
		return nil, err
	}
	version, faults := rpc.ParseEtag("etag", req.GetEtag())
	if until := req.GetUntilDate(); until != "" {
		if _, err := time.Parse(time.DateOnly, until); err != nil {
			faults = append(faults, errs.Field{Path: "until_date", Reason: "NOT_A_DATE", Message: fmt.Sprintf("%.40q was given; give a day as 2026-11-30", until)})
		}
	}
	if err := rpc.Refuse(ctx, append(faults, tooLong("reason", req.GetReason(), 500)...)); err != nil {
		return nil, err
	}
	actor := rpc.CallerFrom(ctx).Name
	var hold *claims.Hold
	if req.GetReason() != "" {
		hold = &claims.Hold{Reason: req.GetReason(), UntilDate: req.GetUntilDate(), HeldBy: actor}
	}
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*claimsv1.HoldClaimResponse, error) {
		c, err := s.line.Hold(ctx, tx, id, hold, version, actor)
		return &claimsv1.HoldClaimResponse{Claim: toClaim(c)}, err
	})
}

func tooLong(path, text string, most int) []errs.Field {
	if n := len([]rune(text)); n > most {
		return []errs.Field{{Path: path, Reason: "TOO_LARGE", Message: fmt.Sprintf("%d characters were given and at most %d are allowed", n, most)}}
	}
	return nil
}

// WithdrawClaim takes a claim back.
func (s *Server) WithdrawClaim(ctx context.Context, req *claimsv1.WithdrawClaimRequest) (*claimsv1.WithdrawClaimResponse, error) {
	id, err := claimID(req.GetClaimId())
	if err != nil {
		return nil, err
	}
	version, faults := rpc.ParseEtag("etag", req.GetEtag())
	if err := rpc.Refuse(ctx, append(faults, tooLong("reason", req.GetReason(), 500)...)); err != nil {
		return nil, err
	}
	actor := rpc.CallerFrom(ctx).Name
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*claimsv1.WithdrawClaimResponse, error) {
		c, err := s.line.Withdraw(ctx, tx, id, req.GetReason(), version, actor)
		if err != nil {
			return nil, err
		}
		message, err := answer(ctx, tx, c)
		return &claimsv1.WithdrawClaimResponse{Claim: message}, err
	})
}

// ResubmitClaim corrects a rejected claim and lets it leave again.
func (s *Server) ResubmitClaim(ctx context.Context, req *claimsv1.ResubmitClaimRequest) (*claimsv1.ResubmitClaimResponse, error) {
	id, err := claimID(req.GetClaimId())
	if err != nil {
		return nil, err
	}
	coverage := wire.FromCoverage(req.GetCoverage())
	version, faults := rpc.ParseEtag("etag", req.GetEtag())
	faults = append(faults, tooLong("reason", req.GetReason(), 500)...)
	if err := rpc.Refuse(ctx, append(faults, rpc.Validate("coverage", coverage)...)); err != nil {
		return nil, err
	}
	actor := rpc.CallerFrom(ctx).Name
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*claimsv1.ResubmitClaimResponse, error) {
		c, err := s.line.Resubmit(ctx, tx, id, coverage, req.GetReason(), version, actor)
		if err != nil {
			return nil, err
		}
		message, err := answer(ctx, tx, c)
		return &claimsv1.ResubmitClaimResponse{Claim: message}, err
	})
}

// AddNote writes down a call or a thought.
func (s *Server) AddNote(ctx context.Context, req *claimsv1.AddNoteRequest) (*claimsv1.AddNoteResponse, error) {
	id, err := claimID(req.GetClaimId())
	if err != nil {
		return nil, err
	}
	if err := rpc.Refuse(ctx, tooLong("note", req.GetNote(), 2000)); err != nil {
		return nil, err
	}
	actor := rpc.CallerFrom(ctx).Name
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*claimsv1.AddNoteResponse, error) {
		event, err := s.line.Note(ctx, tx, id, req.GetNote(), actor)
		return &claimsv1.AddNoteResponse{Event: toTimeline(event)}, err
	})
}
