// Package jobsrpc serves cullet.jobs.v1.JobService: completed repairs, their photos, and files of
// them.
//
// It refuses half a record: every fault is told at once and nothing is stored. It decides nothing
// about a claim; opening one is the work that recording leaves behind.
package jobsrpc

import (
	"context"
	"sync"
	"time"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/internal/seal"
	"cullet/services/jobs"
)

// ReadShop reads the transaction's shop, whose storage is another room's.
type ReadShop func(ctx context.Context, tx *pg.Tx) (access.Shop, error)

// Server serves the room. It is safe for concurrent use.
type Server struct {
	jobsv1.UnimplementedJobServiceServer
	db     *pg.DB
	ring   *seal.Ring
	pages  *rpc.Pager
	now    func() time.Time
	photos jobs.PhotoStore
	quota  int64
	shop   ReadShop
	copies jobs.CopyPrinter
	// intakes are the formats of files, by name.
	intakes map[string]jobs.IntakeFormat
	// houses are the settings of shops as they were seen last, a house by ident.Shop. What is assessed by
	// them is stored only while they are still so.
	houses sync.Map
}

// New makes the server. Ring seals where photos were taken; photos keeps the bytes of photos, of each shop as many as the quota says; copies
// prints, intakes read files.
func New(db *pg.DB, ring *seal.Ring, pages *rpc.Pager, now func() time.Time, photos jobs.PhotoStore, quota int64, shop ReadShop,
	copies jobs.CopyPrinter, intakes ...jobs.IntakeFormat) *Server {
	s := &Server{db: db, ring: ring, pages: pages, now: now, photos: photos, quota: quota, shop: shop, copies: copies,
		intakes: map[string]jobs.IntakeFormat{}}
	for _, f := range intakes {
		s.intakes[f.Name()] = f
	}
	return s
}

// How long the photos' methods may take: a phone sends 10 MiB over a bad line.
const (
	uploadTime = 10 * time.Minute
	showTime   = 2 * time.Minute
)

// Limits are the methods that are not as all others: those that report the guard's faults together
// with their own, and those that carry photos.
func Limits() map[string]rpc.Limits {
	return map[string]rpc.Limits{
		jobsv1.JobService_RecordJob_FullMethodName:        {Collects: true},
		jobsv1.JobService_AmendJob_FullMethodName:         {Collects: true},
		jobsv1.JobService_AssessDamage_FullMethodName:     {Collects: true},
		jobsv1.JobService_UploadPhoto_FullMethodName:      {Maximum: uploadTime},
		jobsv1.JobService_GetPhoto_FullMethodName:         {Maximum: showTime},
		jobsv1.JobService_GetOriginalPhoto_FullMethodName: {Maximum: showTime},

		jobsv1.JobService_ImportJobs_FullMethodName:        {Collects: true, Bytes: jobs.MaxIntakeBytes},
		jobsv1.JobService_SaveColumnMapping_FullMethodName: {Collects: true},
	}
}

func (s *Server) read(ctx context.Context, fn pg.Func) error {
	return pg.Read(ctx, s.db, rpc.CallerFrom(ctx).Shop, fn)
}

func (s *Server) at() time.Time { return s.now().UTC().Truncate(time.Microsecond) }

// jobID reads an identifier; text that is none names no job.
func jobID(text string) (ident.Job, error) {
	id, ok := ident.Parse[ident.Job](text)
	if !ok {
		return "", errs.Missing("job", text)
	}
	return id, nil
}

func toJob(j *jobs.Job) *jobsv1.Job { return wire.ToJob(j, rpc.Etag(j.Version)) }
