package jobsrpc_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"cullet/adapters"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
	"cullet/services/jobs/jobsrpc"
)

var update = flag.Bool("update", false, "rewrite the reports of testdata/imports")

// imports is the folder of the invented shop systems' files.
const imports = "../../../testdata/imports"

// systems are the invented shop systems, by the names of their mappings.
var systems = []struct{ name, file string }{
	{"prairie-desk", "prairie-desk.csv"}, {"sturmvogel", "sturmvogel.csv"}, {"tablet", "tablet.jsonl"},
}

func content(t testing.TB, name string) []byte {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(imports, name))
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func mapping(t testing.TB, name string) *jobsv1.ColumnMapping {
	t.Helper()
	m := &jobsv1.ColumnMapping{}
	if err := protojson.Unmarshal(content(t, name+".mapping.json"), m); err != nil {
		t.Fatal(err)
	}
	return m
}

// plain is a mapping of few columns for files that tests write themselves.
func plain(change func(*jobsv1.ColumnMapping)) *jobsv1.ColumnMapping {
	m := &jobsv1.ColumnMapping{Format: "csv"}
	for _, c := range [][2]string{{"external_reference", "ref"}, {"vehicle.vin", "vin"}, {"start_time", "begin"}, {"finish_time", "end"},
		{"technician", "tech"}, {"damages.#.kind", "kind"}, {"damages.#.spread_mm", "size"}, {"damages.#.outcome", "what"}} {
		m.Columns = append(m.Columns, &jobsv1.ColumnBinding{Field: c[0], Column: c[1]})
	}
	if change != nil {
		change(m)
	}
	return m
}

// table writes a file for plain, with a row for each reference.
func table(references ...string) []byte {
	var b strings.Builder
	b.WriteString("ref,vin,begin,end,tech,kind,size,what\n")
	for _, r := range references {
		b.WriteString(r + ",1HGCM82633A004352,2026-10-20 09:00,2026-10-20 09:40,T. Example (invented),bullseye,12.7,repaired\n")
	}
	return []byte(b.String())
}

func (w world) send(request *jobsv1.ImportJobsRequest) *jobsv1.Import {
	w.t.Helper()
	answer, err := w.Jobs.ImportJobs(w.t.Context(), request)
	if err != nil {
		var known *errs.Error
		if errors.As(err, &known) {
			w.t.Logf("%+v", known.Fields)
		}
		w.t.Fatal(err)
	}
	return answer.GetImport()
}

// room is the room alone over the world's database, to do the work that its server leaves.
func (w world) room() *jobsrpc.Server {
	return jobsrpc.New(w.DB, nil, nil, func() time.Time { return now }, nil, 0, nil, nil, adapters.Intakes()...)
}

// advance does all the work of an import.
func (w world) advance(i *jobsv1.Import) {
	w.t.Helper()
	if err := w.room().AdvanceImport(w.t.Context(), w.Shop, i.GetImportId()); err != nil {
		w.t.Fatal(err)
	}
}

// imported sends a file, does the work and gives the whole report.
func (w world) imported(request *jobsv1.ImportJobsRequest) *jobsv1.GetImportResponse {
	w.t.Helper()
	i := w.send(request)
	w.advance(i)
	return w.report(i.GetImportId())
}

// report reads an import page by page.
func (w world) report(id string) *jobsv1.GetImportResponse {
	w.t.Helper()
	whole := &jobsv1.GetImportResponse{}
	for token := ""; ; {
		page, err := w.Jobs.GetImport(w.t.Context(), &jobsv1.GetImportRequest{ImportId: id, PageSize: 7, PageToken: token})
		if err != nil {
			w.t.Fatal(err)
		}
		whole.Import, whole.Rows = page.GetImport(), append(whole.Rows, page.GetRows()...)
		if token = page.GetNextPageToken(); token == "" {
			return whole
		}
	}
}

// outcomes gives "reference OUTCOME path REASON ..." of every row.
func outcomes(r *jobsv1.GetImportResponse) (all []string) {
	for _, row := range r.GetRows() {
		text := row.GetExternalReference() + " " + strings.TrimPrefix(row.GetOutcome().String(), "IMPORT_OUTCOME_")
		for _, f := range row.GetFaults() {
			text += " " + strings.TrimPrefix(f.GetPath(), "record.") + " " + f.GetReason()
		}
		all = append(all, text)
	}
	return all
}

// golden compares a report with its file, without what differs each time.
func golden(t *testing.T, name string, r *jobsv1.GetImportResponse) {
	t.Helper()
	r, _ = proto.Clone(r).(*jobsv1.GetImportResponse)
	r.Import.ImportId, r.Import.Mapping = "", nil
	names := map[string]string{}
	for _, row := range r.GetRows() {
		if id := row.GetJobId(); id != "" {
			if names[id] == "" {
				names[id] = "job of record " + row.GetExternalReference()
			}
			row.JobId = names[id]
		}
	}
	text, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	for id, name := range names {
		text = bytes.ReplaceAll(text, []byte(id), []byte(name))
	}
	var steady any
	if err := json.Unmarshal(text, &steady); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	encoder := json.NewEncoder(&b)
	encoder.SetIndent("", " ")
	encoder.SetEscapeHTML(false)
	if err := encoder.Encode(steady); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(imports, name+".report.json")
	if *update {
		if err := os.WriteFile(file, b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		return
	}
	if want := content(t, name+".report.json"); !bytes.Equal(want, b.Bytes()) {
		t.Errorf("the report of %s is not %s; -update rewrites it:\n%s", name, file, b.String())
	}
}
