package jobsrpc

import (
	"google.golang.org/grpc"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
	"cullet/services/internal/rpc"
	"cullet/services/jobs"
)

// The sizes in which photos are shown.
const (
	usualEdge    = 1600
	smallestEdge = 64
	largestEdge  = 4096
	pieceBytes   = 64 << 10
)

// GetPhoto gives a photo as it may be shown: upright and without what the camera wrote into it.
func (s *Server) GetPhoto(req *jobsv1.GetPhotoRequest, stream grpc.ServerStreamingServer[jobsv1.GetPhotoResponse]) error {
	store, err := s.store()
	if err != nil {
		return err
	}
	edge := int(req.GetLongestEdgePixels())
	if edge == 0 {
		edge = usualEdge
	}
	if edge < smallestEdge || edge > largestEdge {
		return refuse("longest_edge_pixels", "OUT_OF_RANGE", "%d was given; allowed are %d to %d, or 0 for %d",
			edge, smallestEdge, largestEdge, usualEdge)
	}
	hash := jobs.PhotoHash(req.GetPhotoHash())
	if hash.Bytes() == nil {
		return errs.Missing("photo", req.GetPhotoHash())
	}
	ctx := stream.Context()
	err = store.Rendition(ctx, string(rpc.CallerFrom(ctx).Shop), hash, edge, chunked(func(piece []byte) error {
		return stream.Send(&jobsv1.GetPhotoResponse{Chunk: piece})
	}))
	if errs.Is(err, errs.NotFound) {
		return errs.Missing("photo", string(hash)).Because(err)
	}
	return err
}

// store gives the store of photos; a server that was started without one has no photos.
func (s *Server) store() (jobs.PhotoStore, error) {
	if s.photos == nil {
		return nil, errs.New(errs.State, "NO_PHOTO_STORE", "this server was started without a place for photos; name one and start it again")
	}
	return s.photos, nil
}

// chunked writes a photo in pieces of at most 64 KiB.
type chunked func(piece []byte) error

// Write sends one piece after the other.
func (send chunked) Write(content []byte) (n int, err error) {
	for len(content) > 0 {
		piece := content[:min(len(content), pieceBytes)]
		if err := send(piece); err != nil {
			return n, err
		}
		n += len(piece)
		content = content[len(piece):]
	}
	return n, nil
}
