package desk

import (
	"fmt"
	"net/url"
	"strings"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	claimsv1 "cullet/proto/cullet/claims/v1"
)

// reason is how the desk speaks of one reason for a person.
type reason struct {
	title, note, action string
	// isCall tells that a call to the payer mends it.
	isCall bool
	// term says what a day of the task means.
	term term
}

// reasons of the contract, by its words.
var reasons = map[string]reason{
	"STOPPED":               {"Stopped before it can leave", "Mend these, and they go with the next run.", "Mend the claim", false, untilFiled},
	"REJECTED":              {"Rejected, to correct and send again", "", "Correct the claim", true, untilFiled},
	"INFORMATION_REQUESTED": {"The payer asks for more", "", "Answer the payer", true, untilFiled},
	"DENIED":                {"Denied, to dispute or to bill the motorist", "", "See the denial", true, untilFiled},
	"ANSWER_OVERDUE":        {"No answer in time", "", "See the claim", true, answerDue},
	"SHORT_PAID":            {"Paid short", "", "See what was paid", true, paymentDue},
	"UNMATCHED_MONEY":       {"Money without a place", "Money never moves by a guess: look, then place it.", "See the deposit", false, untilFiled},
	"UNKNOWN_ANSWER":        {"Messages that fit no claim", "", "Read the message", true, untilFiled},
	"ENDPOINT_DISABLED":     {"Endpoints that were disabled", "A shop system hears nothing there until somebody mends it.", "See the endpoint", false, untilFiled},
	"HELD":                  {"Held, to look at again", "", "Look again", false, lookAgain},
	readyReason:             {"Ready to leave", "Nothing stops these. Review them, and they leave with the next run.", "Review and release", false, untilFiled},
}

const readyReason = "READY_TO_RELEASE"

// reasonOfTask gives the words for a reason; one that this desk does not know yet is shown by its
// own words.
func reasonOfTask(name string) reason {
	if r, ok := reasons[name]; ok {
		return r
	}
	return reason{title: say.Upper(name, ""), action: "Look at it"}
}

// reasonWord is a reason as it stands in an address.
func reasonWord(name string) string { return strings.ReplaceAll(strings.ToLower(name), "_", "-") }

func parseReasonWord(word string) string { return strings.ReplaceAll(strings.ToUpper(word), "-", "_") }

// rowOf shows a task.
func rowOf(v *say.Voice, t *claimsv1.Task) page.Row {
	r := reasonOfTask(t.GetReason())
	row := page.Row{Name: t.GetMotoristName(), Why: t.GetSentence(), Days: daysOf(v, t.GetDueDate(), r.term),
		Money: v.Column(t.GetAmount()), Action: r.action, Href: taskAddress(t)}
	small := []string{t.GetClaimNumber(), t.GetPayerName()}
	if row.Name == "" {
		row.Name, small = t.GetPayerName(), []string{t.GetClaimNumber()}
	}
	if t.GetEndpointId() != "" {
		row.Name = "Webhook endpoint"
	}
	row.Small = strings.Join(kept(small), " · ")
	if r.isCall {
		row.Telephone, row.Hours = t.GetTelephone(), t.GetHours()
	}
	return row
}

func kept(texts []string) (all []string) {
	for _, t := range texts {
		if t != "" {
			all = append(all, t)
		}
	}
	return all
}

// taskAddress is where a task is done.
func taskAddress(t *claimsv1.Task) string {
	switch {
	case t.GetReason() == readyReason:
		return claimAddress(t.GetClaimId()) + "/release"
	case t.GetClaimId() != "":
		return claimAddress(t.GetClaimId())
	case t.GetRemittanceId() != "":
		return "/money/remittances/" + url.PathEscape(t.GetRemittanceId())
	case t.GetMessageId() != "":
		return "/messages#m-" + url.PathEscape(t.GetMessageId())
	case t.GetEndpointId() != "":
		return endpointAddress(t.GetEndpointId())
	}
	return "/"
}

func endpointAddress(id string) string { return "/deliveries/endpoints/" + url.PathEscape(id) }

func claimAddress(id string) string { return "/claims/" + url.PathEscape(id) }

// term is what a day means.
type term int

const (
	untilFiled term = iota
	answerDue
	paymentDue
	lookAgain
)

// rulerDays and rulerLong are the days of the ruler and its length in units of the drawing; near
// is when a term is near.
const (
	rulerDays = 30
	rulerLong = 104
	near      = 4
)

// daysOf says what is left of a term.
func daysOf(v *say.Voice, date string, means term) page.Days {
	left, ok := v.DaysLeft(date)
	if !ok {
		return page.Days{}
	}
	d := page.Days{Words: termWords(means, left), IsNear: left <= near && means != lookAgain}
	if means == untilFiled || means == lookAgain {
		filled := float64(max(0, min(left, rulerDays))) * rulerLong / rulerDays
		d.Width = strings.TrimSuffix(fmt.Sprintf("%.1f", filled), ".0")
	}
	return d
}

func termWords(means term, left int) string {
	days := say.Count(max(left, -left), "day", "days")
	switch {
	case means == lookAgain && left <= 0:
		return "look again today"
	case means == lookAgain:
		return "look again in " + days
	case means != untilFiled && left < 0:
		return "due " + days + " ago"
	case means != untilFiled && left == 0:
		return "due today"
	case means != untilFiled:
		return "due in " + days
	case left < 0:
		return days + " over"
	case left == 0:
		return "last day today"
	}
	return days + " left"
}
