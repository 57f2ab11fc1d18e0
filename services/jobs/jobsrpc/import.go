package jobsrpc

import (
	"context"
	"crypto/sha256"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
)

// maxFileName is the longest name of a file, in characters.
const maxFileName = 200

// ImportJobs takes a file and leaves its records to AdvanceImport. The whole file comes in one request:
// so it can come as JSON too, and under a request id like every other change.
func (s *Server) ImportJobs(ctx context.Context, req *jobsv1.ImportJobsRequest) (*jobsv1.ImportJobsResponse, error) {
	var faults []errs.Field
	if n := len([]rune(req.GetFileName())); n > maxFileName {
		faults = append(faults, errs.Field{Path: "file_name", Reason: "TOO_LARGE", Message: fmt.Sprintf(
			"%d characters were given and at most %d are allowed; shorten the name", n, maxFileName)})
	}
	switch name, inline := req.GetMappingName(), req.GetMapping(); {
	case name != "" && inline != nil:
		faults = append(faults, errs.Field{Path: "mapping", Reason: "CONTRADICTION",
			Message: "a mapping was given and the name of a saved one too; give one of the two"})
	case name == "" && inline == nil:
		faults = append(faults, errs.Field{Path: "mapping_name", Reason: "REQUIRED", Message: "nothing was given, and no mapping either; give the " +
			"name of a saved mapping, ListColumnMappings has them, or a mapping for this file"})
	case inline != nil:
		faults = append(faults, s.checkMapping(inline)...)
	}
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	hash := sha256.Sum256(req.GetContent())
	i := jobs.Import{ID: ident.New[ident.Import](), State: jobs.ImportReceived, IsPreview: req.GetIsPreview(), FileName: req.GetFileName(),
		FileHash: hash[:], CreateTime: s.at(), CreatedBy: rpc.CallerFrom(ctx).Name}
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*jobsv1.ImportJobsResponse, error) {
		file, err := s.readFile(ctx, tx, req, &i)
		if err != nil {
			return nil, err
		}
		i.Records, i.UnusedColumns = len(file.Records), file.UnusedColumns
		if err := jobspg.InsertImport(ctx, tx, i, req.GetContent()); err != nil {
			return nil, err
		}
		return &jobsv1.ImportJobsResponse{Import: toImport(&i)}, nil
	})
}

// readFile reads the file of a request by its mapping, which it completes by what the shop has chosen.
func (s *Server) readFile(ctx context.Context, tx *pg.Tx, req *jobsv1.ImportJobsRequest, i *jobs.Import) (file jobs.Intake, err error) {
	shop, err := s.shop(ctx, tx)
	if err != nil {
		return file, err
	}
	if i.Mapping = fromMapping(req.GetMapping()); req.GetMapping() == nil {
		if i.Mapping, err = jobspg.GetMapping(ctx, tx, req.GetMappingName()); err != nil {
			return file, err
		}
	}
	if i.Mapping.Currency = shop.CurrencyCode; i.Mapping.TimeZone == "" {
		i.Mapping.TimeZone = shop.TimeZone
	}
	format, ok := s.intakes[i.Mapping.Format]
	if !ok {
		return file, errs.New(errs.State, "FORMAT_UNKNOWN", s.unknownFormat(i.Mapping.Format))
	}
	return format.Read(req.GetContent(), i.Mapping)
}

func (s *Server) unknownFormat(name string) string {
	return fmt.Sprintf("%.60q was given; this server reads %s", name, strings.Join(slices.Sorted(maps.Keys(s.intakes)), ", "))
}

// chunkRecords is how many records of a file are recorded in one transaction; they hold the locks of
// each other's references until it ends.
const chunkRecords = 25

// AdvanceImport is an outbox.Handler: it records what an import holds, from where it stands, and writes
// the row of each record in the transaction that records it. Killed anywhere and called again it goes
// on there; two that run at once take turns.
func (s *Server) AdvanceImport(ctx context.Context, shop ident.Shop, key string) error {
	w, err := s.openImport(ctx, shop, ident.Import(key))
	if err != nil || w == nil {
		return err
	}
	for isMore := true; isMore; {
		if isMore, err = w.advance(ctx); err != nil {
			return err
		}
	}
	return nil
}

// importing is one process at work on one import.
type importing struct {
	*Server
	shop ident.Shop
	jobs.Import
	file jobs.Intake
	// firsts are the first records with each reference, by index.
	firsts map[string]int
}

// openImport reads an import and its file again; nil when nothing is left to do.
func (s *Server) openImport(ctx context.Context, shop ident.Shop, id ident.Import) (*importing, error) {
	w := &importing{Server: s, shop: shop, firsts: map[string]int{}}
	var content []byte
	err := pg.Read(ctx, s.db, shop, func(ctx context.Context, tx *pg.Tx) (err error) {
		if w.Import, err = jobspg.GetImport(ctx, tx, id); err != nil || hasEnded(w.Import) {
			return err
		}
		content, err = jobspg.ImportContent(ctx, tx, id)
		return err
	})
	if errs.Is(err, errs.NotFound) || err == nil && hasEnded(w.Import) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	if why := w.open(content); why != "" {
		return nil, w.fail(ctx, why)
	}
	return w, nil
}

func hasEnded(i jobs.Import) bool { return i.State == jobs.ImportDone || i.State == jobs.ImportFailed }

// open reads the file; why says why it cannot be read as it was when it came.
func (w *importing) open(content []byte) (why string) {
	format, ok := w.intakes[w.Mapping.Format]
	if !ok {
		return w.unknownFormat(w.Mapping.Format)
	}
	var err error
	if w.file, err = format.Read(content, w.Mapping); err != nil {
		return err.Error()
	}
	if n := len(w.file.Records); n != w.Records {
		return fmt.Sprintf("%d records were read when the file came and %d now, because another version of this program reads it; import it "+
			"again, what is recorded stays", w.Records, n)
	}
	for i := range w.file.Records {
		if _, ok := w.firsts[w.file.Records[i].Reference]; !ok {
			w.firsts[w.file.Records[i].Reference] = i
		}
	}
	return ""
}

func (w *importing) fail(ctx context.Context, why string) error {
	return pg.Transact(ctx, w.db, w.shop, func(ctx context.Context, tx *pg.Tx) error {
		return jobspg.FailImport(ctx, tx, w.ID, why, w.at())
	})
}

// advance does the next records in one transaction.
func (w *importing) advance(ctx context.Context) (isMore bool, err error) {
	err = pg.Transact(ctx, w.db, w.shop, func(ctx context.Context, tx *pg.Tx) error {
		isMore = false
		now, err := jobspg.TakeImport(ctx, tx, w.ID)
		if err != nil || hasEnded(now) {
			return err
		}
		at := w.at()
		end := min(now.Done+chunkRecords, now.Records)
		rows, err := w.rows(ctx, tx, now.Done, end, at)
		if err != nil {
			return err
		}
		isMore = end < now.Records
		return jobspg.AddImportRows(ctx, tx, w.ID, rows, at)
	})
	return isMore, err
}

func (w *importing) rows(ctx context.Context, tx *pg.Tx, begin, end int, at time.Time) ([]jobs.ImportRow, error) {
	rows := make([]jobs.ImportRow, 0, end-begin)
	for n := begin; n < end; n++ {
		row, err := w.row(ctx, tx, n, rows, at)
		if err != nil {
			return nil, fmt.Errorf("record %d of import %s: %w", n+1, w.ID, err)
		}
		rows = append(rows, row)
	}
	return rows, nil
}
