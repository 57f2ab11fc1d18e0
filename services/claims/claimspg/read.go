package claimspg

import (
	"context"
	"encoding/json"
	"fmt"

	"cullet/services/claims"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/jobs"
)

const fromWhole = ` FROM claims c
JOIN payers p ON p.shop_id = c.shop_id AND p.payer_id = c.payer_id
JOIN claim_contents t ON t.shop_id = c.shop_id AND t.claim_id = c.claim_id
LEFT JOIN invoices i ON i.shop_id = c.shop_id AND i.invoice_id = c.invoice_id`

const selectWhole = `SELECT ` + columns + `, t.coverage, t.findings, t.lines,
coalesce(encode(t.payload_hash, 'hex'), '') AS payload_hash, coalesce(i.number, '') AS invoice_number` + fromWhole

const selectByID = selectWhole + ` WHERE c.shop_id = $1 AND c.claim_id = $2`

const lockByID = selectByID + ` FOR UPDATE OF c`

// Get reads one claim, whole. It fails with errs.NotFound.
func Get(ctx context.Context, tx *pg.Tx, id ident.Claim) (claims.Claim, error) {
	return one(ctx, tx, selectByID, id)
}

// Lock reads one claim, whole, and locks it until the transaction ends. It fails with
// errs.NotFound.
func Lock(ctx context.Context, tx *pg.Tx, id ident.Claim) (claims.Claim, error) {
	return one(ctx, tx, lockByID, id)
}

func one(ctx context.Context, tx *pg.Tx, query string, id ident.Claim) (claims.Claim, error) {
	var w wholeRow
	if err := tx.Get(ctx, &w, query, string(tx.Shop()), string(id)); err != nil {
		if pg.IsNoRows(err) {
			return claims.Claim{}, NotFound(id)
		}
		return claims.Claim{}, fmt.Errorf("read claim %s: %w", id, err)
	}
	return w.claim()
}

// NotFound is what a missing or foreign claim is answered with; both look the same.
func NotFound(id ident.Claim) error {
	return errs.Missing("claim", string(id))
}

const lockLive = selectWhole + ` WHERE c.shop_id = $1 AND c.job_id = $2 AND c.payer_id = $3
AND c.state <> 'WITHDRAWN' AND c.supplement_of IS NULL FOR UPDATE OF c`

// LockLive reads and locks the live claim of a job on a payer; ok is false when there is none.
func LockLive(ctx context.Context, tx *pg.Tx, job ident.Job, payer ident.Payer) (c claims.Claim, ok bool, err error) {
	var w wholeRow
	if err := tx.Get(ctx, &w, lockLive, string(tx.Shop()), string(job), string(payer)); err != nil {
		if pg.IsNoRows(err) {
			return claims.Claim{}, false, nil
		}
		return claims.Claim{}, false, fmt.Errorf("read the claim of job %s: %w", job, err)
	}
	c, err = w.claim()
	return c, err == nil, err
}

const lockNumber = selectWhole + ` WHERE c.shop_id = $1 AND c.sequence = $2 AND c.payer_id = $3 FOR UPDATE OF c`

// LockByNumber reads and locks the claim of a payer that has the number, "C-000123"; ok is false
// when the payer has no claim of that number.
func LockByNumber(ctx context.Context, tx *pg.Tx, payer ident.Payer, number string) (c claims.Claim, ok bool, err error) {
	sequence, ok := Sequence(number)
	if !ok {
		return claims.Claim{}, false, nil
	}
	var w wholeRow
	if err := tx.Get(ctx, &w, lockNumber, string(tx.Shop()), sequence, string(payer)); err != nil {
		if pg.IsNoRows(err) {
			return claims.Claim{}, false, nil
		}
		return claims.Claim{}, false, fmt.Errorf("read claim %s: %w", number, err)
	}
	c, err = w.claim()
	return c, err == nil, err
}

const lockInvoice = selectWhole + ` WHERE c.shop_id = $1 AND c.payer_id = $2 AND i.number = $3 ORDER BY c.claim_id FOR UPDATE OF c`

// LockByInvoice reads and locks the claims of a payer that an invoice bills, in the order of their
// identifiers; none is an empty list.
func LockByInvoice(ctx context.Context, tx *pg.Tx, payer ident.Payer, number string) ([]claims.Claim, error) {
	return many(ctx, tx, lockInvoice, string(tx.Shop()), string(payer), number)
}

const latest = selectWhole + ` WHERE c.shop_id = $1 AND c.payer_id = $2 AND c.supplement_of IS NULL ORDER BY c.claim_id DESC LIMIT $3`

