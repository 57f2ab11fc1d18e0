package server_test

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	claimsv1 "cullet/proto/cullet/claims/v1"
	runsv1 "cullet/proto/cullet/runs/v1"
	"cullet/services/ident"
)

var orders = flag.Int("answer-orders", 100, "in how many random orders TestAnswersInAnyOrderConverge sends a payer's answers")

// answersToOne are what a payer says of one claim, some of it twice under other identifiers. The last
// decision by the payer's own time is the denial.
var answersToOne = []string{
	`"state": "ACKNOWLEDGED", "occur_time": "2026-10-20T20:00:00Z", "payer_reference": "ack"`,
	`"state": "ACKNOWLEDGED", "occur_time": "2026-10-20T20:00:00Z", "payer_reference": "ack"`,
	`"state": "INFORMATION_REQUESTED", "occur_time": "2026-10-22T20:00:00Z", "reasons": [{"code": "I-1", "text": "Which policy?"}]`,
	`"state": "REJECTED", "occur_time": "2026-10-21T08:00:00Z", "payer_reference": "first", "reasons": [{"code": "R-1", "text": "No such policy."}]`,
	`"state": "ACCEPTED", "occur_time": "2026-10-21T09:00:00Z", "payer_reference": "second"`,
	`"state": "DENIED", "occur_time": "2026-10-21T09:30:00Z", "payer_reference": "third", "reasons": [{"code": "D-1", "text": "Not covered."}]`,
	`"state": "DENIED", "occur_time": "2026-10-21T10:00:00Z", "payer_reference": "last", "reasons": [{"code": "D-2", "text": "Not covered on that day."}]`,
}

// TestAnswersInAnyOrderConverge sends the same answers about many claims, to each in another order and
// some of them twice: paid before acknowledged, acknowledged twice. All claims end alike.
func TestAnswersInAnyOrderConverge(t *testing.T) {
	t.Parallel()
	h := openCutHouse(t)
	random := rand.New(rand.NewPCG(1, 0))
	var ids []string
	for range *orders {
		ids = append(ids, h.claim(t))
	}
	for rest := ids; len(rest) > 0; rest = rest[min(len(rest), 500):] {
		answer, err := h.Claims.ReleaseClaims(t.Context(), &claimsv1.ReleaseClaimsRequest{ClaimIds: rest[:min(len(rest), 500)]})
		if err != nil || answer.GetResults()[0].GetReason() != "" {
			t.Fatal(answer, err)
		}
	}
	run, err := h.Runs.StartRun(t.Context(), &runsv1.StartRunRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if err := h.line.Advance(t.Context(), h.shop, run.GetRun().GetRunId()); err != nil {
		t.Fatal(err)
	}
	var numbers []string
	h.Select(&numbers, `SELECT 'C-' || lpad(sequence::text, 6, '0') FROM claims ORDER BY sequence`)
	mail := make([][]string, len(answersToOne)+3)
	for _, number := range numbers {
		order := random.Perm(len(answersToOne))
		for range 3 { // the same again, word for word
			order = append(order, random.IntN(len(answersToOne)))
		}
		random.Shuffle(len(order), func(i, j int) { order[i], order[j] = order[j], order[i] })
		for step, which := range order {
			mail[step] = append(mail[step], fmt.Sprintf(`{"external_id": "%s/%d", "claim_number": %q, %s}`, number, which, number, answersToOne[which]))
		}
	}
	for step, answers := range mail {
		h.post(t, fmt.Sprint("letter-", step), answers)
	}
	var ends []string
	h.Select(&ends, `SELECT state || ' ' || payer_reference || ' ' || payer_reason || ', ' || count(*) FROM claims GROUP BY state, payer_reference, payer_reason`)
	if want := fmt.Sprintf("DENIED last D-2 Not covered on that day., %d", *orders); len(ends) != 1 || ends[0] != want {
		t.Errorf("the claims ended as\n%s\nwant %s", strings.Join(ends, "\n"), want)
	}
	h.everythingIsTold(t)
}

// TestLongWordsAreKept: a payer may give more reasons than a claim has room for; the answer has its
// effect, and the message keeps all of it.
func TestLongWordsAreKept(t *testing.T) {
	t.Parallel()
	h := openCutHouse(t)
	id := h.rejected(t).GetClaimId()
	h.back = nil
	if _, err := h.Claims.ResubmitClaim(t.Context(), resubmit(h.inState(t, id, claimsv1.State_STATE_REJECTED), 0).(*claimsv1.ResubmitClaimRequest)); err != nil {
		t.Fatal(err)
	}
	run, err := h.Runs.StartRun(t.Context(), &runsv1.StartRunRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if err := h.line.Advance(t.Context(), h.shop, run.GetRun().GetRunId()); err != nil {
		t.Fatal(err)
	}
	var number string
	h.Get(&number, `SELECT 'C-' || lpad(sequence::text, 6, '0') FROM claims WHERE claim_id = $1`, id)
	reasons := make([]string, 50)
	for i := range reasons {
		reasons[i] = fmt.Sprintf(`{"code": "R-%d", "text": %q}`, i, strings.Repeat("é", 2000))
	}
	h.post(t, "long", []string{fmt.Sprintf(`{"external_id": "x", "claim_number": %q, "state": "DENIED", "occur_time": "2026-10-25T20:00:00Z",
		"reasons": [%s]}`, number, strings.Join(reasons, ","))})
	if c := h.inState(t, id, claimsv1.State_STATE_DENIED); len([]rune(c.GetPayerReason())) != 4000 {
		t.Errorf("the claim keeps %d characters, want 4000", len([]rune(c.GetPayerReason())))
	}
}

// post is a message of the payer, received and read.
func (h *cutHouse) post(t *testing.T, name string, answers []string) {
	t.Helper()
	body := `{"answers": [` + strings.Join(answers, ", ") + `]}`
	if _, err := h.line.Receive(t.Context(), h.shop, ident.Payer(h.payer), "webhook", name, nil, []byte(body)); err != nil {
		t.Fatal(err)
	}
	var message string
	h.Get(&message, `SELECT message_id FROM messages WHERE external_id = $1`, name)
	if err := h.line.Post(t.Context(), h.shop, message); err != nil {
		t.Fatal(err)
	}
}
