package outside

import (
	"context"
	"errors"
	"path/filepath"

	"cullet/adapters/photostore"
	"cullet/services/server"
)

// NewMasterKey puts a new master key in front of those in the state folder.
func NewMasterKey(state string) error { return server.NewMasterKey(server.Config{State: state}) }

// Reseal seals the keys of all kept photos anew under the first master key of the state folder.
func Reseal(ctx context.Context, state string) (done photostore.Resealed, err error) {
	sealer, err := server.OpenSealer(server.Config{State: state})
	if err != nil {
		return done, err
	}
	store, err := photostore.Open(filepath.Join(state, "photos"), sealer)
	if err != nil {
		return done, err
	}
	done, err = store.Reseal(ctx, sealer.IsCurrent)
	return done, errors.Join(err, store.Close())
}
