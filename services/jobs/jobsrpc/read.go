package jobsrpc

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
	"cullet/services/repairability"
)

// GetJob gives one job with its photos.
func (s *Server) GetJob(ctx context.Context, req *jobsv1.GetJobRequest) (*jobsv1.GetJobResponse, error) {
	id, err := jobID(req.GetJobId())
	if err != nil {
		return nil, err
	}
	var job jobs.Job
	var photos map[jobs.PhotoHash]jobs.Photo
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
		if job, err = jobspg.Get(ctx, tx, id, int(req.GetVersion())); err != nil {
			return err
		}
		photos, err = jobspg.Photos(ctx, tx, job.Record.Photos)
		return err
	})
	if err != nil {
		return nil, err
	}
	resp := &jobsv1.GetJobResponse{Job: toJob(&job)}
	for _, p := range job.Record.Photos {
		if photo, ok := photos[p.Hash]; ok {
			resp.Photos = append(resp.Photos, wire.ToPhoto(photo))
		}
	}
	return resp, nil
}

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
	last := ""
	for i := range all {
		resp.Jobs = append(resp.Jobs, toJob(&all[i]))
		last = string(all[i].ID)
	}
	resp.NextPageToken, err = page.Next(hasMore, last)
	return resp, err
}

// AssessDamage judges damages against a standard and stores nothing.
func (s *Server) AssessDamage(ctx context.Context, req *jobsv1.AssessDamageRequest) (*jobsv1.AssessDamageResponse, error) {
	glass, damages, faults := wire.FromDamages(req.GetGlass(), req.GetDamages(), req.GetIsCommercial())
	if n := len(damages); n > 20 {
		faults = append(faults, errs.Field{Path: "damages", Reason: "TOO_MANY", Message: fmt.Sprintf("%d were given and at most 20 are allowed", n)})
	}
	bare := make([]repairability.Damage, len(damages))
	for i := range damages {
		bare[i] = damages[i].Damage
	}
	for _, f := range repairability.Check(glass, bare) {
		faults = append(faults, errs.Field{Path: f.Path, Reason: jobs.ReasonOf(f.Code), Message: f.Sentence + " " + f.Fix})
	}
	if day := req.GetDate(); day != "" {
		if _, err := time.Parse(time.DateOnly, day); err != nil {
			faults = append(faults, errs.Field{Path: "date", Reason: "NOT_A_DATE", Message: fmt.Sprintf("%.40q was given; give a day as 2026-10-20", day)})
		}
	}
	if err := rpc.Refuse(ctx, distinct(faults)); err != nil {
		return nil, err
	}
	standard, day, err := s.standard(ctx, req)
	if err != nil {
		return nil, err
	}
	all, _ := repairability.Assess(standard, glass, bare, day)
	return &jobsv1.AssessDamageResponse{Assessments: wire.ToAssessments("", all), Caution: repairability.Caution}, nil
}

// standard finds the standard that is asked for, or the shop's, on the day.
func (s *Server) standard(ctx context.Context, req *jobsv1.AssessDamageRequest) (standard repairability.Standard, day time.Time, err error) {
	var shop access.Shop
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
		shop, err = s.shop(ctx, tx)
		return err
	})
	if err != nil {
		return standard, day, err
	}
	text := req.GetDate()
	if text == "" {
		text = shop.Today(s.now())
	}
	if day, err = time.Parse(time.DateOnly, text); err != nil {
		return standard, day, fmt.Errorf("read the day %q: %w", text, err)
	}
	key := req.GetStandardKey()
	if key == "" {
		key = shop.StandardKey
	}
	standard, ok := jobs.Standard(key, day)
	if !ok {
		return standard, day, rpc.Refuse(ctx, []errs.Field{{Path: "standard_key", Reason: "UNKNOWN_VALUE",
			Message: fmt.Sprintf("%q is not known for %s; known are %s", key, text, strings.Join(standardKeys(), ", "))}})
	}
	return standard, day, nil
}

func standardKeys() []string {
	var keys []string
	for _, e := range repairability.Editions() {
		keys = append(keys, e.Key, e.Family)
	}
	slices.Sort(keys)
	return slices.Compact(keys)
}
