package pipeline

import (
	"context"
	"fmt"
	"reflect"

	"cullet/services/access"
	"cullet/services/access/accesspg"
	"cullet/services/claims"
	"cullet/services/claims/claimspg"
	"cullet/services/errs"
	"cullet/services/finding"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
	"cullet/services/money"
	"cullet/services/payers"
	"cullet/services/payers/payerspg"
)

// serverActor is who did what nobody pressed a button for.
const serverActor = "server"

// Open opens the claim of a recorded job, or checks it again after the job was amended. A job
// without a payer has no claim: the motorist pays himself. It may be repeated.
func (p *Pipeline) Open(ctx context.Context, shop ident.Shop, jobKey string) error {
	if err := p.tellJob(ctx, shop, ident.Job(jobKey)); err != nil {
		return err
	}
	return pg.Transact(ctx, p.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
		job, err := jobspg.Get(ctx, tx, ident.Job(jobKey), 0)
		if err != nil {
			return err
		}
		code := job.Record.Coverage.PayerCode
		if code == "" {
			return nil
		}
		payer, err := payerspg.ByCode(ctx, tx, code)
		if err != nil {
			return err
		}
		live, exists, err := claimspg.LockLive(ctx, tx, job.ID, payer.ID)
		switch {
		case err != nil:
			return err
		case exists:
			return p.recheck(ctx, tx, live, job, payer, live.Coverage, "claim.checked", serverActor)
		}
		return p.insert(ctx, tx, job, payer)
	})
}

// insert opens a claim. It takes the number first: its row lock makes the opening of claims
// single file in a shop, so two records of the same damage cannot miss each other.
func (p *Pipeline) insert(ctx context.Context, tx *pg.Tx, job jobs.Job, payer payers.Payer) error {
	sequence, err := pg.NextNumbers(ctx, tx, "claim", 1)
	if err != nil {
		return err
	}
	about, err := p.caseOf(ctx, tx, job, payer, job.Record.Coverage, claimspg.Number(sequence))
	if err != nil {
		return err
	}
	c, err := p.judge(about)
	if err != nil {
		return err
	}
	c.ID, c.Shop, c.Number, c.Version = ident.New[ident.Claim](), tx.Shop(), about.ClaimNumber, 1
	c.CreateTime = about.Now
	if err := claimspg.Insert(ctx, tx, c); err != nil {
		if pg.Violated(err, "claims_live") {
			return pg.Raced(err)
		}
		return err
	}
	return announce(ctx, tx, claimEvent("claim.opened", c, serverActor, about.Now, found(c)))
}

// Recheck checks a claim again that is not released: its job, its payer's profile, a rate or the
// day has changed. A released claim stays as it is. It may be repeated.
func (p *Pipeline) Recheck(ctx context.Context, shop ident.Shop, claimKey string) error {
	return pg.Transact(ctx, p.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
		c, err := claimspg.Lock(ctx, tx, ident.Claim(claimKey))
		if errs.Is(err, errs.NotFound) {
			return nil
		}
		if err != nil {
			return err
		}
		job, payer, err := jobAndPayer(ctx, tx, c)
		if err != nil {
			return err
		}
		return p.recheck(ctx, tx, c, job, payer, c.Coverage, "claim.checked", serverActor)
	})
}

func jobAndPayer(ctx context.Context, tx *pg.Tx, c claims.Claim) (jobs.Job, payers.Payer, error) {
	job, err := jobspg.Get(ctx, tx, c.Job, 0)
	if err != nil {
		return jobs.Job{}, payers.Payer{}, err
	}
	payer, err := payerspg.Get(ctx, tx, c.Payer)
	return job, payer, err
}

// recheck stores what checking makes of a locked claim, if that differs from what is stored.
func (p *Pipeline) recheck(ctx context.Context, tx *pg.Tx, c claims.Claim, job jobs.Job, payer payers.Payer,
	coverage payers.Coverage, event, actor string) error {
	if !c.State.IsEditable() {
		return nil
	}
	about, err := p.caseOf(ctx, tx, job, payer, coverage, c.Number)
	if err != nil {
		return err
	}
	next, err := p.judge(about)
	if err != nil {
		return err
	}
	if unchanged(c, next) {
		return nil
	}
	return p.rewrite(ctx, tx, c, next, event, actor)
}

