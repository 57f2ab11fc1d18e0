package jobsrpc

import (
	"context"
	"errors"
	"fmt"
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

// UploadPhoto stages one photo for 24 hours. The same photo again answers the same.
func (s *Server) UploadPhoto(stream grpc.ClientStreamingServer[jobsv1.UploadPhotoRequest, jobsv1.UploadPhotoResponse]) error {
	ctx := stream.Context()
	first, err := stream.Recv()
	if err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	said := first.GetDescription()
	if said == nil {
		return fault("description", "REQUIRED", "the stream must begin with a description; send it first, then the bytes")
	}
	if n := said.GetSizeBytes(); n > jobs.MaxPhotoBytes || n < 0 {
		return fault("description.size_bytes", "OUT_OF_RANGE", fmt.Sprintf(
			"%d bytes were announced and at most %d are taken; send a smaller picture", n, jobs.MaxPhotoBytes))
	}
	photo, err := s.photos.Put(ctx, string(rpc.CallerFrom(ctx).Shop), &pieces{stream: stream})
	if err != nil {
		return err
	}
	if given := said.GetPhotoHash(); given != "" && given != string(photo.Hash) {
		return fault("description.photo_hash", "HASH_DIFFERS", fmt.Sprintf("%.64q was announced and %s arrived; send the photo again", given, photo.Hash))
	}
	if n := said.GetSizeBytes(); n != 0 && n != photo.SizeBytes {
		return fault("description.size_bytes", "SIZE_DIFFERS", fmt.Sprintf("%d bytes were announced and %d arrived; send the photo again", n, photo.SizeBytes))
	}
	at := s.at()
	err = pg.Transact(ctx, s.db, rpc.CallerFrom(ctx).Shop, func(ctx context.Context, tx *pg.Tx) error {
		return jobspg.Stage(ctx, tx, photo, at)
	})
	if err != nil {
		return err
	}
	until := at.Add(jobs.StagedFor)
	photo.StagedUntil = &until
	return stream.SendAndClose(&jobsv1.UploadPhotoResponse{Photo: wire.ToPhoto(photo)})
}

func fault(path, reason, message string) error {
	return errs.InvalidFields("PHOTO_INVALID", []errs.Field{{Path: path, Reason: reason, Message: message}})
}

// pieces reads the bytes of an upload.
type pieces struct {
	stream grpc.ClientStreamingServer[jobsv1.UploadPhotoRequest, jobsv1.UploadPhotoResponse]
	left   []byte
}

// Read gives the next bytes; a second description is a fault.
func (p *pieces) Read(into []byte) (int, error) {
	for len(p.left) == 0 {
		message, err := p.stream.Recv()
		if err != nil {
			return 0, err
		}
		if message.GetDescription() != nil {
			return 0, fault("description", "REPEATED", "a description came after the bytes began; send one, first")
		}
		p.left = message.GetChunk()
	}
	n := copy(into, p.left)
	p.left = p.left[n:]
	return n, nil
}

// The sizes in which photos are shown.
const (
	usualEdge    = 1600
	smallestEdge = 64
	largestEdge  = 4096
	pieceBytes   = 64 << 10
)

// GetPhoto gives a photo as it may be shown.
func (s *Server) GetPhoto(req *jobsv1.GetPhotoRequest, stream grpc.ServerStreamingServer[jobsv1.GetPhotoResponse]) error {
	edge := int(req.GetLongestEdgePixels())
	if edge == 0 {
		edge = usualEdge
	}
	if edge < smallestEdge || edge > largestEdge {
		return fault("longest_edge_pixels", "OUT_OF_RANGE", fmt.Sprintf("%d was given; allowed are %d to %d, or 0 for %d", edge, smallestEdge, largestEdge, usualEdge))
	}
	hash := jobs.PhotoHash(req.GetPhotoHash())
	if hash.Bytes() == nil {
		return errs.Missing("photo", req.GetPhotoHash())
	}
	return s.photos.Rendition(stream.Context(), string(rpc.CallerFrom(stream.Context()).Shop), hash, edge, &sender{stream})
}

// sender writes a photo in pieces.
type sender struct {
	stream grpc.ServerStreamingServer[jobsv1.GetPhotoResponse]
}

// Write sends at most 64 KiB a message.
func (s *sender) Write(content []byte) (n int, err error) {
	for len(content) > 0 {
		piece := content[:min(len(content), pieceBytes)]
		if err := s.stream.Send(&jobsv1.GetPhotoResponse{Chunk: piece}); err != nil {
			return n, err
		}
		n += len(piece)
		content = content[len(piece):]
	}
	return n, nil
}
