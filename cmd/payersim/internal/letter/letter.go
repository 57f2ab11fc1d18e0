// Package letter writes what simulated payers answer, as documents of the published schema
// cullet.answers/1, and delivers it by signed webhook or by file.
//
// What is written follows from the book alone: after a crash the same letters have the same
// identifiers and the same bytes.
package letter

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"cullet/cmd/payersim/internal/book"
	"cullet/cmd/payersim/internal/payer"
)

// answersPerLetter keeps a letter far below what receivers read.
const answersPerLetter = 50

// neverSent is what the acknowledgement UNKNOWN is about.
const neverSent = "SIM-NEVER-SENT"

// Letter is one message to the shop.
type Letter struct {
	// Key tells deliveries apart in the book.
	Key string
	// ID is the webhook-id.
	ID   string
	Body []byte
}

// answer is one answer as the published schema has it.
type answer struct {
	ExternalID     string         `json:"external_id"`
	ClaimNumber    string         `json:"claim_number,omitempty"`
	ControlNumber  int64          `json:"control_number"`
	State          string         `json:"state"`
	PayerReference string         `json:"payer_reference,omitempty"`
	OccurTime      time.Time      `json:"occur_time"`
	Reasons        []payer.Reason `json:"reasons,omitempty"`
}

// document is an answer document.
type document struct {
	Schema  string   `json:"schema"`
	Answers []answer `json:"answers"`
}

// states are what an outcome is called in an answer; a silent one has none.
var states = map[payer.Outcome]string{
	payer.Accept:   "ACCEPTED",
	payer.ShortPay: "ACCEPTED",
	payer.Reject:   "REJECTED",
	payer.Ask:      "INFORMATION_REQUESTED",
	payer.Deny:     "DENIED",
}

// Write gives the letters about a document in the order in which they leave.
func Write(d book.Document) []Letter {
	acknowledged := letters(d, "ack", acknowledge(d))
	decided := letters(d, "decision", decide(d))
	switch d.Acknowledgement {
	case payer.Twice:
		again := slices.Clone(acknowledged)
		for i := range again {
			again[i].Key += "-again"
		}
		renamed := letters(d, "ack-renamed", acknowledge(d))
		return slices.Concat(acknowledged, again, renamed, decided)
	case payer.Late:
		return slices.Concat(decided, acknowledged)
	case payer.Unknown:
		return slices.Concat(letters(d, "unknown", unknown(d)), acknowledged, decided)
	}
	return slices.Concat(acknowledged, decided)
}

func acknowledge(d book.Document) []answer {
	switch d.Acknowledgement {
	case payer.None:
		return nil
	case payer.Batch:
		return []answer{{ExternalID: fmt.Sprintf("%s-%d-ack", d.PayerCode, d.ControlNumber), ControlNumber: d.ControlNumber,
			State: "ACKNOWLEDGED", OccurTime: d.TakeTime}}
	}
	var all []answer
	for i, c := range spoken(d) {
		if d.Acknowledgement == payer.Partial && i >= (len(d.Claims)+1)/2 {
			break
		}
		all = append(all, about(d, c, "ack", "ACKNOWLEDGED", nil))
	}
	return all
}

func decide(d book.Document) []answer {
	var all []answer
	for _, c := range spoken(d) {
		reasons := c.Reasons
		if states[c.Outcome] == "ACCEPTED" {
			reasons = nil // why less is paid stands in the remittance
		}
		all = append(all, about(d, c, "decision", states[c.Outcome], reasons))
	}
	return all
}

func unknown(d book.Document) []answer {
	return []answer{about(d, book.Claim{ClaimNumber: neverSent}, "unknown", "ACKNOWLEDGED", nil)}
}

// spoken lists the claims about which the payer says anything.
func spoken(d book.Document) []book.Claim {
	var all []book.Claim
	for _, c := range d.Claims {
		if c.Outcome != payer.Silent {
			all = append(all, c)
		}
	}
	return all
}

func about(d book.Document, c book.Claim, kind, state string, reasons []payer.Reason) answer {
	number := d.ControlNumber
	if c.ClaimNumber == neverSent {
		number += 1_000_000
	}
	return answer{ExternalID: fmt.Sprintf("%s-%d-%s-%s", d.PayerCode, d.ControlNumber, c.ClaimNumber, kind),
		ClaimNumber: c.ClaimNumber, ControlNumber: number, State: state,
		PayerReference: fmt.Sprintf("SIM-%s-%s", d.PayerCode, c.ClaimNumber), OccurTime: d.TakeTime, Reasons: reasons}
}

// letters cuts answers into letters.
func letters(d book.Document, kind string, answers []answer) []Letter {
	var all []Letter
	for part := range slices.Chunk(answers, answersPerLetter) {
		key := fmt.Sprintf("%d-%s-%d", d.ControlNumber, kind, len(all))
		body, err := json.Marshal(document{Schema: "cullet.answers/1", Answers: part})
		if err != nil {
			panic(fmt.Sprintf("marshal plain values: %v", err))
		}
		sum := sha256.Sum256([]byte(d.PayerCode + "\n" + d.Hash + "\n" + key))
		all = append(all, Letter{Key: key, ID: "sim_" + hex.EncodeToString(sum[:16]), Body: body})
	}
	return all
}
