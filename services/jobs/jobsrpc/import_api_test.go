package jobsrpc_test

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/internal/pg"
	"cullet/services/jobs"
	"cullet/services/jobs/jobsrpc"
)

// A request or a file that cannot be read is refused whole, with every fault, and leaves nothing.
func TestFilesThatAreRefused(t *testing.T) {
	t.Parallel()
	w := start(t)
	before := w.rows() + fmt.Sprint(w.Count("imports"))
	for _, test := range []struct {
		name    string
		request *jobsv1.ImportJobsRequest
		want    []string
	}{
		{"nothing", &jobsv1.ImportJobsRequest{}, []string{"content REQUIRED", "mapping_name REQUIRED"}},
		{"two mappings and a long name", &jobsv1.ImportJobsRequest{Content: table("A"), MappingName: "a", Mapping: plain(nil), FileName: strings.Repeat("x", 201)},
			[]string{"file_name TOO_LARGE", "mapping CONTRADICTION"}},
		{"a mapping with faults", &jobsv1.ImportJobsRequest{Content: table("A"), Mapping: &jobsv1.ColumnMapping{Format: "xlsx", TimeZone: "Ohio",
			Columns: []*jobsv1.ColumnBinding{{Field: "vehicle.colour", Column: "c"}}}},
			[]string{"mapping.time_zone TIME_ZONE", "mapping.columns[0].field UNKNOWN_VALUE", "mapping.columns FIELD_MISSING", "mapping.columns FIELD_MISSING",
				"mapping.columns FIELD_MISSING", "mapping.columns FIELD_MISSING", "mapping.columns FIELD_MISSING", "mapping.columns FIELD_MISSING",
				"mapping.columns FIELD_MISSING", "mapping.format UNKNOWN_VALUE"}},
		{"a mapping without a format", &jobsv1.ImportJobsRequest{Content: table("A"), Mapping: &jobsv1.ColumnMapping{}}, []string{"mapping.format REQUIRED"}},
		{"a workbook", &jobsv1.ImportJobsRequest{Content: []byte("PK\x03\x04"), Mapping: plain(nil)}, []string{"content FILE_BINARY"}},
		{"columns that are missing", &jobsv1.ImportJobsRequest{Content: []byte("a,b\n1,2\n"), Mapping: plain(nil)}, slices.Repeat([]string{"content COLUMN_MISSING"}, 8)},
		{"more than 4 MiB", &jobsv1.ImportJobsRequest{Content: bytes.Repeat([]byte("x"), 4<<20+1), Mapping: plain(nil)}, []string{"content TOO_LONG"}},
	} {
		_, err := w.Jobs.ImportJobs(t.Context(), test.request)
		if diff := cmp.Diff(test.want, faults(t, err)); diff != "" {
			t.Errorf("%s (-want +got):\n%s", test.name, diff)
		}
	}
	_, err := w.Jobs.ImportJobs(t.Context(), &jobsv1.ImportJobsRequest{Content: table("A"), MappingName: "nobodys"})
	if !errs.Is(err, errs.NotFound) {
		t.Errorf("a mapping that is not saved: %v", err)
	}
	if got := w.rows() + fmt.Sprint(w.Count("imports")); got != before {
		t.Errorf("before: %s\nafter:  %s", before, got)
	}
}

// The same request is one import, whatever happened to the mapping meanwhile; another under its id is
// refused. An import keeps the mapping that it began with.
func TestImportOnceAndWithTheMappingOfItsDay(t *testing.T) {
	t.Parallel()
	w := start(t)
	saved, err := w.Jobs.SaveColumnMapping(t.Context(), &jobsv1.SaveColumnMappingRequest{
		Mapping: plain(func(m *jobsv1.ColumnMapping) { m.Name = "desk" })})
	if err != nil {
		t.Fatal(err)
	}
	request := &jobsv1.ImportJobsRequest{Content: table("A", "B"), MappingName: "desk", FileName: "monday.csv", RequestId: "r-1"}
	first := w.send(request)
	if first.GetState() != jobsv1.ImportState_IMPORT_STATE_RECEIVED || first.GetRecordCount() != 2 || first.GetDoneCount() != 0 || first.GetFileName() != "monday.csv" ||
		first.GetMapping().GetTimeZone() != "America/New_York" {
		t.Errorf("the answer is %v", first)
	}
	_, err = w.Jobs.SaveColumnMapping(t.Context(), &jobsv1.SaveColumnMappingRequest{Etag: saved.GetMapping().GetEtag(),
		Mapping: plain(func(m *jobsv1.ColumnMapping) { m.Name = "desk"; m.Columns[0].Column = "elsewhere" })})
	if err != nil {
		t.Fatal(err)
	}
	if again := w.send(request); !proto.Equal(first, again) || w.Count("imports") != 1 {
		t.Errorf("sent again: %v, %d imports", again, w.Count("imports"))
	}
	other, _ := proto.Clone(request).(*jobsv1.ImportJobsRequest)
	other.Content = table("C")
	if _, err := w.Jobs.ImportJobs(t.Context(), other); !errs.Is(err, errs.Invalid) || !strings.Contains(err.Error(), "used for another request") {
		t.Errorf("another file under the same id: %v", err)
	}
	w.advance(first)
	if got := outcomes(w.report(first.GetImportId())); !slices.Equal(got, []string{"A RECORDED", "B RECORDED"}) {
		t.Errorf("recorded with the mapping of its day: %v", got)
	}
}

