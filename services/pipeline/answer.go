package pipeline

import (
	"context"
	"fmt"

	"cullet/services/claims"
	"cullet/services/claims/claimspg"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/payers"
	"cullet/services/runs"
	"cullet/services/runs/runspg"
)

// answer gives one answer its effect: on the claim that it names, or on every claim of the batch. IsKnown
// is false when it names what this payer was never sent, and when a person must ask what it means.
func (p *Pipeline) answer(ctx context.Context, tx *pg.Tx, m runs.Message, payer payers.Payer,
	a claims.Answer) (sentence string, isKnown bool, err error) {
	switch {
	case a.ClaimNumber != "":
		return p.answerClaim(ctx, tx, m, payer, a)
	case a.Position == 0 && a.InvoiceNumber != "":
		return p.answerInvoice(ctx, tx, m, payer, a)
	}
	return p.answerBatch(ctx, tx, m, payer, a)
}

// answerClaim answers about the claim of a number.
func (p *Pipeline) answerClaim(ctx context.Context, tx *pg.Tx, m runs.Message, payer payers.Payer,
	a claims.Answer) (sentence string, isKnown bool, err error) {
	c, ok, err := claimspg.LockByNumber(ctx, tx, payer.ID, a.ClaimNumber)
	if err != nil {
		return "", false, err
	}
	if !ok || c.Batch == "" {
		return fmt.Sprintf("%s answers “%s” for claim %q, which it was never sent.", payer.Name, a.State.Words(), a.ClaimNumber), false, nil
	}
	batch := c.Batch
	if a.ControlNumber != 0 {
		if batch, ok, err = runspg.Carrying(ctx, tx, payer.ID, a.ControlNumber, c.ID); err != nil {
			return "", false, err
		}
		if !ok {
			return fmt.Sprintf("%s answers “%s” for claim %s under control number %d, which did not carry it.",
				payer.Name, a.State.Words(), c.Number, a.ControlNumber), false, nil
		}
	}
	sentence, err = p.effect(ctx, tx, m, payer, c, batch, a)
	return sentence, true, err
}

// answerInvoice answers about the claims of an invoice, of which a payer knows no other number.
func (p *Pipeline) answerInvoice(ctx context.Context, tx *pg.Tx, m runs.Message, payer payers.Payer,
	a claims.Answer) (sentence string, isKnown bool, err error) {
	all, err := claimspg.LockByInvoice(ctx, tx, payer.ID, a.InvoiceNumber)
	if err != nil {
		return "", false, err
	}
	for _, c := range all {
		if c.Batch == "" {
			continue
		}
		said, err := p.effect(ctx, tx, m, payer, c, c.Batch, a)
		if err != nil {
			return "", false, err
		}
		sentence, isKnown = join(sentence, said), true
	}
	if !isKnown {
		sentence = fmt.Sprintf("%s answers “%s” for invoice %q, which it was never sent.", payer.Name, a.State.Words(), a.InvoiceNumber)
	}
	return sentence, isKnown, nil
}

// answerBatch answers about a whole batch, or about the claim at a place in it.
func (p *Pipeline) answerBatch(ctx context.Context, tx *pg.Tx, m runs.Message, payer payers.Payer,
	a claims.Answer) (sentence string, isKnown bool, err error) {
	batch, members, ok, err := runspg.OfNumber(ctx, tx, payer.ID, a.ControlNumber)
	if err != nil {
		return "", false, err
	}
	if !ok || a.Position > len(members) {
		return fmt.Sprintf("%s answers “%s” for %s, which it was never sent.", payer.Name, a.State.Words(), about(a)), false, nil
	}
	if a.WasKnown {
		if batch.AttemptCount < 2 {
			return fmt.Sprintf("%s says that it had a file under control number %d before, and it was sent once. Ask which claims it has. "+
				"Nothing was changed, and nothing may be sent under another number until that is known.", payer.Name, a.ControlNumber), false, nil
		}
		// An earlier try had arrived, and its reply was lost: that is the acknowledgement.
		a.State, a.Reasons = claims.Acknowledged, nil
	}
	if a.Position > 0 {
		members = members[a.Position-1 : a.Position]
	}
	all, err := claimspg.LockAll(ctx, tx, members)
	if err != nil {
		return "", false, err
	}
	for _, c := range all {
		if sentence, err = p.effect(ctx, tx, m, payer, c, batch.ID, a); err != nil {
			return "", false, err
		}
	}
	if a.Position == 0 {
		sentence = fmt.Sprintf("%s with %d claims: %s.", about(a), len(all), a.State.Words())
	}
	return sentence, true, nil
}

// about names what an answer is about when it has no claim number.
func about(a claims.Answer) string {
	if a.Position > 0 {
		return fmt.Sprintf("claim %d of control number %d", a.Position, a.ControlNumber)
	}
	return fmt.Sprintf("control number %d", a.ControlNumber)
}

// effect keeps an answer to one submission of a locked claim, and moves the claim when that is its
// present one. An answer that had its effect before has none.
func (p *Pipeline) effect(ctx context.Context, tx *pg.Tx, m runs.Message, payer payers.Payer, c claims.Claim, batch ident.Batch,
	a claims.Answer) (string, error) {
	if repeated, err := runspg.InsertAnswer(ctx, tx, m, c.ID, batch, a, p.now()); err != nil || repeated {
		return fmt.Sprintf("%s: %s, said before.", c.Number, a.State.Words()), err
	}
	if batch != c.Batch || !c.State.HasLeft() && c.State != claims.Released {
		return fmt.Sprintf("%s: %s, about an earlier submission; kept.", c.Number, a.State.Words()), nil
	}
	return p.settle(ctx, tx, c, payer, a)
}

func join(said, more string) string {
	if said == "" {
		return more
	}
	return said + " " + more
}
