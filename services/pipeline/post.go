package pipeline

import (
	"context"
	"fmt"
	"strings"

	"cullet/services/claims"
	"cullet/services/claims/claimspg"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/payers"
	"cullet/services/payers/payerspg"
	"cullet/services/runs"
	"cullet/services/runs/runspg"
)

// Receive stores what a payer sent, raw, and asks for it to be read. It does nothing else: the
// payer gets its receipt as soon as the bytes are safe. Known is true when the payer sent the
// same message before.
func (p *Pipeline) Receive(ctx context.Context, shop ident.Shop, payer ident.Payer, via, externalID string,
	headers map[string]string, body []byte) (known bool, err error) {
	err = pg.Transact(ctx, p.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
		m := runs.Message{ID: ident.New[ident.Message](), Payer: payer, ExternalID: externalID, Via: via,
			ReceiveTime: p.now(), Body: body}
		var err error
		if known, err = runspg.Store(ctx, tx, m, headers); err != nil || known {
			return err
		}
		return outbox.Enqueue(ctx, tx, TopicPost, m.ID)
	})
	return known, err
}

// ReceiveOn is Receive for a webhook that names a route instead of a payer. It fails with
// errs.NotFound for a route that nobody has.
func (p *Pipeline) ReceiveOn(ctx context.Context, route, externalID string, headers map[string]string,
	body []byte) (known bool, err error) {
	shop, payer, err := payerspg.ByRoute(ctx, p.DB, route)
	if err != nil {
		return false, err
	}
	return p.Receive(ctx, shop, payer, "webhook", externalID, headers, body)
}

// collect fetches answer files that wait at a payer's channel and stores them raw.
func (p *Pipeline) collect(ctx context.Context, shop ident.Shop, payer payers.Payer) error {
	channel, ok := p.channels[payer.Profile.Channel]
	if !ok {
		return nil
	}
	var secret payers.Credentials
	err := pg.Read(ctx, p.DB, shop, func(ctx context.Context, tx *pg.Tx) (err error) {
		secret, err = payerspg.Credentials(ctx, tx, p.Sealer, payer.ID)
		return err
	})
	if err != nil {
		return err
	}
	return channel.Collect(ctx, destination(payer, secret), func(name string, content []byte) error {
		_, err := p.Receive(ctx, shop, payer.ID, channel.Name(), name, nil, content)
		return err
	})
}

// Post reads a stored message and gives every answer in it its effect, once, in one transaction.
// A message that cannot be read, or whose claim is not known, is kept and shown to the clerk. It
// may be repeated.
func (p *Pipeline) Post(ctx context.Context, shop ident.Shop, key string) error {
	return pg.Transact(ctx, p.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
		m, err := runspg.LockMessage(ctx, tx, ident.Message(key))
		if errs.Is(err, errs.NotFound) || err == nil && m.State == runs.Posted {
			return nil
		}
		if err != nil {
			return err
		}
		payer, err := payerspg.Get(ctx, tx, m.Payer)
		if err != nil {
			return err
		}
		format, ok := p.formats[payer.Profile.Format]
		if !ok {
			return runspg.MarkMessage(ctx, tx, m.ID, runs.Refused,
				fmt.Sprintf("The format %q of %s is not known here.", payer.Profile.Format, payer.Name))
		}
		answers, err := format.ReadAnswers(m.Body)
		if err != nil {
			return runspg.MarkMessage(ctx, tx, m.ID, runs.Refused, err.Error())
		}
		state, sentence, err := p.apply(ctx, tx, m, payer, answers)
		if err != nil {
			return err
		}
		return runspg.MarkMessage(ctx, tx, m.ID, state, sentence)
	})
}

// apply gives each answer its effect and says in words what came of all of them.
func (p *Pipeline) apply(ctx context.Context, tx *pg.Tx, m runs.Message, payer payers.Payer,
	answers []claims.Answer) (runs.MessageState, string, error) {
	state := runs.Posted
	var said []string
	for _, a := range answers {
		sentence, isKnown, err := p.answer(ctx, tx, m, payer, a)
		if err != nil {
			return "", "", err
		}
		if !isKnown {
			state = runs.UnknownClaim
		}
		said = append(said, sentence)
	}
	return state, strings.Join(said, " "), nil
}

// settle moves a claim to where all answers to its present submission leave it.
func (p *Pipeline) settle(ctx context.Context, tx *pg.Tx, c claims.Claim, payer payers.Payer, a claims.Answer) (string, error) {
	all, err := runspg.AnswersOf(ctx, tx, c.ID, c.Batch)
	if err != nil {
		return "", err
	}
	before, best := c, claims.Decisive(all)
	c.State, c.PayerReason, c.UpdateTime = best.State, best.Reason, p.now()
	if best.PayerReference != "" {
		c.PayerReference = best.PayerReference
	}
	if c.State == before.State && c.PayerReason == before.PayerReason && c.PayerReference == before.PayerReference {
		return fmt.Sprintf("%s: %s, and it stays %s.", c.Number, a.State.Words(), c.State.Words()), nil
	}
	ok, err := claimspg.Move(ctx, tx, c, true)
	if err != nil {
		return "", err
	}
	if !ok {
		return "", fmt.Errorf("claim %s changed while it was locked", c.Number)
	}
	c.Version++
	kind := "claim." + strings.ToLower(string(c.State))
	event := claimEvent(kind, c, payer.Name, c.UpdateTime, map[string]any{"payer_reference": c.PayerReference, "reason": c.PayerReason})
	return fmt.Sprintf("%s: %s.", c.Number, a.State.Words()), announce(ctx, tx, event)
}
