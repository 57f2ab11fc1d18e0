package server_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"cullet/services/ident"

	claimsv1 "cullet/proto/cullet/claims/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	runsv1 "cullet/proto/cullet/runs/v1"
)

// x12House is a house whose insurer takes X12 in a folder.
func x12House(t *testing.T) *cutHouse {
	t.Helper()
	h := openCutHouse(t)
	payer, err := h.Payers.GetPayer(t.Context(), &payersv1.GetPayerRequest{PayerId: h.payer})
	if err != nil {
		t.Fatal(err)
	}
	profile := payer.GetPayer().GetProfile()
	profile.Format, profile.X12 = "x12", &payersv1.X12Settings{Version: "005010", SenderId: "SHOPDEMO", ReceiverId: "PAYERDEMO"}
	if _, err := h.Payers.UpdatePayerProfile(t.Context(), &payersv1.UpdatePayerProfileRequest{PayerId: h.payer,
		Profile: profile, Etag: payer.GetPayer().GetEtag()}); err != nil {
		t.Fatal(err)
	}
	return h
}

// sent releases and sends n claims in one batch, and gives them in the order of the document.
func (h *cutHouse) sent(t *testing.T, n int) (ids []string, controlNumber int64) {
	t.Helper()
	request := &claimsv1.ReleaseClaimsRequest{}
	for range n {
		request.ClaimIds = append(request.ClaimIds, h.claim(t))
	}
	answer, err := h.Claims.ReleaseClaims(t.Context(), request)
	if err != nil {
		t.Fatal(err)
	}
	for _, result := range answer.GetResults() {
		if result.GetReason() != "" {
			t.Fatal(result.GetReason())
		}
	}
	run, err := h.Runs.StartRun(t.Context(), &runsv1.StartRunRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if err := h.line.Advance(t.Context(), h.shop, run.GetRun().GetRunId()); err != nil {
		t.Fatal(err)
	}
	h.Get(&controlNumber, `SELECT max(control_number) FROM batches WHERE payer_id = $1`, h.payer)
	var members string
	h.Get(&members, `SELECT array_to_string(claim_ids, ' ') FROM batches WHERE payer_id = $1 AND control_number = $2`, h.payer, controlNumber)
	return strings.Fields(members), controlNumber
}

// says posts an answer of the payer and gives what was made of it.
func (h *cutHouse) says(t *testing.T, groupType, set string, segments ...string) (state, sentence string) {
	t.Helper()
	n := h.next()
	text := fmt.Sprintf("ISA*00*          *00*          *ZZ*PAYERDEMO      *ZZ*SHOPDEMO       *261021*0415*^*00501*%09d*0*P*>~", n)
	groups := 0
	if set == "TA1" {
		text += strings.Join(segments, "~") + "~"
	} else {
		groups = 1
		text += fmt.Sprintf("GS*%s*PAYERDEMO*SHOPDEMO*20261021*041530*%d*X*005010~ST*%s*0001~%s~SE*%d*0001~GE*1*%d~", groupType, n, set,
			strings.Join(segments, "~"), len(segments)+2, n)
	}
	text += fmt.Sprintf("IEA*%d*%09d~", groups, n)
	name := fmt.Sprint("answer-", n)
	if _, err := h.line.Receive(t.Context(), h.shop, ident.Payer(h.payer), "webhook", name, nil, []byte(text)); err != nil {
		t.Fatal(err)
	}
	var message string
	h.Get(&message, `SELECT message_id FROM messages WHERE external_id = $1`, name)
	for range 2 { // the work queue may do it again
		if err := h.line.Post(t.Context(), h.shop, message); err != nil {
			t.Fatal(err)
		}
	}
	h.Get(&state, `SELECT state FROM messages WHERE message_id = $1`, message)
	h.Get(&sentence, `SELECT sentence FROM messages WHERE message_id = $1`, message)
	return state, sentence
}

// TestAnswersToABatch: what a payer says of a control number is said of every claim that left under
// it, or of the one at the place that it names; an 824 stands over the acknowledgement before it.
func TestAnswersToABatch(t *testing.T) {
	t.Parallel()
	h := x12House(t)
	ids, number := h.sent(t, 3)
	document, err := filepath.Glob(filepath.Join(h.folders, "lantern-mutual", "*", "*.edi"))
	if err != nil || len(document) != 1 {
		t.Fatalf("the folder has %v, %v; want one document", document, err)
	}
	text, err := os.ReadFile(document[0])
	if err != nil || strings.Count(string(text), "~ST*810*") != 3 {
		t.Fatalf("the document is %s, %v", text, err)
	}

	if state, sentence := h.says(t, "FA", "999", fmt.Sprintf("AK1*IN*%d*005010", number+1), "AK9*A*3*3*3"); state != "UNKNOWN_CLAIM" {
		t.Errorf("of a control number that never was: got %s, %q", state, sentence)
	}
	for _, id := range ids {
		h.inState(t, id, claimsv1.State_STATE_SUBMITTED)
	}
	state, sentence := h.says(t, "FA", "999", fmt.Sprintf("AK1*IN*%d*005010", number), "AK2*810*0002*005010", "IK3*REF*5**8", "IK5*R*5", "AK9*P*3*3*2")
	if state != "POSTED" {
		t.Errorf("a 999 about the batch: got %s, %q", state, sentence)
	}
	h.inState(t, ids[0], claimsv1.State_STATE_ACKNOWLEDGED)
	h.inState(t, ids[2], claimsv1.State_STATE_ACKNOWLEDGED)
	rejected := h.inState(t, ids[1], claimsv1.State_STATE_REJECTED)
	if !strings.Contains(rejected.GetPayerReason(), "segment REF") {
		t.Errorf("the second claim is rejected for %q", rejected.GetPayerReason())
	}
	// An 824 may name the invoice, or group and set.
	var invoice string
	h.Get(&invoice, `SELECT i.number FROM claims c JOIN invoices i ON i.invoice_id = c.invoice_id WHERE c.claim_id = $1`, ids[0])
	state, sentence = h.says(t, "AG", "824", "BGN*11*D-1*20261022*0900", "OTI*TA*IV*"+invoice,
		fmt.Sprintf("OTI*TR*ZZ*X*****%d*0003*810", number), "TED*024*POLICY NOT IN FORCE", "OTI*TA*IV*INV-999999")
	if state != "UNKNOWN_CLAIM" || !strings.Contains(sentence, "INV-999999") {
		t.Errorf("an 824 of three, of which one is unknown: got %s, %q", state, sentence)
	}
	h.inState(t, ids[0], claimsv1.State_STATE_ACCEPTED)
	if c := h.inState(t, ids[2], claimsv1.State_STATE_REJECTED); c.GetPayerReason() != "024 POLICY NOT IN FORCE" {
		t.Errorf("the third claim is rejected for %q", c.GetPayerReason())
	}
}

// TestTA1 refuses an envelope, and says that it came before: then nothing is known about claims unless
// an earlier try can have arrived, and never does a claim leave under another number.
func TestTA1(t *testing.T) {
	t.Parallel()
	h := x12House(t)
	ids, number := h.sent(t, 2)
	if state, sentence := h.says(t, "", "TA1", fmt.Sprintf("TA1*%09d*261021*0130*R*025", number)); state != "UNKNOWN_CLAIM" ||
		!strings.Contains(sentence, "under another number") {
		t.Errorf("a duplicate of what was sent once: got %s, %q", state, sentence)
	}
	for _, id := range ids {
		h.inState(t, id, claimsv1.State_STATE_SUBMITTED)
	}
	h.Exec(`UPDATE batches SET attempt_count = 2 WHERE control_number = $1`, number)
	if state, sentence := h.says(t, "", "TA1", fmt.Sprintf("TA1*%09d*261021*0130*R*025", number)); state != "POSTED" {
		t.Errorf("a duplicate of what was sent twice: got %s, %q", state, sentence)
	}
	for _, id := range ids {
		h.inState(t, id, claimsv1.State_STATE_ACKNOWLEDGED)
	}
	ids, number = h.sent(t, 2)
	if state, sentence := h.says(t, "", "TA1", fmt.Sprintf("TA1*%09d*261021*0130*R*006", number)); state != "POSTED" {
		t.Errorf("a refused envelope: got %s, %q", state, sentence)
	}
	for _, id := range ids {
		if c := h.inState(t, id, claimsv1.State_STATE_REJECTED); !strings.Contains(c.GetPayerReason(), "the sender is not known") {
			t.Errorf("rejected for %q", c.GetPayerReason())
		}
	}
}

// TestFormatStopsAClaim: what the payer's file cannot carry stops the one claim, before release.
func TestFormatStopsAClaim(t *testing.T) {
	t.Parallel()
	h := x12House(t)
	record := h.record(t, true)
	record.Vehicle.Plate = "ÄBC 1"
	c := h.previewed(t, record)
	if len(c.GetFindings()) == 0 || c.GetFindings()[0].GetCode() != "PAYER-FORMAT" || c.GetFindings()[0].GetPath() != "job.vehicle.plate" {
		t.Errorf("got %v, want PAYER-FORMAT at job.vehicle.plate", c.GetFindings())
	}
}

func (h *cutHouse) previewed(t *testing.T, record *jobsv1.RepairRecord) *claimsv1.Claim {
	t.Helper()
	answer, err := h.Claims.PreviewClaim(t.Context(), &claimsv1.PreviewClaimRequest{Record: record})
	if err != nil {
		t.Fatal(err)
	}
	return answer.GetClaim()
}
