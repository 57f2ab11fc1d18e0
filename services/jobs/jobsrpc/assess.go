package jobsrpc

import (
	"cmp"
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
	"cullet/services/repairability"
)

// maxDamages is how many damages are judged at once, as many as a record may have.
const maxDamages = 20

// AssessDamage judges damages against a standard and stores nothing.
func (s *Server) AssessDamage(ctx context.Context, req *jobsv1.AssessDamageRequest) (*jobsv1.AssessDamageResponse, error) {
	glass, damages, faults := wire.FromDamages(req.GetGlass(), req.GetDamages(), req.GetIsCommercial())
	if n := len(damages); n > maxDamages {
		faults = append(faults, errs.Field{Path: "damages", Reason: "TOO_LARGE",
			Message: fmt.Sprintf("%d damages were given and at most %d are allowed; ask about the others in another call", n, maxDamages)})
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
			faults = append(faults, errs.Field{Path: "date", Reason: "NOT_A_DAY", Message: fmt.Sprintf(
				"%.40q was given; give a day that exists, as year-month-day: \"2026-10-20\"", day)})
		}
	}
	if key := req.GetStandardKey(); key != "" && !slices.Contains(standardKeys(), key) {
		faults = append(faults, errs.Field{Path: "standard_key", Reason: "UNKNOWN_VALUE", Message: fmt.Sprintf(
			"%.60q was given; allowed are %s, or nothing for the shop's own", key, strings.Join(standardKeys(), ", "))})
	}
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	standard, day, err := s.standard(ctx, req)
	if err != nil {
		return nil, err
	}
	all, about := repairability.Assess(standard, glass, bare, day)
	return &jobsv1.AssessDamageResponse{Assessments: wire.ToAssessments("", all), Findings: wire.ToFindings(about),
		Caution: repairability.Caution}, nil
}

// standard finds the standard that is asked for, or the shop's, on the day that is asked for, or the
// shop's today.
func (s *Server) standard(ctx context.Context, req *jobsv1.AssessDamageRequest) (standard repairability.Standard, day time.Time, err error) {
	var shop access.Shop
	if req.GetStandardKey() == "" || req.GetDate() == "" {
		err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
			shop, err = s.shop(ctx, tx)
			return err
		})
		if err != nil {
			return standard, day, err
		}
	}
	text, key := cmp.Or(req.GetDate(), shop.Today(s.now())), cmp.Or(req.GetStandardKey(), shop.StandardKey)
	if day, err = time.Parse(time.DateOnly, text); err != nil {
		return standard, day, fmt.Errorf("read the day %q: %w", text, err)
	}
	standard, ok := jobs.Standard(key, day)
	if !ok {
		return standard, day, refuse("standard_key", "NOT_IN_FORCE",
			"no edition of %q stood on %s; name the edition itself, one of %s", key, text, strings.Join(standardKeys(), ", "))
	}
	return standard, day, nil
}

// standardKeys are the keys of all editions, and of their families.
func standardKeys() []string {
	var keys []string
	for _, e := range repairability.Editions() {
		keys = append(keys, e.Key, e.Family)
	}
	slices.Sort(keys)
	return slices.Compact(keys)
}
