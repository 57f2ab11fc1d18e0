package claimsrpc

import (
	"encoding/json"
	"fmt"
	"strings"

	claimsv1 "cullet/proto/cullet/claims/v1"
	moneyv1 "cullet/proto/cullet/money/v1"
	"cullet/services/claims"
	"cullet/services/internal/outbox"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/money"
	"cullet/services/runs"
)

const statePrefix = "STATE_"

func toMoney(a money.Amount) *moneyv1.Money { return wire.ToMoney(a) }

func toState(s claims.State) claimsv1.State {
	return wire.Value[claimsv1.State](claimsv1.State_value, statePrefix, s)
}

func toClaim(c claims.Claim) *claimsv1.Claim {
	message := &claimsv1.Claim{
		ClaimId: string(c.ID), ClaimNumber: c.Number, JobId: string(c.Job), JobVersion: int32(c.JobVersion),
		PayerId: string(c.Payer), PayerName: c.PayerName, ProfileVersion: int32(c.ProfileVersion), State: toState(c.State),
		Coverage: wire.ToCoverage(c.Coverage), Findings: wire.ToFindings(c.Findings), Net: toMoney(c.Totals.Net),
		Tax: toMoney(c.Totals.Tax), Total: toMoney(c.Totals.Total), PayerShare: toMoney(c.Totals.PayerShare),
		MotoristShare: toMoney(c.Totals.MotoristShare), FilingDeadline: c.FilingDeadline, InvoiceId: string(c.Invoice),
		InvoiceNumber: c.InvoiceNumber, Version: int32(c.Version), CreateTime: wire.ToTime(c.CreateTime),
		UpdateTime: wire.ToTime(c.UpdateTime), SubmitTime: wire.ToTimeOrNil(c.SubmitTime), AnswerDueTime: wire.ToTimeOrNil(c.AnswerDue),
		PayloadHash: c.PayloadHash, PayerReference: c.PayerReference, PayerReason: c.PayerReason, Vin: c.VIN,
		RepairDate: c.RepairDate, MotoristName: c.MotoristName,
	}
	if c.Version > 0 {
		message.Etag = rpc.Etag(c.Version)
	}
	if c.Hold != nil {
		message.Hold = &claimsv1.Hold{Reason: c.Hold.Reason, UntilDate: c.Hold.UntilDate, HeldBy: c.Hold.HeldBy}
	}
	for _, l := range c.Lines {
		message.Lines = append(message.Lines, ToLine(l))
	}
	return message
}

// ToLine writes a line with every tax explained.
func ToLine(l claims.Line) *claimsv1.Line { return wire.ToLine(l) }

func toSubmission(b runs.Batch) *claimsv1.Submission {
	return &claimsv1.Submission{RunId: string(b.Run), BatchId: string(b.ID), ControlNumber: b.ControlNumber,
		State: string(b.State), SendTime: wire.ToTimeOrNil(b.SendTime), Receipt: b.LastAnswer, DocumentHash: b.Hash}
}

func toTask(t claims.Task) *claimsv1.Task {
	message := &claimsv1.Task{Reason: string(t.Reason), Sentence: t.Sentence(), ClaimId: string(t.Claim),
		ClaimNumber: t.ClaimNumber, RemittanceId: string(t.Remittance), MessageId: string(t.Message), PayerName: t.PayerName,
		MotoristName: t.MotoristName, DueDate: t.DueDate, Telephone: t.Telephone, Hours: t.Hours}
	if t.Reason == claims.TaskEndpointDisabled {
		message.EndpointId = t.Key
	}
	if t.Amount.Currency != "" {
		message.Amount = toMoney(t.Amount)
	}
	return message
}

func toTimeline(e outbox.Event) *claimsv1.TimelineEvent {
	return &claimsv1.TimelineEvent{EventId: string(e.ID), Type: e.Type, OccurTime: wire.ToTime(e.OccurTime), Actor: e.Actor,
		Sentence: sentence(e), ClaimVersion: int32(e.SubjectVersion)}
}

// told is what sentences are made of.
type told struct {
	Stops          []string `json:"stops"`
	Cautions       int      `json:"cautions"`
	InvoiceNumber  string   `json:"invoice_number"`
	ControlNumber  int64    `json:"control_number"`
	Reason         string   `json:"reason"`
	UntilDate      string   `json:"until_date"`
	Note           string   `json:"note"`
	PayerReference string   `json:"payer_reference"`
	CreditNote     string   `json:"credit_note_number"`
}

// sentence tells an event in words.
func sentence(e outbox.Event) string {
	var t told
	if err := json.Unmarshal(e.Data, &t); err != nil {
		return e.Type
	}
	because := ""
	if t.Reason != "" {
		because = ": " + t.Reason
	}
	switch e.Type {
	case "claim.opened":
		return "Opened, " + checked(t)
	case "claim.checked":
		return "Checked again, " + checked(t)
	case "claim.changed":
		return "Coverage changed and checked again, " + checked(t)
	case "claim.corrected":
		return "Corrected, " + checked(t)
	case "claim.released":
		return "Released on invoice " + t.InvoiceNumber + because
	case "claim.submitted":
		return fmt.Sprintf("Sent under control number %d", t.ControlNumber)
	case "claim.held":
		return strings.TrimSuffix(fmt.Sprintf("Held until %s%s", t.UntilDate, because), " until ")
	case "claim.resumed":
		return "The hold was lifted"
	case "claim.noted":
		return t.Note
	case "claim.withdrawn":
		return strings.TrimSpace("Withdrawn" + because + " " + t.CreditNote)
	case "claim.acknowledged":
		return "The payer has it" + reference(t)
	case "claim.accepted":
		return "The payer accepts it" + reference(t)
	case "claim.rejected":
		return "The payer could not take it" + because
	case "claim.denied":
		return "The payer will not pay" + because
	case "claim.information_requested":
		return "The payer asks for more" + because
	}
	return e.Type
}

func checked(t told) string {
	switch len(t.Stops) {
	case 0:
		return fmt.Sprintf("ready, %d cautions", t.Cautions)
	case 1:
		return "1 stop: " + t.Stops[0]
	}
	return fmt.Sprintf("%d stops: %s", len(t.Stops), strings.Join(t.Stops, ", "))
}

func reference(t told) string {
	if t.PayerReference == "" {
		return ""
	}
	return ", under its number " + t.PayerReference
}
