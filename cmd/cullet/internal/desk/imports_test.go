package desk_test

import (
	"bytes"
	"fmt"
	"mime/multipart"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"cullet/adapters"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/access"
	"cullet/services/jobs/jobsrpc"
	"cullet/services/server"
	"cullet/services/server/servertest"
)

// openForFiles is a desk whose server reads files, with a saved mapping "invented-system".
func openForFiles(t *testing.T) *house {
	t.Helper()
	h := openBefore(t, servertest.Start(t, servertest.Options{IsWithoutWorkers: true, Outside: server.Outside{Intakes: adapters.Intakes()}}))
	m := &jobsv1.ColumnMapping{Name: "invented-system", Format: "csv", TimeZone: "America/New_York"}
	for _, c := range [][2]string{{"external_reference", "ref"}, {"vehicle.vin", "vin"}, {"start_time", "begin"}, {"finish_time", "end"},
		{"technician", "tech"}, {"damages.#.kind", "kind"}, {"damages.#.spread_mm", "size"}, {"damages.#.outcome", "what"}} {
		m.Columns = append(m.Columns, &jobsv1.ColumnBinding{Field: c[0], Column: c[1]})
	}
	if _, err := h.Jobs.SaveColumnMapping(t.Context(), &jobsv1.SaveColumnMappingRequest{Mapping: m}); err != nil {
		t.Fatal(err)
	}
	return h
}

const rowHead = "ref,vin,begin,end,tech,kind,size,what,extra\n"

func goodRow(ref string) string {
	return ref + ",1HGCM82633A004352,2026-10-20 09:00,2026-10-20 09:40,T. Example (invented),bullseye,12.7,repaired,x\n"
}

// bring sends a file by the form; a nil content chooses none.
func (h *house) bring(mapping string, content []byte) (*http.Response, string) {
	h.t.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	_ = form.WriteField("mapping", mapping)
	_ = form.WriteField("request_id", fmt.Sprintf("file-%d", len(content)))
	if content != nil {
		part, err := form.CreateFormFile("file", "week 47 <b>.csv")
		if err != nil {
			h.t.Fatal(err)
		}
		_, _ = part.Write(content)
	}
	if err := form.Close(); err != nil {
		h.t.Fatal(err)
	}
	return h.sendBody(http.MethodPost, "/imports", &body, form.FormDataContentType())
}

// work does what a worker of the server does with an import.
func (h *house) work(address string) {
	h.t.Helper()
	room := jobsrpc.New(h.DB, nil, nil, time.Now, nil, 0, nil, nil, adapters.Intakes()...)
	if err := room.AdvanceImport(h.t.Context(), h.Shop, strings.TrimPrefix(address, "/imports/")); err != nil {
		h.t.Fatal(err)
	}
}

func (h *house) page(path string, says ...string) string {
	h.t.Helper()
	response, text := h.send(http.MethodGet, path, nil)
	if response.StatusCode != http.StatusOK {
		h.t.Fatalf("GET %s: %d", path, response.StatusCode)
	}
	for _, want := range says {
		if !strings.Contains(text, want) {
			h.t.Errorf("GET %s does not say %q", path, want)
		}
	}
	return text
}

var recordPress = regexp.MustCompile(`action="(/imports/[^"]+/record)"[\s\S]*?name="request_id" value="([^"]+)"`)

