package jobsrpc_test

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"cullet/adapters"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/jobs/jobsrpc"
)

// TestImportJobsCut cuts the connection behind every message of the database.
func TestImportJobsCut(t *testing.T) {
	t.Parallel()
	r := openRoom(t)
	r.everywhere(t, func(t *testing.T, n int) func() (proto.Message, error) {
		request := &jobsv1.ImportJobsRequest{Content: table(fmt.Sprintf("V-%d", n)), Mapping: plain(nil), RequestId: fmt.Sprintf("r-%d", n)}
		return func() (proto.Message, error) { return r.Jobs.ImportJobs(t.Context(), request) }
	}, func(t *testing.T, n int) {
		// Each import is work, and the shop's files are to be forgotten one day.
		for table, want := range map[string]int{"imports": n + 1, "requests": n + 1, "work": n + 2, "import_rows": 0, "jobs": 0} {
			if got := r.Count(table); got != want {
				t.Errorf("cut %d: %d rows in %s, want %d", n, got, table, want)
			}
		}
	})
}

// TestSaveColumnMappingCut does the same, once for a new mapping and once for a change of it.
func TestSaveColumnMappingCut(t *testing.T) {
	t.Parallel()
	for _, isNew := range []bool{true, false} {
		t.Run(fmt.Sprint("isNew ", isNew), func(t *testing.T) {
			t.Parallel()
			r := openRoom(t)
			audited := r.Count("audit_entries")
			r.everywhere(t, func(t *testing.T, n int) func() (proto.Message, error) {
				request := &jobsv1.SaveColumnMappingRequest{RequestId: fmt.Sprintf("r-%d", n),
					Mapping: plain(func(m *jobsv1.ColumnMapping) { m.Name = fmt.Sprintf("desk-%d", n) })}
				if !isNew {
					made, err := r.Jobs.SaveColumnMapping(t.Context(), &jobsv1.SaveColumnMappingRequest{Mapping: request.GetMapping()})
					if err != nil {
						t.Fatal(err)
					}
					request.Etag = made.GetMapping().GetEtag()
				}
				return func() (proto.Message, error) { return r.Jobs.SaveColumnMapping(t.Context(), request) }
			}, func(t *testing.T, n int) {
				changes := n + 1
				if !isNew {
					changes *= 2
				}
				for table, want := range map[string]int{"column_mappings": n + 1, "requests": changes, "audit_entries": audited + changes} {
					if got := r.Count(table); got != want {
						t.Errorf("cut %d: %d rows in %s, want %d", n, got, table, want)
					}
				}
			})
		})
	}
}

// TestImportGoesOnWhereverItIsCut cuts the connection of the worker behind every message: each file of
// two records is recorded once, with one row for each, both of them recorded and none known.
func TestImportGoesOnWhereverItIsCut(t *testing.T) {
	t.Parallel()
	r := openRoom(t)
	room := jobsrpc.New(r.Open(r.proxy.DSN(), pg.Options{MaxOpen: 1, ListenDSN: r.RuntimeDSN}), nil, nil, func() time.Time { return now }, nil, 0, nil, nil, adapters.Intakes()...)
	var shop ident.Shop
	r.Get(&shop, `SELECT shop_id FROM shops`)
	for n := 0; ; n++ {
		sent, err := r.Jobs.ImportJobs(t.Context(), &jobsv1.ImportJobsRequest{Mapping: plain(nil),
			Content: table(fmt.Sprintf("V-%d-1", n), fmt.Sprintf("V-%d-2", n))})
		if err != nil {
			t.Fatal(err)
		}
		id := sent.GetImport().GetImportId()
		r.proxy.CutServer(n)
		first := room.AdvanceImport(t.Context(), shop, id)
		wasCut := r.proxy.Disarm()
		if err := room.AdvanceImport(t.Context(), shop, id); err != nil {
			t.Fatalf("cut %d, called again after %v: %v", n, first, err)
		}
		var state string
		r.Get(&state, `SELECT state || ' ' || recorded_count || ' ' || (SELECT count(*) FROM import_rows r WHERE r.import_id = i.import_id)
			FROM imports i WHERE import_id = $1`, id)
		if jobs := r.Count("jobs"); state != "DONE 2 2" || jobs != 2*(n+1) || r.Count("events") != jobs {
			t.Fatalf("cut %d: %s, %d jobs, %d events", n, state, jobs, r.Count("events"))
		}
		if !wasCut {
			if n < 10 {
				t.Errorf("only %d messages were cut", n)
			}
			return
		}
	}
}

// references makes n references.
func references(n int) []string {
	all := make([]string, n)
	for i := range all {
		all[i] = fmt.Sprintf("R-%03d", i+1)
	}
	return all
}

