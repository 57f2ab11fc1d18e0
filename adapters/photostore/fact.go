package photostore

import (
	"encoding/json"
	"time"

	"cullet/services/jobs"
)

// facts is the file beside a photo, so that the same bytes again answer the same without being
// decoded. Its names are on disk for good.
type facts struct {
	Hash      jobs.PhotoHash `json:"hash"`
	MediaType string         `json:"media_type"`
	SizeBytes int64          `json:"size_bytes"`
	Width     int            `json:"width_pixels"`
	Height    int            `json:"height_pixels"`
	TakeTime  *time.Time     `json:"take_time,omitempty"`
	Position  *jobs.Position `json:"position,omitempty"`
	// Likeness is text because 64 bits do not survive every reader of JSON numbers.
	Likeness uint64        `json:"likeness,string"`
	Quality  *jobs.Quality `json:"quality,omitempty"`
}

func writeFacts(p jobs.Photo) ([]byte, error) {
	return json.Marshal(facts{Hash: p.Hash, MediaType: p.MediaType, SizeBytes: p.SizeBytes, Width: p.Width,
		Height: p.Height, TakeTime: p.TakeTime, Position: p.Position, Likeness: p.Likeness,
		Quality: p.Quality})
}

func readFacts(text []byte) (jobs.Photo, error) {
	var f facts
	if err := json.Unmarshal(text, &f); err != nil {
		return jobs.Photo{}, err
	}
	return jobs.Photo{Hash: f.Hash, MediaType: f.MediaType, SizeBytes: f.SizeBytes, Width: f.Width,
		Height: f.Height, TakeTime: f.TakeTime, Position: f.Position, Likeness: f.Likeness, Quality: f.Quality}, nil
}
