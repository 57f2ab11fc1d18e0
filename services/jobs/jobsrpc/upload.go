package jobsrpc

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"time"

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
// off anywhere: of a photo whose hash was announced, what arrived is held, and GetPhotoUpload tells
// where to go on; any other is sent again.
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
	if err := s.hasRoom(ctx, said); err != nil {
		return err
	}
	photo, err := receive(ctx, store, string(shop), said, &pieces{stream: stream, said: said, count: said.GetOffsetBytes()})
	if err != nil {
		return ofTheBytes(err)
	}
	if photo, err = s.stage(ctx, photo); err != nil {
		return err
	}
	if err := isKept(ctx, store, string(shop), photo.Hash); err != nil {
		return err
	}
	return stream.SendAndClose(&jobsv1.UploadPhotoResponse{Photo: wire.ToPhoto(photo, nil)})
}

// receive puts the bytes into the store.
func receive(ctx context.Context, store jobs.PhotoStore, shop string, said *jobsv1.PhotoDescription, content io.Reader) (jobs.Photo, error) {
	hash := jobs.PhotoHash(said.GetPhotoHash())
	if hash == "" {
		return store.Put(ctx, shop, content)
	}
	photo, err := store.Resume(ctx, shop, hash, said.GetOffsetBytes(), content)
	var missing *jobs.NotHeld
	var differs *jobs.HashDiffers
	switch {
	case errors.As(err, &missing):
		return jobs.Photo{}, refuse("description.offset_bytes", "NOT_HELD", "%d was given and %d bytes of this photo are held; "+
			"go on from there, or from 0", missing.Given, missing.Held)
	case errors.As(err, &differs):
		return jobs.Photo{}, refuse("description.photo_hash", "HASH_DIFFERS", "%s was announced and the bytes that arrived have %s; "+
			"send the file again from its beginning", hash, differs.Arrived)
	}
	return photo, err
}

// stage keeps what is known of a photo whose bytes are in the store.
func (s *Server) stage(ctx context.Context, photo jobs.Photo) (jobs.Photo, error) {
	at, staged := s.at(), jobspg.Staged{}
	err := pg.Transact(ctx, s.db, rpc.CallerFrom(ctx).Shop, func(ctx context.Context, tx *pg.Tx) (err error) {
		staged, err = jobspg.Stage(ctx, tx, s.ring, photo, at, s.quota)
		return err
	})
	if err != nil {
		return jobs.Photo{}, err
	}
	if staged.IsOverQuota {
		return jobs.Photo{}, s.full(staged.Used, photo.SizeBytes)
	}
	photo.StagedUntil = nil
	if !staged.IsNamed {
		photo.StagedUntil = new(at.Add(jobs.StagedFor))
	}
	return photo, nil
}

// hasRoom refuses, before the bytes are sent, a photo that the quota leaves no room for. One that is
// here already takes no more.
func (s *Server) hasRoom(ctx context.Context, said *jobsv1.PhotoDescription) error {
	var used int64
	var known map[jobs.PhotoHash]jobs.Photo
	err := s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		if used, err = jobspg.Used(ctx, tx); err != nil || said.GetPhotoHash() == "" {
			return err
		}
		known, err = jobspg.Photos(ctx, tx, s.ring, []jobs.PhotoReference{{Hash: jobs.PhotoHash(said.GetPhotoHash())}})
		return err
	})
	if err != nil || len(known) > 0 {
		return err
	}
	if size := max(said.GetSizeBytes(), 1); used+size > s.quota {
		return s.full(used, said.GetSizeBytes())
	}
	return nil
}

// full says that there is no room. A size of 0 is not known.
func (s *Server) full(used, size int64) error {
	photo := "another photo"
	if size > 0 {
		photo = fmt.Sprintf("this photo of %s", sizeOf(size))
	}
	return errs.Newf(errs.Exhausted, "PHOTO_QUOTA", "the photos of this shop take %s and it may keep %s, so there is no room for %s: "+
		"photos that no record names make room after %d hours; whoever runs the server can allow more with --photo-quota-gib",
		sizeOf(used), sizeOf(s.quota), photo, int(jobs.StagedFor/time.Hour)+1).
		With("used_bytes", strconv.FormatInt(used, 10)).With("allowed_bytes", strconv.FormatInt(s.quota, 10))
}