// TestAFileIsPreviewedThenRecorded goes the whole way of a clerk: choose, look at every problem by row,
// record what is right, look at it.
func TestAFileIsPreviewedThenRecorded(t *testing.T) {
	t.Parallel()
	h := openForFiles(t)
	h.signIn(h.OwnerKey)
	h.page("/repairs", "No repair is recorded yet", `href="/imports/new"`)
	h.page("/imports/new", `value="invented-system"`, "multipart/form-data", "4 MiB")
	bad := "W-3,1HGCM82633A00435,2026-10-20 09:00,2026-10-20 08:40,,bullseye,12.7.1,repaired,x\n"
	file := []byte(rowHead + goodRow("W-1") + goodRow("W-2") + bad)

	response, _ := h.bring("invented-system", file)
	preview := response.Header.Get("Location")
	if response.StatusCode != http.StatusSeeOther || !strings.HasPrefix(preview, "/imports/") {
		t.Fatalf("the file: %d to %q", response.StatusCode, preview)
	}
	if text := h.page(preview, "0 of 3 records", "Look again", "<progress"); recordPress.MatchString(text) {
		t.Error("it may be recorded before the preview is done")
	}
	h.work(preview)
	text := h.page(preview, "2 records of 3 would be recorded.", "1 has faults.", "Nothing is recorded by a preview.",
		"Would be recorded", "line 4", "W-3", "<b>size</b>", "<q>12.7.1</q>", "<b>vin</b>", "<b>tech</b>", "Record 2 repairs",
		"week 47 &lt;b&gt;.csv", "<li>extra</li>", "With faults (1)</a>")
	if h.Count("jobs") != 0 {
		t.Fatal("the preview recorded something")
	}
	only := h.page(preview+"?rows=refused", "W-3")
	if strings.Contains(only, "W-1") {
		t.Error("the rows with faults hold one without")
	}
	press := recordPress.FindStringSubmatch(text)
	if press == nil {
		t.Fatal("no button records it")
	}
	response, _ = h.send(http.MethodPost, press[1], url.Values{"request_id": {press[2]}})
	done := response.Header.Get("Location")
	if response.StatusCode != http.StatusSeeOther || done == preview {
		t.Fatalf("record: %d to %q", response.StatusCode, done)
	}
	h.work(done)
	text = h.page(done, "2 records were recorded of 3.", "W-1", "Import of week 47")
	if h.Count("jobs") != 2 {
		t.Errorf("%d jobs, want 2", h.Count("jobs"))
	}
	link := regexp.MustCompile(`/repairs/[0-9a-f-]+`).FindString(text)
	h.page(link, "Repair W-1", "Version 1", "bullseye", "Accord, model year 2003, by public vPIC data of 2026-03-12")
	h.page("/repairs", "2 repairs,", "W-2", "Preview of week 47")
	// The file was recorded, so it is held no longer, and the press once more does nothing.
	response, text = h.send(http.MethodPost, press[1], url.Values{"request_id": {press[2]}})
	if response.StatusCode != http.StatusConflict || !strings.Contains(text, "no longer held here") {
		t.Errorf("record again: %d", response.StatusCode)
	}
	response, _ = h.bring("invented-system", file[:len(file)-len(bad)])
	again := response.Header.Get("Location")
	h.work(again)
	if text := h.page(again, "0 records of 2 would be recorded.", "2 are known already."); recordPress.MatchString(text) {
		t.Error("a file with nothing new may be recorded")
	}
}

// TestFilesThatAreNotTaken: the form comes back with what is wrong and how to mend it.
func TestFilesThatAreNotTaken(t *testing.T) {
	t.Parallel()
	h := openForFiles(t)
	h.signIn(h.OwnerKey)
	for _, c := range []struct {
		name, mapping string
		content       []byte
		says          string
	}{
		{"none chosen", "invented-system", nil, "No file was chosen"},
		{"empty", "invented-system", []byte{}, "empty"},
		{"too large", "invented-system", bytes.Repeat([]byte("x"), 4<<20+1), "more than 4 MiB"},
		{"far too large", "invented-system", bytes.Repeat([]byte("x"), 6<<20), "more than 4 MiB"},
		{"an unknown mapping", "no-such", []byte(rowHead + goodRow("W-1")), "no-such"},
		{"other columns", "invented-system", []byte("a,b\n1,2\n"), "ref"},
	} {
		response, text := h.bring(c.mapping, c.content)
		if response.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(text, c.says) || !strings.Contains(text, "The file was not taken") {
			t.Errorf("%s: %d, want 422 and %q", c.name, response.StatusCode, c.says)
		}
	}
	if h.Count("imports") != 0 {
		t.Errorf("%d imports are stored", h.Count("imports"))
	}
}

// TestAPreviewedFileIsItsSessions: neither another session nor a later hour can record it.
func TestAPreviewedFileIsItsSessions(t *testing.T) {
	t.Parallel()
	h := openForFiles(t)
	h.signIn(h.OwnerKey)
	response, _ := h.bring("invented-system", []byte(rowHead+goodRow("W-1")))
	preview := response.Header.Get("Location")
	h.work(preview)
	mine := h.browser.Jar
	h.signIn(h.Key(access.Clerk))
	if text := h.page(preview); recordPress.MatchString(text) {
		t.Error("another session is offered the file")
	}
	if response, _ := h.send(http.MethodPost, preview+"/record", url.Values{"request_id": {"other"}}); response.StatusCode != http.StatusConflict {
		t.Errorf("another session records it: %d", response.StatusCode)
	}
	h.browser.Jar = mine
	h.ahead.Store(int64(61 * time.Minute))
	h.signIn(h.OwnerKey)
	if response, _ := h.send(http.MethodPost, preview+"/record", url.Values{"request_id": {"late"}}); response.StatusCode != http.StatusConflict {
		t.Errorf("after an hour it is recorded: %d", response.StatusCode)
	}
	h.signIn(h.Key(access.Reader))
	if response, _ := h.send(http.MethodGet, "/imports/new", nil); response.StatusCode != http.StatusForbidden {
		t.Errorf("a reader is asked for a file: %d", response.StatusCode)
	}
	if h.Count("jobs") != 0 {
		t.Error("it was recorded")
	}
}
