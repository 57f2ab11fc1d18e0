package pipeline

import (
	"context"

	"cullet/services/claims"
	"cullet/services/claims/claimspg"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/jobs/jobspg"
	"cullet/services/payers"
	"cullet/services/payers/payerspg"
)

// Tried is a past claim as it is judged by the profile of today and by another one, each as of the day
// on which the claim was opened.
type Tried struct {
	Now, Then claims.Claim
}

// TryProfile judges the latest claims of a payer, at most so many, by a profile that is not stored, newest
// first. It stores nothing. It fails with errs.NotFound.
func (p *Pipeline) TryProfile(ctx context.Context, shop ident.Shop, id ident.Payer, profile payers.Profile, most int) ([]Tried, error) {
	var all []Tried
	err := pg.Read(ctx, p.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
		all = nil
		payer, err := payerspg.Get(ctx, tx, id)
		if err != nil {
			return err
		}
		latest, err := claimspg.Latest(ctx, tx, id, most)
		if err != nil {
			return err
		}
		for _, c := range latest {
			tried, err := p.try(ctx, tx, c, payer, profile)
			if err != nil {
				return err
			}
			all = append(all, tried)
		}
		return nil
	})
	return all, err
}

func (p *Pipeline) try(ctx context.Context, tx *pg.Tx, c claims.Claim, payer payers.Payer, profile payers.Profile) (Tried, error) {
	job, err := jobspg.Get(ctx, tx, c.Job, c.JobVersion)
	if err != nil {
		return Tried{}, err
	}
	about, err := p.caseOf(ctx, tx, job, payer, c.Coverage, c.Number)
	if err != nil {
		return Tried{}, err
	}
	about.Now = c.CreateTime
	now, err := p.judge(about)
	if err != nil {
		return Tried{}, err
	}
	about.Payer.Profile = profile
	then, err := p.judge(about)
	now.ID, then.ID = c.ID, c.ID
	return Tried{Now: now, Then: then}, err
}