// rewrite stores next in the place of the locked claim c and tells it.
func (p *Pipeline) rewrite(ctx context.Context, tx *pg.Tx, c, next claims.Claim, event, actor string) error {
	next.ID, next.Shop, next.Number, next.Version = c.ID, c.Shop, c.Number, c.Version
	next.Invoice, next.CreateTime = c.Invoice, c.CreateTime
	ok, err := claimspg.Rewrite(ctx, tx, next)
	if err != nil {
		return err
	}
	if !ok {
		return fmt.Errorf("claim %s changed while it was locked", c.Number)
	}
	next.Version++
	return announce(ctx, tx, claimEvent(event, next, actor, next.UpdateTime, found(next)))
}

// UpdateCoverage changes the coverage of a claim that is not released, and checks it again.
func (p *Pipeline) UpdateCoverage(ctx context.Context, tx *pg.Tx, id ident.Claim, coverage payers.Coverage,
	version int, actor string) (claims.Claim, error) {
	c, err := claimspg.Lock(ctx, tx, id)
	if err != nil {
		return claims.Claim{}, err
	}
	if c.Version != version {
		return claims.Claim{}, stale(c, version)
	}
	if !c.State.IsEditable() {
		return claims.Claim{}, errs.Newf(errs.State, "CLAIM_RELEASED",
			"Claim %s is %s; its coverage can only change before release. A rejected claim is corrected with ResubmitClaim.",
			c.Number, c.State)
	}
	job, payer, err := jobAndPayer(ctx, tx, c)
	if err != nil {
		return claims.Claim{}, err
	}
	if coverage.PayerCode != payer.Code {
		return claims.Claim{}, errs.InvalidFields("PAYER_FIXED", []errs.Field{{Path: "coverage.payer_code", Reason: "PAYER_FIXED",
			Message: fmt.Sprintf("The claim is on %q and was given %q; withdraw it and amend the job to claim on another payer.",
				payer.Code, coverage.PayerCode)}})
	}
	if err := p.recheck(ctx, tx, c, job, payer, coverage, "claim.changed", actor); err != nil {
		return claims.Claim{}, err
	}
	return claimspg.Get(ctx, tx, id)
}

// Preview is what would become of a record.
type Preview struct {
	Claim claims.Claim
	Job   jobs.Job
	// Payer is empty when the motorist pays himself.
	Payer payers.Payer
}

// Preview runs assessing, pricing, taxing and checking on a job that is not stored, and stores
// nothing. Its photos need not be uploaded.
func (p *Pipeline) Preview(ctx context.Context, shop ident.Shop, job jobs.Job) (Preview, error) {
	result := Preview{Job: job}
	err := pg.Read(ctx, p.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
		code := job.Record.Coverage.PayerCode
		if code == "" {
			return errs.InvalidFields("PAYER_MISSING", []errs.Field{{Path: "record.coverage.payer_code", Reason: "PAYER_MISSING",
				Message: "It is empty, so the motorist pays himself and there is no claim to preview; give the payer's code."}})
		}
		payer, err := payerspg.ByCode(ctx, tx, code)
		if err != nil {
			return err
		}
		about, err := p.caseOf(ctx, tx, job, payer, job.Record.Coverage, "")
		if err != nil {
			return err
		}
		result.Payer = payer
		result.Claim, err = p.judge(about)
		return err
	})
	return result, err
}

// caseOf gathers everything that is known about a claim.
func (p *Pipeline) caseOf(ctx context.Context, tx *pg.Tx, job jobs.Job, payer payers.Payer,
	coverage payers.Coverage, number string) (claims.Case, error) {
	shop, err := accesspg.GetShop(ctx, tx)
	if err != nil {
		return claims.Case{}, err
	}
	photos, err := jobspg.Photos(ctx, tx, p.Sealer, job.Record.Photos)
	if err != nil {
		return claims.Case{}, err
	}
	about := claims.Case{Shop: shop, Job: job, Payer: payer, Coverage: coverage, Photos: photos, ClaimNumber: number, Now: p.now()}
	if about.Earlier, err = claimspg.Earlier(ctx, tx, about); err != nil {
		return claims.Case{}, err
	}
	if about.Alike, err = claimspg.Alike(ctx, tx, about); err != nil {
		return claims.Case{}, err
	}
	about.Overruled, err = claimspg.Overrulings(ctx, tx, number)
	return about, err
}

