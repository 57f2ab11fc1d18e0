package jobsrpc

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode"

	"google.golang.org/protobuf/encoding/protojson"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/once"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
)

// The caps of what a report repeats of a file, in characters.
const (
	maxGiven     = 200
	maxReference = 100
	maxSentence  = 1000
)

// row records one record of the file, or in a preview tells what would become of it; before are the
// rows of this transaction that stand above it.
func (w *importing) row(ctx context.Context, tx *pg.Tx, n int, before []jobs.ImportRow, at time.Time) (jobs.ImportRow, error) {
	from := &w.file.Records[n]
	row := jobs.ImportRow{Number: n + 1, Line: from.Line, Rows: from.Rows, Reference: printable(from.Reference, maxReference)}
	record, faults := read(from, at)
	if len(faults) > 0 {
		// What it names is looked up too, so that nobody has to mend a file twice.
		found, err := lookAt(ctx, tx, &record, at)
		row.Outcome, row.Faults = jobs.Refused, w.place(from, append(faults, beside(faults, found)...))
		return row, err
	}
	key := once.Key{Shop: w.shop, Caller: "import", Method: jobsv1.JobService_ImportJobs_FullMethodName,
		RequestID: fmt.Sprintf("%s:%d", w.ID, n+1)}
	r, err := recording(key, &record, w.CreatedBy, at)
	if err != nil {
		return row, err
	}
	if w.IsPreview {
		row.Outcome, row.Job, faults, err = w.weigh(ctx, tx, n, r, before, at)
	} else {
		row.Outcome, row.Job, err = w.keepRow(ctx, tx, r, at)
	}
	var known *errs.Error
	switch {
	case err == nil:
		row.Faults = w.place(from, faults)
	case !errors.As(err, &known):
		return row, err
	case known.Kind == errs.Conflict:
		row.Outcome, row.Job = jobs.Conflict, ident.Job(known.Detail["job_id"])
		row.Faults = w.place(from, append([]errs.Field{{Path: "record.external_reference", Reason: known.Reason, Message: known.Message}},
			known.Fields...))
	case known.Kind == errs.Invalid:
		row.Outcome, row.Faults = jobs.Refused, w.place(from, known.Fields)
	default:
		return row, err
	}
	return row, nil
}

// read gives the record of a file's with every fault for which RecordJob would refuse it: a value that
// could not be read is to it as one that the JSON gateway could not read.
func read(from *jobs.IntakeRecord, at time.Time) (jobs.Record, []errs.Field) {
	m := &jobsv1.RepairRecord{}
	leftOut := from.Faults
	if err := protojson.Unmarshal(from.Text, m); err != nil {
		leftOut = []errs.Field{{Path: "record", Reason: "NOT_JSON", Message: fmt.Sprintf(
			"what was read of it does not make a record: %v; tell your administrator", err)}}
	}
	record, found := inspect(m, at)
	return record, rpc.Inspect(&jobsv1.RecordJobRequest{Record: m}, leftOut, found)
}

// keepRow records a record as RecordJob does.
func (w *importing) keepRow(ctx context.Context, tx *pg.Tx, r *jobspg.Recording, at time.Time) (jobs.ImportOutcome, ident.Job, error) {
	job, err := w.keep(ctx, tx, r, at)
	if err != nil {
		return "", "", err
	}
	if job.ID != r.Job.ID {
		return jobs.Known, job.ID, nil
	}
	return jobs.Recorded, job.ID, nil
}

// weigh tells what keep would do, and writes nothing. An earlier record of the file that was found
// acceptable counts as recorded.
func (w *importing) weigh(
	ctx context.Context, tx *pg.Tx, n int, r *jobspg.Recording, before []jobs.ImportRow, at time.Time,
) (jobs.ImportOutcome, ident.Job, []errs.Field, error) {
	seen, err := jobspg.Look(ctx, tx, once.Key{}, &r.Job.Record, at)
	if err != nil {
		return "", "", nil, err
	}
	if seen.Job != "" {
		_, err := standing(ctx, tx, seen, r)
		return jobs.Known, seen.Job, nil, err
	}
	if reference := r.Job.Record.ExternalReference; w.firsts[reference] < n {
		earlier, err := accepted(ctx, tx, w.ID, printable(reference, maxReference), before)
		if err != nil {
			return "", "", nil, err
		}
		if earlier > 0 {
			outcome, faults, err := w.compare(&w.file.Records[earlier-1], r, at)
			return outcome, "", faults, err
		}
	}
	return jobs.Acceptable, "", nil, rpc.Refuse(ctx, missing(&r.Job.Record, seen))
}

// accepted gives the number of the record of this file that was acceptable under the reference; 0 when
// there is none.
func accepted(ctx context.Context, tx *pg.Tx, id ident.Import, reference string, before []jobs.ImportRow) (int, error) {
	for i := range before {
		if before[i].Reference == reference && before[i].Outcome == jobs.Acceptable {
			return before[i].Number, nil
		}
	}
	return jobspg.Accepted(ctx, tx, id, reference)
}

// compare tells what becomes of a record whose reference an earlier one of the file has.
func (w *importing) compare(earlier *jobs.IntakeRecord, r *jobspg.Recording, at time.Time) (jobs.ImportOutcome, []errs.Field, error) {
	record, _ := read(earlier, at)
	_, fingerprint, err := record.Canonical()
	if err != nil {
		return "", nil, err
	}
	fields := differing(wire.ToRecord(&record), wire.ToRecord(&r.Job.Record))
	if bytes.Equal(fingerprint, r.Fingerprint) || len(fields) == 0 {
		return jobs.Known, nil, nil
	}
	first := errs.Field{Path: "record.external_reference", Reason: "REFERENCE_TAKEN", Message: fmt.Sprintf("line %d of this file has the reference "+
		"%q too, will be recorded under it, and differs in %d fields, %s first: give another visit a reference of its own",
		earlier.Line, r.Job.Record.ExternalReference, len(fields), fields[0].Path)}
	return jobs.Conflict, append([]errs.Field{first}, fields[:min(len(fields), maxDiffering)]...), nil
}

// place says faults in the file's own terms.
func (w *importing) place(from *jobs.IntakeRecord, faults []errs.Field) []jobs.ImportFault {
	all := make([]jobs.ImportFault, len(faults))
	for i, f := range faults {
		all[i] = jobs.ImportFault{Path: f.Path, Reason: f.Reason, Sentence: printable(f.Message, maxSentence)}
		if len(from.Rows) == 1 {
			all[i].Line = from.Line
		}
		if cell, ok := locate(from, f.Path); ok {
			all[i].Column, all[i].Line, all[i].Given = printable(cell.Column, maxGiven), cell.Line, printable(cell.Text, maxGiven)
		}
	}
	return all
}

// locate finds the cell of a path, or of what the path is a part of.
func locate(from *jobs.IntakeRecord, path string) (jobs.Cell, bool) {
	path, _ = strings.CutPrefix(path, "record.")
	for path != "" {
		if cell, ok := from.Locate(path); ok {
			return cell, true
		}
		path = path[:max(strings.LastIndexAny(path, ".["), 0)]
	}
	return jobs.Cell{}, false
}

// printable cuts text of a file to what a report repeats of it, without what cannot be stored or shown.
func printable(text string, most int) string {
	shown := []rune(strings.Map(func(c rune) rune {
		if unicode.IsPrint(c) || c == '\n' {
			return c
		}
		return unicode.ReplacementChar
	}, text))
	if len(shown) > most {
		return string(shown[:most-1]) + "…"
	}
	return string(shown)
}
