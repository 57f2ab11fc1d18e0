package desk

import (
	"errors"
	"io"
	"net/http"
	"regexp"

	jobsv1 "cullet/proto/cullet/jobs/v1"
)

var photoHash = regexp.MustCompile(`^[0-9a-f]{64}$`)

// edges are the longest edges that photos are shown in, by the word of the address; there are few,
// so that a browser keeps what it has and the server makes each once.
var edges = map[string]int32{"": 1600, "640": 640}

// showPhoto passes a photo on as the server streams it. It is named by the hash of its bytes, so
// it never changes; only this browser keeps it, and not for long.
func showPhoto(v *visit) error {
	hash := v.r.PathValue("hash")
	edge, isKnown := edges[v.r.FormValue("edge")]
	if !isKnown || !photoHash.MatchString(hash) {
		return errNoPage
	}
	stream, err := v.Jobs.GetPhoto(v.ctx(), &jobsv1.GetPhotoRequest{PhotoHash: hash, LongestEdgePixels: edge})
	if err != nil {
		return err
	}
	piece, err := stream.Recv()
	if err != nil {
		return errGone(err)
	}
	v.w.Header().Set("Content-Type", "image/jpeg")
	v.w.Header().Set("Cache-Control", "private, max-age=3600")
	for {
		if _, err := v.w.Write(piece.GetChunk()); err != nil {
			return nil // whoever went away is not told
		}
		piece, err = stream.Recv()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			// Half of the photo is out already; ending the connection tells the browser so.
			panic(http.ErrAbortHandler)
		}
	}
}
