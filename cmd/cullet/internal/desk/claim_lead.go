package desk

import (
	"fmt"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	claimsv1 "cullet/proto/cullet/claims/v1"
	findingsv1 "cullet/proto/cullet/findings/v1"
)

// claimLead says where a claim stands and what to do first.
func claimLead(v *say.Voice, c *claimsv1.Claim) page.Lead {
	lead := standing(v, c)
	if c.GetHold() != nil {
		lead = page.Lead{Strong: "Held" + untilWords(v, c.GetHold().GetUntilDate()) + ":",
			Rest: say.Sentence(c.GetHold().GetReason()) + " Lift the hold when it may go on."}
	}
	also := fmt.Sprintf("Repaired on %s.", v.Day(c.GetRepairDate()))
	if left, ok := v.DaysLeft(c.GetFilingDeadline()); ok && isEditable(c.GetState()) {
		if left >= 0 {
			also = fmt.Sprintf("The payer takes it until %s: %s. ", v.Day(c.GetFilingDeadline()), termWords(untilFiled, left)) + also
		} else {
			also = fmt.Sprintf("The payer took it until %s: %s. ", v.Day(c.GetFilingDeadline()), termWords(untilFiled, left)) + also
		}
	}
	lead.Also = also
	return lead
}

func untilWords(v *say.Voice, date string) string {
	if date == "" {
		return ""
	}
	return " until " + v.Day(date)
}

func standing(v *say.Voice, c *claimsv1.Claim) page.Lead {
	asked := v.Sum(c.GetPayerShare())
	switch c.GetState() {
	case claimsv1.State_STATE_DRAFT:
		return draftLead(asked, c)
	case claimsv1.State_STATE_READY:
		return page.Lead{Strong: "Nothing stops this claim.", Rest: fmt.Sprintf("Review it, release it, and %s leaves with the next run.", asked)}
	case claimsv1.State_STATE_RELEASED:
		return page.Lead{Strong: fmt.Sprintf("Released on %s.", c.GetInvoiceNumber()), Rest: fmt.Sprintf("%s leaves with the next run.", asked)}
	case claimsv1.State_STATE_SUBMITTED, claimsv1.State_STATE_ACKNOWLEDGED:
		return waitingLead(v, c)
	case claimsv1.State_STATE_ACCEPTED:
		return acceptedLead(v, c)
	case claimsv1.State_STATE_REJECTED:
		return page.Lead{Strong: "The payer could not take it:", Rest: reasonWords(c) + " Correct it and send it again."}
	case claimsv1.State_STATE_INFORMATION_REQUESTED:
		return page.Lead{Strong: "The payer asks for more:", Rest: reasonWords(c) + " Answer, and send it again."}
	case claimsv1.State_STATE_DENIED:
		return page.Lead{Strong: "The payer will not pay:", Rest: reasonWords(c) + " Dispute it with them, or bill the motorist."}
	}
	return page.Lead{Strong: "Taken back.", Rest: "Nothing is asked of the payer."}
}

func draftLead(asked string, c *claimsv1.Claim) page.Lead {
	stops := 0
	fix := ""
	for _, f := range c.GetFindings() {
		if f.GetSeverity() == findingsv1.Severity_SEVERITY_STOP {
			stops++
			fix = f.GetFix()
		}
	}
	lead := page.Lead{Strong: fmt.Sprintf("%s things stop this claim.", say.Capital(say.Number(stops))), Rest: "Mend them"}
	if stops == 1 {
		lead = page.Lead{Strong: "One thing stops this claim.", Rest: say.Sentence(fix) + " Then"}
	}
	if c.GetPayerShare().GetMinorUnits() == 0 {
		lead.Rest += " it can be priced and leave."
	} else if stops == 1 {
		lead.Rest += fmt.Sprintf(" %s can leave.", asked)
	} else {
		lead.Rest += fmt.Sprintf(", and %s can leave.", asked)
	}
	return lead
}

func waitingLead(v *say.Voice, c *claimsv1.Claim) page.Lead {
	lead := page.Lead{Strong: say.Sentence("Sent " + v.Moment(c.GetSubmitTime()))}
	if c.GetState() == claimsv1.State_STATE_ACKNOWLEDGED {
		lead.Strong = "The payer has it."
	}
	due := v.DayOf(c.GetAnswerDueTime())
	left, ok := v.DaysLeft(due)
	switch {
	case !ok:
		lead.Rest = "It has not answered yet."
	case left < 0:
		lead.Rest = fmt.Sprintf("An answer was owed until %s. Call and ask where the claim is.", v.Day(due))
	default:
		lead.Rest = fmt.Sprintf("An answer is owed until %s.", v.Day(due))
	}
	return lead
}

func acceptedLead(v *say.Voice, c *claimsv1.Claim) page.Lead {
	lead := page.Lead{Strong: "The payer accepts it."}
	open, share := c.GetOpen().GetMinorUnits(), c.GetPayerShare().GetMinorUnits()
	switch {
	case c.GetOpen() == nil || open == share:
		lead.Rest = fmt.Sprintf("%s is still to come.", v.Sum(c.GetPayerShare()))
	case open == 0:
		lead.Rest = fmt.Sprintf("%s came; nothing is left to do.", v.Sum(c.GetPayerShare()))
	default:
		lead.Rest = fmt.Sprintf("%s of %s is still open.", v.Sum(c.GetOpen()), v.Sum(c.GetPayerShare()))
	}
	return lead
}

func reasonWords(c *claimsv1.Claim) string {
	if c.GetPayerReason() == "" {
		return "no reason was given."
	}
	return say.Sentence(c.GetPayerReason())
}

// order are the six steps of a claim's life.
var order = []claimsv1.State{claimsv1.State_STATE_DRAFT, claimsv1.State_STATE_READY, claimsv1.State_STATE_RELEASED,
	claimsv1.State_STATE_SUBMITTED, claimsv1.State_STATE_ACKNOWLEDGED, claimsv1.State_STATE_ACCEPTED}

// steps places a claim on the six. What stands aside of them (rejected, denied, taken back) stands
// as the words of the step that it left the way at.
func steps(c *claimsv1.Claim) []page.Step {
	at, words, hand := 0, say.Upper(c.GetState().String(), "STATE_"), c.GetState() == claimsv1.State_STATE_DRAFT
	switch c.GetState() {
	case claimsv1.State_STATE_REJECTED, claimsv1.State_STATE_INFORMATION_REQUESTED, claimsv1.State_STATE_DENIED:
		at, hand = 5, true
	case claimsv1.State_STATE_WITHDRAWN:
		if c.GetInvoiceId() != "" {
			at = 2
		}
		words = "Taken back"
	default:
		for i, s := range order {
			if s == c.GetState() {
				at = i
			}
		}
	}
	all := make([]page.Step, len(order))
	for i, s := range order {
		all[i] = page.Step{Words: say.Upper(s.String(), "STATE_"), IsPast: i < at, IsNow: i == at, NeedsHand: i == at && hand}
	}
	all[at].Words = words
	if c.GetHold() != nil {
		all[at].Words += ", held"
		all[at].NeedsHand = true
	}
	return all
}
