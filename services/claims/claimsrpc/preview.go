package claimsrpc

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	claimsv1 "cullet/proto/cullet/claims/v1"
	"cullet/services/access"
	"cullet/services/claims"
	"cullet/services/errs"
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

// PreviewClaim says what would become of a record, and stores nothing. A record that RecordJob would
// refuse is refused here with the same faults, but that its photos need not be uploaded, and that
// nobody looks whether its customer and its earlier job exist. Among the findings of the claim are
// those of the record, which a recorded job carries itself.
func (s *Server) PreviewClaim(ctx context.Context, req *claimsv1.PreviewClaimRequest) (*claimsv1.PreviewClaimResponse, error) {
	at := s.now().UTC().Truncate(time.Microsecond)
	if req.GetRecord() == nil {
		// What could not be read at all is empty, and has no faults but the guard's.
		if err := rpc.Refuse(ctx, nil); err != nil {
			return nil, err
		}
	}
	record, faults := wire.FromRecord(req.GetRecord())
	faults = append(faults, rpc.Validate("record", &record)...)
	faults = append(faults, jobs.Check(&record, at)...)
	var shop access.Shop
	err := s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		shop, err = s.shop(ctx, tx)
		return err
	})
	if err != nil {
		return nil, err
	}
	// The deductible is looked at again, now that the currency is known.
	const deductible = "record.coverage.deductible"
	faults = slices.DeleteFunc(faults, func(f errs.Field) bool { return strings.HasPrefix(f.Path, deductible) })
	faults = append(faults, wire.CheckMoney(deductible, req.GetRecord().GetCoverage().GetDeductible(), shop.CurrencyCode)...)
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	job := jobs.Job{Shop: shop.ID, Version: 1, Record: record, RecordTime: at, RecordedBy: rpc.CallerFrom(ctx).Name}
	job.Assessments, job.Findings = jobs.Assess(&record, shop.StandardKey, jobs.Ranges(shop.ProcessRanges))
	preview, err := s.line.Preview(ctx, shop.ID, job)
	if errs.Is(err, errs.NotFound) {
		return nil, rpc.Refuse(ctx, []errs.Field{{Path: "record.coverage.payer_code", Reason: "PAYER_UNKNOWN", Message: fmt.Sprintf(
			"the shop has no payer with the code %q; ListPayers names the codes", record.Coverage.PayerCode)}})
	}
	if err != nil {
		return nil, err
	}
	c := preview.Claim
	c.Findings = foreseen(c.Findings, job.Findings)
	c.State = claims.Ready
	if finding.HasStop(c.Findings) {
		c.State = claims.Draft
	}
	return &claimsv1.PreviewClaimResponse{Claim: toClaim(c), Assessments: wire.ToAssessments("record.", job.Assessments),
		IsReady: c.State == claims.Ready, Cautions: []string{repairability.Caution, tax.AdviserCaution}}, nil
}

// foreseen joins the findings of a claim with those of its record. That a photo is not uploaded is
// told and stops nothing yet: it may still be on the tablet.
func foreseen(ofClaim, ofRecord []finding.Finding) []finding.Finding {
	all := slices.Clone(ofClaim)
	for i := range all {
		if all[i].Code == "PHOTO-NOT-UPLOADED" {
			all[i].Severity = finding.Note
			all[i].Fix = "Upload the photo before the record is sent."
		}
	}
	for _, f := range ofRecord {
		f.Path = "job." + strings.TrimPrefix(f.Path, "record.")
		if !slices.ContainsFunc(all, func(g finding.Finding) bool { return g.Code == f.Code && g.Path == f.Path }) {
			all = append(all, f)
		}
	}
	finding.Sort(all)
	return all
}
