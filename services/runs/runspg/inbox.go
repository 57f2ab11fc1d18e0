package runspg

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"cullet/services/claims"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/runs"
)

const insertMessage = `
INSERT INTO messages (shop_id, message_id, payer_id, external_id, via, state, headers, body, receive_time)
VALUES ($1, $2, $3, $4, $5, 'RECEIVED', $6, $7, $8)
ON CONFLICT ON CONSTRAINT messages_external_id DO NOTHING`

// Store keeps a message raw; known is true, and nothing is stored, when the payer sent it before
// under the same external identifier.
func Store(ctx context.Context, tx *pg.Tx, m runs.Message, headers map[string]string) (known bool, err error) {
	raw, err := json.Marshal(headers)
	if err != nil {
		return false, fmt.Errorf("store message %s: %w", m.ExternalID, err)
	}
	n, err := tx.Exec(ctx, insertMessage, string(tx.Shop()), string(m.ID), string(m.Payer), m.ExternalID, m.Via,
		string(raw), m.Body, m.ReceiveTime)
	if err != nil {
		return false, fmt.Errorf("store message %s: %w", m.ExternalID, err)
	}
	return n == 0, nil
}

const messageColumns = `m.shop_id, m.message_id, m.payer_id, p.name AS payer_name, m.external_id, m.via, m.state,
m.receive_time, m.sentence, m.body`

const fromMessages = ` FROM messages m JOIN payers p ON p.shop_id = m.shop_id AND p.payer_id = m.payer_id`

type messageRow struct {
	Shop        ident.Shop        `db:"shop_id"`
	ID          ident.Message     `db:"message_id"`
	Payer       ident.Payer       `db:"payer_id"`
	PayerName   string            `db:"payer_name"`
	ExternalID  string            `db:"external_id"`
	Via         string            `db:"via"`
	State       runs.MessageState `db:"state"`
	ReceiveTime time.Time         `db:"receive_time"`
	Sentence    string            `db:"sentence"`
	Body        []byte            `db:"body"`
}

func (r messageRow) message() runs.Message {
	return runs.Message{ID: r.ID, Shop: r.Shop, Payer: r.Payer, PayerName: r.PayerName, ExternalID: r.ExternalID, Via: r.Via,
		State: r.State, ReceiveTime: r.ReceiveTime, Sentence: r.Sentence, Body: r.Body}
}

const lockMessage = `SELECT ` + messageColumns + fromMessages + ` WHERE m.shop_id = $1 AND m.message_id = $2 FOR UPDATE OF m`

// LockMessage reads and locks a message. It fails with errs.NotFound.
func LockMessage(ctx context.Context, tx *pg.Tx, id ident.Message) (runs.Message, error) {
	var row messageRow
	if err := tx.Get(ctx, &row, lockMessage, string(tx.Shop()), string(id)); err != nil {
		if pg.IsNoRows(err) {
			return runs.Message{}, errs.Missing("message", string(id))
		}
		return runs.Message{}, fmt.Errorf("read message %s: %w", id, err)
	}
	return row.message(), nil
}

const markMessage = `UPDATE messages SET state = $3, sentence = $4 WHERE shop_id = $1 AND message_id = $2`

// MarkMessage stores what came of a message.
func MarkMessage(ctx context.Context, tx *pg.Tx, id ident.Message, state runs.MessageState, sentence string) error {
	if _, err := tx.Exec(ctx, markMessage, string(tx.Shop()), string(id), string(state), clip(sentence, 2000)); err != nil {
		return fmt.Errorf("mark message %s: %w", id, err)
	}
	return nil
}

const listMessages = `SELECT ` + messageColumns + fromMessages + `
WHERE m.shop_id = $1 AND m.message_id < $2 AND ($3 = '' OR m.state = $3)
ORDER BY m.message_id DESC LIMIT $4`

// Messages lists messages, newest first, those before the identifier; state empty is any.
func Messages(ctx context.Context, tx *pg.Tx, before, state string, limit int) ([]runs.Message, error) {
	var rows []messageRow
	if err := tx.Select(ctx, &rows, listMessages, string(tx.Shop()), before, state, limit); err != nil {
		return nil, fmt.Errorf("list messages: %w", err)
	}
	all := make([]runs.Message, len(rows))
	for i, row := range rows {
		all[i] = row.message()
	}
	return all, nil
}

const insertAnswer = `
INSERT INTO answers (shop_id, payer_id, external_id, message_id, claim_id, batch_id, state, occur_time, apply_time, payer_reference, reason)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11) ON CONFLICT DO NOTHING`

// InsertAnswer keeps that an answer has its effect on a claim; known is true when it had it before.
func InsertAnswer(ctx context.Context, tx *pg.Tx, m runs.Message, claim ident.Claim, batch ident.Batch, a claims.Answer,
	at time.Time) (known bool, err error) {
	n, err := tx.Exec(ctx, insertAnswer, string(tx.Shop()), string(m.Payer), a.ExternalID, string(m.ID), string(claim),
		string(batch), string(a.State), a.OccurTime, at, a.PayerReference, a.Words())
	if err != nil {
		return false, fmt.Errorf("store answer %s: %w", a.ExternalID, err)
	}
	return n == 0, nil
}

const answersOfClaim = `
SELECT state, occur_time, external_id, payer_reference, reason FROM answers WHERE shop_id = $1 AND claim_id = $2 AND batch_id = $3`

// AnswersOf lists the answers that a claim has had to one submission.
func AnswersOf(ctx context.Context, tx *pg.Tx, claim ident.Claim, batch ident.Batch) ([]claims.Answered, error) {
	var all []claims.Answered
	if err := tx.Select(ctx, &all, answersOfClaim, string(tx.Shop()), string(claim), string(batch)); err != nil {
		return nil, fmt.Errorf("list answers of claim %s: %w", claim, err)
	}
	return all, nil
}
