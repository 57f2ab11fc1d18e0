package rpc

import (
	"context"
	"crypto/sha256"
	"fmt"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	"cullet/services/internal/once"
	"cullet/services/internal/pg"
)

// Mutation is a request that changes something.
type Mutation interface {
	proto.Message
	GetRequestId() string
}

// Once runs fn in one transaction of the caller's shop and answers what it returns. The same
// request under the same request id is answered with the first answer, without running fn; another
// request under the id is refused. It is the way of every handler that changes something.
//
// FN MAY RUN MORE THAN ONCE, as in pg.Transact, but only one run is kept; this holds without a
// request id too. The answer is stored with the effect, so fn puts no secret into it: the handler
// makes the secret before Once, and adds it to the answer afterwards if the answer is about the
// very thing that this call made (its identifier tells). A repetition then answers without it.
func Once[Resp proto.Message](
	ctx context.Context, db *pg.DB, req Mutation, fn func(ctx context.Context, tx *pg.Tx) (Resp, error),
) (resp Resp, err error) {
	if err := Refuse(ctx, nil); err != nil {
		return resp, err
	}
	key, fingerprint, err := OnceKey(ctx, req)
	if err != nil {
		return resp, err
	}
	answer, isReplayed, err := once.Do(ctx, db, key, fingerprint,
		func(ctx context.Context, tx *pg.Tx) ([]byte, error) {
			if resp, err = fn(ctx, tx); err != nil {
				return nil, err
			}
			return proto.Marshal(resp)
		})
	if err != nil || !isReplayed {
		return resp, err
	}
	first, ok := resp.ProtoReflect().Type().New().Interface().(Resp)
	if !ok {
		return resp, fmt.Errorf("make an empty %T", resp)
	}
	if err := proto.Unmarshal(answer, first); err != nil {
		return resp, fmt.Errorf("read the first answer of %s: %w", key.Method, err)
	}
	return first, nil
}

// OnceKey gives key and fingerprint of a call, for handlers that store another answer than their
// response (an identifier, say) and so use once.Do themselves.
func OnceKey(ctx context.Context, req Mutation) (once.Key, []byte, error) {
	canonical, err := proto.MarshalOptions{Deterministic: true}.Marshal(req)
	if err != nil {
		return once.Key{}, nil, fmt.Errorf("write the canonical request: %w", err)
	}
	fingerprint := sha256.Sum256(canonical)
	return KeyOf(ctx, req), fingerprint[:], nil
}

// KeyOf gives the key of a call, for handlers that have a fingerprint of their own. A call without a
// request id gets an id of its own, so that a commit of unknown outcome is not done twice; take the
// key once a call.
func KeyOf(ctx context.Context, req Mutation) once.Key {
	id := req.GetRequestId()
	if id == "" {
		id = "own:" + uuid.NewString()
	}
	caller := CallerFrom(ctx)
	return once.Key{Shop: caller.Shop, Caller: string(caller.Key), Method: MethodFrom(ctx), RequestID: id}
}
