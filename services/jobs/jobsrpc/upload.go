package jobsrpc

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"

	"google.golang.org/grpc"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
)

type uploadStream = grpc.ClientStreamingServer[jobsv1.UploadPhotoRequest, jobsv1.UploadPhotoResponse]

// UploadPhoto stages one photo for 24 hours. The same photo again answers the same. It may be broken
// off anywhere and sent again: what did not arrive whole and as described is not kept.
func (s *Server) UploadPhoto(stream uploadStream) error {
	ctx, shop := stream.Context(), rpc.CallerFrom(stream.Context()).Shop
	store, err := s.store()
	if err != nil {
		return err
	}
	first, err := stream.Recv()
	if err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	if first.GetDescription() == nil {
		return refuse("description", "REQUIRED", "the stream does not begin with a description; send one first, it may be empty, then the bytes")
	}
	said := first.GetDescription()
	if err := checkDescription(said); err != nil {
		return err
	}
	photo, err := store.Put(ctx, string(shop), &pieces{stream: stream, said: said, sum: sha256.New()})
	if err != nil {
		return ofTheBytes(err)
	}
	at := s.at()
	var isNamed bool
	err = pg.Transact(ctx, s.db, shop, func(ctx context.Context, tx *pg.Tx) (err error) {
		isNamed, err = jobspg.Stage(ctx, tx, photo, at)
		return err
	})
	if err != nil {
		return err
	}
	if err := isKept(ctx, store, string(shop), photo.Hash); err != nil {
		return err
	}
	photo.StagedUntil = nil
	if !isNamed {
		until := at.Add(jobs.StagedFor)
		photo.StagedUntil = &until
	}
	return stream.SendAndClose(&jobsv1.UploadPhotoResponse{Photo: wire.ToPhoto(photo)})
}

// ofTheBytes names the field of what is wrong with a photo itself.
func ofTheBytes(err error) error {
	var known *errs.Error
	if !errors.As(err, &known) || known.Kind != errs.Invalid || len(known.Fields) > 0 {
		return err
	}
	told := *known
	told.Fields = []errs.Field{{Path: "chunk", Reason: known.Reason, Message: known.Message}}
	return &told
}

// isKept looks once more for the bytes: they were there already, perhaps, and were being removed as a
// day old while they were sent again. Nothing is read of them.
func isKept(ctx context.Context, store jobs.PhotoStore, shop string, hash jobs.PhotoHash) error {
	original, err := store.Original(ctx, shop, hash)
	if errs.Is(err, errs.NotFound) {
		return errs.New(errs.Unavailable, "PHOTO_BEING_FORGOTTEN",
			"this photo was being forgotten while it was sent again; send it once more")
	}
	if err != nil {
		return err
	}
	return original.Close()
}

func refuse(path, reason, message string, args ...any) error {
	return errs.InvalidFields("INVALID_REQUEST",
		[]errs.Field{{Path: path, Reason: reason, Message: fmt.Sprintf(message, args...)}})
}

func checkDescription(said *jobsv1.PhotoDescription) error {
	var faults []errs.Field
	if n := said.GetSizeBytes(); n < 0 || n > jobs.MaxPhotoBytes {
		faults = append(faults, errs.Field{Path: "description.size_bytes", Reason: "OUT_OF_RANGE", Message: fmt.Sprintf(
			"%d was given; allowed are photos of at most %d bytes: save the picture smaller, or give 0 when the size is not known",
			n, jobs.MaxPhotoBytes)})
	}
	if h := jobs.PhotoHash(said.GetPhotoHash()); h != "" && h.Bytes() == nil {
		faults = append(faults, errs.Field{Path: "description.photo_hash", Reason: "PHOTO_HASH", Message: fmt.Sprintf(
			"%.70q was given; give the SHA-256 of the file as 64 hexadecimal digits in lower case, or leave it out", h)})
	}
	return errs.InvalidFields("INVALID_REQUEST", faults)
}

// pieces reads the bytes of an upload, and fails at their end when they are not what was described,
// so that a store keeps nothing of them.
type pieces struct {
	stream uploadStream
	said   *jobsv1.PhotoDescription
	sum    hash.Hash
	count  int64
	left   []byte
}

// Read gives the next bytes.
func (p *pieces) Read(into []byte) (int, error) {
	for len(p.left) == 0 {
		message, err := p.stream.Recv()
		if errors.Is(err, io.EOF) {
			return 0, p.end()
		}
		if err != nil {
			return 0, err
		}
		if message.GetPiece() == nil || message.GetDescription() != nil {
			return 0, refuse("chunk", "REQUIRED", "a message without bytes came after the description; send the description once, then bytes only")
		}
		p.left = message.GetChunk()
		if p.count += int64(len(p.left)); p.count > jobs.MaxPhotoBytes {
			return 0, errs.Newf(errs.Invalid, "PHOTO_TOO_LARGE", "the photo has more than %d bytes, which is the limit: save it as JPEG "+
				"with a lower quality or fewer pixels, 4000 on the longer edge are plenty, and send that", jobs.MaxPhotoBytes)
		}
		_, _ = p.sum.Write(p.left) // a hash takes everything
	}
	n := copy(into, p.left)
	p.left = p.left[n:]
	return n, nil
}

// end is io.EOF when everything came that was announced.
func (p *pieces) end() error {
	if n := p.said.GetSizeBytes(); n != 0 && n != p.count {
		return refuse("description.size_bytes", "SIZE_DIFFERS", "%d bytes were announced and %d arrived; send the whole file again", n, p.count)
	}
	arrived := jobs.PhotoHashFrom(p.sum.Sum(nil))
	if given := p.said.GetPhotoHash(); given != "" && given != string(arrived) {
		return refuse("description.photo_hash", "HASH_DIFFERS", "%s was announced and the bytes that arrived have %s; send the file again",
			given, arrived)
	}
	return io.EOF
}
