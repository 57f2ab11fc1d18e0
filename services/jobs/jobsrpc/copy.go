package jobsrpc

import (
	"context"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
	"cullet/services/internal/pg"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
)

// GetDriversCopy prints the driver's copy of the job's present version.
func (s *Server) GetDriversCopy(ctx context.Context, req *jobsv1.GetDriversCopyRequest) (*jobsv1.GetDriversCopyResponse, error) {
	paper := req.GetPaper()
	if paper != "" && paper != "LETTER" && paper != "A4" {
		return nil, refuse("paper", "UNKNOWN_VALUE", "%.20q was given; give LETTER or A4, or leave it out", paper)
	}
	id, err := jobID(req.GetJobId())
	if err != nil {
		return nil, err
	}
	if s.copies == nil {
		return nil, errs.New(errs.State, "NO_PRINTER", "This server prints no driver's copies; ask its administrator.")
	}
	var c jobs.Copy
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		if c.Job, err = jobspg.Get(ctx, tx, id, 0); err != nil {
			return err
		}
		c.Shop, err = s.shop(ctx, tx)
		return err
	})
	if err != nil {
		return nil, err
	}
	if paper == "" {
		paper = c.Shop.Address.Paper()
	}
	content, err := s.copies.DriversCopy(c, paper)
	if err != nil {
		return nil, err
	}
	return &jobsv1.GetDriversCopyResponse{Pdf: content, FileName: "drivers-copy-" + string(id) + ".pdf"}, nil
}