// interrupted is the room whose work is ended in the middle of its second transaction, as a worker is
// that loses its lease: the clock is asked once in each.
func (w world) interrupted(ctx context.Context) (*jobsrpc.Server, context.Context) {
	ctx, cancel := context.WithCancel(ctx)
	w.t.Cleanup(cancel)
	asked := 0
	clock := func() time.Time {
		if asked++; asked == 2 {
			cancel()
		}
		return now
	}
	return jobsrpc.New(w.DB, nil, nil, clock, nil, 0, nil, nil, adapters.Intakes()...), ctx
}

// A worker that is ended in the middle has written a row for each record that it recorded; the next one
// goes on behind them.
func TestImportThatIsInterruptedGoesOn(t *testing.T) {
	t.Parallel()
	w := start(t)
	i := w.send(&jobsv1.ImportJobsRequest{Content: table(references(60)...), Mapping: plain(nil)})
	room, ctx := w.interrupted(t.Context())
	if err := room.AdvanceImport(ctx, w.Shop, i.GetImportId()); !errors.Is(err, context.Canceled) {
		t.Fatalf("the worker that was ended says %v", err)
	}
	between := w.report(i.GetImportId())
	done := int(between.GetImport().GetDoneCount())
	if done < 1 || done >= 60 || w.Count("jobs") != done || len(between.GetRows()) != done || between.GetImport().GetState() != jobsv1.ImportState_IMPORT_STATE_RUNNING {
		t.Fatalf("between: %d done, %d jobs, %d rows, %s", done, w.Count("jobs"), len(between.GetRows()), between.GetImport().GetState())
	}
	w.advance(i)
	report := w.report(i.GetImportId())
	if got := report.GetImport(); got.GetRecordedCount() != 60 || got.GetState() != jobsv1.ImportState_IMPORT_STATE_DONE || w.Count("jobs") != 60 {
		t.Errorf("%v, %d jobs", got, w.Count("jobs"))
	}
	for n, row := range report.GetRows() {
		if row.GetOutcome() != jobsv1.ImportOutcome_IMPORT_OUTCOME_RECORDED || int(row.GetRecordNumber()) != n+1 {
			t.Errorf("row %d is %v", n, row)
		}
	}
}

// Two workers at one import at once, as when a lease was lost and the loser has not noticed: the second
// begins while the first is within a transaction, and they take turns. A third that comes late finds
// nothing to do. A preview has no key of the records to fall back upon.
func TestTwoWorkersAtOneImport(t *testing.T) {
	t.Parallel()
	for _, isPreview := range []bool{false, true} {
		t.Run(fmt.Sprint("isPreview ", isPreview), func(t *testing.T) {
			t.Parallel()
			w := start(t)
			i := w.send(&jobsv1.ImportJobsRequest{Content: table(references(60)...), Mapping: plain(nil), IsPreview: isPreview})
			second := make(chan error, 1)
			var once sync.Once
			clock := func() time.Time { // asked within the first one's transaction
				once.Do(func() {
					go func() { second <- w.room().AdvanceImport(t.Context(), w.Shop, i.GetImportId()) }()
					for waits := 0; waits == 0 && len(second) == 0 && t.Context().Err() == nil; {
						w.Get(&waits, `SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock'`)
					}
				})
				return now
			}
			room := jobsrpc.New(w.DB, nil, nil, clock, nil, 0, nil, nil, adapters.Intakes()...)
			if err := room.AdvanceImport(t.Context(), w.Shop, i.GetImportId()); err != nil {
				t.Errorf("the first: %v", err)
			}
			if err := <-second; err != nil {
				t.Errorf("the second: %v", err)
			}
			w.advance(i)
			recorded := 60
			if isPreview {
				recorded = 0
			}
			got := w.report(i.GetImportId()).GetImport()
			if got.GetRecordedCount() != 60 || w.Count("import_rows") != 60 || w.Count("jobs") != recorded || w.Count("events") != recorded {
				t.Errorf("%v, %d rows, %d jobs, %d events", got, w.Count("import_rows"), w.Count("jobs"), w.Count("events"))
			}
		})
	}
}

// Two imports of the same records at once record each once, whoever of them is faster.
func TestSameFileTwiceAtOnce(t *testing.T) {
	t.Parallel()
	w := start(t)
	first := w.send(&jobsv1.ImportJobsRequest{Content: table(references(60)...), Mapping: plain(nil)})
	second := w.send(&jobsv1.ImportJobsRequest{Content: table(references(60)...), Mapping: plain(nil)})
	var working sync.WaitGroup
	for _, i := range []*jobsv1.Import{first, second} {
		working.Go(func() {
			if err := w.room().AdvanceImport(t.Context(), w.Shop, i.GetImportId()); err != nil {
				t.Error(err)
			}
		})
	}
	working.Wait()
	recorded, known := 0, 0
	for _, i := range []*jobsv1.Import{first, second} {
		done := w.report(i.GetImportId()).GetImport()
		recorded, known = recorded+int(done.GetRecordedCount()), known+int(done.GetKnownCount())
	}
	if recorded != 60 || known != 60 || w.Count("jobs") != 60 {
		t.Errorf("%d recorded, %d known, %d jobs", recorded, known, w.Count("jobs"))
	}
}