// judge translates and checks a case; without a stop finding the claim is ready.
func (p *Pipeline) judge(about claims.Case) (claims.Claim, error) {
	t, err := p.Translator.Translate(about)
	if err != nil {
		return claims.Claim{}, fmt.Errorf("translate job %s: %w", about.Job.ID, err)
	}
	about.Unfit = p.unfit(about, t)
	c := claims.Claim{
		Shop: about.Shop.ID, Number: about.ClaimNumber, Job: about.Job.ID, JobVersion: about.Job.Version,
		Payer: about.Payer.ID, PayerName: about.Payer.Name, ProfileVersion: about.Payer.Profile.Version,
		State: claims.Ready, Coverage: about.Coverage, Findings: claims.Check(about, t), Lines: t.Lines,
		Totals: inCurrency(t.Totals, about.Shop), FilingDeadline: claims.FilingDeadline(&about), UpdateTime: about.Now,
		VIN: about.Job.Record.Vehicle.VIN, RepairDate: about.Job.Record.RepairDate(),
		MotoristName: about.Job.Record.Motorist.Name,
	}
	if finding.HasStop(c.Findings) {
		c.State = claims.Draft
	}
	return c, nil
}

// unfit finds what the payer's format could not carry, while it can still be mended.
func (p *Pipeline) unfit(about claims.Case, t claims.Translation) []errs.Field {
	profile := about.Payer.Profile
	picky, ok := p.formats[profile.Format].(claims.Picky)
	if !ok {
		return nil
	}
	envelope := claims.Envelope{ControlNumber: 1, BuildTime: about.Now, ShopName: about.Shop.Name, PayerCode: about.Payer.Code,
		IsTest: profile.IsTest, X12: profile.X12, CSV: profile.CSV}
	return picky.Unfit(envelope, claims.Frozen{Number: about.ClaimNumber, Payload: t.Payload, PayerShare: t.Totals.PayerShare})
}

// inCurrency gives totals of nothing the shop's currency: a claim that could not be priced is
// stored with zeros.
func inCurrency(t claims.Totals, shop access.Shop) claims.Totals {
	for _, a := range []*money.Amount{&t.Net, &t.Tax, &t.Total, &t.PayerShare, &t.MotoristShare} {
		if a.Currency == "" {
			a.Currency = shop.CurrencyCode
		}
	}
	return t
}

// unchanged tells whether checking again came to the same.
func unchanged(stored, next claims.Claim) bool {
	return stored.State == next.State && stored.JobVersion == next.JobVersion &&
		stored.ProfileVersion == next.ProfileVersion && stored.FilingDeadline == next.FilingDeadline &&
		stored.Totals == next.Totals && reflect.DeepEqual(stored.Coverage, next.Coverage) &&
		sameJSON(stored.Findings, next.Findings) && sameJSON(stored.Lines, next.Lines)
}

// found lists the codes of what stops a claim, for its event.
func found(c claims.Claim) map[string]any {
	stops := []string{}
	for _, f := range c.Findings {
		if f.Severity == finding.Stop {
			stops = append(stops, f.Code)
		}
	}
	return map[string]any{"stops": stops, "cautions": finding.Count(c.Findings, finding.Caution)}
}

// Payload gives the generic payload of a claim as it would be frozen now.
func (p *Pipeline) Payload(ctx context.Context, tx *pg.Tx, id ident.Claim) ([]byte, error) {
	c, err := claimspg.Get(ctx, tx, id)
	if err != nil {
		return nil, err
	}
	job, payer, err := jobAndPayer(ctx, tx, c)
	if err != nil {
		return nil, err
	}
	about, err := p.caseOf(ctx, tx, job, payer, c.Coverage, c.Number)
	if err != nil {
		return nil, err
	}
	t, err := p.Translator.Translate(about)
	return t.Payload, err
}

// PayerChanged asks for every claim on the payer that is not released to be checked again.
func (p *Pipeline) PayerChanged(ctx context.Context, shop ident.Shop, payerKey string) error {
	return p.changed(ctx, shop, ident.Payer(payerKey))
}

// ShopChanged asks for every claim of the shop that is not released to be checked again.
func (p *Pipeline) ShopChanged(ctx context.Context, shop ident.Shop, _ string) error {
	return p.changed(ctx, shop, "")
}

func (p *Pipeline) changed(ctx context.Context, shop ident.Shop, payer ident.Payer) error {
	return pg.Transact(ctx, p.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
		open, err := claimspg.Editable(ctx, tx, payer)
		if err != nil {
			return err
		}
		return outbox.Enqueue(ctx, tx, TopicCheck, open...)
	})
}
