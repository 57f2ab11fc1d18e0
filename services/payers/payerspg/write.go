package payerspg

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/seal"
	"cullet/services/payers"
)

// ReasonCodeTaken goes with errs.Conflict: the shop uses the code for another payer.
const ReasonCodeTaken = "PAYER_CODE_TAKEN"

const insertPayer = `
WITH payer AS (
    INSERT INTO payers (shop_id, payer_id, code, name, kind, profile_version, version, inbound_route, create_time)
    VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
    RETURNING shop_id, payer_id
), profile AS (
    INSERT INTO payer_profiles (shop_id, payer_id, version, profile, create_time, created_by)
    SELECT shop_id, payer_id, $6, $10::jsonb, $9, $11::text FROM payer
)
INSERT INTO inbound_routes (route, shop_id, payer_id)
SELECT $8, shop_id, payer_id FROM payer`

// Insert stores a payer with its first profile and its route; by is who adds it. A code that the
// shop uses already is errs.Conflict with reason PAYER_CODE_TAKEN.
func Insert(ctx context.Context, tx *pg.Tx, p payers.Payer, by string) error {
	profile, err := json.Marshal(p.Profile)
	if err != nil {
		return fmt.Errorf("write the profile of payer %s: %w", p.ID, err)
	}
	_, err = tx.Exec(ctx, insertPayer, string(tx.Shop()), string(p.ID), p.Code, p.Name, string(p.Kind),
		p.Profile.Version, p.Version, p.InboundRoute, p.CreateTime, string(profile), by)
	if pg.Violated(err, "payers_code") {
		return errs.Newf(errs.Conflict, ReasonCodeTaken, "code: the shop has a payer %q already; choose another "+
			"code, or change the profile of that payer", p.Code).With(errs.DetailType, "payer").Because(err)
	}
	if err != nil {
		return fmt.Errorf("insert payer %s: %w", p.ID, err)
	}
	return nil
}

const insertProfile = `
WITH profile AS (
    INSERT INTO payer_profiles (shop_id, payer_id, version, profile, create_time, created_by)
    VALUES ($1, $2, $3, $4, $5, $6)
    RETURNING shop_id, payer_id, version
)
UPDATE payers p SET profile_version = profile.version, version = $7
FROM profile WHERE p.shop_id = profile.shop_id AND p.payer_id = profile.payer_id`

// SetProfile stores p.Profile under its version and makes it the present one, and p.Version as the
// payer's. Lock the payer first and count both versions up.
func SetProfile(ctx context.Context, tx *pg.Tx, p payers.Payer, by string, now time.Time) error {
	profile, err := json.Marshal(p.Profile)
	if err != nil {
		return fmt.Errorf("write the profile of payer %s: %w", p.ID, err)
	}
	_, err = tx.Exec(ctx, insertProfile, string(tx.Shop()), string(p.ID), p.Profile.Version, string(profile),
		now, by, p.Version)
	if err != nil {
		return fmt.Errorf("store version %d of the profile of payer %s: %w", p.Profile.Version, p.ID, err)
	}
	return nil
}

const selectProfile = `
SELECT profile FROM payer_profiles WHERE shop_id = $1 AND payer_id = $2 AND version = $3`

// Profile gives one version of a payer's profile; errs.NotFound when there is none.
func Profile(ctx context.Context, tx *pg.Tx, id ident.Payer, version int) (payers.Profile, error) {
	var stored []byte
	err := tx.Get(ctx, &stored, selectProfile, string(tx.Shop()), string(id), version)
	if pg.IsNoRows(err) {
		return payers.Profile{}, errs.Missing("payer profile", fmt.Sprintf("%s version %d", id, version))
	}
	if err != nil {
		return payers.Profile{}, fmt.Errorf("read version %d of the profile of payer %s: %w", version, id, err)
	}
	profile := payers.Profile{}
	if err := json.Unmarshal(stored, &profile); err != nil {
		return payers.Profile{}, fmt.Errorf("read version %d of the profile of payer %s: %w", version, id, err)
	}
	profile.Version = version
	return profile, nil
}

const upsertCredentials = `
INSERT INTO payer_credentials (shop_id, payer_id, sealed, store_time)
VALUES ($1, $2, $3, $4)
ON CONFLICT (shop_id, payer_id) DO UPDATE SET sealed = EXCLUDED.sealed, store_time = EXCLUDED.store_time`

// SetCredentials seals and stores a payer's credentials in place of what was there.
func SetCredentials(
	ctx context.Context, tx *pg.Tx, ring *seal.Ring, id ident.Payer, c payers.Credentials, now time.Time,
) error {
	plain, err := json.Marshal(c)
	if err != nil {
		return fmt.Errorf("write the credentials of payer %s: %w", id, err)
	}
	sealed, err := ring.Seal(credentialsOf(tx.Shop(), id), plain)
	if err != nil {
		return fmt.Errorf("seal the credentials of payer %s: %w", id, err)
	}
	if _, err := tx.Exec(ctx, upsertCredentials, string(tx.Shop()), string(id), sealed, now); err != nil {
		return fmt.Errorf("store the credentials of payer %s: %w", id, err)
	}
	return nil
}

const selectCredentials = `SELECT sealed FROM payer_credentials WHERE shop_id = $1 AND payer_id = $2`

// Credentials opens a payer's credentials; the zero Credentials when none were stored. Bytes that
// do not open are an error that wraps seal.ErrNotOpened.
func Credentials(ctx context.Context, tx *pg.Tx, ring *seal.Ring, id ident.Payer) (payers.Credentials, error) {
	var sealed []byte
	err := tx.Get(ctx, &sealed, selectCredentials, string(tx.Shop()), string(id))
	if pg.IsNoRows(err) {
		return payers.Credentials{}, nil
	}
	if err != nil {
		return payers.Credentials{}, fmt.Errorf("read the credentials of payer %s: %w", id, err)
	}
	plain, err := ring.Open(credentialsOf(tx.Shop(), id), sealed)
	if err != nil {
		return payers.Credentials{}, fmt.Errorf("open the credentials of payer %s: %w", id, err)
	}
	var c payers.Credentials
	if err := json.Unmarshal(plain, &c); err != nil {
		return payers.Credentials{}, fmt.Errorf("read the credentials of payer %s: %w", id, err)
	}
	return c, nil
}

func credentialsOf(shop ident.Shop, id ident.Payer) seal.Place {
	return seal.Place{Shop: shop, Table: "payer_credentials", Column: "sealed", Row: string(id)}
}
