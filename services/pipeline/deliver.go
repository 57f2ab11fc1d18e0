package pipeline

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"cullet/services/claims"
	"cullet/services/claims/claimspg"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/money"
	"cullet/services/payers"
	"cullet/services/payers/payerspg"
	"cullet/services/runs"
	"cullet/services/runs/runspg"
)

// sendTimeout bounds one attempt to send a batch.
const sendTimeout = 60 * time.Second

// payerDown says that nobody knows whether a batch arrived: the same bytes must be sent again.
type payerDown struct{ cause error }

func (d *payerDown) Error() string { return "the payer did not answer: " + d.cause.Error() }
func (d *payerDown) Unwrap() error { return d.cause }

// document builds the bytes of a batch. What it depends on is in its arguments and in the frozen
// payloads, so it is built once and stored; a resend reads what was stored.
func (p *Pipeline) document(shopName string, payer payers.Payer, taken []claims.Frozen,
	number int64) (b runs.Batch, members []ident.Claim, content []byte, err error) {
	format, ok := p.formats[payer.Profile.Format]
	if !ok {
		return runs.Batch{}, nil, nil, fmt.Errorf("the format %q of %s is not known here", payer.Profile.Format, payer.Name)
	}
	envelope := claims.Envelope{ControlNumber: number, BuildTime: p.now(), ShopName: shopName,
		PayerCode: payer.Code, IsTest: payer.Profile.IsTest, X12: payer.Profile.X12, CSV: payer.Profile.CSV}
	var out bytes.Buffer
	if err := format.Encode(&out, envelope, taken); err != nil {
		return runs.Batch{}, nil, nil, fmt.Errorf("write the batch for %s: %w", payer.Name, err)
	}
	hash := sha256.Sum256(out.Bytes())
	b = runs.Batch{Shop: payer.Shop, Payer: payer.ID, ControlNumber: number, State: runs.Built, ClaimCount: len(taken),
		Format: format.Name(), Channel: payer.Profile.Channel, FileName: format.FileName(envelope),
		MediaType: format.MediaType(), Hash: hex.EncodeToString(hash[:]), SizeBytes: int64(out.Len()),
		BuildTime: envelope.BuildTime, Total: money.From(0, taken[0].PayerShare.Currency)}
	for _, f := range taken {
		members = append(members, f.Claim)
		if b.Total, err = b.Total.Add(f.PayerShare); err != nil {
			return runs.Batch{}, nil, nil, fmt.Errorf("sum the batch for %s: %w", payer.Name, err)
		}
	}
	return b, members, out.Bytes(), nil
}

// deliver sends a stored batch and stores what came of it. Content is its bytes, from whoever stored
// them just now, or nil. It holds no transaction while it sends. A batch that arrived before is left
// alone. It fails with *payerDown when nobody knows.
func (p *Pipeline) deliver(ctx context.Context, shop ident.Shop, id ident.Batch, content []byte) error {
	var (
		batch  runs.Batch
		payer  payers.Payer
		secret payers.Credentials
	)
	err := pg.Read(ctx, p.DB, shop, func(ctx context.Context, tx *pg.Tx) (err error) {
		if content == nil {
			batch, content, err = runspg.Batch(ctx, tx, id)
		} else {
			batch, err = runspg.BatchHead(ctx, tx, id)
		}
		if err != nil {
			return err
		}
		if payer, err = payerspg.Get(ctx, tx, batch.Payer); err != nil {
			return err
		}
		secret, err = payerspg.Credentials(ctx, tx, p.Sealer, batch.Payer)
		return err
	})
	if errs.Is(err, errs.NotFound) || err == nil && batch.State != runs.Built {
		return nil
	}
	if err != nil {
		return err
	}
	channel, ok := p.channels[batch.Channel]
	if !ok {
		return p.refused(ctx, batch, fmt.Errorf("the channel %q is not known here: %w", batch.Channel, claims.ErrMisaddressed))
	}
	sending, cancel := context.WithTimeout(ctx, sendTimeout)
	defer cancel()
	receipt, err := channel.Deliver(sending, destination(payer, secret),
		claims.Document{ControlNumber: batch.ControlNumber, FileName: batch.FileName, MediaType: batch.MediaType,
			Hash: batch.Hash, Content: content})
	switch {
	case errors.Is(err, claims.ErrRefused):
		return p.refused(ctx, batch, err)
	case err != nil:
		return p.unknown(ctx, batch, err)
	}
	return p.arrived(ctx, batch, payer, receipt)
}

// destination is where and how a payer takes documents.
func destination(payer payers.Payer, secret payers.Credentials) claims.Destination {
	return claims.Destination{Address: payer.Profile.Address, BearerToken: secret.BearerToken, Password: secret.Password,
		PrivateKey: secret.PrivateKey, HostKeys: payer.Profile.HostKeys}
}

// arrived stores the receipt and moves the batch's claims.
func (p *Pipeline) arrived(ctx context.Context, batch runs.Batch, payer payers.Payer, receipt claims.Receipt) error {
	return pg.Transact(ctx, p.DB, batch.Shop, func(ctx context.Context, tx *pg.Tx) error {
		at := p.now()
		first, err := runspg.MarkSent(ctx, tx, batch.ID, at, receipt.Sentence, receipt.Reference)
		if err != nil || !first {
			return err
		}
		moved, err := claimspg.MarkSubmitted(ctx, tx, batch.ID, at, at.Add(payer.Profile.AnswerIn()))
		if err != nil {
			return err
		}
		if err := announce(ctx, tx, movedEvents("claim.submitted", claims.Submitted, moved, batch, at)...); err != nil {
			return err
		}
		return runspg.Recount(ctx, tx, batch.Run, at)
	})
}

// refused stores that the same bytes cannot help; the claims go back to the clerk as rejected.
func (p *Pipeline) refused(ctx context.Context, batch runs.Batch, cause error) error {
	return pg.Transact(ctx, p.DB, batch.Shop, func(ctx context.Context, tx *pg.Tx) error {
		at := p.now()
		open, err := runspg.MarkTried(ctx, tx, batch.ID, runs.Failed, cause.Error(), nil)
		if err != nil || !open {
			return err
		}
		moved, err := claimspg.Reject(ctx, tx, batch.ID, at, cause.Error())
		if err != nil {
			return err
		}
		if err := announce(ctx, tx, movedEvents("claim.rejected", claims.Rejected, moved, batch, at)...); err != nil {
			return err
		}
		return runspg.Recount(ctx, tx, batch.Run, at)
	})
}

// unknown stores an attempt of which nobody knows whether it arrived. A misaddressed one is kept
// as well: whoever mends the profile lets the same bytes leave.
func (p *Pipeline) unknown(ctx context.Context, batch runs.Batch, cause error) error {
	err := pg.Transact(ctx, p.DB, batch.Shop, func(ctx context.Context, tx *pg.Tx) error {
		_, err := runspg.MarkTried(ctx, tx, batch.ID, runs.Built, cause.Error(), nil)
		return err
	})
	if err != nil {
		return err
	}
	return &payerDown{cause: cause}
}

// movedEvents tells that the claims of a batch have moved together.
func movedEvents(kind string, state claims.State, moved []claimspg.Moved, batch runs.Batch, at time.Time) []outbox.Event {
	events := make([]outbox.Event, len(moved))
	for i, m := range moved {
		c := claims.Claim{ID: m.ID, State: state, Version: m.Version, Payer: batch.Payer}
		events[i] = batchEvent(kind, c, batch, at)
	}
	return events
}
