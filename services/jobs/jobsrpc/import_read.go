package jobsrpc

import (
	"context"
	"encoding/hex"
	"strconv"

	"google.golang.org/protobuf/proto"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
)

// rowFields are what the rows of GetImport can be filtered by.
var rowFields = rpc.FilterFields{
	"outcome":            {Kind: rpc.Word, SQL: "r.outcome", Words: outcomeWords()},
	"external_reference": {Kind: rpc.Text, SQL: "r.external_reference"},
}

func outcomeWords() []string {
	words := make([]string, len(jobs.ImportOutcomes))
	for i, o := range jobs.ImportOutcomes {
		words[i] = string(o)
	}
	return words
}

// GetImport gives an import with a page of its report.
func (s *Server) GetImport(ctx context.Context, req *jobsv1.GetImportRequest) (*jobsv1.GetImportResponse, error) {
	id, ok := ident.Parse[ident.Import](req.GetImportId())
	if !ok {
		return nil, errs.Missing("import", req.GetImportId())
	}
	filter, faults := rpc.ParseFilter(req.GetFilter(), rowFields)
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	page, err := s.pages.Open(ctx, req, rpc.Sizes{Default: 200, Max: 1000})
	if err != nil {
		return nil, err
	}
	after := 0
	if len(page.After) == 1 {
		if after, err = strconv.Atoi(page.After[0]); err != nil {
			return nil, err
		}
	}
	where, args := filter.Where(5)
	var i jobs.Import
	var rows []jobs.ImportRow
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		if i, err = jobspg.GetImport(ctx, tx, id); err != nil {
			return err
		}
		rows, err = jobspg.ImportRows(ctx, tx, id, after, page.Size+1, where, args...)
		return err
	})
	if err != nil {
		return nil, err
	}
	rows, hasMore := rpc.Cut(rows, page)
	resp := &jobsv1.GetImportResponse{Import: toImport(&i)}
	size := 0
	for n := range rows {
		row := toImportRow(&rows[n])
		if size += proto.Size(row); size > maxPageBytes && n > 0 {
			hasMore = true
			break
		}
		resp.Rows = append(resp.Rows, row)
		after = rows[n].Number
	}
	resp.NextPageToken, err = page.Next(hasMore, strconv.Itoa(after))
	return resp, err
}

// ListImports lists imports, newest first, without their mappings.
func (s *Server) ListImports(ctx context.Context, req *jobsv1.ListImportsRequest) (*jobsv1.ListImportsResponse, error) {
	page, err := s.pages.Open(ctx, req, rpc.Usual)
	if err != nil {
		return nil, err
	}
	var all []jobs.Import
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		all, err = jobspg.ListImports(ctx, tx, page.Before(), page.Size+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	all, hasMore := rpc.Cut(all, page)
	resp := &jobsv1.ListImportsResponse{}
	last := ""
	for i := range all {
		message := toImport(&all[i])
		message.Mapping = nil
		resp.Imports = append(resp.Imports, message)
		last = string(all[i].ID)
	}
	resp.NextPageToken, err = page.Next(hasMore, last)
	return resp, err
}

func toImport(i *jobs.Import) *jobsv1.Import {
	return &jobsv1.Import{ImportId: string(i.ID), State: wire.Value[jobsv1.ImportState](jobsv1.ImportState_value, "IMPORT_STATE_", i.State),
		IsPreview: i.IsPreview, FileName: i.FileName, FileHash: hex.EncodeToString(i.FileHash), Mapping: toMapping(&i.Mapping),
		RecordCount: int32(i.Records), DoneCount: int32(i.Done), RecordedCount: int32(i.Recorded), KnownCount: int32(i.Known),
		ConflictCount: int32(i.Conflicts), RefusedCount: int32(i.Refused), UnusedColumns: i.UnusedColumns,
		CreateTime: wire.ToTime(i.CreateTime), FinishTime: wire.ToTimeOrNil(i.FinishTime), CreatedBy: i.CreatedBy, Failure: i.Failure}
}

func toImportRow(r *jobs.ImportRow) *jobsv1.ImportRow {
	row := &jobsv1.ImportRow{RecordNumber: int32(r.Number), LineNumber: int32(r.Line), ExternalReference: r.Reference,
		Outcome: wire.Value[jobsv1.ImportOutcome](jobsv1.ImportOutcome_value, "IMPORT_OUTCOME_", r.Outcome), JobId: string(r.Job)}
	for _, n := range r.Rows {
		row.RowNumbers = append(row.RowNumbers, int32(n))
	}
	for _, f := range r.Faults {
		row.Faults = append(row.Faults, &jobsv1.ImportFault{Path: f.Path, Reason: f.Reason, Column: f.Column, LineNumber: int32(f.Line),
			Given: f.Given, Sentence: f.Sentence})
	}
	return row
}
