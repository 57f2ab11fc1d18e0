package page

// Today is the worklist with what stands beside it.
type Today struct {
	Head
	Lead   Lead
	Groups []Group
	// Next leads on, when one reason is shown and has more.
	Next string
	// Back leads to the whole list, when one reason is shown.
	Back bool
	Run  *LastRun
	// Came are the latest messages of payers.
	Came []Message
	// Unmatched is money without a place; UnmatchedSum its total.
	Unmatched    []Line
	UnmatchedSum string
}

// Group is all tasks of one reason.
type Group struct {
	ID, Title, Note, Sum string
	Rows                 []Row
	// More says how many are not shown, and leads to them.
	More Link
}

// Row is one task.
type Row struct {
	Name, Small, Href string
	// Why is what is the matter and what to do.
	Why string
	// Telephone and Hours stand where a call mends it.
	Telephone, Hours string
	Days             Days
	Money            string
	Action           string
	// IsFirst marks the one thing to do next on the page.
	IsFirst bool
}

// LastRun is the last night.
type LastRun struct {
	Href, Sentence string
	Batches        []RunLine
	Claims         string
	Sum            string
}

// RunLine is one payer's part of it.
type RunLine struct{ Payer, Claims, State, Sum string }

// Message is one message of a payer.
type Message struct {
	ID, Payer, State, Sentence, Stamp, When, Body, Number string
	// Severity is "good", "note" or "caution".
	Severity string
}

// Line is a name with a sum.
type Line struct{ Name, Small, Href, Sum string }
