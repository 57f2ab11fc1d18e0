package jobsrpc

import (
	"context"

	"google.golang.org/protobuf/proto"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
)

// GetJob gives one job with its photos.
func (s *Server) GetJob(ctx context.Context, req *jobsv1.GetJobRequest) (*jobsv1.GetJobResponse, error) {
	id, err := jobID(req.GetJobId())
	if err != nil {
		return nil, err
	}
	if v := req.GetVersion(); v < 0 {
		return nil, refuse("version", "OUT_OF_RANGE", "%d was given; give 1 or more, or 0 for the present version", v)
	}
	var job jobs.Job
	var photos map[jobs.PhotoHash]jobs.Photo
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
		if job, err = jobspg.Get(ctx, tx, id, int(req.GetVersion())); err != nil {
			return err
		}
		photos, err = jobspg.Photos(ctx, tx, s.ring, job.Record.Photos)
		return err
	})
	if err != nil {
		return nil, err
	}
	resp := &jobsv1.GetJobResponse{Job: toJob(&job)}
	for _, p := range job.Record.Photos {
		if photo, ok := photos[p.Hash]; ok {
			resp.Photos = append(resp.Photos, wire.ToPhoto(photo, &job.Record.Place))
		}
	}
	return resp, nil
}

// filterFields are what ListJobs can be asked to filter by.
var filterFields = rpc.FilterFields{
	"external_reference": {Kind: rpc.Text, SQL: "j.external_reference"},
	"vin":                {Kind: rpc.Text, SQL: "j.vin"},
	"repair_date":        {Kind: rpc.Day, SQL: "j.repair_date"},
	"payer_code":         {Kind: rpc.Text, SQL: "j.payer_code"},
}

// ListJobs lists jobs in their present versions, newest first.
func (s *Server) ListJobs(ctx context.Context, req *jobsv1.ListJobsRequest) (*jobsv1.ListJobsResponse, error) {
	filter, faults := rpc.ParseFilter(req.GetFilter(), filterFields)
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	page, err := s.pages.Open(ctx, req, rpc.Usual)
	if err != nil {
		return nil, err
	}
	where, args := filter.Where(4)
	var all []jobs.Job
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		all, err = jobspg.List(ctx, tx, page.Before(), page.Size+1, where, args...)
		return err
	})
	if err != nil {
		return nil, err
	}
	all, hasMore := rpc.Cut(all, page)
	resp := &jobsv1.ListJobsResponse{}
	last, size := "", 0
	for i := range all {
		job := toJob(&all[i])
		if size += proto.Size(job); size > maxPageBytes && i > 0 {
			hasMore = true
			break
		}
		resp.Jobs = append(resp.Jobs, job)
		last = string(all[i].ID)
	}
	resp.NextPageToken, err = page.Next(hasMore, last)
	return resp, err
}

// maxPageBytes ends a page early: clients take 4 MiB at once unless they say otherwise.
const maxPageBytes = 2 << 20
