package claims

import (
	"cullet/services/ident"
	"cullet/services/money"
)

// TaskReason is why something needs a person.
type TaskReason string

// The reasons, in the order in which they are shown.
const (
	TaskStopped              TaskReason = "STOPPED"
	TaskRejected             TaskReason = "REJECTED"
	TaskInformationRequested TaskReason = "INFORMATION_REQUESTED"
	TaskDenied               TaskReason = "DENIED"
	TaskAnswerOverdue        TaskReason = "ANSWER_OVERDUE"
	TaskShortPaid            TaskReason = "SHORT_PAID"
	TaskUnmatchedMoney       TaskReason = "UNMATCHED_MONEY"
	TaskUnknownAnswer        TaskReason = "UNKNOWN_ANSWER"
	TaskEndpointDisabled     TaskReason = "ENDPOINT_DISABLED"
	TaskHeld                 TaskReason = "HELD"
	TaskReadyToRelease       TaskReason = "READY_TO_RELEASE"
)

// TaskReasons lists every reason.
func TaskReasons() []TaskReason {
	return []TaskReason{TaskStopped, TaskRejected, TaskInformationRequested, TaskDenied, TaskAnswerOverdue,
		TaskShortPaid, TaskUnmatchedMoney, TaskUnknownAnswer, TaskEndpointDisabled, TaskHeld, TaskReadyToRelease}
}

// Task is what a person must do. Tasks are not stored: they follow from how things stand, so
// none is ever forgotten and none outlives its reason.
type Task struct {
	Reason TaskReason
	// Key is unique among the tasks of the shop while it lasts.
	Key          string
	Claim        ident.Claim
	ClaimNumber  string
	Remittance   ident.Remittance
	Message      ident.Message
	PayerName    string
	MotoristName string
	Amount       money.Amount
	// DueDate is a civil day; empty when nothing runs out.
	DueDate   string
	Telephone string
	Hours     string
	// Words are what the sentence is made of: the payer's reason, the first stop, the hold.
	Words string
}

// Sentence says what is the matter and what to do.
func (t Task) Sentence() string {
	switch t.Reason {
	case TaskStopped:
		return t.Words
	case TaskRejected:
		return "The payer could not take it: " + words(t.Words) + " Correct it and send it again."
	case TaskInformationRequested:
		return "The payer asks: " + words(t.Words) + " Answer and send it again."
	case TaskDenied:
		return "The payer will not pay: " + words(t.Words) + " Dispute it, or bill the motorist."
	case TaskAnswerOverdue:
		return "The payer has not answered in the time it has. Call and ask where the claim is."
	case TaskShortPaid:
		return "The payer paid less: " + words(t.Words) + " Dispute it, bill the motorist, or write it off with a reason."
	case TaskUnmatchedMoney:
		return "Money came that has no place yet: " + words(t.Words) + " Put it on an invoice."
	case TaskUnknownAnswer:
		return "A message could not be placed: " + words(t.Words) + " Look at it."
	case TaskEndpointDisabled:
		return "Nobody hears of the claims at " + words(t.Words) + " Have it mended, make it active, then replay what it missed."
	case TaskHeld:
		return "Held: " + words(t.Words) + " Look again, then lift the hold or set another day."
	}
	return "Ready. Release it, and it leaves with the next run."
}

func words(text string) string {
	if text == "" {
		return "no reason was given."
	}
	if last := text[len(text)-1]; last != '.' && last != '!' && last != '?' && last != ')' {
		return text + "."
	}
	return text
}

// TaskGroup is how many tasks of one reason there are, and what is at stake in them.
type TaskGroup struct {
	Reason TaskReason `db:"reason"`
	Count  int        `db:"task_count"`
	Minor  int64      `db:"minor_units"`
}
