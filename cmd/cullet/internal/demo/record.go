package demo

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"time"

	"cullet/cmd/cullet/internal/demo/scenario"
	claimsv1 "cullet/proto/cullet/claims/v1"
	findingsv1 "cullet/proto/cullet/findings/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
	"cullet/testdata"
)

// recorded is a visit with what became of it.
type recorded struct {
	scenario.Visit
	job, claim string
	// refusal is why it was not recorded; nil when it was.
	refusal error
}

// record sends the quarter as a shop system would: photos first, then the record that names them.
func (s *stage) record(ctx context.Context) error {
	visits, err := scenario.Load(testdata.Repairs)
	if err != nil {
		return err
	}
	if visits, err = scenario.ShiftTo(visits, s.clock.now()); err != nil {
		return err
	}
	uploads, err := s.upload(ctx, visits)
	if err != nil {
		return err
	}
	bar := s.bar("Recording repairs", len(visits))
	for i, v := range visits {
		r := recorded{Visit: v, refusal: uploads[i].refusal}
		if r.refusal == nil {
			if err := s.send(ctx, &r, uploads[i].hashes); err != nil {
				return err
			}
		}
		s.compare(r)
		s.visits = append(s.visits, r)
		bar.step()
	}
	bar.end()
	return nil
}

// uploaded is what came of the photos of one visit.
type uploaded struct {
	hashes  []string
	refusal error
}

// upload draws and uploads the photos of all visits, several at a time.
func (s *stage) upload(ctx context.Context, visits []scenario.Visit) ([]uploaded, error) {
	total := 0
	for _, v := range visits {
		total += len(v.Photos)
	}
	bar := s.bar("Drawing and uploading photos", total)
	all, failures := make([]uploaded, len(visits)), make([]error, len(visits))
	var working sync.WaitGroup
	slots := make(chan struct{}, 4)
	for i, v := range visits {
		slots <- struct{}{}
		working.Go(func() {
			defer func() { <-slots }()
			for number := range v.Photos {
				content, err := scenario.Draw(visits, i, number, s.photoSize)
				if err != nil {
					failures[i] = err
					return
				}
				hash, err := s.uploadOne(ctx, content)
				if isRefusal(err) {
					all[i].refusal = err
				} else if err != nil {
					failures[i] = fmt.Errorf("upload photo %d of %s: %w", number+1, v.Name, err)
					return
				}
				all[i].hashes = append(all[i].hashes, hash)
				bar.step()
			}
		})
	}
	working.Wait()
	bar.end()
	return all, errors.Join(failures...)
}

// isRefusal tells an answer about the input from trouble.
func isRefusal(err error) bool {
	return errs.Is(err, errs.Invalid) || errs.Is(err, errs.Conflict)
}

// uploadTries is how often a photo is begun again that broke off.
const uploadTries = 5

func (s *stage) uploadOne(ctx context.Context, content []byte) (hash string, err error) {
	for range uploadTries {
		if hash, err = s.stream(ctx, content); !errs.Is(err, errs.Unavailable) {
			break
		}
	}
	return hash, err
}

const chunk = 64 << 10

func (s *stage) stream(ctx context.Context, content []byte) (hash string, err error) {
	stream, err := s.client.Jobs.UploadPhoto(ctx)
	if err != nil {
		return "", err
	}
	first := &jobsv1.UploadPhotoRequest{Piece: &jobsv1.UploadPhotoRequest_Description{
		Description: &jobsv1.PhotoDescription{SizeBytes: int64(len(content))}}}
	if err := stream.Send(first); err != nil && !errors.Is(err, io.EOF) {
		return "", err
	}
	for piece := range slices.Chunk(content, chunk) {
		if err := stream.Send(&jobsv1.UploadPhotoRequest{Piece: &jobsv1.UploadPhotoRequest_Chunk{Chunk: piece}}); err != nil {
			break // the server has answered already
		}
	}
	answer, err := stream.CloseAndRecv()
	return answer.GetPhoto().GetPhotoHash(), err
}

// send records one visit and waits until its claim is open, so that a claim of the same damage
// that comes later finds it.
func (s *stage) send(ctx context.Context, r *recorded, hashes []string) error {
	record, err := r.RecordWith(hashes)
	if err != nil {
		return err
	}
	answer, err := s.client.Jobs.RecordJob(ctx, &jobsv1.RecordJobRequest{Record: record, RequestId: "record:" + r.Name})
	if isRefusal(err) {
		r.refusal = err
		return nil
	}
	if err != nil {
		return fmt.Errorf("record %s: %w", r.Name, err)
	}
	r.job = answer.GetJob().GetJobId()
	if record.GetCoverage().GetPayerCode() == "" {
		return nil
	}
	r.claim, err = s.claimOf(ctx, r.job)
	return err
}

// claimOf waits for the claim of a job.
func (s *stage) claimOf(ctx context.Context, job string) (string, error) {
	deadline, cancel := context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	for {
		found, err := s.client.Claims.ListClaims(deadline, &claimsv1.ListClaimsRequest{Filter: fmt.Sprintf("job_id = %q", job)})
		if err != nil {
			return "", fmt.Errorf("wait for the claim of job %s: %w", job, err)
		}
		if len(found.GetClaims()) > 0 {
			return found.GetClaims()[0].GetClaimId(), nil
		}
		if err := pause(deadline, 10*time.Millisecond); err != nil {
			return "", fmt.Errorf("wait for the claim of job %s: %w", job, err)
		}
	}
}

// pause waits, or ends with ctx.
func pause(ctx context.Context, d time.Duration) error {
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-time.After(d):
		return nil
	}
}

// compare holds what became of a visit against what its file says.
func (s *stage) compare(r recorded) {
	switch {
	case r.refusal != nil && r.Expect.IsRecorded:
		s.fail("%s was refused: %v", r.Name, r.refusal)
	case r.refusal == nil && !r.Expect.IsRecorded:
		s.fail("%s should have been refused", r.Name)
	case r.refusal != nil:
		s.compareRefusal(r)
	}
}

func (s *stage) compareRefusal(r recorded) {
	var told *errs.Error
	if !errors.As(r.refusal, &told) || r.Expect.IsConflict {
		return
	}
	for _, path := range r.Expect.Errors {
		if !slices.ContainsFunc(told.Fields, func(f errs.Field) bool { return f.Path == path }) {
			s.fail("%s was refused without naming %s: %v", r.Name, path, r.refusal)
		}
	}
}

// compareClaims holds each opened claim against what its file says.
func (s *stage) compareClaims(ctx context.Context) error {
	seen := map[string]bool{}
	for _, r := range s.visits {
		if r.claim == "" || r.Expect.Claim == "" || seen[r.claim] {
			continue
		}
		seen[r.claim] = true
		answer, err := s.client.Claims.GetClaim(ctx, &claimsv1.GetClaimRequest{ClaimId: r.claim})
		if err != nil {
			return err
		}
		stops := []string{}
		for _, f := range answer.GetClaim().GetFindings() {
			if f.GetSeverity() == findingsv1.Severity_SEVERITY_STOP {
				stops = append(stops, f.GetCode())
			}
		}
		slices.Sort(stops)
		stops = slices.Compact(stops)
		state := strings.TrimPrefix(answer.GetClaim().GetState().String(), "STATE_")
		if state != r.Expect.Claim || !slices.Equal(stops, slices.Compact(slices.Sorted(slices.Values(r.Expect.Stops)))) {
			s.fail("%s opened %s with stops %v, expected %s with %v", r.Name, state, stops, r.Expect.Claim, r.Expect.Stops)
		}
	}
	return nil
}
