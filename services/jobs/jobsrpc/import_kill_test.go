package jobsrpc_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"testing"
	"time"

	"cullet/adapters"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
	"cullet/services/jobs/jobsrpc"
)

// killDSN names the variable that makes the test binary a worker that is killed within an import.
const killDSN = "CULLET_IMPORT_TEST_DSN"

func TestMain(m *testing.M) {
	if dsn := os.Getenv(killDSN); dsn != "" {
		die(dsn)
	}
	os.Exit(m.Run())
}

// fatal is a format whose faulty records kill the process that looks where their faults stand.
type fatal struct{ jobs.IntakeFormat }

func (f fatal) Read(content []byte, m jobs.Mapping) (jobs.Intake, error) {
	file, err := f.IntakeFormat.Read(content, m)
	for i := range file.Records {
		file.Records[i].Locate = func(string) (jobs.Cell, bool) {
			if self, err := os.FindProcess(os.Getpid()); err == nil {
				_ = self.Kill() // kill -9
			}
			select {}
		}
	}
	return file, err
}

func die(dsn string) {
	db, err := pg.Open(context.Background(), dsn, pg.Options{})
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	var formats []jobs.IntakeFormat
	for _, f := range adapters.Intakes() {
		formats = append(formats, fatal{f})
	}
	work(context.Background(), db, outbox.Options{Lease: 2 * time.Second}, jobsrpc.New(db, nil, nil, func() time.Time { return now }, nil, 0, nil, nil, formats...))
}

// work runs a worker of imports until ctx ends.
func work(ctx context.Context, db *pg.DB, o outbox.Options, room *jobsrpc.Server) {
	outbox.NewWorker(db, o, map[string]outbox.Handler{jobspg.TopicImport: room.AdvanceImport}).Run(ctx)
}

// TestKilledImport kills a worker, as kill -9 does, in the middle of a transaction that has recorded
// half of its records. Another worker takes the work over when the lease has ended, and goes on.
func TestKilledImport(t *testing.T) {
	t.Parallel()
	w := start(t)
	all := references(60)
	all[39] = "R-040,x" // a cell too many: its fault is what kills
	i := w.send(&jobsv1.ImportJobsRequest{Content: table(all...), Mapping: plain(nil)})
	command := exec.Command(os.Args[0])
	command.Env = append(os.Environ(), killDSN+"="+w.RuntimeDSN)
	out, err := command.CombinedOutput()
	if command.ProcessState == nil || command.ProcessState.String() != "signal: killed" {
		t.Fatalf("the worker ended with %v: %s", err, out)
	}
	between := w.report(i.GetImportId()).GetImport()
	if done := int(between.GetDoneCount()); done < 1 || done > 39 || w.Count("jobs") != done {
		t.Fatalf("when it was killed %v was done, and %d jobs stored", between, w.Count("jobs"))
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() {
		work(ctx, w.DB, outbox.Options{Poll: 20 * time.Millisecond}, w.room())
		close(ended)
	}()
	defer func() { cancel(); <-ended }()
	report := w.report(i.GetImportId())
	for ; report.GetImport().GetState() != jobsv1.ImportState_IMPORT_STATE_DONE; report = w.report(i.GetImportId()) {
		if err := t.Context().Err(); err != nil {
			t.Fatal(err)
		}
	}
	if got := report.GetImport(); got.GetRecordedCount() != 59 || got.GetRefusedCount() != 1 || w.Count("jobs") != 59 || w.Count("events") != 59 {
		t.Errorf("%v, %d jobs, %d events", got, w.Count("jobs"), w.Count("events"))
	}
	for n, row := range report.GetRows() {
		want := jobsv1.ImportOutcome_IMPORT_OUTCOME_RECORDED
		if n == 39 {
			want = jobsv1.ImportOutcome_IMPORT_OUTCOME_REFUSED
		}
		if row.GetOutcome() != want || int(row.GetRecordNumber()) != n+1 {
			t.Errorf("row %d is %v, want %s", n+1, row, want)
		}
	}
	for left := 1; left > 0 && t.Context().Err() == nil; {
		w.Get(&left, `SELECT count(*) FROM work WHERE topic = $1`, jobspg.TopicImport)
	}
}