// Latest reads the claims of a payer that were opened last, newest first, at most so many.
func Latest(ctx context.Context, tx *pg.Tx, payer ident.Payer, most int) ([]claims.Claim, error) {
	return many(ctx, tx, latest, string(tx.Shop()), string(payer), most)
}

// Sequence reads a claim number; ok is false when text is none.
func Sequence(number string) (sequence int64, ok bool) {
	n, err := fmt.Sscanf(number, "C-%d", &sequence)
	return sequence, err == nil && n == 1 && sequence > 0 && Number(sequence) == number
}

const selectEarlier = `
WITH related AS (
  SELECT c.claim_id FROM claims c WHERE c.shop_id = $1 AND c.vin = $2
  UNION
  SELECT c.claim_id FROM claims c JOIN job_photos f ON f.shop_id = c.shop_id AND f.job_id = c.job_id
  WHERE c.shop_id = $1 AND f.shop_id = $1 AND f.photo_hash = ANY ($3) AND c.state <> 'WITHDRAWN' AND c.supplement_of IS NULL
  UNION
  SELECT c.claim_id FROM claims c
  WHERE c.shop_id = $1 AND c.payer_id = $4 AND c.authorization_number = $5 AND c.authorization_number <> ''
)
SELECT c.claim_id, c.sequence, c.job_id, c.payer_id, c.state, c.vin,
  to_char(c.repair_date, 'YYYY-MM-DD') AS repair_date, c.authorization_number,
  j.record -> 'damages' AS damages, coalesce(j.record -> 'photos', '[]') AS photos
FROM related r
JOIN claims c ON c.shop_id = $1 AND c.claim_id = r.claim_id
JOIN jobs j ON j.shop_id = c.shop_id AND j.job_id = c.job_id AND j.version = c.job_version
WHERE c.sequence < $6
ORDER BY c.sequence DESC LIMIT 50`

type earlierRow struct {
	ID            ident.Claim  `db:"claim_id"`
	Sequence      int64        `db:"sequence"`
	Job           ident.Job    `db:"job_id"`
	Payer         ident.Payer  `db:"payer_id"`
	State         claims.State `db:"state"`
	VIN           string       `db:"vin"`
	RepairDate    string       `db:"repair_date"`
	Authorization string       `db:"authorization_number"`
	Damages       []byte       `db:"damages"`
	Photos        []byte       `db:"photos"`
}

// Earlier lists the claims that the case must be compared with: opened before it (before the
// claim's own number, when it has one) and of the same vehicle, photo or authorization number.
func Earlier(ctx context.Context, tx *pg.Tx, c claims.Case) ([]claims.EarlierClaim, error) {
	hashes := make([][]byte, 0, len(c.Job.Record.Photos))
	for _, p := range c.Job.Record.Photos {
		hashes = append(hashes, p.Hash.Bytes())
	}
	var rows []earlierRow
	if err := tx.Select(ctx, &rows, selectEarlier, string(tx.Shop()), c.Job.Record.Vehicle.VIN, pg.Array(hashes),
		idOr(c.Payer.ID), c.Coverage.Authorization.Number, before(c)); err != nil {
		return nil, fmt.Errorf("read earlier claims: %w", err)
	}
	all := make([]claims.EarlierClaim, len(rows))
	for i, r := range rows {
		all[i] = claims.EarlierClaim{ID: r.ID, Number: Number(r.Sequence), Job: r.Job, Payer: r.Payer, State: r.State,
			VIN: r.VIN, RepairDate: r.RepairDate, AuthorizationNumber: r.Authorization}
		var photos []jobs.PhotoReference
		if err := json.Unmarshal(r.Damages, &all[i].Damages); err != nil {
			return nil, fmt.Errorf("read damages of claim %s: %w", r.ID, err)
		}
		if err := json.Unmarshal(r.Photos, &photos); err != nil {
			return nil, fmt.Errorf("read photos of claim %s: %w", r.ID, err)
		}
		for _, p := range photos {
			all[i].PhotoHashes = append(all[i].PhotoHashes, p.Hash)
		}
	}
	return all, nil
}

const selectPayload = `SELECT payload FROM claim_contents WHERE shop_id = $1 AND claim_id = $2`

// Payload gives the frozen payload; nil when the claim is not released. It fails with
// errs.NotFound.
func Payload(ctx context.Context, tx *pg.Tx, id ident.Claim) ([]byte, error) {
	var payload []byte
	if err := tx.Get(ctx, &payload, selectPayload, string(tx.Shop()), string(id)); err != nil {
		if pg.IsNoRows(err) {
			return nil, NotFound(id)
		}
		return nil, fmt.Errorf("read payload of claim %s: %w", id, err)
	}
	return payload, nil
}
