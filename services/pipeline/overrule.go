package pipeline

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"cullet/services/claims"
	"cullet/services/claims/claimspg"
	"cullet/services/errs"
	"cullet/services/finding"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
)

// Overrule takes the responsibility for a finding that stops a claim by a block of law: the reason is kept,
// the audit tells it, and the claim is checked again. It fails with errs.State when the claim has left the
// house, and with errs.Invalid when there is no such finding or it is none that can be overruled.
func (p *Pipeline) Overrule(ctx context.Context, tx *pg.Tx, id ident.Claim, o claims.Overruling, version int) (claims.Claim, error) {
	c, err := lockVersion(ctx, tx, id, version)
	if err != nil {
		return claims.Claim{}, err
	}
	if !c.State.IsEditable() {
		return claims.Claim{}, errs.Newf(errs.State, "CLAIM_RELEASED", "Claim %s is %s; a finding can only be overruled before release.",
			c.Number, c.State)
	}
	at := slices.IndexFunc(c.Findings, func(f finding.Finding) bool { return f.Code == o.Code && f.Path == o.Path })
	if at < 0 || !claims.IsOverrulable(c.Findings[at]) {
		return claims.Claim{}, errs.InvalidFields("NOT_OVERRULABLE", []errs.Field{{Path: "code", Reason: "NOT_OVERRULABLE",
			Message: fmt.Sprintf("%q at %q was given; that is no block of law that stops claim %s now. Only such blocks can be overruled; "+
				"whatever else stops a claim has to be mended.", o.Code, o.Path, c.Number)}})
	}
	o.Time = p.now()
	if err := claimspg.InsertOverruling(ctx, tx, id, o); err != nil {
		return claims.Claim{}, err
	}
	detail, err := json.Marshal(map[string]string{"code": o.Code, "path": o.Path, "reason": o.Reason,
		"source": c.Findings[at].Source.Citation, "sentence": c.Findings[at].Sentence})
	if err != nil {
		return claims.Claim{}, fmt.Errorf("write the audit of %s: %w", o.Code, err)
	}
	if err := outbox.Audit(ctx, tx, outbox.AuditEntry{OccurTime: o.Time, Actor: o.By, Action: "claim.finding_overruled",
		SubjectKind: "claim", SubjectID: string(id), Detail: detail}); err != nil {
		return claims.Claim{}, err
	}
	job, payer, err := jobAndPayer(ctx, tx, c)
	if err != nil {
		return claims.Claim{}, err
	}
	if err := p.recheck(ctx, tx, c, job, payer, c.Coverage, "claim.overruled", o.By); err != nil {
		return claims.Claim{}, err
	}
	return claimspg.Get(ctx, tx, id)
}
