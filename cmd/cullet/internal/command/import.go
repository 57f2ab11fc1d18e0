package command

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"google.golang.org/protobuf/encoding/protojson"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/client"
	"cullet/services/errs"
)

type importCommand struct {
	File        string `arg:"" help:"The file: CSV or JSON lines, at most 4 MiB." type:"existingfile"`
	Mapping     string `help:"Name of the saved mapping that reads it."`
	MappingFile string `help:"JSON file with a mapping for this file alone." type:"existingfile" name:"mapping-file"`
	Preview     bool   `help:"Only say what would become of every row; records nothing."`
}

// Run imports a file and waits for its end. Exit code 4 when rows were refused or conflict.
func (c *importCommand) Run(w *world) error {
	content, err := os.ReadFile(c.File)
	if err != nil {
		return fmt.Errorf("read the file: %w", err)
	}
	request := &jobsv1.ImportJobsRequest{Content: content, FileName: filepath.Base(c.File), MappingName: c.Mapping, IsPreview: c.Preview,
		RequestId: w.globals.RequestID}
	if c.MappingFile != "" {
		if request.Mapping, err = readMapping(c.MappingFile); err != nil {
			return err
		}
	}
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	sent, err := server.Jobs.ImportJobs(w, request)
	if err != nil {
		return err
	}
	report, err := waitForImport(w, server, sent.GetImport().GetImportId())
	if err != nil {
		return err
	}
	return w.printImport(report)
}

func readMapping(name string) (*jobsv1.ColumnMapping, error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return nil, fmt.Errorf("read the mapping: %w", err)
	}
	m := &jobsv1.ColumnMapping{}
	if err := protojson.Unmarshal(text, m); err != nil {
		return nil, &failure{exitUsage, fmt.Errorf("%s: %w", name, err)}
	}
	return m, nil
}

// waitForImport asks until the import has ended, and then for its whole report.
func waitForImport(ctx context.Context, server *client.Client, id string) (*jobsv1.GetImportResponse, error) {
	tick := time.NewTicker(200 * time.Millisecond)
	defer tick.Stop()
	for {
		whole, err := server.Jobs.GetImport(ctx, &jobsv1.GetImportRequest{ImportId: id, PageSize: 1000})
		if err != nil {
			return nil, err
		}
		switch whole.GetImport().GetState() {
		case jobsv1.ImportState_IMPORT_STATE_DONE, jobsv1.ImportState_IMPORT_STATE_FAILED:
			return whole, readOn(ctx, server, whole)
		}
		select {
		case <-ctx.Done():
			return nil, fmt.Errorf("stopped waiting; the import goes on in the server: %w", context.Cause(ctx))
		case <-tick.C:
		}
	}
}

// readOn adds the other pages of a report.
func readOn(ctx context.Context, server *client.Client, whole *jobsv1.GetImportResponse) error {
	for whole.GetNextPageToken() != "" {
		page, err := server.Jobs.GetImport(ctx, &jobsv1.GetImportRequest{ImportId: whole.GetImport().GetImportId(), PageSize: 1000,
			PageToken: whole.GetNextPageToken()})
		if err != nil {
			return err
		}
		whole.Rows, whole.NextPageToken = append(whole.Rows, page.GetRows()...), page.GetNextPageToken()
	}
	return nil
}

func (w *world) printImport(report *jobsv1.GetImportResponse) error {
	i := report.GetImport()
	if w.globals.JSON {
		if err := w.printJSON(report); err != nil {
			return err
		}
	} else {
		t := w.newTable("Line", "Reference", "What became of it", "Job", "Problems")
		right(t, 1)
		for _, row := range report.GetRows() {
			t.AppendRow([]any{row.GetLineNumber(), row.GetExternalReference(), stateWords(row.GetOutcome().String(), "IMPORT_OUTCOME_"),
				row.GetJobId(), problemsOf(row)})
		}
		t.Render()
		verb := "recorded"
		if i.GetIsPreview() {
			verb = "would be recorded"
		}
		fmt.Fprintf(w.out, "%d records in %s: %d %s, %d known already, %d conflict, %d refused\n", i.GetRecordCount(), i.GetFileName(),
			i.GetRecordedCount(), verb, i.GetKnownCount(), i.GetConflictCount(), i.GetRefusedCount())
		if unused := i.GetUnusedColumns(); len(unused) > 0 {
			fmt.Fprintf(w.out, "Columns that the mapping does not read: %s\n", strings.Join(unused, ", "))
		}
	}
	if i.GetState() == jobsv1.ImportState_IMPORT_STATE_FAILED {
		return errors.New(i.GetFailure())
	}
	if n := i.GetConflictCount() + i.GetRefusedCount(); n > 0 {
		return &failure{exitFindings, fmt.Errorf("%d records need a person", n)}
	}
	return nil
}

// problemsOf writes the faults of a row, each under the column that shows it.
func problemsOf(row *jobsv1.ImportRow) string {
	var all []string
	for _, f := range row.GetFaults() {
		where := f.GetColumn()
		if where == "" {
			where = f.GetPath()
		}
		all = append(all, where+": "+f.GetSentence())
	}
	return strings.Join(all, "\n")
}

type mappingsCommand struct {
	Save string `help:"JSON file with a mapping to save under the name in it, in the place of what is there." type:"existingfile"`
}

// Run lists the saved mappings, or saves one.
func (c *mappingsCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	if c.Save != "" {
		return c.save(w, server)
	}
	answer, err := server.Jobs.ListColumnMappings(w, &jobsv1.ListColumnMappingsRequest{PageSize: 200})
	if err != nil {
		return err
	}
	if w.globals.JSON {
		return w.printJSON(answer)
	}
	t := w.newTable("Mapping", "Format", "Columns", "Saved", "By")
	right(t, 3)
	for _, m := range answer.GetMappings() {
		t.AppendRow([]any{m.GetName(), m.GetFormat(), len(m.GetColumns()), m.GetUpdateTime().AsTime().Format(time.DateOnly), m.GetUpdatedBy()})
	}
	t.Render()
	return nil
}

func (c *mappingsCommand) save(w *world, server *client.Client) error {
	m, err := readMapping(c.Save)
	if err != nil {
		return err
	}
	before, err := server.Jobs.GetColumnMapping(w, &jobsv1.GetColumnMappingRequest{Name: m.GetName()})
	if err != nil && !errs.Is(err, errs.NotFound) && !errs.Is(err, errs.Invalid) {
		return err
	}
	saved, err := server.Jobs.SaveColumnMapping(w, &jobsv1.SaveColumnMappingRequest{Mapping: m, Etag: before.GetMapping().GetEtag(),
		RequestId: w.globals.RequestID})
	if err != nil {
		return err
	}
	if w.globals.JSON {
		return w.printJSON(saved)
	}
	fmt.Fprintln(w.out, saved.GetMapping().GetName(), saved.GetMapping().GetEtag())
	return nil
}
