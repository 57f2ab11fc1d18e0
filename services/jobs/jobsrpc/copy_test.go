package jobsrpc_test

import (
	"bytes"
	"testing"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
)

// The page comes as PDF in the size that the shop's country prints on, and only of jobs that exist.
func TestGetDriversCopy(t *testing.T) {
	t.Parallel()
	w := start(t)
	job := w.record(with(record(t, "V-1"), func(m *jobsv1.RepairRecord) { m.Photos = nil }))
	sizes := map[string]string{"": "/MediaBox [0 0 612.00 792.00]", "LETTER": "/MediaBox [0 0 612.00 792.00]", "A4": "/MediaBox [0 0 595.28 841.89]"}
	for paper, want := range sizes {
		got, err := w.Jobs.GetDriversCopy(t.Context(), &jobsv1.GetDriversCopyRequest{JobId: job.GetJobId(), Paper: paper})
		if err != nil {
			t.Fatalf("paper %q: %v", paper, err)
		}
		if !bytes.HasPrefix(got.GetPdf(), []byte("%PDF-")) || !bytes.Contains(got.GetPdf(), []byte(want)) {
			t.Errorf("paper %q: no PDF with %s", paper, want)
		}
		if want := "drivers-copy-" + job.GetJobId() + ".pdf"; got.GetFileName() != want {
			t.Errorf("file name %q, want %q", got.GetFileName(), want)
		}
	}
	_, err := w.Jobs.GetDriversCopy(t.Context(), &jobsv1.GetDriversCopyRequest{JobId: job.GetJobId(), Paper: "A5"})
	if got := faults(t, err); len(got) != 1 || got[0] != "paper UNKNOWN_VALUE" {
		t.Errorf("A5: %v", got)
	}
	_, err = w.Jobs.GetDriversCopy(t.Context(), &jobsv1.GetDriversCopyRequest{JobId: "01980f3e-6a1c-7c3e-9b1a-3f1d2c4b5a69"})
	if !errs.Is(err, errs.NotFound) {
		t.Errorf("a job that is not there: %v, want NotFound", err)
	}
}