func TestGetAndListImports(t *testing.T) {
	t.Parallel()
	w := start(t)
	file := strings.ReplaceAll(string(table("A", "B", "C", "D")), "B,1HGCM82633A004352", "B,1HGCM82633A00435")
	first := w.imported(&jobsv1.ImportJobsRequest{Content: []byte(file), Mapping: plain(nil)}).GetImport()
	second := w.send(&jobsv1.ImportJobsRequest{Content: table("E"), Mapping: plain(nil), IsPreview: true})
	for filter, want := range map[string][]string{
		"outcome = REFUSED":                             {"B REFUSED vehicle.vin VIN_LENGTH"},
		"outcome != REFUSED AND external_reference = D": {"D RECORDED"},
		"outcome = CONFLICT":                            nil,
	} {
		answer, err := w.Jobs.GetImport(t.Context(), &jobsv1.GetImportRequest{ImportId: first.GetImportId(), Filter: filter})
		if diff := cmp.Diff(want, outcomes(answer)); err != nil || diff != "" {
			t.Errorf("%s: %v (-want +got):\n%s", filter, err, diff)
		}
	}
	for _, request := range []*jobsv1.GetImportRequest{{ImportId: first.GetImportId(), Filter: "outcome = FINE"}, {ImportId: first.GetImportId(), PageToken: "x"},
		{ImportId: first.GetImportId(), PageSize: -1}} {
		if _, err := w.Jobs.GetImport(t.Context(), request); !errs.Is(err, errs.Invalid) {
			t.Errorf("%v: %v, want Invalid", request, err)
		}
	}
	_, stranger := w.OtherShop()
	for name, ask := range map[string]func() error{
		"no identifier": func() error {
			_, err := w.Jobs.GetImport(t.Context(), &jobsv1.GetImportRequest{ImportId: "x"})
			return err
		},
		"another shop's": func() error {
			_, err := stranger.Jobs.GetImport(t.Context(), &jobsv1.GetImportRequest{ImportId: first.GetImportId()})
			return err
		},
	} {
		if err := ask(); !errs.Is(err, errs.NotFound) {
			t.Errorf("%s: %v, want NotFound", name, err)
		}
	}
	page, err := w.Jobs.ListImports(t.Context(), &jobsv1.ListImportsRequest{PageSize: 1})
	if err != nil || len(page.GetImports()) != 1 || page.GetImports()[0].GetImportId() != second.GetImportId() || page.GetImports()[0].GetMapping() != nil || page.GetNextPageToken() == "" {
		t.Fatalf("the newest: %v, %v", page, err)
	}
	page, err = w.Jobs.ListImports(t.Context(), &jobsv1.ListImportsRequest{PageSize: 1, PageToken: page.GetNextPageToken()})
	if err != nil || len(page.GetImports()) != 1 || page.GetImports()[0].GetImportId() != first.GetImportId() || page.GetImports()[0].GetRefusedCount() != 1 || page.GetNextPageToken() != "" {
		t.Errorf("the one before: %v, %v", page, err)
	}
}

