package desk

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"

	"github.com/google/uuid"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
)

// importsAddress is where a file is sent to.
const importsAddress = "/imports"

// maxFile is the largest file that the server takes, in bytes.
const maxFile = 4 << 20

func importAddress(id string) string { return importsAddress + "/" + url.PathEscape(id) }

// askForFile shows the form that brings in a file.
func askForFile(v *visit) error {
	if !v.session.mayWork() {
		return errs.New(errs.Forbidden, "READS_ONLY", "the key only reads")
	}
	return v.showFileForm(http.StatusOK, "", nil)
}

func (v *visit) showFileForm(status int, chosen string, faults []string) error {
	mappings, err := v.Jobs.ListColumnMappings(v.ctx(), &jobsv1.ListColumnMappingsRequest{PageSize: 200})
	if err != nil {
		return err
	}
	view := page.NewImport{MaxBytes: fmt.Sprintf("%d MiB", maxFile>>20), RequestID: uuid.NewString(),
		Lead: page.Lead{Strong: "Choose the file and how it is read.", Rest: "Then every row is looked at, and nothing is recorded before you have seen what would be."}}
	for _, m := range mappings.GetMappings() {
		view.Mappings = append(view.Mappings, page.Choice{Text: fmt.Sprintf("%s (%s)", m.GetName(), m.GetFormat()), Value: m.GetName(),
			IsChosen: m.GetName() == chosen})
	}
	if len(view.Mappings) == 0 {
		view.Lead = page.Lead{Strong: "No mapping is saved yet.", Rest: "It says what the columns of a shop system mean. Save one with “cullet mappings --save mapping.json”, then come back."}
	}
	if len(faults) > 0 {
		view.Notice = &page.Notice{Title: "The file was not taken"}
		for _, f := range faults {
			view.Notice.Items = append(view.Notice.Items, page.NoticeItem{Severity: "stop", Text: f, Href: "#file"})
		}
	}
	view.Head = v.head("Bring in a file", page.HereRepairs)
	return v.show(status, page.NewImportPage(view))
}

// previewFile sends a file to be looked at, and holds it until somebody has seen what would become of it.
func previewFile(v *visit) error {
	name, content, fault := sentFile(v.r)
	mapping := v.r.FormValue("mapping")
	if fault != "" {
		return v.showFileForm(http.StatusUnprocessableEntity, mapping, []string{fault})
	}
	answer, err := v.Jobs.ImportJobs(v.ctx(), &jobsv1.ImportJobsRequest{Content: content, FileName: name, MappingName: mapping,
		IsPreview: true, RequestId: v.r.FormValue("request_id")})
	var known *errs.Error
	// A mapping may have gone while the form was open.
	if errors.As(err, &known) && (known.Kind == errs.Invalid || known.Kind == errs.NotFound) {
		return v.showFileForm(http.StatusUnprocessableEntity, mapping, faults(known))
	}
	if err != nil {
		return err
	}
	id := answer.GetImport().GetImportId()
	v.files.hold(waitingFile{session: v.session, preview: id, name: name, mapping: mapping, content: content})
	http.Redirect(v.w, v.r, importAddress(id), http.StatusSeeOther)
	return nil
}

// sentFile reads the file of a form; fault says what is wrong with it.
func sentFile(r *http.Request) (name string, content []byte, fault string) {
	file, header, err := r.FormFile("file")
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &tooLarge):
		return "", nil, fmt.Sprintf("The file has more than %d MiB. Export fewer days at once, or use “cullet import”.", maxFile>>20)
	case err != nil:
		return "", nil, "No file was chosen. Choose the file that the shop system exported."
	}
	defer file.Close()
	if content, err = io.ReadAll(file); err != nil || len(content) == 0 {
		return header.Filename, nil, "The file is empty or could not be read. Choose the file that the shop system exported."
	}
	if len(content) > maxFile {
		return header.Filename, nil, fmt.Sprintf("The file has more than %d MiB. Export fewer days at once, or use “cullet import”.", maxFile>>20)
	}
	return header.Filename, content, ""
}

