package claimspg

import (
	"context"
	"fmt"

	"cullet/services/claims"
	"cullet/services/internal/pg"
	"cullet/services/jobs"
)

// Whatever differs in at most claims.LikeBits agrees in one of the five bands (migration 0011), so
// the bands' indexes find it without reading a shop's other photos. Of each photo the likest one
// comes first. VIN plates are left out on both sides: plates of numbers look alike.
const selectAlike = `
WITH own AS MATERIALIZED (
  SELECT photo_hash, likeness, band_1, band_2, band_3, band_4, band_5
  FROM photos WHERE shop_id = $1 AND photo_hash = ANY ($2)
), near AS MATERIALIZED (
  SELECT o.photo_hash AS own, p.photo_hash AS other, bit_count((p.likeness # o.likeness)::bit(64)) AS bits
  FROM own o CROSS JOIN LATERAL (
    SELECT photo_hash, likeness FROM photos WHERE shop_id = $1 AND band_1 = o.band_1
    UNION SELECT photo_hash, likeness FROM photos WHERE shop_id = $1 AND band_2 = o.band_2
    UNION SELECT photo_hash, likeness FROM photos WHERE shop_id = $1 AND band_3 = o.band_3
    UNION SELECT photo_hash, likeness FROM photos WHERE shop_id = $1 AND band_4 = o.band_4
    UNION SELECT photo_hash, likeness FROM photos WHERE shop_id = $1 AND band_5 = o.band_5) p
  WHERE p.photo_hash <> o.photo_hash AND bit_count((p.likeness # o.likeness)::bit(64)) <= $3
)
SELECT encode(n.own, 'hex') AS own, encode(n.other, 'hex') AS other, n.bits, f.photo_number, c.sequence
FROM near n
JOIN job_photos f ON f.shop_id = $1 AND f.photo_hash = n.other AND f.kind <> 'VIN_PLATE'
JOIN claims c ON c.shop_id = $1 AND c.job_id = f.job_id AND c.job_version = f.version
  AND c.state <> 'WITHDRAWN' AND c.supplement_of IS NULL
WHERE c.sequence < $4 AND c.job_id <> $5
ORDER BY n.bits, c.sequence DESC, f.photo_number LIMIT 50`

type alikeRow struct {
	Own      jobs.PhotoHash `db:"own"`
	Other    jobs.PhotoHash `db:"other"`
	Bits     int            `db:"bits"`
	Number   int            `db:"photo_number"`
	Sequence int64          `db:"sequence"`
}

// Alike lists the photos that look nearly like one of the case's and that stand on a claim which was
// opened before it: before the claim's own number, when it has one. The likest come first.
func Alike(ctx context.Context, tx *pg.Tx, c claims.Case) ([]claims.AlikePhoto, error) {
	hashes := make([][]byte, 0, len(c.Job.Record.Photos))
	for _, p := range c.Job.Record.Photos {
		if p.Kind != jobs.VINPlate {
			hashes = append(hashes, p.Hash.Bytes())
		}
	}
	if len(hashes) == 0 {
		return nil, nil
	}
	var rows []alikeRow
	if err := tx.Select(ctx, &rows, selectAlike, string(tx.Shop()), pg.Array(hashes), claims.LikeBits, before(c), idOr(c.Job.ID)); err != nil {
		return nil, fmt.Errorf("read photos that look alike: %w", err)
	}
	all := make([]claims.AlikePhoto, len(rows))
	for i, r := range rows {
		all[i] = claims.AlikePhoto{Own: r.Own, Other: r.Other, Bits: r.Bits, Number: r.Number, ClaimNumber: Number(r.Sequence)}
	}
	return all, nil
}

// before is the sequence of the first claim that was not opened before the case.
func before(c claims.Case) int64 {
	if own, ok := Sequence(c.ClaimNumber); ok {
		return own
	}
	return 1 << 60
}

// idOr gives the identifier, or the one that nothing has for a case that is not stored.
func idOr[T ~string](id T) string {
	if id == "" {
		return "00000000-0000-0000-0000-000000000000"
	}
	return string(id)
}
