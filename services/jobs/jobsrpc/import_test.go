package jobsrpc_test

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	jobsv1 "cullet/proto/cullet/jobs/v1"
)

// The files of the invented shop systems, each by its saved mapping: a preview, which records nothing,
// the import itself, and the same file once more, which changes nothing. The report stands in
// testdata/imports.
func TestImportOfTheInventedSystems(t *testing.T) {
	t.Parallel()
	for _, system := range systems {
		t.Run(system.name, func(t *testing.T) {
			t.Parallel()
			w := start(t)
			_, err := w.Jobs.SaveColumnMapping(t.Context(), &jobsv1.SaveColumnMappingRequest{Mapping: mapping(t, system.name)})
			if err != nil {
				t.Fatal(err)
			}
			request := func(isPreview bool) *jobsv1.ImportJobsRequest {
				return &jobsv1.ImportJobsRequest{Content: content(t, system.file), FileName: system.file, MappingName: system.name, IsPreview: isPreview}
			}
			preview := w.imported(request(true))
			if n := w.Count("jobs"); n != 0 {
				t.Errorf("the preview recorded %d jobs", n)
			}
			first := w.imported(request(false))
			golden(t, system.name, first)
			recorded := int(first.GetImport().GetRecordedCount())
			if recorded < 4 || w.Count("jobs") != recorded {
				t.Errorf("%d are recorded and %d jobs stored", recorded, w.Count("jobs"))
			}
			if diff := cmp.Diff(withoutStored(outcomes(first)), withoutStored(outcomes(preview))); diff != "" {
				t.Errorf("the preview said otherwise (-import +preview):\n%s", diff)
			}
			before := w.Count("events")
			second := w.imported(request(false))
			again := strings.ReplaceAll(strings.Join(outcomes(first), "\n"), "RECORDED", "KNOWN")
			if diff := cmp.Diff(strings.Split(again, "\n"), outcomes(second)); diff != "" {
				t.Errorf("the same file again (-first +second):\n%s", diff)
			}
			for i, row := range second.GetRows() {
				if got, want := row.GetJobId(), first.GetRows()[i].GetJobId(); got != want {
					t.Errorf("record %d: job %q, and %q when the file came again", i+1, want, got)
				}
			}
			if w.Count("jobs") != recorded || w.Count("events") != before {
				t.Errorf("the same file changed something: %d jobs, %d events", w.Count("jobs"), w.Count("events")-before)
			}
		})
	}
}

// withoutStored makes the words of a preview and of an import the same.
func withoutStored(all []string) []string {
	return strings.Split(strings.ReplaceAll(strings.Join(all, "\n"), "ACCEPTABLE", "RECORDED"), "\n")
}
