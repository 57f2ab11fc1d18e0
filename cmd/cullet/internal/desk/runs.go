package desk

import (
	"fmt"
	"mime"
	"net/http"
	"net/url"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	moneyv1 "cullet/proto/cullet/money/v1"
	runsv1 "cullet/proto/cullet/runs/v1"
)

func runAddress(id string) string { return "/runs/" + url.PathEscape(id) }

// runSentence says how a run went.
func runSentence(v *say.Voice, run *runsv1.Run) string {
	left := fmt.Sprintf("%s left the house, for %s.", say.Count(int(run.GetSentCount()), "claim", "claims"), v.Sum(run.GetSentTotal()))
	if run.GetSentCount() == 0 {
		left = "No claim was waiting to leave."
	}
	switch run.GetState() {
	case runsv1.RunState_RUN_STATE_RUNNING:
		return left + " " + say.Sentence("Under way since "+v.Moment(run.GetStartTime()))
	case runsv1.RunState_RUN_STATE_INCOMPLETE:
		return left + " " + say.Sentence("Ended "+v.Moment(run.GetFinishTime())) + " Some batches wait for their payer and are tried again."
	}
	return left + " " + say.Sentence("Finished "+v.Moment(run.GetFinishTime()))
}

// batchWords is the state of a batch in words.
func batchWords(b *runsv1.Batch) string {
	switch b.GetState() {
	case "SENT":
		return "sent"
	case "BUILT":
		return "built, not sent yet"
	case "FAILED":
		return "could not be sent"
	}
	return say.Lower(b.GetState(), "")
}

// sumOf adds up the batches; they are all in the shop's currency.
func sumOf(v *say.Voice, batches []*runsv1.Batch) *moneyv1.Money {
	total := int64(0)
	for _, b := range batches {
		total += b.GetTotal().GetMinorUnits()
	}
	return v.Money(total)
}

func listRuns(v *visit) error {
	answer, err := v.Runs.ListRuns(v.ctx(), &runsv1.ListRunsRequest{PageSize: 50, PageToken: v.r.FormValue("page")})
	if err != nil {
		return err
	}
	view := page.Runs{Runs: answer.GetRuns(), Next: nextPage(v.r, answer.GetNextPageToken()),
		Lead: page.Lead{Strong: "No run has left the house yet.", Rest: "The server starts one each night; “cullet submit” starts one at once."}}
	if len(view.Runs) > 0 {
		view.Lead = page.Lead{Strong: "The last run:", Rest: runSentence(v.voice, view.Runs[0])}
	}
	view.Head = v.head("Runs", page.HereRuns)
	return v.show(http.StatusOK, page.RunsPage(view))
}

func showRun(v *visit) error {
	answer, err := v.Runs.GetRun(v.ctx(), &runsv1.GetRunRequest{RunId: v.r.PathValue("id")})
	if err != nil {
		return errGone(err)
	}
	run := answer.GetRun()
	view := page.Run{Run: run, Lead: page.Lead{Strong: runSentence(v.voice, run)}, Total: sumOf(v.voice, run.GetBatches())}
	for _, b := range run.GetBatches() {
		view.Claims += int(b.GetClaimCount())
		view.States = append(view.States, batchWords(b))
	}
	view.Head = v.head("Run of "+v.voice.Day(run.GetBusinessDate()), page.HereRuns)
	return v.show(http.StatusOK, page.RunPage(view))
}

// saveBatch gives the very bytes that left, to be saved and not shown.
func saveBatch(v *visit) error {
	id := v.r.PathValue("id")
	answer, err := v.Runs.GetBatchDocument(v.ctx(), &runsv1.GetBatchDocumentRequest{BatchId: id})
	if err != nil {
		return errGone(err)
	}
	mediaType, ending := answer.GetMediaType(), ".txt"
	if mediaType == "application/json" {
		ending = ".json"
	}
	h := v.w.Header()
	h.Set("Content-Security-Policy", policyOfData)
	h.Set("Content-Type", mediaType)
	h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": "batch-" + id + ending}))
	_, _ = v.w.Write(answer.GetContent()) // whoever went away is not told
	return nil
}

// messageOf shows a message of a payer.
func messageOf(v *say.Voice, m *runsv1.Message) page.Message {
	shown := page.Message{ID: "m-" + m.GetMessageId(), Payer: m.GetPayerName(), Sentence: m.GetSentence(), Body: m.GetBodyText(),
		Number: m.GetExternalId(), Stamp: v.Stamp(m.GetReceiveTime()), When: v.Moment(m.GetReceiveTime()), State: say.Lower(m.GetState(), "")}
	switch m.GetState() {
	case "POSTED":
		shown.Severity = "good"
	case "RECEIVED":
		shown.Severity = "note"
		if shown.Sentence == "" {
			shown.Sentence = "Received, not read yet."
		}
	default:
		shown.Severity = "caution"
	}
	return shown
}

func listMessages(v *visit) error {
	state := parseReasonWord(v.r.FormValue("state"))
	answer, err := v.Runs.ListMessages(v.ctx(), &runsv1.ListMessagesRequest{PageSize: 50, PageToken: v.r.FormValue("page"), State: state})
	if err != nil {
		return err
	}
	view := page.Messages{State: state, Next: nextPage(v.r, answer.GetNextPageToken())}
	for _, m := range answer.GetMessages() {
		view.Messages = append(view.Messages, messageOf(v.voice, m))
	}
	for _, word := range []string{"", "RECEIVED", "POSTED", "UNKNOWN_CLAIM", "REFUSED"} {
		view.States = append(view.States, page.Choice{Text: say.Capital(messageStates[word]), Value: reasonWord(word), IsChosen: word == state})
	}
	view.Lead = page.Lead{Strong: "Every message of a payer is kept as it came,", Rest: "then read once. Newest first."}
	if len(view.Messages) == 0 {
		view.Lead = page.Lead{Strong: "No message of this sort.", Rest: "What payers send is shown here as it comes."}
	}
	view.Head = v.head("Messages", page.HereMessages)
	return v.show(http.StatusOK, page.MessagesPage(view))
}

var messageStates = map[string]string{"": "all", "RECEIVED": "not read yet", "POSTED": "posted", "UNKNOWN_CLAIM": "fits no claim",
	"REFUSED": "refused"}

// nextPage is the address of what follows: the same with another page token; empty at the end.
func nextPage(r *http.Request, token string) string {
	if token == "" {
		return ""
	}
	q := r.URL.Query()
	q.Set("page", token)
	return r.URL.Path + "?" + q.Encode()
}
