package accessrpc

import (
	"context"
	"fmt"
	"time"

	accessv1 "cullet/proto/cullet/access/v1"
	"cullet/services/access"
	"cullet/services/access/accesspg"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
)

// Caps of keys.
const (
	maxKeyName  = 200
	maxLiveKeys = 200
)

// CreateKey makes a key and answers its secret, once.
func (s *Server) CreateKey(
	ctx context.Context, req *accessv1.CreateKeyRequest,
) (*accessv1.CreateKeyResponse, error) {
	now := s.instant()
	secret := access.NewSecret()
	key := access.Key{ID: ident.New[ident.Key](), Shop: rpc.CallerFrom(ctx).Shop, Name: req.GetName(),
		Role: wire.Word[access.Role](rolePrefix, req.GetRole()), Prefix: secret.Prefix(),
		CreateTime: now, ExpireTime: wire.FromTimeOrNil(req.GetExpireTime())}
	resp, err := rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*accessv1.CreateKeyResponse, error) {
		// Not before: a repetition is answered, although the key may have ended since.
		if err := rpc.Refuse(ctx, checkNewKey(req, now)); err != nil {
			return nil, err
		}
		if _, err := accesspg.LockShop(ctx, tx); err != nil {
			return nil, err
		}
		live, _, err := accesspg.CountOthers(ctx, tx, key.ID, now)
		if err != nil {
			return nil, err
		}
		if live >= maxLiveKeys {
			return nil, errs.Newf(errs.State, "TOO_MANY_KEYS",
				"the shop has %d live keys and at most %d are allowed; revoke keys that nobody uses", live, maxLiveKeys)
		}
		if err := accesspg.InsertKey(ctx, tx, key, secret); err != nil {
			return nil, err
		}
		if err := s.audit(ctx, tx, "key.created", "key", string(key.ID)); err != nil {
			return nil, err
		}
		return &accessv1.CreateKeyResponse{Key: toKey(key)}, nil
	})
	if err == nil && resp.GetKey().GetKeyId() == string(key.ID) {
		resp.Secret = string(secret) // never stored: the answer to a repetition is without it
	}
	return resp, err
}

func checkNewKey(req *accessv1.CreateKeyRequest, now time.Time) (faults []errs.Field) {
	if n := len([]rune(req.GetName())); n > maxKeyName {
		faults = append(faults, errs.Field{Path: "name", Reason: "TOO_LARGE",
			Message: fmt.Sprintf("%d characters were given and at most %d are allowed; shorten the name", n, maxKeyName)})
	}
	if at := req.GetExpireTime(); at != nil && !at.AsTime().After(now) {
		faults = append(faults, errs.Field{Path: "expire_time", Reason: "PAST", Message: fmt.Sprintf(
			"%s is past; give a later time, or leave it out for a key that does not end by itself",
			at.AsTime().Format(time.RFC3339))})
	}
	return faults
}

// ListKeys lists the shop's keys, newest first.
func (s *Server) ListKeys(ctx context.Context, req *accessv1.ListKeysRequest) (*accessv1.ListKeysResponse, error) {
	page, err := s.pages.Open(ctx, req, rpc.Usual)
	if err != nil {
		return nil, err
	}
	var keys []access.Key
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		keys, err = accesspg.ListKeys(ctx, tx, page.Before(), page.Size+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	keys, hasMore := rpc.Cut(keys, page)
	resp := &accessv1.ListKeysResponse{}
	last := ""
	for _, k := range keys {
		resp.Keys = append(resp.Keys, toKey(k))
		last = string(k.ID)
	}
	resp.NextPageToken, err = page.Next(hasMore, last)
	return resp, err
}

// RevokeKey ends a key. A key that has ended already is answered as it is.
func (s *Server) RevokeKey(
	ctx context.Context, req *accessv1.RevokeKeyRequest,
) (*accessv1.RevokeKeyResponse, error) {
	id, ok := ident.Parse[ident.Key](req.GetKeyId())
	if !ok {
		return nil, errs.Missing("key", req.GetKeyId())
	}
	now := s.instant()
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*accessv1.RevokeKeyResponse, error) {
		if _, err := accesspg.LockShop(ctx, tx); err != nil {
			return nil, err
		}
		key, err := accesspg.GetKey(ctx, tx, id)
		if err != nil {
			return nil, err
		}
		if !key.IsLive(now) {
			return &accessv1.RevokeKeyResponse{Key: toKey(key)}, nil
		}
		_, owners, err := accesspg.CountOthers(ctx, tx, id, now)
		if err != nil {
			return nil, err
		}
		if key.Role == access.Owner && owners == 0 {
			return nil, errs.New(errs.State, "LAST_OWNER_KEY", "this is the shop's last live owner key, and without "+
				"one nobody could make keys any more; make another owner key first").With(errs.DetailName, string(id))
		}
		if err := accesspg.RevokeKey(ctx, tx, id, now); err != nil {
			return nil, err
		}
		if err := s.audit(ctx, tx, "key.revoked", "key", string(id)); err != nil {
			return nil, err
		}
		key.RevokeTime = &now
		return &accessv1.RevokeKeyResponse{Key: toKey(key)}, nil
	})
}

func toKey(k access.Key) *accessv1.Key {
	return &accessv1.Key{KeyId: string(k.ID), Name: k.Name, Role: toRole(k.Role), Prefix: k.Prefix,
		CreateTime: wire.ToTime(k.CreateTime), ExpireTime: wire.ToTimeOrNil(k.ExpireTime),
		RevokeTime: wire.ToTimeOrNil(k.RevokeTime)}
}