func sizeOf(bytes int64) string {
	if bytes >= 1<<30 {
		return fmt.Sprintf("%.1f GiB", float64(bytes)/(1<<30))
	}
	return fmt.Sprintf("%.1f MiB", float64(bytes)/(1<<20))
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
// day old while they were sent again.
func isKept(ctx context.Context, store jobs.PhotoStore, shop string, hash jobs.PhotoHash) error {
	_, isWhole, err := store.Held(ctx, shop, hash)
	if err == nil && !isWhole {
		return errs.New(errs.Unavailable, "PHOTO_BEING_FORGOTTEN",
			"this photo was being forgotten while it was sent again; send it once more")
	}
	return err
}

// GetPhotoUpload tells where an upload can go on.
func (s *Server) GetPhotoUpload(ctx context.Context, req *jobsv1.GetPhotoUploadRequest) (*jobsv1.GetPhotoUploadResponse, error) {
	store, err := s.store()
	if err != nil {
		return nil, err
	}
	hash, at := jobs.PhotoHash(req.GetPhotoHash()), s.at()
	if fault := hashFault("photo_hash", hash); fault != nil {
		return nil, errs.InvalidFields("INVALID_REQUEST", fault)
	}
	size, isWhole, err := store.Held(ctx, string(rpc.CallerFrom(ctx).Shop), hash)
	if err != nil || !isWhole {
		return &jobsv1.GetPhotoUploadResponse{HeldBytes: size}, err
	}
	var known map[jobs.PhotoHash]jobs.Photo
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		known, err = jobspg.Photos(ctx, tx, s.ring, []jobs.PhotoReference{{Hash: hash}})
		return err
	})
	if err != nil {
		return nil, err
	}
	photo, isKnown := known[hash]
	if !isKnown || photo.StagedUntil != nil && !photo.StagedUntil.After(at) {
		return &jobsv1.GetPhotoUploadResponse{}, nil // Too old to be named: it is sent anew.
	}
	return &jobsv1.GetPhotoUploadResponse{Photo: wire.ToPhoto(photo, nil), HeldBytes: size}, nil
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
	hash := jobs.PhotoHash(said.GetPhotoHash())
	if hash != "" {
		faults = append(faults, hashFault("description.photo_hash", hash)...)
	}
	switch at := said.GetOffsetBytes(); {
	case at < 0 || at > jobs.MaxPhotoBytes || said.GetSizeBytes() > 0 && at > said.GetSizeBytes():
		faults = append(faults, errs.Field{Path: "description.offset_bytes", Reason: "OUT_OF_RANGE", Message: fmt.Sprintf(
			"%d was given; give the held_bytes of GetPhotoUpload, or 0 to begin anew", at)})
	case at > 0 && hash == "":
		faults = append(faults, errs.Field{Path: "description.photo_hash", Reason: "REQUIRED", Message: "nothing was given and offset_bytes " +
			"goes on with an upload; give the SHA-256 under which it was begun"})
	}
	return errs.InvalidFields("INVALID_REQUEST", faults)
}

// hashFault refuses what is no hash.
func hashFault(path string, hash jobs.PhotoHash) []errs.Field {
	if hash.Bytes() != nil {
		return nil
	}
	return []errs.Field{{Path: path, Reason: "PHOTO_HASH", Message: fmt.Sprintf(
		"%.70q was given; give the SHA-256 of the file as 64 hexadecimal digits in lower case", hash)}}
}

// pieces reads the bytes of an upload, and fails at their end when they are not as many as were
// announced, so that a store keeps nothing of them.
type pieces struct {
	stream uploadStream
	said   *jobsv1.PhotoDescription
	// count is how much of the file came so far, what was held included.
	count int64
	left  []byte
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
	return io.EOF
}
