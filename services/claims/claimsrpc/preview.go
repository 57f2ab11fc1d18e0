package claimsrpc

import (
	"context"
	"time"

	claimsv1 "cullet/proto/cullet/claims/v1"
	"cullet/services/access"
	"cullet/services/claims"
	"cullet/services/finding"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/jobs"
	"cullet/services/repairability"
	"cullet/services/tax"
)

// Limits are the methods that report the guard's faults together with their own.
func Limits() map[string]rpc.Limits {
	return map[string]rpc.Limits{claimsv1.ClaimService_PreviewClaim_FullMethodName: {Collects: true}}
}

// PreviewClaim says what would become of a record, and stores nothing. Its photos need not be
// uploaded yet: that they are not is left out of the findings.
func (s *Server) PreviewClaim(ctx context.Context, req *claimsv1.PreviewClaimRequest) (*claimsv1.PreviewClaimResponse, error) {
	at := s.now().UTC().Truncate(time.Microsecond)
	record, faults := wire.FromRecord(req.GetRecord())
	faults = append(faults, rpc.Validate("record", &record)...)
	faults = append(faults, jobs.Check(&record, at)...)
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	var shop access.Shop
	err := s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		shop, err = s.shop(ctx, tx)
		return err
	})
	if err != nil {
		return nil, err
	}
	job := jobs.Job{Shop: shop.ID, Version: 1, Record: record, RecordTime: at, RecordedBy: rpc.CallerFrom(ctx).Name}
	job.Assessments, job.Findings = jobs.Assess(&record, shop.StandardKey)
	preview, err := s.line.Preview(ctx, shop.ID, job)
	if err != nil {
		return nil, err
	}
	c := preview.Claim
	c.Findings = withoutUploads(c.Findings)
	isReady := !finding.HasStop(c.Findings)
	c.State = claims.Draft
	if isReady {
		c.State = claims.Ready
	}
	return &claimsv1.PreviewClaimResponse{Claim: toClaim(c), Assessments: wire.ToAssessments("record.", job.Assessments),
		IsReady: isReady, Cautions: []string{repairability.Caution, tax.AdviserCaution}}, nil
}

func withoutUploads(all []finding.Finding) []finding.Finding {
	var kept []finding.Finding
	for _, f := range all {
		if f.Code != "PHOTO-NOT-UPLOADED" {
			kept = append(kept, f)
		}
	}
	return kept
}