// A preview knows what an earlier row of the same file would leave behind.
func TestPreviewOfRecordsThatTheFileRepeats(t *testing.T) {
	t.Parallel()
	w := start(t)
	good := string(table("A"))
	changed := strings.SplitAfter(strings.ReplaceAll(good, "12.7", "13"), "\n")[1]
	faulty := strings.SplitAfter(strings.ReplaceAll(string(table("B")), "bullseye", "spider"), "\n")[1]
	file := []byte(good + changed + strings.SplitAfter(good, "\n")[1] + faulty + strings.SplitAfter(string(table("B")), "\n")[1])
	want := []string{"A ACCEPTABLE", "A CONFLICT external_reference REFERENCE_TAKEN damages[0].spread_mm DIFFERS", "A KNOWN", "B REFUSED damages[0].kind UNKNOWN_VALUE", "B ACCEPTABLE"}
	preview := w.imported(&jobsv1.ImportJobsRequest{Content: file, Mapping: plain(nil), IsPreview: true})
	if diff := cmp.Diff(want, outcomes(preview)); diff != "" {
		t.Errorf("preview (-want +got):\n%s", diff)
	}
	if got := w.imported(&jobsv1.ImportJobsRequest{Content: file, Mapping: plain(nil)}); !slices.Equal(withoutStored(want), outcomes(got)) {
		t.Errorf("import: %v", outcomes(got))
	}
	if again := outcomes(w.imported(&jobsv1.ImportJobsRequest{Content: file, Mapping: plain(nil), IsPreview: true})); again[0] != "A KNOWN" || again[4] != "B KNOWN" {
		t.Errorf("preview of what is recorded: %v", again)
	}
	if n := w.Count("jobs"); n != 2 {
		t.Errorf("%d jobs", n)
	}
}

// TestImportStatements holds the work to its round trips: one for each new record, as RecordJob has, the
// first look at the shop, and those around them.
func TestImportStatements(t *testing.T) {
	t.Parallel()
	w := start(t)
	i := w.send(&jobsv1.ImportJobsRequest{Content: table(references(20)...), Mapping: plain(nil)})
	ctx, counter := pg.WithCounter(t.Context())
	if err := w.room().AdvanceImport(ctx, w.Shop, i.GetImportId()); err != nil {
		t.Fatal(err)
	}
	if got := int(counter.Statements()); got != 20+1+6 {
		t.Errorf("%d statements for 20 records, want %d", got, 20+1+6)
	}
}

// An import whose format this server does not know any more ends with a sentence and is not tried for
// ever; one that does not exist, or has ended, is no work.
func TestImportThatCannotGoOn(t *testing.T) {
	t.Parallel()
	w := start(t)
	i := w.send(&jobsv1.ImportJobsRequest{Content: table("A"), Mapping: plain(nil)})
	bare := jobsrpc.New(w.DB, nil, nil, func() time.Time { return now }, nil, 0, nil, nil)
	for range 2 {
		if err := bare.AdvanceImport(t.Context(), w.Shop, i.GetImportId()); err != nil {
			t.Fatal(err)
		}
	}
	failed := w.report(i.GetImportId()).GetImport()
	if failed.GetState() != jobsv1.ImportState_IMPORT_STATE_FAILED || !strings.Contains(failed.GetFailure(), `"csv" was given`) || failed.GetFinishTime() == nil {
		t.Errorf("it is %v", failed)
	}
	if err := bare.AdvanceImport(t.Context(), w.Shop, "01980f3e-6a1c-7c3e-9b1a-3f1d2c4b5a69"); err != nil {
		t.Errorf("an import that does not exist: %v", err)
	}
}

