package pipeline

import (
	"context"
	"fmt"

	"cullet/services/access/accesspg"
	"cullet/services/claims/claimspg"
	"cullet/services/internal/pg"
	"cullet/services/money"
	"cullet/services/payers"
	"cullet/services/payers/payerspg"
	"cullet/services/runs"
	"cullet/services/runs/runspg"
)

// Planned is what a run would do now.
type Planned struct {
	Run     runs.Run
	Batches []runs.Batch
}

// Plan says what a run would send if it started now, and writes nothing: what is stored and not
// sent, what is released, and what profiles let be released by itself.
func (p *Pipeline) Plan(ctx context.Context, tx *pg.Tx) (Planned, error) {
	shop, err := accesspg.GetShop(ctx, tx)
	if err != nil {
		return Planned{}, err
	}
	plan := Planned{Run: runs.Run{BusinessDate: shop.Today(p.now()), StartTime: p.now(), SentTotal: money.From(0, shop.CurrencyCode)}}
	if plan.Batches, err = runspg.Open(ctx, tx); err != nil {
		return Planned{}, err
	}
	waiting, err := claimspg.Waiting(ctx, tx)
	if err != nil {
		return Planned{}, err
	}
	all, err := payerspg.All(ctx, tx)
	if err != nil {
		return Planned{}, err
	}
	for _, payer := range all {
		plan.add(payer, waiting, shop.CurrencyCode)
	}
	for _, b := range plan.Batches {
		plan.Run.SentCount += b.ClaimCount
		plan.Run.SentTotal.Minor += b.Total.Minor
	}
	return plan, nil
}

// add plans what one payer would get.
func (plan *Planned) add(payer payers.Payer, waiting []claimspg.WaitingClaims, currency string) {
	b := runs.Batch{Payer: payer.ID, PayerName: payer.Name, Format: payer.Profile.Format, Channel: payer.Profile.Channel,
		Total: money.From(0, currency)}
	for _, w := range waiting {
		switch {
		case w.Payer != payer.ID:
		case w.IsReleased || payer.Profile.IsReleasedByItself:
			b.ClaimCount += w.Count
			b.Total.Minor += w.Minor
			if !w.IsReleased {
				plan.Run.ReleasedCount += w.Count
			}
		default:
			plan.Run.HeldReasons = append(plan.Run.HeldReasons,
				fmt.Sprintf("%s: %d claims are ready and wait to be released by the clerk", payer.Name, w.Count))
		}
	}
	if b.ClaimCount > 0 {
		plan.Batches = append(plan.Batches, b)
	}
}
