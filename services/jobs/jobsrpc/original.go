package jobsrpc

import (
	"context"
	"encoding/json"
	"io"
	"strings"
	"unicode/utf8"

	"github.com/google/uuid"
	"google.golang.org/grpc"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
)

// The caps of the reason for opening an original.
const (
	shortestReason = 3
	longestReason  = 500
)

// GetOriginalPhoto gives the uploaded bytes. The opening is written down, and that is durable, before
// the first byte leaves; an opening that then breaks off stays written down.
func (s *Server) GetOriginalPhoto(req *jobsv1.GetOriginalPhotoRequest, stream grpc.ServerStreamingServer[jobsv1.GetOriginalPhotoResponse]) error {
	store, err := s.store()
	if err != nil {
		return err
	}
	reason := strings.TrimSpace(req.GetReason())
	if n := utf8.RuneCountInString(reason); n < shortestReason || n > longestReason {
		return refuse("reason", "OUT_OF_RANGE", "%d characters were given; say in %d to %d why the original is needed, it is written down",
			n, shortestReason, longestReason)
	}
	hash := jobs.PhotoHash(req.GetPhotoHash())
	if hash.Bytes() == nil {
		return errs.Missing("photo", req.GetPhotoHash())
	}
	ctx := stream.Context()
	if err := s.writeDown(ctx, hash, reason); err != nil {
		return err
	}
	original, err := store.Original(ctx, string(rpc.CallerFrom(ctx).Shop), hash)
	if err != nil {
		return err
	}
	defer func() { _ = original.Close() }() // It was only read.
	_, err = io.CopyBuffer(chunked(func(piece []byte) error {
		return stream.Send(&jobsv1.GetOriginalPhotoResponse{Chunk: piece})
	}), struct{ io.Reader }{original}, make([]byte, pieceBytes))
	return err
}

// writeDown keeps who opens which original and why. A photo that the shop does not have is errs.NotFound
// and not written down.
func (s *Server) writeDown(ctx context.Context, hash jobs.PhotoHash, reason string) error {
	caller, at := rpc.CallerFrom(ctx), s.at()
	detail, err := json.Marshal(map[string]string{"photo_hash": string(hash), "reason": reason})
	if err != nil {
		return err
	}
	return pg.Transact(ctx, s.db, caller.Shop, func(ctx context.Context, tx *pg.Tx) error {
		known, err := jobspg.Photos(ctx, tx, s.ring, []jobs.PhotoReference{{Hash: hash}})
		if err != nil {
			return err
		}
		if len(known) == 0 {
			return errs.Missing("photo", string(hash))
		}
		return outbox.Audit(ctx, tx, outbox.AuditEntry{OccurTime: at, Actor: caller.Name, Action: "photo.original_opened",
			SubjectKind: "photo", SubjectID: photoID(hash), Detail: detail})
	})
}

// photoID is the identifier of a photo where only a UUID will do: one that follows from its hash.
func photoID(hash jobs.PhotoHash) string { return uuid.NewSHA1(uuid.Nil, hash.Bytes()).String() }