func TestImportOverJSON(t *testing.T) {
	t.Parallel()
	w := start(t)
	body, err := json.Marshal(map[string]any{"content": base64.StdEncoding.EncodeToString(table("A")), "fileName": "a.csv",
		"mapping": map[string]any{"format": "csv", "columns": json.RawMessage(mustJSON(t, plain(nil)))}})
	if err != nil {
		t.Fatal(err)
	}
	request, err := http.NewRequestWithContext(t.Context(), http.MethodPost, w.URL("/v1/imports"), bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	var answer struct {
		Import struct{ ImportId, State string }
	}
	response := w.HTTP(request)
	if err := json.NewDecoder(response.Body).Decode(&answer); err != nil || response.StatusCode != http.StatusOK || answer.Import.State != "IMPORT_STATE_RECEIVED" {
		t.Fatalf("%d %+v %v", response.StatusCode, answer, err)
	}
	w.advance(&jobsv1.Import{ImportId: answer.Import.ImportId})
	request, err = http.NewRequestWithContext(t.Context(), http.MethodGet, w.URL("/v1/imports/"+answer.Import.ImportId), nil)
	if err != nil {
		t.Fatal(err)
	}
	var report struct {
		Rows []struct{ ExternalReference, Outcome string }
	}
	if err := json.NewDecoder(w.HTTP(request).Body).Decode(&report); err != nil || len(report.Rows) != 1 || report.Rows[0].Outcome != "IMPORT_OUTCOME_RECORDED" {
		t.Errorf("%+v, %v", report, err)
	}
}

// mustJSON writes the columns of a mapping.
func mustJSON(t *testing.T, m *jobsv1.ColumnMapping) string {
	t.Helper()
	var all []map[string]string
	for _, c := range m.GetColumns() {
		all = append(all, map[string]string{"field": c.GetField(), "column": c.GetColumn()})
	}
	text, err := json.Marshal(all)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func TestColumnMappings(t *testing.T) {
	t.Parallel()
	w := start(t)
	ctx := t.Context()
	var names []string
	for _, system := range systems {
		m := mapping(t, system.name)
		saved, err := w.Jobs.SaveColumnMapping(ctx, &jobsv1.SaveColumnMappingRequest{Mapping: m})
		if err != nil {
			t.Fatal(err)
		}
		read, err := w.Jobs.GetColumnMapping(ctx, &jobsv1.GetColumnMappingRequest{Name: system.name})
		if err != nil || !proto.Equal(saved.GetMapping(), read.GetMapping()) || read.GetMapping().GetUpdatedBy() != "owner" {
			t.Errorf("%s: %v, saved %v, read %v", system.name, err, saved, read)
		}
		bare, _ := proto.Clone(read.GetMapping()).(*jobsv1.ColumnMapping)
		if bare.Etag, bare.UpdateTime, bare.UpdatedBy = "", nil, ""; !proto.Equal(m, bare) {
			t.Errorf("%s came back as %v", system.name, bare)
		}
		names = append(names, system.name)
	}
	var got []string
	for token := ""; ; {
		page, err := w.Jobs.ListColumnMappings(ctx, &jobsv1.ListColumnMappingsRequest{PageSize: 2, PageToken: token})
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range page.GetMappings() {
			got = append(got, m.GetName())
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	if !slices.Equal(got, names) {
		t.Errorf("listed are %v, want %v", got, names)
	}
	change := &jobsv1.SaveColumnMappingRequest{Mapping: mapping(t, "tablet")}
	if _, err := w.Jobs.SaveColumnMapping(ctx, change); !errs.Is(err, errs.Conflict) {
		t.Errorf("a name that is taken: %v", err)
	}
	change.Etag = "v1"
	saved, err := w.Jobs.SaveColumnMapping(ctx, change)
	if err != nil || saved.GetMapping().GetEtag() != "v2" {
		t.Errorf("changed: %v, %v", saved.GetMapping().GetEtag(), err)
	}
	if _, err := w.Jobs.SaveColumnMapping(ctx, change); !errs.Is(err, errs.Stale) {
		t.Errorf("changed again with the old etag: %v", err)
	}
	var actions []string
	w.Select(&actions, `SELECT action FROM audit_entries WHERE subject_kind = 'column_mapping' ORDER BY audit_id`)
	if diff := cmp.Diff([]string{"column_mapping.created", "column_mapping.created", "column_mapping.created", "column_mapping.updated"}, actions); diff != "" {
		t.Errorf("audit (-want +got):\n%s", diff)
	}
	var known *errs.Error
	_, err = w.Jobs.SaveColumnMapping(ctx, &jobsv1.SaveColumnMappingRequest{Mapping: &jobsv1.ColumnMapping{Format: "csv"}, Etag: "new"})
	if errors.As(err, &known); !slices.Equal(faults(t, err), []string{"mapping.name REQUIRED", "etag ETAG_MALFORMED"}) {
		t.Errorf("no name: %v", known)
	}
	if _, err := w.Jobs.GetColumnMapping(ctx, &jobsv1.GetColumnMappingRequest{Name: "nobodys"}); !errs.Is(err, errs.NotFound) {
		t.Errorf("no such mapping: %v", err)
	}
	clerk := w.Dial(w.Key(access.Clerk))
	if _, err := clerk.Jobs.SaveColumnMapping(ctx, &jobsv1.SaveColumnMappingRequest{Mapping: &jobsv1.ColumnMapping{Name: "own", Format: "jsonlines"}}); !errs.Is(err, errs.Forbidden) {
		t.Errorf("a clerk saves a mapping: %v", err)
	}
}

// A column beyond what a mapping may say cannot fill the list of mappings without end.
func TestMappingsAreSmall(t *testing.T) {
	t.Parallel()
	w := start(t)
	m := plain(func(m *jobsv1.ColumnMapping) { m.Name = "wordy" })
	for i := range 200 {
		m.Columns[0].Words = append(m.Columns[0].Words, &jobsv1.ColumnWord{Given: fmt.Sprintf("%0200d", i), Meaning: strings.Repeat("x", 200)})
	}
	for _, c := range m.GetColumns()[1:] {
		if f, _, _ := jobs.ParseField(c.GetField()); f.Kind == jobs.TextField {
			c.Words = m.GetColumns()[0].GetWords()
		}
	}
	_, err := w.Jobs.SaveColumnMapping(t.Context(), &jobsv1.SaveColumnMappingRequest{Mapping: m})
	if diff := cmp.Diff([]string{"mapping TOO_LARGE"}, faults(t, err)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}
