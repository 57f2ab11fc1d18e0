package channeltest

import "cullet/services/claims"

// Behaviour is how a partner treats the next deliveries.
type Behaviour string

// The behaviours. Not every kind of partner is capable of each.
const (
	// Honest takes a document and says so; a known one it says to know.
	Honest Behaviour = "honest"
	// DropReply takes the document and cuts the connection without a word.
	DropReply Behaviour = "drop the reply"
	// FailAfterTaking takes the document and answers that it failed.
	FailAfterTaking Behaviour = "fail after taking"
	// Silence takes the document and never answers.
	Silence Behaviour = "silence"
	// Drip takes the document and answers so slowly that it never ends.
	Drip Behaviour = "drip"
	// TruncateAnswer takes the document and breaks off inside its answer.
	TruncateAnswer Behaviour = "truncate the answer"
	// FloodAnswer takes the document and answers without end.
	FloodAnswer Behaviour = "flood the answer"
	// GarbleAnswer takes the document and answers what nobody can read.
	GarbleAnswer Behaviour = "garble the answer"
	// ConfirmAnother takes the document and confirms another control number.
	ConfirmAnother Behaviour = "confirm another number"
	// ConfirmOtherBytes takes the document and confirms another hash.
	ConfirmOtherBytes Behaviour = "confirm other bytes"
	// WebPage does not take the document: something on the way answers in its place, well.
	WebPage Behaviour = "web page"
	// Reset cuts the connection before the document was read.
	Reset Behaviour = "reset"
	// Overload asks to come again later.
	Overload Behaviour = "overload"
	// Broken cannot take anything for now.
	Broken Behaviour = "broken"
	// Redirect points elsewhere.
	Redirect Behaviour = "redirect"
	// Unauthorized does not believe the token.
	Unauthorized Behaviour = "unauthorized"
	// Gone has nobody at the address.
	Gone Behaviour = "gone"
	// Refuse does not want this document as it is.
	Refuse Behaviour = "refuse"
)

// trait is what follows from a behaviour.
type trait struct {
	// takes tells whether the partner has the document afterwards.
	takes bool
	// hangs tells that only the caller's patience ends the delivery.
	hangs bool
	// is the error that the delivery must end with; nil means one that is neither of claims' two.
	is error
}

var traits = map[Behaviour]trait{
	DropReply:         {takes: true},
	FailAfterTaking:   {takes: true},
	Silence:           {takes: true, hangs: true},
	Drip:              {takes: true, hangs: true},
	TruncateAnswer:    {takes: true},
	FloodAnswer:       {takes: true},
	GarbleAnswer:      {takes: true},
	ConfirmAnother:    {takes: true},
	ConfirmOtherBytes: {takes: true},
	WebPage:           {},
	Reset:             {},
	Overload:          {},
	Broken:            {},
	Redirect:          {is: claims.ErrMisaddressed},
	Unauthorized:      {is: claims.ErrMisaddressed},
	Gone:              {is: claims.ErrMisaddressed},
	Refuse:            {is: claims.ErrRefused},
}

// Taken is a document as a partner has it.
type Taken struct {
	// ControlNumber is 0 where a partner sees file names only.
	ControlNumber int64
	FileName      string
	Content       string
}

// Partner is the other side of a channel.
type Partner interface {
	// Destination is where it takes documents, with its token if it wants one.
	Destination() claims.Destination
	// Behave says how it treats deliveries from now on, and tells whether it is capable of that.
	// It calls hanging each time it keeps a caller waiting for ever.
	Behave(b Behaviour, hanging func()) bool
	// Taken lists what it has taken, each document once, in the order of control numbers or
	// names.
	Taken() []Taken
	// Answer lays an answer file ready; false when the partner can only push answers.
	Answer(name, content string) bool
}