// recordFile records what was previewed.
func recordFile(v *visit) error {
	preview := v.r.PathValue("id")
	f, isHeld := v.files.find(v.session, preview)
	if !isHeld {
		return v.showFileForm(http.StatusConflict, "", []string{
			"The file is no longer held here: it was previewed more than an hour ago, or recorded already. Choose it again; what is recorded already changes nothing."})
	}
	answer, err := v.Jobs.ImportJobs(v.ctx(), &jobsv1.ImportJobsRequest{Content: f.content, FileName: f.name, MappingName: f.mapping,
		RequestId: v.r.FormValue("request_id")})
	if err != nil {
		return err
	}
	v.files.drop(v.session, preview)
	return v.done(importAddress(answer.GetImport().GetImportId()), "The file is being recorded.")
}

// outcomes are what may become of a record, in the order of the page; the first is all of them.
var outcomes = []struct {
	word     string
	outcome  jobsv1.ImportOutcome
	severity string
	// words are of a row, kind of the list.
	words, kind string
	count       func(*jobsv1.Import) int32
}{
	{"", jobsv1.ImportOutcome_IMPORT_OUTCOME_UNSPECIFIED, "note", "", "All", (*jobsv1.Import).GetDoneCount},
	{"refused", jobsv1.ImportOutcome_IMPORT_OUTCOME_REFUSED, "stop", "Not taken, it has faults", "With faults", (*jobsv1.Import).GetRefusedCount},
	{"conflict", jobsv1.ImportOutcome_IMPORT_OUTCOME_CONFLICT, "caution", "Another record stands under its reference", "In conflict", (*jobsv1.Import).GetConflictCount},
	{"acceptable", jobsv1.ImportOutcome_IMPORT_OUTCOME_ACCEPTABLE, "good", "Would be recorded", "Would be recorded", (*jobsv1.Import).GetRecordedCount},
	{"recorded", jobsv1.ImportOutcome_IMPORT_OUTCOME_RECORDED, "good", "Recorded", "Recorded", (*jobsv1.Import).GetRecordedCount},
	{"known", jobsv1.ImportOutcome_IMPORT_OUTCOME_KNOWN, "note", "Recorded already, nothing changes", "Known already", (*jobsv1.Import).GetKnownCount},
}

// showImport shows how far a file is, and its report.
func showImport(v *visit) error {
	id, word := v.r.PathValue("id"), v.r.FormValue("rows")
	filter, isKnown := "", false
	for _, o := range outcomes {
		if o.word == word {
			isKnown = true
			if word != "" {
				filter = "outcome = " + strings.TrimPrefix(o.outcome.String(), "IMPORT_OUTCOME_")
			}
		}
	}
	if !isKnown {
		return errNoPage
	}
	answer, err := v.Jobs.GetImport(v.ctx(), &jobsv1.GetImportRequest{ImportId: id, PageSize: 200, PageToken: v.r.FormValue("page"), Filter: filter})
	if err != nil {
		return errGone(err)
	}
	m := answer.GetImport()
	view := page.Import{Lead: importLead(m), Waits: isUnderWay(m), Done: m.GetDoneCount(), Records: m.GetRecordCount(),
		Here: importAddress(id), Facts: importFacts(v.voice, m), Columns: m.GetUnusedColumns(), Kinds: importKinds(m, word),
		Rows: importRows(answer.GetRows()), Next: nextPage(v.r, answer.GetNextPageToken())}
	if m.GetState() == jobsv1.ImportState_IMPORT_STATE_FAILED {
		view.Notice = &page.Notice{Title: "The file could not be read to its end", Items: []page.NoticeItem{{Severity: "stop", Text: m.GetFailure()}}}
	}
	if _, isHeld := v.files.find(v.session, id); isHeld && !view.Waits && m.GetRecordedCount() > 0 && v.session.mayWork() {
		view.Record, view.RequestID = importAddress(id)+"/record", uuid.NewString()
		view.Press = "Record " + say.Count(int(m.GetRecordedCount()), "repair", "repairs")
	}
	title := "Import of "
	if m.GetIsPreview() {
		title = "Preview of "
	}
	view.Head = v.head(title+m.GetFileName(), page.HereRepairs)
	return v.show(http.StatusOK, page.ImportPage(view))
}

func isUnderWay(m *jobsv1.Import) bool {
	return m.GetState() == jobsv1.ImportState_IMPORT_STATE_RECEIVED || m.GetState() == jobsv1.ImportState_IMPORT_STATE_RUNNING
}
